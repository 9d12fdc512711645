//! What is in a folder: every frame's kind and why, the groups, what was left out, and what a measurement still lacks.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::group::{Group, ModeKey, TEMPERATURE_GAP_C, groups, is_settled};
use super::header::{Header, not_raw};
use super::shutter::{self, Ladder};
use super::sidecar::{Override, names_file};
use super::stated::{Stated, stated};
use super::{Cards, FrameInfo, FrameKind, Glance, kind, names, self_heating, warm_up};
use crate::caveat::{Caveat, Rejected, push_once};
use crate::units::{Celsius, Dn, Seconds};

/// A frame as it was found: its header, its size, and a look at its pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// The file's name relative to the folder asked about, with `/`.
    pub file: String,
    /// Its header.
    pub cards: Cards,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// A look at its pixels, if one was taken.
    pub glance: Option<Glance>,
}

/// The answer to "what is in this folder?".
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Inventory {
    /// Frames that are alike, by mode, kind, temperature and exposure.
    pub groups: Vec<Group>,
    /// Files that were not taken, and why.
    pub rejected: Vec<Rejected>,
    /// What a measurement still lacks, in words.
    pub missing: Vec<String>,
    /// What the files state of their own gain and noise; nothing rests on it.
    pub stated: Vec<Stated>,
    /// Doubts.
    pub caveats: Vec<Caveat>,
}

impl Inventory {
    /// Sorts what was found in the folder named `root`; `rejected` are the files that could not be read.
    #[must_use]
    pub fn of(seen: Vec<Seen>, overrides: &[Override], root: &str, rejected: Vec<Rejected>) -> Self {
        let mut inventory = Self { rejected, ..Self::default() };
        let found: BTreeSet<String> = seen.iter().map(|frame| frame.file.clone()).collect();
        let mut frames = Vec::new();
        for frame in seen {
            let row = (overrides.iter().find(|row| row.file == frame.file))
                .or_else(|| overrides.iter().find(|row| names_file(&row.file, &frame.file)));
            match judged(&frame, row, root) {
                Ok(judged) => frames.push(judged),
                Err(rejected) => inventory.rejected.push(rejected),
            }
        }
        let there = |row: &&Override| found.iter().any(|file| *file == row.file || names_file(&row.file, file));
        for row in overrides.iter().filter(|row| !there(row)) {
            inventory.caveats.push(
                Caveat::new("sidecar-unmatched", "sidecar.csv names a file that is not there", "correct its name")
                    .about(&row.file),
            );
        }
        inventory.note_contradictions(&frames);
        frames = inventory.veto(frames);
        frames = inventory.same_row_order(frames);
        inventory.name_true_times(&mut frames);
        frames = inventory.without_warm_up(frames);
        inventory.note_temperatures(&frames);
        inventory.note_black_level(&frames);
        inventory.note_self_heating(&frames);
        for said in frames.iter_mut().flat_map(|frame| std::mem::take(&mut frame.stated)) {
            if !inventory.stated.contains(&said) {
                inventory.stated.push(said);
            }
        }
        inventory.groups = groups(frames.into_iter().map(|frame| frame.info).collect());
        inventory.missing = missing(&inventory.groups);
        inventory.missing.extend(unsaid(&inventory.rejected));
        inventory.rejected.sort_by(|a, b| super::natural_order(&a.file, &b.file));
        inventory
    }

    /// The groups of each camera mode, in the order of `groups`.
    pub fn modes(&self) -> impl Iterator<Item = (&ModeKey, &[Group])> {
        self.groups.chunk_by(|a, b| a.mode == b.mode).map(|groups| (&groups[0].mode, groups))
    }

    /// Every frame that was taken.
    pub fn frames(&self) -> impl Iterator<Item = &FrameInfo> {
        self.groups.iter().flat_map(|group| &group.frames)
    }

    fn note_contradictions(&mut self, frames: &[Judged]) {
        let mut alike: BTreeMap<(String, String), Vec<&Judged>> = BTreeMap::new();
        for frame in frames {
            if let Some((other, words)) = &frame.contradicted {
                let said = format!("the {} says {}", frame.info.why, frame.info.kind);
                alike.entry((said, format!("the {words} says {other}"))).or_default().push(frame);
            }
        }
        for ((header, place), files) in alike {
            let first = &files[0].info.file;
            let about = if files.len() == 1 { first.clone() } else { format!("{first} and {} more", files.len() - 1) };
            let message = format!("{header}, {place}: the header was believed");
            let hint = "if the header is wrong, say so in sidecar.csv (columns file, kind) beside the frames";
            self.caveats.push(Caveat::new("conflicting-kind", message, hint).about(about));
        }
    }

    /// Leaves out frames whose pixels cannot be those of the kind they are said to be.
    fn veto(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
        let doubts: Vec<Option<String>> = frames.iter().map(|frame| frame.doubt(&frames)).collect();
        let mut kept = Vec::new();
        for (frame, doubt) in frames.into_iter().zip(doubts) {
            let Some(reason) = doubt else {
                kept.push(frame);
                continue;
            };
            let hint = "look at the frame; if it is right all the same, say its kind in sidecar.csv beside the frames";
            let file = frame.info.file;
            self.caveats.push(Caveat::new("conflicting-kind", format!("{reason}; it was left out"), hint).about(&file));
            self.rejected.push(Rejected { file, code: "conflicting-kind".into(), reason });
        }
        kept
    }

    /// Rows stored the other way round put each pixel's pattern on another pixel: the fewer are left out.
    fn same_row_order(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
        let count = |mode: &ModeKey, order| {
            frames.iter().filter(|frame| frame.bottom_up == Some(order) && frame.mode == *mode).count()
        };
        let odd = |frame: &Judged| {
            let order = frame.bottom_up?;
            let (same, other) = (count(&frame.mode, order), count(&frame.mode, !order));
            (other > same || (other == same && order)).then_some(other)
        };
        let others: Vec<Option<usize>> = frames.iter().map(odd).collect();
        let mut kept = Vec::new();
        for (frame, others) in frames.into_iter().zip(others) {
            let Some(others) = others else {
                kept.push(frame);
                continue;
            };
            let reason =
                format!("its rows are stored upside down (ROWORDER) to those of {others} others of this camera");
            self.rejected.push(Rejected { file: frame.info.file, code: "row-order".into(), reason });
        }
        kept
    }

    /// The first long darks of a camera without a cooler, as long as it warms up, are left out.
    fn without_warm_up(&mut self, mut frames: Vec<Judged>) -> Vec<Judged> {
        let mut modes: Vec<ModeKey> = frames.iter().map(|frame| frame.mode.clone()).collect();
        modes.sort();
        modes.dedup();
        for mode in modes {
            let long = |frame: &Judged| {
                frame.mode == mode && frame.info.kind == FrameKind::Dark && frame.is_long_and_uncooled()
            };
            let mut series: Vec<(&str, f64, &str)> = (frames.iter().filter(|frame| long(frame)))
                .filter_map(|frame| {
                    Some((frame.info.taken.as_deref()?, frame.info.sensor?.0, frame.info.file.as_str()))
                })
                .collect();
            if series.len() < frames.iter().filter(|frame| long(frame)).count() {
                continue;
            }
            series.sort_by(|a, b| a.0.cmp(b.0));
            let readings: Vec<f64> = series.iter().map(|(_, celsius, _)| *celsius).collect();
            let count = warm_up::unsettled_first(&readings);
            let early: BTreeSet<String> = series[..count].iter().map(|(_, _, file)| (*file).to_owned()).collect();
            if early.is_empty() {
                continue;
            }
            self.note_warm_up(&readings, count, &mode);
            for file in &early {
                let reason = format!("one of the first {count} long frames, taken while the camera warmed up");
                self.rejected.push(Rejected { file: file.clone(), code: "temperature-unsettled".into(), reason });
            }
            frames.retain(|frame| !early.contains(&frame.info.file));
        }
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

    /// Names on a camera's dial are taken for the powers of two behind them, unless metadata, sidecar or levels say otherwise.
    fn name_true_times(&mut self, frames: &mut [Judged]) {
        let mut modes: Vec<ModeKey> = frames.iter().map(|frame| frame.mode.clone()).collect();
        modes.sort();
        modes.dedup();
        for mode in modes {
            let of_mode = |frame: &&Judged| frame.mode == mode && frame.named_time;
            let times: Vec<Seconds> = frames.iter().filter(of_mode).map(|frame| frame.info.exposure).collect();
            let surely = frames.iter().filter(of_mode).all(|frame| frame.raw_file);
            let Some(ladder) = Ladder::of(&times).filter(|_| surely || several(&times)) else { continue };
            if shutter::names_are_true(ladder, &lit(frames, &mode)) == Some(true) {
                continue;
            }
            let mut moved: Option<(Seconds, Seconds)> = None;
            for frame in frames.iter_mut().filter(|frame| frame.mode == mode && frame.named_time) {
                let (named, taken) = (frame.info.exposure, ladder.true_time(frame.info.exposure));
                frame.info.exposure = taken;
                let shift = |(a, b): (Seconds, Seconds)| (a.0 / b.0).ln().abs();
                if named.0 > 0.0 && moved.is_none_or(|widest| shift((named, taken)) > shift(widest)) {
                    moved = Some((named, taken));
                }
            }
            self.note_moved(moved, &mode);
        }
    }

    fn note_moved(&mut self, moved: Option<(Seconds, Seconds)>, mode: &ModeKey) {
        let Some((named, taken)) = moved.filter(|(named, taken)| (named.0 / taken.0 - 1.0).abs() > MOVED_SHARE) else {
            return;
        };
        let message = format!(
            "the exposure times are the round names on the camera's dial; the powers of two behind them were taken, such as {} for {}",
            time_in_words(taken),
            time_in_words(named)
        );
        let hint = "if the camera's times are true, or you timed them yourself, write them in sidecar.csv (columns file, exposure_s)";
        self.caveats.push(Caveat::new("nominal-times", message, hint).about(mode.to_string()));
    }

    /// The masked border tells the black level of each frame, whatever light fell beside it.
    fn note_black_level(&mut self, frames: &[Judged]) {
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

    /// Long frames of a camera without a cooler whose headers tell the air too.
    fn note_self_heating(&mut self, frames: &[Judged]) {
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

    fn note_temperatures(&mut self, frames: &[Judged]) {
        for frame in frames {
            let info = &frame.info;
            let about = ModeKey::of(info).to_string();
            if frame.assumed_settled {
                let message = "the headers give a set point but no sensor temperature: the set point was taken";
                let hint = "give the true temperatures in sidecar.csv (columns file, sensor_c)";
                push_once(&mut self.caveats, Caveat::new("assumed-value", message, hint).about(&about));
            }
            if frame.named_temperature {
                let message =
                    "no header gives the sensor's temperature: the one in the names of files or folders was taken";
                let hint = "give better ones in sidecar.csv (columns file, sensor_c) if they were read off the camera";
                push_once(&mut self.caveats, Caveat::new("assumed-value", message, hint).about(&about));
            }
            if info.sensor.is_some() && info.set_point.is_some() && !is_settled(info) {
                let message = format!("frames were taken more than {TEMPERATURE_GAP_C} degC off the set point");
                let hint = "let the cooler settle, or aim at a temperature it can hold";
                push_once(&mut self.caveats, Caveat::new("temperature-unsettled", message, hint).about(&about));
            }
            if frame.body_temperature && info.kind == FrameKind::Dark {
                let message = "the temperatures are those of the camera's body or the air, read when the exposure began: the sensor is some degrees warmer";
                let hint = "let the camera warm up to a steady state; give better temperatures in sidecar.csv (columns file, sensor_c)";
                push_once(&mut self.caveats, Caveat::new("body-temperature", message, hint).about(&about));
            }
            if info.sensor.is_none() && info.kind == FrameKind::Dark {
                let message = "dark frames without a sensor temperature in their headers";
                let hint = "give --sensor-c, or sidecar.csv with the columns file, sensor_c";
                push_once(&mut self.caveats, Caveat::new("temperature-missing", message, hint).about(&about));
            }
        }
    }
}

/// Frames this long warm a camera.
const LONG_S: f64 = 5.0;
/// The mean of a masked border is known to some tenths of a DN; a level that moves by more than this is worth a word.
const MOVED_DN: f64 = 1.5;
/// A round name this much off the truth is worth a word.
const MOVED_SHARE: f64 = 0.005;

/// Enough different times that no chance puts them all on a camera's ladder.
fn several(times: &[Seconds]) -> bool {
    let different: BTreeSet<u64> = times.iter().filter(|time| time.0 > 0.0).map(|time| time.0.to_bits()).collect();
    different.len() >= 5
}

/// Named times and levels of the flats of a mode that do not saturate, above the darkest frame of the mode.
fn lit(frames: &[Judged], mode: &ModeKey) -> Vec<(Seconds, f64)> {
    let of_mode = || frames.iter().filter(|frame| frame.mode == *mode);
    let levels = |dark: bool| {
        of_mode()
            .filter(move |frame| (frame.info.kind == FrameKind::Flat) != dark && frame.info.kind != FrameKind::Light)
            .filter_map(|frame| Some((frame, frame.glance?)))
    };
    let dark = levels(true).map(|(_, glance)| glance.mean.0).min_by(f64::total_cmp);
    let Some(dark) = dark else { return Vec::new() };
    let unsaturated = levels(false).filter(|(frame, glance)| frame.named_time && glance.top_share < 0.01);
    unsaturated.map(|(frame, glance)| (frame.info.exposure, glance.mean.0 - dark)).collect()
}

/// `1/64 s` or `32 s`.
fn time_in_words(time: Seconds) -> String {
    let round = |value: f64| format!("{}", (value * 10.0).round() / 10.0);
    if time.0 < 0.3 { format!("1/{} s", round(1.0 / time.0)) } else { format!("{} s", round(time.0)) }
}

/// A frame with its kind, and what is needed to doubt it.
struct Judged {
    info: FrameInfo,
    mode: ModeKey,
    glance: Option<Glance>,
    contradicted: Option<(FrameKind, String)>,
    bottom_up: Option<bool>,
    assumed_settled: bool,
    certain: bool,
    /// Whether the exposure is a round name from a camera's dial.
    named_time: bool,
    raw_file: bool,
    body_temperature: bool,
    /// Whether the temperature stands in the name only.
    named_temperature: bool,
    stated: Vec<Stated>,
    /// The level of the masked border.
    masked: Option<Dn>,
    /// The temperature of the air.
    ambient: Option<Celsius>,
}

fn judged(seen: &Seen, row: Option<&Override>, root: &str) -> Result<Judged, Rejected> {
    let reject = |code: &str, reason: String| Rejected { file: seen.file.clone(), code: code.into(), reason };
    if let Some(reason) = not_raw(&seen.cards) {
        return Err(reject("not-raw", reason));
    }
    if kind::names_a_master(&seen.file) {
        return Err(reject("not-raw", "its name says that it is a master or a stack".into()));
    }
    let header = Header::from_cards(&seen.cards);
    let told = row.and_then(|row| row.kind);
    let by_sidecar = |kind| kind::Judgement { kind, why: "sidecar.csv".into(), contradicted: None };
    let judgement = (told.map(by_sidecar))
        .or_else(|| kind::judgement(header.kind.as_ref(), &seen.file, root))
        .ok_or_else(|| reject("unknown-kind", "neither header, folder nor name says what it was taken for".into()))?;
    let by_row = row.and_then(|row| row.exposure);
    let by_apex = header.exposure.and_then(|named| shutter::time_by_apex(named, header.shutter_apex));
    let exposure = (by_row.or(by_apex).or(header.exposure))
        .or_else(|| names::exposure(&seen.file))
        .or((judgement.kind == FrameKind::Bias).then_some(Seconds(0.0)))
        .ok_or_else(|| reject("no-exposure", "neither header nor name says how long it was exposed".into()))?;
    let read = row.and_then(|row| row.sensor).or(header.sensor);
    let named = names::temperature(&seen.file).filter(|_| read.is_none() && header.set_point.is_none());
    let sensor = read.or(named);
    let info = FrameInfo {
        file: seen.file.clone(),
        kind: judgement.kind,
        why: judgement.why,
        camera: header.camera,
        width: seen.width,
        height: seen.height,
        gain_setting: row.and_then(|row| row.gain_setting).or(header.gain_setting),
        offset_setting: header.offset_setting,
        readout_mode: header.readout_mode,
        binning: header.binning.unwrap_or([1, 1]),
        pixel: header.pixel,
        exposure,
        sensor: sensor.or(header.set_point),
        set_point: header.set_point,
        cfa: header.cfa,
        taken: header.taken,
        filter: header.filter,
    };
    Ok(Judged {
        mode: ModeKey::of(&info),
        glance: seen.glance,
        contradicted: judgement.contradicted,
        bottom_up: header.bottom_up,
        assumed_settled: sensor.is_none() && header.set_point.is_some(),
        certain: told.is_some(),
        named_time: header.dial && by_row.is_none() && by_apex.is_none() && header.exposure.is_some(),
        raw_file: header.raw_file,
        body_temperature: header.body_temperature && row.and_then(|row| row.sensor).is_none(),
        named_temperature: named.is_some(),
        stated: stated(&seen.cards, &ModeKey::of(&info)),
        masked: header.masked,
        ambient: header.ambient,
        info,
    })
}

/// A frame this many times its like's pixel noise above their level is lit, not read.
const LIT_SIGMAS: f64 = 20.0;
/// A flat must stand at least this many times the pixel noise above the frames without light.
const UNLIT_SIGMAS: f64 = 0.1;
/// So many frames have to agree before one may be called odd.
const LEAST_PEERS: usize = 2;

impl Judged {
    /// Whether it was long enough to warm the camera, and no cooler held the temperature.
    fn is_long_and_uncooled(&self) -> bool {
        let info = &self.info;
        matches!(info.kind, FrameKind::Dark | FrameKind::Light) && info.exposure.0 >= LONG_S && info.set_point.is_none()
    }

    /// Why the pixels cannot be those of the kind that the frame is said to be, if they cannot.
    fn doubt(&self, all: &[Self]) -> Option<String> {
        let glance = self.glance.filter(|_| !self.certain)?;
        match self.info.kind {
            FrameKind::Flat => self.unlit(&glance, all),
            FrameKind::Bias | FrameKind::Dark | FrameKind::DarkFlat => self.lit(&glance, all),
            FrameKind::Light => None,
        }
    }

    fn unlit(&self, glance: &Glance, all: &[Self]) -> Option<String> {
        let dark = |frame: &&Self| match frame.info.kind {
            FrameKind::Bias => true,
            FrameKind::Dark | FrameKind::DarkFlat => frame.info.exposure.0 <= self.info.exposure.0.max(1.0),
            FrameKind::Flat | FrameKind::Light => false,
        };
        let (level, noise) = self.usual(all, dark)?;
        (glance.mean.0 - level < UNLIT_SIGMAS * noise).then(|| {
            let mean = glance.mean.0;
            format!(
                "it is said to be a flat ({}), but at {mean:.1} DN is as dark as the frames without light",
                self.info.why
            )
        })
    }

    fn lit(&self, glance: &Glance, all: &[Self]) -> Option<String> {
        let like = |frame: &&Self| {
            let warm = match (frame.info.sensor, self.info.sensor) {
                (Some(other), Some(own)) => (other.0 - own.0).abs() > TEMPERATURE_GAP_C,
                _ => false,
            };
            // Darks of a warmer sensor are brighter, and right.
            !warm && frame.info.kind == self.info.kind && super::same_exposure(frame.info.exposure, self.info.exposure)
        };
        let (level, noise) = self.usual(all, like)?;
        (glance.mean.0 - level > LIT_SIGMAS * noise).then(|| {
            let (kind, why, mean) = (self.info.kind, &self.info.why, glance.mean.0);
            let how = if glance.is_even() { "evenly lit, as a flat is" } else { "far brighter than they" };
            format!(
                "it is said to be a {kind} ({why}), but at {mean:.1} DN against {level:.1} DN of its like it is {how}"
            )
        })
    }

    /// Median level and pixel noise of the other frames of this mode that `choose` takes, if they are enough.
    fn usual(&self, all: &[Self], choose: impl Fn(&&Self) -> bool) -> Option<(f64, f64)> {
        let others = all.iter().filter(|frame| frame.mode == self.mode && frame.info.file != self.info.file);
        let glances: Vec<Glance> = others.filter(choose).filter_map(|frame| frame.glance).collect();
        let middle = |read: fn(&Glance) -> f64| {
            let mut values: Vec<f64> = glances.iter().map(read).collect();
            values.sort_by(f64::total_cmp);
            // The lower of two middles: one bright frame of two must not set the level.
            values.get(values.len().saturating_sub(1) / 2).copied()
        };
        if glances.len() < LEAST_PEERS {
            return None;
        }
        Some((middle(|glance| glance.mean.0)?, middle(|glance| glance.noise.0)?.max(0.5)))
    }
}

/// What a measurement of these groups still lacks, in words, mode by mode.
fn missing(groups: &[Group]) -> Vec<String> {
    if groups.is_empty() {
        return vec!["no frames that can be measured: bias, flat and dark frames are wanted".into()];
    }
    let modes: Vec<&[Group]> = groups.chunk_by(|a, b| a.mode == b.mode).collect();
    let several = modes.len() > 1;
    let lacks = |mode: &&[Group]| {
        let label = if several { format!(" ({})", mode[0].mode) } else { String::new() };
        missing_in_mode(mode).into_iter().map(move |words| format!("{words}{label}")).collect::<Vec<_>>()
    };
    modes.iter().flat_map(lacks).collect()
}

/// What frames were left out for want of, and how to say it.
fn unsaid(rejected: &[Rejected]) -> Option<String> {
    let count = |code: &str| rejected.iter().filter(|file| file.code == code).count();
    let (kinds, times) = (count("unknown-kind"), count("no-exposure"));
    let what = match (kinds, times) {
        (0, 0) => return None,
        (kinds, 0) => format!("the kind of {kinds} files"),
        (0, times) => format!("the exposure of {times} files"),
        (kinds, times) => format!("the kind of {kinds} files and the exposure of {times}"),
    };
    Some(format!("{what}; {}", names::ADVICE))
}

fn missing_in_mode(groups: &[Group]) -> Vec<String> {
    let of = |kind| groups.iter().filter(move |group| group.kind == kind);
    let count = |kind| of(kind).map(|group| group.frames.len()).sum::<usize>();
    let mut lacks = Vec::new();
    match (count(FrameKind::Bias), count(FrameKind::Dark) + count(FrameKind::DarkFlat)) {
        (0, 0) => lacks.push("no bias frames and no dark frames: offset and read noise cannot be measured"),
        (0, _) => lacks.push("no bias frames: offset and read noise rest on the shortest dark frames"),
        (1, 0) => lacks.push("only one bias frame: read noise needs a pair"),
        _ => {}
    }
    if count(FrameKind::Flat) == 0 {
        lacks.push("no flat frames: the gain cannot be measured and has to be given with --gain-e-per-dn");
    } else if of(FrameKind::Flat).all(|group| group.frames.len() < 2) {
        lacks.push("no flat pairs: the gain needs at least two flats of the same exposure");
    }
    let darks: Vec<&Group> = of(FrameKind::Dark).collect();
    let times: BTreeSet<u64> = darks.iter().map(|group| group.exposure.0.to_bits()).collect();
    let temperatures: BTreeSet<Option<u64>> =
        darks.iter().map(|group| group.temperature.map(|temperature| temperature.0.to_bits())).collect();
    match times.len() {
        0 => lacks.push("no dark frames: the dark current cannot be measured"),
        1 => lacks.push("dark frames of one exposure only: the dark current wants at least two, far apart"),
        _ => {}
    }
    if times.len() > 1 && temperatures.len() < 2 {
        lacks.push("dark frames at one temperature only: how the dark current changes with temperature stays unknown");
    }
    lacks.into_iter().map(str::to_owned).collect()
}
