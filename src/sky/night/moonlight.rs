//! What the Moon adds to the sky at the target.

use crate::units::{Degrees, Magnitudes};

/// Standard uncertainty of the logarithm of [`moonlight`]: 8 to 23 % by the authors' own account.
pub const MOONLIGHT_UNCERTAINTY: f64 = 0.23;

/// From this separation on the haze's part of the scattering has its outer form, in degrees.
const OUTER: f64 = 10.0;
/// Nearer than this the formula was never tested, in degrees.
const NEAREST: f64 = 0.25;
/// The surge of the full Moon ends here, in degrees of phase angle.
const SURGE_END: f64 = 7.0;

/// The air that scatters moonlight and airglow alike, in units of the zenith's: finite at the horizon.
///
/// ```text
/// X(Z) = (1 − 0.96 sin² Z)^−½
/// ```
///
/// # Source
/// Krisciunas & Schaefer 1991, PASP 103, 1033, equation 3; it is van Rhijn's layer at 130 km (Patat 2003, A&A 400,
/// 1183, appendix C).
///
/// # Examples
/// ```
/// use subwell::{sky::night::scattering_airmass, units::Degrees};
/// assert!((scattering_airmass(Degrees(60.0)) - 1.8898).abs() < 5e-5);
/// ```
#[must_use]
pub fn scattering_airmass(zenith_distance: Degrees) -> f64 {
    (1.0 - 0.96 * zenith_distance.radians().sin().powi(2)).powf(-0.5)
}

/// How much brighter the nearly full Moon is than the law of its phases.
///
/// ```text
/// 1.35 − 0.05 |α|   below 7°, else 1
/// ```
///
/// # Source
/// Krisciunas & Schaefer 1991, PASP 103, 1033, page 1035 (from memory).
#[must_use]
pub fn opposition_surge(phase_angle: Degrees) -> f64 {
    let alpha = phase_angle.0.abs();
    if alpha < SURGE_END { 1.35 - 0.05 * alpha } else { 1.0 }
}

/// The Moon's light in the sky at the target in nanolamberts, V band; 0 when the Moon is below the horizon.
///
/// ```text
/// B = f(ρ) I* 10^(−0.4 k X(Zm)) [1 − 10^(−0.4 k X(Z))]
/// I* = 10^(−0.4 (3.84 + 0.026 |α| + 4·10⁻⁹ α⁴)) · surge
/// f(ρ) = 10^5.36 (1.06 + cos² ρ) + 10^(6.15 − ρ/40)     ρ ≥ 10°
/// f(ρ) = 10^5.36 (1.06 + cos² ρ) + 6.2·10⁷ ρ^−2         0.25° ≤ ρ < 10°
/// ```
///
/// `α` phase angle, `ρ` angle between Moon and target, `Zm` and `Z` their zenith distances, `k` extinction per airmass,
/// `X` [`scattering_airmass`], `surge` [`opposition_surge`].
///
/// Good to 8 to 23 % on a clear night; thin cloud and haze make it much brighter. The two forms of `f` miss each other
/// by 16 % at 10°. The light of a Moon just below the horizon is left out.
///
/// # Source
/// Krisciunas & Schaefer 1991, PASP 103, 1033, equations 3, 15, 18, 20, 21.
#[must_use]
pub fn moonlight(
    phase_angle: Degrees,
    separation: Degrees,
    moon_zenith: Degrees,
    target_zenith: Degrees,
    extinction: Magnitudes,
) -> f64 {
    moonlight_scattered(separation) * moonlight_that_scatters(phase_angle, moon_zenith, target_zenith, extinction)
}

/// The part of [`moonlight`] that depends on the angle between Moon and target, `f(ρ)`.
pub(super) fn moonlight_scattered(separation: Degrees) -> f64 {
    let rho = separation.0.max(NEAREST);
    let haze = if rho >= OUTER { 10_f64.powf(6.15 - rho / 40.0) } else { 6.2e7 * rho.powi(-2) };
    10_f64.powf(5.36) * (1.06 + separation.radians().cos().powi(2)) + haze
}

/// The rest of it: the light that there is, on its way through the air.
pub(super) fn moonlight_that_scatters(
    phase_angle: Degrees,
    moon_zenith: Degrees,
    target_zenith: Degrees,
    extinction: Magnitudes,
) -> f64 {
    if moon_zenith.0 >= 90.0 {
        return 0.0;
    }
    let alpha = phase_angle.0.abs();
    let brightness = 10_f64.powf(-0.4 * (3.84 + 0.026 * alpha + 4e-9 * alpha.powi(4))) * opposition_surge(phase_angle);
    let passing = |zenith| 10_f64.powf(-0.4 * extinction.0 * scattering_airmass(zenith));
    brightness * passing(moon_zenith) * (1.0 - passing(target_zenith))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moon_below_the_horizon_gives_nothing() {
        let light = |moon| moonlight(Degrees(0.0), Degrees(90.0), Degrees(moon), Degrees(30.0), Magnitudes(0.2));
        assert_eq!(light(90.0), 0.0);
        assert!(light(89.9) > 0.0);
    }

    #[test]
    fn the_surge_fades_out_at_seven_degrees() {
        let surge = [0.0, 2.0, 5.0, 7.0, 30.0].map(|alpha| opposition_surge(Degrees(alpha)));
        assert_eq!(surge, [1.35, 1.25, 1.1, 1.0, 1.0]);
    }

    #[test]
    fn a_target_at_the_moon_itself_is_bright_and_finite() {
        let light = moonlight(Degrees(10.0), Degrees(0.0), Degrees(30.0), Degrees(30.0), Magnitudes(0.2));
        assert!(light.is_finite() && light > 1e6);
    }
}
