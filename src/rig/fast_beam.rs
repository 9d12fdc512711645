//! What a fast beam does to a line filter: rays that meet it at an angle see its window moved to shorter wavelengths.

use crate::units::Nanometres;

use super::Optics;

/// Index of refraction of an interference filter as a whole (from memory).
pub const EFFECTIVE_INDEX: f64 = 2.0;
/// Makers' filters lie between these (from memory): one standard deviation to each side.
const INDEX_RANGE: [f64; 2] = [1.7, 2.1];
/// The pupil is taken in so many rings of equal area.
const RINGS: u32 = 64;
/// Rays that meet a filter at angles whose tangent is below this, f/50, move no window.
const NEARLY_PARALLEL: f64 = 0.01;
/// Below this share the loss is no longer known.
const LEAST_SHARE: f64 = 1e-3;

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

/// The cone of light that meets a filter: full between the rays from the obstruction's edge and those from the aperture's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beam {
    /// Tangents of the angles of the innermost and the outermost rays.
    tangents: [f64; 2],
}

impl Beam {
    /// Light that meets the filter straight on.
    pub const PARALLEL: Self = Self { tangents: [0.0, 0.0] };

    /// The beam of a telescope, in the middle of the field.
    #[must_use]
    pub fn of(optics: &Optics) -> Self {
        let tangent = |diameter: f64| diameter / 2.0 / optics.focal_length_mm.0;
        Self { tangents: [tangent(optics.obstruction().0), tangent(optics.aperture_mm.0)] }
    }

    /// The mean over the pupil of what a filter passes of a line.
    ///
    /// ```text
    /// share = mean over tan²θ of T(λ/√(1 − (sin θ/n)²))
    /// ```
    ///
    /// `passed` is `T` in parallel light against nm: a window that moved to the blue lets through what it let through further in
    /// the red before.
    pub(super) fn mean(&self, line: Nanometres, passed: &impl Fn(f64) -> f64) -> f64 {
        self.mean_with(line, EFFECTIVE_INDEX, passed)
    }

    /// Half of the logarithm between the shares that filters of the usual indices pass.
    pub(super) fn spread(&self, line: Nanometres, passed: &impl Fn(f64) -> f64) -> f64 {
        let [low, high] = INDEX_RANGE.map(|index| self.mean_with(line, index, passed).max(LEAST_SHARE));
        (high / low).ln().abs() / 2.0
    }

    fn mean_with(&self, line: Nanometres, index: f64, passed: &impl Fn(f64) -> f64) -> f64 {
        let [inner, outer] = self.tangents.map(|tangent| tangent * tangent);
        if outer < NEARLY_PARALLEL * NEARLY_PARALLEL {
            return passed(line.0);
        }
        let ring = |i: u32| {
            let tangent_squared = inner + (outer - inner) * (f64::from(i) + 0.5) / f64::from(RINGS);
            let sine_squared = tangent_squared / (1.0 + tangent_squared);
            passed(line.0 / (1.0 - sine_squared / (index * index)).sqrt())
        };
        (0..RINGS).map(ring).sum::<f64>() / f64::from(RINGS)
    }
}

/// The share of a line's light that an even window of this width, centred on the line, passes in a beam: against parallel
/// light.
///
/// The flanks of the window are a tenth of its width. A filter made for fast beams is centred to the red of its line and loses
/// less: give its `centre_nm`.
///
/// # Examples
/// ```
/// use subwell::{rig::{Beam, share_in_band}, units::Nanometres};
/// assert_eq!(share_in_band(Nanometres(656.3), Nanometres(7.0), &Beam::PARALLEL), 1.0);
/// ```
#[must_use]
pub fn share_in_band(line: Nanometres, width: Nanometres, beam: &Beam) -> f64 {
    beam.mean(line, &super::lines::flanked(line, width))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beam(focal_ratio: f64, obstruction: f64) -> Beam {
        Beam { tangents: [obstruction / (2.0 * focal_ratio), 1.0 / (2.0 * focal_ratio)] }
    }

    /// From the formula, worked elsewhere: edge ray of f/2.8 at 10.1°, −2.5 nm at 656 nm for n = 2.
    #[test]
    fn a_beam_of_f_2_8_moves_h_alpha_by_two_and_a_half_nanometres() {
        let sine: f64 = 1.0 / (1.0 + 4.0 * 2.8 * 2.8_f64).sqrt();
        approx::assert_abs_diff_eq!(sine.asin().to_degrees(), 10.1, epsilon = 0.05);
        approx::assert_abs_diff_eq!(band_shift(Nanometres(656.0), 2.8, 2.0).0, 2.5, epsilon = 0.05);
    }

    #[test]
    fn a_ring_loses_more_than_a_full_aperture() {
        let line = Nanometres(656.3);
        let share = |obstruction| share_in_band(line, Nanometres(3.0), &beam(2.0, obstruction));
        assert!(share(0.41) < 0.6 * share(0.0), "{} {}", share(0.41), share(0.0));
        assert!((0.05..0.19).contains(&share(0.41)), "{}", share(0.41));
    }

    #[test]
    fn a_slow_beam_loses_nothing() {
        assert_eq!(share_in_band(Nanometres(656.3), Nanometres(3.0), &beam(6.0, 0.0)), 1.0);
    }

    #[test]
    fn a_line_that_slips_out_is_known_to_a_factor() {
        let (line, width) = (Nanometres(656.3), Nanometres(3.0));
        let spread = beam(2.0, 0.41).spread(line, &super::super::lines::flanked(line, width));
        assert!((0.3..1.2).contains(&spread), "{spread}");
        assert_eq!(beam(6.0, 0.0).spread(line, &super::super::lines::flanked(line, width)), 0.0);
    }
}
