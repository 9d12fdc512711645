//! The way from conditions to a plan: one optimum for each filter, whole numbers, uncertainties.

mod counts;
pub(crate) mod filter;

pub(crate) use counts::Counts;
pub(crate) use filter::{DITHER_BOXES_PX, search};

use crate::camera::{CameraProfile, Mode};
use crate::caveat::{Caveat, push_once};
use crate::document::Stamp;
use crate::night::evening::Evening;
use crate::night::{Conditions, Goal, Night};
use crate::rig::Mount;
use crate::units::{Electrons, Seconds};

use super::filter_solution::FilterSolution;
use super::prior_stack::{PriorStack, snr_in_hand, still_to_reach};
use super::range::{Sensitivity, Source, largest, moved_search, range_factors};
use super::{
    CalibrationAdvice, CostMap, Demand, FilterPlan, GainSetting, GoalKind, LargestUncertainty, Plan, PlanError,
    PlanGoal, Search,
};
use filter::FilterDraft;

/// A target lower than this is worth a word.
const LOW_DEG: f64 = 20.0;
/// Share of the stack's variance from which the masters are worth a word, in percent.
const CALIBRATION_SHARE: f64 = 10.0;
/// What counts of subs may be off by the rounding of floats: 12.000000001 subs are 12.
const ROUNDING_SLACK: f64 = 1e-9;

/// One mode's plan before it is written out.
pub(crate) struct Draft {
    conditions: Conditions,
    filters: Vec<FilterDraft>,
    /// Where shares stretched some filters: each as its goal alone would have it, with its share.
    alone: Vec<(FilterDraft, f64)>,
    /// Signal over noise that each filter has in hand.
    in_hand: Vec<f64>,
}

impl Draft {
    pub(crate) fn new(night: &Night, mode: &Mode, evening: &Evening) -> Result<Self, PlanError> {
        let conditions = Conditions::on(night, mode, evening)?;
        let shares = shares(&conditions);
        let in_hand = snr_in_hand(night, mode, evening, &shares)?;
        let goal = night.goal.snr.unwrap_or(Goal::DEFAULT_SNR);
        let asked = |share: f64, in_hand: f64| match night.goal.hours {
            Some(hours) => Demand::Within(Seconds(hours * 3600.0 * share)),
            None => Demand::Snr(still_to_reach(goal, in_hand).unwrap_or(goal)),
        };
        let pairs = conditions.filters.iter().zip(shares.iter().zip(&in_hand));
        let mut filters: Vec<FilterDraft> = pairs
            .map(|(filter, (share, had))| FilterDraft::new(night, mode, filter, asked(*share, *had), *share))
            .collect::<Result<_, _>>()?;
        for (filter, had) in filters.iter_mut().zip(&in_hand) {
            if night.goal.hours.is_none() && still_to_reach(goal, *had).is_none() {
                filter.counts = filter.counts.nothing_to_shoot();
            }
        }
        let shares_given = conditions.filters.len() > 1 && conditions.filters.iter().any(|f| f.share.is_some());
        let mut alone = Vec::new();
        if night.goal.hours.is_none() && shares_given {
            alone = filters.iter().cloned().zip(shares.iter().copied()).collect();
            keep_shares(night, mode, &conditions, &shares, &mut filters);
        }
        Ok(Self { conditions, filters, alone, in_hand })
    }

    /// What this gain setting costs and burns.
    pub(crate) fn at_setting(&self, mode: &Mode) -> GainSetting {
        let pairs = self.filters.iter().zip(&self.conditions.filters);
        let filters = pairs.map(|(draft, filter)| draft.at_setting(filter)).collect();
        let read_noise = mode.planes.iter().map(|plane| plane.read_noise_e.value.0).fold(0.0, f64::max);
        let saturation = mode.planes.iter().map(|plane| plane.saturation_e.value.0).fold(f64::MAX, f64::min);
        GainSetting {
            gain_setting: mode.gain_setting,
            mode: mode.label(),
            wall_clock_s: self.wall_clock(),
            snr: self.snr(),
            read_noise_e: Electrons(read_noise),
            saturation_e: Electrons(saturation),
            filters,
        }
    }

    pub(crate) fn wall_clock(&self) -> Seconds {
        Seconds(self.filters.iter().map(|filter| filter.counts.wall_clock.0).sum())
    }

    /// What each filter has in hand beside its new subs; `None` without any.
    pub(crate) fn in_hand(&self) -> Vec<Option<PriorStack>> {
        let had = |(draft, had): (&FilterDraft, &f64)| {
            let new = if draft.counts.shot > 0 { draft.snr() } else { 0.0 };
            (*had > 0.0).then(|| PriorStack::new(*had, new))
        };
        self.filters.iter().zip(&self.in_hand).map(had).collect()
    }

    /// What is planned beside the optimum starts from here.
    pub(crate) fn settled(&self) -> Vec<FilterSolution<'_>> {
        let pairs = self.filters.iter().zip(&self.conditions.filters);
        pairs
            .map(|(draft, conditions)| FilterSolution {
                conditions,
                search: &draft.search,
                set_by: draft.optimum.set_by,
                sub: draft.sub(),
                every: draft.counts.every as f64,
                kept: draft.counts.kept as f64,
                shot: draft.counts.shot,
                wall_clock: draft.counts.wall_clock,
            })
            .collect()
    }

    /// What each filter was searched in.
    pub(crate) fn searches(self) -> Vec<Search> {
        self.filters.into_iter().map(|filter| filter.search).collect()
    }

    /// What every length and cadence costs in each filter.
    pub(crate) fn cost_maps(&self, night: &Night) -> Vec<CostMap> {
        let pairs = self.filters.iter().zip(&self.conditions.filters).zip(shares(&self.conditions));
        pairs
            .map(|((draft, filter), share)| {
                let in_hand = night.goal.already_have() * 3600.0 * share;
                CostMap::new(&filter.name, &draft.search, &draft.optimum.recommended, in_hand)
            })
            .collect()
    }

    /// Hours of a night that can be planned with: the same for every filter.
    fn clear_hours(&self, night: &Night) -> f64 {
        self.conditions.filters.first().map_or(night.goal.clear_hours(), |filter| filter.clear_hours)
    }

    /// Signal over noise of the filter that is worst off.
    fn snr(&self) -> f64 {
        self.filters.iter().map(FilterDraft::snr).fold(f64::MAX, f64::min)
    }

    pub(crate) fn better_than(&self, other: &Self, hours: bool) -> bool {
        if hours { self.snr() > other.snr() } else { self.wall_clock() < other.wall_clock() }
    }

    pub(crate) fn finish(
        self,
        night: &Night,
        profile: &CameraProfile,
        mode: &Mode,
        by_gain_setting: Vec<GainSetting>,
    ) -> Plan {
        let total = self.wall_clock();
        let sensitivities = self.sensitivities(night);
        let (low, high) = if night.goal.hours.is_some() { (1.0, 1.0) } else { range_factors(&sensitivities) };
        let (source, share_percent) = largest(&sensitivities);
        let pairs = self.filters.iter().zip(&self.conditions.filters);
        let mut filters: Vec<FilterPlan> =
            pairs.map(|(draft, conditions)| draft.finish(night, mode, conditions, &self.conditions, total)).collect();
        if !self.alone.is_empty() {
            // The hours are shared, so all counts sensitivity together.
            for filter in &mut filters {
                let kept = filter.subs_kept as f64;
                filter.subs_kept_range =
                    [(kept * low - ROUNDING_SLACK).ceil() as u64, (kept * high - ROUNDING_SLACK).ceil() as u64];
            }
        }
        let caveats = self.caveats(night, profile, &filters);
        Plan {
            stamp: Stamp::new(),
            program: env!("CARGO_PKG_VERSION").into(),
            goal: goal(night),
            gain_setting: mode.gain_setting,
            sensor_c: self.conditions.sensor,
            filters,
            darks: night.calibration.darks(),
            flats: night.calibration.flats(),
            biases: night.calibration.biases(),
            wall_clock_s: total,
            wall_clock_range_s: [total * low, total * high],
            nights: (total.0 / (self.clear_hours(night) * 3600.0) - ROUNDING_SLACK).ceil().max(0.0) as u32,
            largest_uncertainty: LargestUncertainty { source, share_percent },
            by_gain_setting,
            night: self.conditions.night.clone(),
            schedule: None,
            short_set: None,
            calibration: CalibrationAdvice { share_percent: night.calibration.share() * 100.0, filters: Vec::new() },
            caveats,
        }
    }

    /// How the time, or for given hours the signal over noise, sensitivities with each source, all filters together.
    fn sensitivities(&self, night: &Night) -> Vec<Sensitivity> {
        let pairs = || self.filters.iter().zip(&self.conditions.filters);
        let shared = |source: Source, sigmas: f64| -> Option<f64> {
            let whole = |(draft, share): &(FilterDraft, f64)| draft.weight() / share;
            let asked = || self.alone.iter().filter(|(_, share)| *share > 0.0).zip(&self.conditions.filters);
            let mut moved =
                asked().map(|(alone, filter)| Some(alone.0.time_ratio(filter, source, sigmas)? * whole(alone)));
            let moved = moved.try_fold(0.0_f64, |most, time| Some(most.max(time?)))?;
            Some(moved / asked().map(|(alone, _)| whole(alone)).fold(0.0, f64::max))
        };
        let time = |source: Source, sigmas: f64| -> Option<f64> {
            if !self.alone.is_empty() {
                return shared(source, sigmas);
            }
            let moved = pairs().map(|(draft, filter)| Some(draft.time_ratio(filter, source, sigmas)? * draft.weight()));
            let moved = moved.sum::<Option<f64>>()?;
            Some(moved / pairs().map(|(draft, _)| draft.weight()).sum::<f64>())
        };
        let quality = |source: Source, sigmas: f64| -> Option<f64> {
            let moved = pairs()
                .map(|(draft, filter)| draft.snr_of(&moved_search(&draft.search, &filter.planes, source, sigmas)));
            Some(moved.fold(f64::MAX, f64::min) / self.snr())
        };
        let sensitivity = |source: Source| match night.goal.hours {
            Some(_) => Sensitivity::new(source, quality(source, -1.0), quality(source, 1.0)),
            None => Sensitivity::new(source, time(source, -1.0), time(source, 1.0)),
        };
        Source::ALL.into_iter().map(sensitivity).collect()
    }

    fn caveats(&self, night: &Night, profile: &CameraProfile, filters: &[FilterPlan]) -> Vec<Caveat> {
        let mut caveats = Vec::new();
        if night.mount.lost_subs_per_hour.is_none() {
            let rate = Mount::DEFAULT_LOST_SUBS_PER_HOUR;
            let message = format!(
                "lost_subs_per_hour was left out and taken as {rate}: under a bright sky nothing moves the sub length more"
            );
            let hint = "count the subs that your last nights lost in an hour of open shutter";
            caveats.push(Caveat::new("assumed-value", message, hint).about("mount.lost_subs_per_hour"));
        }
        let more = night.caveats().into_iter().chain(self.conditions.caveats.iter().cloned());
        for caveat in more.chain(profile.caveats.iter().cloned()) {
            push_once(&mut caveats, caveat);
        }
        let counts = &night.calibration;
        if counts.darks() + counts.flats() + counts.biases() == 0 {
            let message =
                "no calibration frames at all: vignetting, dust and what the sensor adds by itself stay in the stack";
            let hint = "take flats at least; the plan says how many, and whether darks or a bad-pixel map serve better";
            caveats.push(Caveat::new("no-calibration-frames", message, hint));
        }
        if self.conditions.night.is_none() && night.target.altitude().0 < LOW_DEG {
            let message = format!(
                "at {:.0} degrees the light crosses much air, and the sky there is brighter than the plan takes it to be",
                night.target.altitude().0
            );
            let hint = "wait until it stands higher, or give a sky that was measured in its direction";
            caveats.push(Caveat::new("low-target", message, hint).about("target.altitude_deg"));
        }
        for (filter, draft) in filters.iter().zip(&self.filters) {
            let most = draft.search.most_subs;
            if night.goal.hours.is_some() && filter.subs_to_shoot as f64 >= most.floor() {
                let message = format!(
                    "most_subs or most_gigabytes end the set at {} subs, {:.1} h on the clock, before the hours do",
                    filter.subs_to_shoot,
                    filter.wall_clock_s.0 / 3600.0
                );
                let hint = "raise them under [stack], or give fewer hours";
                caveats.push(Caveat::new("storage-bound", message, hint).about(filter.name.clone()));
            }
            let share = filter.planes.iter().map(|plane| plane.noise_share_percent.calibration).fold(0.0, f64::max);
            if share > CALIBRATION_SHARE {
                let message = format!("the calibration frames bring {share:.0} % of the stack's variance");
                let hint = "take more darks and flats, or dither more often";
                push_once(
                    &mut caveats,
                    Caveat::new("few-calibration-frames", message, hint).about(filter.name.clone()),
                );
            }
            if filter.subs_to_shoot == 0 {
                let message = "the hours in hand reach the goal already";
                push_once(&mut caveats, Caveat::new("goal-reached", message, "raise snr").about(filter.name.clone()));
            }
        }
        caveats
    }
}

/// Each filter's share of the hours, adding up to 1.
pub(crate) fn shares(conditions: &Conditions) -> Vec<f64> {
    let given = || conditions.filters.iter().map(|filter| filter.share.unwrap_or(1.0));
    let total: f64 = given().sum();
    given().map(|share| share / total).collect()
}

/// Stretches the filters that are done sooner, so that the hours stand in the shares that were given: the filter that
/// needs most for its share decides, the others gain signal over noise.
fn keep_shares(night: &Night, mode: &Mode, conditions: &Conditions, shares: &[f64], filters: &mut [FilterDraft]) {
    let whole = |(draft, share): (&FilterDraft, &f64)| draft.counts.wall_clock.0 / share;
    let total = filters.iter().zip(shares).filter(|(_, share)| **share > 0.0).map(whole).fold(0.0, f64::max);
    for (i, share) in shares.iter().enumerate() {
        let time = Seconds(total * share);
        if filters[i].counts.wall_clock.0 < time.0 * (1.0 - ROUNDING_SLACK) {
            let longer = FilterDraft::new(night, mode, &conditions.filters[i], Demand::Within(time), *share);
            if let Ok(longer) = longer {
                filters[i] = longer;
            }
        }
    }
}

fn goal(night: &Night) -> PlanGoal {
    let hours = night.goal.hours;
    PlanGoal {
        kind: if hours.is_some() { GoalKind::Hours } else { GoalKind::Snr },
        snr: if hours.is_some() { None } else { Some(night.goal.snr.unwrap_or(Goal::DEFAULT_SNR)) },
        hours,
        patch_arcsec: night.goal.patch(),
    }
}
