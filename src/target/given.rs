//! `[target]` of `night.toml`.

use serde::{Deserialize, Serialize};

use crate::units::{Degrees, MagnitudesPerSquareArcsecond, Rayleighs};

/// The altitude that is assumed where none is given.
pub const DEFAULT_ALTITUDE: Degrees = Degrees(50.0);

/// Why a target cannot be used as given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TargetError {
    /// Nothing says how bright it is.
    #[error("the target has no brightness")]
    NoBrightness,
    /// Only a name, and no catalogue to look it up in.
    #[error("the target has only the name `{name}`, and the catalogue is not built yet")]
    NameOnly {
        /// The name that was given.
        name: String,
    },
    /// A number that no target has.
    #[error("`{key}` is {found}, it must lie between {low} and {high}")]
    OutOfRange {
        /// The key in `night.toml`.
        key: &'static str,
        /// What was given.
        found: f64,
        /// The least that makes sense.
        low: f64,
        /// The most that makes sense.
        high: f64,
    },
}

impl TargetError {
    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::NoBrightness | Self::NameOnly { .. } => {
                "give surface_brightness_mag under [target], such as 22.8, or line_rayleigh for an emission nebula"
                    .into()
            }
            Self::OutOfRange { key, .. } => format!("correct `{key}` under [target]"),
        }
    }
}

/// `[target]`: what is photographed, and how high it stands.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// Its name; a catalogue for it is still to come.
    pub name: Option<String>,
    /// Surface brightness of its continuum in V, outside the atmosphere.
    pub surface_brightness_mag: Option<MagnitudesPerSquareArcsecond>,
    /// Surface brightness of each line it shines in, outside the atmosphere.
    pub line_rayleigh: Option<Rayleighs>,
    /// Surface brightness of its core, where a second, short set is wanted.
    pub core_surface_brightness_mag: Option<MagnitudesPerSquareArcsecond>,
    /// Its mean altitude while it is photographed.
    pub altitude_deg: Option<Degrees>,
}

impl Target {
    /// Checks what the types cannot.
    ///
    /// # Errors
    /// When there is no brightness, only a name, or a number that no target has.
    pub fn check(&self) -> Result<(), TargetError> {
        let numbers = [
            ("surface_brightness_mag", self.surface_brightness_mag.map(|q| q.0), -5.0, 35.0),
            ("line_rayleigh", self.line_rayleigh.map(|q| q.0), 1e-3, 1e9),
            ("core_surface_brightness_mag", self.core_surface_brightness_mag.map(|q| q.0), -5.0, 35.0),
            ("altitude_deg", self.altitude_deg.map(|q| q.0), 0.0, 90.0),
        ];
        for (key, value, low, high) in numbers {
            let Some(found) = value else { continue };
            if !(low..=high).contains(&found) {
                return Err(TargetError::OutOfRange { key, found, low, high });
            }
        }
        match (&self.name, self.surface_brightness_mag, self.line_rayleigh) {
            (Some(name), None, None) => Err(TargetError::NameOnly { name: name.clone() }),
            (None, None, None) => Err(TargetError::NoBrightness),
            _ => Ok(()),
        }
    }

    /// The altitude, or [`DEFAULT_ALTITUDE`].
    #[must_use]
    pub fn altitude(&self) -> Degrees {
        self.altitude_deg.unwrap_or(DEFAULT_ALTITUDE)
    }
}
