//! Has the camera taken a dark of its own off each long exposure before it stored it?
//!
//! Darks whose variance at no time is twice that of the bias frames, at a level that is held, were differenced in the
//! camera: half the slope of their variance counts.

use crate::stats::{Estimate, birge_ratio, polynomial_fit};
use crate::units::Seconds;

use super::current::{PairVariance, same_exposure};

/// Cameras leave shorter exposures alone.
const SHORTEST: Seconds = Seconds(0.9);
/// Two frames have twice the noise of one; what the darks have at no time may be so much off that, relatively.
const AROUND_TWICE: f64 = 0.2;
/// So many sigmas have to lie between the noise found and one and a half times that of the bias frames.
const SURE_SIGMAS: f64 = 3.0;

/// Darks that are the difference of two exposures.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Subtracted {
    /// Variance of the darks at no time over that of the bias frames; 2 is expected.
    pub times_bias: f64,
    /// Slope in DN²/s of the variance of one of the two exposures.
    pub(super) slope: Estimate<f64>,
}

/// What the level of the same darks and the bias frames say.
pub(super) struct Beside {
    /// Variance in DN² of the bias frames.
    pub(super) bias_variance: Estimate<f64>,
    /// Slope in DN/s of the level, and how far in DN it lies at no time above that of the bias frames.
    pub(super) level: (Estimate<f64>, f64),
    /// Level in DN of the bias frames.
    pub(super) offset: f64,
    /// Electrons for each DN.
    pub(super) gain: f64,
}

/// Whether the darks had another dark taken off in the camera, from the variance of their pairs over time.
///
/// ```text
/// one exposure    σ² = σ_d² + D t / K²          level  offset + D t / K
/// less another    σ² = 2 (σ_d² + D t / K²)      level  offset
/// ```
///
/// `σ_d²` is the variance of the bias frames, `D` the dark current in e⁻/s, `K` the gain in e⁻/DN. A line through two
/// or more exposures of at least a second has to meet twice the bias variance at no time, the level must not grow as
/// that noise asks for, and charge that the darks hold must not explain the noise: neither such as all share (a step of the
/// level), nor that of each pair, whatever the sensor's temperature did from one to the next. Only darks beside bias frames
/// show it. Hot pixels are gone from such darks, but for their noise: the slope is that of the
/// ordinary pixels. Derived here; two independent variances add up.
pub(super) fn subtracted(pairs: &[PairVariance], beside: &Beside) -> Option<Subtracted> {
    let long: Vec<&PairVariance> = pairs.iter().filter(|pair| pair.exposure.0 >= SHORTEST.0).collect();
    let first = long.first()?.exposure;
    if long.iter().all(|pair| same_exposure(pair.exposure, first)) {
        return None;
    }
    let times: Vec<f64> = long.iter().map(|pair| pair.exposure.0).collect();
    let variances: Vec<f64> = long.iter().map(|pair| pair.variance).collect();
    let weights: Vec<f64> = long.iter().map(|pair| pair.uncertainty.powi(-2)).collect();
    let fit = polynomial_fit(&times, &variances, &weights, 1)?;
    let scatter = birge_ratio(fit.chi2, fit.freedom);
    let (at_zero, sigma) = (fit.coefficients[0], fit.sigma(0) * scatter);
    let bias = beside.bias_variance;
    let surplus = at_zero - 1.5 * bias.value;
    let doubled = surplus > SURE_SIGMAS * sigma.hypot(1.5 * bias.uncertainty)
        && (at_zero / bias.value / 2.0 - 1.0).abs() < AROUND_TWICE + SURE_SIGMAS * sigma / at_zero;
    let (level_slope, step) = &beside.level;
    let by_step = step.max(0.0) / beside.gain;
    let one = fit.coefficients[1] / 2.0;
    let asked_for = one * beside.gain;
    let held = level_slope.value < 0.5 * asked_for.max(0.0) + SURE_SIGMAS * level_slope.uncertainty;
    let noise = long.iter().map(|pair| pair.variance - bias.value).sum::<f64>();
    let charge = long.iter().map(|pair| (pair.level - beside.offset) / beside.gain).sum::<f64>();
    if !(doubled && held && by_step < 0.5 * (at_zero - bias.value) && charge < 0.5 * noise) {
        return None;
    }
    let sigma = fit.sigma(1) * scatter / 2.0;
    let slope =
        if scatter > 1.0 { Estimate::of_student(one, sigma, fit.freedom as f64) } else { Estimate::new(one, sigma) };
    Some(Subtracted { times_bias: at_zero / bias.value, slope })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(variance: impl Fn(f64) -> f64, level_slope: f64, step: f64) -> Option<Subtracted> {
        let pair = |time: f64| PairVariance {
            exposure: Seconds(time),
            variance: variance(time),
            uncertainty: 0.005 * variance(time),
            level: 100.0 + step + level_slope * time,
        };
        let pairs = [30.0, 60.0, 120.0, 300.0].map(pair);
        let level = (Estimate::new(level_slope, 1e-4), step);
        subtracted(&pairs, &Beside { bias_variance: Estimate::new(9.0, 0.02), level, offset: 100.0, gain: 1.0 })
    }

    /// A sensor that cools while the exposures rise: the first darks hold as much charge as the last.
    #[test]
    fn charge_that_each_pair_shows_in_its_level_is_no_subtraction() {
        let pair = |(time, charge): (f64, f64)| PairVariance {
            exposure: Seconds(time),
            variance: 9.0 + charge,
            uncertainty: 0.02,
            level: 100.0 + charge,
        };
        let pairs = [(60.0, 9.0), (60.0, 8.7), (180.0, 9.2), (300.0, 9.1)].map(pair);
        let level = (Estimate::new(0.0, 1e-3), 0.0);
        let beside = Beside { bias_variance: Estimate::new(9.0, 0.02), level, offset: 100.0, gain: 1.0 };
        assert!(subtracted(&pairs, &beside).is_none());
    }

    #[test]
    fn only_twice_the_noise_at_a_held_level_is_a_subtraction() {
        let both = found(|t| 2.0 * (9.0 + 0.1 * t), 0.0, 0.0).unwrap();
        assert!((both.slope.value - 0.1).abs() < 1e-9 && (both.times_bias - 2.0).abs() < 1e-9);
        // A held level alone, a level that grows, charge that every dark has, and no dark current at all.
        assert!(found(|t| 9.0 + 0.2 * t, 0.0, 0.0).is_none());
        assert!(found(|t| 18.0 + 0.2 * t, 0.2, 0.0).is_none());
        assert!(found(|t| 18.0 + 0.2 * t, 0.0, 9.0).is_none());
        assert!(found(|_| 18.0, 0.0, 0.0).is_some());
    }
}
