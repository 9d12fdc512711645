//! Dates as the photographer writes them and instants as the ephemeris wants them.

use std::fmt;

use sofars::cal::{cal2jd, jd2cal};

use crate::sky::SkyError;

/// Years in which the ephemeris of the Earth holds to a few kilometres, with a margin.
const YEARS: std::ops::RangeInclusive<i32> = 1950..=2099;
/// Julian date of the modified Julian date 0.
pub(super) const MJD_0: f64 = 2_400_000.5;
const HOURS: f64 = 24.0;
const MINUTES_OF_A_DAY: f64 = 1440.0;

/// An instant of universal time, as a modified Julian date.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Utc(pub f64);

impl Utc {
    /// So many hours later.
    #[must_use]
    pub fn later(self, hours: f64) -> Self {
        Self(self.0 + hours / HOURS)
    }

    /// Hours from `other` to this instant.
    #[must_use]
    pub fn hours_since(self, other: Self) -> f64 {
        (self.0 - other.0) * HOURS
    }

    /// Local time to the minute, `2026-10-12T18:44`, where clocks are `utc_offset_h` ahead of universal time.
    ///
    /// # Examples
    /// ```
    /// use subwell::sky::night::Date;
    /// let evening = Date::parse("2026-10-12")?;
    /// assert_eq!(evening.at(25.5, 2.0).local(2.0), "2026-10-13T01:30");
    /// # Ok::<(), subwell::sky::SkyError>(())
    /// ```
    #[must_use]
    pub fn local(self, utc_offset_h: f64) -> String {
        let minutes = (self.later(utc_offset_h).0 * MINUTES_OF_A_DAY).round();
        let day = (minutes / MINUTES_OF_A_DAY).floor();
        let minute = (minutes - day * MINUTES_OF_A_DAY) as u32;
        format!("{}T{:02}:{:02}", Date { mjd: day }, minute / 60, minute % 60)
    }

    /// Local date of the evening whose night a moment lies in: before noon that is the day before.
    #[must_use]
    pub fn evening(self, utc_offset_h: f64) -> String {
        self.later(-12.0).local(utc_offset_h)[..10].to_owned()
    }
}

/// A local date.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Date {
    mjd: f64,
}

impl Date {
    /// Reads `2026-10-12`.
    ///
    /// # Errors
    /// When the text is no date, or its year lies outside 1950 to 2099.
    pub fn parse(text: &str) -> Result<Self, SkyError> {
        let not_a_date = || SkyError::NotADate { found: text.to_owned() };
        let mut parts = text.trim().splitn(3, '-').map(str::parse::<i32>);
        let (Some(Ok(year)), Some(Ok(month)), Some(Ok(day))) = (parts.next(), parts.next(), parts.next()) else {
            return Err(not_a_date());
        };
        if !YEARS.contains(&year) {
            return Err(not_a_date());
        }
        let (_, mjd) = cal2jd(year, month, day).map_err(|_| not_a_date())?;
        Ok(Self { mjd })
    }

    /// The instant so many hours after local midnight of this date.
    #[must_use]
    pub fn at(self, hours: f64, utc_offset_h: f64) -> Utc {
        Utc(self.mjd).later(hours - utc_offset_h)
    }

    /// The month, 1 to 12.
    #[must_use]
    pub fn month(self) -> u32 {
        jd2cal(MJD_0, self.mjd).map_or(1, |(_, month, _, _)| month.clamp(1, 12) as u32)
    }

    /// The date so many days later.
    #[must_use]
    pub fn later(self, days: u32) -> Self {
        Self { mjd: self.mjd + f64::from(days) }
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (year, month, day, _) = jd2cal(MJD_0, self.mjd).map_err(|_| fmt::Error)?;
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

/// From one instant to a later one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Its beginning.
    pub from: Utc,
    /// Its end.
    pub to: Utc,
}

impl Span {
    /// How long it is.
    #[must_use]
    pub fn hours(&self) -> f64 {
        self.to.hours_since(self.from)
    }
}

/// How long several spans are together.
#[must_use]
pub fn hours_of(spans: &[Span]) -> f64 {
    // The sum of nothing is −0 otherwise.
    spans.iter().map(Span::hours).fold(0.0, |sum, hours| sum + hours)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_date_is_read_and_written_alike() {
        for text in ["2026-10-12", "2028-02-29", "1999-12-31"] {
            assert_eq!(Date::parse(text).unwrap().to_string(), text);
        }
        assert_eq!(Date::parse("2026-12-31").unwrap().later(1).to_string(), "2027-01-01");
    }

    #[test]
    fn what_is_no_date_is_refused() {
        for text in ["", "tomorrow", "2026-13-01", "2026-02-29", "2026-10", "12.10.2026", "1066-10-14", "2026-10-12-1"]
        {
            assert!(matches!(Date::parse(text), Err(SkyError::NotADate { .. })), "{text}");
        }
    }

    #[test]
    fn minutes_are_rounded_across_midnight() {
        let date = Date::parse("2026-10-12").unwrap();
        assert_eq!(date.at(23.995, 0.0).local(0.0), "2026-10-13T00:00");
    }
}
