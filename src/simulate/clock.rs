//! The calendar that dates the frames: no time zones, no leap seconds.

const SECONDS_PER_DAY: i64 = 86_400;
/// Days in 400 years of the Gregorian calendar: 400 · 365 + 97 leap days.
const DAYS_PER_ERA: i64 = 146_097;
/// Days from 1 March of the year 0 to 1 January 1970.
const EPOCH: i64 = 719_468;

/// Seconds since 1970 of `YYYY-MM-DD` or `YYYY-MM-DDThh:mm:ss`; `None` for anything else.
pub(super) fn seconds(text: &str) -> Option<i64> {
    let (date, time) = text.split_once('T').unwrap_or((text, "00:00:00"));
    let [year, month, day] = numbers::<3>(date, '-')?;
    let [hour, minute, second] = numbers::<3>(time, ':')?;
    let in_range = (1..=9999).contains(&year) && (1..=12).contains(&month) && (1..=31).contains(&day);
    let of_day = hour < 24 && minute < 60 && second < 60;
    if !(in_range && of_day) {
        return None;
    }
    let days = days(year, month, day);
    (civil(days) == (year, month, day)).then(|| days * SECONDS_PER_DAY + hour * 3600 + minute * 60 + second)
}

/// The same moment as `YYYY-MM-DDThh:mm:ss`.
pub(super) fn written(seconds: i64) -> String {
    let (year, month, day) = civil(seconds.div_euclid(SECONDS_PER_DAY));
    let rest = seconds.rem_euclid(SECONDS_PER_DAY);
    format!("{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}", rest / 3600, rest / 60 % 60, rest % 60)
}

fn numbers<const N: usize>(text: &str, separator: char) -> Option<[i64; N]> {
    let parts: Option<Vec<i64>> = text
        .split(separator)
        .map(|part| part.bytes().all(|byte| byte.is_ascii_digit()).then(|| part.parse().ok()).flatten())
        .collect();
    parts?.try_into().ok()
}

/// Days since 1970-01-01, counted in years that begin in March so that the leap day comes last.
fn days(year: i64, month: i64, day: i64) -> i64 {
    let march_year = if month > 2 { year } else { year - 1 };
    let (era, of_era) = (march_year.div_euclid(400), march_year.rem_euclid(400));
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    era * DAYS_PER_ERA + of_era * 365 + of_era / 4 - of_era / 100 + of_year - EPOCH
}

fn civil(days: i64) -> (i64, i64, i64) {
    let days = days + EPOCH;
    let (era, of_era) = (days.div_euclid(DAYS_PER_ERA), days.rem_euclid(DAYS_PER_ERA));
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let march_month = (5 * of_year + 2) / 153;
    let month = if march_month < 10 { march_month + 3 } else { march_month - 9 };
    let day = of_year - (153 * march_month + 2) / 5 + 1;
    (year + era * 400 + i64::from(month <= 2), month, day)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn knows_moments_that_the_unix_time_scale_is_known_by() {
        assert_eq!(seconds("1970-01-01"), Some(0));
        assert_eq!(seconds("2001-09-09T01:46:40"), Some(1_000_000_000));
        assert_eq!(written(1_000_000_000), "2001-09-09T01:46:40");
    }

    #[test]
    fn goes_through_leap_days_and_the_end_of_a_year() {
        assert_eq!(written(seconds("2028-02-28T23:59:59").unwrap() + 1), "2028-02-29T00:00:00");
        assert_eq!(written(seconds("2026-12-31T23:59:59").unwrap() + 1), "2027-01-01T00:00:00");
    }

    #[test]
    fn refuses_dates_that_are_none() {
        for text in
            ["", "2026", "2026-02-29", "2026-13-01", "2026-01-01T24:00:00", "2026-01-01T1:2", "+1-01-01", "0000-01-01"]
        {
            assert_eq!(seconds(text), None, "{text}");
        }
        // So large that computing with them would overflow.
        for text in ["2026-9223372036854775807-14", "2026-02-9223372036854775807", "9223372036854775807-01-01"] {
            assert_eq!(seconds(text), None, "{text}");
        }
    }
}
