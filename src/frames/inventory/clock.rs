//! Exposures that cannot be: longer than a day, longer than the time until the next frame, or none at all.

use std::collections::BTreeMap;

use super::stamps::LONGEST_BIAS_S;
use super::{Inventory, Judged};
use crate::caveat::{Caveat, Rejected};
use crate::frames::{FrameKind, ModeKey, same_exposure, seconds_of};

/// Nobody exposes a dark for longer than a day.
const LONGEST_S: f64 = 86_400.0;
/// A frame that begins after less than this share of the exposure of the one before it …
const TOO_SOON: f64 = 0.5;
/// … says nothing of exposures shorter than this: clocks in headers are whole seconds, and some whole minutes.
const SHORTEST_S: f64 = 5.0;
/// So many pairs of frames have to agree.
const LEAST_PAIRS: usize = 2;

impl Inventory {
    /// Leaves out darks whose exposure cannot be: their rates would be wrong by as much.
    pub(super) fn without_impossible_times(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
        let too_soon = too_soon(&frames);
        let (mut kept, mut left_out) = (Vec::new(), BTreeMap::<String, Vec<String>>::new());
        for frame in frames {
            let is_dark = matches!(frame.info.kind, FrameKind::Dark | FrameKind::DarkFlat);
            let seconds = frame.info.exposure.0;
            let reason = if !is_dark {
                None
            } else if seconds > LONGEST_S {
                Some(format!("it is said to be exposed for {seconds:.3e} s, longer than a day"))
            } else {
                too_soon.get(&frame.mode).filter(|_| seconds > SHORTEST_S).map(|[exposure, gap]| {
                    format!(
                        "darks that are said to be exposed for {exposure} s begin {gap:.1} s after one another: are these \
                         milliseconds?"
                    )
                })
            };
            match reason {
                Some(reason) => left_out.entry(reason).or_default().push(frame.info.file),
                None => kept.push(frame),
            }
        }
        for (reason, files) in left_out {
            let about =
                if files.len() == 1 { files[0].clone() } else { format!("{} and {} more", files[0], files.len() - 1) };
            let hint = "write the true exposures in sidecar.csv (columns file, exposure_s) beside the frames";
            self.caveats.push(Caveat::new("exposure-doubtful", format!("{reason}; left out"), hint).about(about));
            let rejected = |file| Rejected { file, code: "exposure-doubtful".into(), reason: reason.clone() };
            self.rejected.extend(files.into_iter().map(rejected));
        }
        kept
    }

    /// Bias frames that are exposed for longer than one is: they are believed, and hold the dark current of that time.
    pub(super) fn note_long_biases(&mut self, frames: &[Judged]) {
        let long = |frame: &&Judged| frame.info.kind == FrameKind::Bias && frame.info.exposure.0 > LONGEST_BIAS_S;
        let longest = frames.iter().filter(long).map(|frame| frame.info.exposure.0).fold(0.0, f64::max);
        let said = format!(
            "bias frames say an exposure of {longest} s: read noise and offset hold the dark current of that time"
        );
        let hint =
            "take bias frames of the shortest time, or say in sidecar.csv (columns file, kind) that these are darks";
        self.note_exposures(frames.iter().filter(long), &said, hint);
    }

    /// Darks of 0 s: they hold no dark current, or their time was lost.
    pub(super) fn note_darks_without_time(&mut self, frames: &[Judged]) {
        let without = |frame: &&Judged| frame.info.kind == FrameKind::Dark && frame.info.exposure.0 <= 0.0;
        let said = "dark frames say an exposure of 0 s: they count as frames without time, and give no dark current";
        let hint =
            "if they were exposed, write their times in sidecar.csv (columns file, exposure_s) beside the frames";
        self.note_exposures(frames.iter().filter(without), said, hint);
    }

    /// A doubt about the exposures of some frames, if there are any.
    fn note_exposures<'a>(&mut self, mut frames: impl Iterator<Item = &'a Judged>, said: &str, hint: &str) {
        let Some(first) = frames.next() else { return };
        let message = format!("{} {said}", 1 + frames.count());
        self.caveats.push(Caveat::new("exposure-doubtful", message, hint).about(&first.info.file));
    }
}

/// For each mode whose darks follow each other faster than they are said to last: such an exposure, and the time to the next.
///
/// Frames of one exposure begin at least that exposure after one another, whatever moment of it a header names.
fn too_soon(frames: &[Judged]) -> BTreeMap<ModeKey, [f64; 2]> {
    let mut series: BTreeMap<&ModeKey, Vec<(f64, &Judged)>> = BTreeMap::new();
    for frame in frames.iter().filter(|frame| frame.info.kind == FrameKind::Dark) {
        let at = frame.info.taken.as_deref().and_then(seconds_of);
        series.entry(&frame.mode).or_default().extend(at.map(|at| (at, frame)));
    }
    let mut found = BTreeMap::new();
    for (mode, mut darks) in series {
        darks.sort_by(|a, b| a.0.total_cmp(&b.0));
        let pairs: Vec<[f64; 2]> = darks
            .windows(2)
            .filter(|pair| same_exposure(pair[0].1.info.exposure, pair[1].1.info.exposure))
            .map(|pair| [pair[0].1.info.exposure.0, pair[1].0 - pair[0].0])
            // Frames of one moment have no clock.
            .filter(|[exposure, gap]| *exposure > SHORTEST_S && *gap > 0.0)
            .collect();
        let soon: Vec<&[f64; 2]> = pairs.iter().filter(|[exposure, gap]| *gap < TOO_SOON * exposure).collect();
        if soon.len() >= LEAST_PAIRS && 2 * soon.len() > pairs.len() {
            found.insert(mode.clone(), *soon[0]);
        }
    }
    found
}
