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
    let part = |chosen: Vec<usize>| ShapeSum {
        shapes: chosen.iter().map(|k| shapes[*k].clone()).collect(),
        at: chosen.iter().map(|k| at[*k]).collect(),
    };
    profile_prediction(&choices(shapes.len()).map(part).collect::<Vec<_>>(), y, w, 1.0)
}

/// Shapes whose sum may be what is seen, each at the same points, and their values at the place that is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapeSum {
    /// The shapes.
    pub shapes: Vec<Vec<f64>>,
    /// Their values at the place.
    pub at: Vec<f64>,
}

/// The same where any of `sums` may be what is seen, all of whose amplitudes count: the best one's value, and an interval
/// that holds what every other may say. The interval takes in what costs less than 3.84 × `stretch` in χ².
///
/// `None` as for [`non_negative_prediction`].
#[must_use]
pub fn profile_prediction(sums: &[ShapeSum], y: &[f64], w: &[f64], stretch: f64) -> Option<NonNegativePrediction> {
    let fits: Vec<Bound> = sums.iter().filter_map(|sum| Bound::new(sum, y, w)).collect();
    let free = fits.iter().filter(|fit| allowed(&fit.amplitudes));
    let best = free.min_by(|a, b| a.chi2.total_cmp(&b.chi2))?;
    let value = best.value;
    if value <= 0.0 || value.is_nan() {
        return None;
    }
    let bound_chi2 = |bound: f64| fits.iter().filter_map(|fit| fit.chi2_at(bound)).fold(f64::MAX, f64::min);
    let edge = |factor: f64| {
        let (mut inside, mut outside) = (value, value * factor);
        for _ in 0..HALVINGS {
            let middle = (inside * outside).sqrt();
            if bound_chi2(middle) - best.chi2 < CHI2_95 * stretch { inside = middle } else { outside = middle }
        }
        inside
    };
    Some(NonNegativePrediction { value, interval_95: [edge(1e-3), edge(1e3)], chi2: best.chi2 })
}

/// A plain fit, and what it costs to bind its sum at the place.
struct Bound {
    amplitudes: DVector<f64>,
    chi2: f64,
    /// The sum at the place, its variance, and how the amplitudes follow it.
    value: f64,
    variance: f64,
    lean: DVector<f64>,
}

impl Bound {
    fn new(sum: &ShapeSum, y: &[f64], w: &[f64]) -> Option<Self> {
        let PlainFit { amplitudes, covariance, chi2 } = PlainFit::new(&sum.shapes, y, w)?;
        let there = DVector::from_column_slice(&sum.at);
        let lean = covariance * &there;
        let variance = there.dot(&lean);
        let sound = variance > 0.0 && variance.is_finite() && chi2.is_finite();
        sound.then(|| Self { value: amplitudes.dot(&there), amplitudes, chi2, variance, lean })
    }

    /// `None` where a shape would be taken off.
    fn chi2_at(&self, bound: f64) -> Option<f64> {
        let off = bound - self.value;
        let moved = off / self.variance;
        let kept = self.amplitudes.iter().zip(&self.lean).all(|(amplitude, lean)| amplitude + lean * moved >= 0.0);
        kept.then_some(self.chi2 + off * moved)
    }
}

/// Every choice of some of `count` shapes.
fn choices(count: usize) -> impl Iterator<Item = Vec<usize>> {
    (1_usize..1 << count).map(move |choice| (0..count).filter(|k| choice >> k & 1 == 1).collect())
}

/// The plain least squares of shapes, whatever the signs.
struct PlainFit {
    amplitudes: DVector<f64>,
    covariance: DMatrix<f64>,
    chi2: f64,
}

impl PlainFit {
    /// `None` where the points do not fix the amplitudes.
    fn new(shapes: &[Vec<f64>], y: &[f64], w: &[f64]) -> Option<Self> {
        if y.len() < shapes.len() {
            return None;
        }
        let design = DMatrix::from_fn(y.len(), shapes.len(), |i, k| shapes[k][i] * w[i].sqrt());
        let target = DVector::from_fn(y.len(), |i, _| y[i] * w[i].sqrt());
        let qr = design.clone().qr();
        let inverse = qr.r().try_inverse()?;
        let amplitudes = &inverse * qr.q().transpose() * &target;
        let chi2 = (design * &amplitudes - target).norm_squared();
        Some(Self { amplitudes, covariance: &inverse * inverse.transpose(), chi2 })
    }
}

/// Whether no shape is taken off.
fn allowed(amplitudes: &DVector<f64>) -> bool {
    amplitudes.iter().all(|amplitude| amplitude.is_finite() && *amplitude >= 0.0)
}
