//! Least squares of a sum of known shapes, none of which may be taken off.

use nalgebra::{DMatrix, DVector};

/// What costs more χ² than this holds no likelihood: four standard uncertainties.
const FAR: f64 = 16.0;
/// Places at which the likelihood between is looked at.
const PLACES: usize = 200;
/// Halvings of the logarithm of a factor of a thousand: a millionth is left.
const HALVINGS: usize = 24;

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
/// Every choice of shapes is tried, so this is for a handful of them; `w` are inverse variances. `None` where nothing fits or the
/// best value is 0. The interval is that of [`NonNegativeFits::prediction`].
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
    let choices: Vec<Vec<usize>> = choices(shapes.len()).collect();
    NonNegativeFits::new(shapes, &choices, y, w)?.prediction(at, 1.0)
}

/// Sums of shapes, any of which may be what is seen, each fitted once: what they say at one place or another costs little.
#[derive(Debug, Clone)]
pub struct NonNegativeFits {
    fits: Vec<PlainFit>,
    /// The place of the best among those whose amplitudes are all allowed.
    best: usize,
}

impl NonNegativeFits {
    /// Fits each of `choices` of `shapes`, all given at the points of `y`; `w` are inverse variances.
    ///
    /// `None` where no choice has amplitudes that are all `≥ 0`.
    #[must_use]
    pub fn new(shapes: &[Vec<f64>], choices: &[Vec<usize>], y: &[f64], w: &[f64]) -> Option<Self> {
        let fits: Vec<PlainFit> = choices
            .iter()
            .filter_map(|chosen| PlainFit::new(shapes, chosen, y, w))
            .filter(PlainFit::is_sound)
            .collect();
        let free = fits.iter().enumerate().filter(|(_, fit)| fit.is_allowed());
        let best = free.min_by(|a, b| a.1.chi2.total_cmp(&b.1.chi2))?.0;
        Some(Self { fits, best })
    }

    /// Weighted squared residuals of the best.
    #[must_use]
    pub fn chi2(&self) -> f64 {
        self.fits[self.best].chi2
    }

    /// What the best says where the shapes have the values `at`.
    #[must_use]
    pub fn value(&self, at: &[f64]) -> f64 {
        self.fits[self.best].sum(at)
    }

    /// The same with an interval of what every sum may say; `stretch` divides χ².
    ///
    /// The interval is the middle 95 % of the profile likelihood over the logarithm of the value: of what the best fit costs whose
    /// sum is bound to the value, so it respects that no shape can be taken off. Where one normal sum counts, it is ± 1.96 σ.
    /// `None` where the best value is 0.
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
    #[must_use]
    pub fn prediction(&self, at: &[f64], stretch: f64) -> Option<NonNegativePrediction> {
        let (value, least) = (self.value(at), self.chi2());
        if value <= 0.0 || value.is_nan() {
            return None;
        }
        // Bound to any value a fit costs more than free.
        let near = self.fits.iter().filter(|fit| fit.chi2 <= least + FAR * stretch);
        let bound: Vec<Bound<'_>> = near.filter_map(|fit| Bound::new(fit, at)).collect();
        let bound_chi2 = |value: f64| bound.iter().filter_map(|fit| fit.chi2_at(value)).fold(f64::MAX, f64::min);
        let cost = |ln: f64| (bound_chi2(ln.exp()) - least) / stretch;
        let [low, high] = middle_95(value.ln(), cost).map(f64::exp);
        Some(NonNegativePrediction { value, interval_95: [low.min(value), high.max(value)], chi2: least })
    }
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

/// What it costs to bind a fit's sum at a place.
struct Bound<'a> {
    fit: &'a PlainFit,
    /// The sum at the place, its variance, and how the amplitudes follow it.
    value: f64,
    variance: f64,
    lean: DVector<f64>,
}

impl<'a> Bound<'a> {
    fn new(fit: &'a PlainFit, at: &[f64]) -> Option<Self> {
        let there = DVector::from_iterator(fit.chosen.len(), fit.chosen.iter().map(|k| at[*k]));
        let lean = &fit.covariance * &there;
        let variance = there.dot(&lean);
        (variance > 0.0 && variance.is_finite()).then(|| Self {
            value: fit.amplitudes.dot(&there),
            fit,
            variance,
            lean,
        })
    }

    /// `None` where a shape would be taken off.
    fn chi2_at(&self, bound: f64) -> Option<f64> {
        let off = bound - self.value;
        let moved = off / self.variance;
        let kept = self.fit.amplitudes.iter().zip(&self.lean).all(|(amplitude, lean)| amplitude + lean * moved >= 0.0);
        kept.then_some(self.fit.chi2 + off * moved)
    }
}

/// Every choice of some of `count` shapes.
fn choices(count: usize) -> impl Iterator<Item = Vec<usize>> {
    (1_usize..1 << count).map(move |choice| (0..count).filter(|k| choice >> k & 1 == 1).collect())
}

/// The plain least squares of chosen shapes, whatever the signs.
#[derive(Debug, Clone)]
struct PlainFit {
    chosen: Vec<usize>,
    amplitudes: DVector<f64>,
    covariance: DMatrix<f64>,
    chi2: f64,
}

impl PlainFit {
    /// `None` where the points do not fix the amplitudes.
    fn new(shapes: &[Vec<f64>], chosen: &[usize], y: &[f64], w: &[f64]) -> Option<Self> {
        if y.len() < chosen.len() {
            return None;
        }
        let design = DMatrix::from_fn(y.len(), chosen.len(), |i, k| shapes[chosen[k]][i] * w[i].sqrt());
        let target = DVector::from_fn(y.len(), |i, _| y[i] * w[i].sqrt());
        let qr = design.clone().qr();
        let inverse = qr.r().try_inverse()?;
        let amplitudes = &inverse * qr.q().transpose() * &target;
        let chi2 = (design * &amplitudes - target).norm_squared();
        Some(Self { chosen: chosen.to_vec(), amplitudes, covariance: &inverse * inverse.transpose(), chi2 })
    }

    fn sum(&self, at: &[f64]) -> f64 {
        self.chosen.iter().zip(&self.amplitudes).map(|(k, amplitude)| amplitude * at[*k]).sum()
    }

    fn is_sound(&self) -> bool {
        self.chi2.is_finite() && self.amplitudes.iter().all(|amplitude| amplitude.is_finite())
    }

    /// Whether no shape is taken off.
    fn is_allowed(&self) -> bool {
        self.amplitudes.iter().all(|amplitude| *amplitude >= 0.0)
    }
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
