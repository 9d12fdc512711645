//! Why frames give no answer.

use crate::camera::ProfileError;
use crate::caveat::Rejected;
use crate::frames::names::{ADVICE, files};
use crate::plan::PlanError;
use crate::review::ReviewError;
use crate::sensor::MeasureError;

/// Why a set of frames gives no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FramesError {
    /// What the frames hold does not suffice.
    #[error(transparent)]
    Sensor(#[from] MeasureError),
    /// The camera profile, or a frame that belongs to no mode of it.
    #[error(transparent)]
    Profile(#[from] ProfileError),
    /// The night, in which frames are measured.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// Lights that cannot be held against a night.
    #[error(transparent)]
    Review(#[from] ReviewError),
    /// A profile is of one camera.
    #[error("the folder holds frames of {} cameras: {}", cameras.len(), cameras.join(", "))]
    SeveralCameras {
        /// Their names.
        cameras: Vec<String>,
    },
    /// Nothing there is a calibration frame.
    #[error("{place}: {}", nothing_in(place, *is_folder))]
    NothingToMeasure {
        /// The folder.
        place: String,
        /// Whether it is one.
        is_folder: bool,
        /// What was left out.
        rejected: Vec<Rejected>,
    },
    /// No mode could be measured; the first one's reason.
    #[error("{error}")]
    Unmeasured {
        /// The reason.
        error: MeasureError,
        /// What was left out.
        rejected: Vec<Rejected>,
    },
    /// Whoever watched it stopped it.
    #[error("the measurement was stopped")]
    Stopped,
    /// No light can be judged.
    #[error("{message}")]
    NothingToReview {
        /// What there is instead.
        message: String,
        /// What helps.
        hint: String,
    },
    /// A frame shows no sky.
    #[error("{file}: it is filled to {percent:.0} % of the well and {why}")]
    NoSky {
        /// The frame.
        file: String,
        /// How full it is.
        percent: f64,
        /// What it is.
        why: String,
    },
    /// The dark is of another gain setting than the light.
    #[error("{dark}: a dark of gain {dark_gain}, and the light is of gain {light_gain}")]
    DarkOfAnotherGain {
        /// The dark.
        dark: String,
        /// Its setting.
        dark_gain: f64,
        /// The light's.
        light_gain: f64,
    },
    /// The frame is of another camera.
    #[error("{file}: a frame of {header}, against {other}")]
    AnotherCamera {
        /// The frame.
        file: String,
        /// The camera that its header names.
        header: String,
        /// What is of another camera.
        other: String,
    },
    /// The night has no such filter.
    #[error("the night has no filter `{name}`")]
    NoSuchFilter {
        /// The name asked for.
        name: String,
        /// The night's.
        known: Vec<String>,
    },
    /// The light was taken through another filter than the night's.
    #[error("{file}: it was taken through `{header}`, and the night has {}", known.join(", "))]
    AnotherFilter {
        /// The light.
        file: String,
        /// The filter that its header names.
        header: String,
        /// The night's.
        known: Vec<String>,
    },
    /// The night has several filters and nothing says which one it was.
    #[error("the night has several filters, and the light does not say which it was")]
    WhichFilter {
        /// The night's.
        known: Vec<String>,
    },
    /// None of the stars that were given could be measured.
    #[error("no star could be measured: {why}")]
    NoStar {
        /// Why the last one could not.
        why: String,
    },
    /// Counts without a gain.
    #[error("no gain is known, so counts cannot be turned into electrons")]
    NoGain,
    /// The Moon was most of the sky.
    #[error("the Moon made most of the sky: the rest is too little to be written as a measurement")]
    MoonlitSky,
    /// The sky of the lights is lost in its own uncertainty.
    #[error("the sky of these lights does not stand out of its uncertainty: there is nothing to write")]
    UnseenSky,
}

/// What there is in place of frames.
fn nothing_in(place: &str, is_folder: bool) -> &'static str {
    let is_text = [".toml", ".json", ".csv"].iter().any(|end| place.to_lowercase().ends_with(end));
    match (is_folder, is_text) {
        (true, _) => "no frames that could be measured",
        (false, true) => "a file of words (a night, a profile or a sensor), and no frames",
        (false, false) => "a file, and one frame is not enough",
    }
}

impl FramesError {
    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Sensor(error) | Self::Unmeasured { error, .. } => error.code(),
            Self::Profile(_) => "camera-unusable",
            Self::Plan(error) => error.code(),
            Self::Review(error) => error.code(),
            Self::SeveralCameras { .. } => "several-cameras",
            Self::NothingToMeasure { .. } => "nothing-to-measure",
            Self::Stopped => "stopped",
            Self::NothingToReview { .. } => "nothing-to-review",
            Self::DarkOfAnotherGain { .. } => "conflicting-gain",
            Self::AnotherFilter { .. } => "conflicting-filter",
            Self::AnotherCamera { .. } => "conflicting-camera",
            Self::NoSky { .. } | Self::MoonlitSky | Self::UnseenSky => "light-unusable",
            Self::NoStar { .. } => "star-unusable",
            Self::NoGain => "no-gain",
            Self::NoSuchFilter { .. } | Self::WhichFilter { .. } => "usage",
        }
    }

    /// Whether the frames were read and cannot answer, rather than asked for in wrong words.
    #[must_use]
    pub fn is_unanswerable(&self) -> bool {
        match self {
            Self::Profile(error) => matches!(error, ProfileError::NoSuchMode { .. }),
            Self::Plan(error) => error.is_out_of_reach(),
            Self::Review(error) => error.is_out_of_reach(),
            _ => self.code() != "usage",
        }
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Sensor(error) => error.hint(),
            Self::Profile(error) => error.hint(),
            Self::Plan(error) => error.hint(),
            Self::Review(error) => error.hint(),
            Self::SeveralCameras { .. } => "measure each camera from a folder of its own".into(),
            Self::NothingToMeasure { rejected, .. } => without(
                "give a folder with bias, flat and dark frames; `subwell frames DIR` says what it holds".into(),
                rejected,
            ),
            Self::Unmeasured { error, rejected } => without(error.hint(), rejected),
            Self::Stopped => "start it again when there is time".into(),
            Self::NothingToReview { hint, .. } => hint.clone(),
            Self::NoSky { .. } => {
                "give a light frame of the night sky with --light, in a sub that the sky does not fill".into()
            }
            Self::DarkOfAnotherGain { .. } => "give a dark of the light's gain, exposure and temperature".into(),
            Self::AnotherCamera { .. } => {
                "give frames of the profile's camera, or measure this one; if it is the same under another program's name, write \
                 that name as `camera` into the profile"
                    .into()
            }
            Self::NoSuchFilter { known, .. } => format!("its filters are {}", known.join(", ")),
            Self::AnotherFilter { .. } => {
                "give a light of the night's filter, or add its filter to the night; --filter says it where the header is wrong"
                    .into()
            }
            Self::WhichFilter { known } => format!("say --filter with one of {}", known.join(", ")),
            Self::NoStar { .. } => "give isolated stars that are neither faint nor saturated".into(),
            Self::NoGain => "give --night night.toml, whose camera profile has it, or --gain-e-per-dn".into(),
            Self::UnseenSky => "take longer subs, and darks of their length and temperature beside them".into(),
            Self::MoonlitSky => "review a night without Moon, or measure one light with subwell sky".into(),
        }
    }
}

/// A hint with a word on the files that were left out before: what they do not say may be all that is missing.
fn without(mut hint: String, rejected: &[Rejected]) -> String {
    let unsaid = |code: &str| rejected.iter().filter(|file| file.code == code).count();
    let (kinds, times, gains) = (unsaid("unknown-kind"), unsaid("no-exposure"), unsaid("unknown-gain"));
    if kinds + times + gains > 0 {
        let kind = (kinds > 0).then(|| format!("what {} were taken for", files(kinds)));
        let time = (times > 0).then(|| format!("how long {} were exposed", files(times)));
        let gain = (gains > 0).then(|| format!("which gain or ISO {} have, of what seem to be several", files(gains)));
        let what = [kind, time, gain].into_iter().flatten().collect::<Vec<_>>().join(", nor ");
        hint = format!("nothing says {what}: left out; {ADVICE}. If that is not it: {hint}");
    } else if !rejected.is_empty() {
        let count = files(rejected.len());
        let alike = rejected.windows(2).all(|pair| pair[0].reason == pair[1].reason);
        let why = if alike { &rejected[0].reason } else { "`subwell frames DIR` says which and why" };
        hint.push_str(&format!("; left out: {count}, {why}"));
    }
    hint
}
