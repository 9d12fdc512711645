//! When a frame was taken, as a number.

const SECONDS_PER_DAY: f64 = 86_400.0;

/// Seconds since 1970 of `YYYY-MM-DDThh:mm:ss`, with or without parts of a second; `None` for anything else.
///
/// # Examples
/// ```
/// use subwell::frames::seconds_of;
/// // date -u -d 2026-03-01T20:00:01 +%s (GNU coreutils)
/// assert_eq!(seconds_of("2026-03-01T20:00:01.5"), Some(1_772_395_201.5));
/// assert_eq!(seconds_of("yesterday"), None);
/// ```
#[must_use]
pub fn seconds_of(moment: &str) -> Option<f64> {
    let (date, time) = moment.split_once('T')?;
    let mut parts = date.split('-').map(|part| part.parse::<i64>().ok());
    let (year, month, day) = (parts.next()??, parts.next()??, parts.next()??);
    let mut parts = time.split(':').map(|part| part.parse::<f64>().ok().filter(|part| (0.0..61.0).contains(part)));
    let (hour, minute, second) = (parts.next()??, parts.next()??, parts.next().unwrap_or(Some(0.0))?);
    if !((1..=9999).contains(&year) && (1..=12).contains(&month) && (1..=31).contains(&day)) {
        return None;
    }
    // Years that begin in March, so that the leap day comes last.
    let years = if month > 2 { year } else { year - 1 };
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    let days = 365 * years + years.div_euclid(4) - years.div_euclid(100) + years.div_euclid(400) + of_year - 719_468;
    Some(days as f64 * SECONDS_PER_DAY + hour * 3600.0 + minute * 60.0 + second)
}
