//! `subwell review`: a folder of last night's lights against the night file.

use std::collections::BTreeMap;
use std::path::PathBuf;

use clap::Args;
use subwell::camera::{CameraProfile, MeasuredLight, Mode};
use subwell::caveat::{Caveat, Rejected, push_once};
use subwell::files::{Decoder, FrameSet};
use subwell::frames::{FrameInfo, FrameKind, same_exposure};
use subwell::night::Night;
use subwell::review::{Review, dark_levels, mode_of_light};
use subwell::sensor::{DarkMaster, LightMeter};
use subwell::{files, report};

use super::ReportArgs;
use super::output::{Answer, Failure};
use super::progress;

/// A level filled to this share of the well holds no sky any more.
const FULL_SHARE: f64 = 0.9;
/// Darks whose temperature differs by more than this from the lights' leave dark current behind, in kelvins.
const SAME_TEMPERATURE_K: f64 = 1.0;

#[derive(Args)]
pub(super) struct ReviewArgs {
    /// The folder of the night's lights, any depth; darks among them are used
    dir: PathBuf,
    /// The night that was planned
    #[arg(long, value_name = "night.toml")]
    night: PathBuf,
    /// Write the measured sky into the night file
    #[arg(long)]
    write: bool,
    #[command(flatten)]
    report: ReportArgs,
}

/// Answers `subwell review`.
pub(super) fn review(args: &ReviewArgs, quiet: bool) -> Result<Answer, Failure> {
    args.report.check()?;
    let (night, camera) = files::read_night(&args.night)?;
    let decoder = Decoder::this_program()?;
    let set = {
        let _spinner = progress::spinner("looking at the frames", quiet);
        files::read_headers(&args.dir, &decoder)?
    };
    let lights: Vec<&FrameInfo> = set.inventory.frames().filter(|info| info.kind == FrameKind::Light).collect();
    if lights.is_empty() {
        return Err(no_lights(args, &set));
    }
    let mut session = Session {
        set: &set,
        decoder: &decoder,
        night: &night,
        camera: &camera,
        left_out: set.rejected().to_vec(),
        caveats: caveats_of(&set),
    };
    let measured = session.measured(&lights, quiet)?;
    if measured.is_empty() {
        let why = session.left_out.first().map_or(String::new(), |file| format!("{}: {}", file.file, file.reason));
        let hint = "give lights of the night file's camera, as its raw frames";
        return Err(Failure::nothing_to_review(
            &format!("none of {} lights could be measured: {why}", lights.len()),
            hint,
        ));
    }
    let (left_out, caveats) = (session.left_out, session.caveats);
    let review = Review::new(&night, &camera, &measured, left_out, caveats).map_err(subwell::Error::from)?;
    let mut text = report::review_text(&review);
    if args.write {
        let Some(sky) = &review.sky_to_write else {
            let hint = "review a night without Moon, or measure one light with subwell sky";
            return Err(Failure::words(
                "the Moon was most of the sky: what is left of it is no measurement to write",
                hint,
            ));
        };
        files::write_measured_sky(&args.night, &sky.e_per_s, &sky.filter, &sky.plane)?;
        text.push_str(&format!("\nwritten to {}: subwell plan uses it from now on\n", args.night.display()));
    }
    args.report.write(&mut text, || report::review_page(&review))?;
    Ok(Answer::document(text, &review, review.caveats.len()))
}

fn no_lights(args: &ReviewArgs, set: &FrameSet) -> Failure {
    let others = set.inventory.frames().count();
    let holds = match (others, set.rejected().first()) {
        (0, None) => "no frames".to_owned(),
        (0, Some(file)) => format!("no lights; of what lies there, {}: {}", file.file, file.reason),
        (others, _) => format!("{others} frames, but no lights"),
    };
    let hint = "give the folder of last night's lights; `subwell frames DIR` says what is taken for what, and sidecar.csv \
                (columns file, kind) corrects it";
    Failure::nothing_to_review(&format!("{}: {holds}", args.dir.display()), hint)
}

/// What the folder says against itself that matters to lights.
fn caveats_of(set: &FrameSet) -> Vec<Caveat> {
    let codes = ["conflicting-kind", "sidecar-unmatched"];
    set.inventory.caveats.iter().filter(|caveat| codes.contains(&caveat.code.as_str())).cloned().collect()
}

/// The lights on their way into numbers, one frame at a time.
struct Session<'a> {
    set: &'a FrameSet,
    decoder: &'a Decoder,
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

impl<'a> Session<'a> {
    fn measured(&mut self, lights: &[&'a FrameInfo], quiet: bool) -> Result<Vec<MeasuredLight>, Failure> {
        let mut matches: BTreeMap<DarkMatch, Vec<&FrameInfo>> = BTreeMap::new();
        for light in lights {
            if let Some(key) = self.matches(light) {
                matches.entry(key).or_default().push(light);
            }
        }
        let mut meters: BTreeMap<usize, LightMeter<'a>> = BTreeMap::new();
        let mut measured = BTreeMap::new();
        let bar = progress::bar("measuring lights", lights.len(), quiet);
        // One dark at a time: memory is two frames and the numbers.
        for (key, group) in &matches {
            let mode = &self.camera.modes[key.mode];
            let dark = self.dark(key, mode, group[0])?;
            let meter = meters.entry(key.mode).or_insert_with(|| LightMeter::new(mode));
            for info in group {
                if let Some(light) = self.one(info, mode, meter, &dark) {
                    measured.insert(info.file.clone(), light);
                }
                bar.inc(1);
            }
        }
        bar.finish_and_clear();
        // In the order of the inventory: by time, else by name.
        Ok(lights.iter().filter_map(|info| measured.remove(&info.file)).collect())
    }

    /// The matches of a light; `None` where the profile has no such mode, which is noted.
    fn matches(&mut self, light: &FrameInfo) -> Option<DarkMatch> {
        let mode = match mode_of_light(self.night, self.camera, light.gain_setting) {
            Ok(mode) => self.camera.modes.iter().position(|other| std::ptr::eq(other, mode))?,
            Err(error) => {
                let (code, reason) = ("conflicting-gain".to_owned(), error.to_string());
                self.left_out.push(Rejected { file: light.file.clone(), code, reason });
                return None;
            }
        };
        if light.exposure.0 <= 0.0 {
            let reason = "its header says an exposure of nothing".to_owned();
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
        let groups = self.set.inventory.groups.iter().enumerate();
        let darks = groups.filter(|(_, group)| group.kind == FrameKind::Dark && group.frames.first().is_some_and(fits));
        let off =
            |sensor: Option<subwell::units::Celsius>| sensor.zip(light.sensor).map_or(0.0, |(a, b)| (a - b).0.abs());
        darks.min_by(|(_, a), (_, b)| off(a.sensor).total_cmp(&off(b.sensor))).map(|(at, _)| at)
    }

    /// The dark of like lights, and a word on where it comes from.
    fn dark(&mut self, key: &DarkMatch, mode: &Mode, first: &FrameInfo) -> Result<DarkMaster, Failure> {
        let (width, height) = key.size;
        if (width, height) != (mode.width_px, mode.height_px) {
            let message = format!(
                "lights of {width} x {height} pixels, where the profile's mode has {} x {}",
                mode.width_px, mode.height_px
            );
            let hint = "measure the camera with the binning and region of the lights";
            push_once(&mut self.caveats, Caveat::new("conflicting-mode", message, hint));
        }
        if let Some(group) = key.darks.and_then(|at| self.set.inventory.groups.get(at)) {
            let mut master = DarkMaster::new(width, height);
            for info in &group.frames {
                match self.set.read(info, self.decoder) {
                    Ok(dark) => master.add(&dark)?,
                    Err(error) => self.left_out.push(error.rejected(&info.file)),
                }
            }
            if master.frames() > 0 {
                let off = group.sensor.zip(first.sensor).map(|(dark, light)| (dark - light).0);
                if let Some(off) = off.filter(|off| off.abs() > SAME_TEMPERATURE_K) {
                    let message = format!(
                        "the darks beside the lights were {:.1} degC {} than the lights: what they leave is taken for sky",
                        off.abs(),
                        if off > 0.0 { "warmer" } else { "colder" }
                    );
                    let hint = "take darks at the lights' temperature";
                    push_once(&mut self.caveats, Caveat::new("dark-mismatch", message, hint));
                }
                return Ok(master);
            }
        }
        let sensor = first.sensor.unwrap_or_else(|| self.night.camera.sensor(self.night.site.ambient()));
        let levels = dark_levels(mode, first.exposure, sensor).map_err(subwell::Error::from)?;
        let message = format!(
            "no darks of {} s and this gain lie beside the lights: level and dark current are those of the camera profile, \
             at {:.1} degC",
            first.exposure.0, sensor.0
        );
        let hint = "put the darks of the lights into the folder";
        let caveat = Caveat::new("dark-from-profile", message, hint);
        if !self.caveats.iter().any(|other| other.code == caveat.code) {
            self.caveats.push(caveat);
        }
        Ok(DarkMaster::of_levels(width, height, &levels))
    }

    /// The numbers of one light; a light without is noted.
    fn one(
        &mut self,
        info: &FrameInfo,
        mode: &Mode,
        meter: &mut LightMeter<'_>,
        dark: &DarkMaster,
    ) -> Option<MeasuredLight> {
        let frame = match self.set.read(info, self.decoder) {
            Ok(frame) => frame,
            Err(error) => {
                self.left_out.push(error.rejected(&info.file));
                return None;
            }
        };
        let reject = |code: &str, reason: String| Rejected { file: info.file.clone(), code: code.into(), reason };
        let light = match meter.measure(&frame, dark) {
            Ok(light) => light,
            Err(error) => {
                self.left_out.push(reject("light-unusable", error.to_string()));
                return None;
            }
        };
        let filled = |plane: &subwell::camera::LightPlane| {
            let measured = mode.plane(&plane.background.plane)?;
            Some(plane.background.level_dn.value.0 * measured.gain_e_per_dn.value.0 / measured.saturation_e.value.0)
        };
        let fullest = light.planes.iter().filter_map(filled).fold(0.0, f64::max);
        if fullest > FULL_SHARE {
            let reason = format!("it is filled to {:.0} % of the well and holds no sky any more", 100.0 * fullest);
            self.left_out.push(reject("light-unusable", reason));
            return None;
        }
        Some(light)
    }
}
