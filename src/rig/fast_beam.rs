//! What a fast beam does to a line filter: rays that meet it at an angle see its window moved to shorter wavelengths.

use crate::units::Nanometres;

/// Index of refraction of an interference filter as a whole; makers' filters have 1.7 to 2.1 (from memory).
pub const EFFECTIVE_INDEX: f64 = 2.0;

/// How far the rays from the edge of the aperture see a filter's window moved, towards the blue.
///
/// ```text
/// Δ = λ₀ (1 − √(1 − (sin θ/n)²)),   sin θ = 1/√(1 + 4F²)
/// ```
///
/// `F` is the focal ratio, `n` the [effective index](EFFECTIVE_INDEX).
///
/// # Source
/// The interference filter's equation, from memory.
///
/// ```
/// use subwell::{rig::band_shift, units::Nanometres};
/// assert!((band_shift(Nanometres(656.3), 2.8, 2.0).0 - 2.55).abs() < 0.01);
/// ```
#[must_use]
pub fn band_shift(line: Nanometres, focal_ratio: f64, index: f64) -> Nanometres {
    let sine_squared = 1.0 / (1.0 + 4.0 * focal_ratio * focal_ratio);
    Nanometres(line.0 * (1.0 - (1.0 - sine_squared / (index * index)).sqrt()))
}

/// The share of a line's light that still meets the window of a filter centred on it.
///
/// ```text
/// share = min(1, (w/2)/Δ)
/// ```
///
/// `Δ` is the [shift](band_shift) of the edge rays, `w` the width of a window with steep flanks. A filter made for fast
/// beams is centred to the red of its line and loses less.
///
/// # Source
/// Derived here: the shift grows with the square of the distance from the axis, so that an open aperture spreads it evenly
/// from 0 to Δ.
#[must_use]
pub fn share_in_band(width: Nanometres, shift: Nanometres) -> f64 {
    (width.0 / 2.0 / shift.0).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From the formula, worked elsewhere: edge ray of f/2.8 at 10.1°, −2.5 nm at 656 nm for n = 2.
    #[test]
    fn a_beam_of_f_2_8_moves_h_alpha_by_two_and_a_half_nanometres() {
        let sine: f64 = 1.0 / (1.0 + 4.0 * 2.8 * 2.8_f64).sqrt();
        approx::assert_abs_diff_eq!(sine.asin().to_degrees(), 10.1, epsilon = 0.05);
        approx::assert_abs_diff_eq!(band_shift(Nanometres(656.0), 2.8, 2.0).0, 2.5, epsilon = 0.05);
    }

    #[test]
    fn the_share_is_the_mean_over_an_open_aperture() {
        // Rings of equal area: the sine of the angle grows with the root of the ring's number, nearly.
        let (width, rings) = (Nanometres(3.0), 100_000);
        let inside = (0..rings).filter(|ring| {
            let radius = ((f64::from(*ring) + 0.5) / f64::from(rings)).sqrt() / (2.0 * 2.8);
            let sine = radius.atan().sin();
            656.3 * (1.0 - (1.0 - sine * sine / 4.0).sqrt()) <= width.0 / 2.0
        });
        let share = inside.count() as f64 / f64::from(rings);
        approx::assert_relative_eq!(
            share_in_band(width, band_shift(Nanometres(656.3), 2.8, 2.0)),
            share,
            max_relative = 0.03
        );
    }

    #[test]
    fn a_slow_beam_loses_nothing() {
        assert_eq!(share_in_band(Nanometres(3.0), band_shift(Nanometres(656.3), 6.0, EFFECTIVE_INDEX)), 1.0);
    }
}
