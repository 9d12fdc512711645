//! Hours for the goal before any rounding: what two ways of working are compared by.

use crate::camera::Mode;
use crate::noise::{NoiseShares, Patch, PlaneNoise, Stack};
use crate::units::Seconds;

use crate::night::{Conditions, FilterConditions, Night};
use crate::optimum::golden_section;
use crate::plan::draft::{DITHER_BOXES_PX, filled_by_the_sky, search, shares};
use crate::plan::range::{Source, moved_search};
use crate::plan::{Demand, OutOfReach, PlanError, Search};

/// Lengths at which the first look is taken, evenly in their logarithm.
const LOOKS: usize = 32;

/// The least wall-clock time of one filter with its sub and cadence, none of them rounded.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Least {
    pub(super) seconds: f64,
    sub: Seconds,
    every: f64,
    subs: f64,
    search: Search,
}

impl Least {
    /// Where the stack's variance comes from in the plane that is worst off.
    pub(super) fn shares(&self) -> Option<NoiseShares> {
        let stack = Stack {
            subs: self.subs,
            dither_every: self.every,
            dither_box_px: self.search.dither_box_px,
            clip: self.search.clip,
        };
        let snr = |(noise, patch): &(PlaneNoise, Patch)| stack.snr(&noise.sub(self.sub), *patch);
        let worst = self.search.planes.iter().min_by(|a, b| snr(a).total_cmp(&snr(b)));
        worst.map(|(noise, patch)| stack.shares(&noise.sub(self.sub), *patch))
    }

    pub(super) fn sub(&self) -> Seconds {
        self.sub
    }
}

/// The hours of a night in every filter.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hours {
    /// All filters together, in their shares where these were given.
    pub(super) seconds: f64,
    /// Each filter.
    pub(super) filters: Vec<Least>,
}

/// The least wall-clock time for the night's signal over noise, nothing rounded; `None` where no number of subs reaches it.
///
/// The rules that bind a short target alone (least subs and positions in all, most subs and gigabytes) are left out: the
/// ratio of two such times is that of a target which takes nights.
///
/// # Errors
/// When a filter passes nothing of the target, or the sky alone fills the subs that were asked for.
pub(super) fn hours(night: &Night, mode: &Mode, conditions: &Conditions) -> Result<Option<Hours>, PlanError> {
    hours_moved(night, mode, conditions, None)
}

/// [`hours`] with one source of uncertainty moved by so many standard uncertainties.
pub(super) fn hours_moved(
    night: &Night,
    mode: &Mode,
    conditions: &Conditions,
    moved: Option<(Source, f64)>,
) -> Result<Option<Hours>, PlanError> {
    let mut filters = Vec::new();
    for filter in &conditions.filters {
        if !filter.planes.iter().any(|plane| plane.governs) {
            return Err(PlanError::OutOfReach { filter: filter.name.clone(), reach: OutOfReach::NoLight });
        }
        if let Some(reach) = filled_by_the_sky(night, filter) {
            return Err(PlanError::OutOfReach { filter: filter.name.clone(), reach });
        }
        match least(&free_search(night, mode, filter, moved)) {
            Some(found) => filters.push(found),
            None => return Ok(None),
        }
    }
    let shared = filters.len() > 1 && conditions.filters.iter().any(|filter| filter.share.is_some());
    let seconds = || filters.iter().map(|filter| filter.seconds);
    let seconds = if shared {
        let whole = seconds().zip(shares(conditions)).filter(|(_, share)| *share > 0.0);
        whole.map(|(seconds, share)| seconds / share).fold(0.0, f64::max)
    } else {
        seconds().sum()
    };
    Ok(Some(Hours { seconds, filters }))
}

/// The plan's search without the rules that bind a short target, dithered so widely that no place is hit twice.
fn free_search(night: &Night, mode: &Mode, filter: &FilterConditions, moved: Option<(Source, f64)>) -> Search {
    let demand = Demand::Snr(filter.asked_snr(&night.goal));
    let box_px = DITHER_BOXES_PX[DITHER_BOXES_PX.len() - 1];
    let plain = search(night, mode, filter, demand, box_px);
    let plain = match moved {
        Some((source, sigmas)) => moved_search(&plain, &filter.planes, source, sigmas),
        None => plain,
    };
    Search { min_subs: 1.0, min_positions: 1.0, most_subs: f64::MAX, ..plain }
}

/// The least wall-clock time over lengths and cadences that are no whole numbers: with nothing rounded it rises with every
/// rate of noise.
fn least(search: &Search) -> Option<Least> {
    if let Some(sub) = search.asked.sub {
        let (seconds, subs, every) = at(search, sub)?;
        return Some(Least { seconds, sub, every, subs, search: search.clone() });
    }
    let (shortest, longest) = (search.shortest(), search.longest());
    let last = (LOOKS - 1) as f64;
    let step = (longest / shortest).ln() / last;
    let length = |look: f64| Seconds((shortest * (look * step).exp()).min(longest));
    let cost = |look: f64| at(search, length(look)).map_or(f64::INFINITY, |found| found.0);
    let costs: Vec<f64> = (0..LOOKS).map(|look| cost(look as f64)).collect();
    let best = (0..LOOKS).min_by(|a, b| costs[*a].total_cmp(&costs[*b]))? as f64;
    let refined = golden_section(&cost, (best - 1.0).max(0.0), (best + 1.0).min(last));
    let looks = [refined, best];
    let look = looks.into_iter().min_by(|a, b| cost(*a).total_cmp(&cost(*b)))?;
    let (seconds, subs, every) = at(search, length(look))?;
    Some(Least { seconds, sub: length(look), every, subs, search: search.clone() })
}

/// Wall-clock seconds, subs and cadence at the best cadence for one length; `None` where the goal cannot be reached.
fn at(search: &Search, sub: Seconds) -> Option<(f64, f64, f64)> {
    let snr = search.demand_snr()?;
    let length = search.length(sub);
    let at_cadence = |every: f64| length.subs_for(snr, every).map(|subs| (length.wall_clock(subs, every), subs, every));
    if let Some(every) = search.asked.every {
        return at_cadence(every);
    }
    let slowest = length.slowest_cadence_unrounded().min(1e6);
    if slowest < 1.0 {
        return None;
    }
    let cadences: Vec<f64> = length.closed_cadences().map(|closed| closed.clamp(1.0, slowest)).collect();
    // A plane that is worst off at the cadence that is best for itself has set the time: for all, none is better.
    if let Some(own) = (0..cadences.len()).find(|plane| length.governs(*plane, snr, cadences[*plane])) {
        return at_cadence(cadences[own]);
    }
    let cost = |look: f64| at_cadence(look.exp()).map_or(f64::INFINITY, |found| found.0);
    at_cadence(golden_section(&cost, 0.0, slowest.ln()).exp())
}
