//! Airmass: Kasten & Young 1989, Applied Optics 28, 4735; the values are those of pvlib's
//! `get_relative_airmass(model="kastenyoung1989")`, to its four decimals.

use approx::assert_abs_diff_eq;
use subwell::sky::{airmass, transmission};
use subwell::units::{Degrees, Magnitudes};

/// Half of the last printed digit.
const PRINTED: f64 = 6e-5;

#[test]
fn six_altitudes() {
    let altitudes = [(90.0, 0.9997), (60.0, 1.1540), (30.0, 1.9943), (20.0, 2.9031), (10.0, 5.5860), (5.0, 10.3058)];
    for (altitude, expected) in altitudes {
        assert_abs_diff_eq!(airmass(Degrees(altitude)).unwrap(), expected, epsilon = PRINTED);
    }
}

/// 0.28 mag per airmass through 1.15 airmasses, by hand: 10^(−0.1288).
#[test]
fn the_share_that_arrives() {
    assert_abs_diff_eq!(transmission(Magnitudes(0.28), 1.15), 0.7434, epsilon = PRINTED);
}
