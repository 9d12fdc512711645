//! Noise and level of frames whose dark side is cut off, at 0 or at a code above it.
//!
//! The level is solved for while 0.5 to 70 % of the pixels are there; what both frames of a pair share is taken off as the
//! pixels' own pattern.

use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::stats::{Estimate, bisect, normal_density, normal_quantile, normal_share_below};

use crate::sensor::dark::read_noise::ReadNoise;
use crate::sensor::{MeasureError, PairStatistics};

/// Share of pixels at 0 from which on the level is cut (EMVA 1288 Release 4.0 Linear: 0.5 %).
const CLIPPED: f64 = 0.005;
/// Fewer pixels at the lowest code are the end of a noise.
const FEWEST: f64 = 30.0;
/// Below so many steps of noise the lowest code of an uncut level may hold as much.
const LEAST_STEPS: f64 = 0.7;
/// With more pixels at the lowest code than this the rest does not fix level and noise.
const LOST: f64 = 0.70;
/// Pixels that are not at the lowest code lie so many steps above it, on average, where the noise is far below one step.
const NEXT_CODE: f64 = 1.5;
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
/// σ² = s² (1 − ρ),    ρ = ρ_c v / (1 − p₀)²,    v = Var(max(z, z₀)),    Φ(z₀) = p₀
/// ```
///
/// `p₀` is the share at the lowest code, `ȳ` the mean above it, both in steps; `m` and `s` are level and spread before
/// clipping. Bisection for `s`, with `m` from `p₀`. One frame's spread holds the pattern of the pixels: `ρ_c`, the part
/// of the clipped frames' variance that both of a pair share, tells how much, to first order in `ρ`; where it is much, the
/// result is an upper limit. The quantised sums are exact for normal noise.
///
/// A camera that clamps above 0 shows as a lowest code that all pairs have and that holds at least 0.5 % of the pixels: of
/// an uncut noise of 0.7 steps or more it holds a few pixels.
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
    let Some(floor) = Floor::of(pairs) else { return Ok(None) };
    let cut: Vec<&PairStatistics> = pairs.iter().filter(|pair| pair.lowest.0 == floor.code).collect();
    let mean_of = |of: fn(&PairStatistics) -> f64| cut.iter().map(|pair| of(pair)).sum::<f64>() / cut.len() as f64;
    let at_zero = floor.share;
    let lost = || MeasureError::Unusable {
        kind: FrameKind::Bias,
        reason: format!(
            "{:.0} % of their pixels are at {}: the camera cuts the dark side of the noise off",
            100.0 * at_zero,
            floor.code
        ),
        hint: format!("raise the camera's offset until no dark pixel is at {}, and take all frames again", floor.code),
    };
    let code = f64::from(floor.code);
    let above = (measured.offset.value.0 - code) / step;
    if at_zero > LOST {
        // A noise far below one step puts nearly all pixels at one code, and the few others at the next.
        let narrow = floor.code > 0 && above < NEXT_CODE * (1.0 - at_zero) + f64::EPSILON;
        return if narrow { Ok(None) } else { Err(lost()) };
    }
    let solved = censored(at_zero, above).filter(|(_, sigma)| floor.code == 0 || *sigma > LEAST_STEPS);
    let Some((level, sigma)) = solved else { return if floor.code == 0 { Err(lost()) } else { Ok(None) } };
    let (shared, temporal) = (mean_of(PairStatistics::shared_variance).max(0.0), mean_of(PairStatistics::variance));
    let pattern = shared / temporal.max(1e-9);
    let is_upper_limit = pattern > LITTLE_PATTERN;
    // A pattern that is much is left in the limit.
    let part = if is_upper_limit { 0.0 } else { common(at_zero, pattern / (1.0 + pattern)) };
    let sigma = sigma * (1.0 - part).sqrt();
    let count = cut.iter().map(|pair| 2.0 * pair.count as f64).sum::<f64>();
    // The censored sample knows s less well than a whole one, by about 1/(1 − p₀).
    let statistical = sigma / (2.0 * count).sqrt() / (1.0 - at_zero);
    // A limit says that the noise is anywhere from 0 to it.
    let of_pattern = if is_upper_limit { (pattern / 2.0).min(1.0 / 3_f64.sqrt()) } else { part / 6.0 };
    let relative = (statistical / sigma).hypot(SHAPE).hypot(of_pattern);
    let noise = Estimate::new(sigma * step, sigma * step * relative);
    let offset = measured.offset.uncertainty.0.hypot(sigma * step * relative);
    Ok(Some(Recovered {
        noise: ReadNoise {
            offset: Estimate::new(code + level * step, offset),
            variance: Estimate::new(
                (sigma * sigma + 1.0 / 12.0) * step * step,
                2.0 * sigma * sigma * relative * step * step,
            ),
            noise,
            core: noise,
            row: None,
            hidden: false,
            floor: Some(floor.code),
            ..measured.clone()
        },
        is_upper_limit,
        caveat: caveat(&floor, is_upper_limit),
    }))
}

/// The code at which the dark side is cut off, and the share of the pixels at it.
struct Floor {
    code: u16,
    share: f64,
}

impl Floor {
    /// `None` where the lowest code is the end of the noise: most pairs must have the same one, with 0.5 % of the pixels.
    fn of(pairs: &[PairStatistics]) -> Option<Self> {
        let with = |code: u16| pairs.iter().filter(move |pair| pair.lowest.0 == code);
        let code = pairs.iter().map(|pair| pair.lowest.0).max_by_key(|code| with(*code).count())?;
        let mut shares: Vec<f64> = with(code).map(|pair| pair.lowest.1).collect();
        shares.sort_by(f64::total_cmp);
        let share = shares[shares.len() / 2];
        let many = with(code).all(|pair| pair.lowest.1 * 2.0 * pair.count as f64 > FEWEST);
        let common = 3 * shares.len() >= 2 * pairs.len();
        (common && share > CLIPPED && (many || code == 0)).then_some(Self { code, share })
    }
}

/// The part of the variance before clipping that both frames of a pair share, from that of the clipped frames.
fn common(at_zero: f64, clipped: f64) -> f64 {
    let z = normal_quantile(at_zero);
    let density = normal_density(z);
    let mean = density + z * at_zero;
    let variance = z * z * at_zero + (1.0 - at_zero) + z * density - mean * mean;
    (clipped * variance / (1.0 - at_zero).powi(2)).clamp(0.0, 0.9)
}

fn caveat(floor: &Floor, is_upper_limit: bool) -> Caveat {
    let result = if is_upper_limit {
        "level and noise were computed from the rest; the pixels' own levels are in the noise, which is an upper limit"
    } else {
        "level and noise were computed from the rest, for normal noise"
    };
    Caveat::new(
        "black-clipped",
        format!(
            "{:.1} % of the dark pixels are at {}: {result}; what the dark current from the level lacks is in its interval",
            100.0 * floor.share,
            floor.code
        ),
        format!("raise the camera's offset until no dark pixel is at {}", floor.code),
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
    let (low, high) = (0.05, 5000.0);
    if !(mean_of(low)..=mean_of(high)).contains(&mean) {
        return None;
    }
    let [low, _] = bisect([low, high], 60, |sigma| mean_of(sigma) < mean);
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
