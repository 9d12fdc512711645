//! Places on the sky as people write them: in degrees, in hours, or with minutes and seconds.

use crate::units::Degrees;

/// A right ascension as it is written: `20h 59m 17s`, `20:59:17`, `20 59 17` or `20.988 h` in hours; `314.8°` or `314.8 deg` in
/// degrees. A plain number is one of hours.
///
/// `None` when it is none of these, or not from 0 to 24 h.
///
/// # Examples
/// ```
/// use subwell::target::right_ascension;
/// for text in ["20h 58m 48s", "20:58:48", "20 58 48", "20.98", "314.7°"] {
///     assert!((right_ascension(text).unwrap().0 - 314.7).abs() < 1e-9, "{text}");
/// }
/// assert!(right_ascension("25:00:00").is_none() && right_ascension("20:61:00").is_none());
/// ```
#[must_use]
pub fn right_ascension(text: &str) -> Option<Degrees> {
    let (number, unit) = sexagesimal(text)?;
    let degrees = if unit == Unit::Degrees { number } else { 15.0 * number };
    (0.0..=360.0).contains(&degrees).then_some(Degrees(degrees))
}

/// A declination as it is written: `+44° 31' 44"`, `44:31:44`, `-05 23 28` or `-5.39`, always in degrees.
///
/// `None` when it is none of these, or not from −90° to 90°.
///
/// # Examples
/// ```
/// use subwell::target::declination;
/// for text in ["-00° 30' 36\"", "-0:30:36", "-00 30 36", "−0.51"] {
///     assert!((declination(text).unwrap().0 + 0.51).abs() < 1e-9, "{text}");
/// }
/// assert!(declination("91").is_none() && declination("5h").is_none());
/// ```
#[must_use]
pub fn declination(text: &str) -> Option<Degrees> {
    let (degrees, unit) = sexagesimal(text)?;
    (unit != Unit::Hours && degrees.abs() <= 90.0).then_some(Degrees(degrees))
}

#[derive(Clone, Copy, PartialEq)]
enum Unit {
    Hours,
    Degrees,
    Unsaid,
}

/// One to three numbers with a sign before the first; whole but for the last, minutes and seconds below 60.
fn sexagesimal(text: &str) -> Option<(f64, Unit)> {
    let text = text.trim().replace('−', "-").replace("deg", "°");
    let unit = match &text {
        text if text.contains(['h', 'H']) => Unit::Hours,
        text if text.contains(['°', 'd', 'D']) => Unit::Degrees,
        _ => Unit::Unsaid,
    };
    let (negative, digits) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(&text)),
    };
    let known = |c: char| c.is_ascii_digit() || c == '.' || " :hHmMsSdD°'\"′″\t".contains(c);
    if !digits.chars().all(known) {
        return None;
    }
    let parts: Vec<&str> =
        digits.split(|c: char| !(c.is_ascii_digit() || c == '.')).filter(|p| !p.is_empty()).collect();
    let numbers: Vec<f64> = parts.iter().map(|part| part.parse().ok()).collect::<Option<_>>()?;
    let (last, before) = numbers.split_last()?;
    let whole = before.iter().all(|number| number.fract() == 0.0);
    let small = numbers.iter().skip(1).all(|number| *number < 60.0);
    if numbers.len() > 3 || !whole || !small || !last.is_finite() {
        return None;
    }
    let sum: f64 = numbers.iter().zip([1.0, 60.0, 3600.0]).map(|(number, parts)| number / parts).sum();
    Some((if negative { -sum } else { sum }, unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_place_is_none() {
        for text in ["", "  ", "north", "1 2 3 4", "5.5 30", "--5", "1e5", "12:60", "5 -3", "nan", "∞", "20h 59m 17s W"]
        {
            assert!(right_ascension(text).is_none(), "{text}");
            assert!(declination(text).is_none(), "{text}");
        }
    }

    #[test]
    fn a_minus_before_zero_counts() {
        assert_eq!(declination("-00 30"), Some(Degrees(-0.5)));
        assert_eq!(right_ascension("05h35m17.3s").map(|ra| (ra.0 * 1e4).round()), Some(838_221.0));
    }
}
