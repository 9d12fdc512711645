//! Read noise and offset from pairs without light.
//!
//! # Method
//! The mean of the bias pairs' variances less step²/12; of three pairs or more, one with twice the median variance is
//! left out and named. Row noise is known from as many values as there are rows, and widens the uncertainty
//! accordingly. The core is clipped at four robust sigmas and the clipping undone.
//!
//! Near one step, the unknown place of the level between two steps makes an error like a cosine, with a hard end: the
//! interval is that of a normal error and such a cosine together. Below 0.24 step² the read noise is an upper limit of
//! 0.40 step (EMVA 1288). In electrons its error is not independent of the gain's, which was fitted to the same bias
//! frames.

use crate::stats::{Estimate, Moments, birge_ratio, bisect, chi2_quantile, half_interval_of_phase};
use crate::units::Dn;

use crate::sensor::PairStatistics;
use crate::sensor::flat::transfer::Level;

/// Below this variance in squared steps the converter's steps hide the noise
/// (EMVA 1288 Release 4.0 Linear, equation 54: 0.24 DN²).
pub(crate) const HIDDEN_VARIANCE: f64 = 0.24;
/// The limit that is then stated, in steps (the same equation).
pub(crate) const HIDDEN_LIMIT: f64 = 0.40;

/// An interval whose middle is off its value by more than this part of it has two sides.
const SKEWED: f64 = 1e-6;
/// From this noise on, in steps, the first harmonic is all that the place between two steps does to a variance …
const ONE_HARMONIC: f64 = 0.35;
/// … and to this one it matters.
const NO_HARMONIC: f64 = 0.8;
/// What rows share, both their halves have to this part.
const COMMON: f64 = 0.5;

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
    /// DN from one code to the next.
    pub step: f64,
    /// The steps hide the noise; `noise` is a limit.
    pub hidden: bool,
    /// Scatter of the frames' levels in DN.
    pub level_scatter: f64,
    /// What the level of other frames, taken at some other moment, may be off the mean of these, in DN: the uncertainty of
    /// the mean, and all of the scatter that is no chance from frame to frame.
    pub level_doubt: f64,
    /// Variance in DN⁴ of the pairs' variances beyond what their pixels allow: noise that is another in each pair, as
    /// waves over the frame make it.
    pub variance_scatter: f64,
    /// The variance in DN⁴ of a frame's spatial variance from waves over it.
    pub of_waves: f64,
    /// Differences beyond this many DN may be events.
    pub event_limit: f64,
    /// The code at which the dark side of the noise is cut off, if it is.
    pub floor: Option<u16>,
}

impl ReadNoise {
    /// How far in DN the steps may move the mean level, and in DN² a variance. What hides below the steps is no surer than half
    /// of what is seen of it.
    pub(crate) fn hidden_by_steps(&self) -> [f64; 2] {
        let seen = (self.variance.value / (self.step * self.step) - 1.0 / 12.0).max(0.0).sqrt();
        let noise = if self.hidden { seen / 2.0_f64.sqrt() } else { seen };
        [level_amplitude(noise) * self.step, phase_amplitude(noise) * self.step * self.step]
    }

    /// The level without light of the transfer curve. The place between two steps is unknown, so where these are
    /// coarse its variance is too.
    pub(crate) fn level(&self) -> Level {
        let variance = self.variance.value.max(f64::MIN_POSITIVE);
        let phase = phase_amplitude(self.noise.value.0 / self.step) * self.step * self.step / 2.0_f64.sqrt();
        let relative = (self.variance.uncertainty.powi(2) + phase * phase) / (variance * variance);
        Level { mean: Dn(0.0), variance, relative: relative.max(1e-12) }
    }

    /// The same for flats whose own level without light may be off that of the frames without light, the variance growing
    /// by `slope` DN²/DN: where the curve meets it is as uncertain as that level.
    ///
    /// ```text
    /// u² = u²(V₀) + (K u(offset))²
    /// ```
    ///
    /// To first order a level that is off by δ moves all flats by δ, or the point without light by −δ.
    pub(crate) fn level_for_flats(&self, slope: f64) -> Level {
        let own = self.level();
        Level { relative: own.relative + (slope * self.level_doubt / own.variance).powi(2), ..own }
    }
}

/// Pools pairs without light; `extra` are the means of frames that found no partner.
///
/// `None` without pairs.
pub(crate) fn read_noise(pairs: &[PairStatistics], extra: &[f64], step: f64) -> Option<ReadNoise> {
    if pairs.is_empty() {
        return None;
    }
    let in_order: Vec<f64> = pairs.iter().flat_map(|pair| pair.means).chain(extra.iter().copied()).collect();
    let levels: Moments = in_order.iter().copied().collect();
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
        step,
        hidden,
        level_scatter: levels.variance().unwrap_or(0.0).sqrt(),
        level_doubt: (levels.variance().unwrap_or(0.0) / levels.count() as f64 + slow_variance(&in_order)).sqrt(),
        variance_scatter: scatter_beyond_pixels(pairs),
        of_waves: pairs.iter().map(PairStatistics::of_waves).sum::<f64>() / pairs.len() as f64,
        event_limit: pairs.iter().map(|pair| pair.event_limit).fold(0.0, f64::max),
        floor: None,
    })
}

/// Row noise where it stands out from the pairs' scatter by two sigmas.
///
/// ```text
/// σ_row² = Var(row means of d)/2 − σ_within²/columns,    d = y0 − y1
/// ```
///
/// Derived here: the variance of the means of rows of independent pixels taken off. Waves and blotches move the means of rows
/// too; then the two halves of a row share little of it, and nothing is said of rows.
fn row_noise(pairs: &[PairStatistics]) -> Option<Estimate<Dn>> {
    let values: Moments = pairs.iter().map(|pair| pair.row_variance).collect();
    let mean = values.mean()?;
    let sigma =
        pairs.iter().map(PairStatistics::row_variance_sigma).map(|s| s * s).sum::<f64>().sqrt() / pairs.len() as f64;
    let common: Moments = pairs.iter().map(PairStatistics::row_common).collect();
    let is_common = common.mean().unwrap_or(0.0) > COMMON * mean;
    (mean > 2.0 * sigma && mean > 0.0 && is_common).then(|| Estimate::new(mean.sqrt(), sigma / (2.0 * mean.sqrt())))
}

/// The mean of frame means; its uncertainty is their scatter, for the level of a frame
/// wanders by more than its pixels' noise explains. Few frames know their scatter badly:
/// Student's t. A single frame takes `of_one`.
pub(crate) fn mean_level(levels: &Moments, of_one: f64) -> Estimate<Dn> {
    let mean = levels.mean().unwrap_or(0.0);
    let frames = levels.count() as f64;
    match levels.variance() {
        Some(variance) => Estimate::of_student(mean, (variance / frames).sqrt(), frames - 1.0),
        None => Estimate::new(mean, of_one),
    }
}

/// The variance of levels that goes slowly, or in steps: what their differences from frame to frame do not explain. It does not
/// average out.
///
/// ```text
/// s² − δ²/2,    δ² = mean square of successive differences
/// ```
///
/// # Source
/// J. von Neumann, Annals of Mathematical Statistics 12 (1941) 367 (from memory): both are the variance where levels are independent.
fn slow_variance(in_order: &[f64]) -> f64 {
    let all: Moments = in_order.iter().copied().collect();
    let steps: Moments = in_order.windows(2).map(|two| (two[1] - two[0]).powi(2) / 2.0).collect();
    (all.variance().unwrap_or(0.0) - steps.mean().unwrap_or(0.0)).max(0.0)
}

/// By how much the variances of pairs scatter beyond their pixels and chance: as they do, or as the waves in each of them must.
fn scatter_beyond_pixels(pairs: &[PairStatistics]) -> f64 {
    let values: Moments = pairs.iter().map(PairStatistics::variance).collect();
    let waves: Moments = pairs.iter().map(PairStatistics::of_waves).collect();
    let of_waves = waves.mean().unwrap_or(0.0);
    let (Some(mean), Some(scatter)) = (values.mean(), values.variance()) else { return of_waves };
    let of_pixels = pairs.iter().map(|pair| pair.variance_without_waves(mean)).sum::<f64>() / pairs.len() as f64;
    let chi2 = scatter * (pairs.len() as f64 - 1.0) / of_pixels.max(f64::MIN_POSITIVE);
    (of_pixels * (birge_ratio(chi2, pairs.len() - 1).powi(2) - 1.0)).max(of_waves)
}

/// Mean of the pairs' variances. Its uncertainty is that of the pixels, with their kurtosis, and of the waves in them; where the
/// pairs scatter beyond what their pixels allow, their scatter, if that is more.
fn pooled(pairs: &[PairStatistics], statistic: impl Fn(&PairStatistics) -> f64) -> Estimate<f64> {
    let values: Moments = pairs.iter().map(&statistic).collect();
    let mean = values.mean().unwrap_or(0.0);
    let count = pairs.len() as f64;
    let mean_of = |of: &dyn Fn(&PairStatistics) -> f64| pairs.iter().map(of).sum::<f64>() / count;
    let of_pixels = mean_of(&|pair| pair.variance_without_waves(mean));
    let with_waves = mean_of(&|pair| pair.variance_of(mean));
    let chi2 = values.variance().unwrap_or(0.0) * (count - 1.0) / of_pixels.max(f64::MIN_POSITIVE);
    let scatter = birge_ratio(chi2, pairs.len() - 1);
    let of_mean = ((of_pixels * scatter * scatter).max(with_waves) / count).sqrt();
    let known =
        if scatter > 1.0 { Estimate::of_student(mean, of_mean, count - 1.0) } else { Estimate::new(mean, of_mean) };
    let of_waves = mean_of(&|pair| pair.of_waves()) / count;
    of_few_waves(known, mean_of(&|pair| pair.in_waves()), of_waves)
}

/// A variance of which a part is that of waves: few of them make a χ², whose mean lies further above what is seen than below. With
/// `of_waves` for the variance of the part `in_waves`:
///
/// ```text
/// ν = 2 σ_w⁴ / Var(σ_w²),    σ_w² ν/χ²(0.975, ν) … σ_w² ν/χ²(0.025, ν)
/// ```
///
/// and about the rest as it was known. One wave has two degrees of freedom, of which four are seen in the mean: its interval is too
/// narrow still.
///
/// # Source
/// The interval of a variance: any text (JCGM 100, G.4, for the degrees of freedom from two moments); joining both: derived here.
fn of_few_waves(known: Estimate<f64>, in_waves: f64, of_waves: f64) -> Estimate<f64> {
    if in_waves <= 0.0 || of_waves <= 0.0 {
        return known;
    }
    let freedom = (2.0 * in_waves * in_waves / of_waves).max(2.0);
    let to = |p: f64| in_waves * (freedom / chi2_quantile(p, freedom) - 1.0);
    // Their own part of what was known is that of a normal law.
    let (low, high) = known.interval();
    let rest = |half: f64| (half * half - 1.96 * 1.96 * of_waves).max(0.0).sqrt();
    let interval = (
        (known.value - rest(known.value - low).hypot(to(0.975))).max(0.0).min(low),
        (known.value + rest(high - known.value).hypot(to(0.025))).max(high),
    );
    Estimate::new(known.value, known.uncertainty.max((interval.1 - interval.0) / (2.0 * 1.96))).with_interval(interval)
}

/// The noise behind a variance: steps' q²/12 removed (EMVA 1288 Release 4.0 Linear,
/// equation 53), with the error that the unknown place between two steps makes for noises near one step.
fn root(variance: &Estimate<f64>, step: f64) -> Estimate<Dn> {
    let noise = (variance.value - step * step / 12.0).max(0.0).sqrt();
    if noise <= 0.0 {
        // All of it may be the steps': what it is at most goes with the root of what the variance may be.
        let statistical = variance.uncertainty.sqrt();
        let half = variance.interval_95.map(|(low, high)| ((high - low) / 2.0).max(0.0).sqrt());
        let both = Estimate::new(0.0, statistical.hypot(step * phase_amplitude(0.0).sqrt()));
        return half.map_or(both, |half| both.with_half_interval(half)).with_statistical(statistical);
    }
    let statistical = variance.uncertainty / (2.0 * noise);
    let phase = phase_amplitude(noise / step) * step * step / (2.0 * noise);
    let both = Estimate::new(noise, statistical.hypot(phase / 2.0_f64.sqrt()));
    let both = match variance.interval_95 {
        Some((low, high)) if (high + low - 2.0 * variance.value).abs() > SKEWED * (high - low) => {
            let [low, high] = [low, high].map(|end| (end - step * step / 12.0).max(0.0).sqrt());
            both.with_interval(((noise - (noise - low).hypot(phase)).max(0.0), noise + (high - noise).hypot(phase)))
        }
        Some((low, high)) => both.with_half_interval(((high - low) / (4.0 * noise)).hypot(phase)),
        None if phase > 0.1 * statistical => both.with_half_interval(half_interval_of_phase(statistical, phase)),
        None => both,
    };
    let least = step * least_noise(variance.interval().0 / (step * step));
    let (low, high) = both.interval();
    let both = if noise < NO_HARMONIC * step && least < low { both.with_interval((least, high)) } else { both };
    both.with_statistical(statistical)
}

/// The least noise in steps that can show this variance in squared steps, wherever its level lies between two of them: on the edge
/// of two codes a noise of 0.35 steps shows little more than none does, a quarter.
fn least_noise(variance: f64) -> f64 {
    let most = |noise: f64| noise * noise + 1.0 / 12.0 + harmonic(noise);
    if variance <= most(ONE_HARMONIC) {
        return 0.0;
    }
    bisect([ONE_HARMONIC, variance.sqrt()], 50, |noise| most(noise) < variance)[0]
}

/// Largest error in squared steps of a variance from the place of the level between two steps, for a normal noise
/// of `noise` steps; as the place goes, the error goes like a cosine.
///
/// ```text
/// A = (1 + 4 π² σ²) exp(−2 π² σ²) / π²
/// ```
///
/// The first harmonic of the quantised normal distribution (derived here): ± 10 % of the noise at 0.40 steps, 4 % at
/// 0.45, 0.2 % at 0.60, nothing from 0.8 on.
pub(crate) fn phase_amplitude(noise: f64) -> f64 {
    // Below 0.4 steps the harmonics pile up, and the noise is an upper limit anyway.
    harmonic(noise.max(HIDDEN_LIMIT))
}

/// The first harmonic alone.
fn harmonic(noise: f64) -> f64 {
    const SQUARE: f64 = std::f64::consts::PI * std::f64::consts::PI;
    let variance = noise * noise;
    (1.0 + 4.0 * SQUARE * variance) * (-2.0 * SQUARE * variance).exp() / SQUARE
}

/// Largest error in steps of a mean level from its place between two steps, for a normal noise of `noise` steps.
///
/// ```text
/// A = exp(−2 π² σ²) / π
/// ```
///
/// The first harmonic of the quantised normal distribution (derived here): 0.05 steps at 0.3, 0.014 at 0.4, nothing from 0.8 on.
pub(crate) fn level_amplitude(noise: f64) -> f64 {
    const SQUARE: f64 = std::f64::consts::PI * std::f64::consts::PI;
    (-2.0 * SQUARE * noise * noise).exp() / std::f64::consts::PI
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the mean of a normal variable rounded to whole numbers, summed code by code.
    #[test]
    fn a_mean_level_between_two_steps_errs_as_far_as_said() {
        for noise in [0.3, 0.4, 0.5] {
            let mean = |level: f64| {
                let share = |code: f64| crate::stats::normal_share_below((code + 0.5 - level) / noise);
                (-6..=6)
                    .map(|code| f64::from(code) * (share(f64::from(code)) - share(f64::from(code) - 1.0)))
                    .sum::<f64>()
            };
            let worst = (0..100).map(|k| f64::from(k) / 100.0).map(|at| (mean(at) - at).abs()).fold(0.0, f64::max);
            approx::assert_relative_eq!(worst, level_amplitude(noise), max_relative = 0.02);
        }
    }

    /// Against the variance of a normal variable rounded to whole numbers, summed code by code, of a level on the edge of two codes.
    #[test]
    fn a_noise_on_the_edge_of_two_codes_is_within_its_interval() {
        for noise in [0.1, 0.3, 0.35, 0.4, 0.45, 0.6] {
            let share = |code: f64| {
                let below = |end: f64| crate::stats::normal_share_below((end - 0.5) / noise);
                below(code + 0.5) - below(code - 0.5)
            };
            let moment =
                |power: i32| (-8..=8).map(|code| f64::from(code).powi(power) * share(f64::from(code))).sum::<f64>();
            let shown = moment(2) - moment(1).powi(2);
            let found = root(&Estimate::new(shown, 1e-4), 1.0);
            assert!(found.covers(noise), "{noise}: {:?}", found.interval());
            assert!(
                noise < ONE_HARMONIC || (least_noise(shown) / noise - 1.0).abs() < 0.02 || least_noise(shown) == 0.0
            );
        }
    }

    #[test]
    fn the_steps_own_variance_is_removed() {
        let noise = root(&Estimate::new(4.0 + 16.0 / 12.0, 0.0), 4.0);
        approx::assert_relative_eq!(noise.value.0, 2.0, epsilon = 1e-12);
    }

    /// Against exact sums over the quantised normal distribution, whose noise errs by so many percent at most.
    #[test]
    fn the_phase_error_is_that_of_exact_sums() {
        for (noise, percent, tolerance) in [(0.40, 9.5, 0.5), (0.45, 4.0, 0.3), (0.50, 1.6, 0.1), (0.60, 0.2, 0.05)] {
            let relative = 100.0 * phase_amplitude(noise) / (2.0 * noise * noise);
            assert!((relative - percent).abs() < tolerance, "{noise}: {relative}");
        }
        assert!(phase_amplitude(0.8) < 1e-5);
    }
}
