//! Every way the library can say no, in one type.

use crate::camera::ProfileError;
#[cfg(feature = "files")]
use crate::files::{FileError, TextError, WriteError};
use crate::measure::FramesError;
use crate::night::NightError;
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

impl Error {
    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Measure(error) => error.code(),
            Self::Frames(error) => error.code(),
            Self::Profile(_) => "camera-unusable",
            Self::Night(error) => error.code(),
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
            _ => false,
        }
    }
}
