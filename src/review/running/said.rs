//! What `watch` says, a line each.

use serde::{Deserialize, Serialize};

use crate::caveat::Rejected;
use crate::document::{Format, Stamp};
use crate::review::signs::Sign;
use crate::stats::Estimate;
use crate::units::{ElectronsPerSecond, Seconds};

/// One thing that is said of a running night.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Said {
    /// A light was judged.
    Sub(Box<WatchedSub>),
    /// A file was left out.
    LeftOut(Rejected),
    /// Something is worth a word.
    Word(Word),
}

/// A line of `watch --json`: [`Said`] with `format`, always `subwell.watch`, and `version`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WatchLine {
    /// `format`, always `subwell.watch`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// What is said.
    #[serde(flatten)]
    pub said: Said,
}

impl Format for WatchLine {
    const FORMAT: &'static str = "subwell.watch";
}

impl From<Said> for WatchLine {
    fn from(said: Said) -> Self {
        Self { stamp: Stamp::new(), said }
    }
}

/// A light that was just judged, and how far the stack of its filter is with it. The fields are those of the review.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct WatchedSub {
    /// The file.
    pub file: String,
    /// Local time of the exposure's middle, to the minute.
    pub when: Option<String>,
    /// Hours from the middle of the night's first light to its own; `null` without times.
    pub hours_since_first: Option<f64>,
    /// The target's altitude; `null` where it is not followed.
    pub target_altitude_deg: Option<f64>,
    /// The filter.
    pub filter: String,
    /// Its length.
    pub exposure_s: Seconds,
    /// The sky; `null` where it does not stand out of its own uncertainty.
    pub sky_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// What the night file says of that minute.
    pub predicted_sky_e_per_s: Option<f64>,
    /// Median width of the stars; `null` without any.
    pub fwhm_px: Option<Estimate<f64>>,
    /// What the night file makes of a star at that height.
    pub predicted_fwhm_px: f64,
    /// Light of the stars over that of the best subs so far; `null` where it cannot be measured.
    pub starlight: Option<Estimate<f64>>,
    /// What is worse than in the best so far.
    pub signs: Vec<Sign>,
    /// Whether the stack is better with it.
    pub keep: bool,
    /// What an hour of it is worth against the best so far.
    pub worth_percent: f64,
    /// What the stack has in signal over noise with it more than without.
    pub adds_snr: Option<f64>,
    /// Why it is named or left out; empty for a sub like the best.
    pub why: String,
    /// How far the stack of its filter is; `null` where more of the filter came with it, of which the last one says it.
    pub stack: Option<RunningStack>,
}

/// How far the stack of a filter is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct RunningStack {
    /// The filter.
    pub filter: String,
    /// Its lights so far.
    pub subs: usize,
    /// Those that are kept.
    pub subs_kept: usize,
    /// Their open shutter.
    pub hours_kept: f64,
    /// Signal over noise of the kept subs, with what the night file says is there of earlier nights; `null` where the target
    /// shines not through the filter.
    pub snr: Option<Estimate<f64>>,
    /// The part of earlier nights; absent without any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub snr_in_hand: Option<f64>,
    /// What is asked of it; `null` where hours are asked for.
    pub goal_snr: Option<f64>,
    /// Hours of the clock to the goal if all goes on as in the last subs; `null` without a goal, a target or times, and where
    /// the last subs bring nothing.
    pub hours_left: Option<f64>,
}

/// What a word is about: a fixed word that programs can test for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Spoken {
    /// A filter has reached its goal.
    GoalReached,
    /// A filter has not, after all: clearer subs showed that earlier ones had less light.
    GoalLost,
    /// Cloud for several subs.
    CloudStays,
    /// Dew or fog for several subs.
    DewStays,
    /// The target is about to sink behind its horizon, or has.
    TargetSinks,
    /// The night is about to end.
    Dawn,
    /// Another sub length would bring the goal sooner.
    BetterLength,
    /// Another dither cadence would.
    BetterCadence,
    /// Another filter is better shot now.
    BetterFilter,
    /// Whether darks or flats of tonight fit its lights.
    Calibration,
    /// What the numbers rest on.
    Doubt,
    /// The folder cannot be reached.
    FolderGone,
    /// It is there again.
    FolderBack,
}

/// Something worth a word.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Word {
    /// What it is about.
    pub about: Spoken,
    /// The filter that it is about; `null` where it is about all.
    pub filter: Option<String>,
    /// What can be saved, in percent of the time that is left; `null` where that is not what it is about.
    pub saves_percent: Option<f64>,
    /// The sub length that is better; `null` where that is not what it is about.
    pub sub_s: Option<Seconds>,
    /// The word, as a sentence.
    pub text: String,
}

impl Word {
    /// A word about something.
    #[must_use]
    pub fn new(about: Spoken, text: String) -> Self {
        Self { about, filter: None, saves_percent: None, sub_s: None, text }
    }

    /// The same about one filter.
    #[must_use]
    pub(super) fn of(self, filter: &str) -> Self {
        Self { filter: Some(filter.to_owned()), ..self }
    }

    /// The same with what it saves.
    #[must_use]
    pub(super) fn saving(self, percent: f64) -> Self {
        Self { saves_percent: Some(percent), ..self }
    }
}
