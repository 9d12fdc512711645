//! The way from conditions to a plan: one optimum for each filter, whole numbers, uncertainties.

use crate::camera::{CameraProfile, Mode};
use crate::caveat::{Caveat, push_once};
use crate::noise::{Clip, Patch, PlaneNoise, Stack, faintest_rate};
use crate::rig::{Mount, polar_drift_per_second};
use crate::stats::Estimate;
use crate::units::{Electrons, MagnitudesPerSquareArcsecond, Rayleighs, Seconds};

use super::evening::Evening;
use super::in_hand::{InHand, snr_in_hand, still_to_reach};
use super::range::{Source, Sway, largest, moved, moved_search, range_factors};
use super::settled::SettledFilter;
use super::{
    CalibrationAdvice, Chosen, Conditions, CostMap, Demand, FilterAtSetting, FilterConditions, FilterPlan, GainSetting,
    Goal, LargestUncertainty, Limits, Night, Optimum, OutOfReach, Plan, PlanError, PlanGoal, PlaneConditions,
    PlaneInputs, PlanePlan, RuleOfThumb, Search, SubLimits, WithoutDither,
};

/// Excess of a sub's noise over shot noise at which it counts as limited by the sky, in percent.
const SKY_LIMITED_PERCENT: f64 = 5.0;
/// The same for three rules that are handed around: four, nine to ten and twenty-five times the squared read noise, common
/// practice, no source.
const THUMB_PERCENT: [f64; 3] = [10.0, SKY_LIMITED_PERCENT, 2.0];
/// Sides of the squares from which dithers may draw their places: a blob of 3 pixels needs a dozen, columns and
/// large stacks more (common practice, no source).
pub(super) const DITHER_BOXES_PX: [u32; 7] = [12, 16, 24, 32, 48, 64, 96];
/// A target lower than this is worth a word.
const LOW_DEG: f64 = 20.0;
/// Subs between two dithers of a stack that has none.
const NEVER: f64 = 1e12;
/// Share of the stack's variance that places hit twice may cost.
const BOX_SHARE: f64 = 0.02;
/// Share of the stack's variance from which the masters are worth a word, in percent.
const CALIBRATION_SHARE: f64 = 10.0;
/// Bytes of a pixel on disk, uncompressed.
const BYTES_PER_PIXEL: f64 = 2.0;
/// A hair, so that 12.000000001 subs are 12.
const HAIR: f64 = 1e-9;

/// One mode's plan before it is written out.
pub(super) struct Draft {
    conditions: Conditions,
    filters: Vec<FilterDraft>,
    /// Where shares stretched some filters: each as its goal alone would have it, with its share.
    alone: Vec<(FilterDraft, f64)>,
    /// Signal over noise that each filter has in hand.
    in_hand: Vec<f64>,
}

/// One filter's plan before it is written out.
#[derive(Clone)]
struct FilterDraft {
    search: Search,
    optimum: Optimum,
    counts: Counts,
}

/// The whole numbers of a plan.
#[derive(Clone, Copy)]
pub(super) struct Counts {
    pub(super) kept: u64,
    pub(super) shot: u64,
    every: u64,
    dithers: u64,
    pub(super) wall_clock: Seconds,
}

impl Draft {
    pub(super) fn new(night: &Night, mode: &Mode, evening: &Evening) -> Result<Self, PlanError> {
        let conditions = Conditions::on(night, mode, evening)?;
        let shares = shares(&conditions);
        let in_hand = snr_in_hand(night, mode, evening, &shares)?;
        let goal = night.goal.snr.unwrap_or(Goal::DEFAULT_SNR);
        let asked = |share: f64, in_hand: f64| match night.goal.hours {
            Some(hours) => Demand::Within(Seconds(hours * 3600.0 * share)),
            None => Demand::Snr(still_to_reach(goal, in_hand).unwrap_or(goal)),
        };
        let each = conditions.filters.iter().zip(shares.iter().zip(&in_hand));
        let mut filters: Vec<FilterDraft> = each
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
    pub(super) fn at_setting(&self, mode: &Mode) -> GainSetting {
        let each = self.filters.iter().zip(&self.conditions.filters);
        let filters = each.map(|(draft, filter)| draft.at_setting(filter)).collect();
        let read_noise = mode.planes.iter().map(|plane| plane.read_noise_e.value.0).fold(0.0, f64::max);
        let saturation = mode.planes.iter().map(|plane| plane.saturation_e.value.0).fold(f64::MAX, f64::min);
        GainSetting {
            gain_setting: mode.gain_setting,
            wall_clock_s: self.wall_clock(),
            snr: self.snr(),
            read_noise_e: Electrons(read_noise),
            saturation_e: Electrons(saturation),
            filters,
        }
    }

    pub(super) fn wall_clock(&self) -> Seconds {
        Seconds(self.filters.iter().map(|filter| filter.counts.wall_clock.0).sum())
    }

    /// What each filter has in hand beside its new subs; `None` without any.
    pub(super) fn in_hand(&self) -> Vec<Option<InHand>> {
        let had = |(draft, had): (&FilterDraft, &f64)| {
            let new = if draft.counts.shot > 0 { draft.snr() } else { 0.0 };
            (*had > 0.0).then(|| InHand::new(*had, new))
        };
        self.filters.iter().zip(&self.in_hand).map(had).collect()
    }

    /// What is planned beside the optimum starts from here.
    pub(super) fn settled(&self) -> Vec<SettledFilter<'_>> {
        let each = self.filters.iter().zip(&self.conditions.filters);
        each.map(|(draft, conditions)| SettledFilter {
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
    pub(super) fn searches(self) -> Vec<Search> {
        self.filters.into_iter().map(|filter| filter.search).collect()
    }

    /// What every length and cadence costs in each filter.
    pub(super) fn cost_maps(&self, night: &Night) -> Vec<CostMap> {
        let each = self.filters.iter().zip(&self.conditions.filters).zip(shares(&self.conditions));
        each.map(|((draft, filter), share)| {
            let in_hand = night.goal.already_have() * 3600.0 * share;
            CostMap::of(&filter.name, &draft.search, &draft.optimum.recommended, in_hand)
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

    pub(super) fn better_than(&self, other: &Self, hours: bool) -> bool {
        if hours { self.snr() > other.snr() } else { self.wall_clock() < other.wall_clock() }
    }

    pub(super) fn finish(
        self,
        night: &Night,
        profile: &CameraProfile,
        mode: &Mode,
        by_gain_setting: Vec<GainSetting>,
    ) -> Plan {
        let total = self.wall_clock();
        let sways = self.sways(night);
        let (low, high) = if night.goal.hours.is_some() { (1.0, 1.0) } else { range_factors(&sways) };
        let (source, share_percent) = largest(&sways);
        let each = self.filters.iter().zip(&self.conditions.filters);
        let mut filters: Vec<FilterPlan> =
            each.map(|(draft, conditions)| draft.finish(night, mode, conditions, &self.conditions, total)).collect();
        if !self.alone.is_empty() {
            // The hours are shared, so all counts sway together.
            for filter in &mut filters {
                let kept = filter.subs_kept as f64;
                filter.subs_kept_range = [(kept * low - HAIR).ceil() as u64, (kept * high - HAIR).ceil() as u64];
            }
        }
        let caveats = self.caveats(night, profile, &filters);
        Plan {
            format: "subwell.plan",
            version: 1,
            program: env!("CARGO_PKG_VERSION"),
            goal: goal(night),
            gain_setting: mode.gain_setting,
            sensor_c: self.conditions.sensor,
            filters,
            darks: night.calibration.darks(),
            flats: night.calibration.flats(),
            biases: night.calibration.biases(),
            wall_clock_s: total,
            wall_clock_range_s: [total * low, total * high],
            nights: (total.0 / (self.clear_hours(night) * 3600.0) - HAIR).ceil().max(0.0) as u32,
            largest_uncertainty: LargestUncertainty { source: source.word(), share_percent },
            by_gain_setting,
            night: self.conditions.night.clone(),
            schedule: None,
            short_set: None,
            calibration: CalibrationAdvice { share_percent: night.calibration.share() * 100.0, filters: Vec::new() },
            caveats,
        }
    }

    /// How the time, or for given hours the signal over noise, sways with each source, all filters together.
    fn sways(&self, night: &Night) -> Vec<Sway> {
        let each = || self.filters.iter().zip(&self.conditions.filters);
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
            let moved = each().map(|(draft, filter)| Some(draft.time_ratio(filter, source, sigmas)? * draft.weight()));
            let moved = moved.sum::<Option<f64>>()?;
            Some(moved / each().map(|(draft, _)| draft.weight()).sum::<f64>())
        };
        let quality = |source: Source, sigmas: f64| -> Option<f64> {
            let moved = each()
                .map(|(draft, filter)| draft.snr_of(&moved_search(&draft.search, &filter.planes, source, sigmas)));
            Some(moved.fold(f64::MAX, f64::min) / self.snr())
        };
        let sway = |source: Source| match night.goal.hours {
            Some(_) => Sway::new(source, quality(source, -1.0), quality(source, 1.0)),
            None => Sway::new(source, time(source, -1.0), time(source, 1.0)),
        };
        Source::ALL.into_iter().map(sway).collect()
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
pub(super) fn shares(conditions: &Conditions) -> Vec<f64> {
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
        if filters[i].counts.wall_clock.0 < time.0 * (1.0 - HAIR) {
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
        kind: if hours.is_some() { "hours" } else { "snr" },
        snr: if hours.is_some() { None } else { Some(night.goal.snr.unwrap_or(Goal::DEFAULT_SNR)) },
        hours,
        patch_arcsec: night.goal.patch(),
    }
}

/// The search of one filter, dithered within a square of this side.
pub(super) fn search(night: &Night, mode: &Mode, filter: &FilterConditions, demand: Demand, box_px: u32) -> Search {
    let (mount, stack) = (&night.mount, &night.stack);
    let governing = filter.planes.iter().filter(|plane| plane.governs);
    let storable = (stack.most_gigabytes() / gigabytes_per_sub(mode)).floor();
    Search {
        planes: governing.map(|plane| (plane.noise, plane.patch)).collect(),
        demand,
        limits: filter.limits,
        between: mount.between_subs(),
        settle: mount.settle(),
        losses_per_s: mount.lost_subs_per_hour() / 3600.0,
        stops_lost: mount.stops_lost_subs(),
        clip: Clip::iterated(stack.clip_sigma()).unwrap_or(Clip::NONE),
        dither_box_px: f64::from(box_px),
        min_subs: f64::from(stack.min_subs()),
        min_positions: f64::from(stack.min_positions()),
        min_positions_per_night: f64::from(stack.min_positions_per_night()),
        night: Seconds(filter.clear_hours * 3600.0),
        most_subs: f64::from(stack.most_subs()).min(storable),
    }
}

fn gigabytes_per_sub(mode: &Mode) -> f64 {
    mode.width_px as f64 * mode.height_px as f64 * BYTES_PER_PIXEL * 1e-9
}

impl FilterDraft {
    /// The optimum of one filter, with the smallest dither box whose own floor does not matter.
    fn new(
        night: &Night,
        mode: &Mode,
        filter: &FilterConditions,
        demand: Demand,
        share: f64,
    ) -> Result<Self, PlanError> {
        let out_of_reach = |reach| PlanError::OutOfReach { filter: filter.name.clone(), reach };
        if !filter.planes.iter().any(|plane| plane.governs) {
            return Err(out_of_reach(OutOfReach::NoLight));
        }
        let mut last = Err(OutOfReach::NoLight);
        for box_px in DITHER_BOXES_PX {
            let search = search(night, mode, filter, demand, box_px);
            last = search.optimum().map(|optimum| {
                let in_hand = night.goal.already_have() * 3600.0 * share;
                let counts = Counts::new(&search, &optimum.recommended, in_hand);
                Self { search, optimum, counts }
            });
            if last.as_ref().is_ok_and(|draft| draft.box_share() < BOX_SHARE) {
                break;
            }
        }
        last.map_err(out_of_reach)
    }

    fn sub(&self) -> Seconds {
        self.optimum.recommended.sub
    }

    fn stack(&self) -> Stack {
        Stack {
            subs: self.counts.kept as f64,
            dither_every: self.counts.every as f64,
            dither_box_px: self.search.dither_box_px,
            clip: self.search.clip,
        }
    }

    fn snr_of(&self, search: &Search) -> f64 {
        search.snr(self.sub(), self.counts.kept as f64, self.counts.every as f64)
    }

    fn snr(&self) -> f64 {
        self.snr_of(&self.search)
    }

    /// Share of the stack's variance that comes from dithers which hit the same place, in the worst plane.
    fn box_share(&self) -> f64 {
        let (stack, sub) = (self.stack(), self.sub());
        let share = |(noise, patch): &(PlaneNoise, Patch)| {
            let one = noise.sub(sub);
            let extra = stack.fixed_weight(*patch) - 1.0 / stack.positions();
            one.fixed() * extra / stack.variance(&one, *patch)
        };
        self.search.planes.iter().map(share).fold(0.0, f64::max)
    }

    fn at_setting(&self, filter: &FilterConditions) -> FilterAtSetting {
        let (stack, sub) = (self.stack(), self.sub());
        let share = |(noise, patch): &(PlaneNoise, Patch)| {
            let shares = stack.shares(&noise.sub(sub), *patch);
            shares.read + shares.quantisation
        };
        let burning = filter.planes.iter().map(|plane| plane.burning_star(sub));
        // The plane in which the faintest star burns; where the sky burns, no star is spared.
        let burning = burning.collect::<Option<Vec<_>>>();
        let faintest = burning.and_then(|planes| planes.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)));
        FilterAtSetting {
            name: filter.name.clone(),
            sub_s: sub,
            read_noise_share_percent: self.search.planes.iter().map(share).fold(0.0, f64::max),
            stars_burn_mag: faintest,
        }
    }

    fn weight(&self) -> f64 {
        self.counts.wall_clock.0.max(HAIR)
    }

    /// The time for the same goal at the same sub and cadence over the plan's, with one source moved.
    fn time_ratio(&self, filter: &FilterConditions, source: Source, sigmas: f64) -> Option<f64> {
        let Demand::Snr(snr) = self.search.demand else { return Some(1.0) };
        let floor = self.optimum.recommended.subs.min(self.search.min_subs.max(self.search.min_positions));
        let every = self.counts.every as f64;
        let subs = moved_search(&self.search, &filter.planes, source, sigmas).subs_for(snr, self.sub(), every)?;
        Some(subs.max(floor) / self.optimum.recommended.subs)
    }

    fn kept_range(&self, filter: &FilterConditions) -> [u64; 2] {
        let sway = |source| {
            let ratio = |sigmas| self.time_ratio(filter, source, sigmas);
            Sway::new(source, ratio(-1.0), ratio(1.0))
        };
        let sways: Vec<Sway> = Source::ALL.into_iter().map(sway).collect();
        let (low, high) = range_factors(&sways);
        let kept = self.counts.kept as f64;
        [(kept * low - HAIR).ceil() as u64, (kept * high - HAIR).ceil() as u64]
    }

    fn finish(
        &self,
        night: &Night,
        mode: &Mode,
        filter: &FilterConditions,
        conditions: &Conditions,
        total: Seconds,
    ) -> FilterPlan {
        let Counts { kept, shot, every, dithers, wall_clock } = self.counts;
        let Limits { tracking, field_rotation, star_saturation, sky_saturation } = filter.limits;
        let (sub, search) = (self.sub(), &self.search);
        let group = every as f64 * (sub.0 + search.between.0) + search.settle.0;
        let nightly = (search.night.0 / group + HAIR).floor() as u64;
        FilterPlan {
            name: filter.name.clone(),
            share: if total.0 > 0.0 { wall_clock / total } else { 1.0 / conditions.filters.len() as f64 },
            sub_s: sub,
            sub_optimum_s: self.optimum.least.sub,
            sub_range_s: [self.optimum.range.0, self.optimum.range.1],
            set_by: self.optimum.set_by,
            lost_subs_per_hour: night.mount.lost_subs_per_hour(),
            between_subs_s: search.between,
            settle_s: search.settle,
            limits_s: SubLimits { tracking, field_rotation, star_saturation, sky_saturation },
            sky_limited_s: sky_limited(filter, SKY_LIMITED_PERCENT),
            sky_limited_excess_percent: SKY_LIMITED_PERCENT,
            subs_kept: kept,
            subs_to_shoot: shot,
            subs_kept_range: self.kept_range(filter),
            dither_every_subs: every,
            dithers,
            dither_px: search.dither_box_px as u32,
            positions_per_night: dithers.min(nightly),
            integration_s: sub * kept as f64,
            wall_clock_s: wall_clock,
            gigabytes: shot as f64 * gigabytes_per_sub(mode),
            rules_of_thumb: rules_of_thumb(filter).to_vec(),
            without_dither: self.without_dither(night, conditions),
            in_hand: None,
            planes: filter.planes.iter().map(|plane| self.plane(plane, conditions)).collect(),
        }
    }

    /// What the same subs would show in the plane that suffers most if the mount never moved between them.
    fn without_dither(&self, night: &Night, conditions: &Conditions) -> WithoutDither {
        let (dithered, sub) = (self.stack(), self.sub());
        let never = Stack { dither_every: NEVER, ..dithered };
        let ratio = |(noise, patch): &(PlaneNoise, Patch)| {
            let one = noise.sub(sub);
            (never.variance(&one, *patch) / dithered.variance(&one, *patch)).sqrt()
        };
        let hours = self.search.demand_snr().and_then(|snr| {
            let subs = self.search.subs_for(snr, sub, NEVER)?;
            let rested = Search { settle: Seconds(0.0), ..self.search.clone() };
            let with = self.search.wall_clock(sub, self.optimum.recommended.subs, dithered.dither_every);
            Some(rested.wall_clock(sub, subs.max(self.search.min_subs), 1.0) / with)
        });
        let unguided = night.mount.polar_error_arcmin.filter(|_| !night.mount.guided());
        let creep = unguided.map(|error| polar_drift_per_second(error).0 * sub.0 / conditions.pixel_scale.0);
        WithoutDither {
            noise_ratio: self.search.planes.iter().map(ratio).fold(1.0, f64::max),
            time_ratio: hours,
            creep_px_per_sub: creep,
        }
    }

    fn plane(&self, plane: &PlaneConditions, conditions: &Conditions) -> PlanePlan {
        let (stack, sub) = (self.stack(), self.sub());
        let one = plane.noise.sub(sub);
        let snr = stack.snr(&one, plane.patch);
        let swayed = |source, sigmas| {
            let moved = stack.snr(&moved(plane, source, sigmas).sub(sub), plane.patch);
            (snr > 0.0).then(|| moved / snr)
        };
        let sways = Source::ALL.map(|source| Sway::new(source, swayed(source, -1.0), swayed(source, 1.0)).half());
        let faintest = faintest_rate(&plane.noise, &stack, sub, plane.square);
        let level = plane.noise.rates.background() * sub;
        let dn = plane.offset.map_or(0.0, |offset| offset.0) + level.0 / plane.gain.0;
        PlanePlan {
            plane: plane.plane.clone(),
            colour: plane.colour,
            rates_e_per_s: plane.noise.rates,
            snr: Estimate::within_factor(snr, sways.iter().map(|sway| sway * sway).sum::<f64>().sqrt()),
            faintest_mag_per_arcsec2: magnitude(plane.rate_of_magnitude_0 / faintest),
            faintest_rayleigh: plane.rate_of_rayleigh.map(|rate| Rayleighs(faintest / rate)),
            inputs: PlaneInputs {
                read_noise_e: plane.noise.read_noise,
                quantisation_e: plane.noise.quantisation,
                pattern_e2: one.pattern,
                masters_e2: one.masters,
                drift_e2: one.drift,
                clip_factor: stack.clip.variance_factor(stack.subs),
                pixel_arcsec: conditions.pixel_scale,
                patch_pixels: plane.patch.pixels,
                patch_side_px: plane.patch.side_px,
            },
            noise_share_percent: stack.shares(&one, plane.patch),
            sky_level_dn: dn.round().max(0.0) as u64,
            sky_share_of_full_well_percent: 100.0 * (level / plane.full_well),
        }
    }
}

/// The sub length at which read noise adds so much to the noise, in the plane that needs longest.
fn sky_limited(filter: &FilterConditions, percent: f64) -> Seconds {
    let each = filter.planes.iter().map(|plane| plane.noise.sky_limited(percent / 100.0).0);
    Seconds(each.fold(0.0, f64::max))
}

fn rules_of_thumb(filter: &FilterConditions) -> [RuleOfThumb; 3] {
    THUMB_PERCENT.map(|percent| RuleOfThumb { read_noise_adds_percent: percent, sub_s: sky_limited(filter, percent) })
}

fn magnitude(times_fainter_than_0: f64) -> Option<MagnitudesPerSquareArcsecond> {
    let magnitude = 2.5 * times_fainter_than_0.log10();
    magnitude.is_finite().then_some(MagnitudesPerSquareArcsecond(magnitude))
}

impl Counts {
    /// The same where the goal is reached already.
    fn nothing_to_shoot(self) -> Self {
        Self { shot: 0, dithers: 0, wall_clock: Seconds(0.0), ..self }
    }

    pub(super) fn new(search: &Search, chosen: &Chosen, in_hand_s: f64) -> Self {
        let (sub, every) = (chosen.sub, chosen.dither_every);
        let shot_per_kept = search.shot_per_kept(sub);
        let in_hand = (in_hand_s / sub.0 + HAIR).floor();
        let kept = match search.demand {
            Demand::Snr(_) => (chosen.subs - HAIR).ceil().max(in_hand),
            Demand::Within(time) => Self::kept_within(search, chosen.sub, every, time) + in_hand,
        };
        let shot = ((kept - in_hand).max(0.0) * shot_per_kept - HAIR).ceil().max(0.0);
        let shot = if matches!(search.demand, Demand::Within(_)) { shot.min(search.most_subs.floor()) } else { shot };
        let dithers = (shot / every).ceil();
        let wall_clock = Seconds(shot * (search.open_shutter(sub) + search.between.0) + dithers * search.settle.0);
        Self { kept: kept as u64, shot: shot as u64, every: every as u64, dithers: dithers as u64, wall_clock }
    }

    /// The whole number of subs that are most likely kept of those that fit into a time.
    fn kept_within(search: &Search, sub: Seconds, every: f64, time: Seconds) -> f64 {
        let each = search.open_shutter(sub) + search.between.0;
        let spent = |shot: f64| shot * each + (shot / every).ceil() * search.settle.0;
        let mut shot = (time.0 / (each + search.settle.0 / every) + HAIR).floor().min(search.most_subs.floor());
        while shot > 1.0 && spent(shot) > time.0 * (1.0 + HAIR) {
            shot -= 1.0;
        }
        (shot / search.shot_per_kept(sub)).round().max(1.0)
    }
}
