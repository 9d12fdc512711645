//! Last night's lights against the night file.

use std::collections::BTreeMap;

use crate::camera::{CameraProfile, MeasuredLight, Mode};
use crate::caveat::{Caveat, Rejected, push_once};
use crate::frames::{FrameInfo, FrameKind, same_exposure};
use crate::night::Night;
use crate::review::{Review, dark_levels};
use crate::sensor::{DarkMaster, LightMeter, frame_mode};
use crate::units::Celsius;

use super::fullness::{FULL_SHARE, fullest_share};
use super::same_camera::other_camera;
use super::{FrameSource, FramesError, Progress, Silent, Work};

/// Darks whose temperature differs by more than this from the lights' leave dark current behind, in kelvins.
const SAME_TEMPERATURE_K: f64 = 1.0;

/// Options of [`review_night`].
#[derive(Clone, Copy)]
#[non_exhaustive]
pub struct ReviewOptions<'a> {
    /// Who watches, and may stop it.
    pub progress: &'a dyn Progress,
}

impl Default for ReviewOptions<'_> {
    fn default() -> Self {
        Self { progress: &Silent }
    }
}

/// Judges the lights of a source against a night; darks among them are taken off, else the profile's level.
///
/// # Errors
/// When there are no lights, none of them can be measured (a light of a mode that the profile does not hold is left out, and
/// both modes are named), or night and camera do not fit together.
///
/// # Examples
/// ```
/// use subwell::camera::CameraProfile;
/// use subwell::measure::{Frames, ReviewOptions, review_night};
/// use subwell::night::Night;
/// use subwell::simulate::{self, SensorTruth};
///
/// # let camera = CameraProfile::from_toml(r#"
/// #     camera = "from a data sheet"
/// #     provenance = "published"
/// #     [[modes]]
/// #     pixel_um = 3.76
/// #     width_px = 400
/// #     height_px = 300
/// #     [[modes.planes]]
/// #     plane = "mono"
/// #     gain_e_per_dn = 0.8
/// #     read_noise_e = 3.0
/// #     saturation_e = 9000.0
/// # "#)?;
/// # let night = Night::from_toml(r#"
/// #     optics = { aperture_mm = 72.0, focal_length_mm = 432.0 }
/// #     target = { surface_brightness_mag = 22.0 }
/// # "#)?;
/// let truth = SensorTruth::from_toml(r#"
///     width_px = 400
///     height_px = 300
///     gain_e_per_adc_step = 0.8
///     adc_bits = 14
///     offset_dn = 240.0
///     read_noise_e = 3.0
///     full_well_e = 9000.0
///     seed = 3
///     frames = [
///         { kind = "light", count = 6, exposure_s = 60.0, light_e_per_s = 5.0 },
///         { kind = "dark", count = 4, exposure_s = 60.0 },
///     ]
/// "#)?;
/// let frames = Frames::new(simulate::frames(&truth).collect());
/// let review = review_night(&frames, &night, &camera, &ReviewOptions::default())?;
/// assert_eq!(review.subs.len(), 6);
/// assert!((review.sky_e_per_s.unwrap().value.0 - 5.0).abs() < 0.5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn review_night(
    source: &impl FrameSource,
    night: &Night,
    camera: &CameraProfile,
    options: &ReviewOptions<'_>,
) -> Result<Review, FramesError> {
    let inventory = source.inventory();
    let lights: Vec<&FrameInfo> = inventory.frames().filter(|info| info.kind == FrameKind::Light).collect();
    if lights.is_empty() {
        return Err(no_lights(source));
    }
    // What the folder says against itself that matters to lights.
    let codes = ["conflicting-kind", "sidecar-unmatched"];
    let caveats = inventory.caveats.iter().filter(|caveat| codes.contains(&caveat.code.as_str())).cloned().collect();
    let mut session = Session { source, night, camera, left_out: inventory.rejected.clone(), caveats };
    let measured = session.measured(&lights, options.progress)?;
    if measured.is_empty() {
        let why = session.left_out.first().map_or(String::new(), |file| format!("{}: {}", file.file, file.reason));
        return Err(FramesError::NothingToReview {
            message: format!("none of {} lights could be measured: {why}", lights.len()),
            hint: "give lights of the night file's camera, as its raw frames".into(),
        });
    }
    Ok(Review::new(night, camera, &measured, session.left_out, session.caveats)?)
}

fn no_lights(source: &impl FrameSource) -> FramesError {
    let inventory = source.inventory();
    let holds = match (inventory.frames().count(), inventory.rejected.first()) {
        (0, None) => "no frames".to_owned(),
        (0, Some(file)) => format!("no lights; left out, {}: {}", file.file, file.reason),
        (others, _) => format!("{others} frames, but no lights"),
    };
    let hint = "give the folder of last night's lights; `subwell frames DIR` says what is taken for what, and sidecar.csv \
                (columns file, kind) corrects it";
    FramesError::NothingToReview { message: format!("{}: {holds}", source.name()), hint: hint.into() }
}

/// The lights on their way into numbers, one frame at a time.
struct Session<'a, S> {
    source: &'a S,
    night: &'a Night,
    camera: &'a CameraProfile,
    left_out: Vec<Rejected>,
    caveats: Vec<Caveat>,
}

/// What like lights share: their mode in the profile, and where their dark comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct DarkMatch {
    mode: usize,
    /// The group of darks in the inventory; `None` for a dark of the profile.
    darks: Option<usize>,
    /// Length in microseconds and temperature in tenths of a kelvin, where the profile must tell the dark.
    of_profile: (i64, Option<i64>),
    size: (usize, usize),
}

impl<'a, S: FrameSource> Session<'a, S> {
    fn measured(
        &mut self,
        lights: &[&'a FrameInfo],
        progress: &dyn Progress,
    ) -> Result<Vec<MeasuredLight>, FramesError> {
        let mut matches: BTreeMap<DarkMatch, Vec<&FrameInfo>> = BTreeMap::new();
        for light in lights {
            if let Some(key) = self.dark_match(light) {
                matches.entry(key).or_default().push(light);
            }
        }
        let mut meters: BTreeMap<usize, LightMeter<'a>> = BTreeMap::new();
        let mut measured = BTreeMap::new();
        progress.started(Work::MeasuringLights, lights.len());
        // One dark at a time: memory is two frames and the numbers.
        for (key, group) in &matches {
            let mode = &self.camera.modes[key.mode];
            let dark = self.dark(key, mode, group[0])?;
            let meter = meters.entry(key.mode).or_insert_with(|| LightMeter::new(mode));
            for info in group {
                if let Some(light) = self.one(info, mode, meter, &dark) {
                    measured.insert(info.file.clone(), light);
                }
                if !progress.step() {
                    return Err(FramesError::Stopped);
                }
            }
        }
        progress.finished();
        // In the order of the inventory: by time, else by name.
        Ok(lights.iter().filter_map(|info| measured.remove(&info.file)).collect())
    }

    /// The mode and the dark of a light; `None` where the profile has no such mode, which is noted.
    fn dark_match(&mut self, light: &FrameInfo) -> Option<DarkMatch> {
        let mode = match self.camera.mode_of_frame(&frame_mode(light), self.night.camera.gain_setting) {
            Ok(mode) => self.camera.modes.iter().position(|other| std::ptr::eq(other, mode))?,
            Err(error) => {
                let (code, reason) = ("conflicting-gain".to_owned(), error.to_string());
                self.left_out.push(Rejected { file: light.file.clone(), code, reason });
                return None;
            }
        };
        if let Some((header, profile)) = other_camera(self.camera, light) {
            let (code, reason) =
                ("conflicting-camera".to_owned(), format!("it is of {header}, the profile of {profile}"));
            self.left_out.push(Rejected { file: light.file.clone(), code, reason });
            return None;
        }
        if light.exposure.0 <= 0.0 {
            let reason = "its header says an exposure of 0 s".to_owned();
            self.left_out.push(Rejected { file: light.file.clone(), code: "no-exposure".into(), reason });
            return None;
        }
        let darks = self.darks_of(light);
        let sensor = light.sensor.filter(|_| darks.is_none());
        let length = if darks.is_none() { (light.exposure.0 * 1e6).round() as i64 } else { 0 };
        let of_profile = (length, sensor.map(|sensor| (sensor.0 * 10.0).round() as i64));
        Some(DarkMatch { mode, darks, of_profile, size: (light.width, light.height) })
    }

    /// The darks that fit a light: of its gain, offset, size and length, and nearest in temperature.
    fn darks_of(&self, light: &FrameInfo) -> Option<usize> {
        let agrees = |a: Option<f64>, b: Option<f64>| a.zip(b).is_none_or(|(a, b)| a == b);
        let fits = |info: &FrameInfo| {
            (info.width, info.height) == (light.width, light.height)
                && same_exposure(info.exposure, light.exposure)
                && agrees(info.gain_setting, light.gain_setting)
                && agrees(info.offset_setting, light.offset_setting)
        };
        let groups = self.source.inventory().groups.iter().enumerate();
        let darks = groups.filter(|(_, group)| group.kind == FrameKind::Dark && group.frames.first().is_some_and(fits));
        let off = |sensor: Option<Celsius>| sensor.zip(light.sensor).map_or(0.0, |(a, b)| (a - b).0.abs());
        darks.min_by(|(_, a), (_, b)| off(a.sensor).total_cmp(&off(b.sensor))).map(|(at, _)| at)
    }

    /// The dark of like lights, and a word on where it comes from.
    fn dark(&mut self, key: &DarkMatch, mode: &Mode, first: &FrameInfo) -> Result<DarkMaster, FramesError> {
        let (width, height) = key.size;
        if (width, height) != (mode.width_px, mode.height_px) {
            let message = format!(
                "lights of {width} x {height} pixels, where the profile's mode has {} x {}",
                mode.width_px, mode.height_px
            );
            let hint = "measure the camera with the binning and region of the lights";
            push_once(&mut self.caveats, Caveat::new("conflicting-mode", message, hint));
        }
        if let Some(master) = self.dark_of_frames(key, first)? {
            return Ok(master);
        }
        let sensor = first.sensor.unwrap_or_else(|| self.night.camera.sensor(self.night.site.ambient()));
        let levels = dark_levels(mode, first.exposure, sensor)?;
        if !self.caveats.iter().any(|other| other.code == "dark-from-profile") {
            let message = format!(
                "no darks of {} s and this gain lie beside the lights: level and dark current are those of the camera profile, \
                 at {:.1} °C",
                first.exposure.0, sensor.0
            );
            self.caveats.push(Caveat::new("dark-from-profile", message, "put the darks of the lights into the folder"));
        }
        Ok(DarkMaster::of_levels(width, height, &levels))
    }

    /// The mean of the darks beside the lights; `None` where there are none that can be read.
    fn dark_of_frames(&mut self, key: &DarkMatch, first: &FrameInfo) -> Result<Option<DarkMaster>, FramesError> {
        let source = self.source;
        let Some(group) = key.darks.and_then(|at| source.inventory().groups.get(at)) else { return Ok(None) };
        let mut master = DarkMaster::new(key.size.0, key.size.1);
        for info in &group.frames {
            match source.read(info) {
                Ok(dark) => master.add(&dark)?,
                Err(file) => self.left_out.push(file),
            }
        }
        if master.frames() == 0 {
            return Ok(None);
        }
        let off = group.sensor.zip(first.sensor).map(|(dark, light)| (dark - light).0);
        if let Some(off) = off.filter(|off| off.abs() > SAME_TEMPERATURE_K) {
            let message = format!(
                "the darks beside the lights were {:.1} °C {} than the lights: what they leave is taken for sky",
                off.abs(),
                if off > 0.0 { "warmer" } else { "colder" }
            );
            let hint = "take darks at the lights' temperature";
            push_once(&mut self.caveats, Caveat::new("dark-mismatch", message, hint));
        }
        Ok(Some(master))
    }

    /// The numbers of one light; a light without is noted.
    fn one(
        &mut self,
        info: &FrameInfo,
        mode: &Mode,
        meter: &mut LightMeter<'_>,
        dark: &DarkMaster,
    ) -> Option<MeasuredLight> {
        let reject = |reason: String| Rejected { file: info.file.clone(), code: "light-unusable".into(), reason };
        let frame = self.source.read(info).map_err(|file| self.left_out.push(file)).ok()?;
        let light = match meter.measure(&frame, dark) {
            Ok(light) => light,
            Err(error) => {
                self.left_out.push(reject(error.to_string()));
                return None;
            }
        };
        let fullest = fullest_share(mode, light.planes.iter().map(|plane| &plane.background));
        if fullest > FULL_SHARE {
            let percent = 100.0 * fullest;
            self.left_out.push(reject(format!("it is filled to {percent:.0} % of the well and holds no sky any more")));
            return None;
        }
        Some(light)
    }
}
