//! Twilight in V over Paranal: Patat, Ugolnikov & Postylyakov 2006, A&A 455, 385, the fit of their table for 95° to 105° of
//! the Sun's zenith distance (coefficients from memory; the abstract gives the range and the extent of the data).
//!
//! The values were worked out apart from this program: `python3 -c "print(11.84 + 1.518*x - 0.057*x*x)"` with x = z − 95.

use approx::assert_abs_diff_eq;
use subwell::sky::NATURAL_SKY;
use subwell::sky::night::twilight_brightening;
use subwell::units::Degrees;

/// The Sun's zenith distance and the zenith's V with the night in it.
const FIT: [(f64, f64); 6] =
    [(95.0, 11.840), (97.0, 14.648), (99.0, 17.000), (101.0, 18.896), (102.0, 19.673), (105.0, 21.320)];

/// Light of a magnitude per square arcsecond.
fn light(magnitude: f64) -> f64 {
    10_f64.powf(-0.4 * magnitude)
}

#[test]
fn the_zenith_with_the_night_of_the_site_is_that_of_the_fit() {
    for (zenith, magnitude) in FIT {
        let twilight = light(NATURAL_SKY.0) * (10_f64.powf(0.4 * twilight_brightening(Degrees(90.0 - zenith)).0) - 1.0);
        let found = -2.5 * (twilight + light(21.7)).log10();
        assert_abs_diff_eq!(found, magnitude, epsilon = 6e-4);
    }
}

/// Over their own night of 21.7: 2.0 mag at −12°, hardly anything at −17°.
#[test]
fn at_the_nautical_limit_the_sky_is_two_magnitudes_above_night() {
    let over_night = |altitude: f64| {
        let twilight = light(NATURAL_SKY.0) * (10_f64.powf(0.4 * twilight_brightening(Degrees(altitude)).0) - 1.0);
        2.5 * ((twilight + light(21.7)) / light(21.7)).log10()
    };
    assert_abs_diff_eq!(over_night(-12.0), 2.03, epsilon = 0.005);
    assert!(over_night(-15.0) < 0.4 && over_night(-17.0) < 0.06, "{} {}", over_night(-15.0), over_night(-17.0));
}
