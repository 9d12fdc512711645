//! What is in a folder: every frame's kind and why, the groups, what was left out, and what a measurement still lacks.

mod missing;
mod times;
mod veto;
mod warmth;

use std::collections::BTreeSet;

use serde::Serialize;

use missing::{missing, unsaid};

use super::group::{Group, ModeKey, groups};
use super::header::{Header, not_raw};
use super::shutter;
use super::sidecar::{Override, names_file};
use super::stated::{Stated, stated};
use super::{Cards, FrameInfo, FrameKind, StripStatistics, kind, names};
use crate::caveat::{Caveat, Rejected};
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
    pub strip_statistics: Option<StripStatistics>,
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
    pub fn new(seen: Vec<Seen>, overrides: &[Override], root: &str, rejected: Vec<Rejected>) -> Self {
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

    /// Frames whose kinds and settings are known already: nothing is judged or left out.
    #[must_use]
    pub fn from_infos(infos: Vec<FrameInfo>) -> Self {
        let groups = groups(infos);
        Self { missing: missing(&groups), groups, ..Self::default() }
    }

    /// The groups of each camera mode, in the order of `groups`.
    pub fn modes(&self) -> impl Iterator<Item = (&ModeKey, &[Group])> {
        self.groups.chunk_by(|a, b| a.mode == b.mode).map(|groups| (&groups[0].mode, groups))
    }

    /// Every frame that was taken.
    pub fn frames(&self) -> impl Iterator<Item = &FrameInfo> {
        self.groups.iter().flat_map(|group| &group.frames)
    }
}

/// A frame with its kind, and what is needed to doubt it.
struct Judged {
    info: FrameInfo,
    mode: ModeKey,
    strip_statistics: Option<StripStatistics>,
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
    let by_row = row.and_then(|row| row.kind);
    let by_sidecar = |kind| kind::Judgement { kind, why: "sidecar.csv".into(), contradicted: None };
    let judgement = (by_row.map(by_sidecar))
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
        mode: ModeKey::from_info(&info),
        strip_statistics: seen.strip_statistics,
        contradicted: judgement.contradicted,
        bottom_up: header.bottom_up,
        assumed_settled: sensor.is_none() && header.set_point.is_some(),
        certain: by_row.is_some(),
        named_time: header.dial && by_row.is_none() && by_apex.is_none() && header.exposure.is_some(),
        raw_file: header.raw_file,
        body_temperature: header.body_temperature && row.and_then(|row| row.sensor).is_none(),
        named_temperature: named.is_some(),
        stated: stated(&seen.cards, &ModeKey::from_info(&info)),
        masked: header.masked,
        ambient: header.ambient,
        info,
    })
}
