//! Noise and level of frames whose dark side is cut off at 0.

use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::stats::{Estimate, normal_quantile, normal_share_below};

use crate::sensor::dark::read_noise::ReadNoise;
use crate::sensor::{MeasureError, PairStatistics};

/// Share of pixels at 0 from which on the level is cut (EMVA 1288 Release 4.0 Linear: 0.5 %).
const CLIPPED: f64 = 0.005;
/// With more pixels at 0 than this the rest does not fix level and noise.
const LOST: f64 = 0.70;
/// Pattern over temporal variance up to which the spread of one frame is its temporal noise.
const LITTLE_PATTERN: f64 = 0.10;
/// The recovery is at least this uncertain, relatively: the true shape of the noise is not known.
const SHAPE: f64 = 0.02;

/// What became of clipped frames.
#[derive(Debug, Clone)]
pub(crate) struct Recovered {
    pub(crate) noise: ReadNoise,
    /// The recovered noise holds the pixels' pattern too: it is an upper limit.
    pub(crate) is_upper_limit: bool,
    pub(crate) caveat: Caveat,
}

/// Noise and level of clipped bias frames; `None` when they are not clipped.
///
/// ```text
/// p₀ = Φ((½ − m)/s)        ȳ = Σ_{k ≥ 1} P(x > k − ½),    x ~ N(m, s)
/// ```
///
/// `p₀` is the share at 0, `ȳ` the mean, both in steps; `m` and `s` are level and noise before clipping. Bisection for
/// `s`, with `m` from `p₀`. One frame's spread holds the pattern of the pixels: where the pairs show much of it, the
/// result is an upper limit. The quantised sums are exact for normal noise.
///
/// # Source
/// Derived here from the censored normal distribution.
///
/// # Errors
/// [`MeasureError::Unusable`] when more than 70 % of the pixels are at 0.
pub(crate) fn recovered(
    pairs: &[PairStatistics],
    measured: &ReadNoise,
    step: f64,
) -> Result<Option<Recovered>, MeasureError> {
    let mean_of = |of: fn(&PairStatistics) -> f64| pairs.iter().map(of).sum::<f64>() / pairs.len().max(1) as f64;
    let at_zero = mean_of(|pair| pair.share_at_zero);
    if pairs.is_empty() || at_zero <= CLIPPED {
        return Ok(None);
    }
    let lost = || MeasureError::Unusable {
        kind: FrameKind::Bias,
        reason: format!(
            "{:.0} % of their pixels are at 0: the camera cuts the dark side of the noise off",
            100.0 * at_zero
        ),
        hint: "raise the camera's offset until no dark pixel is at 0, and take all frames again".into(),
    };
    if at_zero > LOST {
        return Err(lost());
    }
    let (level, sigma) = censored(at_zero, measured.offset.value.0 / step).ok_or_else(lost)?;
    let (shared, temporal) = (mean_of(PairStatistics::shared_variance).max(0.0), mean_of(PairStatistics::variance));
    let pattern = shared / temporal.max(1e-9);
    let is_upper_limit = pattern > LITTLE_PATTERN;
    let count = pairs.iter().map(|pair| 2.0 * pair.count as f64).sum::<f64>();
    // The censored sample knows s less well than a whole one, by about 1/(1 − p₀).
    let statistical = sigma / (2.0 * count).sqrt() / (1.0 - at_zero);
    let relative = (statistical / sigma).hypot(SHAPE).hypot(pattern / 2.0);
    let noise = Estimate::new(sigma * step, sigma * step * relative);
    let offset = measured.offset.uncertainty.0.hypot(sigma * step * relative);
    Ok(Some(Recovered {
        noise: ReadNoise {
            offset: Estimate::new(level * step, offset),
            variance: Estimate::new(
                (sigma * sigma + 1.0 / 12.0) * step * step,
                2.0 * sigma * sigma * relative * step * step,
            ),
            noise,
            core: noise,
            row: None,
            hidden: false,
            ..measured.clone()
        },
        is_upper_limit,
        caveat: caveat(at_zero, is_upper_limit),
    }))
}

fn caveat(at_zero: f64, is_upper_limit: bool) -> Caveat {
    let result = if is_upper_limit {
        "level and noise were computed from the rest; the pixels' own levels are in the noise, which is an upper limit"
    } else {
        "level and noise were computed from the rest, for normal noise"
    };
    Caveat::new(
        "black-clipped",
        format!(
            "{:.1} % of the dark pixels are at 0: {result}; dark current from the level is too small",
            100.0 * at_zero
        ),
        "raise the camera's offset until no dark pixel is at 0",
    )
}

/// Level and sigma, in steps, of the normal noise that leaves the share `at_zero` at 0 and has the mean `mean`.
fn censored(at_zero: f64, mean: f64) -> Option<(f64, f64)> {
    // P(x > ½) = 1 − p₀ fixes how many sigmas the level is above ½.
    let above = normal_quantile(1.0 - at_zero);
    let mean_of = |sigma: f64| {
        let level = above * sigma + 0.5;
        let last = (level + 9.0 * sigma).ceil().max(1.0) as usize;
        (1..=last).map(|k| 1.0 - normal_share_below((k as f64 - 0.5 - level) / sigma)).sum::<f64>()
    };
    let (mut low, mut high) = (0.05, 5000.0);
    if !(mean_of(low)..=mean_of(high)).contains(&mean) {
        return None;
    }
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if mean_of(middle) < mean { low = middle } else { high = middle }
    }
    Some((above * low + 0.5, low))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clipped_normal_is_found_again() {
        // The mean summed code by code, not by tails.
        for (level, sigma) in [(0.0, 5.0), (2.5, 5.0), (1.0, 0.8)] {
            let share = normal_share_below((0.5 - level) / sigma);
            let mean: f64 = (1..100)
                .map(|k| {
                    f64::from(k)
                        * (normal_share_below((f64::from(k) + 0.5 - level) / sigma)
                            - normal_share_below((f64::from(k) - 0.5 - level) / sigma))
                })
                .sum();
            let (m, s) = censored(share, mean).unwrap();
            approx::assert_relative_eq!(s, sigma, max_relative = 1e-4);
            approx::assert_relative_eq!(m, level, epsilon = 1e-3);
        }
    }
}
