//! Numbers as people read them: no more digits than the uncertainty allows.

use crate::stats::Estimate;
use crate::units::{Quantity, Seconds};

/// `value` with `digits` significant digits, without an exponent.
#[must_use]
pub fn rounded(value: f64, digits: usize) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".into();
    }
    let magnitude = value.abs().log10().floor() as i32;
    decimals(value, digits as i32 - 1 - magnitude)
}

/// A number as it was typed: no digits but those that say something, at most three decimals.
#[must_use]
pub(super) fn plain(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// `value` with so many decimals; a negative number of them rounds to tens, hundreds, ….
fn decimals(value: f64, places: i32) -> String {
    let written = if places >= 0 {
        format!("{value:.*}", places.min(12) as usize)
    } else {
        let unit = 10_f64.powi(-places);
        format!("{:.0}", (value / unit).round() * unit)
    };
    // What rounds to 0 has no sign.
    let is_zero = written.bytes().all(|byte| matches!(byte, b'-' | b'0' | b'.'));
    if is_zero { written.trim_start_matches('-').to_owned() } else { written }
}

/// A value and its uncertainty to the same decimal, the uncertainty with two digits:
/// `0.798 ± 0.012 e-/DN`.
///
/// # Examples
/// ```
/// use subwell::{report::with_uncertainty, stats::Estimate, units::Electrons};
/// assert_eq!(with_uncertainty(&Estimate::<Electrons>::new(1.6234, 0.0123)), "1.623 ± 0.012 e-");
/// ```
#[must_use]
pub fn with_uncertainty<Q: Quantity>(estimate: &Estimate<Q>) -> String {
    let (value, uncertainty) = (estimate.value.get(), estimate.uncertainty.get());
    let unit = if Q::UNIT.is_empty() { String::new() } else { format!(" {}", Q::UNIT) };
    if uncertainty <= 0.0 || !uncertainty.is_finite() {
        return format!("{}{unit}", rounded(value, 4));
    }
    let places = 1 - uncertainty.log10().floor() as i32;
    format!("{} ± {}{unit}", decimals(value, places), decimals(uncertainty, places))
}

/// A length of time in the unit a person would say: `45 s`, `12 min`, `3.4 h`.
#[must_use]
pub fn duration(time: Seconds) -> String {
    match time.0 {
        short if short < 1.0 => format!("{} s", rounded(short, 2)),
        seconds if seconds < 600.0 => format!("{} s", rounded(seconds, if seconds < 10.0 { 2 } else { 3 })),
        minutes if minutes < 5400.0 => format!("{:.0} min", minutes / 60.0),
        hours => format!("{:.1} h", hours / 3600.0),
    }
}

/// A percentage to a tenth, whole where it is whole: 3, 4.6.
pub(super) fn percent(value: f64) -> f64 {
    (10.0 * value).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_uncertainty() {
        assert_eq!(with_uncertainty(&Estimate::<f64>::new(12_914.3, 53.0)), "12914 ± 53");
        assert_eq!(with_uncertainty(&Estimate::<f64>::new(-0.0002, 0.022)), "0.000 ± 0.022");
        assert_eq!(with_uncertainty(&Estimate::<f64>::new(-0.02, 0.022)), "-0.020 ± 0.022");
        assert_eq!(with_uncertainty(&Estimate::<f64>::new(12_914.3, 530.0)), "12910 ± 530");
        assert_eq!(with_uncertainty(&Estimate::<f64>::new(0.010_23, 0.000_42)), "0.01023 ± 0.00042");
        assert_eq!(with_uncertainty(&Estimate::<f64>::new(2.06, 0.0)), "2.060");
    }

    #[test]
    fn times_are_said_in_the_unit_of_their_size() {
        let said: Vec<String> = [0.5, 45.0, 300.0, 1800.0, 12_240.0].map(|s| duration(Seconds(s))).into();
        assert_eq!(said, ["0.50 s", "45.0 s", "300 s", "30 min", "3.4 h"]);
    }
}
