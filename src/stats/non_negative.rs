//! Least squares of a sum of known shapes, none of which may be taken off.

use nalgebra::{DMatrix, DVector};

/// The 95 % point of χ² with one degree of freedom.
const CHI2_95: f64 = 3.841_458_820_694_124;
/// Halvings of the logarithm of an interval: more digits than are ever shown.
const HALVINGS: usize = 50;

/// A sum of shapes at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NonNegativePrediction {
    /// The best value.
    pub value: f64,
    /// Its 95 % interval.
    pub interval_95: [f64; 2],
    /// Weighted squared residuals of the fit at its points.
    pub chi2: f64,
}

/// Amplitudes `a ≥ 0` of the least squares `Σ w (y − Σ aₖ shapeₖ)²`, each shape given at the same points, and what their
/// sum is where the shapes have the values `at`.
///
/// Every choice of shapes is tried, so this is for a handful of them; `w` are inverse variances.
///
/// The interval holds every value that costs less than 3.84 in χ² when the sum is bound to it (profile
/// likelihood), so it respects that no shape can be taken off. `None` where nothing fits or the best value is 0.
///
/// ```text
/// a(v) = a + (v − a·s) C s/(s·C s),   χ²(v) = χ² + (v − a·s)²/(s·C s)
/// ```
///
/// `s` the shapes' values at the place, `C` the covariance of the amplitudes `a`; of every choice of shapes that leaves
/// all `a(v) ≥ 0` the least counts.
///
/// # Source
/// Profile likelihood: any text on maximum likelihood. The bound fit: least squares under one linear equation.
///
/// # Examples
/// ```
/// let shapes = [vec![1.0, 1.0, 1.0], vec![0.0, 1.0, 2.0]];
/// let (y, w) = ([2.0, 1.0, 0.0], [1.0; 3]);
/// let anywhere = |x| subwell::stats::non_negative_prediction(&shapes, &y, &w, &[1.0, x]).unwrap();
/// assert_eq!(anywhere(0.0).value, anywhere(9.0).value); // the line falls, but may only rise
/// assert!((anywhere(0.0).value - 1.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn non_negative_prediction(shapes: &[Vec<f64>], y: &[f64], w: &[f64], at: &[f64]) -> Option<NonNegativePrediction> {
    let fits: Vec<(PlainFit, DVector<f64>)> = choices(shapes.len())
        .filter_map(|chosen| PlainFit::new(shapes, chosen, y, w))
        .map(|fit| {
            let there = DVector::from_iterator(fit.chosen.len(), fit.chosen.iter().map(|k| at[*k]));
            (fit, there)
        })
        .collect();
    let free = fits.iter().filter(|(fit, _)| allowed(&fit.amplitudes));
    let (best, there) = free.min_by(|a, b| a.0.chi2.total_cmp(&b.0.chi2))?;
    let value = best.amplitudes.dot(there);
    if value <= 0.0 || value.is_nan() {
        return None;
    }
    let bound_chi2 = |bound: f64| {
        let solution = |(fit, there): &(PlainFit, DVector<f64>)| {
            let lean = &fit.covariance * there;
            let (variance, off) = (there.dot(&lean), bound - fit.amplitudes.dot(there));
            let bound_amplitudes = &fit.amplitudes + lean * (off / variance);
            allowed(&bound_amplitudes).then_some(fit.chi2 + off * off / variance)
        };
        fits.iter().filter_map(solution).fold(f64::MAX, f64::min)
    };
    let edge = |factor: f64| {
        let (mut inside, mut outside) = (value, value * factor);
        for _ in 0..HALVINGS {
            let middle = (inside * outside).sqrt();
            if bound_chi2(middle) - best.chi2 < CHI2_95 { inside = middle } else { outside = middle }
        }
        inside
    };
    Some(NonNegativePrediction { value, interval_95: [edge(1e-3), edge(1e3)], chi2: best.chi2 })
}

/// Every choice of some of `count` shapes.
fn choices(count: usize) -> impl Iterator<Item = Vec<usize>> {
    (1_usize..1 << count).map(move |choice| (0..count).filter(|k| choice >> k & 1 == 1).collect())
}

/// The plain least squares of some of the shapes, whatever the signs.
struct PlainFit {
    chosen: Vec<usize>,
    amplitudes: DVector<f64>,
    covariance: DMatrix<f64>,
    chi2: f64,
}

impl PlainFit {
    /// `None` where the points do not fix the amplitudes.
    fn new(shapes: &[Vec<f64>], chosen: Vec<usize>, y: &[f64], w: &[f64]) -> Option<Self> {
        if y.len() < chosen.len() {
            return None;
        }
        let design = DMatrix::from_fn(y.len(), chosen.len(), |i, k| shapes[chosen[k]][i] * w[i].sqrt());
        let target = DVector::from_fn(y.len(), |i, _| y[i] * w[i].sqrt());
        let qr = design.clone().qr();
        let inverse = qr.r().try_inverse()?;
        let amplitudes = &inverse * qr.q().transpose() * &target;
        let chi2 = (design * &amplitudes - target).norm_squared();
        Some(Self { chosen, amplitudes, covariance: &inverse * inverse.transpose(), chi2 })
    }
}

/// Whether no shape is taken off.
fn allowed(amplitudes: &DVector<f64>) -> bool {
    amplitudes.iter().all(|amplitude| amplitude.is_finite() && *amplitude >= 0.0)
}
