//! Exposure times: the names on a camera's dial, and the times behind them.

use std::collections::{BTreeMap, BTreeSet};

use super::{Inventory, Judged};
use crate::caveat::{Caveat, Rejected};
use crate::frames::shutter::{self, Ladder};
use crate::frames::{FrameKind, ModeKey};
use crate::units::Seconds;

/// No frame is exposed longer: what says so is in another unit.
const LONGEST_S: f64 = 6.0 * 3600.0;
/// Where so large a share of the frames of a mode says so, the unit of all of them is unknown.
const IN_ANOTHER_UNIT: f64 = 0.25;
/// A round name this much off the truth is worth a word.
const MOVED_SHARE: f64 = 0.005;

impl Inventory {
    /// Exposures that no frame has are in a unit that nothing states: bias frames and flats do without, the others are
    /// asked about.
    pub(super) fn ask_for_units(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
        let mut counts: BTreeMap<ModeKey, [usize; 2]> = BTreeMap::new();
        for frame in frames.iter().filter(|frame| frame.header_time) {
            let [beyond, all] = counts.entry(frame.mode.clone()).or_default();
            *beyond += usize::from(frame.info.exposure.0 > LONGEST_S);
            *all += 1;
        }
        let unknown = |frame: &Judged| {
            let [beyond, all] = counts.get(&frame.mode).copied().unwrap_or_default();
            let beyond = beyond as f64 >= IN_ANOTHER_UNIT * all as f64 && beyond > 0;
            frame.header_time && (beyond || frame.info.exposure.0 > LONGEST_S)
        };
        let mut kept = Vec::new();
        for mut frame in frames {
            if !unknown(&frame) {
                kept.push(frame);
                continue;
            }
            match frame.info.kind {
                FrameKind::Bias | FrameKind::Flat => {
                    frame.timeless = frame.info.kind == FrameKind::Flat;
                    (frame.info.exposure, frame.named_time, frame.other_time) = (Seconds(0.0), false, None);
                    kept.push(frame);
                }
                _ => {
                    let reason = format!(
                        "its header says an exposure of {} without a unit, and in seconds frames of this camera would last for hours",
                        frame.info.exposure.0
                    );
                    self.rejected.push(Rejected { file: frame.info.file, code: "no-exposure".into(), reason });
                }
            }
        }
        kept
    }

    /// A word where a folder around those of the kinds gave the exposure of the darks.
    pub(super) fn note_outer_times(&mut self, frames: &[Judged]) {
        let mut darks = frames.iter().filter(|frame| frame.outer_time && frame.info.kind == FrameKind::Dark);
        let Some(first) = darks.next() else { return };
        let message = format!(
            "nothing but a folder around them says how long {} were exposed: {} s was taken",
            match darks.count() {
                0 => "1 dark".to_owned(),
                more => format!("{} darks", more + 1),
            },
            first.info.exposure.0
        );
        let hint = "if they were exposed otherwise, write sidecar.csv (columns file, exposure_s) beside the frames";
        self.caveats.push(Caveat::new("assumed-value", message, hint).about(&first.info.file));
    }

    /// Names on a camera's dial are taken for the powers of two behind them, unless metadata, sidecar or levels say otherwise.
    pub(super) fn name_true_times(&mut self, frames: &mut [Judged]) {
        let mut modes: BTreeMap<ModeKey, Vec<&mut Judged>> = BTreeMap::new();
        for frame in frames {
            modes.entry(frame.mode.clone()).or_default().push(frame);
        }
        for (mode, mut frames) in modes {
            let named = |frame: &&&mut Judged| frame.named_time;
            let times: Vec<Seconds> = frames.iter().filter(named).map(|frame| frame.info.exposure).collect();
            let surely = frames.iter().filter(named).all(|frame| frame.raw_file);
            let Some(ladder) = Ladder::from_times(&times).filter(|_| surely || several(&times)) else { continue };
            if shutter::names_are_true(ladder, &lit(&frames)) == Some(true) {
                continue;
            }
            let mut moved: Option<(Seconds, Seconds)> = None;
            for frame in frames.iter_mut().filter(|frame| frame.named_time) {
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
}

/// Enough different times that no chance puts them all on a camera's ladder.
fn several(times: &[Seconds]) -> bool {
    let different: BTreeSet<u64> = times.iter().filter(|time| time.0 > 0.0).map(|time| time.0.to_bits()).collect();
    different.len() >= 5
}

/// Named times and levels of the flats of a mode that do not saturate, above the darkest frame of the mode.
fn lit(frames: &[&mut Judged]) -> Vec<(Seconds, f64)> {
    let levels = |dark: bool| {
        frames
            .iter()
            .filter(move |frame| (frame.info.kind == FrameKind::Flat) != dark && frame.info.kind != FrameKind::Light)
            .filter_map(|frame| Some((frame, frame.strip_statistics?)))
    };
    let dark = levels(true).map(|(_, strip_statistics)| strip_statistics.mean.0).min_by(f64::total_cmp);
    let Some(dark) = dark else { return Vec::new() };
    let unsaturated =
        levels(false).filter(|(frame, strip_statistics)| frame.named_time && strip_statistics.top_share < 0.01);
    unsaturated.map(|(frame, strip_statistics)| (frame.info.exposure, strip_statistics.mean.0 - dark)).collect()
}

/// `1/64 s` or `32 s`.
fn time_in_words(time: Seconds) -> String {
    let round = |value: f64| format!("{}", (value * 10.0).round() / 10.0);
    if time.0 < 0.3 { format!("1/{} s", round(1.0 / time.0)) } else { format!("{} s", round(time.0)) }
}
