//! What darks cannot tell: where they saturate, and where steps or their few exposures hide the rate.

use crate::stats::{Estimate, Histogram};

use super::current::{Anchor, DarkFrame};
use super::levels::LevelFit;

/// Fewer pixels than this near the top of a dark are no pile.
const FEWEST_PILED: u64 = 5;
/// No well is full this few DN above the level without light.
const LOWEST_WELL: f64 = 200.0;
/// What saturated pixels would have held beyond is at most so many times what they hold: hot pixels' rates span decades
/// (common practice, no source).
const LOST_TIMES_HELD: f64 = 10.0;
/// Between bias frames and darks the level may step by so many DN (common practice, no source).
const POSSIBLE_STEP_DN: f64 = 20.0;

/// A slope between ends each of which the converter's steps may move by up to `amplitude`, `span` seconds apart.
pub(super) fn hidden_by(amplitude: f64, span: f64, slope: Estimate<f64>) -> Estimate<f64> {
    if amplitude <= 0.0 {
        return slope;
    }
    let (low, high) = slope.interval();
    let half = ((high - low) / 2.0).hypot(2.0 * amplitude / span);
    Estimate::new(slope.value, slope.uncertainty.hypot(amplitude / span)).with_half_interval(half)
}

/// A slope from frames in which saturated pixels hold the share `lost` of the signal: it may be larger by many times that.
pub(super) fn lacking(slope: Estimate<f64>, lost: f64) -> Estimate<f64> {
    if lost <= 0.0 {
        return slope;
    }
    let (low, high) = slope.interval();
    let more = LOST_TIMES_HELD * lost * slope.value.abs();
    let uncertainty = slope.uncertainty.hypot(more / 2.0);
    Estimate { interval_95: Some((low, high + more)), ..Estimate::new(slope.value, uncertainty) }
}

/// Whether the uncertainty of a rate is one that the levels could not refute by themselves: with a dark current of one
/// uncertainty, the longest darks would be as far above the bias frames as they are, and some.
pub(super) fn is_determined(fit: &LevelFit, frames: &[DarkFrame], anchor: Anchor) -> bool {
    let Some(longest) = frames.iter().max_by(|a, b| a.exposure.0.total_cmp(&b.exposure.0)) else { return false };
    let without = if anchor.is_of_bias { anchor.offset.value.0 } else { 0.0 };
    let room = (longest.mean - without).abs() + POSSIBLE_STEP_DN + 5.0 * anchor.level_scatter;
    fit.slope.value.is_finite() && fit.slope.uncertainty * longest.exposure.0 < room
}

/// The code from which on hot pixels pile up at the well: the top 3 % of the range above the
/// offset holds more than twice as many pixels as the 9 % below it. A tail without a well thins
/// out towards its end instead.
pub(super) fn saturation_pileup(codes: &Histogram, offset: f64) -> Option<f64> {
    let top = codes.occupied().next_back().map(|(code, _)| f64::from(code))? - offset;
    let above = |share: f64| {
        let bright = codes.occupied().rev().take_while(|(code, _)| f64::from(*code) - offset >= share * top);
        bright.map(|(_, count)| u64::from(count)).sum::<u64>()
    };
    let (piled, tail) = (above(0.97), above(0.88));
    // Where three hundredths of the range are few codes, the tail of plain noise ends in one of them.
    (top >= LOWEST_WELL && piled >= FEWEST_PILED && piled > 2 * (tail - piled)).then_some(offset + 0.97 * top)
}
