//! Lights into numbers, one frame at a time; what was measured once is remembered.

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, HashMap, HashSet};

use crate::camera::{CameraProfile, MeasuredLight, Mode};
use crate::caveat::{Caveat, Rejected, push_once};
use crate::frames::{FrameInfo, FrameKind, same_exposure};
use crate::night::Night;
use crate::review::{Memo, dark_levels};
use crate::sensor::{DarkMaster, LightMeter, frame_mode};
use crate::units::{Celsius, Seconds};

use super::fullness::{FULL_SHARE, fullest_share};
use super::same_camera::other_camera;
use super::{Content, FrameSource, FramesError, Progress, Work};

/// Darks whose temperature differs by more than this from the lights' leave dark current behind, in kelvins.
pub(super) const SAME_TEMPERATURE_K: f64 = 1.0;

/// The numbers of a light, or why it has none.
type Outcome = Result<MeasuredLight, Rejected>;

/// What was measured of a folder so far, so that a frame which is as it was is not measured again: numbers of lights, and
/// one dark, which most of the lights of a night share.
#[derive(Default)]
pub(super) struct Remembered {
    lights: HashMap<Content, Known>,
    /// Darks all of whose frames could be read.
    sound_darks: HashSet<DarkHeld>,
    dark: Option<HeldDark>,
    pub(super) memo: Memo,
}

/// A light as it was measured.
struct Known {
    /// What its header said then.
    info: FrameInfo,
    dark: DarkHeld,
    outcome: Outcome,
}

/// What the dark of like lights is made of.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct DarkHeld {
    mode: usize,
    darks: Vec<Content>,
    of_profile: (i64, Option<i64>),
    size: (usize, usize),
}

struct HeldDark {
    of: Option<DarkHeld>,
    master: DarkMaster,
}

impl Remembered {
    /// The light as it was measured, if it would be measured alike now.
    fn light(
        &self,
        content: &Content,
        dark: &DarkHeld,
        info: &FrameInfo,
        meter: &mut LightMeter<'_>,
    ) -> Option<Outcome> {
        let known = self.lights.get(content).filter(|known| known.dark == *dark)?;
        let same = FrameInfo { file: info.file.clone(), why: info.why.clone(), ..known.info.clone() } == *info;
        match &known.outcome {
            Ok(light) if same && meter.would_repeat(light) => {
                Some(Ok(MeasuredLight { file: info.file.clone(), ..light.clone() }))
            }
            // What is said of a file names it.
            Err(rejected) if same && known.info.file == info.file => Some(Err(rejected.clone())),
            _ => None,
        }
    }

    fn keep(&mut self, content: Content, dark: &DarkHeld, info: &FrameInfo, outcome: &Outcome) {
        let known = Known { info: info.clone(), dark: dark.clone(), outcome: outcome.clone() };
        self.lights.insert(content, known);
    }
}

/// The lights on their way into numbers, one frame at a time.
pub(super) struct Session<'a, S> {
    pub(super) source: &'a S,
    pub(super) night: &'a Night,
    pub(super) camera: &'a CameraProfile,
    pub(super) left_out: Vec<Rejected>,
    pub(super) caveats: Vec<Caveat>,
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
    /// Every light in the order of the inventory, by time, else by name; what cannot be measured is noted.
    pub(super) fn measured(
        &mut self,
        lights: &[&'a FrameInfo],
        progress: &dyn Progress,
        remembered: &mut Remembered,
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
        // One dark at a time: memory is a few frames and the numbers.
        for (key, group) in &matches {
            let mode = &self.camera.modes[key.mode];
            let meter = meters.entry(key.mode).or_insert_with(|| LightMeter::new(mode));
            let of = self.dark_held(key);
            let mut with_dark = false;
            if of.as_ref().is_none_or(|of| !remembered.sound_darks.contains(of)) {
                self.load_dark(key, of.as_ref(), group[0], remembered)?;
                with_dark = true;
            }
            let loaded = remembered.dark.as_ref().filter(|_| with_dark);
            let from_frames = key.darks.filter(|_| loaded.is_none_or(|dark| dark.master.frames() > 0));
            self.note_dark(key, mode, group[0], from_frames);
            for info in group {
                let content = self.source.content(info).zip(of.as_ref());
                let known = content.and_then(|(content, of)| remembered.light(&content, of, info, meter));
                let outcome = if known.is_some() {
                    known
                } else {
                    if !std::mem::replace(&mut with_dark, true) {
                        self.load_dark(key, of.as_ref(), group[0], remembered)?;
                    }
                    let Some(dark) = &remembered.dark else { continue };
                    let outcome = self.one(info, mode, meter, &dark.master);
                    if let (Some((content, of)), Some(outcome)) = (content, &outcome)
                        && remembered.sound_darks.contains(of)
                    {
                        remembered.keep(content, of, info, outcome);
                    }
                    outcome
                };
                match outcome {
                    Some(Ok(light)) => drop(measured.insert(info.file.clone(), light)),
                    Some(Err(rejected)) => self.left_out.push(rejected),
                    // Its file could not be read, which is noted.
                    None => {}
                }
                if !progress.step() {
                    return Err(FramesError::Stopped);
                }
            }
        }
        progress.finished();
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

    /// A light that lies there twice, under two names, is one light.
    pub(super) fn without_doubles(&mut self, lights: Vec<MeasuredLight>) -> Vec<MeasuredLight> {
        let mut seen: HashMap<(Option<String>, Vec<u64>), String> = HashMap::new();
        let mut kept = Vec::new();
        for light in lights {
            let planes = light.planes.iter().flat_map(|plane| {
                let background = &plane.background;
                [background.level_dn.value.0, background.gradient_percent, plane.noise_e.0]
            });
            let stars = light.stars.iter().take(4).flat_map(|star| [star.x_px, star.y_px, star.e_per_s.0]);
            let numbers: Vec<u64> = planes.chain(stars).map(f64::to_bits).collect();
            match seen.entry((light.taken.clone(), numbers)) {
                Entry::Occupied(first) => {
                    let reason = format!("the same frame as {}, under another name", first.get());
                    self.left_out.push(Rejected { file: light.file, code: "duplicate-frame".into(), reason });
                }
                Entry::Vacant(place) => {
                    place.insert(light.file.clone());
                    kept.push(light);
                }
            }
        }
        kept
    }

    /// What the dark of like lights is made of; `None` where a dark's file says nothing of what it holds.
    fn dark_held(&self, key: &DarkMatch) -> Option<DarkHeld> {
        let group = key.darks.and_then(|at| self.source.inventory().groups.get(at));
        let darks: Option<Vec<Content>> =
            group.map_or(Some(Vec::new()), |group| group.frames.iter().map(|dark| self.source.content(dark)).collect());
        Some(DarkHeld { mode: key.mode, darks: darks?, of_profile: key.of_profile, size: key.size })
    }

    /// Makes the dark of like lights the one that is remembered, unless it is already.
    fn load_dark(
        &mut self,
        key: &DarkMatch,
        of: Option<&DarkHeld>,
        first: &FrameInfo,
        remembered: &mut Remembered,
    ) -> Result<(), FramesError> {
        if of.is_some() && remembered.dark.as_ref().is_some_and(|dark| dark.of.as_ref() == of) {
            return Ok(());
        }
        // The memory of the one before is free for this one.
        remembered.dark = None;
        let before = self.left_out.len();
        let master = match self.dark_of_frames(key)? {
            Some(master) => master,
            None => {
                let (length, sensor) = self.of_profile(key, first);
                let levels = dark_levels(&self.camera.modes[key.mode], length, sensor)?;
                DarkMaster::of_levels(key.size.0, key.size.1, &levels)
            }
        };
        if let Some(of) = of.filter(|_| self.left_out.len() == before) {
            remembered.sound_darks.insert(of.clone());
        }
        remembered.dark = Some(HeldDark { of: of.cloned(), master });
        Ok(())
    }

    /// Length and temperature of a dark that the profile has to tell: those that like lights share.
    fn of_profile(&self, key: &DarkMatch, first: &FrameInfo) -> (Seconds, Celsius) {
        let usual = || self.night.camera.sensor(self.night.site.ambient());
        let (length, sensor) = match key.darks {
            Some(_) => (first.exposure, first.sensor),
            None => {
                let (micros, tenths) = key.of_profile;
                (Seconds(micros as f64 / 1e6), tenths.map(|tenths| Celsius(tenths as f64 / 10.0)))
            }
        };
        (length, sensor.unwrap_or_else(usual))
    }

    /// A word on where the dark of like lights comes from, and what may not fit.
    fn note_dark(&mut self, key: &DarkMatch, mode: &Mode, first: &FrameInfo, darks: Option<usize>) {
        let (width, height) = key.size;
        if (width, height) != (mode.width_px, mode.height_px) {
            let message = format!(
                "lights of {width} x {height} pixels, where the profile's mode has {} x {}",
                mode.width_px, mode.height_px
            );
            let hint = "measure the camera with the binning and region of the lights";
            push_once(&mut self.caveats, Caveat::new("conflicting-mode", message, hint));
        }
        let source = self.source;
        let Some(group) = darks.and_then(|at| source.inventory().groups.get(at)) else {
            let (length, sensor) = self.of_profile(key, first);
            if !self.caveats.iter().any(|other| other.code == "dark-from-profile") {
                let message = format!(
                    "no darks of {} s and this gain lie beside the lights: level and dark current are those of the camera \
                     profile, at {:.1} °C",
                    length.0, sensor.0
                );
                let hint = "put the darks of the lights into the folder";
                self.caveats.push(Caveat::new("dark-from-profile", message, hint));
            }
            return;
        };
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
    }

    /// The mean of the darks beside the lights; `None` where there are none that can be read.
    fn dark_of_frames(&mut self, key: &DarkMatch) -> Result<Option<DarkMaster>, FramesError> {
        let source = self.source;
        let Some(group) = key.darks.and_then(|at| source.inventory().groups.get(at)) else { return Ok(None) };
        let mut master = DarkMaster::new(key.size.0, key.size.1);
        for info in &group.frames {
            match source.read(info) {
                Ok(dark) => master.add(&dark)?,
                Err(file) => self.left_out.push(file),
            }
        }
        Ok((master.frames() > 0).then_some(master))
    }

    /// The numbers of one light, or why it has none; `None` where its file cannot be read, which is noted.
    fn one(&mut self, info: &FrameInfo, mode: &Mode, meter: &mut LightMeter<'_>, dark: &DarkMaster) -> Option<Outcome> {
        let reject = |reason: String| Rejected { file: info.file.clone(), code: "light-unusable".into(), reason };
        let frame = self.source.read(info).map_err(|file| self.left_out.push(file)).ok()?;
        let measured = meter.measure(&frame, dark);
        self.source.recycle(vec![frame.pixels]);
        let light = match measured {
            Ok(light) => light,
            Err(error) => return Some(Err(reject(error.to_string()))),
        };
        let fullest = fullest_share(mode, light.planes.iter().map(|plane| &plane.background));
        if fullest > FULL_SHARE {
            let percent = 100.0 * fullest;
            let reason = format!("it is filled to {percent:.0} % of the well and holds no sky any more");
            return Some(Err(reject(reason)));
        }
        Some(Ok(light))
    }
}
