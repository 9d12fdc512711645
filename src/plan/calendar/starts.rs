//! When to begin: the same plan from each of the next evenings on, and the one of least time.

use rayon::prelude::{IntoParallelIterator, ParallelIterator};
use serde::{Deserialize, Serialize};

use crate::night::FilterConditions;
use crate::plan::draft::FilterDraft;
use crate::units::Seconds;

use super::MOST_NIGHTS;
use super::campaign::{Aim, Campaign, Ground};
use super::hours::NightHours;
use super::lane::Lane;
use super::scheduled::{seconds_of, settled_filters};
use crate::allocation::{Assignment, Care};

/// Evenings on which the plan could begin.
pub(super) const EVENINGS: u32 = 28;
/// What another beginning, or other nights, must save to be worth a word.
const WORTH_WAITING: f64 = 0.2;
/// The least time is told beside waiting where it is less than this share of it.
const NO_BETTER: f64 = 0.9;
/// Of beginnings that cost no more than this above the least, the earliest is named.
const AS_GOOD: f64 = 0.03;
const SECONDS: f64 = 3600.0;
/// A factor as near to 1 is 1.
const AS_NEEDED: f64 = 1e-9;

/// The least and the most that filters with the counts of their nights may need, over what they do.
pub(super) type Factors<'a> = dyn Fn(&[(FilterConditions, FilterDraft)]) -> [f64; 2] + Sync + 'a;

/// A plan begun on an evening.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Start {
    /// Local date of the evening.
    pub date: String,
    /// Time on the clock for its subs, as in the plan begun then; `null` where 60 nights do not finish it.
    pub wall_clock_s: Option<Seconds>,
    /// Its likely range, as that of the plan; `null` as it is, and in `wait_until`.
    #[serde(default)]
    pub wall_clock_range_s: Option<[Seconds; 2]>,
    /// Nights that are used.
    pub nights: u32,
    /// Local date of the last evening; `null` where 60 nights do not finish it.
    pub done_on: Option<String>,
}

/// The same picture in the least time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LeastTime {
    /// Time on the clock for its subs, as in the plan.
    pub wall_clock_s: Seconds,
    /// Nights that are used.
    pub nights: u32,
    /// Local date of the first of them.
    pub begins_on: String,
    /// Local date of the last of them.
    pub done_on: String,
    /// What it saves of the plan's time.
    pub saves_percent: f64,
}

impl Ground<'_> {
    /// Seconds of the clock that the subs of an assignment take.
    pub(super) fn seconds(&self, assignment: &Assignment) -> f64 {
        let hours: f64 = assignment.portions.iter().map(|portion| portion.slot.hours).sum();
        hours * self.busy() * SECONDS
    }

    /// The least and the most time over a campaign's own where so many times less and more of everything is needed; more of a
    /// need may take less time, for it can reach into darker nights.
    pub(super) fn ratios(&self, campaign: &Campaign, factors: [f64; 2]) -> [f64; 2] {
        let seconds_for = |factor: f64| {
            let needs: Vec<f64> = campaign.needs.iter().map(|need| need * factor).collect();
            let found = self.problem(&campaign.blocks, &needs, Care::Sum).soonest();
            (found.met >= 1.0).then(|| self.seconds(&found))
        };
        let as_needed = |factor: f64| (factor - 1.0).abs() < AS_NEEDED;
        if factors.iter().all(|factor| as_needed(*factor)) {
            return [1.0, 1.0];
        }
        let central = seconds_for(1.0).filter(|seconds| *seconds > 0.0);
        let ratio = |factor: f64| Some(seconds_for(factor)? / central?);
        let ratios = factors.map(|factor| if as_needed(factor) { 1.0 } else { ratio(factor).unwrap_or(factor) });
        [ratios.into_iter().fold(1.0, f64::min), ratios.into_iter().fold(1.0, f64::max)]
    }

    fn date(&self, night: usize) -> String {
        self.nights[night].date.to_string()
    }

    /// The campaign of least time, where it is worth a word beside one of `now_s`.
    pub(super) fn least_time(&self, now_s: f64, least: &Campaign) -> Option<LeastTime> {
        let then_s = self.seconds(&least.assignment);
        let first = least.assignment.portions.first()?.slot.night;
        let last = least.assignment.last()?;
        let better = least.assignment.met >= 1.0 && now_s.is_finite() && then_s < now_s * (1.0 - WORTH_WAITING);
        better.then(|| LeastTime {
            wall_clock_s: Seconds(then_s),
            nights: least.assignment.nights() as u32,
            begins_on: self.date(first),
            done_on: self.date(last),
            saves_percent: 100.0 * (1.0 - then_s / now_s),
        })
    }

    /// The plan begun on an evening, with its range where it is asked for.
    fn begun(&self, evening: usize, lanes: &[Lane], factors: Option<&Factors<'_>>) -> Start {
        let until = (evening + MOST_NIGHTS as usize).min(self.nights.len());
        let nights: &[NightHours] = &self.nights[evening..until];
        let then = Ground { nights, ..*self };
        let (campaign, listed) = then.worked_out(lanes);
        let finished = listed.tallies.iter().all(|tally| tally.done);
        let wall_clock_s = finished.then(|| Seconds(seconds_of(&campaign, &listed)));
        let range = |factors: &Factors<'_>| {
            let ratios = then.ratios(&campaign, factors(&settled_filters(&campaign, &listed)));
            wall_clock_s.map(|time| ratios.map(|ratio| time * ratio))
        };
        Start {
            date: self.date(evening),
            wall_clock_s,
            wall_clock_range_s: factors.and_then(range),
            nights: listed.nights.len() as u32,
            done_on: listed.nights.last().filter(|_| finished).map(|night| night.date.clone()),
        }
    }
}

/// The plan begun on each of the evenings, each planned as if it were tonight. `all` are the nights of the plan and four
/// weeks more.
pub(super) fn starts(all: Ground<'_>, lanes: &[Lane], factors: &Factors<'_>) -> Vec<Start> {
    (0..EVENINGS as usize).into_par_iter().map(|evening| all.begun(evening, lanes, Some(factors))).collect()
}

/// Ways to spend less time on the same picture, where they are worth a word.
#[derive(Default)]
pub(super) struct Otherwise {
    pub(super) least_time: Option<LeastTime>,
    pub(super) wait_until: Option<Start>,
    pub(super) wait_saves_percent: Option<f64>,
}

impl Otherwise {
    /// Beside a plan of `now_s`; `ground` are the nights of the plan, `all` four weeks more.
    pub(super) fn new(all: Ground<'_>, ground: &Ground<'_>, lanes: &[Lane], now_s: f64) -> Self {
        let least = ground.campaign(lanes, Aim::LeastTime);
        let begins = if Lane::in_shares(lanes) { lanes } else { &least.lanes };
        let (wait_until, wait_saves_percent) = wait_until(all, now_s, &least, begins).unzip();
        let least_time = ground.least_time(now_s, &least);
        // What waiting brings already is not told twice.
        let waited = wait_until.as_ref().and_then(|start| start.wall_clock_s);
        let better = |least: &LeastTime| waited.is_none_or(|waited| least.wall_clock_s.0 <= waited.0 * NO_BETTER);
        Self { least_time: least_time.filter(better), wait_until, wait_saves_percent }
    }
}

/// The evening to wait for and what it saves in percent of the time, where that is more than a fifth: the earliest from which
/// the plan takes hardly more than the least time.
fn wait_until(all: Ground<'_>, now_s: f64, least: &Campaign, begins: &[Lane]) -> Option<(Start, f64)> {
    let latest = least.assignment.portions.first()?.slot.night;
    if least.assignment.met < 1.0 || latest == 0 {
        return None;
    }
    let least_s = all.seconds(&least.assignment);
    if least_s > now_s * (1.0 - WORTH_WAITING) {
        return None;
    }
    let good = |evening: usize| {
        let until = (evening + MOST_NIGHTS as usize).min(least.blocks.len());
        let begun = all.problem(&least.blocks[evening..until], &least.needs, Care::Sum).soonest();
        begun.met >= 1.0 && all.seconds(&begun) <= least_s * (1.0 + AS_GOOD)
    };
    // The nearer to the dark nights the better, so that halving finds it.
    let (mut early, mut late) = (0, latest);
    while late - early > 1 {
        let middle = early.midpoint(late);
        if good(middle) { late = middle } else { early = middle }
    }
    let start = all.begun(late, begins, None);
    let saves = 1.0 - start.wall_clock_s?.0 / now_s;
    (saves > WORTH_WAITING).then_some((start, 100.0 * saves))
}
