//! `[camera]` of a night: which profile, and how the camera is run.

use serde::{Deserialize, Serialize};

use crate::keys::key;
use crate::units::Celsius;

/// `[camera]`: which profile, and how the camera is run.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct CameraChoice {
    /// The profile's file, as written.
    pub profile: Option<String>,
    /// The mode.
    pub gain_setting: Option<f64>,
    /// Words of the mode's name, where gain settings do not tell modes apart: `binned 2x2`, `high conversion gain`.
    pub mode: Option<String>,
    /// Whether the sensor is held at a set point.
    pub cooled: Option<bool>,
    /// The set point; given without `cooled`, it says that the camera is.
    pub sensor_c: Option<Celsius>,
    /// Sensor above air, uncooled.
    pub rise_c: Option<Celsius>,
    /// Infrared-cut filter removed.
    pub modified: Option<bool>,
}

impl CameraChoice {
    /// Set point of a cooled camera where none is given, common practice, no source.
    pub const DEFAULT_SET_POINT: Celsius = Celsius(key!(NIGHT, "camera.sensor_c").number());
    /// An uncooled sensor above the air where nothing is given: 5 to 15 K are seen in long runs (common practice, no
    /// source; the heating itself: Dunlap, Sostin, Widenhorn & Bodegom 2010, J. Electron. Imaging 19(1)).
    pub const DEFAULT_RISE: Celsius = Celsius(key!(NIGHT, "camera.rise_c").number());

    /// Whether the sensor is held at a set point.
    #[must_use]
    pub fn cooled(&self) -> bool {
        self.cooled.unwrap_or(self.sensor_c.is_some())
    }

    /// The sensor's temperature with the air at `ambient`; a given `sensor_c` always holds.
    #[must_use]
    pub fn sensor(&self, ambient: Celsius) -> Celsius {
        match (self.sensor_c, self.cooled()) {
            (Some(given), _) => given,
            (None, true) => Self::DEFAULT_SET_POINT,
            (None, false) => ambient + self.rise_c.unwrap_or(Self::DEFAULT_RISE),
        }
    }

    /// One standard uncertainty of [`CameraChoice::sensor`] in kelvins: 0.5 cooled, 2 with a stated rise, else 5
    /// (common practice, no source).
    #[must_use]
    pub fn sensor_uncertainty_k(&self) -> f64 {
        match (self.cooled(), self.rise_c.or(self.sensor_c)) {
            (true, _) => 0.5,
            (false, Some(_)) => 2.0,
            (false, None) => 5.0,
        }
    }
}
