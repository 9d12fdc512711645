//! Darks or bias frames that are means of several: what their noises without charge make of each other.

use crate::caveat::Caveat;

use super::anchor::Anchor;
use super::current::{DarkStage, same_exposure};

/// Noises without charge that differ by less than this factor, in the variance, are those of single frames: of two frames' mean
/// it is 2.
const FACTOR: f64 = 1.6;
/// A pair says anything where its variance is known to this part.
const KNOWN: f64 = 0.1;
/// What the steps may do to the variance without light, relatively.
const STEPS_HIDE: f64 = 0.05;
/// Of darks with more saturated pixels than this, relatively, the noise is cut off.
const SATURATED: f64 = 1e-3;
/// What remains of the noise without charge is the same over this factor of exposure times …
const TIMES: f64 = 3.0;
/// … within this part.
const ALIKE: f64 = 0.2;
/// Darks may start so many scatters of the bias frames' levels beside their mean: bias frames of two temperatures scatter by
/// half of what lies between them.
const LEVELS_APART: f64 = 2.0;

impl DarkStage {
    /// Of how many frames the darks would have to be means to have so little noise for the bias frames' and their charge: above 1
    /// where the darks are averaged, below 1 where the bias frames are; `None` where both are as single as each other.
    ///
    /// ```text
    /// N = (V0 + (m − offset) / K) / V
    /// ```
    ///
    /// `V` is the variance of a pair of darks, `m` the level of their median pixel, `V0` the bias frames' variance, `K` the gain.
    /// Of bias frames that are means, `1/N = (V − (m̄ − offset)/K) / V0` with the mean pixel. A camera that holds its level has more
    /// noise than this says: they are only called means where the surplus does not grow with time. Neither is called so where
    /// the darks need only start at another level than the bias frames' mean. Derived here.
    pub(crate) fn frames_in_each(&self, anchor: &Anchor, gain: f64) -> Option<f64> {
        let bias = anchor.variance;
        let is_sure = bias.relative() < KNOWN && anchor.hidden_by_steps[1] < STEPS_HIDE * bias.value;
        if !anchor.is_of_bias || anchor.floor.is_some() || !is_sure {
            return None;
        }
        let sound = self.pairs.iter().filter(|pair| pair.uncertainty < KNOWN * pair.variance);
        let (mut times, mut frames_in_dark, mut over_bias) = (Vec::new(), Vec::new(), Vec::new());
        for pair in sound {
            let frame = self.frames.iter().find(|frame| same_exposure(frame.exposure, pair.exposure))?;
            if frame.saturated_pixels < SATURATED {
                let reach = LEVELS_APART * anchor.level_scatter;
                let shot = |level: f64| (level - anchor.offset.value.0).max(0.0) / gain;
                times.push(pair.exposure.0);
                // Hot pixels are left out of a pair's noise as hits; the mean holds them.
                frames_in_dark.push([reach, 0.0].map(|less| (bias.value + shot(frame.median - less)) / pair.variance));
                over_bias.push([reach, 0.0].map(|more| (pair.variance - shot(frame.mean + more)) / bias.value));
            }
        }
        let of = |values: &[[f64; 2]], which: usize| sorted(values.iter().map(|value| value[which]).collect());
        let middle = |values: &[[f64; 2]]| of(values, 1).get(values.len() / 2).copied();
        let (times, cautious) = (sorted(times), [&frames_in_dark, &over_bias].map(|values| of(values, 0)));
        if cautious[0].first()? > &FACTOR {
            return middle(&frames_in_dark);
        }
        let over_bias_of = of(&over_bias, 1);
        let of_any_time = times.last()? > &(TIMES * times.first()?)
            && over_bias_of.last()? < &((1.0 + ALIKE) * over_bias_of.first()?);
        (cautious[1].first()? > &FACTOR && of_any_time).then(|| 1.0 / middle(&over_bias).unwrap_or(1.0))
    }
}

fn sorted(mut values: Vec<f64>) -> Vec<f64> {
    values.sort_by(f64::total_cmp);
    values
}

/// The doubt that [`DarkStage::frames_in_each`] raises.
pub(crate) fn caveat(frames: f64) -> Caveat {
    let message = if frames > 1.0 {
        format!(
            "the darks have {frames:.1} times less noise, in the variance, than bias frames and their charge make: they are means of \
             several frames, or were changed; what is told from their noise is wrong by as much"
        )
    } else {
        format!(
            "the darks have {:.1} times the noise of the bias frames, in the variance, whatever their time: these are means of \
             several, and the read noise is too small by the root of that; or the darks were read in another way",
            1.0 / frames
        )
    };
    Caveat::new("averaged-frames", message, "measure from single raw frames, as the camera wrote them")
}

#[cfg(test)]
mod tests {
    use super::super::current::tests::stage;
    use super::*;
    use crate::stats::Estimate;

    /// 0.02 DN/s of dark current, 9 DN² of read noise, a gain of 1, means of so many darks.
    fn found(darks: f64, biases: f64, pinned: bool) -> Option<f64> {
        with_levels([darks, biases], (0.02, pinned), (100.0, 0.1))
    }

    /// The same with another dark current, where the bias frames' levels have this mean and scatter; the darks start at 100.
    fn with_levels(
        [darks, biases]: [f64; 2],
        (rate, pinned): (f64, bool),
        (offset, level_scatter): (f64, f64),
    ) -> Option<f64> {
        let points = [10.0, 30.0, 120.0, 300.0].map(|time| {
            let charge = rate * time;
            (time, if pinned { 100.0 } else { 100.0 + charge }, (9.0 + charge) / darks)
        });
        let anchor = Anchor { level_scatter, ..Anchor::of_bias(offset, Estimate::new(9.0 / biases, 0.05)) };
        stage(&points).frames_in_each(&anchor, 1.0)
    }

    #[test]
    fn means_of_two_in_one_kind_are_found_and_single_frames_are_not() {
        assert_eq!(found(1.0, 1.0, false), None);
        assert_eq!(found(1.0, 1.0, true), None);
        assert!((found(2.0, 1.0, false).unwrap() - 2.0).abs() < 1e-9);
        assert!((found(1.0, 2.0, false).unwrap() - 0.5).abs() < 1e-9);
    }

    #[test]
    fn bias_frames_of_two_levels_are_not_means() {
        // Half of the bias frames are 14 DN above the darks' own level; without their scatter the darks would be too noisy.
        assert!(with_levels([1.0, 1.0], (1.0, false), (107.0, 0.1)).is_some());
        assert_eq!(with_levels([1.0, 1.0], (1.0, false), (107.0, 7.0)), None);
        assert!(with_levels([1.0, 4.0], (1.0, false), (101.0, 1.0)).is_some());
    }
}
