//! The slope of the frames' levels over their exposure times, with an uncertainty that their scatter bears out.

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use crate::stats::{Estimate, Moments, polynomial_fit};
use crate::units::Seconds;

use super::current::same_exposure;

/// Slope and level at no time of frames' levels over their exposure times, at least two different ones.
///
/// Frames scatter by more than their pixels' noise: the uncertainty of the plain least-squares slope `b = Σ lᵢ yᵢ`
/// comes from the residuals (Student's t). Long darks may scatter by more than short ones, as their signal follows the
/// temperature: where the variances `vⱼ` within the exposures differ beyond chance (1 %), each exposure speaks for itself,
/// `Σ lᵢ² vⱼ` with the degrees of freedom of Welch and Satterthwaite. Where the exposures lie off the line beyond chance, their
/// distances from it count. With no degree of freedom at all, `unseen` of the slope.
///
/// # Source
/// F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110; B. L. Welch, Biometrika 34 (1947) 28 (from memory;
/// JCGM 100, G.4.1, has the same formula).
pub(super) fn slope_over_time(points: &[(f64, f64)], unseen: impl Fn(f64) -> f64) -> Option<(Estimate<f64>, f64)> {
    let (times, levels): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let fit = polynomial_fit(&times, &levels, &vec![1.0; times.len()], 1)?;
    let (at_zero, slope) = (fit.coefficients[0], fit.coefficients[1]);
    let spread = fit.sigma(1).powi(-2);
    let mean_time = times.iter().sum::<f64>() / times.len() as f64;
    if fit.freedom == 0 {
        return Some((Estimate::new(slope, unseen(slope) * fit.sigma(1)), at_zero));
    }
    let mut groups: Vec<(f64, Moments)> = Vec::new();
    for &(time, level) in points {
        match groups.iter_mut().find(|group| same_exposure(Seconds(group.0), Seconds(time))) {
            Some(group) => group.1.push(level),
            None => groups.push((time, [level].into_iter().collect())),
        }
    }
    let of_residuals = Estimate::of_student(slope, (fit.chi2 / fit.freedom as f64 / spread).sqrt(), fit.freedom as f64);
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
    let variance: f64 = parts.iter().map(Part::of_slope).sum();
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
    FisherSnedecor::new(numerator, denominator).map_or(f64::INFINITY, |law| law.inverse_cdf(0.99))
}
