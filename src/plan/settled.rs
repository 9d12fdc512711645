//! What is planned beside the optimum needs to know of it: lengths and counts, filter by filter.

use crate::noise::{Patch, PlaneNoise};
use crate::units::Seconds;

use super::{Demand, FilterConditions, Limits, PlaneConditions, Search, SetBy};

/// One filter of a plan whose sub length and counts stand.
#[derive(Clone, Copy)]
pub(super) struct SettledFilter<'a> {
    pub(super) conditions: &'a FilterConditions,
    pub(super) search: &'a Search,
    pub(super) set_by: SetBy,
    pub(super) sub: Seconds,
    /// A dither after so many subs.
    pub(super) every: f64,
    /// Subs in the stack.
    pub(super) kept: f64,
    /// Subs to shoot.
    pub(super) shot: u64,
    pub(super) wall_clock: Seconds,
}

impl SettledFilter<'_> {
    /// The filter's search for other planes, nothing else changed.
    pub(super) fn search_with(&self, change: impl Fn(&PlaneConditions) -> PlaneNoise) -> Search {
        let governing = self.conditions.planes.iter().filter(|plane| plane.governs);
        let planes = governing.map(|plane| (change(plane), plane.patch)).collect();
        Search { planes, ..self.search.clone() }
    }

    /// The search in which one pixel of one plane must reach `snr` at so many electrons per second, in subs of any
    /// length: the stack's rules without the goal.
    pub(super) fn pixel_search(&self, noise: PlaneNoise, snr: f64) -> Search {
        let demand = Demand::Snr(snr);
        Search { planes: vec![(noise, Patch::PIXEL)], demand, limits: Limits::default(), ..self.search.clone() }
    }
}
