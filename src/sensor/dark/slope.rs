//! The slope of the frames' levels over their exposure times, with an uncertainty that their scatter bears out.

use crate::stats::{Estimate, Moments, polynomial_fit, variance_ratio_quantile};
use crate::units::Seconds;

use super::current::same_exposure;

/// With fewer degrees of freedom left, the temperature is not regressed on …
const ENOUGH_FREEDOM: usize = 4;
/// … nor when it wanders by less than this many kelvins beside what the exposures explain of it: readings come in tenths.
const TELLING_KELVIN: f64 = 0.05;

/// One frame's level.
#[derive(Debug, Clone, Copy)]
pub(super) struct Point {
    /// Exposure in seconds.
    pub(super) time: f64,
    /// In DN.
    pub(super) level: f64,
    /// In kelvins or °C.
    pub(super) temperature: Option<f64>,
}

/// What the wander of the temperature does to each level, by regression on time × temperature.
struct Warmth {
    /// DN.
    of_points: Vec<f64>,
    /// What the regressor shares with the time: variance of the slope for a unit variance of the residuals.
    shared: f64,
}

impl Warmth {
    /// By the theorem of Frisch, Waugh and Lovell: the regressor's coefficient is that of the parts that a line over time leaves.
    fn new(points: &[Point], at: Option<f64>) -> Option<Self> {
        let temperatures: Vec<f64> = points.iter().filter_map(|point| point.temperature).collect();
        let moments: Moments = temperatures.iter().copied().collect();
        let temperature_known = temperatures.len() == points.len() && moments.variance()?.sqrt() >= TELLING_KELVIN;
        if !temperature_known || points.len() < ENOUGH_FREEDOM + 3 {
            return None;
        }
        let at = at.or(moments.mean())?;
        let times: Vec<f64> = points.iter().map(|point| point.time).collect();
        let warm: Vec<f64> = times.iter().zip(&temperatures).map(|(time, t)| time * (t - at)).collect();
        let levels: Vec<f64> = points.iter().map(|point| point.level).collect();
        let left = |values: &[f64]| -> Option<(Vec<f64>, f64)> {
            let line = polynomial_fit(&times, values, &vec![1.0; times.len()], 1)?;
            Some((times.iter().zip(values).map(|(&time, value)| value - line.at(time)).collect(), line.coefficients[1]))
        };
        let ((of_warm, lever), (of_levels, _)) = (left(&warm)?, left(&levels)?);
        let square: f64 = of_warm.iter().map(|x| x * x).sum();
        // Where each exposure has its own temperature, time and temperature are one regressor, and the remainder is rounding.
        if square <= times.iter().map(|time| (TELLING_KELVIN * time).powi(2)).sum() {
            return None;
        }
        let coefficient = of_warm.iter().zip(&of_levels).map(|(x, y)| x * y).sum::<f64>() / square;
        Some(Self { of_points: warm.iter().map(|x| coefficient * x).collect(), shared: lever * lever / square })
    }
}

/// Slope and level at no time of frames' levels over their exposure times, at least two different ones.
///
/// Frames scatter by more than their pixels' noise: the uncertainty of the plain least-squares slope `b = Σ lᵢ yᵢ`
/// comes from the residuals (Student's t). Long darks may scatter by more than short ones, as their signal follows the
/// temperature: where the variances `vⱼ` within the exposures differ beyond chance (1 %), each exposure speaks for itself,
/// `Σ lᵢ² vⱼ` with the degrees of freedom of Welch and Satterthwaite. Where the exposures lie off the line beyond chance, their
/// distances from it count. With no degree of freedom at all, `unseen` of the slope.
///
/// Where the headers tell how the temperature wandered, `time × (temperature − at)` is a second regressor, so that what the readings
/// explain is no scatter and the slope is that of the temperature `at` (the stage's, or else the mean); readings that explain nothing cost one degree of freedom.
///
/// # Source
/// F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110; B. L. Welch, Biometrika 34 (1947) 28 (from memory;
/// JCGM 100, G.4.1, has the same formula).
pub(super) fn slope_over_time(
    points: &[Point],
    at: Option<f64>,
    unseen: impl Fn(f64) -> f64,
) -> Option<(Estimate<f64>, f64)> {
    let warmth = Warmth::new(points, at);
    let times: Vec<f64> = points.iter().map(|point| point.time).collect();
    let levels: Vec<f64> = match &warmth {
        Some(warmth) => points.iter().zip(&warmth.of_points).map(|(point, warm)| point.level - warm).collect(),
        None => points.iter().map(|point| point.level).collect(),
    };
    let fit = polynomial_fit(&times, &levels, &vec![1.0; times.len()], 1)?;
    let (at_zero, slope) = (fit.coefficients[0], fit.coefficients[1]);
    let taken = usize::from(warmth.is_some());
    let free = fit.freedom.saturating_sub(taken) as f64;
    let shared = warmth.map_or(0.0, |warmth| warmth.shared);
    let spread = fit.sigma(1).powi(-2);
    let mean_time = times.iter().sum::<f64>() / times.len() as f64;
    if fit.freedom == 0 {
        return Some((Estimate::new(slope, unseen(slope) * fit.sigma(1)), at_zero));
    }
    let mut groups: Vec<(f64, Moments)> = Vec::new();
    for (&time, &level) in times.iter().zip(&levels) {
        match groups.iter_mut().find(|group| same_exposure(Seconds(group.0), Seconds(time))) {
            Some(group) => group.1.push(level),
            None => groups.push((time, [level].into_iter().collect())),
        }
    }
    let of_residuals = Estimate::of_student(slope, (fit.chi2 / free * (1.0 / spread + shared)).sqrt(), free);
    let mut parts = Vec::new();
    let (mut within, mut replicates) = (0.0, 0.0);
    for (time, group) in &groups {
        let Some(variance) = group.variance() else { return Some((of_residuals, at_zero)) };
        let freedom = group.count() as f64 - 1.0;
        within += variance * freedom;
        replicates += freedom;
        let leverage = group.count() as f64 * ((time - mean_time) / spread).powi(2);
        parts.push(Part { variance, freedom, leverage });
    }
    let off_the_line = (fit.chi2 - within).max(0.0);
    let between = groups.len() as f64 - 2.0;
    if between > 0.0 && off_the_line / between > variance_ratio_99(between, replicates) * within / replicates {
        let of_exposures = (off_the_line / between / spread).sqrt();
        return Some((Estimate::of_student(slope, of_exposures, between), at_zero));
    }
    let alike = |(i, a): (usize, &Part)| parts[..i].iter().all(|b| a.is_like(b));
    if parts.iter().enumerate().all(alike) {
        return Some((of_residuals, at_zero));
    }
    let variance: f64 = parts.iter().map(Part::of_slope).sum::<f64>() + shared * within / replicates;
    let freedom = variance.powi(2) / parts.iter().map(|part| part.of_slope().powi(2) / part.freedom).sum::<f64>();
    Some((Estimate::of_student(slope, variance.sqrt(), freedom), at_zero))
}

/// The frames of one exposure: the variance of their levels, and what it does to the slope.
struct Part {
    variance: f64,
    freedom: f64,
    /// Σ lᵢ² over its frames.
    leverage: f64,
}

impl Part {
    fn of_slope(&self) -> f64 {
        self.leverage * self.variance
    }

    /// Whether chance explains the difference of the variances.
    fn is_like(&self, other: &Self) -> bool {
        let (more, less) = if self.variance > other.variance { (self, other) } else { (other, self) };
        more.variance <= variance_ratio_99(more.freedom, less.freedom) * less.variance
    }
}

/// The 99 % point of the ratio of two variances with these degrees of freedom (Snedecor's F).
fn variance_ratio_99(numerator: f64, denominator: f64) -> f64 {
    variance_ratio_quantile(0.99, numerator, denominator)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exposures that each have their own stated temperature: time and temperature are one regressor. The remainder was rounding
    /// noise, and its coefficient anything up to 10¹⁶; a quantile with as many degrees of freedom never came back.
    #[test]
    fn a_temperature_of_each_exposure_is_no_second_regressor() {
        for (number, (warm, count)) in [(0.1, 5), (0.01, 5), (1.0, 2), (-0.7, 8), (0.1, 3)].into_iter().enumerate() {
            for third in [false, true] {
                let mut points = Vec::new();
                for k in 0..count {
                    let wobble = |salt: usize| 0.02 * (((k + salt + number) * 7919) % 13) as f64 / 13.0;
                    let mut add = |time: f64, kelvin: f64, salt| {
                        let level = 500.0 + 0.15 * time * (1.0 + 0.1 * kelvin) + wobble(salt);
                        points.push(Point { time, level, temperature: Some(12.0 + kelvin) });
                    };
                    add(30.0, 0.0, 1);
                    add(300.0, warm, 5);
                    if third {
                        add(120.0, warm / 3.0, 3);
                    }
                }
                let (slope, _) = slope_over_time(&points, Some(12.0), |slope| slope).unwrap();
                assert!((slope.value - 0.15).abs() < 0.03 && slope.uncertainty < 0.15, "{slope:?}");
            }
        }
    }
}
