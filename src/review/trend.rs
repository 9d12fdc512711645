//! How a number changes over a night, whatever single subs do.

use crate::stats::median;

/// More points than this are thinned out: every two of them make a slope.
const MOST_POINTS: usize = 600;
/// A slope as uncertain as this, in parts an hour, is given only where it stands out.
const UNCERTAIN: f64 = 0.1;
/// Uncertainties by which a slope stands out.
const STANDS_OUT: f64 = 3.0;
/// The median deviation of a normal distribution over its standard deviation.
const MEDIAN_DEVIATION: f64 = 0.6745;

/// The slope over hours of points that may hold outliers, in parts an hour; `None` where it is not determined: with fewer than
/// three points, or of a few minutes that scatter.
///
/// ```text
/// b = median over all pairs of (y_j − y_i) / (x_j − x_i)
/// ```
///
/// # Source
/// Theil 1950 and Sen 1968, from memory; checked against `scipy.stats.theilslopes`.
pub(super) fn trend(points: &[(f64, f64)]) -> Option<f64> {
    let thin = points.len().div_ceil(MOST_POINTS).max(1);
    let points: Vec<(f64, f64)> = points.iter().copied().step_by(thin).collect();
    let pairs = points.iter().enumerate().flat_map(|(place, a)| points[place + 1..].iter().map(move |b| (*a, *b)));
    let slopes = pairs.filter(|(a, b)| b.0 != a.0).map(|(a, b)| (b.1 - a.1) / (b.0 - a.0));
    let slope = median(slopes).filter(|slope| slope.is_finite() && points.len() > 2)?;
    let level = median(points.iter().map(|point| point.1 - slope * point.0))?;
    let off = points.iter().map(|point| (point.1 - slope * point.0 - level).abs());
    let scatter = median(off)? / MEDIAN_DEVIATION;
    let mean = points.iter().map(|point| point.0).sum::<f64>() / points.len() as f64;
    let across = points.iter().map(|point| (point.0 - mean).powi(2)).sum::<f64>().sqrt();
    let uncertainty = scatter / across;
    (uncertainty < UNCERTAIN || slope.abs() > STANDS_OUT * uncertainty).then_some(slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1, `scipy.stats.theilslopes(y, x)[0]`.
    #[test]
    fn the_slope_is_that_of_theil_and_sen() {
        let points = [(0.0, 1.0), (0.5, 1.06), (1.0, 1.09), (1.5, 1.16), (2.0, 1.2), (2.5, 1.24)];
        approx::assert_relative_eq!(trend(&points).unwrap(), 0.096, epsilon = 1e-12);
    }

    #[test]
    fn one_cloud_makes_no_trend_and_a_few_minutes_make_none_at_all() {
        let mut points: Vec<(f64, f64)> =
            (0..12).map(|k| (f64::from(k) / 12.0, 1.0 + 0.01 * f64::from(k % 3))).collect();
        points[11].1 = 4.0;
        assert!(trend(&points).unwrap().abs() < 0.05, "{:?}", trend(&points));
        let brief = [(0.0, 1.0), (0.02, 1.03), (0.04, 0.98), (0.06, 1.02), (0.08, 0.97)];
        assert_eq!(trend(&brief), None);
        assert_eq!(trend(&[(0.0, 1.0), (0.0, 2.0), (0.0, 3.0)]), None);
    }
}
