//! Photon transfer: the gain from how noise grows with light.
//!
//! # Method
//! Weights are 1/σ⁴ from the fitted curve, iterated; all sound levels count, up to 70 % of saturation where saturation
//! was seen. The curve is always a quadratic: a test that chooses between line and quadratic destroys the coverage of
//! the interval.
//!
//! The uncertainty is that of the likelihood, times √(χ²/dof) where χ² is beyond what chance gives in 1 % of cases (a
//! ratio that acts on every χ² above dof would widen the interval of half of all sound sets). In quadrature comes a
//! systematic part: how much further the gain moves between fits over parts of the range (0–30, 0–55, 10–100, 25–100 %
//! of it) than noise allows at three sigmas, over √3. A knee is reported when χ²/dof is above 4 and that part exceeds
//! 0.5 %.

use crate::stats::{Estimate, Moments, PolynomialFit, birge_ratio, polynomial_fit, polynomial_fit_with_prior};
use crate::units::{Dn, ElectronsPerDn, Quantity};

use crate::sensor::{MeasureError, NoGainCause};

/// Fits over parts of the range that price a knee into the uncertainty: lowest and highest
/// level as shares of the range's end.
const PARTIAL_RANGES: [(f64, f64); 4] = [(0.0, 0.3), (0.0, 0.55), (0.1, 1.0), (0.25, 1.0)];

/// Share of the variance that the brightest level may have lost to curvature, or won, one standard uncertainty:
/// what is known of sensors beforehand. At half of saturation thin ones lose 1 to 3 % (common practice, no source), thick
/// ones up to 8 % (from a₀₀ = −2.4e-6 per electron, Astier et al. 2019, from memory); converters that are not quite straight
/// add to it with either sign. 95 % of this law reach from −7.5 to +7.5 %: as far as the thick ones, and as far to the other
/// side. Where the levels do not spread, the gain's interval is that of this law, and holds the gain of 95 % of the sensors
/// that it describes: more of straight ones, fewer were all of them thick.
const CURVATURE_AT_BRIGHTEST: f64 = 0.038;
/// Levels that spread by this share of the brightest one speak of curvature themselves, and what is known beforehand
/// fades (judgement, no source).
const SPREAD_THAT_SPEAKS: f64 = 0.10;
/// Levels that leave the curvature as uncertain as this part of what was known beforehand do not show it.
const NARROW: f64 = 0.7;
/// Beyond so much nothing is left of it.
const FADED: f64 = 1e3;

/// Fewer pairs of flats than this make a shaky gain; a range that holds as many needs no brighter ones.
pub(crate) const ENOUGH_LEVELS: usize = 5;

/// A partial fit must differ by this many of the sigmas it may differ by, before the
/// difference counts as systematic: with four parts, two sigmas would be seen in every sixth sound set.
const NOTICED_SIGMAS: f64 = 3.0;

/// A knee is reported when the fit's residuals are this many times what noise explains …
const KINK_CHI2_PER_DOF: f64 = 4.0;
/// … and the gain moves with the range by more than this many percent.
const KINK_SYSTEMATIC_PERCENT: f64 = 0.5;

/// One level of the transfer curve: a pair of flats, or the dark pairs together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Mean in DN, offset taken off.
    pub mean: Dn,
    /// Temporal variance in DN².
    pub variance: f64,
    /// Relative variance of that variance: 2 (1 + κ/2) / n for n pixels.
    pub relative: f64,
}

/// The transfer curve `V(μ) = V0 + K μ + a μ²` fitted to the levels.
#[derive(Debug, Clone, PartialEq)]
pub struct TransferFit {
    /// Electrons per DN at small signal, 1/K, systematic part included.
    pub gain: Estimate<ElectronsPerDn>,
    /// Curvature a per electron, with the statistical uncertainty.
    pub quadratic_per_e: Estimate<f64>,
    /// Lowest and highest level with light that was used, in DN.
    pub range: [Dn; 2],
    /// Weighted squared residuals per degree of freedom.
    pub chi2_per_dof: f64,
    /// Systematic part of the gain's uncertainty in percent.
    pub systematic_percent: f64,
    /// Relative uncertainty of the gain from the pairs alone, the curvature held: what they agree to with each other.
    pub pairs_relative: f64,
    /// Whether the levels are so close to each other that most of the gain's uncertainty is that of a curvature which
    /// they do not show.
    pub is_narrow: bool,
    /// The level in DN at which the slope jumps, with the slopes below and above in DN/e⁻ …
    pub kink: Option<Kink>,
    polynomial: PolynomialFit,
    /// Of the variance that the level without light was fitted with, the part that is its own as measured.
    of_dark: f64,
}

/// A level at which the transfer curve changes its slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kink {
    /// Where.
    pub at: Dn,
    /// DN²/DN just below.
    pub below: f64,
    /// DN²/DN just above.
    pub above: f64,
}

impl TransferFit {
    /// Whether the levels scatter about the curve by much more than noise allows.
    #[must_use]
    pub fn is_poor(&self) -> bool {
        self.chi2_per_dof > KINK_CHI2_PER_DOF
    }

    /// Covariance of the slope K with the variance of the level without light, in DN²·DN²/DN: where the flats are
    /// dim, a read noise that comes out high makes the slope come out low.
    #[must_use]
    pub fn covariance_with_dark(&self) -> f64 {
        self.polynomial.covariance[1][0] * self.of_dark
    }

    /// The same fit, where of the variance given to the level without light only this part is that of its measured noise.
    pub(crate) fn with_dark_measured_to(self, part: f64) -> Self {
        Self { of_dark: part, ..self }
    }
}

/// Fits the transfer curve by maximum likelihood.
///
/// Weighted least squares with weights 1/σ⁴ from the fitted curve itself, iterated: this is
/// maximum likelihood for variances of normal differences, and reaches the Cramér–Rao bound
/// of the model. The curve is always a quadratic; a choice between line and quadratic would
/// spoil the interval. The curvature takes up the brighter-fatter effect (a₀₀ of the
/// literature) as well as mild nonlinearity, so the gain is the slope at no signal.
///
/// Levels close to each other cannot show a curvature: they are told that the brightest has lost 0 ± 3.8 % of its
/// variance to it, and the gain is as uncertain as that makes it. The more the levels spread, the less they are told:
///
/// ```text
/// σ_a = 3.8 % · V_max/μ_max² · exp(s² / (2 · 0.1²)),    s = standard deviation of μ/μ_max over the levels with light
/// ```
///
/// At ± 0.5 % of drift that is all that is known of the curvature, over a ladder from 1 to 70 % it is nothing.
///
/// The uncertainty is inflated by √(χ²/dof) where the levels scatter beyond chance, and a systematic part is
/// added where fits over parts of the range disagree by more than noise allows.
///
/// # Source
/// Weights and bound: derived from the normal likelihood (Cramér–Rao; Janesick, Photon
/// Transfer, 2007, from memory, for the model). Quadratic term: Astier et al. 2019,
/// A&A 629 A36, equation 16 to second order.
///
/// # Errors
/// [`MeasureError::NoGain`] when the levels fix no slope (a single one, dark or not), [`MeasureError::NoSlope`]
/// when the variance does not grow.
pub fn transfer_fit(levels: &[Level]) -> Result<TransferFit, MeasureError> {
    let lit = levels.iter().filter(|level| level.mean.0 > 0.0).count();
    let polynomial = likelihood_fit(levels).ok_or(MeasureError::NoGain { levels: lit, why: NoGainCause::Unknown })?;
    let slope = polynomial.coefficients[1];
    if slope <= 0.0 || !slope.is_finite() {
        return Err(MeasureError::NoSlope { slope });
    }
    let chi2_per_dof = polynomial.chi2 / polynomial.freedom.max(1) as f64;
    let inflation = birge_ratio(polynomial.chi2, polynomial.freedom);
    let c = &polynomial.covariance;
    let held = (c[1][1] - c[1][2] * c[1][2] / c[2][2].max(f64::MIN_POSITIVE)).clamp(0.0, c[1][1]);
    // What is known beforehand of the curvature does not scatter, whatever the levels do.
    let known = known_curvature(levels);
    let told = known.map_or(0.0, |sigma| (polynomial.sigma(2) / sigma).powi(2).min(1.0));
    let square = inflation * inflation;
    let relative = (held * square + (c[1][1] - held) * (told + (1.0 - told) * square)).sqrt() / slope;
    let systematic = systematic(levels, &polynomial);
    let gain = 1.0 / slope;
    let mut range = [f64::INFINITY, 0.0];
    for level in levels.iter().filter(|level| level.mean.0 > 0.0) {
        range = [range[0].min(level.mean.0), range[1].max(level.mean.0)];
    }
    let systematic_percent = 100.0 * systematic;
    let held = held.sqrt() / slope * inflation;
    let kinked = chi2_per_dof > KINK_CHI2_PER_DOF && systematic_percent > KINK_SYSTEMATIC_PERCENT;
    Ok(TransferFit {
        gain: Estimate::new(gain, gain * relative.hypot(systematic)).with_statistical(gain * relative),
        quadratic_per_e: Estimate::new(polynomial.coefficients[2], polynomial.sigma(2) * inflation),
        range: range.map(Dn::new),
        chi2_per_dof,
        systematic_percent,
        pairs_relative: held,
        is_narrow: told > NARROW * NARROW && lit >= 3 && held < relative / 2.0,
        kink: if kinked { kink(levels) } else { None },
        polynomial,
        of_dark: 1.0,
    })
}

/// The weight of a level whose expected variance is `expected`.
fn weight(level: &Level, expected: f64) -> f64 {
    1.0 / (level.relative * expected * expected)
}

/// Iterated weighted least squares of the quadratic; `None` if the levels do not fix it.
pub(crate) fn likelihood_fit(levels: &[Level]) -> Option<PolynomialFit> {
    let means: Vec<f64> = levels.iter().map(|level| level.mean.0).collect();
    let variances: Vec<f64> = levels.iter().map(|level| level.variance).collect();
    if variances.iter().any(|&variance| variance <= 0.0) {
        return None;
    }
    let prior = known_curvature(levels);
    let mut expected = variances.clone();
    let mut fit = None;
    for _ in 0..100 {
        let weights: Vec<f64> = levels.iter().zip(&expected).map(|(level, &v)| weight(level, v)).collect();
        let next = match prior {
            Some(prior) => polynomial_fit_with_prior(&means, &variances, &weights, 2, prior)?,
            None => polynomial_fit(&means, &variances, &weights, 2)?,
        };
        let fitted: Vec<f64> = means.iter().zip(&variances).map(|(&m, &v)| next.at(m).max(0.2 * v)).collect();
        let moved = fitted.iter().zip(&expected).any(|(new, old)| (new - old).abs() > 1e-12 * old);
        expected = fitted;
        fit = Some(next);
        if !moved {
            break;
        }
    }
    fit
}

/// What is known of the curvature beside the levels: 0 within so many DN²/DN²; `None` where they spread widely.
fn known_curvature(levels: &[Level]) -> Option<f64> {
    let lit = || levels.iter().filter(|level| level.mean.0 > 0.0);
    let brightest = lit().max_by(|a, b| a.mean.0.total_cmp(&b.mean.0))?;
    let shares: Moments = lit().map(|level| level.mean / brightest.mean).collect();
    let count = shares.count() as f64;
    let square = shares.variance().unwrap_or(0.0) * (count - 1.0) / count;
    let faded = (square / (2.0 * SPREAD_THAT_SPEAKS * SPREAD_THAT_SPEAKS)).exp();
    (faded < FADED).then(|| CURVATURE_AT_BRIGHTEST * faded * brightest.variance / brightest.mean.0.powi(2))
}

/// Systematic part of the gain, relative: how much more the gain moves with the range than
/// its noise allows, taken as the half width of a rectangular distribution (JCGM 100, 4.3.7).
fn systematic(levels: &[Level], whole: &PolynomialFit) -> f64 {
    let end = levels.iter().map(|level| level.mean.0).fold(0.0, f64::max);
    let slope = whole.coefficients[1];
    let excess = |(low, high): (f64, f64)| -> Option<f64> {
        let part: Vec<Level> = levels
            .iter()
            .filter(|level| level.mean.0 <= 0.0 || (low * end..=high * end).contains(&level.mean.0))
            .copied()
            .collect();
        let lit = part.iter().filter(|level| level.mean.0 > 0.0).count();
        if lit < 3 || part.len() < 4 || part.len() == levels.len() {
            return None;
        }
        let fit = likelihood_fit(&part)?;
        // The whole is efficient, so the variance of the difference is the difference of the variances.
        let allowed = (fit.sigma(1).powi(2) - whole.sigma(1).powi(2)).max(0.0) * NOTICED_SIGMAS.powi(2);
        let moved = (fit.coefficients[1] - slope).powi(2);
        Some((moved - allowed).max(0.0).sqrt() / slope)
    };
    PARTIAL_RANGES.into_iter().filter_map(excess).fold(0.0, f64::max) / 3_f64.sqrt()
}

/// The best place for a jump of the slope among the levels.
fn kink(levels: &[Level]) -> Option<Kink> {
    let mut sorted: Vec<Level> = levels.to_vec();
    sorted.sort_by(|a, b| a.mean.0.total_cmp(&b.mean.0));
    let line = |part: &[Level]| {
        let means: Vec<f64> = part.iter().map(|level| level.mean.0).collect();
        let variances: Vec<f64> = part.iter().map(|level| level.variance).collect();
        let weights: Vec<f64> = part.iter().map(|level| weight(level, level.variance)).collect();
        polynomial_fit(&means, &variances, &weights, 1)
    };
    let mut best: Option<(f64, Kink)> = None;
    for split in 3..sorted.len().saturating_sub(2) {
        let (low, high) = sorted.split_at(split);
        let (Some(low_fit), Some(high_fit)) = (line(low), line(high)) else { continue };
        let chi2 = low_fit.chi2 + high_fit.chi2;
        let at = Dn((low[split - 1].mean.0 + high[0].mean.0) / 2.0);
        let kink = Kink { at, below: low_fit.coefficients[1], above: high_fit.coefficients[1] };
        if best.as_ref().is_none_or(|(least, _)| chi2 < *least) {
            best = Some((chi2, kink));
        }
    }
    best.map(|(_, kink)| kink)
}

/// EMVA 1288's K in DN/e⁻: the slope of an unweighted line through the origin, dark variance
/// and offset taken off. The caller passes the points from 0 to 70 % of saturation.
///
/// `None` without signal.
///
/// # Source
/// EMVA 1288 Release 4.0 Linear, equations 50 and 51; public quotations differ on whether
/// the line has an offset, this is the form without.
#[must_use]
pub fn emva_slope(means: &[f64], variances: &[f64]) -> Option<f64> {
    let squares: f64 = means.iter().map(|mean| mean * mean).sum();
    let products: f64 = means.iter().zip(variances).map(|(mean, variance)| mean * variance).sum();
    (squares > 0.0).then(|| products / squares)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(curve: impl Fn(f64) -> f64) -> Vec<Level> {
        (0..=12)
            .map(|i| f64::from(i) * 300.0)
            .map(|mean| Level { mean: Dn(mean), variance: curve(mean), relative: 2e-5 })
            .collect()
    }

    #[test]
    fn finds_gain_and_curvature_of_an_exact_curve() {
        let fit = transfer_fit(&exact(|mean| 2.0 + 0.4 * mean - 1e-6 * mean * mean)).unwrap();
        // What is known of curvature beforehand has faded to some 2e-8 of the gain over such a ladder.
        approx::assert_relative_eq!(fit.gain.value.0, 2.5, max_relative = 1e-7);
        approx::assert_relative_eq!(fit.quadratic_per_e.value, -1e-6, max_relative = 1e-2);
        assert!(fit.kink.is_none() && fit.systematic_percent < 1e-6);
    }

    #[test]
    fn a_knee_is_found_and_priced_in() {
        let knee = |mean: f64| 2.0 + 0.40 * mean + 0.04 * (mean - 700.0).max(0.0);
        let fit = transfer_fit(&exact(knee)).unwrap();
        let kink = fit.kink.expect("a knee");
        assert!((600.0..=900.0).contains(&kink.at.0), "{kink:?}");
        assert!(fit.gain.covers(2.5), "{:?}", fit.gain);
        assert!(fit.systematic_percent > 1.0);
    }

    #[test]
    fn one_lit_level_gives_a_gain_as_wide_as_curvature_can_be() {
        let two: Vec<Level> = exact(|mean| 2.0 + 0.5 * mean).into_iter().take(2).collect();
        let gain = transfer_fit(&two).unwrap().gain;
        assert!((gain.value.0 - 2.0).abs() < 0.02 && (0.036..0.042).contains(&gain.relative()), "{gain:?}");
    }

    #[test]
    fn what_is_known_of_curvature_fades_as_the_levels_spread() {
        let at = |first: f64| -> Vec<Level> {
            let levels = [0.0, first, (first + 3600.0) / 2.0, 3600.0].map(|mean| (mean, 2.0 + 0.5 * mean));
            levels.map(|(mean, variance)| Level { mean: Dn(mean), variance, relative: 2e-5 }).to_vec()
        };
        let relative = |first: f64| transfer_fit(&at(first)).unwrap().gain.relative();
        assert!((0.035..0.042).contains(&relative(3580.0)), "{}", relative(3580.0));
        assert!(transfer_fit(&at(3580.0)).unwrap().is_narrow && !transfer_fit(&at(400.0)).unwrap().is_narrow);
        let falling: Vec<f64> = [3580.0, 3000.0, 2000.0, 1000.0].map(relative).to_vec();
        assert!(falling.windows(2).all(|pair| pair[1] < pair[0]), "{falling:?}");
        let free = likelihood_fit(&at(36.0)).unwrap();
        let means = [0.0, 36.0, 1818.0, 3600.0];
        let variances = means.map(|mean| 2.0 + 0.5 * mean);
        let weights = variances.map(|v| 1.0 / (2e-5 * v * v));
        let plain = polynomial_fit(&means, &variances, &weights, 2).unwrap();
        approx::assert_relative_eq!(free.sigma(1), plain.sigma(1), max_relative = 1e-3);
    }

    #[test]
    fn a_level_without_light_is_no_gain() {
        let one: Vec<Level> = exact(|mean| 2.0 + mean).into_iter().take(1).collect();
        assert!(transfer_fit(&one).is_err());
    }

    #[test]
    fn variance_that_falls_with_light_is_an_error() {
        assert!(matches!(transfer_fit(&exact(|mean| 5000.0 - mean)), Err(MeasureError::NoSlope { .. })));
    }
}
