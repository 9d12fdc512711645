//! What is planned beside the optimum needs to know of it: lengths and counts, filter by filter.

use crate::noise::{Patch, PlaneNoise};
use crate::units::Seconds;

use super::{Demand, Search, SetBy};
use crate::night::{FilterConditions, Limits, PlaneConditions};

/// One filter of a plan whose sub length and counts stand.
#[derive(Clone, Copy)]
pub(crate) struct FilterSolution<'a> {
    pub(crate) conditions: &'a FilterConditions,
    pub(crate) search: &'a Search,
    pub(crate) set_by: SetBy,
    pub(crate) sub: Seconds,
    /// A dither after so many subs.
    pub(crate) every: f64,
    /// Subs in the stack.
    pub(crate) kept: f64,
    pub(crate) wall_clock: Seconds,
}

impl FilterSolution<'_> {
    /// The filter's search for other planes, nothing else changed.
    pub(crate) fn search_with(&self, change: impl Fn(&PlaneConditions) -> PlaneNoise) -> Search {
        let governing = self.conditions.planes.iter().filter(|plane| plane.governs);
        let box_px = self.search.dither_box_px;
        let planes = governing.map(|plane| (change(plane), plane.patch.dithered_within(box_px))).collect();
        Search { planes, ..self.search.clone() }
    }

    /// The search in which one pixel of one plane must reach `snr` at so many electrons per second, in subs of any
    /// length: the stack's rules without the goal.
    pub(crate) fn pixel_search(&self, noise: PlaneNoise, snr: f64) -> Search {
        let demand = Demand::Snr(snr);
        Search { planes: vec![(noise, Patch::PIXEL)], demand, limits: Limits::default(), ..self.search.clone() }
    }
}
