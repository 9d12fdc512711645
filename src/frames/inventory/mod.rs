//! What is in a folder: every frame's kind and why, the groups, what was left out, and what a measurement still lacks.

mod clock;
mod judged;
mod levels;
mod middles;
mod missing;
mod mixed;
mod stamps;
mod times;
mod veto;
mod warmth;

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use judged::{Judged, judged};
use missing::{missing, unsaid};

use super::group::{Group, ModeKey, groups};
use super::sidecar::{Override, Rows};
use super::stated::Stated;
use super::{Cards, FrameInfo, StripStatistics};
use crate::caveat::{Caveat, Rejected};
use crate::document::Format;

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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
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

impl Format for Inventory {
    const FORMAT: &'static str = "subwell.frames";
}

impl Inventory {
    /// Sorts what was found in the folder named `root`; `rejected` are the files that could not be read.
    #[must_use]
    pub fn new(seen: Vec<Seen>, overrides: &[Override], root: &str, rejected: Vec<Rejected>) -> Self {
        let mut inventory = Self { rejected, ..Self::default() };
        let found: BTreeSet<String> = seen.iter().map(|frame| frame.file.clone()).collect();
        let (mut frames, rows) = (Vec::new(), Rows::new(overrides));
        for frame in seen {
            let row = rows.row_of(&frame.file);
            match judged(&frame, row.as_ref(), root) {
                Ok(judged) => frames.push(judged),
                Err(rejected) => inventory.rejected.push(rejected),
            }
        }
        let meant = rows.meant(found.iter().map(String::as_str));
        for (row, _) in overrides.iter().zip(meant).filter(|(_, meant)| !meant) {
            inventory.caveats.push(
                Caveat::new("sidecar-unmatched", "sidecar.csv names a file that is not there", "correct its name")
                    .about(&row.file),
            );
        }
        inventory.note_conflicting_rows(&rows, &found);
        frames = inventory.ask_for_units(frames);
        frames = inventory.ask_for_gains(frames);
        inventory.settle_stamps(&mut frames);
        inventory.note_contradictions(&frames);
        inventory.note_lights(&frames);
        frames = inventory.veto(frames);
        frames = inventory.same_row_order(frames);
        inventory.name_true_times(&mut frames);
        frames = inventory.without_impossible_times(frames);
        frames = inventory.without_warm_up(frames);
        inventory.note_darks_without_time(&frames);
        inventory.note_long_biases(&frames);
        inventory.note_temperatures(&frames);
        inventory.note_black_level(&frames);
        inventory.note_stated_levels(&frames);
        inventory.note_rough_pixels(&frames);
        inventory.note_dial_times(&frames);
        inventory.note_outer_times(&frames);
        inventory.note_missing_gains(&frames);
        inventory.note_losses(&frames);
        inventory.note_self_heating(&frames);
        let mut known = BTreeSet::new();
        for said in frames.iter_mut().flat_map(|frame| std::mem::take(&mut frame.stated)) {
            if known.insert(format!("{said:?}")) {
                inventory.stated.push(said);
            }
        }
        let timeless: BTreeMap<String, f64> = (frames.iter().filter(|frame| frame.timeless))
            .map(|frame| (frame.info.file.clone(), frame.strip_statistics.map_or(0.0, |strip| strip.mean.0)))
            .collect();
        let groups = groups(frames.into_iter().map(|frame| frame.info).collect());
        inventory.groups = inventory.pair_by_level(groups, &timeless);
        inventory.missing = missing(&inventory.groups, &inventory.rejected);
        inventory.missing.extend(unsaid(&inventory.rejected));
        inventory.rejected.sort_by(|a, b| super::natural_order(&a.file, &b.file));
        inventory
    }

    /// A word where rows of the sidecar contradict each other.
    fn note_conflicting_rows(&mut self, rows: &Rows, files: &BTreeSet<String>) {
        let mut conflicts = files.iter().filter_map(|file| Some((file, rows.conflict_of(file)?)));
        let Some((first, words)) = conflicts.next() else { return };
        let more = conflicts.count();
        let about = if more == 0 { first.clone() } else { format!("{first} and {more} more") };
        let message = format!("sidecar.csv says {words} of one file: the first was taken");
        let hint = "leave one row for each file; a row of its own goes before patterns";
        self.caveats.push(Caveat::new("conflicting-rows", message, hint).about(about));
    }

    /// Frames whose kinds and settings are known already: nothing is judged or left out.
    #[must_use]
    pub fn from_infos(infos: Vec<FrameInfo>) -> Self {
        let groups = groups(infos);
        Self { missing: missing(&groups, &[]), groups, ..Self::default() }
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
