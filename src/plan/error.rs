//! Why a night cannot be planned.

use crate::camera::ProfileError;
use crate::night::NightError;
use crate::optimum::OutOfReach;
use crate::rig::RigError;
use crate::sky::SkyError;
use crate::target::TargetError;

/// Why a night cannot be planned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// The night, or the camera beside it.
    #[error(transparent)]
    Night(#[from] NightError),
    /// Everything was read, and the goal cannot be reached.
    #[error("with the filter {filter}, {reach}")]
    OutOfReach {
        /// The filter it fails with.
        filter: String,
        /// Why, and what can be reached.
        reach: OutOfReach,
    },
}

/// What is wrong with a part of the night is wrong with the night.
macro_rules! through_the_night {
    ($($error:ty),*) => {$(
        impl From<$error> for PlanError {
            fn from(error: $error) -> Self {
                Self::Night(error.into())
            }
        }
    )*};
}
through_the_night!(SkyError, RigError, TargetError, ProfileError);

impl PlanError {
    /// A number of the night or the profile that cannot be.
    pub(crate) fn impossible(key: &str, why: impl Into<String>) -> Self {
        NightError::Impossible { key: key.into(), why: why.into() }.into()
    }

    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Night(error) => error.code(),
            Self::OutOfReach { .. } => "goal-out-of-reach",
        }
    }

    /// Whether everything could be read and the goal is what fails.
    #[must_use]
    pub fn is_out_of_reach(&self) -> bool {
        match self {
            Self::Night(error) => error.is_out_of_reach(),
            Self::OutOfReach { .. } => true,
        }
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Night(error) => error.hint(),
            Self::OutOfReach { reach, .. } => reach.hint(),
        }
    }
}
