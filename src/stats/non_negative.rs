//! Least squares of a sum of known shapes, none of which may be taken off.

use nalgebra::{DMatrix, DVector};

/// What costs more χ² than this holds no likelihood: four standard uncertainties.
const FAR: f64 = 16.0;
/// Places at which the likelihood between is looked at.
const PLACES: usize = 200;
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
/// The interval is the middle 95 % of the profile likelihood over the logarithm of the value: of what the best fit costs whose
/// sum is bound to the value, so it respects that no shape can be taken off. Where one normal sum counts, it is ± 1.96 σ.
/// `None` where nothing fits or the best value is 0.
///
/// ```text
/// L(v) = exp(−χ²(v)/2),   a(v) = a + (v − a·s) C s/(s·C s),   χ²(v) = χ² + (v − a·s)²/(s·C s)
/// ```
///
/// `s` the shapes' values at the place, `C` the covariance of the amplitudes `a`; of every choice of shapes that leaves
/// all `a(v) ≥ 0` the least counts.
///
/// # Source
/// Profile likelihood: any text on maximum likelihood; its middle instead of a cut at 3.84, which holds too much where the
/// likelihood is flat between steep ends. The bound fit: least squares under one linear equation.
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
/// of what every one may say. `stretch` divides χ².
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
    let cost = |ln: f64| (bound_chi2(ln.exp()) - best.chi2) / stretch;
    let [low, high] = middle_95(value.ln(), cost).map(f64::exp);
    Some(NonNegativePrediction { value, interval_95: [low.min(value), high.max(value)], chi2: best.chi2 })
}

/// Ends of the middle 95 % of the likelihood `exp(−cost/2)` about `best`, up to a factor of a thousand away.
fn middle_95(best: f64, cost: impl Fn(f64) -> f64) -> [f64; 2] {
    let edge = |farthest: f64| {
        let (mut inside, mut outside) = (best, best + farthest);
        for _ in 0..HALVINGS {
            let middle = (inside + outside) / 2.0;
            if cost(middle) < FAR { inside = middle } else { outside = middle }
        }
        inside
    };
    let [low, high] = [edge(-1e3_f64.ln()), edge(1e3_f64.ln())];
    let at = |place: usize| low + (high - low) * place as f64 / PLACES as f64;
    let likelihood: Vec<f64> = (0..=PLACES).map(|place| (-cost(at(place)) / 2.0).exp()).collect();
    let mut below = vec![0.0];
    for pair in likelihood.windows(2) {
        below.push(below[below.len() - 1] + (pair[0] + pair[1]) / 2.0);
    }
    let all = below[PLACES];
    [0.025, 0.975].map(|share| {
        let next = below.partition_point(|part| *part < share * all).clamp(1, PLACES);
        let step = (below[next] - below[next - 1]).max(f64::MIN_POSITIVE);
        at(next - 1) + (high - low) / PLACES as f64 * ((share * all - below[next - 1]) / step).clamp(0.0, 1.0)
    })
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A line's level, its own weighted mean: value ± 1.96 σ of any text (here ± 1.96 × 0.01/√4), as long as σ is small.
    #[test]
    fn one_normal_sum_has_the_usual_interval() {
        let found = non_negative_prediction(&[vec![1.0; 4]], &[1.01, 0.99, 1.0, 1.0], &[1e4; 4], &[1.0]).unwrap();
        let [low, high] = found.interval_95;
        assert!((low - (1.0 - 0.0098)).abs() < 1e-4 && (high - 1.0098).abs() < 1e-4, "{found:?}");
    }

    /// Likelihood 1 between two steep ends: the middle 95 % of their distance.
    #[test]
    fn a_box_gives_its_middle() {
        let [low, high] = middle_95(0.3, |at| if (0.0..=1.0).contains(&at) { 0.0 } else { 1e9 });
        assert!((low - 0.025).abs() < 1e-6 && (high - 0.975).abs() < 1e-6, "{low} {high}");
    }
}
