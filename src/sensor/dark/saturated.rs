//! Darks in which pixels saturate: which exposures do without them, and what they hold in the others.

use crate::units::Seconds;

use super::anchor::Anchor;
use super::current::{DarkFrame, DarkStage};
use super::limits::exposures;

/// Saturated pixels that hold more of a frame's dark signal than this bend the slope.
const SATURATED_SHARE: f64 = 0.01;
/// What they hold of the worst darks that makes a single exposure without any the better one.
const MUCH: f64 = 0.1;

/// Exposures in which saturated pixels hold much of the dark signal.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SaturatedDarks {
    /// The shortest of them.
    pub from: Seconds,
    /// Whether enough others were there to do without them.
    pub left_out: bool,
    /// What saturated pixels hold of the dark signal in the worst of those that count.
    pub share: f64,
    /// The share of the pixels that are saturated in the worst of those that count.
    pub pixels: f64,
}

impl DarkStage {
    /// Exposures in which saturated pixels hold more than a hundredth of the dark signal: what they
    /// would have held beyond is lost. They are left out where two other exposures remain, or one beside bias
    /// frames where they hold much.
    pub(super) fn saturated(&self, anchor: Anchor) -> Option<SaturatedDarks> {
        let bent = self.frames.iter().filter(|frame| frame.saturated_share > SATURATED_SHARE);
        let from = bent.map(|frame| frame.exposure).min_by(|a, b| a.0.total_cmp(&b.0))?;
        let shorter: Vec<DarkFrame> = self.frames.iter().filter(|frame| frame.exposure.0 < from.0).copied().collect();
        // One exposure tells less than several that lack a little.
        let lacks = self.frames.iter().map(|frame| frame.saturated_share).fold(0.0, f64::max);
        let needed = if anchor.is_of_bias && lacks > MUCH { 1 } else { 2 };
        let left_out = exposures(&shorter).len() >= needed;
        let counted = if left_out { &shorter } else { &self.frames };
        let share = counted.iter().map(|frame| frame.saturated_share).fold(0.0, f64::max);
        let pixels = counted.iter().map(|frame| frame.saturated_pixels).fold(0.0, f64::max);
        Some(SaturatedDarks { from, left_out, share, pixels })
    }
}
