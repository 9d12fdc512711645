//! The plan itself: what `plan --json` prints.

use serde::{Deserialize, Serialize};

use crate::camera::{CameraProfile, PlaneName, SaturationIs};
use crate::caveat::{Caveat, CaveatCode};
use crate::document::{Format, Stamp};
use crate::noise::{NoiseShares, Rates};
use crate::stats::Estimate;
use crate::units::{
    Arcseconds, Celsius, Colour, Electrons, Magnitudes, MagnitudesPerSquareArcsecond, Rayleighs, Seconds,
};

use super::bright_core::short_set;
use super::calibration::calibration_advice;
use super::drafted::{drafted, steady};
use super::range::Source;
use super::{CalibrationAdvice, CostMap, PlanError, PriorStack, Schedule, Search, SetBy, ShortSet, Start};
use crate::night::{Night, Picture, PlanNight};

/// What `plan --json` prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Plan {
    /// `format`, always `subwell.plan`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// The program's version.
    pub program: String,
    /// What was asked for.
    pub goal: PlanGoal,
    /// The mode's gain setting.
    pub gain_setting: Option<f64>,
    /// The sensor's temperature.
    pub sensor_c: Celsius,
    /// One entry for each filter.
    pub filters: Vec<FilterPlan>,
    /// Darks at the subs' length.
    pub darks: u32,
    /// Flats of each filter.
    pub flats: u32,
    /// Biases.
    pub biases: u32,
    /// Of all filters together.
    pub wall_clock_s: Seconds,
    /// One standard uncertainty down and up.
    pub wall_clock_range_s: [Seconds; 2],
    /// Usual clear nights.
    pub nights: u32,
    /// What the range mostly comes from.
    pub largest_uncertainty: LargestUncertainty,
    /// The wall-clock time at each gain setting that reaches the goal.
    pub by_gain_setting: Vec<GainSetting>,
    /// The hours of the date; `null` without a date or a place.
    pub night: Option<PlanNight>,
    /// The nights that it takes; `null` without a date or a place.
    pub schedule: Option<Schedule>,
    /// A second set for a core or star that burns; `null` where neither is asked for or in the way.
    pub short_set: Option<ShortSet>,
    /// The calibration frames that these lights want.
    pub calibration: CalibrationAdvice,
    /// What the numbers rest on.
    pub caveats: Vec<Caveat>,
}

impl Format for Plan {
    const FORMAT: &'static str = "subwell.plan";
}

/// The goal of a plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct PlanGoal {
    /// Which of the two was asked for.
    pub kind: GoalKind,
    /// Signal over noise: as asked, or `null` where hours were.
    pub snr: Option<f64>,
    /// Hours, where they were asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hours: Option<f64>,
    /// The kind of picture that stands for both, where one was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub picture: Option<Picture>,
    /// Side of the patch; `null` for a single pixel.
    pub patch_arcsec: Option<Arcseconds>,
}

/// What a plan was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum GoalKind {
    /// A signal over noise: how many hours?
    Snr,
    /// Hours: how much signal over noise?
    Hours,
}

/// The plan of one filter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct FilterPlan {
    /// The filter.
    pub name: String,
    /// Its share of the wall-clock time.
    pub share: f64,
    /// The recommended length.
    pub sub_s: Seconds,
    /// The length of the least wall-clock time.
    pub sub_optimum_s: Seconds,
    /// The stretch of lengths about `sub_s` that cost at most 3 % more than the least, or as much more as `sub_s` does.
    pub sub_range_s: [Seconds; 2],
    /// So much more they cost at most, in percent.
    pub sub_range_within_percent: f64,
    /// All such stretches: whole cadences make a saw of the cost, so there can be several. The optimum lies in one of them.
    pub sub_stretches_s: Vec<[Seconds; 2]>,
    /// What set the optimum.
    pub set_by: SetBy,
    /// The loss rate behind it.
    pub lost_subs_per_hour: f64,
    /// Readout and download.
    pub between_subs_s: Seconds,
    /// One dither.
    pub settle_s: Seconds,
    /// What bounds the sub.
    pub limits_s: SubLimits,
    /// The length at which read noise adds the next number to a sub's noise without the target.
    pub sky_limited_s: Seconds,
    /// That share of the noise, in percent: 5.
    pub sky_limited_excess_percent: f64,
    /// Subs in the stack, those in hand included.
    pub subs_kept: u64,
    /// Subs to shoot, losses included, those in hand not.
    pub subs_to_shoot: u64,
    /// One standard uncertainty down and up.
    pub subs_kept_range: [u64; 2],
    /// A dither after so many subs.
    pub dither_every_subs: u64,
    /// Dithers, the first position included.
    pub dithers: u64,
    /// Side of the square from which dithers draw their places.
    pub dither_px: u32,
    /// Dither positions in a usual night.
    pub positions_per_night: u64,
    /// `subs_kept` × `sub_s`.
    pub integration_s: Seconds,
    /// `subs_to_shoot` × (`sub_s` + `between_subs_s`) + `dithers` × `settle_s`.
    pub wall_clock_s: Seconds,
    /// Of the lights.
    pub gigabytes: f64,
    /// What rules of thumb would have said.
    pub rules_of_thumb: Vec<RuleOfThumb>,
    /// What would become of the stack without dithers.
    pub without_dither: WithoutDither,
    /// Earlier stacks of `[[goal.already]]` beside these subs; absent without any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub in_hand: Option<PriorStack>,
    /// The planes that see light through the filter.
    pub planes: Vec<PlanePlan>,
}

/// [`crate::night::Limits`] as they are printed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SubLimits {
    /// The mount.
    pub tracking: Option<Seconds>,
    /// The turning of a guided field.
    pub field_rotation: Option<Seconds>,
    /// The brightest star to keep.
    pub star_saturation: Option<Seconds>,
    /// The sky itself.
    pub sky_saturation: Option<Seconds>,
}

/// What the plan means in one plane.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct PlanePlan {
    /// The plane.
    pub plane: PlaneName,
    /// Its colour.
    pub colour: Option<Colour>,
    /// What fills a pixel.
    pub rates_e_per_s: Rates,
    /// Signal over noise in the patch.
    pub snr: Estimate<f64>,
    /// Continuum at 3σ in a 10″ square, outside the atmosphere.
    pub faintest_mag_per_arcsec2: Option<MagnitudesPerSquareArcsecond>,
    /// The line at 3σ in a 10″ square; `null` where the target has none that passes.
    pub faintest_rayleigh: Option<Rayleighs>,
    /// What a reader needs to recompute the rest.
    pub inputs: PlaneInputs,
    /// Where the stack's variance comes from.
    pub noise_share_percent: NoiseShares,
    /// Level of the sky in a sub, offset included.
    pub sky_level_dn: u64,
    /// The same without the offset, of the signal at saturation.
    pub sky_share_of_full_well_percent: f64,
    /// Whether saturation was reached, or is the least that it can be: then the share above is a most, and the limits by stars and sky are leasts.
    #[serde(default)]
    pub saturation_is: SaturationIs,
}

/// A sub length by one of the trade's rules, which know neither losses nor pauses nor the pattern.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct RuleOfThumb {
    /// Percent by which read noise may raise the noise of sky and dark current in a sub; every such rule is one of these.
    pub read_noise_adds_percent: f64,
    /// The shortest sub that obeys it.
    pub sub_s: Seconds,
}

/// What becomes of a stack whose subs all lie on the same pixels: the pattern that calibration leaves stays where it is.
///
/// Where the field creeps meanwhile, the pattern is drawn out into streaks: it walks, and no number of subs removes it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WithoutDither {
    /// Noise in the patch over that of the dithered stack of as many subs, hot pixels not counted.
    pub noise_ratio: f64,
    /// Hours for the goal over those with dithers; `None` where no number of subs worth shooting reaches it, or the hours are
    /// given.
    pub time_ratio: Option<f64>,
    /// Drift from sub to sub of an unguided mount whose polar error is known.
    pub creep_px_per_sub: Option<f64>,
}

/// Numbers of one sub, before any division by counts.
///
/// ```text
/// V   = (clip_factor · ((target + sky + moon + dark) t + read² + quantisation²) + bands + drift)/subs
///       + fixed/M + (1 − 1/M) · fixed_floor,   M = max(1, subs/dither_every)
/// SNR = target · t · √patch_pixels / √V
/// ```
///
/// Where the profile says nothing of how its noise falls with scale, pixels are independent:
///
/// ```text
/// bands = 0,   fixed = pattern + masters,   fixed_floor = fixed · o
/// o     = ((s − (s² − 1)/3l)/dither_px)²,   s, l the smaller and the larger of patch_side_px and dither_px
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct PlaneInputs {
    /// Read noise.
    pub read_noise_e: Electrons,
    /// Quantisation noise.
    pub quantisation_e: Electrons,
    /// Variance of the pattern that calibration leaves.
    pub pattern_e2: f64,
    /// Variance of the masters.
    pub masters_e2: f64,
    /// Variance of a pattern that changes from sub to sub, as a patch sees it.
    pub drift_e2: f64,
    /// What read noise has more in a patch because rows, columns or areas share it.
    #[serde(default)]
    pub bands_e2: f64,
    /// Pattern and masters as a patch sees them in one place of the sensor.
    #[serde(default)]
    pub fixed_e2: f64,
    /// The same where dithers take the patch everywhere in their square.
    #[serde(default)]
    pub fixed_floor_e2: f64,
    /// What rejection costs.
    pub clip_factor: f64,
    /// A pixel's side on the sky.
    pub pixel_arcsec: Arcseconds,
    /// Pixels of the plane's colour in the patch.
    pub patch_pixels: f64,
    /// The patch's side in pixels of the sensor, at least 1: what dithers must leave behind to average the pattern.
    pub patch_side_px: f64,
}

/// What a range mostly comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LargestUncertainty {
    /// The source.
    pub source: Source,
    /// Its share of the squared uncertainty.
    pub share_percent: f64,
}

/// One gain setting's time for the goal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct GainSetting {
    /// The setting.
    pub gain_setting: Option<f64>,
    /// The camera mode in words, by which a night may name it as `mode`.
    #[serde(default)]
    pub mode: String,
    /// The time.
    pub wall_clock_s: Seconds,
    /// Signal over noise of the plane and filter that are worst off.
    pub snr: f64,
    /// Read noise of the plane that has most of it.
    pub read_noise_e: Electrons,
    /// Saturation of the plane that is full first: every plane spans what lies between the two.
    pub saturation_e: Electrons,
    /// Each filter at this setting.
    pub filters: Vec<FilterAtSetting>,
}

impl GainSetting {
    /// `gain 100`; the whole mode in words where `all` hold another of the same gain, as of another binning or size.
    #[must_use]
    pub fn name(&self, all: &[Self]) -> String {
        if all.iter().filter(|other| other.gain_setting == self.gain_setting).count() > 1 {
            return self.mode.clone();
        }
        self.gain_setting.map_or_else(|| "unnamed gain".to_owned(), |gain| format!("gain {gain}"))
    }
}

/// One filter at one gain setting: what is gained in read noise and lost in stars.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FilterAtSetting {
    /// The filter.
    pub name: String,
    /// Length of a sub.
    pub sub_s: Seconds,
    /// Read noise and quantisation in the variance of the plane where they weigh most.
    pub read_noise_share_percent: f64,
    /// Stars brighter than this burn in such a sub; `None` where the sky does.
    pub stars_burn_mag: Option<Magnitudes>,
    /// Whether saturation was reached, or is the least that it can be: then fainter stars than these burn in no case, brighter ones may not.
    #[serde(default)]
    pub saturation_is: SaturationIs,
}

/// Plans a night with a camera.
///
/// With a gain setting in the night that mode is planned; without one every mode is weighed and the one of the least
/// wall-clock time (for given hours: of the best signal over noise) is taken.
///
/// # Errors
/// When night and camera do not fit together, or the goal is out of reach; the error says what would be in reach.
///
/// # Examples
/// ```
/// use subwell::{camera::CameraProfile, night::Night, plan::plan};
///
/// let camera = CameraProfile::from_toml(r#"
///     camera = "from a data sheet"
///     provenance = "published"
///     [[modes]]
///     pixel_um = 3.76
///     width_px = 6000
///     height_px = 4000
///     [[modes.planes]]
///     plane = "mono"
///     gain_e_per_dn = 0.25
///     read_noise_e = 1.5
///     saturation_e = 15000.0
/// "#)?;
/// let night = Night::from_toml(r#"
///     optics = { aperture_mm = 72.0, focal_length_mm = 432.0 }
///     site = { sky = { bortle = 7 } }
///     target = { surface_brightness_mag = 22.0 }
///     goal = { snr = 10.0 }
/// "#)?;
/// let plan = plan(&night, &camera)?;
/// let lights = &plan.filters[0];
/// assert!(lights.planes[0].snr.value >= 10.0);
/// assert!(lights.dithers >= 15);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn plan(night: &Night, profile: &CameraProfile) -> Result<Plan, PlanError> {
    night.check()?;
    let (night, in_hand_until) = night.evenings_to_come();
    let night = night.as_ref();
    let (mode, draft, by_gain_setting, scheduled) = drafted(night, profile)?;
    let filters = draft.settled();
    let short_set = short_set(night, &filters);
    let calibration = calibration_advice(night, mode, &filters);
    let in_hand = draft.in_hand();
    let mut plan = draft.finish(night, profile, mode, by_gain_setting);
    for (filter, in_hand) in plan.filters.iter_mut().zip(in_hand) {
        filter.in_hand = in_hand;
    }
    plan.short_set = short_set;
    plan.calibration = calibration;
    if let Some(scheduled) = scheduled {
        plan.wall_clock_range_s = scheduled.range.map(|ratio| plan.wall_clock_s * ratio);
        if night.goal.hours.is_none() {
            // Filters that have hours for their share are as sure as all together.
            let fixed = |filter: &&mut FilterPlan| filter.subs_kept_range == [filter.subs_kept; 2];
            for filter in plan.filters.iter_mut().filter(fixed).filter(|filter| filter.subs_to_shoot > 0) {
                filter.subs_kept_range = scheduled.range.map(|ratio| (filter.subs_kept as f64 * ratio).ceil() as u64);
            }
        }
        let schedule = scheduled.schedule;
        plan.nights = schedule.nights.len() as u32;
        if !schedule.finished {
            // What cannot be shot is not reached.
            plan.caveats.retain(|caveat| caveat.code != CaveatCode::GoalReached);
        }
        plan.caveats.extend(schedule.caveats());
        plan.schedule = Some(schedule);
    }
    plan.caveats.extend(in_hand_until);
    Ok(plan)
}

/// The plan begun on each evening of the four weeks from its date on; `None` where the night has no date or no place.
///
/// # Errors
/// As [`plan`].
pub fn starts(night: &Night, profile: &CameraProfile) -> Result<Option<Vec<Start>>, PlanError> {
    night.check()?;
    let (night, _) = night.evenings_to_come();
    let (mode, draft, _) = steady(&night, profile)?;
    draft.started(&night, mode)
}

/// What each filter of [`plan`] was searched in, in the order of [`Plan::filters`]: for curves about the recommendation.
///
/// # Errors
/// As [`plan`].
pub fn searches(night: &Night, profile: &CameraProfile) -> Result<Vec<Search>, PlanError> {
    night.check()?;
    Ok(drafted(&night.evenings_to_come().0, profile)?.1.searches())
}

/// What every sub length and cadence costs in each filter of [`plan`], in the order of [`Plan::filters`].
///
/// # Errors
/// As [`plan`].
pub fn cost_maps(night: &Night, profile: &CameraProfile) -> Result<Vec<CostMap>, PlanError> {
    night.check()?;
    let (night, _) = night.evenings_to_come();
    Ok(drafted(&night, profile)?.1.cost_maps(&night))
}
