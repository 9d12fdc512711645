//! Why a night cannot be reviewed.

use crate::camera::ProfileError;
use crate::night::NightError;
use crate::plan::PlanError;

/// Why lights cannot be held against a night.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ReviewError {
    /// The night, or the camera beside it.
    #[error(transparent)]
    Night(#[from] NightError),
    /// The night cannot be planned.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// No light can be held against the night.
    #[error("no light can be held against the night{why}")]
    NothingToReview {
        /// Why the first one cannot, after a colon; empty where there is none.
        why: String,
    },
}

impl From<ProfileError> for ReviewError {
    fn from(error: ProfileError) -> Self {
        Self::Night(error.into())
    }
}

impl ReviewError {
    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Night(error) => error.code(),
            Self::Plan(error) => error.code(),
            Self::NothingToReview { .. } => "nothing-to-review",
        }
    }

    /// Whether everything could be read and the lights or the night are what fails.
    #[must_use]
    pub fn is_out_of_reach(&self) -> bool {
        match self {
            Self::Night(error) => error.is_out_of_reach(),
            Self::Plan(error) => error.is_out_of_reach(),
            Self::NothingToReview { .. } => true,
        }
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Night(error) => error.hint(),
            Self::Plan(error) => error.hint(),
            Self::NothingToReview { .. } => {
                "give the folder of the lights, and the night file with their camera, filter and gain".into()
            }
        }
    }
}
