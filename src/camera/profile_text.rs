//! A profile as text: TOML in a file, JSON as it is printed.

use crate::reading::{self, SyntaxError};

use super::{CameraProfile, ProfileError, check};

fn unwritable(error: impl std::fmt::Display) -> ProfileError {
    ProfileError::Syntax(SyntaxError { message: error.to_string(), advice: None })
}

impl CameraProfile {
    /// Reads a profile from TOML.
    ///
    /// # Errors
    /// When the text is not TOML, has unknown or missing keys, another format or
    /// version, or numbers that no camera has.
    pub fn from_toml(text: &str) -> Result<Self, ProfileError> {
        let profile: Self = reading::from_toml(text, reading::Written::Camera).map_err(ProfileError::Syntax)?;
        check::checked(profile)
    }

    /// Reads a profile from JSON, as `measure --json` prints it.
    ///
    /// # Errors
    /// As [`CameraProfile::from_toml`].
    pub fn from_json(text: &str) -> Result<Self, ProfileError> {
        let profile: Self = reading::from_json(text).map_err(ProfileError::Syntax)?;
        check::checked(profile)
    }

    /// Writes the profile as TOML.
    ///
    /// # Errors
    /// When a number is not finite, which a checked profile excludes.
    pub fn to_toml(&self) -> Result<String, ProfileError> {
        toml::to_string(self).map_err(unwritable)
    }

    /// Writes the profile as JSON, the document that `measure --json` prints.
    ///
    /// # Errors
    /// As [`CameraProfile::to_toml`].
    pub fn to_json(&self) -> Result<String, ProfileError> {
        serde_json::to_string_pretty(self).map_err(unwritable)
    }
}
