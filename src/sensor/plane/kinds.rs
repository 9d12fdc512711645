//! Are the frames what they were called? Darks with light on them, flats with stars in them.

use ndarray::ArrayView2;

use crate::camera::DarkCurrentPoint;
use crate::caveat::Caveat;
use crate::units::{ElectronsPerDn, Seconds};

use crate::sensor::dark::current::DarkStage;
use crate::sensor::dark::read_noise::ReadNoise;
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

/// Bias frames are brighter than darks by so many times the scatter of their levels where they saw light, …
const LIT_SCATTERS: f64 = 5.0;
/// … noisier by so many uncertainties …
const LIT_SIGMAS: f64 = 3.0;
/// … and by this part of the shot noise that so much light has.
const LIT_SHOT: std::ops::Range<f64> = 0.5..2.0;
/// So much of the darks' charge is counted: one may be some kelvins colder than its stage.
const HALF: f64 = 0.5;

/// How many DN of light the bias frames have on them: without half of their charge the darks of no stage are as bright, and less noisy by
/// the shot noise of that light; `points` are the stages' rates.
///
/// ```text
/// V_bias − V_dark + D t / 2K² = L / K,    L = offset − level + D t / 2K
/// ```
///
/// Light adds both level and noise; a black level that moves adds no noise.
pub(crate) fn light_on_biases(
    zero: &ReadNoise,
    stages: &[DarkStage],
    points: &[DarkCurrentPoint],
    gain: ElectronsPerDn,
) -> Option<f64> {
    let without_charge = |stage: &DarkStage| {
        let (exposure, level, noise) = stage.shortest_pair()?;
        let rate = points.iter().find(|point| point.sensor_c == stage.sensor)?.e_per_s;
        let charge = HALF * rate.value.0.max(0.0) * exposure.0 / gain.0;
        let sigma = noise.uncertainty.hypot(rate.uncertainty.0 * exposure.0 / gain.0.powi(2));
        Some((level - charge, noise.value - charge / gain.0, sigma))
    };
    let (level, noise, sigma) = stages.iter().filter_map(without_charge).min_by(|a, b| a.0.total_cmp(&b.0))?;
    let light = zero.offset.value.0 - level;
    let noisier = zero.variance.value - noise;
    let sigma = zero.variance.uncertainty.hypot(sigma);
    let seen = light > LIT_SCATTERS * zero.level_scatter.max(zero.offset.uncertainty.0) && noisier > LIT_SIGMAS * sigma;
    (seen && LIT_SHOT.contains(&(noisier * gain.0 / light))).then_some(light)
}

/// The doubt about bias frames with so many DN of light on them.
pub(crate) fn lit_biases(light: f64) -> Caveat {
    Caveat::new(
        "conflicting-kind",
        format!(
            "the bias frames are {light:.1} DN brighter than the darks, and noisier by what so much light adds: they saw light; the \
             read noise is at most what is given"
        ),
        "take the bias frames again, cap on and in the dark",
    )
}

/// The doubt about darks that all are too short to have gathered charge, the longest of so many seconds.
pub(crate) fn short_darks(longest: Seconds) -> Caveat {
    Caveat::new(
        "dark-current-undetermined",
        format!("no dark is longer than {} s: they are too short to show a dark current, and none is given", longest.0),
        "take darks as long as your lights, and some of a fifth of that",
    )
}

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
