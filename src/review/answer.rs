//! What `review --json` prints.

use serde::{Deserialize, Serialize};

use crate::camera::{MeasuredLight, PlaneName};
use crate::caveat::{Caveat, Rejected};
use crate::document::{Format, Stamp};
use crate::stats::Estimate;
use crate::units::{Colour, Degrees, Electrons, ElectronsPerSecond, Seconds};

use super::campaign::evening_of;
use super::signs::Sign;

/// Last night's lights against the night file: what `review --json` prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Review {
    /// `format`, always `subwell.review`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// The program's version.
    pub program: String,
    /// When the lights were taken.
    pub night: ReviewNight,
    /// The filter that the numbers below are of: that of most open-shutter time.
    pub filter: String,
    /// The plane that the sky below is of: the one that it is known best in.
    pub plane: PlaneName,
    /// The quiet sky: median of the lights without cloud, twilight and a sky brighter than the others'; `null` where it
    /// does not stand out of its own uncertainty.
    pub sky_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// What the night file says of the same lights, the Moon included.
    pub predicted_sky_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// Measured over predicted as magnitudes: negative where the sky was brighter than the file says; `null` where one of
    /// them is.
    pub sky_fainter_by_mag: Option<Estimate<f64>>,
    /// The same sky without the predicted Moon, as `--write` puts it into the night file; `null` where the Moon was most
    /// of it, or nothing stands out.
    pub sky_to_write: Option<SkyToWrite>,
    /// Signal over noise of the target in the kept subs, in the goal's patch and the plane that is worst off; `null`
    /// where the night file's target shines not through the filter.
    pub achieved_snr: Option<Estimate<f64>>,
    /// The same with every sub.
    pub snr_if_all_kept: Option<f64>,
    /// What all subs would have reached under the night file's sky and a clear air.
    pub predicted_snr: Option<f64>,
    /// The goal's; `null` where hours are asked for.
    pub goal_snr: Option<f64>,
    /// Hours of open shutter like these that the goal still wants; `null` without a goal or a target.
    pub hours_to_goal: Option<f64>,
    /// Open shutter of the kept subs, all filters.
    pub hours_kept: f64,
    /// Of the dropped ones.
    pub hours_dropped: f64,
    /// Hours of the set's best conditions that are worth as much as all subs together.
    pub effective_hours: f64,
    /// Subs that are kept.
    pub subs_kept: usize,
    /// Subs that are better left out.
    pub subs_dropped: usize,
    /// Every light, filter by filter, by time.
    pub subs: Vec<SubReview>,
    /// The filters.
    pub filters: Vec<FilterReview>,
    /// What to do the next night, in words.
    pub advice: Vec<String>,
    /// Files that could not be judged.
    pub left_out: Vec<Rejected>,
    /// What the numbers rest on.
    pub caveats: Vec<Caveat>,
    /// A light of each filter, by which other nights of the same field are held against this one.
    #[serde(skip)]
    pub(super) fields: Vec<FieldOfNight>,
}

/// The stars of a filter in the light of the night that shows most of them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FieldOfNight {
    pub(super) filter: String,
    pub(super) light: MeasuredLight,
    /// What the air at its height lets through, in any unit.
    pub(super) air: f64,
    /// Its starlight over that of the night's best.
    pub(super) share: f64,
}

impl Format for Review {
    const FORMAT: &'static str = "subwell.review";
}

/// When the lights were taken.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct ReviewNight {
    /// Local time of the first light's middle; `null` where no header says it.
    pub from: Option<String>,
    /// Of the last one's.
    pub to: Option<String>,
    /// Local minus universal time.
    pub utc_offset_h: f64,
    /// What the headers' times were taken for: `universal` or `local`.
    pub headers_give: super::Clock,
    /// Whether Moon, Sun and target are followed minute by minute.
    pub followed: bool,
    /// Lit share of the Moon in the middle.
    pub moon_illuminated_percent: Option<f64>,
}

/// A measured sky for the night file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SkyToWrite {
    /// The rate.
    pub e_per_s: Estimate<ElectronsPerSecond>,
    /// The filter it was seen through.
    pub filter: String,
    /// The plane it was seen in.
    pub plane: PlaneName,
    /// How high it was seen; `null` where that is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub altitude_deg: Option<Degrees>,
}

/// One light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct SubReview {
    /// The file.
    pub file: String,
    /// Local time of the exposure's middle, to the minute.
    pub when: Option<String>,
    /// The filter.
    pub filter: String,
    /// Its length.
    pub exposure_s: Seconds,
    /// The driver's gain or ISO number.
    pub gain_setting: Option<f64>,
    /// The sky in the filter's best-known plane; `null` where it does not stand out of its own uncertainty.
    pub sky_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// What the night file says of that minute, the Moon and twilight included.
    pub predicted_sky_e_per_s: Option<f64>,
    /// Sky over the set's quiet sky.
    pub sky_over_quiet: f64,
    /// How much the sky changes across the field, of its level.
    pub gradient_percent: f64,
    /// Share of the field that is brighter than its sky.
    pub not_background_percent: f64,
    /// What a pixel of the sky scatters by; `null` where its plane was not measured.
    pub noise_e: Option<Estimate<Electrons>>,
    /// What it should, under the sky predicted.
    pub predicted_noise_e: Option<f64>,
    /// Median width of the stars; `null` without any.
    pub fwhm_px: Option<Estimate<f64>>,
    /// What the night file's seeing, guiding and optics make of a star at that height.
    pub predicted_fwhm_px: f64,
    /// Stars that stand out.
    pub star_count: usize,
    /// Light of the stars over that of the set's best subs, the air at the target's height accounted for; `null` where it
    /// cannot be measured.
    pub starlight: Option<Estimate<f64>>,
    /// How far the field moved against the set's reference, to the right and down; `null` where it turned.
    pub moved_px: Option<[f64; 2]>,
    /// How far the field turned against the set's reference, -180 to 180; `null` where its stars were not found again.
    #[serde(default)]
    pub turned_deg: Option<f64>,
    /// The target's altitude.
    pub target_altitude_deg: Option<f64>,
    /// The Moon's altitude.
    pub moon_altitude_deg: Option<f64>,
    /// What is worse than in the best of the set.
    pub signs: Vec<Sign>,
    /// Whether the stack is better with it.
    pub keep: bool,
    /// Signal over variance and time against the set's best subs: what an hour of it is worth.
    pub worth_percent: f64,
    /// What the stack of its filter has in signal over noise with it more than without, the other kept subs in it: negative
    /// where the stack is better without; `null` where the target shines not through the filter.
    #[serde(default)]
    pub adds_snr: Option<f64>,
    /// Hours from the middle of the night's first light to its own; `null` without times.
    #[serde(default)]
    pub hours_since_first: Option<f64>,
    /// Why it is named or dropped; empty for a sub like the best.
    pub why: String,
    /// Every plane.
    pub planes: Vec<PlaneOfSub>,
}

impl SubReview {
    /// Local date of the evening that it is of; `None` without a time.
    #[must_use]
    pub fn evening(&self) -> Option<String> {
        evening_of(self.when.as_ref()?)
    }
}

/// The sky of one plane of a light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PlaneOfSub {
    /// The plane.
    pub plane: PlaneName,
    /// Its colour.
    pub colour: Option<Colour>,
    /// The sky; `null` where it does not stand out of its own uncertainty.
    pub sky_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// The sky predicted.
    pub predicted_sky_e_per_s: Option<f64>,
}

/// All lights of a filter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct FilterReview {
    /// The filter.
    pub name: String,
    /// Its lights.
    pub subs: usize,
    /// Those that are kept.
    pub subs_kept: usize,
    /// Their open shutter.
    pub hours_kept: f64,
    /// The plane of the sky here.
    pub plane: PlaneName,
    /// The quiet sky; `null` where it does not stand out of its own uncertainty.
    pub sky_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// What the night file says of the same lights.
    pub predicted_sky_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// Change of the sky in an hour over the kept subs, in percent of the quiet sky; `null` without times, or where so few minutes do
    /// not determine it.
    pub sky_trend_percent_per_h: Option<f64>,
    /// Median width of the stars in the best sixth of the subs, in pixels.
    pub best_fwhm_px: Option<f64>,
    /// Median width in all of them.
    pub median_fwhm_px: Option<f64>,
    /// The width predicted, in the middle of the set.
    pub predicted_fwhm_px: f64,
    /// A pixel's side on the sky.
    pub pixel_arcsec: f64,
    /// Places of the dither that were seen; `null` where no stars tell.
    pub dither_positions: Option<usize>,
    /// Share of the stack's variance that pattern and masters bring, in the plane that is worst off.
    pub pattern_share_percent: Option<f64>,
    /// Signal over noise of the kept subs, of all, and as predicted, in the plane that is worst off.
    pub achieved_snr: Option<Estimate<f64>>,
    /// With every sub.
    pub snr_if_all_kept: Option<f64>,
    /// All subs under the night file's sky.
    pub predicted_snr: Option<f64>,
    /// What is asked of this filter; `null` where hours are asked for.
    #[serde(default)]
    pub goal_snr: Option<f64>,
    /// Hours of open shutter like its kept ones that this goal still wants; `null` without a goal or a target.
    #[serde(default)]
    pub hours_to_goal: Option<f64>,
    /// What leaving the dropped subs out brings to a detail as wide as the patch, in percent of its signal over noise.
    pub dropping_gains_percent: f64,
    /// The target's planes.
    pub planes: Vec<ReviewPlane>,
}

/// One plane of a filter's stack.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct ReviewPlane {
    /// The plane.
    pub plane: PlaneName,
    /// Its colour.
    pub colour: Option<Colour>,
    /// The quiet sky; `null` where it does not stand out of its own uncertainty.
    pub sky_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// Signal over noise of the kept subs; `null` where the target does not shine.
    pub achieved_snr: Option<Estimate<f64>>,
}
