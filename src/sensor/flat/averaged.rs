//! Frames that are means of several: they hold less noise than one frame of their light.
//!
//! Some flats among others are seen by their own noise for their level; all flats, or all bias frames, by where the curve
//! through the flats alone meets the level without light.
//!
//! Where all flats are means of N and none is so dim that its read noise shows, nothing in the counts tells it: the mean of N
//! Poisson numbers λ, in counts of g electrons, has the cumulants `κₖ = λ N (N g)⁻ᵏ` for all k, which are those of single frames of
//! a camera of N times the gain and N times the charge. Only what was done to write them does (codes between the steps, halves that are
//! rounded to even numbers: `codes.rs`), or what is known beside them: the gain in the header, or one that is typed.

use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::stats::birge_ratio;

use super::transfer::{Level, likelihood_fit};
use crate::sensor::MeasureError;
use crate::sensor::dark::read_noise::ReadNoise;

/// A pair speaks of its noise for its level where that is known to this part.
const KNOWN: f64 = 0.07;
/// Pairs with less noise than the rest by this factor are means of two frames or more, or one frame of them is.
const QUIETER: f64 = 1.45;
/// So many pairs have to agree that they are single frames.
const FEWEST_SINGLE: usize = 2;
/// Fewer levels than this show no noise without light.
const FEWEST_LEVELS: usize = 4;
/// What the curve says of no light and what bias frames say must part by so many uncertainties …
const SIGMAS: f64 = 5.0;
/// … and by this factor: of two frames' mean it is 2.
const FACTOR: f64 = 1.6;
/// A curve is a quadratic to this part of the noise of the dimmest flats (judgement, no source).
const SHAPE: f64 = 0.003;
/// Residuals beyond this many times what noise explains are those of another curve.
const POOR: f64 = 4.0;

/// Which of the pairs of flats have less noise for their level than others of like light, and by what factor; `None` where
/// none has. `dark` is the variance without light in DN².
///
/// ```text
/// k = (V − V0) / μ
/// ```
///
/// falls by a few percent over a sound sensor's range; between single frames and means of N it jumps by N.
pub(crate) fn quieter(levels: &[(bool, Level)], dark: f64) -> Option<(Vec<usize>, f64)> {
    let slope = |level: &Level| (level.variance - dark) / level.mean.0;
    let known = |level: &Level| level.relative.sqrt() * level.variance < KNOWN * (level.variance - dark);
    let mut slopes: Vec<(usize, f64)> = (levels.iter().enumerate())
        .filter(|(_, (sound, level))| *sound && known(level))
        .map(|(place, (_, level))| (place, slope(level)))
        .collect();
    slopes.sort_by(|a, b| b.1.total_cmp(&a.1));
    let (single, rest) = slopes.split_at(slopes.windows(2).position(|two| two[0].1 > QUIETER * two[1].1)? + 1);
    let mean = |places: &[(usize, f64)], pick: fn(f64, f64) -> f64| {
        places.iter().map(|(place, _)| levels[*place].1.mean.0).reduce(pick).unwrap_or(0.0)
    };
    // A well that is full is quiet too, but only above all others.
    let alike = mean(rest, f64::min) < mean(single, f64::max);
    let factor = single[single.len() / 2].1 / rest[rest.len() / 2].1;
    (single.len() >= FEWEST_SINGLE && alike).then(|| (rest.iter().map(|(place, _)| *place).collect(), factor))
}

/// Of how many frames the flats would have to be means, for their curve to meet the noise of the bias frames: above 1 where the
/// flats are averaged, below 1 where the bias frames are; `None` where both are as single as each other, as far as one can tell.
///
/// ```text
/// N = V0 / V(μ = 0),    V the quadratic through the flats alone
/// ```
pub(crate) fn frames_in_each(flats: &[Level], zero: &ReadNoise) -> Option<f64> {
    let dimmest = flats.iter().map(|level| level.variance).reduce(f64::min)?;
    if flats.len() < FEWEST_LEVELS || zero.hidden {
        return None;
    }
    let fit = likelihood_fit(flats)?;
    if fit.chi2 > POOR * fit.freedom.max(1) as f64 {
        return None;
    }
    let (own, dark) = (fit.coefficients[0], zero.variance.value);
    let sigma = (fit.sigma(0) * birge_ratio(fit.chi2, fit.freedom))
        .hypot(zero.variance.uncertainty)
        .hypot(zero.variance_scatter.sqrt())
        .hypot(SHAPE * dimmest);
    // Without light no variance is below 0; one that is at 0 is of very many frames.
    let ratio = dark / own.max(sigma).max(1e-9);
    let apart = (own - dark).abs() > SIGMAS * sigma;
    (apart && own > -2.0 * sigma && !(1.0 / FACTOR..=FACTOR).contains(&ratio)).then_some(ratio)
}

/// Flats that are means of several frames, among single ones.
pub(crate) fn some_caveat(pairs: usize, of: usize, factor: f64) -> Caveat {
    Caveat::new(
        "averaged-frames",
        format!(
            "{pairs} of {of} pairs of flats have {factor:.1} times less noise than others of their level: means of several \
             frames, or of another gain; they were left out"
        ),
        "measure from single raw flats, as the camera wrote them",
    )
}

/// Flats that all are means of several frames.
pub(crate) fn all_error(frames: f64) -> MeasureError {
    MeasureError::Unusable {
        kind: FrameKind::Flat,
        reason: format!(
            "without light they would have {frames:.1} times less noise than the bias frames, in the variance: they are means of \
             several frames, and the gain would come out as many times too large, or they have another gain setting"
        ),
        hint: "take single raw flats in pairs, as the camera writes them, with the gain setting of the bias frames"
            .into(),
    }
}

/// Bias frames that are means of several frames.
pub(crate) fn biases_caveat(frames: f64) -> Caveat {
    Caveat::new(
        "averaged-frames",
        format!(
            "without light the flats would have {frames:.1} times the noise of the bias frames, in the variance: these are means \
             of several and the read noise is too small by the root of that, or the flats have another gain setting, or \
             something was taken off them"
        ),
        "measure from single raw bias frames and flats of one gain setting, as the camera wrote them",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Dn;

    fn level(mean: f64, frames: f64) -> (bool, Level) {
        (true, Level { mean: Dn(mean), variance: (9.0 + 0.5 * mean - 2e-6 * mean * mean) / frames, relative: 1e-5 })
    }

    #[test]
    fn means_of_four_among_single_flats_are_found_and_a_full_well_is_not() {
        let mixed: Vec<_> = (1..9).map(|k| level(400.0 * f64::from(k), if k % 3 == 0 { 4.0 } else { 1.0 })).collect();
        let (found, factor) = quieter(&mixed, 9.0).unwrap();
        assert_eq!((found.len(), factor.round()), (2, 4.0));
        let full: Vec<_> = (1..9).map(|k| level(400.0 * f64::from(k), if k > 6 { 4.0 } else { 1.0 })).collect();
        assert_eq!(quieter(&full, 9.0), None);
        let sound: Vec<_> = (1..9).map(|k| level(400.0 * f64::from(k), 1.0)).collect();
        assert_eq!(quieter(&sound, 9.0), None);
    }
}
