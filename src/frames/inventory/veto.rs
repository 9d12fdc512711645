//! Frames that cannot be what they are said to be, and what contradicts them.

use std::collections::BTreeMap;

use super::{Inventory, Judged};
use crate::caveat::{Caveat, Rejected};
use crate::frames::group::TEMPERATURE_GAP_C;
use crate::frames::{FrameKind, ModeKey, StripStatistics, same_exposure};

/// A frame this many times its like's pixel noise above their level is lit, not read.
const LIT_SIGMAS: f64 = 20.0;
/// A flat must stand at least this many times the pixel noise above the frames without light.
const UNLIT_SIGMAS: f64 = 0.1;
/// So many frames have to agree before one may be called odd.
const LEAST_PEERS: usize = 2;

impl Inventory {
    pub(super) fn note_contradictions(&mut self, frames: &[Judged]) {
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
    pub(super) fn veto(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
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
    pub(super) fn same_row_order(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
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
}

impl Judged {
    /// Why the pixels cannot be those of the kind that the frame is said to be, if they cannot.
    fn doubt(&self, all: &[Self]) -> Option<String> {
        let strip_statistics = self.strip_statistics.filter(|_| !self.certain)?;
        match self.info.kind {
            FrameKind::Flat => self.unlit(&strip_statistics, all),
            FrameKind::Bias | FrameKind::Dark | FrameKind::DarkFlat => self.lit(&strip_statistics, all),
            FrameKind::Light => None,
        }
    }

    fn unlit(&self, strip_statistics: &StripStatistics, all: &[Self]) -> Option<String> {
        let dark = |frame: &&Self| match frame.info.kind {
            FrameKind::Bias => true,
            FrameKind::Dark | FrameKind::DarkFlat => frame.info.exposure.0 <= self.info.exposure.0.max(1.0),
            FrameKind::Flat | FrameKind::Light => false,
        };
        let (level, noise) = self.usual(all, dark)?;
        (strip_statistics.mean.0 - level < UNLIT_SIGMAS * noise).then(|| {
            let mean = strip_statistics.mean.0;
            format!(
                "it is said to be a flat ({}), but at {mean:.1} DN is as dark as the frames without light",
                self.info.why
            )
        })
    }

    fn lit(&self, strip_statistics: &StripStatistics, all: &[Self]) -> Option<String> {
        let like = |frame: &&Self| {
            let warm = match (frame.info.sensor, self.info.sensor) {
                (Some(other), Some(own)) => (other.0 - own.0).abs() > TEMPERATURE_GAP_C,
                _ => false,
            };
            // Darks of a warmer sensor are brighter, and right.
            !warm && frame.info.kind == self.info.kind && same_exposure(frame.info.exposure, self.info.exposure)
        };
        let (level, noise) = self.usual(all, like)?;
        (strip_statistics.mean.0 - level > LIT_SIGMAS * noise).then(|| {
            let (kind, why, mean) = (self.info.kind, &self.info.why, strip_statistics.mean.0);
            let how = if strip_statistics.is_even() { "evenly lit, as a flat is" } else { "far brighter than they" };
            format!(
                "it is said to be a {kind} ({why}), but at {mean:.1} DN against {level:.1} DN of its like it is {how}"
            )
        })
    }

    /// Median level and pixel noise of the other frames of this mode that `choose` takes, if they are enough.
    fn usual(&self, all: &[Self], choose: impl Fn(&&Self) -> bool) -> Option<(f64, f64)> {
        let others = all.iter().filter(|frame| frame.mode == self.mode && frame.info.file != self.info.file);
        let glances: Vec<StripStatistics> = others.filter(choose).filter_map(|frame| frame.strip_statistics).collect();
        let middle = |read: fn(&StripStatistics) -> f64| {
            let mut values: Vec<f64> = glances.iter().map(read).collect();
            values.sort_by(f64::total_cmp);
            // The lower of two middles: one bright frame of two must not set the level.
            values.get(values.len().saturating_sub(1) / 2).copied()
        };
        if glances.len() < LEAST_PEERS {
            return None;
        }
        Some((
            middle(|strip_statistics| strip_statistics.mean.0)?,
            middle(|strip_statistics| strip_statistics.noise.0)?.max(0.5),
        ))
    }
}
