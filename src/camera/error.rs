//! What can be wrong with a profile.

use crate::reading::{OutOfRange, SyntaxError};

/// Why a camera profile cannot be read or does not answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ProfileError {
    /// The text is not what it should be; the message names line and key.
    #[error("the camera profile cannot be read: {0}")]
    Syntax(SyntaxError),
    /// A number that no camera has.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// Another kind of document.
    #[error("this is a `{found}` document, not a `subwell.camera` profile")]
    WrongFormat {
        /// Its `format`.
        found: String,
    },
    /// A version from another time.
    #[error("this profile has version {found}, the program reads version 1")]
    WrongVersion {
        /// Its `version`.
        found: u32,
    },
    /// Something that no profile lacks.
    #[error("`{what}` {why}")]
    Impossible {
        /// The key.
        what: String,
        /// What it must be.
        why: String,
    },
    /// The profile has no such gain setting.
    #[error("the night asks for gain setting {}, and the camera profile has {}", setting(asked), settings(known))]
    NoSuchGain {
        /// The setting asked for.
        asked: Option<f64>,
        /// The settings there are.
        known: Vec<Option<f64>>,
    },
    /// A frame was taken in a mode that the profile does not hold.
    #[error("a frame of {frame} fits no mode of the camera profile, which has {known}")]
    NoSuchMode {
        /// The frame's mode in words.
        frame: String,
        /// The profile's modes in words.
        known: String,
    },
    /// The profile has no mode with these words in its name.
    #[error("no mode is called `{asked}`, the profile has {known}")]
    NoModeNamed {
        /// What the night calls it.
        asked: String,
        /// The profile's modes in words.
        known: String,
    },
    /// More than one mode fits.
    #[error("several modes fit: {}", known.join("; "))]
    SeveralModes {
        /// What they are called.
        known: Vec<String>,
    },
}

fn setting(setting: &Option<f64>) -> String {
    setting.map_or_else(|| "unnamed".into(), |value| value.to_string())
}

fn settings(known: &[Option<f64>]) -> String {
    known.iter().map(setting).collect::<Vec<_>>().join(", ")
}

impl ProfileError {
    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Syntax(error) => error.advice.clone().unwrap_or_else(|| {
                "compare it with a profile that `subwell measure DIR --out camera.toml` writes".into()
            }),
            Self::OutOfRange(error) => format!("{} in the profile", error.hint()),
            Self::WrongFormat { .. } => "give the file that `subwell measure --out` wrote".into(),
            Self::WrongVersion { .. } => "measure the camera again with this program".into(),
            Self::Impossible { what, .. } => format!("correct `{what}` in the profile"),
            Self::NoSuchGain { .. } => {
                "write one of these as `gain_setting` under [camera], or measure the camera at yours".into()
            }
            Self::NoSuchMode { .. } => {
                "give frames taken as the profile's were, or measure the camera as these frames were taken".into()
            }
            Self::SeveralModes { .. } => {
                "name one under [camera], with `gain_setting`, or with words of its name as in mode = \"binned 2x2\""
                    .into()
            }
            Self::NoModeNamed { .. } => "use one of these, or parts of it between commas, as `mode`".into(),
        }
    }
}
