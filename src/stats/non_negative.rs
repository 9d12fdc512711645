//! Least squares of a sum of known shapes, none of which may be taken off.

use nalgebra::{DMatrix, DVector};

/// The 95 % point of χ² with one degree of freedom.
const CHI2_95: f64 = 3.841_458_820_694_124;

/// Amplitudes `a ≥ 0` of the least squares `Σ w (y − Σ aₖ shapeₖ)²`.
#[derive(Debug, Clone, PartialEq)]
pub struct NonNegativeFit {
    /// The amplitude of each shape; 0 where the best one would be negative.
    pub amplitudes: Vec<f64>,
    /// Weighted squared residuals.
    pub chi2: f64,
}

impl NonNegativeFit {
    /// The sum where the shapes have these values.
    #[must_use]
    pub fn at(&self, shapes: &[f64]) -> f64 {
        shapes.iter().zip(&self.amplitudes).map(|(shape, amplitude)| shape * amplitude).sum()
    }
}

/// The sum of `shapes` fitted to `y` where their values are `at`: the best value and its 95 % interval.
///
/// The interval holds every value that costs less than 3.84 in χ² when the sum is bound to it (profile
/// likelihood), so it respects that no shape can be taken off. `None` where nothing fits or the best value is 0.
///
/// # Source
/// Profile likelihood: any text on maximum likelihood.
#[must_use]
pub fn non_negative_prediction(shapes: &[Vec<f64>], y: &[f64], w: &[f64], at: &[f64]) -> Option<(f64, [f64; 2])> {
    let best = non_negative_fit(shapes, y, w)?;
    let value = best.at(at);
    if value <= 0.0 || value.is_nan() {
        return None;
    }
    let heaviest = y.iter().zip(w).map(|(y, w)| y * y * w).fold(0.0, f64::max);
    let costs_little = |bound: f64| {
        let bind = |list: &[f64], last: f64| list.iter().copied().chain([last]).collect::<Vec<f64>>();
        let bound_shapes: Vec<Vec<f64>> = shapes.iter().zip(at).map(|(shape, at)| bind(shape, at / bound)).collect();
        // As good as exact, and not so heavy that the normal equations lose their digits.
        let fit = non_negative_fit(&bound_shapes, &bind(y, 1.0), &bind(w, 1e4 * heaviest));
        fit.is_some_and(|fit| fit.chi2 - best.chi2 < CHI2_95)
    };
    let edge = |factor: f64| {
        let (mut inside, mut outside) = (value, value * factor);
        for _ in 0..50 {
            let middle = (inside * outside).sqrt();
            if costs_little(middle) { inside = middle } else { outside = middle }
        }
        inside
    };
    Some((value, [edge(1e-3), edge(1e3)]))
}

/// Fits `y` with weights `w` (inverse variances) by a sum of `shapes`, each given at the same points.
///
/// Every choice of shapes is tried, so this is for a handful of them. `None` where no choice can be fitted.
///
/// # Examples
/// ```
/// let shapes = [vec![1.0, 1.0, 1.0], vec![0.0, 1.0, 2.0]];
/// let fit = subwell::stats::non_negative_fit(&shapes, &[2.0, 1.0, 0.0], &[1.0; 3]).unwrap();
/// assert_eq!(fit.amplitudes[1], 0.0); // the line falls, but may only rise
/// assert!((fit.amplitudes[0] - 1.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn non_negative_fit(shapes: &[Vec<f64>], y: &[f64], w: &[f64]) -> Option<NonNegativeFit> {
    let choices = (1_usize..1 << shapes.len())
        .map(|choice| (0..shapes.len()).filter(|k| choice >> k & 1 == 1).collect::<Vec<usize>>());
    let fits = choices.filter_map(|chosen| fit(shapes, &chosen, y, w));
    fits.min_by(|a, b| a.chi2.total_cmp(&b.chi2))
}

/// The plain fit of the chosen shapes; `None` where it is not fixed or an amplitude is negative.
fn fit(shapes: &[Vec<f64>], chosen: &[usize], y: &[f64], w: &[f64]) -> Option<NonNegativeFit> {
    if y.len() < chosen.len() {
        return None;
    }
    let design = DMatrix::from_fn(y.len(), chosen.len(), |i, k| shapes[chosen[k]][i] * w[i].sqrt());
    let target = DVector::from_fn(y.len(), |i, _| y[i] * w[i].sqrt());
    let qr = design.clone().qr();
    let solution = qr.r().try_inverse()? * qr.q().transpose() * &target;
    if solution.iter().any(|&amplitude| amplitude < 0.0 || !amplitude.is_finite()) {
        return None;
    }
    let mut amplitudes = vec![0.0; shapes.len()];
    chosen.iter().zip(solution.iter()).for_each(|(&place, &amplitude)| amplitudes[place] = amplitude);
    Some(NonNegativeFit { amplitudes, chi2: (design * &solution - target).norm_squared() })
}
