//! What would be in reach where a goal is not: found by planning again, so that who follows it gets a plan.

use crate::night::Night;
use crate::stats::bisect_ratio;

use super::{OutOfReach, PlanError};
use crate::optimum::{two_digits, two_digits_up};

/// Steps in which a goal that can be reached is looked for, and halvings in which the last one is.
const STEPS: usize = 24;
const HALVINGS: usize = 14;
/// From one step to the next.
const STRIDE: f64 = 2.0;
/// More subs, and gigabytes of them, than anybody takes.
const ALL_SUBS: u32 = 1_000_000_000;
const ALL_GIGABYTES: f64 = 1e9;

/// Subs to shoot of each filter of a plan, and what they fill.
pub(super) struct Reached {
    pub(super) most_subs: u64,
    pub(super) most_gigabytes: f64,
}

/// The error with what is really in reach, whatever gain settings and filters there are. `plans` plans a night anew.
pub(super) fn within_reach(
    night: &Night,
    error: PlanError,
    plans: &dyn Fn(&Night) -> Result<Reached, PlanError>,
) -> PlanError {
    let PlanError::OutOfReach { filter, reach } = error else { return error };
    let reach = match reach {
        OutOfReach::Pattern { goal, longest, .. } => match reachable_snr(night, plans) {
            Some(snr) => OutOfReach::Pattern { snr, goal, longest },
            None => reach,
        },
        OutOfReach::TooManySubs { allowed, .. } => {
            let snr = reachable_snr(night, plans);
            let needed = needed_subs(night, plans);
            match (snr, needed) {
                (Some(snr), Some(needed)) => OutOfReach::TooManySubs { needed, allowed, snr },
                (Some(snr), None) => {
                    let goal = night.goal.snr();
                    OutOfReach::Held { snr, goal }
                }
                _ => reach,
            }
        }
        OutOfReach::TooShort { hours, subs, positions, .. } => match enough_hours(night, plans) {
            Some(least_h) => OutOfReach::TooShort { hours, subs, positions, least_h },
            None => reach,
        },
        OutOfReach::NightTooShort { hours, positions, sub, .. } => match long_enough_night(night, plans) {
            Some((least_h, snr)) => OutOfReach::NightTooShort { hours, positions, least_h, snr, sub },
            None => reach,
        },
        OutOfReach::NoLight
        | OutOfReach::Endless
        | OutOfReach::Held { .. }
        | OutOfReach::TargetLow { .. }
        | OutOfReach::FilledBySky { .. } => reach,
    };
    PlanError::OutOfReach { filter, reach }
}

/// The largest goal of two digits that plans; goals of single filters in the same proportion.
fn reachable_snr(night: &Night, plans: &dyn Fn(&Night) -> Result<Reached, PlanError>) -> Option<f64> {
    let goal = night.goal.snr();
    let with = |snr: f64| {
        let mut asked = night.clone();
        asked.goal.snr = Some(snr);
        for filter in &mut asked.filters {
            filter.snr = filter.snr.map(|own| own * snr / goal);
        }
        plans(&asked).is_ok()
    };
    let (mut reached, mut missed) = (goal, goal);
    for _ in 0..STEPS {
        reached = missed / STRIDE;
        if with(reached) {
            break;
        }
        missed = reached;
    }
    let [reached, _] = bisect_ratio([reached, missed], HALVINGS, with);
    Some(two_digits(reached)).filter(|snr| *snr > 0.0 && with(*snr))
}

/// Subs that the goal needs where as many may be taken; rounded up to two digits.
fn needed_subs(night: &Night, plans: &dyn Fn(&Night) -> Result<Reached, PlanError>) -> Option<f64> {
    let with = |subs: f64, gigabytes: f64| {
        let mut asked = night.clone();
        asked.stack.most_subs = Some(subs.min(f64::from(ALL_SUBS)) as u32);
        asked.stack.most_gigabytes = Some(gigabytes);
        plans(&asked)
    };
    let free = with(f64::from(ALL_SUBS), ALL_GIGABYTES).ok()?;
    // The fewer the allowed, the longer the subs: between what a free plan takes and what is too few.
    let gigabytes = free.most_gigabytes.max(night.stack.most_gigabytes()) * 1.01;
    let (few, enough) = (f64::from(night.stack.most_subs()).min(free.most_subs as f64), free.most_subs as f64);
    let [enough, _] = bisect_ratio([enough, few], HALVINGS, |subs| with(subs.ceil(), gigabytes).is_ok());
    let rounded = [enough, enough * 1.02, enough * 1.1, free.most_subs as f64].map(two_digits_up);
    rounded.into_iter().find(|subs| with(*subs, ALL_GIGABYTES).is_ok())
}

/// The least hours, rounded up to two digits, that hold what they must in every filter.
fn enough_hours(night: &Night, plans: &dyn Fn(&Night) -> Result<Reached, PlanError>) -> Option<f64> {
    let with = |hours: f64| {
        let mut asked = night.clone();
        asked.goal.hours = Some(hours);
        plans(&asked).is_ok()
    };
    least_that(night.goal.hours?, &with)
}

/// The same for the clear hours of a night, and the goal that such nights reach where it is less.
fn long_enough_night(
    night: &Night,
    plans: &dyn Fn(&Night) -> Result<Reached, PlanError>,
) -> Option<(f64, Option<f64>)> {
    let with = |hours: f64| {
        let mut asked = night.clone();
        asked.goal.clear_hours_per_night = Some(hours);
        asked
    };
    if let Some(hours) = least_that(night.goal.clear_hours(), &|hours| plans(&with(hours)).is_ok()) {
        return Some((hours, None));
    }
    // Long enough for the positions, though not for the goal.
    let holds = |hours: f64| {
        let too_short =
            |error: &PlanError| matches!(error, PlanError::OutOfReach { reach: OutOfReach::NightTooShort { .. }, .. });
        !plans(&with(hours)).is_err_and(|error| too_short(&error))
    };
    let hours = least_that(night.goal.clear_hours(), &holds)?;
    Some((hours, Some(reachable_snr(&with(hours), plans)?)))
}

fn least_that(missed: f64, with: &dyn Fn(f64) -> bool) -> Option<f64> {
    let (mut missed, mut enough) = (missed, missed);
    for _ in 0..STEPS {
        enough = missed * STRIDE;
        if with(enough) {
            break;
        }
        missed = enough;
    }
    let [enough, _] = bisect_ratio([enough, missed], HALVINGS, with);
    let rounded = [enough, enough * 1.02, enough * 1.1].map(two_digits_up);
    rounded.into_iter().find(|hours| with(*hours))
}
