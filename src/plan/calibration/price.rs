//! What a master or a pattern adds to the variance of a stack.

use crate::night::PlaneConditions;
use crate::noise::{Calibration, LeftPattern, Patch, PlaneNoise};
use crate::plan::Search;
use crate::plan::filter_solution::FilterSolution;
use crate::units::Electrons;

/// So many frames that their master has no noise.
const ENDLESS: u32 = u32::MAX;

/// A plane that must reach the goal, and what fixed patterns add in it.
pub(super) struct PlanePrice<'a> {
    pub(super) plane: &'a PlaneConditions,
    /// Signal of a sub that the flat acts on.
    pub(super) light: f64,
    /// Charge of the dark current in a sub, and its unevenness among pixels.
    pub(super) dark: f64,
    /// Read noise and quantisation of one frame, e-².
    pub(super) read: f64,
    /// Share of the stack's variance without masters that one e-² of the sensor's pattern adds, …
    of_pattern: f64,
    /// … one of independent pixels in a master, …
    of_white: f64,
    /// … and one of read noise in a master.
    of_read: f64,
}

/// All of them.
pub(super) struct Price<'a> {
    pub(super) planes: Vec<PlanePrice<'a>>,
}

impl<'a> Price<'a> {
    /// Measured on the filter's own search, so that dithers, patch and rejection count as they do in the plan.
    pub(super) fn new(filter: &FilterSolution<'a>) -> Self {
        let governing = filter.conditions.planes.iter().filter(|plane| plane.governs);
        Self { planes: governing.map(|plane| PlanePrice::new(filter, plane)).collect() }
    }

    /// The largest of a number over the planes.
    pub(super) fn worst(&self, of: impl Fn(&PlanePrice<'a>) -> f64) -> f64 {
        self.planes.iter().map(of).fold(0.0, f64::max)
    }

    /// The least of a number over the planes that have one.
    pub(super) fn least(&self, of: impl Fn(&PlanePrice<'a>) -> Option<f64>) -> Option<f64> {
        self.planes.iter().filter_map(of).min_by(f64::total_cmp)
    }
}

impl<'a> PlanePrice<'a> {
    fn new(filter: &FilterSolution<'a>, plane: &'a PlaneConditions) -> Self {
        let noise = plane.noise;
        let masters = |offset: f64| PlaneNoise {
            calibration: Calibration { darks: ENDLESS, flats: ENDLESS, biases: ENDLESS, ..noise.calibration },
            left: LeftPattern { offset: Electrons(offset), ..noise.left },
            ..noise
        };
        let snr = |noise: PlaneNoise, patch: Patch| {
            let search = Search { planes: vec![(noise, patch)], ..filter.search.clone() };
            search.snr(filter.sub, filter.kept.max(1.0), filter.every)
        };
        // A pattern as strong as the sub's own noise, so that the difference of two variances is not lost in rounding.
        let probe = noise.sub(filter.sub).temporal();
        let own = noise.left.offset.0;
        let without = snr(masters(own), plane.patch).powi(-2);
        let added = |patch: Patch| {
            let variance = |offset: f64| snr(masters(offset), patch).powi(-2);
            (variance((own * own + probe).sqrt()) - variance(own)) / probe / without
        };
        Self {
            plane,
            light: (noise.rates.light() * filter.sub).0,
            dark: (noise.rates.dark * filter.sub).0,
            read: noise.read_noise.0.powi(2) + noise.quantisation.0.powi(2),
            of_pattern: added(plane.patch),
            of_white: added(plane.patch.with_white_pattern()),
            of_read: added(plane.patch.with_pattern_of_read_noise()),
        }
    }

    /// The strongest pattern in electrons that adds no more than `share`.
    pub(super) fn allowed(&self, share: f64) -> f64 {
        if self.of_pattern > 0.0 { (share / self.of_pattern).sqrt() } else { f64::MAX }
    }

    /// Share that the master of a single dark adds.
    pub(super) fn dark_adds(&self) -> f64 {
        self.of_white * self.dark + self.read_adds()
    }

    /// Share that the master of a single bias adds where it is taken off the lights.
    pub(super) fn read_adds(&self) -> f64 {
        self.of_read * self.read
    }

    /// Share that the master of a single flat adds.
    pub(super) fn flat_adds(&self) -> f64 {
        self.of_white * self.one_flat()
    }

    /// Share that a single frame taken off the flats adds.
    pub(super) fn zero_of_flats_adds(&self) -> f64 {
        self.of_read * self.one_zero_of_flats()
    }

    /// Variance that one flat brings into every sub.
    ///
    /// ```text
    /// ((S + B + M) t)² / F
    /// ```
    fn one_flat(&self) -> f64 {
        self.light.powi(2) / self.plane.noise.calibration.electrons_per_flat.0
    }

    /// Variance that one frame taken off the flats brings into every sub: the flat is wrong by its noise over its level.
    ///
    /// ```text
    /// ((S + B + M) t)² (R² + q²) / F²
    /// ```
    ///
    /// # Source
    /// Derived here: first order of light over flat in the flat's zero.
    fn one_zero_of_flats(&self) -> f64 {
        self.one_flat() * self.read / self.plane.noise.calibration.electrons_per_flat.0
    }

    /// Variance that one dark brings into every sub: `D t + R² + q²`.
    pub(super) fn one_dark(&self) -> f64 {
        self.dark + self.read
    }
}
