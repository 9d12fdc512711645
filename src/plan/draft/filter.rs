//! One filter on its way to a plan: the optimum, its whole numbers, and what they mean in every plane.

use crate::camera::{Mode, SaturationIs};
use crate::night::{Conditions, FilterConditions, Limits, Night, PlaneConditions};
use crate::noise::{Clip, Patch, PlaneNoise, Stack, faintest_rate};
use crate::optimum::two_digits;
use crate::plan::range::{Sensitivity, Source, moved, moved_search, range_factors};
use crate::plan::{
    Asked, Demand, FilterAtSetting, FilterPlan, Optimum, OutOfReach, PlanError, PlaneInputs, PlanePlan, RuleOfThumb,
    Search, SubLimits, WithoutDither,
};
use crate::rig::polar_drift_per_second;
use crate::stats::Estimate;
use crate::units::{MagnitudesPerSquareArcsecond, Rayleighs, Seconds};

use super::{Counts, ROUNDING_SLACK};

/// Excess of a sub's noise over shot noise at which it counts as limited by the sky, in percent.
const SKY_LIMITED_PERCENT: f64 = 5.0;
/// The same for three rules that are handed around: five, ten and twenty-five times the squared read noise, common
/// practice, no source.
pub(crate) const RULES_OF_THUMB_PERCENT: [f64; 3] = [10.0, SKY_LIMITED_PERCENT, 2.0];
/// Sides of the squares from which dithers may draw their places: a blob of 3 pixels needs a dozen, columns and
/// large stacks more (common practice, no source).
pub(crate) const DITHER_BOXES_PX: [u32; 7] = [12, 16, 24, 32, 48, 64, 96];
/// Subs between two dithers of a stack that has none.
const NEVER: f64 = 1e12;
/// Share of the stack's variance that places hit twice may cost.
const BOX_SHARE: f64 = 0.02;
/// So many times the hours are no hours any more (judgement, no source).
const BEYOND_PATIENCE: f64 = 1e3;
/// Bytes of a pixel on disk, uncompressed.
const BYTES_PER_PIXEL: f64 = 2.0;

/// One filter's plan before it is written out.
#[derive(Clone)]
pub(crate) struct FilterDraft {
    pub(crate) search: Search,
    pub(super) optimum: Optimum,
    pub(crate) counts: Counts,
    /// Seconds of open shutter that are there already.
    in_hand_s: f64,
}

/// The search of one filter, dithered within a square of this side.
pub(crate) fn search(night: &Night, mode: &Mode, filter: &FilterConditions, demand: Demand, box_px: u32) -> Search {
    let (mount, stack) = (&night.mount, &night.stack);
    let governing = filter.planes.iter().filter(|plane| plane.governs);
    let storable = (stack.most_gigabytes() / gigabytes_per_sub(mode)).floor();
    Search {
        planes: governing.map(|plane| (plane.noise, plane.patch.dithered_within(f64::from(box_px)))).collect(),
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
        asked: Asked { sub: night.goal.sub_s, every: night.goal.dither_every.map(f64::from) },
    }
}

/// Why subs of the length that was asked for hold nothing: the sky alone fills them.
pub(crate) fn filled_by_the_sky(night: &Night, filter: &FilterConditions) -> Option<OutOfReach> {
    let sub = night.goal.sub_s?;
    let full = filter.filled_after(filter.planes.iter().map(|plane| plane.noise.rates))?;
    let longest = filter.limits.sky_saturation.unwrap_or(full);
    (full < sub).then(|| OutOfReach::FilledBySky { sub, full, longest: Seconds(two_digits(longest.0)) })
}

pub(super) fn gigabytes_per_sub(mode: &Mode) -> f64 {
    mode.width_px as f64 * mode.height_px as f64 * BYTES_PER_PIXEL * 1e-9
}

impl FilterDraft {
    /// The optimum of one filter, with the smallest dither box whose own floor does not matter.
    pub(crate) fn new(
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
        if let Some(reach) = filled_by_the_sky(night, filter) {
            return Err(out_of_reach(reach));
        }
        let mut last = Err(OutOfReach::NoLight);
        for box_px in DITHER_BOXES_PX {
            let search = search(night, mode, filter, demand, box_px);
            last = search.optimum().map(|optimum| {
                let in_hand = night.goal.already_have() * 3600.0 * share;
                let counts = Counts::new(&search, &optimum.recommended, in_hand);
                Self { search, optimum, counts, in_hand_s: in_hand }
            });
            if last.as_ref().is_ok_and(|draft| draft.box_share() < BOX_SHARE) {
                break;
            }
        }
        last.map_err(out_of_reach)
    }

    pub(crate) fn sub(&self) -> Seconds {
        self.optimum.recommended.sub
    }

    pub(crate) fn stack(&self) -> Stack {
        Stack {
            subs: self.counts.kept as f64,
            dither_every: self.counts.every as f64,
            dither_box_px: self.search.dither_box_px,
            clip: self.search.clip,
        }
    }

    pub(super) fn snr_of(&self, search: &Search) -> f64 {
        search.snr(self.sub(), self.counts.kept as f64, self.counts.every as f64)
    }

    pub(super) fn snr(&self) -> f64 {
        self.snr_of(&self.search)
    }

    /// Signal over noise of so many subs of the plane that is worst off.
    pub(crate) fn snr_with(&self, kept: f64) -> f64 {
        self.search.snr(self.sub(), kept, self.counts.every as f64)
    }

    /// What of the hours in hand are this filter's; 1 where none are.
    pub(crate) fn share_in_hand(&self, night: &Night) -> f64 {
        let all_s = night.goal.already_have() * 3600.0;
        if all_s > 0.0 { self.in_hand_s / all_s } else { 1.0 }
    }

    /// Whole subs that the hours in hand are.
    pub(crate) fn in_hand_subs(&self) -> f64 {
        (self.in_hand_s / self.sub().0 + ROUNDING_SLACK).floor()
    }

    /// The cost of the same lengths under the light that the search has now.
    pub(crate) fn settle_in(&mut self) {
        let every = self.counts.every as f64;
        let least = self.search.best_at(self.optimum.least.sub);
        let recommended = self.search.at(self.sub(), every);
        if let (Some(least), Some(recommended)) = (least, recommended) {
            (self.optimum.least, self.optimum.recommended) = (least, recommended);
        }
    }

    /// Share of the stack's variance that comes from dithers which hit the same place, in the worst plane.
    pub(super) fn box_share(&self) -> f64 {
        let (stack, sub) = (self.stack(), self.sub());
        let share = |(noise, patch): &(PlaneNoise, Patch)| {
            let one = noise.sub(sub);
            stack.floor_of_box(&one, *patch) / stack.variance(&one, *patch)
        };
        self.search.planes.iter().map(share).fold(0.0, f64::max)
    }

    pub(super) fn at_setting(&self, filter: &FilterConditions) -> FilterAtSetting {
        let (stack, sub) = (self.stack(), self.sub());
        let share = |(noise, patch): &(PlaneNoise, Patch)| {
            let shares = stack.shares(&noise.sub(sub), *patch);
            shares.read + shares.bands + shares.quantisation
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
            saturation_is: saturation_is(filter),
        }
    }

    pub(super) fn weight(&self) -> f64 {
        self.counts.wall_clock.0.max(ROUNDING_SLACK)
    }

    /// The time for the same goal at the same sub and cadence over the plan's, with one source moved.
    pub(super) fn time_ratio(&self, filter: &FilterConditions, source: Source, sigmas: f64) -> Option<f64> {
        let Demand::Snr(snr) = self.search.demand else { return Some(1.0) };
        let floor = self.optimum.recommended.subs.min(self.search.min_subs.max(self.search.min_positions));
        let every = self.counts.every as f64;
        let subs = moved_search(&self.search, &filter.planes, source, sigmas).subs_for(snr, self.sub(), every)?;
        Some(subs.max(floor) / self.optimum.recommended.subs)
    }

    pub(super) fn kept_range(&self, filter: &FilterConditions) -> [u64; 2] {
        let sensitivity = |source| {
            let ratio = |sigmas| self.time_ratio(filter, source, sigmas);
            Sensitivity::new(source, ratio(-1.0), ratio(1.0))
        };
        let sensitivities: Vec<Sensitivity> = Source::ALL.into_iter().map(sensitivity).collect();
        let (low, high) = range_factors(&sensitivities);
        let kept = self.counts.kept as f64;
        [(kept * low - ROUNDING_SLACK).ceil() as u64, (kept * high - ROUNDING_SLACK).ceil() as u64]
    }

    pub(super) fn finish(
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
        let stretches = search.stretches(&self.optimum);
        let nightly = (search.night.0 / group + ROUNDING_SLACK).floor() as u64;
        FilterPlan {
            name: filter.name.clone(),
            share: if total.0 > 0.0 { wall_clock / total } else { 1.0 / conditions.filters.len() as f64 },
            sub_s: sub,
            sub_optimum_s: self.optimum.least.sub,
            sub_range_s: stretch_of(&stretches, sub),
            sub_range_within_percent: 100.0 * search.within(&self.optimum),
            sub_stretches_s: stretches,
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
    pub(super) fn without_dither(&self, night: &Night, conditions: &Conditions) -> WithoutDither {
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
            let ratio = rested.wall_clock(sub, subs.max(self.search.min_subs), 1.0) / with;
            (ratio < BEYOND_PATIENCE).then_some(ratio)
        });
        let unguided = night.mount.polar_error_arcmin.filter(|_| !night.mount.guided());
        let creep = unguided.map(|error| polar_drift_per_second(error).0 * sub.0 / conditions.pixel_scale.0);
        WithoutDither {
            noise_ratio: self.search.planes.iter().map(ratio).fold(1.0, f64::max),
            time_ratio: hours,
            creep_px_per_sub: creep,
        }
    }

    pub(super) fn plane(&self, plane: &PlaneConditions, conditions: &Conditions) -> PlanePlan {
        let (stack, sub) = (self.stack(), self.sub());
        let (one, patch) = (plane.noise.sub(sub), plane.patch.dithered_within(stack.dither_box_px));
        let snr = stack.snr(&one, patch);
        let fixed = stack.fixed_noise(&one, patch);
        let [bands, drift] = stack.shared(&one, patch);
        let changed = |source, sigmas| {
            let moved = stack.snr(&moved(plane, source, sigmas).sub(sub), patch);
            (snr > 0.0).then(|| moved / snr)
        };
        let sensitivities =
            Source::ALL.map(|source| Sensitivity::new(source, changed(source, -1.0), changed(source, 1.0)).half());
        let faintest = faintest_rate(&plane.noise, &stack, sub, plane.square);
        let level = plane.noise.rates.background() * sub;
        let dn = plane.offset.map_or(0.0, |offset| offset.0) + level.0 / plane.gain.0;
        PlanePlan {
            plane: plane.plane,
            colour: plane.colour,
            rates_e_per_s: plane.noise.rates,
            snr: Estimate::within_factor(
                snr,
                sensitivities.iter().map(|sensitivity| sensitivity * sensitivity).sum::<f64>().sqrt(),
            ),
            faintest_mag_per_arcsec2: magnitude(plane.rate_of_magnitude_0 / faintest),
            faintest_rayleigh: plane.rate_of_rayleigh.map(|rate| Rayleighs(faintest / rate)),
            inputs: PlaneInputs {
                read_noise_e: plane.noise.read_noise,
                quantisation_e: plane.noise.quantisation,
                pattern_e2: one.pattern,
                masters_e2: one.masters,
                drift_e2: one.drift + drift,
                bands_e2: bands,
                fixed_e2: fixed.once,
                fixed_floor_e2: fixed.floor,
                clip_factor: stack.clip.variance_factor(stack.subs),
                pixel_arcsec: conditions.pixel_scale,
                patch_pixels: plane.patch.pixels,
                patch_side_px: plane.patch.side_px,
            },
            noise_share_percent: stack.shares(&one, patch),
            sky_level_dn: dn.round().max(0.0) as u64,
            sky_share_of_full_well_percent: 100.0 * (level / plane.full_well),
            saturation_is: plane.full_well_is,
        }
    }
}

/// At least, where it is that in any plane.
fn saturation_is(filter: &FilterConditions) -> SaturationIs {
    let least = filter.planes.iter().find(|plane| plane.full_well_is == SaturationIs::AtLeast);
    least.map_or(SaturationIs::Reached, |plane| plane.full_well_is)
}

/// The stretch that holds a length, or the nearest one.
fn stretch_of(stretches: &[[Seconds; 2]], sub: Seconds) -> [Seconds; 2] {
    let off = |[low, high]: &&[Seconds; 2]| (low.0 - sub.0).max(sub.0 - high.0).max(0.0);
    stretches.iter().min_by(|a, b| off(a).total_cmp(&off(b))).copied().unwrap_or([sub; 2])
}

/// The sub length at which read noise adds so much to the noise, in the plane that needs longest.
fn sky_limited(filter: &FilterConditions, percent: f64) -> Seconds {
    let lengths = filter.planes.iter().map(|plane| plane.noise.sky_limited(percent / 100.0).0);
    Seconds(lengths.fold(0.0, f64::max))
}

fn rules_of_thumb(filter: &FilterConditions) -> [RuleOfThumb; 3] {
    RULES_OF_THUMB_PERCENT
        .map(|percent| RuleOfThumb { read_noise_adds_percent: percent, sub_s: sky_limited(filter, percent) })
}

fn magnitude(times_fainter_than_0: f64) -> Option<MagnitudesPerSquareArcsecond> {
    let magnitude = 2.5 * times_fainter_than_0.log10();
    magnitude.is_finite().then_some(MagnitudesPerSquareArcsecond(magnitude))
}
