//! What darks cannot tell: where they saturate, and where steps or their few exposures hide the rate.

use crate::stats::{Estimate, Histogram};
use crate::units::{Quantity, Seconds};

use super::anchor::Anchor;
use super::current::{DarkFrame, same_exposure};
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
    larger_by(slope, LOST_TIMES_HELD * lost * slope.value.abs())
}

/// An estimate that may be larger by up to `more`.
fn larger_by<Q: Quantity>(estimate: Estimate<Q>, more: f64) -> Estimate<Q> {
    let (low, high) = estimate.interval();
    let uncertainty = Q::new(estimate.uncertainty.get().hypot(more / 2.0));
    Estimate { uncertainty, ..estimate.with_interval((low, high + more)) }
}

/// A slope that is off by an unseen error of this standard deviation as well.
pub(super) fn loosened(slope: Estimate<f64>, sigma: f64) -> Estimate<f64> {
    let (low, high) = slope.interval();
    let end = |end: f64, sign: f64| slope.value + sign * (end - slope.value).hypot(1.96 * sigma);
    Estimate {
        interval_95: Some((end(low, -1.0), end(high, 1.0))),
        ..Estimate::new(slope.value, slope.uncertainty.hypot(sigma))
    }
}

/// Hot pixels may hold as much as all others do (common practice, no source; of the mean of a cooled CCD's darks a fifth to a
/// quarter).
const HOT_PIXELS_HOLD: f64 = 1.0;

/// A rate of frames without their hot pixels: it may be larger by what they hold.
pub(crate) fn without_hot_pixels<Q: Quantity>(rate: Estimate<Q>) -> Estimate<Q> {
    larger_by(rate, HOT_PIXELS_HOLD * rate.value.get().max(0.0))
}

/// A slope of levels whose pixels are cut off at the dark side, a share of them between `shares` in all frames: a pixel that is cut
/// off does not rise, so the slope is the true one times the share of the others.
///
/// ```text
/// dE[max(x, 0)] / dμ = P(x > 0)
/// ```
///
/// Derived here; it holds for any noise that the charge only moves.
pub(super) fn cut_off(slope: Estimate<f64>, [least, most]: [f64; 2]) -> Estimate<f64> {
    if most <= 0.0 || most >= 1.0 {
        return slope;
    }
    let (low, high) = slope.interval();
    let [from, to] = [1.0 / (1.0 - least), 1.0 / (1.0 - most)];
    let [value, apart] = [slope.value * (from + to) / 2.0, (to - from) / 12.0_f64.sqrt()];
    let ends = [low * from, low * to, high * from, high * to];
    let (low, high) = ends.into_iter().fold((value, value), |(low, high), end| (low.min(end), high.max(end)));
    Estimate {
        interval_95: Some((low, high)),
        ..Estimate::new(value, (slope.uncertainty * to).hypot(slope.value.abs() * apart))
    }
}

/// A gain that firmware changes with the level is another by about this share (common practice, no source).
pub(crate) const OTHER_GAIN: f64 = 0.05;

/// DN by which the shortest darks lie off the bias frames beyond what their time explains and beyond the step that cameras make.
pub(super) fn level_jump(fit: &LevelFit, frames: &[DarkFrame], anchor: Anchor) -> Option<f64> {
    let shortest = frames.iter().map(|frame| frame.exposure.0).fold(f64::INFINITY, f64::min);
    let of_shortest = || frames.iter().filter(|frame| frame.exposure.0 <= 1.001 * shortest).map(|frame| frame.mean);
    let level = of_shortest().sum::<f64>() / of_shortest().count().max(1) as f64 - anchor.offset.value.0;
    let most = fit.slope.interval().1.max(0.0) * shortest;
    let possible = POSSIBLE_STEP_DN + 5.0 * anchor.level_scatter;
    let jump = if level > 0.0 { (level - most).max(0.0) } else { level };
    (jump.abs() > possible && jump.is_finite()).then_some(jump)
}

/// A slope in DN of frames whose level jumped against the bias frames': the gain may have moved with it.
pub(super) fn of_other_gain(slope: Estimate<f64>, jump: Option<f64>) -> Estimate<f64> {
    jump.map_or(slope, |_| loosened(slope, OTHER_GAIN * slope.value.abs()))
}

/// The least and the greatest share of pixels at the code where the dark side is cut off.
pub(super) fn cut_shares(frames: &[DarkFrame], anchor: Anchor) -> [f64; 2] {
    let Some(floor) = anchor.floor else { return [0.0; 2] };
    let shares = frames.iter().map(|frame| if frame.lowest.0 == floor { frame.lowest.1 } else { 0.0 });
    let (least, most) = shares.fold((1.0_f64, 0.0_f64), |(least, most), share| (least.min(share), most.max(share)));
    [least.min(most), most]
}

/// The different exposure times of frames, rising.
pub(super) fn exposures(frames: &[DarkFrame]) -> Vec<Seconds> {
    let mut exposures: Vec<Seconds> = frames.iter().map(|frame| frame.exposure).collect();
    exposures.sort_by(|a, b| a.0.total_cmp(&b.0));
    exposures.dedup_by(|a, b| same_exposure(*a, *b));
    exposures
}

/// Whether the uncertainty of a rate is one that the levels could not refute by themselves: with a dark current of one
/// uncertainty, the longest darks would be as far above the bias frames as they are, and some.
pub(super) fn is_determined(fit: &LevelFit, frames: &[DarkFrame], anchor: Anchor) -> bool {
    let Some(longest) = frames.iter().max_by(|a, b| a.exposure.0.total_cmp(&b.exposure.0)) else { return false };
    let without = if anchor.is_of_bias { anchor.offset.value.0 } else { 0.0 };
    let room = (longest.mean - without).abs() + POSSIBLE_STEP_DN + 5.0 * anchor.level_scatter;
    fit.slope.value.is_finite() && fit.slope.uncertainty * longest.exposure.0 < room
}

/// Bits of converters (common practice, no source).
const BITS: [u32; 5] = [10, 11, 12, 13, 14];

/// The highest code of the converter where a pixel is at it; codes may be padded to 16 bits.
pub(super) fn converter_end(codes: &Histogram) -> Option<f64> {
    let highest = codes.occupied().next_back().map(|(code, _)| code)?;
    let is_end = |bits: &u32| (0..=16 - bits).any(|padded| ((1_i32 << bits) - 1) << padded == highest);
    BITS.iter().any(is_end).then(|| f64::from(highest))
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
