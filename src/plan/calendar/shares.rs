//! Hours in the ratio of given shares, no more than the goals need.
//!
//! The filter that needs most for its share decides: it is to have information, and gets the hours that bring it most. The
//! others are to have hours, under whatever light is left; one that misses its own goal in it is to have information too,
//! as much of it as takes its share of the hours.

use crate::plan::Demand;
use crate::plan::draft::FilterDraft;
use crate::units::Seconds;

use super::campaign::{Aim, Campaign, Ground};
use super::lane::{Lane, Need};
use super::listed::Tally;

/// Rounds in which needs follow the ratio of the hours, the first of them by whole steps, and how near is near enough.
const ROUNDS: usize = 10;
const WHOLE_STEPS: usize = 2;
const IN_SHARES: f64 = 0.015;
/// A goal that is missed by less than this share of its information is reached.
const OF_A_GOAL: f64 = 5e-3;
/// Whole subs lie in other light than the hours did: a filter is to have hours alone where they bring so much more than its
/// goal, as a logarithm of the information.
const TO_SPARE: f64 = 0.08;

/// What a campaign makes of the shares.
struct Held {
    /// How far the hours lie off the ratio, and off no more than is needed, as a logarithm; what a goal is missed by counts too.
    off: f64,
    /// Hours for each part of the shares.
    of_a_part: f64,
}

impl Ground<'_> {
    /// The campaign of lanes of which two or more have a share, from the one in which each has what it needs; `short` are
    /// those for which hours alone are known to be too little.
    pub(super) fn in_shares(&self, lanes: &[Lane], as_needed: Campaign, aim: Aim, mut short: Vec<bool>) -> Campaign {
        let mut of_a_part = self.held(lanes, &as_needed).of_a_part;
        let (mut best, mut best_off, mut last) = (None, f64::INFINITY, as_needed);
        for round in 0..ROUNDS {
            if best_off < IN_SHARES || of_a_part <= 0.0 {
                break;
            }
            let next = (0..lanes.len()).map(|filter| self.of_share(lanes, &last, (filter, short[filter]), of_a_part));
            let found = self.as_needed(&next.collect::<Vec<_>>(), aim);
            for (filter, short) in short.iter_mut().enumerate() {
                *short |= self.spare(&lanes[filter], &found, filter) < TO_SPARE;
            }
            let held = self.held(lanes, &found);
            // Hours follow needs by leaps where a filter goes from one night to the next: half a step does not overshoot.
            let step = if round < WHOLE_STEPS { 1.0 } else { 0.5 };
            of_a_part *= (held.of_a_part / of_a_part).powf(step);
            if held.off < best_off {
                (best, best_off) = (Some(found.clone()), held.off);
            }
            last = found;
        }
        best.unwrap_or(last)
    }

    /// A filter with the need that takes its share of the hours.
    fn of_share(&self, lanes: &[Lane], last: &Campaign, (filter, short): (usize, bool), of_a_part: f64) -> Lane {
        let (own, before) = (&lanes[filter], &last.lanes[filter]);
        let Some((share, goal)) = own.share_and_goal() else { return before.clone() };
        let hours = of_a_part * share;
        let had = self.hours(&last.assignment, filter);
        let light = Lane { need: own.need, ..before.clone() };
        let needed = match before.need {
            Need::Information(information) => had * goal / information,
            _ => 0.0,
        };
        if needed >= hours * (1.0 - IN_SHARES) {
            return light.with(self, Need::Information(goal), own.search().demand);
        }
        if !short {
            return light.with(self, Need::Hours(hours), Demand::Within(Seconds(hours * 3600.0)));
        }
        // So much more information as takes so much more time.
        let times = match before.need {
            Need::Information(information) if had > 0.0 => (information / goal * hours / had).max(1.0),
            _ => 1.0,
        };
        let demand = match own.search().demand {
            Demand::Snr(snr) => Demand::Snr(snr * times.sqrt()),
            within => within,
        };
        light.with(self, Need::Information(goal * times), demand)
    }

    fn held(&self, lanes: &[Lane], found: &Campaign) -> Held {
        let shared = || {
            let lanes = lanes.iter().zip(&found.lanes).enumerate();
            lanes.filter_map(|(filter, (own, now))| {
                let (share, goal) = own.share_and_goal()?;
                Some((filter, self.hours(&found.assignment, filter) / share, goal, now))
            })
        };
        let needed = shared().filter_map(|(_, part, goal, now)| match now.need {
            Need::Information(information) => Some(part * goal / information),
            _ => None,
        });
        let of_a_part = needed.fold(0.0, f64::max);
        let off = |(filter, part, _, _): (usize, f64, f64, &Lane)| {
            let missed = match found.lanes[filter].need {
                Need::Hours(_) => TO_SPARE - self.spare(&lanes[filter], found, filter),
                _ => 0.0,
            };
            (part / of_a_part).ln().abs().max(missed)
        };
        Held { off: shared().map(off).fold(0.0, f64::max), of_a_part }
    }

    /// What the hours of a filter bring above its goal, as a logarithm of the information; endless where it has no share.
    fn spare(&self, own: &Lane, found: &Campaign, filter: usize) -> f64 {
        let Some((_, goal)) = own.share_and_goal() else { return f64::INFINITY };
        let portions = found.assignment.portions.iter().filter(|portion| portion.filter == filter);
        let brings = portions.map(|portion| {
            let block = &self.nights[portion.slot.night].blocks[portion.slot.block];
            found.lanes[filter].rate(&block.rates[filter], self.busy()) * portion.slot.hours
        });
        (brings.sum::<f64>() / goal).ln()
    }
}

impl Lane {
    /// Its share of the hours and the information that its goal needs, where it has both.
    fn share_and_goal(&self) -> Option<(f64, f64)> {
        let Need::Information(goal) = self.need else { return None };
        Some((self.share.filter(|share| *share > 0.0)?, goal))
    }

    /// Whether its hours, in the whole subs of a campaign, miss the goal.
    pub(super) fn is_missed(&self, now: &Self, tally: &Tally) -> bool {
        let missed = |(_, goal): (f64, f64)| tally.least() < goal * (1.0 - OF_A_GOAL);
        matches!(now.need, Need::Hours(_)) && self.share_and_goal().is_some_and(missed)
    }

    /// Whether two of these or more have a share of the hours beside a goal.
    pub(super) fn in_shares(lanes: &[Self]) -> bool {
        lanes.iter().filter(|lane| lane.share_and_goal().is_some()).count() > 1
    }

    /// The same with another need, and the sub that suits what is demanded then; as it is where none does.
    fn with(self, ground: &Ground<'_>, need: Need, demand: Demand) -> Self {
        let share = self.draft.share_in_hand(ground.night);
        match FilterDraft::new(ground.night, ground.mode, &self.conditions, demand, share) {
            Ok(draft) => Self { need, draft, ..self },
            Err(_) => self,
        }
    }
}
