//! The modes of a profile by their names: gain setting, or words of the label.

use super::plane_name::PlaneName;
use super::{CameraProfile, Mode, Plane, ProfileError};

impl CameraProfile {
    /// The mode that a night names, by gain setting, by words of its [label](Mode::label), or by both; `None` where it names
    /// none.
    ///
    /// # Errors
    /// When no mode is called so, or when several modes could be meant.
    pub fn named_mode(&self, gain_setting: Option<f64>, words: Option<&str>) -> Result<Option<&Mode>, ProfileError> {
        let Some(words) = words else { return gain_setting.map(|gain| self.mode(Some(gain))).transpose() };
        let of_gain = |mode: &&Mode| gain_setting.is_none() || mode.gain_setting == gain_setting;
        let fitting: Vec<&Mode> = self.modes.iter().filter(of_gain).filter(|mode| mode.is_called(words)).collect();
        match fitting.as_slice() {
            [mode] => Ok(Some(mode)),
            [] => {
                let known: Vec<String> = self.modes.iter().map(|mode| format!("`{}`", mode.label())).collect();
                Err(ProfileError::NoModeNamed { asked: words.to_owned(), known: known.join(", ") })
            }
            several => Err(ProfileError::SeveralModes { known: several.iter().map(|mode| mode.label()).collect() }),
        }
    }

    /// The mode with this gain setting; with `None`, the only one.
    ///
    /// # Errors
    /// When no mode has the setting, or when several modes could be meant.
    pub fn mode(&self, gain_setting: Option<f64>) -> Result<&Mode, ProfileError> {
        let known = || self.modes.iter().map(|mode| mode.gain_setting).collect();
        let of_gain = |mode: &&Mode| gain_setting.is_none() || mode.gain_setting == gain_setting;
        match self.modes.iter().filter(of_gain).collect::<Vec<_>>().as_slice() {
            [] => Err(ProfileError::NoSuchGain { asked: gain_setting, known: known() }),
            [mode] => Ok(mode),
            several => Err(ProfileError::SeveralModes { known: several.iter().map(|mode| mode.label()).collect() }),
        }
    }
}

impl Mode {
    /// The mode in words, without the camera's name: `gain 40, binned 2x2, 2500x1800`.
    #[must_use]
    pub fn label(&self) -> String {
        let mut words = Vec::new();
        words.extend(self.gain_setting.map(|setting| format!("gain {setting}")));
        words.extend(self.offset_setting.map(|setting| format!("offset {setting}")));
        words.extend(self.readout_mode.clone());
        if self.binning != [1, 1] {
            words.push(format!("binned {}x{}", self.binning[0], self.binning[1]));
        }
        words.push(format!("{}x{}", self.width_px, self.height_px));
        words.join(", ")
    }

    /// Whether all of these words, parted by commas, are parts of its label: `binned 2x2`, or the whole of it.
    #[must_use]
    pub fn is_called(&self, words: &str) -> bool {
        let label = self.label();
        words.split(',').all(|word| label.split(", ").any(|part| part.eq_ignore_ascii_case(word.trim())))
    }

    /// The plane with the smallest electron rate per unit of light is not known here;
    /// planes are looked up by name.
    #[must_use]
    pub fn plane(&self, name: PlaneName) -> Option<&Plane> {
        self.planes.iter().find(|plane| plane.plane == name)
    }
}
