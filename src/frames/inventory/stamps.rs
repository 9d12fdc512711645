//! Kinds that a capture program stamps whatever it takes: "Light Frame" on a flat. Folders and pixels know better.

use std::collections::BTreeMap;

use super::{Inventory, Judged};
use crate::caveat::Caveat;
use crate::frames::{FrameKind, ModeKey};

/// A frame this many times the pixel noise above the darkest of its mode has seen light.
const LIT_SIGMAS: f64 = 20.0;
/// A frame within so many times the noise of the darkest has not.
const DARK_SIGMAS: f64 = 3.0;
/// No bias frame is exposed longer.
pub(super) const LONGEST_BIAS_S: f64 = 0.5;

/// The darkest frame of a mode: level and noise of its pixels.
type Darkest = (f64, f64);

impl Inventory {
    /// Believes the place of a frame before its header where the pixels speak for the place, or where every header says
    /// the same, whatever lies in which folder.
    pub(super) fn settle_stamps(&mut self, frames: &mut [Judged]) {
        let constant = constant_stamp(frames);
        let mut darkest: BTreeMap<ModeKey, Darkest> = BTreeMap::new();
        // Of frames whose kind nobody doubts; where every header says the same, of all.
        let sound =
            |frame: &&Judged| constant.is_some() || (frame.contradicted.is_none() && frame.info.kind.is_unlit());
        let strips = frames.iter().filter(sound).filter_map(|frame| Some((&frame.mode, frame.strip_statistics?)));
        for (mode, strip) in strips {
            let own = (strip.mean.0, strip.noise_or_half_a_step());
            let known = darkest.entry(mode.clone()).or_insert(own);
            if own.0 < known.0 {
                *known = own;
            }
        }
        let mut settled: BTreeMap<(FrameKind, FrameKind, String), Vec<String>> = BTreeMap::new();
        for frame in frames.iter_mut() {
            let Some((place, words)) = frame.contradicted.clone() else { continue };
            if !frame.speaks_for(place, darkest.get(&frame.mode), constant) {
                continue;
            }
            settled.entry((frame.info.kind, place, frame.info.why.clone())).or_default().push(frame.info.file.clone());
            frame.info.kind = place;
            frame.info.why = words;
            frame.contradicted = None;
        }
        for ((said, place, why), files) in settled {
            let why_not = if constant == Some(said) { "every header says so" } else { "the pixels agree" };
            let about =
                if files.len() == 1 { files[0].clone() } else { format!("{} and {} more", files[0], files.len() - 1) };
            let message = format!("the {why} says {said}, the place {place}: the place was believed, since {why_not}");
            let hint = "if the header is right, say so in sidecar.csv (columns file, kind) beside the frames";
            self.caveats.push(Caveat::new("conflicting-kind", message, hint).about(about));
        }
    }
}

/// The kind that all headers name, where folders name several: it is the program's word for everything.
fn constant_stamp(frames: &[Judged]) -> Option<FrameKind> {
    let mut stamped = frames.iter().filter(|frame| frame.kind_in_header && !frame.certain);
    let first = stamped.next()?.info.kind;
    let same = stamped.all(|frame| frame.info.kind == first);
    let mut places: Vec<FrameKind> =
        frames.iter().filter_map(|frame| frame.contradicted.as_ref()).map(|(place, _)| *place).collect();
    places.sort_unstable();
    places.dedup();
    (same && places.len() > 1).then_some(first)
}

impl Judged {
    /// Whether the frame is rather what its place says than what its header says.
    fn speaks_for(&self, place: FrameKind, darkest: Option<&Darkest>, constant: Option<FrameKind>) -> bool {
        let above = self.strip_statistics.zip(darkest).map(|(strip, (level, noise))| (strip.mean.0 - level) / noise);
        let lit = above.map(|sigmas| sigmas > LIT_SIGMAS);
        let unlit = above.map(|sigmas| sigmas < DARK_SIGMAS);
        let stamped = constant == Some(self.info.kind);
        let even = self.strip_statistics.is_none_or(|strip| strip.is_even());
        let time = self.info.exposure.0;
        match (self.info.kind, place) {
            (FrameKind::Bias, FrameKind::Dark | FrameKind::DarkFlat) => stamped || time > LONGEST_BIAS_S,
            (FrameKind::Dark | FrameKind::DarkFlat, FrameKind::Bias) => stamped && time <= LONGEST_BIAS_S,
            (FrameKind::Bias | FrameKind::Dark | FrameKind::DarkFlat, FrameKind::Flat) => stamped || lit == Some(true),
            // A word for everything says nothing of a faint flat; one that has no light at all is left out later.
            (FrameKind::Light, FrameKind::Flat) => stamped || even && lit == Some(true),
            (FrameKind::Flat | FrameKind::Light, FrameKind::Bias) => {
                stamped && lit != Some(true) || unlit == Some(true)
            }
            (FrameKind::Flat | FrameKind::Light, FrameKind::Dark | FrameKind::DarkFlat) => {
                stamped || unlit == Some(true)
            }
            _ => stamped,
        }
    }
}
