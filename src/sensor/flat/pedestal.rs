//! The level that flats have without light: the bias level, unless something was taken off them.
//!
//! Flats start at a level of their own where the transfer curve and the exposure times agree that it is not the bias
//! level.

use crate::caveat::Caveat;
use crate::stats::{Estimate, polynomial_fit};
use crate::units::{Dn, Seconds};

use crate::sensor::PairStatistics;
use crate::sensor::dark::read_noise::ReadNoise;

/// Fewer levels than this fix no pedestal beside a curve.
const FEWEST_LEVELS: usize = 5;
/// Level and curve must part by this many sigmas …
const SIGMAS: f64 = 5.0;
/// … by this share of the dimmest flat's signal …
const LEAST_SHARE: f64 = 0.05;
/// … and by this many sigmas of one pixel without light.
const LEAST_NOISES: f64 = 3.0;
/// Two ways to the pedestal agree within this share of what it is off by.
const AGREES: f64 = 0.3;
/// The light is steady when level against time is straight within this.
const STRAIGHT: f64 = 0.03;
/// Without exposure times the bias level must spoil the curve this many times, beyond what is a poor fit.
const SPOILS: f64 = 5.0;
const POOR: f64 = 4.0;

/// One flat pair: exposure, level and variance in DN and DN², relative variance of the variance.
#[derive(Debug, Clone, Copy)]
struct Point {
    exposure: f64,
    level: f64,
    variance: f64,
    relative: f64,
}

/// The flats' own level without light; `None` where it is the bias level, as far as one can tell.
///
/// ```text
/// V(P) = V0        and, where the light was steady,        y(t → 0) = P
/// ```
///
/// `V` is the quadratic through the variances of the flats against their levels as stored, without the bias frames;
/// `V0` the variance of the bias frames. Both ways must agree that `P` is not the bias level. Derived here.
pub(crate) fn flat_pedestal<'a>(
    flats: impl Iterator<Item = (Seconds, &'a PairStatistics)>,
    zero: &ReadNoise,
    cut: f64,
) -> Option<Estimate<Dn>> {
    let points: Vec<Point> = flats
        .map(|(exposure, pair)| {
            let variance = pair.scaled_variance(zero.offset.value, cut);
            let relative = pair.variance_of(variance.max(1e-9)) / variance.max(1e-9).powi(2);
            Point { exposure: exposure.0, level: pair.mean().0, variance, relative }
        })
        .filter(|point| point.variance > 0.0)
        .collect();
    if points.len() < FEWEST_LEVELS || zero.hidden {
        return None;
    }
    let (pedestal, free) = of_curve(&points, zero)?;
    let off = pedestal.value.0 - zero.offset.value.0;
    let dimmest = points.iter().map(|point| point.level - pedestal.value.0).fold(f64::INFINITY, f64::min);
    let sigma = pedestal.uncertainty.0.hypot(zero.offset.uncertainty.0);
    let large = off.abs() > (SIGMAS * sigma).max(LEAST_SHARE * dimmest).max(LEAST_NOISES * zero.variance.value.sqrt());
    if !large {
        return None;
    }
    match of_time(&points, pedestal.value.0) {
        Some(by_time) => {
            let apart = (by_time.value - pedestal.value).0.abs();
            let agrees = apart < AGREES * off.abs();
            agrees.then_some(if by_time.uncertainty < pedestal.uncertainty { by_time } else { pedestal })
        }
        // Averaged flats meet the bias frames' noise above their level; nothing that is taken off raises it.
        None if off > 0.0 => None,
        None => (anchored(&points, zero)? > SPOILS * free.max(POOR / SPOILS)).then_some(pedestal),
    }
}

/// The caveat that says so.
pub(crate) fn caveat(pedestal: &Estimate<Dn>, offset: Dn) -> Caveat {
    Caveat::new(
        "flat-pedestal",
        format!(
            "without light the flats would be at {:.1} ± {:.1} DN, the bias frames are at {:.1} DN: something was taken \
             off the flats; their own level was used",
            pedestal.value.0, pedestal.uncertainty.0, offset.0
        ),
        "measure from flats as the camera wrote them, without dark or bias taken off",
    )
}

/// Where the curve of the flats alone meets the bias frames' variance, and its χ² per degree of freedom.
fn of_curve(points: &[Point], zero: &ReadNoise) -> Option<(Estimate<Dn>, f64)> {
    let fit = curve(points.iter().copied())?;
    let freedom = fit.freedom.max(1) as f64;
    let [c0, c1, c2] = [fit.coefficients[0], fit.coefficients[1], fit.coefficients[2]];
    let mut level = zero.offset.value.0.min(points.iter().map(|point| point.level).fold(f64::INFINITY, f64::min));
    for _ in 0..30 {
        let slope = c1 + 2.0 * c2 * level;
        if slope <= 0.0 {
            return None;
        }
        level -= (c0 + c1 * level + c2 * level * level - zero.variance.value) / slope;
    }
    let powers = [1.0, level, level * level];
    let variance: f64 = (0..3)
        .flat_map(|i| (0..3).map(move |k| (i, k)))
        .map(|(i, k)| powers[i] * powers[k] * fit.covariance[i][k])
        .sum();
    let inflation = (fit.chi2 / freedom).max(1.0);
    let slope = c1 + 2.0 * c2 * level;
    let sigma = (variance.max(0.0) * inflation + zero.variance.uncertainty.powi(2)).sqrt() / slope;
    (level.is_finite() && sigma.is_finite()).then(|| (Estimate::new(level, sigma), fit.chi2 / freedom))
}

/// χ² per degree of freedom of the curve that starts at the bias frames.
fn anchored(points: &[Point], zero: &ReadNoise) -> Option<f64> {
    let relative = (zero.variance.uncertainty / zero.variance.value).powi(2).max(1e-12);
    let anchor = Point { exposure: 0.0, level: zero.offset.value.0, variance: zero.variance.value, relative };
    let fit = curve(points.iter().copied().chain([anchor]))?;
    Some(fit.chi2 / fit.freedom.max(1) as f64)
}

/// The quadratic of greatest likelihood.
fn curve(points: impl Iterator<Item = Point>) -> Option<crate::stats::PolynomialFit> {
    let points: Vec<Point> = points.collect();
    let levels: Vec<f64> = points.iter().map(|point| point.level).collect();
    let variances: Vec<f64> = points.iter().map(|point| point.variance).collect();
    let mut expected = variances.clone();
    let mut fit = None;
    for _ in 0..8 {
        let weights: Vec<f64> = points.iter().zip(&expected).map(|(point, v)| 1.0 / (point.relative * v * v)).collect();
        let next = polynomial_fit(&levels, &variances, &weights, 2)?;
        expected = levels.iter().zip(&variances).map(|(&level, &v)| next.at(level).max(0.2 * v)).collect();
        fit = Some(next);
    }
    fit
}

/// The level at no exposure; `None` where the exposure was not what changed the light.
fn of_time(points: &[Point], about: f64) -> Option<Estimate<Dn>> {
    let mut times: Vec<f64> = points.iter().map(|point| point.exposure).collect();
    times.sort_by(f64::total_cmp);
    times.dedup_by(|a, b| (*a - *b).abs() <= 1e-3 * a.abs().max(b.abs()));
    if times.len() < FEWEST_LEVELS {
        return None;
    }
    let times: Vec<f64> = points.iter().map(|point| point.exposure).collect();
    let levels: Vec<f64> = points.iter().map(|point| point.level).collect();
    let weights: Vec<f64> = levels.iter().map(|level| (level - about).max(1.0).powi(-2)).collect();
    let line = polynomial_fit(&times, &levels, &weights, 1)?;
    let scatter = (line.chi2 / line.freedom.max(1) as f64).sqrt();
    (scatter < STRAIGHT && line.coefficients[1] > 0.0)
        .then(|| Estimate::new(line.coefficients[0], scatter * line.sigma(0)))
}
