//! The lights of one night, each measured on its own: sky, noise and the stars of the field.

use std::collections::BTreeMap;

use crate::camera::{FieldStar, FrameMode, LightPlane, MeasuredLight, Mode, PlaneName};
use crate::frames::{Frame, FrameInfo};
use crate::units::{Electrons, ElectronsPerSecond};

use crate::sensor::stack::plane_view;
use crate::sensor::{MeasureError, NoGainCause};

use super::background::{BackgroundOptions, plane_background, planes_of};
use super::field::field_stars;
use super::master::DarkMaster;
use super::star::{Image, STRAIGHT};

/// How a frame was taken, as far as it decides which mode of a profile it belongs to.
#[must_use]
pub fn frame_mode(info: &FrameInfo) -> FrameMode {
    FrameMode {
        gain_setting: info.gain_setting,
        offset_setting: info.offset_setting,
        readout_mode: info.readout_mode.clone(),
        binning: info.binning,
        width_px: info.width,
        height_px: info.height,
    }
}

/// Measures the lights of one mode of a camera, one at a time; nothing of a frame is kept but numbers.
#[derive(Debug, Clone)]
pub struct LightMeter<'a> {
    mode: &'a Mode,
    /// The plane that the stars are measured in, for each filter: the one with most light in its first light.
    star_planes: BTreeMap<Option<String>, PlaneName>,
}

impl<'a> LightMeter<'a> {
    /// A meter for the lights of a mode.
    #[must_use]
    pub fn new(mode: &'a Mode) -> Self {
        Self { mode, star_planes: BTreeMap::new() }
    }

    /// Sky, noise and stars of one light.
    ///
    /// The noise is what the pixels of the sky scatter by in light less dark; what a mean of so many darks adds in read
    /// noise is taken off it.
    ///
    /// # Errors
    /// When light and dark differ in size, the frame is too small, or it is not brighter than its dark.
    pub fn measure(&mut self, light: &Frame, dark: &DarkMaster) -> Result<MeasuredLight, MeasureError> {
        if light.pixels.dim() != dark.mean.dim() {
            let (rows, columns) = dark.mean.dim();
            return Err(MeasureError::SizeDiffers {
                file: light.info.file.clone(),
                found: format!("{} x {}", light.pixels.ncols(), light.pixels.nrows()),
                expected: format!("{columns} x {rows}"),
            });
        }
        let options = BackgroundOptions { mode: Some(self.mode), ..BackgroundOptions::default() };
        let (mut planes, mut unseen) = (Vec::new(), None);
        for plane in planes_of(&light.info, options) {
            let gain = plane.gain.ok_or(MeasureError::NoGain { levels: 0, why: NoGainCause::Unknown })?;
            let (background, noise) = match plane_background(light, &dark.mean, &plane, &gain) {
                // Blue pixels behind a filter of red light.
                Err(error @ MeasureError::NoSky { .. }) => {
                    unseen.get_or_insert(error);
                    continue;
                }
                measured => measured?,
            };
            let of_dark = self.noise_of_mean(plane.name, dark.frames());
            let noise_e = (noise * gain.value.0).powi(2) - of_dark;
            planes.push(LightPlane { background, noise_e: Electrons(noise_e.max(0.0).sqrt()) });
        }
        if let Some(error) = unseen.filter(|_| planes.is_empty()) {
            return Err(error);
        }
        let info = &light.info;
        let star_plane = *self.star_planes.entry(info.filter.clone()).or_insert_with(|| brightest(&planes));
        let (stars, star_count) = self.stars(light, dark, star_plane);
        Ok(MeasuredLight {
            file: info.file.clone(),
            taken: info.taken.clone(),
            filter: info.filter.clone(),
            exposure_s: info.exposure,
            frame_mode: frame_mode(info),
            sensor_c: info.sensor,
            dark_from: dark.from(),
            planes,
            star_plane,
            star_count,
            stars,
        })
    }

    /// Whether a light that was measured before, by another meter of this mode and less the same dark, would come out the same
    /// here, in its turn: the plane of its stars may be another one.
    pub fn would_repeat(&mut self, light: &MeasuredLight) -> bool {
        let plane = self.star_planes.entry(light.filter.clone()).or_insert_with(|| brightest(&light.planes));
        *plane == light.star_plane
    }

    /// Variance of a mean of darks without the dark current's own: read noise and rounding, in e-².
    fn noise_of_mean(&self, plane: PlaneName, frames: usize) -> f64 {
        let Some(plane) = self.mode.plane(plane).filter(|_| frames > 0) else { return 0.0 };
        let step = f64::from(self.mode.dn_step) * plane.gain_e_per_dn.value.0;
        (plane.read_noise_e.value.0.powi(2) + step * step / 12.0) / frames as f64
    }

    /// The stars in a plane, in pixels and electrons of the frame, and how many there are.
    fn stars(&self, light: &Frame, dark: &DarkMaster, name: PlaneName) -> (Vec<FieldStar>, usize) {
        let Some(plane) = self.mode.plane(name) else { return (Vec::new(), 0) };
        let cell = name.cell();
        let region = [0, 0, light.pixels.ncols(), light.pixels.nrows()];
        let image =
            Image { light: plane_view(&light.pixels, region, cell), dark: plane_view(&dark.mean, region, cell) };
        let ((row, column), step) = cell.map_or(((0, 0), 1.0), |cell| (cell, 2.0));
        let (gain, seconds) = (plane.gain_e_per_dn.value.0, light.info.exposure.0);
        let full = STRAIGHT * plane.saturation_e.value.0 / gain;
        let (stars, count) = field_stars(&image, gain);
        let field_star = |star: super::field::Found| FieldStar {
            x_px: star.centre.1 * step + column as f64 + 1.0,
            y_px: star.centre.0 * step + row as f64 + 1.0,
            e_per_s: ElectronsPerSecond(star.counts * gain / seconds),
            fwhm_px: star.fwhm * step,
            straight: star.peak < full,
        };
        (stars.into_iter().map(field_star).collect(), count)
    }
}

/// The plane with most light.
fn brightest(planes: &[LightPlane]) -> PlaneName {
    planes
        .iter()
        .max_by(|a, b| a.background.e_per_s.value.0.total_cmp(&b.background.e_per_s.value.0))
        .map_or(PlaneName::Mono, |plane| plane.background.plane)
}
