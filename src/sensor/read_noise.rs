//! Read noise and offset from pairs without light.

use crate::stats::{Estimate, Moments, student_t_975};
use crate::units::Dn;

use super::PairStatistics;

/// The 97.5 % quantile of the normal distribution.
const NORMAL_975: f64 = 1.959_963_984_540_054;

/// Below this variance in squared steps the converter's steps hide the noise
/// (EMVA 1288 Release 4.0 Linear, equation 54: 0.24 DN²).
pub(crate) const HIDDEN_VARIANCE: f64 = 0.24;
/// The limit that is then stated, in steps (the same equation).
pub(crate) const HIDDEN_LIMIT: f64 = 0.40;

/// Noise and level of the frames without light.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ReadNoise {
    /// Mean level.
    pub offset: Estimate<Dn>,
    /// Temporal variance in DN² of every pixel, quantisation included.
    pub variance: Estimate<f64>,
    /// Read noise of every pixel, quantisation removed.
    pub noise: Estimate<Dn>,
    /// Read noise of the core.
    pub core: Estimate<Dn>,
    /// Temporal noise common to a row; `None` where the pairs show none.
    pub row: Option<Estimate<Dn>>,
    /// The steps hide the noise; `noise` is a limit.
    pub hidden: bool,
    /// Scatter of the frames' levels in DN.
    pub level_scatter: f64,
    /// Differences beyond this many DN may be events.
    pub event_limit: f64,
}

/// Pools pairs without light; `extra` are the means of frames that found no partner.
///
/// `None` without pairs.
pub(crate) fn read_noise(pairs: &[PairStatistics], extra: &[f64], step: f64) -> Option<ReadNoise> {
    if pairs.is_empty() {
        return None;
    }
    let levels: Moments = pairs.iter().flat_map(|pair| pair.means).chain(extra.iter().copied()).collect();
    let variance = pooled(pairs, PairStatistics::variance);
    let core_variance = pooled(pairs, |pair| pair.core_variance);
    let hidden = variance.value < HIDDEN_VARIANCE * step * step;
    let noise = |variance: &Estimate<f64>| {
        if hidden {
            Estimate::new(HIDDEN_LIMIT * step, HIDDEN_LIMIT * step / 3_f64.sqrt())
        } else {
            root(variance, step)
        }
    };
    Some(ReadNoise {
        offset: mean_level(&levels, (variance.value / pairs[0].count as f64).sqrt()),
        noise: noise(&variance),
        core: noise(&core_variance),
        row: row_noise(pairs),
        variance,
        hidden,
        level_scatter: levels.variance().unwrap_or(0.0).sqrt(),
        event_limit: pairs.iter().map(|pair| pair.event_limit).fold(0.0, f64::max),
    })
}

/// Row noise where it stands out from the pairs' scatter by two sigmas.
///
/// ```text
/// σ_row² = Var(row means of d)/2 − σ_within²/columns,    d = y0 − y1
/// ```
///
/// Derived here: the variance of the means of rows of independent pixels taken off.
fn row_noise(pairs: &[PairStatistics]) -> Option<Estimate<Dn>> {
    let values: Moments = pairs.iter().map(|pair| pair.row_variance).collect();
    let mean = values.mean()?;
    let sigma =
        pairs.iter().map(PairStatistics::row_variance_sigma).map(|s| s * s).sum::<f64>().sqrt() / pairs.len() as f64;
    (mean > 2.0 * sigma && mean > 0.0).then(|| Estimate::new(mean.sqrt(), sigma / (2.0 * mean.sqrt())))
}

/// The mean of frame means; its uncertainty is their scatter, for the level of a frame
/// wanders by more than its pixels' noise explains. Few frames know their scatter badly:
/// it is widened by Student's t over the normal quantile. A single frame takes `of_one`.
pub(crate) fn mean_level(levels: &Moments, of_one: f64) -> Estimate<Dn> {
    let mean = levels.mean().unwrap_or(0.0);
    let frames = levels.count() as f64;
    match levels.variance() {
        Some(variance) => {
            let half = student_t_975(frames - 1.0) * (variance / frames).sqrt();
            Estimate::new(mean, half / NORMAL_975).with_half_interval(half)
        }
        None => Estimate::new(mean, of_one),
    }
}

/// Mean of the pairs' variances with the larger of two uncertainties: from the pixels'
/// kurtosis, or from the scatter between the pairs.
fn pooled(pairs: &[PairStatistics], statistic: impl Fn(&PairStatistics) -> f64) -> Estimate<f64> {
    let values: Moments = pairs.iter().map(&statistic).collect();
    let mean = values.mean().unwrap_or(0.0);
    let count = pairs.len() as f64;
    let of_pixels = pairs.iter().map(|pair| pair.variance_of(mean)).sum::<f64>().sqrt() / count;
    let of_scatter = (values.variance().unwrap_or(0.0) / count).sqrt();
    Estimate::new(mean, of_pixels.max(of_scatter))
}

/// The noise behind a variance: steps' q²/12 removed (EMVA 1288 Release 4.0 Linear,
/// equation 53), with the error of that correction for noises near one step.
fn root(variance: &Estimate<f64>, step: f64) -> Estimate<Dn> {
    let noise = (variance.value - step * step / 12.0).max(0.0).sqrt();
    let statistical = if noise > 0.0 { variance.uncertainty / (2.0 * noise) } else { variance.uncertainty.sqrt() };
    let phase = phase_error(noise / step) * noise / 3_f64.sqrt();
    Estimate::new(noise, statistical.hypot(phase)).with_statistical(statistical)
}

/// Largest relative error of a noise from the place of the level between two steps, for a
/// noise in steps. Exact sums over the quantised normal distribution, tabulated at 0.40,
/// 0.45, 0.50, 0.60 and 0.80 (derived here).
fn phase_error(noise: f64) -> f64 {
    const TABLE: [(f64, f64); 5] = [(0.40, 0.10), (0.45, 0.04), (0.50, 0.016), (0.60, 0.002), (0.80, 0.0)];
    if noise <= TABLE[0].0 {
        return TABLE[0].1;
    }
    for pair in TABLE.windows(2) {
        let [(low, at_low), (high, at_high)] = [pair[0], pair[1]];
        if noise < high {
            return at_low + (at_high - at_low) * (noise - low) / (high - low);
        }
    }
    0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_steps_own_variance_is_removed() {
        let noise = root(&Estimate::new(4.0 + 16.0 / 12.0, 0.0), 4.0);
        approx::assert_relative_eq!(noise.value.0, 2.0, epsilon = 1e-12);
    }

    #[test]
    fn the_phase_error_falls_with_the_noise() {
        assert!(phase_error(0.42) > phase_error(0.55) && phase_error(0.55) > phase_error(0.7));
        assert_eq!(phase_error(1.0), 0.0);
    }
}
