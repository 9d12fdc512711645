//! What the Sun below the horizon still adds to the sky.

use crate::units::{Degrees, Magnitudes};

/// Standard uncertainty of the logarithm of the twilight's light: the form is from memory and twilights differ.
pub const TWILIGHT_UNCERTAINTY: f64 = 0.5;

/// The Sun's altitude below which twilight adds nothing.
const NONE_BELOW: f64 = -18.0;
/// The polynomial's highest Sun; above it the sky is taken as bright as there.
const HIGHEST: f64 = -9.0;

/// How much brighter than the natural dark sky twilight makes the zenith.
///
/// ```text
/// Δm = ((2.0635175 y + 1.246602) y − 9.4084495) y + 6.132725,   y = (−h − 9)/9
/// ```
///
/// `h` is the Sun's altitude in degrees, −18 to −9. Near the horizon under which the Sun stands it is brighter.
///
/// # Source
/// From memory, its origin not verified; it gives 3.2 mag at −12° and 0.03 mag at −18°.
///
/// # Examples
/// ```
/// use subwell::{sky::night::twilight_brightening, units::Degrees};
/// assert!((twilight_brightening(Degrees(-15.0)).0 - 1.03).abs() < 0.005);
/// assert_eq!(twilight_brightening(Degrees(-18.5)).0, 0.0);
/// ```
#[must_use]
pub fn twilight_brightening(sun_altitude: Degrees) -> Magnitudes {
    if sun_altitude.0 < NONE_BELOW {
        return Magnitudes(0.0);
    }
    let y = (-sun_altitude.0.min(HIGHEST) - 9.0) / 9.0;
    Magnitudes(((2.063_517_5 * y + 1.246_602) * y - 9.408_449_5) * y + 6.132_725)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twilight_fades_as_the_sun_sinks() {
        let steps: Vec<f64> = (0..=18).map(|i| twilight_brightening(Degrees(-9.0 - 0.5 * f64::from(i))).0).collect();
        assert!(steps.windows(2).all(|pair| pair[1] < pair[0]), "{steps:?}");
        assert!(steps[18] > 0.0 && steps[18] < 0.04);
    }
}
