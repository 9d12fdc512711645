//! Does the level of the darks wander in one direction?

use crate::caveat::Caveat;
use crate::stats::student_t_quantile;
use crate::units::ElectronsPerDn;

use crate::sensor::dark::current::{DarkCurrent, DarkFrame, same_exposure};

/// The trend must be one that chance makes in so few sets.
const CHANCE: f64 = 2e-4;
/// A drift below this share of the dark signal does not matter.
const LEAST_SHARE: f64 = 0.02;

/// The doubt about darks whose level drifts from frame to frame, where it matters for their rate.
///
/// ```text
/// b = Σ (i − ī)(y − ȳ) / Σ (i − ī)²        drift = b (N − 1)
/// ```
///
/// `i` counts the frames of one exposure, `y` is the frame's level, the bars are means of one exposure, the sums go over
/// all. The trend is tested with Student's t. Derived here.
pub(crate) fn drift(frames: &[DarkFrame], current: &DarkCurrent, gain: ElectronsPerDn) -> Option<Caveat> {
    let mut groups: Vec<Vec<&DarkFrame>> = Vec::new();
    for frame in frames {
        match groups.iter_mut().find(|group| same_exposure(group[0].exposure, frame.exposure)) {
            Some(group) => group.push(frame),
            None => groups.push(vec![frame]),
        }
    }
    let (mut sxx, mut sxy, mut syy, mut lost) = (0.0, 0.0, 0.0, 1);
    for group in groups.iter().filter(|group| group.len() > 1) {
        let count = group.len() as f64;
        let level = group.iter().map(|frame| frame.mean).sum::<f64>() / count;
        for (number, frame) in group.iter().enumerate() {
            let (x, y) = (number as f64 - (count - 1.0) / 2.0, frame.mean - level);
            sxx += x * x;
            sxy += x * y;
            syy += y * y;
        }
        lost += 1;
    }
    let together: usize = groups.iter().filter(|group| group.len() > 1).map(Vec::len).sum();
    let freedom = together.checked_sub(lost).filter(|freedom| *freedom >= 2)? as f64;
    let slope = sxy / sxx;
    let sigma = ((syy - slope * sxy).max(0.0) / freedom / sxx).sqrt();
    let limit = student_t_quantile(1.0 - CHANCE / 2.0, freedom);
    let total = slope * (frames.len() as f64 - 1.0);
    let rate = current.from_mean.as_ref()?;
    let exposure =
        |choose: fn(f64, f64) -> f64, start: f64| frames.iter().map(|frame| frame.exposure.0).fold(start, choose);
    let (shortest, longest) = (exposure(f64::min, f64::INFINITY), exposure(f64::max, 0.0));
    let span = if longest > 1.01 * shortest { longest - shortest } else { longest };
    let error = total.abs() * gain.0 / span;
    let matters = error > rate.uncertainty.0 && error > LEAST_SHARE * rate.value.0.abs();
    (slope.abs() > limit * sigma && matters).then(|| {
        Caveat::new(
            "dark-level-drift",
            format!(
                "the level of the darks drifts by {total:+.2} DN over {} frames: the dark current may be wrong by {error:.3} e-/s",
                frames.len()
            ),
            "let camera and cooler settle before the darks, and mix long and short exposures",
        )
    })
}
