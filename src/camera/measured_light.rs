//! What one light of a night says of its evening: measured in `sensor`, judged in `plan`.

use super::plane_name::PlaneName;
use serde::{Deserialize, Serialize};

use crate::units::{Celsius, Electrons, ElectronsPerSecond, Seconds};

use super::{FrameMode, PlaneBackground};

/// One light, its dark taken off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct MeasuredLight {
    /// The file's name as it is shown.
    pub file: String,
    /// When its header says it was taken; `None` where it does not.
    pub taken: Option<String>,
    /// The filter that its header names.
    pub filter: Option<String>,
    /// How long it was exposed.
    pub exposure_s: Seconds,
    /// How it was taken.
    pub frame_mode: FrameMode,
    /// The sensor's temperature.
    pub sensor_c: Option<Celsius>,
    /// Where the dark that was taken off comes from.
    pub dark_from: DarkFrom,
    /// The sky and its noise, one entry for each plane of the sensor.
    pub planes: Vec<LightPlane>,
    /// The plane that the stars were measured in.
    pub star_plane: PlaneName,
    /// Stars that stand out of the sky, measured or not.
    pub star_count: usize,
    /// The stars that were measured, brightest first.
    pub stars: Vec<FieldStar>,
}

/// Where the dark comes from that was taken off a light.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum DarkFrom {
    /// The mean of so many darks beside the lights.
    Frames(usize),
    /// Level and dark current of the camera profile.
    Profile,
}

/// Sky and noise in one plane of a light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct LightPlane {
    /// The sky.
    pub background: PlaneBackground,
    /// What a pixel of the sky scatters by, that of the dark's mean taken off.
    pub noise_e: Electrons,
}

/// One star of the field.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct FieldStar {
    /// Column of its middle in the stored frame, the first being 1.
    pub x_px: f64,
    /// Row of its middle.
    pub y_px: f64,
    /// Its light in an aperture of one and a half of the frame's widths, of the plane's pixels alone: for comparing frames.
    pub e_per_s: ElectronsPerSecond,
    /// Full width at half maximum, in pixels of the frame.
    pub fwhm_px: f64,
    /// Whether its brightest pixel still answers straight; a fuller one says nothing of the star's light.
    pub straight: bool,
}

impl MeasuredLight {
    /// The plane with this name.
    #[must_use]
    pub fn plane(&self, name: PlaneName) -> Option<&LightPlane> {
        self.planes.iter().find(|plane| plane.background.plane == name)
    }
}
