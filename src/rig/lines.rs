//! What a plane sees of emission lines behind a filter.

use crate::units::{EmissionLine, Nanometres};

use super::array;
use super::fast_beam::Beam;
use super::passband::{Detector, H_ALPHA, OIII, SII};

/// Hβ (NIST).
const H_BETA: Nanometres = Nanometres(486.1);
/// What a line without a name can be.
const LINES: [Nanometres; 4] = [H_BETA, OIII, H_ALPHA, SII];

/// A line typed without its name is the one that a filter up to the first width is after, and Hα in a filter from the second
/// width on; between, the one goes over into the other.
const OWN_LINE: [f64; 2] = [30.0, 100.0];
/// A filter's flanks, as a share of its width: half of the peak is reached at half of the width (common practice, no source).
const FLANK: f64 = 0.1;

/// A plane that sees less than this of a window or line is taken to see none of it.
pub(super) const LEAST_RESPONSE: f64 = 0.1;

/// What a plane sees of the lines in one window.
pub(super) struct Lines<'a> {
    pub(super) detector: &'a Detector,
    pub(super) beam: &'a Beam,
    /// Quantum efficiency at the peak.
    pub(super) peak: f64,
}

impl Lines<'_> {
    /// Efficiency at one line, where `passed` is the share of its peak that the filter passes at a wavelength.
    fn at(&self, line: Nanometres, passed: &impl Fn(f64) -> f64) -> f64 {
        self.peak * self.response(line) * self.beam.mean(line, passed)
    }

    fn response(&self, line: Nanometres) -> f64 {
        self.detector.colour.map_or(1.0, |colour| array::response(colour, line, self.detector.modified))
    }

    pub(super) fn all(&self, passed: &impl Fn(f64) -> f64) -> [f64; EmissionLine::ALL.len()] {
        EmissionLine::ALL.map(|line| self.at(line.wavelength(), passed))
    }

    /// How sure an efficiency is: the array's response, and what the filter's index makes of a fast beam.
    pub(super) fn relative(&self, line: Nanometres, passed: &impl Fn(f64) -> f64) -> f64 {
        let of_array = self.detector.colour.map_or(0.0, |_| array::RESPONSE_UNCERTAINTY);
        of_array.hypot(self.beam.spread(line, passed))
    }

    /// The line that one without a name is taken for, and the efficiency there: `own`, else the one that is seen best, of
    /// several alike the one nearest to the middle; in wide windows Hα.
    pub(super) fn typed(
        &self,
        own: Option<Nanometres>,
        [centre, width]: [Nanometres; 2],
        passed: &impl Fn(f64) -> f64,
    ) -> (Nanometres, Option<f64>) {
        let seen = |line: Nanometres| self.response(line) * passed(line.0);
        let off = |line: Nanometres| (line.0 - centre.0).abs();
        let better = |a: &Nanometres, b: &Nanometres| seen(*a).total_cmp(&seen(*b)).then(off(*b).total_cmp(&off(*a)));
        let own =
            own.or_else(|| LINES.into_iter().filter(|line| passed(line.0) > 0.0).max_by(better)).unwrap_or(centre);
        let [from, to] = OWN_LINE;
        let wide = ((width.0 / from).ln() / (to / from).ln()).clamp(0.0, 1.0);
        let h_alpha = passed(H_ALPHA.0).min(1.0) * wide * wide * (3.0 - 2.0 * wide);
        let efficiency = |line: Nanometres| if LINES.contains(&line) { self.at(line, passed) } else { 0.0 };
        let of_own = (1.0 - h_alpha) * efficiency(own);
        let of_h_alpha = h_alpha * self.peak * self.response(H_ALPHA);
        let sum = of_own + of_h_alpha;
        if sum < LEAST_RESPONSE * self.peak * self.beam.mean(own, passed).min(1.0) || sum <= 0.0 {
            return (own, None);
        }
        (Nanometres((of_own * own.0 + of_h_alpha * H_ALPHA.0) / sum), Some(sum))
    }
}

/// What a window with flanks passes at a wavelength, its peak = 1.
pub(super) fn flanked(centre: Nanometres, width: Nanometres) -> impl Fn(f64) -> f64 {
    move |nm| (0.5 + (width.0 / 2.0 - (nm - centre.0).abs()) / (FLANK * width.0)).clamp(0.0, 1.0)
}
