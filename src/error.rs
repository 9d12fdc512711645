//! Every way the library can say no, in one type.

use crate::camera::ProfileError;
#[cfg(feature = "files")]
use crate::files::{FileError, TextError, WriteError};
use crate::measure::FramesError;
#[cfg(feature = "files")]
use crate::measure::WatchError;
use crate::night::{NamedError, NightError};
use crate::plan::PlanError;
use crate::review::ReviewError;
use crate::sensor::MeasureError;
#[cfg(feature = "simulate")]
use crate::simulate::SimulateError;

/// Why there is no answer: one variant for each module that can fail.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The frames cannot answer.
    #[error(transparent)]
    Measure(#[from] MeasureError),
    /// A set of frames.
    #[error(transparent)]
    Frames(#[from] FramesError),
    /// The camera profile.
    #[error(transparent)]
    Profile(#[from] ProfileError),
    /// The night.
    #[error(transparent)]
    Night(#[from] NightError),
    /// A text that goes by a name: a night, or what it names.
    #[error(transparent)]
    Named(#[from] NamedError),
    /// The goal of a night.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// Lights that cannot be held against a night.
    #[error(transparent)]
    Review(#[from] ReviewError),
    /// The made-up sensor.
    #[cfg(feature = "simulate")]
    #[error(transparent)]
    Simulate(#[from] SimulateError),
    /// A file.
    #[cfg(feature = "files")]
    #[error(transparent)]
    File(#[from] FileError),
    /// A frame could not be written.
    #[cfg(feature = "files")]
    #[error(transparent)]
    Write(#[from] WriteError),
    /// A text file: night, profile or sensor.
    #[cfg(feature = "files")]
    #[error(transparent)]
    Text(#[from] TextError),
}

/// Each code with what it means, in the order of the alphabet.
const CODES: &[(&str, &str)] = &[
    ("camera-unusable", "The camera profile cannot be read, or does not hold what is asked of it."),
    ("changed-on-disk", "Another program saved the file meanwhile: that text stays, and ours is kept beside it."),
    ("conflicting-camera", "The frame is of another camera than the profile, or than its dark."),
    ("conflicting-filter", "The light names a filter that the night file does not have."),
    ("conflicting-gain", "Light and dark, or light and profile, were taken at different gain settings."),
    ("conflicting-kind", "The frame cannot be what its name or header says."),
    ("duplicate-frame", "The file holds the same frame as another one: it is counted once."),
    ("exists", "The file to be written is there already; `--force` overwrites it."),
    ("exposure-doubtful", "A frame's exposure cannot be what its header says; it is left out."),
    ("frames-unusable", "The frames do not determine what was asked for; the message says why."),
    ("goal-out-of-reach", "The night cannot reach the goal; the hint says what would be in reach."),
    ("light-unusable", "The sky of the light cannot be measured."),
    ("night-unreadable", "The night file has an error; the message names the line or key."),
    ("no-exposure", "The light does not say how long it was exposed."),
    ("no-gain", "The gain is not determined: no pairs of flats, and none given."),
    ("no-module", "The program was built without the planner for phones."),
    ("no-nights", "A calendar or table of nights was asked for, and the plan has no dates."),
    ("not-an-image", "The file holds no image."),
    ("not-raw", "The file was processed: stacked, calibrated, stretched or compressed with loss."),
    ("not-written", "A frame could not be written."),
    ("nothing-to-measure", "No frames that a camera could be measured with."),
    ("nothing-to-review", "No lights that could be held against the night."),
    ("over-limit", "The file says a size that no frame has."),
    ("read-only", "The file to be replaced is read-only, and stays as it is."),
    ("rig-unusable", "Optics, filter or mount of the night cannot be."),
    ("row-order", "The rows are stored in another order than those of the other frames."),
    ("sensor-unusable", "The file of a made-up sensor has an error."),
    ("several-cameras", "The frames are of several cameras."),
    ("sky-unusable", "The site or its sky cannot be."),
    ("star-unusable", "None of the stars that were given could be measured in the light."),
    ("stopped", "The measurement was stopped."),
    ("target-unusable", "The target cannot be, or its brightness is not known."),
    ("temperature-unsettled", "The camera was still warming up or cooling down."),
    ("too-few-frames", "Fewer frames of a kind than a measurement needs."),
    ("unknown-gain", "The frame says no gain setting, and others of its camera say several."),
    ("unknown-kind", "Nothing says what the frame was taken for."),
    ("unreadable", "The file cannot be read, or is damaged."),
    ("unsupported", "A kind of file or compression that is not read."),
    ("usage", "The words of the command do not fit together."),
];

#[cfg(feature = "files")]
impl From<WatchError> for Error {
    fn from(error: WatchError) -> Self {
        match error {
            WatchError::File(error) => error.into(),
            WatchError::Frames(error) => error.into(),
        }
    }
}

impl Error {
    /// Every code of a failure or a rejected file, with what it means: the list of the reference page.
    pub const CODES: &'static [(&'static str, &'static str)] = CODES;

    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Measure(error) => error.code(),
            Self::Frames(error) => error.code(),
            Self::Profile(_) => "camera-unusable",
            Self::Night(error) => error.code(),
            Self::Named(error) => error.code(),
            Self::Plan(error) => error.code(),
            Self::Review(error) => error.code(),
            #[cfg(feature = "simulate")]
            Self::Simulate(_) => "sensor-unusable",
            #[cfg(feature = "files")]
            Self::File(error) => error.code(),
            #[cfg(feature = "files")]
            Self::Write(_) => "not-written",
            #[cfg(feature = "files")]
            Self::Text(error) => error.code(),
        }
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Measure(error) => error.hint(),
            Self::Frames(error) => error.hint(),
            Self::Profile(error) => error.hint(),
            Self::Night(error) => error.hint(),
            Self::Named(error) => error.hint(),
            Self::Plan(error) => error.hint(),
            Self::Review(error) => error.hint(),
            #[cfg(feature = "simulate")]
            Self::Simulate(error) => error.hint(),
            #[cfg(feature = "files")]
            Self::File(error) => error.hint().to_owned(),
            #[cfg(feature = "files")]
            Self::Write(error) => error.hint(),
            #[cfg(feature = "files")]
            Self::Text(error) => error.hint(),
        }
    }

    /// Whether the input was read and cannot answer, rather than could not be read as asked.
    #[must_use]
    pub fn is_unanswerable(&self) -> bool {
        match self {
            Self::Measure(_) => true,
            Self::Frames(error) => error.is_unanswerable(),
            Self::Night(error) => error.is_out_of_reach(),
            Self::Plan(error) => error.is_out_of_reach(),
            Self::Review(error) => error.is_out_of_reach(),
            #[cfg(feature = "files")]
            Self::File(error) => matches!(error, FileError::Unsaid { .. }),
            _ => false,
        }
    }
}
