//! Whether another length, cadence or filter would be better now, and by how much.

use crate::camera::Mode;
use crate::night::evening::{Evening, counted, track};
use crate::night::{Conditions, Night};
use crate::plan::draft::search;
use crate::plan::{Demand, FilterPlan, searches};
use crate::review::answer::{FilterReview, Review, SubReview};
use crate::review::moments::night_of;
use crate::sky::GivenSky;
use crate::sky::night::{NightSample, Span};
use crate::stats::{Estimate, median};
use crate::units::{Degrees, Seconds};

use super::{Running, Spoken, Word};

/// A change is worth a word where it saves more than this share of the time that is left.
const WORTH: f64 = 0.10;
/// What was advised is no longer true where it saves less than this.
const NO_LONGER: f64 = 0.05;
/// So many looks in a row must agree before anything is said.
const AGREE: u32 = 3;
/// The sky that counts is the middle one of so many subs.
const LATEST: usize = 5;
/// Of the squared goal: what is left of it is taken as this at least.
const LEAST_LEFT: f64 = 0.02;
/// From so many kept subs on the cadence is seen.
const ENOUGH_FOR_CADENCE: usize = 20;
/// Subs of a stack that is long enough for its quality to grow as the square of signal over noise.
const MANY: f64 = 100.0;

/// What was advised, with hysteresis: said after some looks that agree, forgotten when it saves little.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Advised {
    told: bool,
    in_a_row: u32,
}

impl Advised {
    /// Whether something that saves this share is to be said now.
    pub(super) fn now(&mut self, saves: f64) -> bool {
        if saves < NO_LONGER {
            *self = Self::default();
        }
        self.in_a_row = if saves > WORTH { self.in_a_row + 1 } else { 0 };
        let now = !self.told && self.in_a_row >= AGREE;
        self.told |= now;
        now
    }
}

impl Running<'_> {
    /// A word where subs of another length, or dithers at another cadence, would bring a filter to its goal sooner under the
    /// sky of its latest subs.
    pub(super) fn better_length(&mut self, review: &Review) -> Vec<Word> {
        // Only the filter that is being shot can be shot otherwise.
        let subs = super::by_time(review);
        let Some(newest) = subs.last() else { return Vec::new() };
        let Some(filter) = review.filters.iter().find(|filter| filter.name == newest.filter) else { return Vec::new() };
        // Where the goal is reached nothing is left to be saved.
        if self.reached.contains(&filter.name) {
            return Vec::new();
        }
        let of_filter: Vec<&SubReview> = subs.iter().copied().filter(|sub| sub.filter == filter.name).collect();
        let Some(change) = self.length_now(filter, &of_filter) else { return Vec::new() };
        let advised = self.length.entry(filter.name.clone()).or_default();
        if !advised.now(change.saves) {
            return Vec::new();
        }
        vec![change.word(&filter.name)]
    }

    fn length_now(&self, filter: &FilterReview, subs: &[&SubReview]) -> Option<Change> {
        let latest = &subs[subs.len().checked_sub(LATEST)?..];
        let seen: Vec<Estimate<_>> = latest.iter().filter_map(|sub| sub.sky_e_per_s).collect();
        if 2 * seen.len() < LATEST {
            return None;
        }
        let sky = median(seen.iter().map(|sky| sky.value.0))?;
        let relative = median(seen.iter().map(Estimate::relative))?;
        let altitudes: Vec<f64> = latest.iter().filter_map(|sub| sub.target_altitude_deg).collect();
        let altitude = (!altitudes.is_empty()).then(|| Degrees(altitudes.iter().sum::<f64>() / altitudes.len() as f64));
        let mut asked = self.night.clone();
        asked.site.sky = Some(GivenSky::Measured {
            e_per_s: Estimate::within_factor(sky, relative).determined()?,
            filter: filter.name.clone(),
            plane: Some(filter.plane.into()),
            altitude,
        });
        // The measured sky holds the Moon, and what is there already does not change which sub is best.
        (asked.goal.date, asked.goal.already_have_h) = (None, None);
        asked.goal.already.clear();
        (asked.goal.sub_s, asked.goal.dither_every) = (None, None);
        asked.target.altitude_deg = altitude.or(asked.target.altitude_deg);
        asked.filters.retain(|one| one.label() == filter.name);
        asked.filters.iter_mut().for_each(|one| one.share = None);
        let used = subs.last()?;
        asked.camera.gain_setting = used.gain_setting.or(asked.camera.gain_setting);
        let searches = searches(&asked, self.camera).ok()?;
        let mut search = searches.into_iter().next()?;
        // What is left of the goal, beside the subs that are there.
        let had = filter.achieved_snr.map_or(0.0, |snr| snr.value).hypot(self.in_hand(&filter.name));
        if let (Demand::Snr(_), Some(goal)) = (search.demand, filter.goal_snr) {
            search.demand = Demand::Snr((goal * goal - had * had).max(LEAST_LEFT * goal * goal).sqrt());
        }
        let positions = filter.dither_positions.unwrap_or(filter.subs_kept) as f64;
        search.min_subs = (search.min_subs - filter.subs_kept as f64).max(0.0);
        search.min_positions = (search.min_positions - positions).max(0.0);
        search.min_positions_per_night = (search.min_positions_per_night - positions).max(0.0);
        let best = search.optimum().ok()?.recommended;
        // How long it would take as it is, whatever rules it breaks.
        let mut free = search.clone();
        (free.most_subs, free.min_positions, free.min_positions_per_night) = (f64::MAX, 0.0, 0.0);
        let at_best_cadence = free.best_at(used.exposure_s)?;
        let saves = |of: f64| 1.0 - best.cost / of;
        if saves(at_best_cadence.cost) > WORTH {
            return Some(Change {
                saves: saves(at_best_cadence.cost),
                used: used.exposure_s,
                sub: best.sub,
                every: best.dither_every,
                from: None,
            });
        }
        // The length is good; is the cadence? A few subs may all lie before the first dither.
        let seen = filter.dither_positions.filter(|_| filter.subs_kept >= ENOUGH_FOR_CADENCE);
        let every = seen.map(|places| (filter.subs_kept as f64 / places.max(1) as f64).round().max(1.0));
        let as_it_is = every.and_then(|every| Some((every, free.at(used.exposure_s, every)?)));
        let (from, saves) = as_it_is.map_or((None, saves(at_best_cadence.cost)), |(every, chosen)| {
            (Some(every), 1.0 - at_best_cadence.cost / chosen.cost)
        });
        Some(Change { saves, used: used.exposure_s, sub: used.exposure_s, every: at_best_cadence.dither_every, from })
    }

    /// A word where an hour is better spent on another filter now: hours can change places within what is left of the night.
    ///
    /// ```text
    /// gain = w_other(now)/max w_other − w_own(now)/max w_own
    /// ```
    ///
    /// `w` is what an hour brings in squared signal over noise, the greatest one over what is left of the filter's hours.
    ///
    /// # Source
    /// Derived here: an hour now and one at the best time of the other filter change places.
    pub(super) fn better_filter(&mut self, review: &Review, subs: &[&SubReview]) -> Option<Word> {
        let (saves, own, other, shares) = self.filter_now(review, subs)?;
        if !self.filter.now(saves) {
            return None;
        }
        let text = format!(
            "{other} is better shot now: an hour of it brings {:.0} % of what its best hour tonight would, one of {own} {:.0} %",
            100.0 * shares[1],
            100.0 * shares[0]
        );
        Some(Word::new(Spoken::BetterFilter, text).of(&other).saving(100.0 * saves))
    }

    fn filter_now(&self, review: &Review, subs: &[&SubReview]) -> Option<(f64, String, String, [f64; 2])> {
        let plan = self.plan.as_ref()?;
        let newest = subs.last()?;
        newest.target_altitude_deg?;
        let at = self.at(subs)?;
        let tonight = night_of(self.night, at)?;
        let limit = counted(self.night, &tonight)?;
        let track = track(self.night);
        let left: Vec<Span> = tonight
            .usable(limit, &track)
            .into_iter()
            .filter(|span| span.to.hours_since(at) > 0.0)
            .map(|span| Span { from: if at.hours_since(span.from) > 0.0 { at } else { span.from }, to: span.to })
            .collect();
        let samples = tonight.samples(&left, &track, self.night.site.extinction());
        let now = tonight.moment(at, &track, self.night.site.extinction());
        let mode = self.camera.mode(plan.gain_setting.or(newest.gain_setting)).ok()?;
        let unfinished = |filter: &&FilterPlan| {
            let stack = self.stacks(review).into_iter().find(|stack| stack.filter == filter.name);
            let done =
                |stack: super::RunningStack| stack.snr.zip(stack.goal_snr).is_some_and(|(snr, goal)| snr.value >= goal);
            !stack.is_some_and(done) && filter.subs_to_shoot > 0
        };
        let share = |filter: &FilterPlan| {
            let best = samples.iter().filter_map(|sample| self.worth_of(filter, mode, sample)).fold(0.0, f64::max);
            let now = self.worth_of(filter, mode, &now)?;
            (best > 0.0).then(|| (now / best).min(1.0))
        };
        let own = plan.filters.iter().find(|filter| filter.name == newest.filter)?;
        // A filter that is done is to be left in any case, and that is said when it reaches its goal.
        if !unfinished(&own) {
            return None;
        }
        let of_own = share(own)?;
        let others = plan.filters.iter().filter(|filter| filter.name != own.name).filter(unfinished);
        let best = others.filter_map(|filter| Some((share(filter)?, filter))).max_by(|a, b| a.0.total_cmp(&b.0))?;
        Some((best.0 - of_own, own.name.clone(), best.1.name.clone(), [of_own, best.0]))
    }

    /// Squared signal over noise that an hour of a filter brings at a moment, in the plan's subs.
    fn worth_of(&self, filter: &FilterPlan, mode: &Mode, sample: &NightSample) -> Option<f64> {
        let night: &Night = self.night;
        let conditions = Conditions::on(night, mode, &Evening::at(night, sample)).ok()?;
        let own = conditions.filters.iter().find(|conditions| conditions.name == filter.name)?;
        let search = search(night, mode, own, Demand::Snr(1.0), filter.dither_px);
        if search.planes.is_empty() {
            return None;
        }
        let every = f64::from(u32::try_from(filter.dither_every_subs).unwrap_or(u32::MAX)).max(1.0);
        Some(search.snr(filter.sub_s, MANY, every).powi(2) / search.wall_clock(filter.sub_s, MANY, every))
    }
}

/// Another way of taking the subs of a filter.
struct Change {
    /// Share of the time that it saves.
    saves: f64,
    used: Seconds,
    sub: Seconds,
    every: f64,
    /// The cadence so far, where only that is to change.
    from: Option<f64>,
}

impl Change {
    fn word(&self, filter: &str) -> Word {
        let percent = 100.0 * self.saves;
        let (about, text) = match self.from {
            Some(from) => (
                Spoken::BetterCadence,
                format!(
                    "{filter}: a dither every {} in place of every {} would save {percent:.0} % of the time that is left",
                    subs(self.every),
                    subs(from)
                ),
            ),
            None => (
                Spoken::BetterLength,
                format!(
                    "{filter}: under this sky subs of {:.0} s, a dither every {}, would save {percent:.0} % of the time that is \
                     left; yours are of {} s",
                    self.sub.0,
                    subs(self.every),
                    self.used.0
                ),
            ),
        };
        Word { sub_s: Some(self.sub), ..Word::new(about, text).of(filter).saving(percent) }
    }
}

/// `sub`, or `5 subs`.
fn subs(count: f64) -> String {
    if count < 1.5 { "sub".to_owned() } else { format!("{count:.0} subs") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_said_after_three_looks_and_once() {
        let mut advised = Advised::default();
        let looks = [0.2, 0.2, 0.09, 0.2, 0.2, 0.2, 0.2, 0.08, 0.12, 0.2, 0.2, 0.04, 0.2, 0.2, 0.2];
        let said: Vec<usize> = (0..looks.len()).filter(|at| advised.now(looks[*at])).collect();
        assert_eq!(said, [5, 14]);
    }
}
