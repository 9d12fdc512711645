//! The way from conditions to a plan: one optimum for each filter, whole numbers, uncertainties.

mod counts;
mod doubts;
pub(crate) mod filter;

pub(crate) use counts::Counts;
pub(crate) use filter::{DITHER_BOXES_PX, FilterDraft, filled_by_the_sky, search};

use rayon::iter::{IntoParallelIterator, ParallelIterator};

use crate::camera::{CameraProfile, Mode};
use crate::document::Stamp;
use crate::night::evening::Evening;
use crate::night::{Conditions, FilterConditions, Night};
use crate::sky::night::{Date, Tonight};
use crate::units::{Electrons, Seconds};

use super::calendar::{Calendar, Lanes, Need, Scheduled, in_nights, scheduled, started};
use super::filter_solution::FilterSolution;
use super::prior_stack::{PriorStack, snr_in_hand, still_to_reach};
use super::range::{Sensitivity, Source, largest, moved_search, range_factors};
use super::within_reach::Reached;
use super::{
    CalibrationAdvice, CostMap, Demand, FilterPlan, GainSetting, GoalKind, LargestUncertainty, OutOfReach, Plan,
    PlanError, PlanGoal, Search, Start,
};

/// Where the air lets less than this share of the light pass, it is in the way before all else.
const THICK_AIR: f64 = 0.3;
/// What counts of subs may be off by the rounding of floats: 12.000000001 subs are 12.
const ROUNDING_SLACK: f64 = 1e-9;

/// One mode's plan before it is written out.
#[derive(Clone)]
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
        let goal = |filter: &FilterConditions| filter.asked_snr(&night.goal);
        let asked = |filter: &FilterConditions, share: f64, in_hand: f64| match night.goal.hours {
            Some(hours) => Demand::Within(Seconds(hours * 3600.0 * share)),
            None => Demand::Snr(still_to_reach(goal(filter), in_hand).unwrap_or(goal(filter))),
        };
        let pairs = || conditions.filters.iter().zip(shares.iter().zip(&in_hand));
        let drafts: Vec<_> = pairs()
            .collect::<Vec<_>>()
            .into_par_iter()
            .map(|(filter, (share, had))| FilterDraft::new(night, mode, filter, asked(filter, *share, *had), *share))
            .collect();
        let mut filters: Vec<FilterDraft> =
            drafts.into_iter().collect::<Result<_, _>>().map_err(|error| blamed_on_the_air(error, night, evening))?;
        for (draft, (filter, (_, had))) in filters.iter_mut().zip(pairs()) {
            if night.goal.hours.is_none() && still_to_reach(goal(filter), *had).is_none() {
                draft.counts = draft.counts.nothing_to_shoot();
            }
        }
        let mut alone = Vec::new();
        if night.goal.hours.is_none() && shares_given(&conditions) {
            alone = filters.iter().cloned().zip(shares.iter().copied()).collect();
            keep_shares(night, mode, &conditions, &shares, &mut filters);
        }
        Ok(Self { conditions, filters, alone, in_hand })
    }

    /// The filters as the nights see them: what each is to have, and its share of the hours where two or more have one.
    pub(in crate::plan) fn lanes(&self, night: &Night) -> Lanes {
        let shares = shares(&self.conditions);
        let given = night.goal.hours.is_none() && shares_given(&self.conditions);
        let alone = self.alone.iter().map(|(draft, _)| draft);
        let filters: Vec<&FilterDraft> =
            if self.alone.is_empty() { self.filters.iter().collect() } else { alone.collect() };
        let lane = |((draft, conditions), share): ((&FilterDraft, &FilterConditions), &f64)| {
            let need = match draft.search.demand {
                _ if draft.counts.shot == 0 => Need::Nothing,
                Demand::Within(time) => Need::Hours(time.0 / 3600.0),
                Demand::Snr(snr) => {
                    let had = draft.in_hand_subs();
                    let had = if had > 0.0 { draft.snr_with(had).powi(2) } else { 0.0 };
                    Need::Information((snr * snr - had).max(0.0))
                }
            };
            (conditions.clone(), draft.clone(), need, conditions.share.filter(|_| given).map(|_| *share))
        };
        filters.into_iter().zip(&self.conditions.filters).zip(&shares).map(lane).collect()
    }

    /// The plan over the nights from its date on; as it is where the night has no date or no place.
    ///
    /// # Errors
    /// As [`crate::plan::plan`].
    pub(in crate::plan) fn over_nights(
        mut self,
        night: &Night,
        mode: &Mode,
    ) -> Result<(Self, Option<Scheduled>), PlanError> {
        let Some(scheduled) = scheduled(night, mode, self.lanes(night), self.factors(night))? else {
            return Ok((self, None));
        };
        (self.conditions.filters, self.filters) = scheduled.filters.iter().cloned().unzip();
        self.alone = Vec::new();
        Ok((self, Some(scheduled)))
    }

    /// The plan begun on each evening of four weeks; `None` where the night has no date or no place.
    ///
    /// # Errors
    /// As [`crate::plan::plan`].
    pub(in crate::plan) fn started(&self, night: &Night, mode: &Mode) -> Result<Option<Vec<Start>>, PlanError> {
        started(night, mode, self.lanes(night), self.factors(night))
    }

    /// The least and the most that filters with the counts of their nights may need, over what they do.
    fn factors(&self, night: &Night) -> impl Fn(&[(FilterConditions, FilterDraft)]) -> [f64; 2] + Sync + use<> {
        let hours = night.goal.hours.is_some();
        // Where hours stand in shares, the filter that decides says how many are needed.
        let shared = (!self.alone.is_empty()).then(|| range_factors(&self.sensitivities(night)));
        move |filters| {
            let by_need = || shared.unwrap_or_else(|| range_factors(&by_need(filters)));
            let (low, high) = if hours { (1.0, 1.0) } else { by_need() };
            [low, high]
        }
    }

    /// What some evenings do.
    ///
    /// # Errors
    /// As [`crate::plan::plan`].
    pub(in crate::plan) fn in_nights(
        &self,
        night: &Night,
        mode: &Mode,
        evenings: &[(Date, Tonight)],
    ) -> Result<Calendar, PlanError> {
        in_nights(night, mode, self.lanes(night), evenings)
    }

    /// The ends of the time's range, as factors.
    pub(in crate::plan) fn range_factors(&self, night: &Night) -> [f64; 2] {
        ends(night, &self.sensitivities(night))
    }

    /// What one gain setting costs, with what the nights made of the mean light.
    pub(crate) fn at_setting_over_nights(&self, mode: &Mode, before: &Self) -> impl Fn(GainSetting) -> GainSetting {
        let own = self.at_setting(mode);
        let time = if before.wall_clock().0 > 0.0 { self.wall_clock() / before.wall_clock() } else { 1.0 };
        let snr = if before.snr() > 0.0 { self.snr() / before.snr() } else { 1.0 };
        move |setting: GainSetting| {
            if setting.gain_setting == own.gain_setting && setting.mode == own.mode {
                return own.clone();
            }
            GainSetting { wall_clock_s: setting.wall_clock_s * time, snr: setting.snr * snr, ..setting }
        }
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
                wall_clock: draft.counts.wall_clock,
            })
            .collect()
    }

    /// What of it the limits of subs and gigabytes are about.
    pub(in crate::plan) fn reached(&self, mode: &Mode) -> Reached {
        let most_subs = self.filters.iter().map(|filter| filter.counts.shot).max().unwrap_or(0);
        Reached { most_subs, most_gigabytes: most_subs as f64 * filter::gigabytes_per_sub(mode) }
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
                CostMap::new(&filter.name, &draft.search, (&draft.optimum.recommended, &draft.counts), in_hand)
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
        let [low, high] = ends(night, &sensitivities);
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
        let caveats = self.caveats(night, profile, mode, &filters);
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
            time_of_all(pairs(), source, sigmas)
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
}

/// The ends of the time's range, as factors; hours that were asked for have none.
fn ends(night: &Night, sensitivities: &[Sensitivity]) -> [f64; 2] {
    let (low, high) = if night.goal.hours.is_some() { (1.0, 1.0) } else { range_factors(sensitivities) };
    [low, high]
}

/// The time of all filters for the same goals over the plan's, with one source moved.
fn time_of_all<'a>(
    pairs: impl Iterator<Item = (&'a FilterDraft, &'a FilterConditions)> + Clone,
    source: Source,
    sigmas: f64,
) -> Option<f64> {
    let moved = pairs.clone().map(|(draft, filter)| Some(draft.time_ratio(filter, source, sigmas)? * draft.weight()));
    let moved = moved.sum::<Option<f64>>()?;
    Some(moved / pairs.map(|(draft, _)| draft.weight()).sum::<f64>())
}

/// How the information that is needed hangs on each source.
fn by_need(filters: &[(FilterConditions, FilterDraft)]) -> Vec<Sensitivity> {
    let pairs = || filters.iter().map(|(conditions, draft)| (draft, conditions));
    let time = |source, sigmas| time_of_all(pairs(), source, sigmas);
    Source::ALL.into_iter().map(|source| Sensitivity::new(source, time(source, -1.0), time(source, 1.0))).collect()
}

/// Whether the hours are to stand in a ratio: two filters at least must have a share for that.
fn shares_given(conditions: &Conditions) -> bool {
    conditions.filters.iter().filter(|filter| filter.share.is_some()).count() > 1
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
    let given = |i: usize| conditions.filters[i].share.is_some_and(|share| share > 0.0);
    let of_given = filters.iter().zip(shares).enumerate().filter(|(i, _)| given(*i)).map(|(_, pair)| pair);
    let total = of_given.map(whole).fold(0.0, f64::max);
    for (i, share) in shares.iter().enumerate().filter(|(i, _)| given(*i)) {
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
        snr: if hours.is_some() { None } else { Some(night.goal.snr()) },
        hours,
        picture: night.goal.picture,
        patch_arcsec: night.goal.patch(),
    }
}

/// A goal that is out of reach because the target stands in the haze of the horizon.
fn blamed_on_the_air(error: PlanError, night: &Night, evening: &Evening) -> PlanError {
    let share = evening.transmission(night.site.extinction());
    match error {
        PlanError::OutOfReach { filter, reach: OutOfReach::Pattern { .. } | OutOfReach::TooManySubs { .. } }
            if evening.night.is_none() && share < THICK_AIR =>
        {
            let altitude_deg = night.target.altitude().0;
            PlanError::OutOfReach { filter, reach: OutOfReach::TargetLow { altitude_deg, percent: 100.0 * share } }
        }
        other => other,
    }
}
