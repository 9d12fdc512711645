//! Which mode of a profile a frame belongs to.

use serde::{Deserialize, Serialize};

use super::{CameraProfile, Mode, ProfileError};

/// How a frame was taken, as far as it decides which [`Mode`] of a profile it belongs to.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct FrameMode {
    /// The driver's gain or ISO number.
    pub gain_setting: Option<f64>,
    /// The driver's offset.
    pub offset_setting: Option<f64>,
    /// The readout mode's name.
    pub readout_mode: Option<String>,
    /// Horizontal and vertical binning.
    pub binning: [u32; 2],
    /// Columns.
    pub width_px: usize,
    /// Rows.
    pub height_px: usize,
}

impl FrameMode {
    /// What distinguishes it in words: `gain 200, binned 2x2`; without a size, which a region of the sensor changes.
    #[must_use]
    pub fn label(&self) -> String {
        in_words(self.gain_setting, self.readout_mode.as_deref(), self.binning)
    }
}

fn in_words(gain: Option<f64>, readout: Option<&str>, binning: [u32; 2]) -> String {
    let gain = gain.map_or_else(|| "no stated gain".to_owned(), |setting| format!("gain {setting}"));
    let readout = readout.map(|name| format!("readout mode {name}"));
    let binned = (binning != [1, 1]).then(|| format!("binned {}x{}", binning[0], binning[1]));
    [Some(gain), readout, binned].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

impl CameraProfile {
    /// The mode that a frame was taken in; of several that fit, the one of its size and offset.
    ///
    /// The gain setting decides: the frame's, or `usual` where the frame states none. A profile without a gain setting fits
    /// every frame. Where both name a readout mode the names must agree, and the binning always must: each changes
    /// gain or read noise. A region of the sensor and another offset change neither.
    ///
    /// # Errors
    /// When no mode fits (both are named), or the frame states no gain, nor is there a usual one, and modes of several
    /// gains fit.
    pub fn mode_of_frame(&self, frame: &FrameMode, usual: Option<f64>) -> Result<&Mode, ProfileError> {
        let gain = frame.gain_setting.or(usual);
        let stated = FrameMode { gain_setting: gain, ..frame.clone() };
        let fits = |mode: &&Mode| {
            let read_alike = mode.readout_mode.as_ref().zip(frame.readout_mode.as_ref()).is_none_or(|(a, b)| a == b);
            mode.binning == frame.binning && read_alike
        };
        let of_gain = |gain: Option<f64>| {
            self.modes.iter().filter(|mode| mode.gain_setting == gain).filter(fits).collect::<Vec<_>>()
        };
        let mut fitting = of_gain(gain);
        if fitting.is_empty() && gain.is_some() {
            fitting = of_gain(None);
        }
        if fitting.is_empty() && gain.is_none() {
            fitting = self.modes.iter().filter(fits).collect();
            if fitting.iter().any(|mode| mode.gain_setting != fitting[0].gain_setting) {
                return Err(ProfileError::SeveralModes { known: fitting.iter().map(|mode| mode.label()).collect() });
            }
        }
        let alike = |mode: &&Mode| {
            let size = (mode.width_px, mode.height_px) == (frame.width_px, frame.height_px);
            let offset = mode.offset_setting.zip(frame.offset_setting).is_none_or(|(a, b)| a == b);
            (size, offset)
        };
        // The first of the best ones.
        let best = fitting.into_iter().rev().max_by_key(alike);
        best.ok_or_else(|| ProfileError::NoSuchMode { frame: stated.label(), known: self.modes_in_words() })
    }

    fn modes_in_words(&self) -> String {
        let mut known: Vec<String> = Vec::new();
        for mode in &self.modes {
            let label = in_words(mode.gain_setting, mode.readout_mode.as_deref(), mode.binning);
            if !known.contains(&label) {
                known.push(label);
            }
        }
        known.join("; ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile(modes: &[&str]) -> CameraProfile {
        let mut text = "camera = \"a\"\nprovenance = \"published\"\n".to_owned();
        for keys in modes {
            text.push_str(&format!(
                "[[modes]]\npixel_um = 3.5\nwidth_px = 100\nheight_px = 80\n{keys}\n[[modes.planes]]\nplane = \"mono\"\n\
                 gain_e_per_dn = 1.0\nread_noise_e = 2.0\nsaturation_e = 20000.0\n"
            ));
        }
        CameraProfile::from_toml(&text).unwrap()
    }

    fn frame(gain: Option<f64>) -> FrameMode {
        FrameMode { gain_setting: gain, binning: [1, 1], width_px: 100, height_px: 80, ..FrameMode::default() }
    }

    #[test]
    fn a_frame_of_another_gain_names_both() {
        let camera = profile(&["gain_setting = 100", "gain_setting = 200"]);
        assert_eq!(camera.mode_of_frame(&frame(Some(200.0)), Some(100.0)).unwrap().gain_setting, Some(200.0));
        let error = camera.mode_of_frame(&frame(Some(400.0)), Some(100.0)).unwrap_err().to_string();
        for both in ["gain 400", "gain 100; gain 200"] {
            assert!(error.contains(both), "{error}");
        }
    }

    #[test]
    fn a_frame_without_gain_is_of_the_usual_one_or_asks() {
        let camera = profile(&["gain_setting = 100", "gain_setting = 200"]);
        assert_eq!(camera.mode_of_frame(&frame(None), Some(200.0)).unwrap().gain_setting, Some(200.0));
        assert!(matches!(camera.mode_of_frame(&frame(None), None), Err(ProfileError::SeveralModes { .. })));
        assert!(profile(&["gain_setting = 100"]).mode_of_frame(&frame(None), None).is_ok());
        assert!(profile(&[""]).mode_of_frame(&frame(Some(800.0)), None).is_ok(), "a profile without settings fits all");
    }

    #[test]
    fn binning_and_readout_mode_must_agree_where_they_are_named() {
        let camera = profile(&["gain_setting = 100\nreadout_mode = \"fast\"", "gain_setting = 100\nbinning = [2, 2]"]);
        let binned = FrameMode { binning: [2, 2], ..frame(Some(100.0)) };
        assert_eq!(camera.mode_of_frame(&binned, None).unwrap().binning, [2, 2]);
        let slow = FrameMode { readout_mode: Some("slow".into()), ..frame(Some(100.0)) };
        let error = camera.mode_of_frame(&slow, None).unwrap_err().to_string();
        assert!(error.contains("readout mode slow") && error.contains("readout mode fast"), "{error}");
        assert!(camera.mode_of_frame(&frame(Some(100.0)), None).is_ok(), "a frame that names no readout mode");
    }

    #[test]
    fn of_several_that_fit_size_and_offset_decide() {
        let camera = profile(&["gain_setting = 100\noffset_setting = 10", "gain_setting = 100\noffset_setting = 30"]);
        let frame = FrameMode { offset_setting: Some(30.0), ..frame(Some(100.0)) };
        assert_eq!(camera.mode_of_frame(&frame, None).unwrap().offset_setting, Some(30.0));
    }
}
