//! The median pixel of noisy frames is not the median pixel of the sensor.

use crate::stats::Estimate;

use super::anchor::Anchor;
use super::current::{DarkFrame, DarkStage, same_exposure};
use super::limits::loosened;

/// The correction is known to this part of itself: the distribution of the pixels is not (judgement).
const KNOWN: f64 = 0.3;
/// The steps of the converter must move a median by less than this part of the shift.
const STEPS_HIDE: f64 = 0.3;
/// Noise so strong that the mean of n frames shows no more than single ones.
const STRONGEST: f64 = 0.9;

/// By how much noise raises the median of a frame's pixels, whose dark currents are skewed.
#[derive(Debug, Clone, Copy)]
pub(super) struct MedianShift {
    /// DN in a frame of the longest exposure, and the most that noise can do there: up to the mean.
    of_longest: f64,
    most: f64,
    /// How strong the noise of that frame is for the skew.
    strength: f64,
    /// Its time in seconds, and the variances in DN² and DN²/s that make its noise.
    longest: f64,
    read_variance: f64,
    shot: f64,
}

impl DarkStage {
    /// The shift of the median, from single frames of the longest exposure against their mean image.
    ///
    /// ```text
    /// s(v) = A (1 − 1/√(1 + 2v)),    v ∝ σ²/t²,    A = mean − median without noise ∝ t
    /// q = ((mean − Mₙ)/(mean − M₁))² = (1 + 2v)/(1 + 2v/n)
    /// ```
    ///
    /// To first order the median of pixels `x` under noise is off by −½ σ² f′(x)/f(x), linear in the variance; noise far larger
    /// than the spread of the pixels makes it their mean. `s` has both ends, and is near what log-normal rates do between them
    /// (found by trial). `M₁` is the median of single frames, `Mₙ` that of the mean of n. Derived here. `None` of a single frame,
    /// and where the converter's steps hide it.
    pub(super) fn median_shift(&self, anchor: &Anchor, slope: f64, gain: f64) -> Option<MedianShift> {
        let image = self.image.as_ref().filter(|image| image.frames > 1)?;
        let own: Vec<&DarkFrame> =
            self.frames.iter().filter(|frame| same_exposure(frame.exposure, image.exposure)).collect();
        let mean_of = |of: fn(&DarkFrame) -> f64| own.iter().map(|frame| of(frame)).sum::<f64>() / own.len() as f64;
        let frames = f64::from(image.frames);
        let single = mean_of(|frame| frame.median);
        let (fallen, left) = (single - image.median, mean_of(|frame| frame.mean) - single);
        if !(fallen > 0.0 && left > 0.0) {
            return None;
        }
        let ratio = (1.0 + fallen / left).powi(2).min(STRONGEST * frames);
        let strength = (ratio - 1.0) / (2.0 * (1.0 - ratio / frames));
        let most = left * (1.0 + 2.0 * strength).sqrt();
        let of_longest = most - left;
        let (longest, read_variance, shot) = (image.exposure.0, anchor.variance.value, slope.max(0.0) / gain);
        let is_seen = anchor.hidden_by_steps[0] < STEPS_HIDE * of_longest;
        is_seen.then_some(MedianShift { of_longest, most, strength, longest, read_variance, shot })
    }
}

impl MedianShift {
    /// DN by which the median of a frame of this exposure is too high.
    pub(super) fn at(&self, exposure: f64) -> f64 {
        let of = |time: f64| (self.read_variance + self.shot * time) / (time * time);
        let strength = self.strength * of(exposure) / of(self.longest);
        self.most * exposure / self.longest * (1.0 - 1.0 / (1.0 + 2.0 * strength).sqrt())
    }

    /// A slope in DN/s of medians that were freed from it, as uncertain as that makes it.
    pub(super) fn freed(&self, slope: Estimate<f64>) -> Estimate<f64> {
        loosened(slope, KNOWN * self.of_longest / self.longest)
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    use rand_xoshiro::Xoshiro256PlusPlus;

    /// The formula against a draw: log-normal rates under normal noise, weak and as strong as they are.
    #[test]
    fn the_median_without_noise_follows_from_two_noises() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(8);
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let rates: Vec<f64> = (0..200_000).map(|_| 10.0 * (0.6 * normal()).exp()).collect();
        let mean = rates.iter().sum::<f64>() / rates.len() as f64;
        let mut median = |sigma: f64| {
            let mut noisy: Vec<f64> = rates.iter().map(|rate| rate + sigma * normal()).collect();
            noisy.sort_by(f64::total_cmp);
            noisy[noisy.len() / 2]
        };
        for sigma in [2.0, 4.0, 8.0] {
            let (single, mean_of_four) = (median(sigma), median(sigma / 2.0));
            let ratio = ((mean - mean_of_four) / (mean - single)).powi(2);
            let strength = (ratio - 1.0) / (2.0 * (1.0 - ratio / 4.0));
            let found = mean - (mean - single) * (1.0 + 2.0 * strength).sqrt();
            assert!(single > 10.15 && (found - 10.0).abs() < 0.3 * (single - 10.0) + 0.03, "{sigma}: {single} {found}");
        }
    }
}
