//! The plan over the nights: which filter in which hours, each with the sub and the cadence that suit its own hours.

use rayon::iter::{IndexedParallelIterator, IntoParallelRefIterator, ParallelIterator};

use crate::camera::Mode;
use crate::night::Night;
use crate::noise::Rates;

use super::hours::NightHours;
use super::lane::{BETTER, Lane, Need};
use crate::allocation::{Assignment, Block, Care, Problem};

const MINUTES: f64 = 60.0;
/// Nobody goes out for less than this after set-up (common practice, no source).
const WORTH_H: f64 = 0.25;
/// Rounds in which lengths follow hours and hours lengths.
const ROUNDS: usize = 3;
/// Where the light of a filter's hours changes by less than this, its sub stays.
const SAME_LIGHT: f64 = 0.02;

/// What is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Aim {
    /// The earliest last evening, then the least time.
    Soonest,
    /// The least time.
    LeastTime,
}

/// What all campaigns of a night and a camera share.
#[derive(Clone, Copy)]
pub(super) struct Ground<'a> {
    pub(super) night: &'a Night,
    pub(super) mode: &'a Mode,
    /// The nights that can be used, from the first on.
    pub(super) nights: &'a [NightHours],
}

/// Filters with their subs, and who gets what.
#[derive(Clone)]
pub(super) struct Campaign {
    pub(super) lanes: Vec<Lane>,
    pub(super) assignment: Assignment,
    /// Information that an hour of each block brings.
    pub(super) blocks: Vec<Vec<Block>>,
    /// Information that each filter is to have.
    pub(super) needs: Vec<f64>,
}

impl Ground<'_> {
    pub(super) fn busy(&self) -> f64 {
        1.0 - self.night.goal.refocus_min_per_hour() / MINUTES
    }

    pub(super) fn setup_h(&self) -> f64 {
        self.night.goal.setup_min() / MINUTES
    }

    /// What an hour of each block brings each filter.
    pub(super) fn blocks(&self, lanes: &[Lane]) -> Vec<Vec<Block>> {
        let busy = self.busy();
        let rates = |of_filters: &[Vec<Rates>]| {
            lanes.iter().zip(of_filters).map(|(lane, rates)| lane.toward_need(rates, busy)).collect()
        };
        let of_night = |night: &NightHours| {
            let mut ended = night.blocks.first().map(|block| block.span.from);
            let block = |block: &super::hours::BlockHours| {
                let before = ended.replace(block.span.to).unwrap_or(block.span.from);
                let gap_h = block.span.from.hours_since(before).max(0.0);
                Block { hours: block.span.hours(), gap_h, rates: rates(&block.rates) }
            };
            night.blocks.iter().map(block).collect()
        };
        self.nights.iter().map(of_night).collect()
    }

    pub(super) fn problem<'p>(&self, blocks: &'p [Vec<Block>], needs: &'p [f64], care: Care) -> Problem<'p> {
        let (setup_h, clear) = (self.setup_h(), self.night.goal.clear_hours());
        Problem { nights: blocks, needs, setup_h, most_h: setup_h + clear, least_h: WORTH_H.min(clear), care }
    }

    /// What each filter needs: information, or hours where those were asked for.
    pub(super) fn needs(&self, lanes: &[Lane]) -> Vec<f64> {
        let need = |lane: &Lane| match lane.need {
            Need::Nothing => 0.0,
            Need::Information(information) => information.max(lane.least_kept() * lane.information_of_a_sub()),
            Need::Hours(hours) => lane.filled(hours) * (1.0 + BETTER),
        };
        lanes.iter().map(need).collect()
    }

    /// Hours of subs that a filter has, without refocusing.
    pub(super) fn hours(&self, assignment: &Assignment, filter: usize) -> f64 {
        assignment.hours_with(filter) * self.busy()
    }

    fn solved(&self, lanes: Vec<Lane>, aim: Aim, care: Care) -> Campaign {
        let blocks = self.blocks(&lanes);
        let needs = self.needs(&lanes);
        let problem = self.problem(&blocks, &needs, care);
        let assignment = match aim {
            Aim::Soonest => problem.soonest(),
            Aim::LeastTime => problem.least().unwrap_or_else(|| problem.soonest()),
        };
        Campaign { lanes, assignment, blocks, needs }
    }

    /// The campaign, beginning with these subs.
    pub(super) fn campaign(&self, lanes: &[Lane], aim: Aim) -> Campaign {
        self.campaign_with(lanes, aim, &vec![false; lanes.len()])
    }

    /// The same where hours alone are known to be too little for some of those that have a share.
    pub(super) fn campaign_with(&self, lanes: &[Lane], aim: Aim, short: &[bool]) -> Campaign {
        let found = self.as_needed(lanes, aim);
        if Lane::in_shares(lanes) { self.in_shares(lanes, found, aim, short.to_vec()) } else { found }
    }

    /// The campaign for the needs as they are.
    pub(super) fn as_needed(&self, lanes: &[Lane], aim: Aim) -> Campaign {
        let mut lanes = lanes.to_vec();
        for _ in 0..ROUNDS {
            let found = self.solved(lanes, aim, Care::Sum);
            let (fitted, changed) = self.fitted(&found);
            lanes = fitted;
            if !changed {
                break;
            }
        }
        self.solved(lanes, aim, Care::Thorough)
    }

    /// The same hours with the subs that suit them, and whether any changed.
    fn fitted(&self, found: &Campaign) -> (Vec<Lane>, bool) {
        let fit = |(filter, lane): (usize, &Lane)| {
            let Some(rates) = self.mean_rates(&found.assignment, filter) else { return (lane.clone(), false) };
            let planes = || lane.conditions.planes.iter().zip(&rates);
            let same = planes().all(|(plane, rates)| {
                let ratio = |now: f64, before: f64| if before > 0.0 { (now / before).ln().abs() } else { now };
                ratio(rates.background().0, plane.noise.rates.background().0) < SAME_LIGHT
                    && ratio(rates.target.0, plane.noise.rates.target.0) < SAME_LIGHT
            });
            if same {
                return (lane.clone(), false);
            }
            (lane.under(self.night, self.mode, &rates).unwrap_or_else(|| lane.clone()), true)
        };
        let (lanes, changed): (Vec<Lane>, Vec<bool>) = found.lanes.par_iter().enumerate().map(fit).unzip();
        (lanes, changed.contains(&true))
    }

    /// The mean rates of the planes of a filter over its hours; `None` where it has none.
    fn mean_rates(&self, assignment: &Assignment, filter: usize) -> Option<Vec<Rates>> {
        let own = assignment.portions.iter().filter(|portion| portion.filter == filter);
        let weighed = own.map(|portion| {
            let block = &self.nights[portion.slot.night].blocks[portion.slot.block];
            (portion.slot.hours, &block.rates[filter][..])
        });
        mean_of(weighed)
    }
}

/// The weighed mean of the rates of some planes.
pub(super) fn mean_of<'a>(weighed: impl Iterator<Item = (f64, &'a [Rates])>) -> Option<Vec<Rates>> {
    let mut all: Option<(f64, Vec<Rates>)> = None;
    for (weight, rates) in weighed {
        let (total, sums) = all.get_or_insert_with(|| (0.0, vec![Rates::default(); rates.len()]));
        *total += weight;
        for (sum, rates) in sums.iter_mut().zip(rates) {
            *sum = sum.combined(*rates, |sum, rate| sum + rate * weight);
        }
    }
    let (total, sums) = all.filter(|(total, _)| *total > 0.0)?;
    Some(sums.into_iter().map(|sum| sum.combined(sum, |sum, _| sum * (1.0 / total))).collect())
}
