//! Are the frames what they were called? Darks with light on them, flats with stars in them.

use ndarray::ArrayView2;

use crate::caveat::Caveat;
use crate::units::ElectronsPerDn;

use crate::sensor::dark::current::DarkStage;
use crate::sensor::row_blocks;
use crate::sensor::stack::plane_codes;

/// At most this many rows in the middle of a flat are looked at for stars.
const ROWS: usize = 1024;
/// A pixel is brighter than a flat explains this many sigmas of its dark side above the median.
const STAR_SIGMAS: f64 = 8.0;
/// Stars hold at least this share of the charge and of the pixels.
const STAR_CHARGE: f64 = 0.005;
const STAR_PIXELS: f64 = 1e-4;
/// No sensor has so much dark current, in e⁻/s (about ten times a warm, large-pixelled one; common practice, no source).
const NO_DARK_E_PER_S: f64 = 200.0;
/// A dark with so much of the full range on it has seen light, if it came so fast.
const NO_DARK_SHARE: f64 = 0.03;

/// The share of the charge of a flat that is in pixels far brighter than its others; `None` where there are few.
pub(crate) fn stars(plane: ArrayView2<'_, u16>, offset: f64) -> Option<f64> {
    let rows = plane.nrows();
    let top = rows.saturating_sub(ROWS) / 2;
    let codes = plane_codes(row_blocks::cut(plane, top..(top + ROWS).min(rows)));
    let (median, low) = (codes.quantile(0.5)?, codes.quantile(0.1587)?);
    let limit = median + STAR_SIGMAS * (median - low).max(1.0);
    let (mut bright, mut excess) = (0.0, 0.0);
    for (code, count) in codes.occupied().rev().take_while(|(code, _)| f64::from(*code) > limit) {
        bright += f64::from(count);
        excess += f64::from(count) * (f64::from(code) - median);
    }
    let total = codes.total() as f64;
    let share = excess / (total * (median - offset).max(1.0));
    (bright > STAR_PIXELS * total && share > STAR_CHARGE).then_some(share)
}

/// The doubt about a flat of which the share `charge` is in stars.
pub(crate) fn starry(charge: f64) -> Caveat {
    Caveat::new(
        "conflicting-kind",
        format!(
            "{:.1} % of the light of a flat is in few, far brighter pixels: these are lights with stars, or damaged",
            100.0 * charge
        ),
        "check that the flats are flats: even light, no stars",
    )
}

/// The doubt about darks whose level is that of light; `full` is the range in DN above `offset`.
pub(crate) fn lit_dark(stage: &DarkStage, offset: f64, full: f64, gain: ElectronsPerDn) -> Option<Caveat> {
    let rate =
        |frame: &crate::sensor::dark::current::DarkFrame| (frame.mean - offset) * gain.0 / frame.exposure.0.max(1e-6);
    let lit = |frame: &&crate::sensor::dark::current::DarkFrame| {
        frame.mean - offset > NO_DARK_SHARE * full && rate(frame) > NO_DARK_E_PER_S
    };
    let frame = stage.frames.iter().find(lit)?;
    Some(Caveat::new(
        "conflicting-kind",
        format!(
            "a dark of {} s has {:.0} % of the full range on it, {:.0} e-/s: it has seen light, or is a flat",
            frame.exposure.0,
            100.0 * (frame.mean - offset) / full,
            rate(frame)
        ),
        "check that the darks are darks: cap on, no light leak",
    ))
}
