//! Temperatures and levels: a camera that warms up, heats itself, hides its temperature, or moves its black level.

use std::collections::{BTreeMap, BTreeSet};

use super::{Inventory, Judged};
use crate::caveat::{Caveat, Rejected, push_once};
use crate::frames::group::{TEMPERATURE_GAP_C, is_settled};
use crate::frames::{FrameKind, ModeKey, self_heating, warm_up};

/// Frames this long warm a camera.
const LONG_S: f64 = 5.0;
/// The mean of a masked border is known to some tenths of a DN; a level that moves by more than this is worth a word.
const MOVED_DN: f64 = 1.5;

impl Inventory {
    /// The first long darks of a camera without a cooler, as long as it warms up, are left out.
    pub(super) fn without_warm_up(&mut self, mut frames: Vec<Judged>) -> Vec<Judged> {
        let mut modes: BTreeMap<ModeKey, Vec<&Judged>> = BTreeMap::new();
        let is_long = |frame: &&Judged| frame.info.kind == FrameKind::Dark && frame.is_long_and_uncooled();
        for frame in frames.iter().filter(is_long) {
            modes.entry(frame.mode.clone()).or_default().push(frame);
        }
        let mut early: BTreeSet<String> = BTreeSet::new();
        for (mode, long) in modes {
            let told = long.iter().filter_map(|frame| {
                Some((frame.info.taken.as_deref()?, frame.info.sensor?.0, frame.info.file.as_str()))
            });
            let mut series: Vec<(&str, f64, &str)> = told.collect();
            if series.len() < long.len() {
                continue;
            }
            series.sort_by(|a, b| a.0.cmp(b.0));
            let readings: Vec<f64> = series.iter().map(|(_, celsius, _)| *celsius).collect();
            let count = warm_up::unsettled_first(&readings);
            if count == 0 {
                continue;
            }
            let files: BTreeSet<String> = series[..count].iter().map(|(_, _, file)| (*file).to_owned()).collect();
            self.note_warm_up(&readings, count, &mode);
            for file in &files {
                let reason = format!("one of the first {count} long frames, taken while the camera warmed up");
                self.rejected.push(Rejected { file: file.clone(), code: "temperature-unsettled".into(), reason });
            }
            early.extend(files);
        }
        frames.retain(|frame| !early.contains(&frame.info.file));
        frames
    }

    fn note_warm_up(&mut self, readings: &[f64], count: usize, mode: &ModeKey) {
        let message = format!(
            "the camera warmed up from {:.0} to {:.0} °C over its first long darks: {count} of them were left out",
            readings[0], readings[count]
        );
        let hint = format!(
            "let the camera take long frames for half an hour before the darks, as it does before the lights; if the first \
             reading was that of the air, the camera heats itself by {:.0} K (rise_c under [camera] of a night)",
            readings[count..].iter().sum::<f64>() / readings[count..].len() as f64 - readings[0]
        );
        self.caveats.push(Caveat::new("temperature-unsettled", message, hint).about(mode.to_string()));
    }

    /// Long frames of a camera without a cooler whose headers tell the air too.
    pub(super) fn note_self_heating(&mut self, frames: &[Judged]) {
        let mut readings: BTreeMap<&ModeKey, Vec<(f64, f64)>> = BTreeMap::new();
        for frame in frames.iter().filter(|frame| frame.is_long_and_uncooled() && !frame.body_temperature) {
            let both = frame.info.sensor.zip(frame.ambient).map(|(sensor, air)| (sensor.0, air.0));
            readings.entry(&frame.mode).or_default().extend(both);
        }
        for (mode, readings) in readings {
            let Some((kelvins, uncertainty)) = self_heating::rise(&readings) else { continue };
            let message = format!(
                "in {} long frames the sensor is {kelvins:.1} ± {uncertainty:.1} K warmer than the air that the headers give",
                readings.len()
            );
            let hint = format!("to plan for another night write rise_c = {kelvins:.1} under [camera] of its file");
            self.caveats.push(Caveat::new("self-heating", message, hint).about(mode.to_string()));
        }
    }

    pub(super) fn note_temperatures(&mut self, frames: &[Judged]) {
        let unsettled = format!("frames were taken more than {TEMPERATURE_GAP_C} °C off the set point");
        // Each word once for each mode; what thousands of files have said is not looked through for each frame.
        let mut said: BTreeSet<(usize, &ModeKey)> = BTreeSet::new();
        for frame in frames {
            let (info, is_dark) = (&frame.info, frame.info.kind == FrameKind::Dark);
            let off = info.sensor.is_some() && info.set_point.is_some() && !is_settled(info);
            let words = [
                (
                    frame.assumed_settled,
                    "assumed-value",
                    "the headers give a set point but no sensor temperature: the set point was taken",
                    "give the true temperatures in sidecar.csv (columns file, sensor_c)",
                ),
                (
                    frame.named_temperature,
                    "assumed-value",
                    "no header gives the sensor's temperature: the one in the names of files or folders was taken",
                    "give better ones in sidecar.csv (columns file, sensor_c) if they were read off the camera",
                ),
                (
                    off,
                    "temperature-unsettled",
                    &unsettled,
                    "let the cooler settle, or aim at a temperature it can hold",
                ),
                (
                    frame.body_temperature && is_dark,
                    "body-temperature",
                    "the temperatures are those of the camera's body or the air, read when the exposure began: the sensor is some degrees warmer",
                    "let the camera warm up to a steady state; give better temperatures in sidecar.csv (columns file, sensor_c)",
                ),
                (
                    info.sensor.is_none() && is_dark,
                    "temperature-missing",
                    "dark frames without a sensor temperature in their headers",
                    "give --sensor-c, or sidecar.csv with the columns file, sensor_c",
                ),
            ];
            for (number, (holds, code, message, hint)) in words.into_iter().enumerate() {
                if holds && said.insert((number, &frame.mode)) {
                    push_once(&mut self.caveats, Caveat::new(code, message, hint).about(frame.mode.to_string()));
                }
            }
        }
    }

    /// The masked border tells the black level of each frame, whatever light fell beside it.
    pub(super) fn note_black_level(&mut self, frames: &[Judged]) {
        let mut levels: BTreeMap<&ModeKey, Vec<f64>> = BTreeMap::new();
        for frame in frames.iter().filter(|frame| matches!(frame.info.kind, FrameKind::Bias | FrameKind::Flat)) {
            levels.entry(&frame.mode).or_default().extend(frame.masked.map(|level| level.0));
        }
        for (mode, levels) in levels {
            let (low, high) = levels.iter().fold((f64::MAX, f64::MIN), |(low, high), l| (low.min(*l), high.max(*l)));
            if high - low > MOVED_DN {
                let message = format!(
                    "the masked border says that the black level moves between {low:.1} and {high:.1} DN over bias frames and flats"
                );
                let hint = "take the bias frames right before or after the flats, with the camera as warm as then";
                self.caveats.push(Caveat::new("black-level-moves", message, hint).about(mode.to_string()));
            }
        }
    }
}

impl Judged {
    /// Whether it was long enough to warm the camera, and no cooler held the temperature.
    fn is_long_and_uncooled(&self) -> bool {
        let info = &self.info;
        matches!(info.kind, FrameKind::Dark | FrameKind::Light) && info.exposure.0 >= LONG_S && info.set_point.is_none()
    }
}
