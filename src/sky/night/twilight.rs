//! What the Sun below the horizon still adds to the sky.

use crate::sky::scales::NATURAL_SKY;
use crate::units::{Degrees, Magnitudes};

/// Standard uncertainty of the logarithm of the twilight's light: 0.18 mag from evening to evening over one site, a low site
/// is about 30 % brighter, and towards the Sun it is brighter than at the zenith.
pub const TWILIGHT_UNCERTAINTY: f64 = 0.5;

/// The Sun's altitude below which twilight adds nothing.
const NONE_BELOW: f64 = -18.0;
/// The fit's lowest Sun.
const FITTED_TO: f64 = -15.0;
/// The fit's highest Sun; above it the sky is taken as bright as there.
const HIGHEST: f64 = -5.0;
/// The zenith's V magnitude with the Sun at −5°, and what each degree and its square add.
const ZENITH: [f64; 3] = [11.84, 1.518, -0.057];
/// The night over the site of the fit, which the fit has in it.
const NIGHT_OF_THE_FIT: f64 = 21.7;

/// How much brighter than the natural dark sky, in V, twilight makes the zenith.
///
/// ```text
/// m(z) = 11.84 + 1.518 (z − 95) − 0.057 (z − 95)²    95° ≤ z ≤ 105°, the Sun's zenith distance
/// t(z) = 10^(−0.4 m) − 10^(−0.4·21.7)                the twilight alone
/// Δm   = 2.5 log₁₀(1 + t/10^(−0.4·22.0))
/// ```
///
/// Beyond 105° the twilight fades on at the rate that it has there, 1.3 mag for each degree, and ends at 108°. Towards the
/// Sun the sky is brighter than at the zenith. In blue the sky is brighter by more: the twilight's colour is counted
/// elsewhere.
///
/// # Source
/// Patat, Ugolnikov & Postylyakov 2006, A&A 455, 385: fits to 2000 images over Paranal (coefficients in V from memory).
/// Its end beyond 105° is derived here.
///
/// # Examples
/// ```
/// use subwell::{sky::night::twilight_brightening, units::Degrees};
/// assert!((twilight_brightening(Degrees(-12.0)).0 - 2.29).abs() < 0.005);
/// assert_eq!(twilight_brightening(Degrees(-18.5)).0, 0.0);
/// ```
#[must_use]
pub fn twilight_brightening(sun_altitude: Degrees) -> Magnitudes {
    let altitude = sun_altitude.0.min(HIGHEST);
    let light = if altitude >= FITTED_TO {
        fitted(altitude)
    } else {
        let fading = |altitude: f64| 10_f64.powf(0.4 * fading_per_degree() * (altitude - FITTED_TO));
        let end = fading(NONE_BELOW);
        fitted(FITTED_TO) * ((fading(altitude) - end) / (1.0 - end)).max(0.0)
    };
    Magnitudes(2.5 * (1.0 + light / flux(NATURAL_SKY.0)).log10())
}

fn flux(magnitude: f64) -> f64 {
    10_f64.powf(-0.4 * magnitude)
}

/// The zenith in V where the fit holds, the night included, and its change with each degree that the Sun sinks.
fn zenith(altitude: f64) -> [f64; 2] {
    let [level, slope, curve] = ZENITH;
    let beyond = HIGHEST - altitude;
    [level + slope * beyond + curve * beyond * beyond, slope + 2.0 * curve * beyond]
}

/// The twilight alone.
fn fitted(altitude: f64) -> f64 {
    flux(zenith(altitude)[0]) - flux(NIGHT_OF_THE_FIT)
}

/// Magnitudes by which the twilight alone fades with each degree, at the end of the fit.
fn fading_per_degree() -> f64 {
    let [level, slope] = zenith(FITTED_TO);
    slope * flux(level) / fitted(FITTED_TO)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twilight_fades_as_the_sun_sinks_without_a_step() {
        let steps: Vec<f64> = (0..=1300).map(|i| twilight_brightening(Degrees(-5.0 - 0.01 * f64::from(i))).0).collect();
        assert!(steps.windows(2).all(|pair| pair[1] < pair[0] && pair[0] - pair[1] < 0.016));
        assert_eq!(steps[1300], 0.0);
        // Where the fit ends the slope is kept, within a tenth.
        let slopes = [995, 1005].map(|i| steps[i - 5] - steps[i + 5]);
        approx::assert_relative_eq!(slopes[0], slopes[1], max_relative = 0.1);
    }

    #[test]
    fn no_sun_gives_no_number() {
        for altitude in [90.0, 0.0, f64::NEG_INFINITY] {
            assert!(twilight_brightening(Degrees(altitude)).0.is_finite());
        }
    }
}
