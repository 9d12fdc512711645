//! The night while it runs: what each new light says, and the few words that are worth saying aloud.
//!
//! ```text
//! review of all lights so far ──► lines (one for each new light)
//!            │
//!            └──► words: a goal reached, cloud or dew that stays, a target that sinks, a better length or filter
//! ```
//!
//! Every number is the review's own, so that the morning finds the same ones. A word is said once, when it has held for a few
//! subs, and again only after it had stopped being true.

mod advice;
mod said;
mod sinking;

use std::collections::{BTreeMap, BTreeSet};

use crate::camera::CameraProfile;
use crate::caveat::Rejected;
use crate::night::Night;
use crate::plan::{Plan, plan};
use crate::stats::{Estimate, median};

pub use said::{RunningStack, Said, Spoken, WatchLine, WatchedSub, Word};

use super::answer::{FilterReview, Review, SubReview};
use super::campaign::evening;
use super::signs::Sign;
use advice::Advised;

/// Subs in a row for which something must hold before it is worth a word.
const STAYS: usize = 5;
/// Subs in a row without it before it can be worth one again.
const GONE: usize = 3;
/// Subs that "at this rate" looks back on.
const RECENT: usize = 12;
/// A goal that was reached counts as lost again below this share of it.
const LOST_AGAIN: f64 = 0.98;

/// What was said of a running night so far; each new review of it is told what is new.
pub struct Running<'a> {
    night: &'a Night,
    camera: &'a CameraProfile,
    plan: Option<Plan>,
    /// The evening of the lights, which is not in hand yet.
    evening: Option<String>,
    reached: BTreeSet<String>,
    cloud: Stay,
    dew: Stay,
    sinking: bool,
    length: BTreeMap<String, Advised>,
    filter: Advised,
}

/// Something that lasts over several subs.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
struct Stay {
    told: bool,
}

impl Stay {
    /// Whether it is to be said now, where the newest subs show it (true) or not, newest last.
    fn now(&mut self, shows: &[bool]) -> bool {
        let last = |count: usize| shows.len() >= count;
        let ends = |count: usize, is: bool| last(count) && shows[shows.len() - count..].iter().all(|one| *one == is);
        if self.told && ends(GONE, false) {
            self.told = false;
        }
        let now = !self.told && ends(STAYS, true);
        self.told |= now;
        now
    }
}

impl<'a> Running<'a> {
    /// A night of which nothing was said yet.
    #[must_use]
    pub fn new(night: &'a Night, camera: &'a CameraProfile) -> Self {
        Self {
            night,
            camera,
            // A goal out of reach is no reason not to watch.
            plan: plan(night, camera).ok(),
            evening: None,
            reached: BTreeSet::new(),
            cloud: Stay::default(),
            dew: Stay::default(),
            sinking: false,
            length: BTreeMap::new(),
            filter: Advised::default(),
        }
    }

    /// What is new in a review: a line for each of its lights named in `fresh`, one for each file named there that was left
    /// out, and what is worth a word.
    pub fn next(&mut self, review: &Review, fresh: &BTreeSet<String>) -> Vec<Said> {
        self.know_evening(review);
        let mut said: Vec<Said> = self.left_out(&review.left_out, fresh);
        let subs = by_time(review);
        let new: Vec<&SubReview> = subs.iter().copied().filter(|sub| fresh.contains(&sub.file)).collect();
        // Of lights that came together only a filter's last one knows how far its stack is.
        let is_last = |at: usize| new[at + 1..].iter().all(|later| later.filter != new[at].filter);
        let lines = new.iter().enumerate().map(|(at, sub)| self.line(review, sub, is_last(at)));
        said.extend(lines.map(|line| Said::Sub(Box::new(line))));
        if !subs.is_empty() {
            said.extend(self.words(review, &subs).into_iter().map(Said::Word));
        }
        said
    }

    /// What the night file holds of this very evening is no earlier night's.
    fn know_evening(&mut self, review: &Review) {
        let evening = evening(review);
        if evening == self.evening {
            return;
        }
        let mut night = self.night.clone();
        let before = night.goal.already.len();
        night.goal.already.retain(|stack| stack.evening.is_none() || stack.evening != evening);
        if night.goal.already.len() < before {
            self.plan = plan(&night, self.camera).ok();
        }
        self.evening = evening;
    }

    /// How far the stack of each filter is.
    #[must_use]
    pub fn stacks(&self, review: &Review) -> Vec<RunningStack> {
        review.filters.iter().map(|filter| self.stack(review, filter)).collect()
    }

    fn left_out(&self, left_out: &[Rejected], fresh: &BTreeSet<String>) -> Vec<Said> {
        left_out.iter().filter(|file| fresh.contains(&file.file)).cloned().map(Said::LeftOut).collect()
    }

    fn line(&self, review: &Review, sub: &SubReview, with_stack: bool) -> WatchedSub {
        let filter = review.filters.iter().find(|filter| with_stack && filter.name == sub.filter);
        WatchedSub {
            file: sub.file.clone(),
            when: sub.when.clone(),
            hours_since_first: sub.hours_since_first,
            target_altitude_deg: sub.target_altitude_deg,
            filter: sub.filter.clone(),
            exposure_s: sub.exposure_s,
            sky_e_per_s: sub.sky_e_per_s,
            predicted_sky_e_per_s: sub.predicted_sky_e_per_s,
            fwhm_px: sub.fwhm_px,
            predicted_fwhm_px: sub.predicted_fwhm_px,
            starlight: sub.starlight,
            signs: sub.signs.clone(),
            keep: sub.keep,
            worth_percent: sub.worth_percent,
            adds_snr: sub.adds_snr,
            why: sub.why.clone(),
            stack: filter.map(|filter| self.stack(review, filter)),
        }
    }

    /// Signal over noise that earlier nights brought a filter.
    fn in_hand(&self, filter: &str) -> f64 {
        let planned = self.plan.iter().flat_map(|plan| &plan.filters).find(|planned| planned.name == filter);
        planned.and_then(|planned| planned.in_hand.as_ref()).map_or(0.0, |in_hand| in_hand.snr)
    }

    fn stack(&self, review: &Review, filter: &FilterReview) -> RunningStack {
        let in_hand = self.in_hand(&filter.name);
        let snr = filter.achieved_snr.map(|tonight| {
            // Stacks of several nights add up in squares; what is not known of the target is not known of all of them.
            let joined = tonight.value.hypot(in_hand);
            Estimate::within_factor(joined, tonight.relative())
        });
        RunningStack {
            filter: filter.name.clone(),
            subs: filter.subs,
            subs_kept: filter.subs_kept,
            hours_kept: filter.hours_kept,
            snr,
            snr_in_hand: (in_hand > 0.0).then_some(in_hand),
            goal_snr: filter.goal_snr,
            hours_left: self.hours_left(review, filter, in_hand),
        }
    }

    /// Hours of the clock that the goal still wants if all goes on as in the last subs; `None` without a goal, a target or
    /// times, and where the last subs bring nothing.
    fn hours_left(&self, review: &Review, filter: &FilterReview, in_hand: f64) -> Option<f64> {
        let (snr, goal) = (filter.achieved_snr?.value, filter.goal_snr?);
        let missing = goal * goal - in_hand * in_hand - snr * snr;
        if missing <= 0.0 {
            return Some(0.0);
        }
        let subs: Vec<&SubReview> = review.subs.iter().filter(|sub| sub.filter == filter.name).collect();
        let kept = subs.iter().filter(|sub| sub.keep);
        let worth = |sub: &SubReview| sub.worth_percent * sub.exposure_s.0;
        let had: f64 = kept.map(|sub| worth(sub)).sum();
        let recent = &subs[subs.len().saturating_sub(RECENT)..];
        let brought: f64 = recent.iter().filter(|sub| sub.keep).map(|sub| worth(sub)).sum();
        // A pause says nothing of the pace.
        let gaps = recent.windows(2).map(|two| Some(two[1].hours_since_first? - two[0].hours_since_first?));
        let gaps: Vec<f64> = gaps.collect::<Option<_>>()?;
        let pace = median(gaps.into_iter()).unwrap_or(recent.first()?.exposure_s.0 / 3600.0);
        let hours = pace * recent.len() as f64;
        // Squares of signal over noise add up with what subs are worth.
        let per_hour = snr * snr * (brought / had) / hours;
        (per_hour.is_finite() && per_hour > 0.0).then(|| missing / per_hour)
    }

    fn words(&mut self, review: &Review, subs: &[&SubReview]) -> Vec<Word> {
        let mut words = self.goals(review);
        let shows = |sign: Sign| subs.iter().map(|sub| sub.signs.contains(&sign)).collect::<Vec<_>>();
        let newest = &subs[subs.len().saturating_sub(STAYS)..];
        let light: Option<Vec<f64>> =
            newest.iter().map(|sub| sub.starlight.map(|share| share.value.min(1.0))).collect();
        let left = match light.and_then(|light| light.into_iter().reduce(f64::min)) {
            Some(light) => format!(": {:.0} % of the starlight comes through", 100.0 * light),
            None => ": hardly a star comes through".into(),
        };
        if self.cloud.now(&shows(Sign::Cloud)) {
            words.push(Word::new(Spoken::CloudStays, format!("cloud over the last {STAYS} subs{left}")));
        }
        if self.dew.now(&shows(Sign::Dew)) {
            let text = format!(
                "dew or fog over the last {STAYS} subs{left}. Gentle heat round the front of the optics drives dew off: from a \
                 low-voltage supply, plugs and mains kept away from wet grass"
            );
            words.push(Word::new(Spoken::DewStays, text));
        }
        words.extend(self.sinking(subs));
        words.extend(self.better_length(review));
        words.extend(self.better_filter(review, subs));
        words
    }

    /// Goals that were reached since.
    fn goals(&mut self, review: &Review) -> Vec<Word> {
        let mut words = Vec::new();
        for stack in self.stacks(review) {
            let Some((snr, goal)) = stack.snr.zip(stack.goal_snr) else { continue };
            if snr.value >= goal && self.reached.insert(stack.filter.clone()) {
                let text = format!("{} has reached its goal: {:.1} of {goal}", stack.filter, snr.value);
                words.push(Word::new(Spoken::GoalReached, text).of(&stack.filter));
            } else if snr.value < LOST_AGAIN * goal && self.reached.remove(&stack.filter) {
                let text = format!(
                    "{} is not at its goal after all: {:.1} of {goal}; clearer subs came since, and show that earlier ones had \
                     less light than was thought",
                    stack.filter, snr.value
                );
                words.push(Word::new(Spoken::GoalLost, text).of(&stack.filter));
            }
        }
        words
    }
}

/// All lights by time, whatever their filter; in the order of the review where they have no times.
fn by_time(review: &Review) -> Vec<&SubReview> {
    let mut subs: Vec<&SubReview> = review.subs.iter().collect();
    if subs.iter().all(|sub| sub.hours_since_first.is_some()) {
        let at = |sub: &SubReview| sub.hours_since_first.unwrap_or(0.0);
        subs.sort_by(|a, b| at(a).total_cmp(&at(b)));
    }
    subs
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stays_is_said_once_and_again_after_it_was_gone() {
        let mut stay = Stay::default();
        let course = "..###.######..#####...#####";
        let shows: Vec<bool> = course.chars().map(|sign| sign == '#').collect();
        let said: Vec<usize> = (1..=shows.len()).filter(|count| stay.now(&shows[..*count])).collect();
        // Five in a row end at the eleventh sub; two without are a gap in it; after three it is new.
        assert_eq!(said, [11, 27]);
    }
}
