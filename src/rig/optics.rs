//! `[optics]` of `night.toml`.

use serde::{Deserialize, Serialize};

use crate::units::Millimetres;

use super::error::{RigError, within};

/// Transmission of the optics where none is given: a coated refractor, common practice, no source.
pub const DEFAULT_TRANSMISSION: f64 = 0.9;

/// `[optics]`: the telescope or lens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Optics {
    /// Diameter of the aperture.
    pub aperture_mm: Millimetres,
    /// Focal length, reducers included.
    pub focal_length_mm: Millimetres,
    /// Diameter of the central obstruction.
    #[serde(default)]
    pub obstruction_mm: Option<Millimetres>,
    /// Share of the light that reaches the filter: mirrors, lenses, windows.
    #[serde(default)]
    pub transmission: Option<f64>,
}

impl Optics {
    /// Checks what the types cannot.
    ///
    /// # Errors
    /// When a length is not above 0, the obstruction covers the aperture, or the transmission is no share.
    pub fn check(&self) -> Result<(), RigError> {
        within("aperture_mm", self.aperture_mm.0, 1.0, 10_000.0)?;
        within("focal_length_mm", self.focal_length_mm.0, 1.0, 100_000.0)?;
        within("obstruction_mm", self.obstruction().0, 0.0, 10_000.0)?;
        within("transmission", self.transmission(), 0.01, 1.0)?;
        if self.obstruction() >= self.aperture_mm {
            return Err(RigError::Obstructed { aperture_mm: self.aperture_mm.0, obstruction_mm: self.obstruction().0 });
        }
        Ok(())
    }

    /// The obstruction's diameter, or 0 mm.
    #[must_use]
    pub fn obstruction(&self) -> Millimetres {
        self.obstruction_mm.unwrap_or(Millimetres(0.0))
    }

    /// The transmission, or [`DEFAULT_TRANSMISSION`].
    #[must_use]
    pub fn transmission(&self) -> f64 {
        self.transmission.unwrap_or(DEFAULT_TRANSMISSION)
    }
}
