//! Airmass from the apparent altitude: Pickering 2002, DIO 12, 20; the values are those of pvlib's
//! `get_relative_airmass(model="pickering2002")`, to its four decimals.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::sky::{airmass, airmass_of_apparent};
use subwell::units::Degrees;

/// Half of the last printed digit.
const PRINTED: f64 = 6e-5;

#[test]
fn six_altitudes() {
    let altitudes = [(90.0, 1.0000), (60.0, 1.1541), (30.0, 1.9932), (20.0, 2.9001), (10.0, 5.5807), (5.0, 10.3337)];
    for (altitude, expected) in altitudes {
        assert_abs_diff_eq!(airmass_of_apparent(Degrees(altitude)).unwrap(), expected, epsilon = PRINTED);
    }
}

/// Two laws of two authors: nearer than any extinction is known, and both below 1/sin h, which forgets the Earth's curve.
#[test]
fn both_laws_agree_and_lie_below_the_plane_one() {
    for (altitude, plane) in [(60.0, 1.1547), (30.0, 2.0), (20.0, 2.9238), (10.0, 5.7588), (5.0, 11.474)] {
        let (one, other) = (airmass(Degrees(altitude)).unwrap(), airmass_of_apparent(Degrees(altitude)).unwrap());
        assert_relative_eq!(one, other, max_relative = 0.003);
        assert!(one < plane && other < plane, "{altitude}");
        // Half of the last printed digit of 1/sin h.
        assert_abs_diff_eq!(1.0 / altitude.to_radians().sin(), plane, epsilon = 6e-4);
    }
    assert!(airmass_of_apparent(Degrees(-1.0)).is_err() && airmass_of_apparent(Degrees(f64::NAN)).is_err());
}
