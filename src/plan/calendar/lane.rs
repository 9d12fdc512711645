//! One filter as the calendar sees it: its sub and cadence, what it needs, and what an hour anywhere brings it.

use crate::camera::Mode;
use crate::night::{FilterConditions, Night};
use crate::noise::{Patch, PlaneNoise, Rates, Stack};
use crate::plan::draft::FilterDraft;
use crate::plan::{Demand, Search};

const SECONDS: f64 = 3600.0;
/// What the best hour counts more than the worst where hours were asked for.
pub(super) const BETTER: f64 = 0.01;
/// So many times the mean counts as the best.
const MOST_QUALITY: f64 = 4.0;

/// What a filter is to have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::plan) enum Need {
    /// A squared signal over noise in the plane that is worst off.
    Information(f64),
    /// Hours of the clock.
    Hours(f64),
    /// Nothing: it is done.
    Nothing,
}

/// One filter with the length and cadence of its subs.
#[derive(Clone)]
pub(super) struct Lane {
    pub(super) conditions: FilterConditions,
    pub(super) draft: FilterDraft,
    pub(super) need: Need,
    /// Its share of the hours, where its hours are to stand in a ratio to those of others.
    pub(super) share: Option<f64>,
}

impl Lane {
    pub(super) fn search(&self) -> &Search {
        &self.draft.search
    }

    pub(super) fn every(&self) -> f64 {
        self.draft.counts.every as f64
    }

    fn kept(&self) -> f64 {
        (self.draft.counts.kept as f64).max(1.0)
    }

    /// Mean seconds of the clock for a sub.
    pub(super) fn pace(&self) -> f64 {
        self.pace_at(self.every())
    }

    /// The same with a dither after so many subs.
    pub(super) fn pace_at(&self, every: f64) -> f64 {
        self.search().pace(self.draft.sub(), every)
    }

    /// The cadence of a session of so many subs: as often as the positions of a night ask for, where nobody said otherwise.
    pub(super) fn every_of_session(&self, subs: f64) -> f64 {
        let search = self.search();
        if search.asked.every.is_some() {
            return self.every();
        }
        (subs / search.min_positions_per_night).floor().clamp(1.0, self.every())
    }

    /// Subs to shoot for one that is kept.
    pub(super) fn shot_per_kept(&self) -> f64 {
        self.search().shot_per_kept(self.draft.sub())
    }

    /// Information of a sub that is kept, in the mean of the plan.
    pub(super) fn information_of_a_sub(&self) -> f64 {
        self.draft.snr_with(self.kept()).powi(2) / self.kept()
    }

    /// The same of one that is shot.
    pub(super) fn information_of_a_shot(&self) -> f64 {
        self.information_of_a_sub() / self.shot_per_kept()
    }

    /// Of hours that are to be had, those that the most subs fill.
    pub(super) fn filled(&self, hours: f64) -> f64 {
        hours.min(self.search().most_subs * self.pace() / SECONDS)
    }

    /// What a sub that is shot adds toward the need, in the mean of the plan.
    pub(super) fn toward_need_of_a_shot(&self) -> f64 {
        match self.need {
            Need::Hours(_) => self.pace() / SECONDS,
            _ => self.information_of_a_shot(),
        }
    }

    /// The planes that must reach the goal with the noise that they have under these rates of all planes.
    fn governing<'a>(&'a self, rates: &'a [Rates]) -> impl Iterator<Item = PlaneNoise> + 'a {
        let planes = self.conditions.planes.iter().zip(rates);
        planes.filter(|(plane, _)| plane.governs).map(|(plane, rates)| PlaneNoise { rates: *rates, ..plane.noise })
    }

    /// What a sub that is shot adds to the squared signal over noise of each governing plane, as one of so many kept ones;
    /// nothing where the sky would fill one that was not asked for.
    ///
    /// Means of subs, each weighed by its own quality, add up so; the floor that dithers leave is shared out as if all subs
    /// were alike, which a box that is wide enough makes a matter of one or two percent at most.
    pub(super) fn information(&self, rates: &[Rates]) -> Vec<f64> {
        let sub = self.draft.sub();
        let rates_of = || rates.iter().copied();
        let longest = match self.search().asked.sub {
            Some(_) => self.conditions.filled_after(rates_of()),
            None => self.conditions.sky_limit(rates_of()),
        };
        if longest.is_some_and(|longest| longest < sub) {
            return vec![0.0; self.search().planes.len()];
        }
        let kept = self.kept();
        let stack = Stack { subs: kept, ..self.draft.stack() };
        let of = |(noise, (_, patch)): (PlaneNoise, &(PlaneNoise, Patch))| {
            stack.snr(&noise.sub(sub), *patch).powi(2) / kept / self.shot_per_kept()
        };
        self.governing(rates).zip(&self.search().planes).map(of).collect()
    }

    /// What an hour of the clock of which so much goes to subs brings toward the need: information in the plane that gains
    /// least; where hours were asked for, hours, the better ones by a hair more.
    pub(super) fn toward_need(&self, rates: &[Rates], busy: f64) -> f64 {
        let Need::Hours(_) = self.need else { return self.rate(rates, busy) };
        let quality = self.rate(rates, 1.0) / self.rate_in_the_mean().max(f64::MIN_POSITIVE);
        if quality > 0.0 { busy * (1.0 + BETTER * quality.min(MOST_QUALITY) / MOST_QUALITY) } else { 0.0 }
    }

    /// Information in an hour of subs in the mean of the plan.
    fn rate_in_the_mean(&self) -> f64 {
        self.information_of_a_shot() * SECONDS / self.pace()
    }

    /// The same for an hour of the clock of which so much goes to subs, in the plane that gains least.
    pub(super) fn rate(&self, rates: &[Rates], busy: f64) -> f64 {
        let least = self.information(rates).into_iter().fold(f64::INFINITY, f64::min);
        if least.is_finite() { least * busy * SECONDS / self.pace() } else { 0.0 }
    }

    /// The same filter under other light, with the sub that suits it; `None` where none reaches the goal in it.
    pub(super) fn under(&self, night: &Night, mode: &Mode, rates: &[Rates]) -> Option<Self> {
        let conditions = self.conditions.under(rates, night.goal.star_mag_kept);
        let share = self.draft.share_in_hand(night);
        let draft = FilterDraft::new(night, mode, &conditions, self.search().demand, share).ok()?;
        Some(Self { conditions, draft, ..*self })
    }

    /// Subs that must be kept whatever they bring, beside those in hand.
    pub(super) fn least_kept(&self) -> f64 {
        match self.search().demand {
            Demand::Snr(_) => (self.search().least_subs(self.every()) - self.draft.in_hand_subs()).max(0.0),
            Demand::Within(_) => 0.0,
        }
    }
}
