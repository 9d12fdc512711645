//! Weighted least squares with a covariance.

use nalgebra::{DMatrix, DVector};

/// A polynomial `Σ cₖ xᵏ` fitted to points, with its covariance for the weights given.
#[derive(Debug, Clone, PartialEq)]
pub struct PolynomialFit {
    /// Coefficients, constant term first.
    pub coefficients: Vec<f64>,
    /// Their covariance, row by row, if the weights are inverse variances.
    pub covariance: Vec<Vec<f64>>,
    /// Σ weight × residual².
    pub chi2: f64,
    /// Points, a prior among them, minus coefficients.
    pub freedom: usize,
}

impl PolynomialFit {
    /// The polynomial's value at `x`.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
    }

    /// The standard uncertainty of coefficient `k`.
    #[must_use]
    pub fn sigma(&self, k: usize) -> f64 {
        self.covariance[k][k].sqrt()
    }
}

/// Fits a polynomial of `degree` to `y(x)` with weights `w` (inverse variances).
///
/// `None` when there are fewer points than coefficients, or when the points cannot
/// tell the coefficients apart.
///
/// # Examples
/// ```
/// let fit = subwell::stats::polynomial_fit(&[0.0, 1.0, 2.0], &[1.0, 3.0, 5.0], &[1.0; 3], 1).unwrap();
/// assert!((fit.coefficients[0] - 1.0).abs() < 1e-12 && (fit.coefficients[1] - 2.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn polynomial_fit(x: &[f64], y: &[f64], w: &[f64], degree: usize) -> Option<PolynomialFit> {
    fit(x, y, w, degree, None)
}

/// The same where the highest coefficient is known beforehand to be 0 within the standard
/// uncertainty `sigma`: that knowledge counts as one more point.
///
/// `None` as for [`polynomial_fit`].
#[must_use]
pub fn polynomial_fit_with_prior(x: &[f64], y: &[f64], w: &[f64], degree: usize, sigma: f64) -> Option<PolynomialFit> {
    fit(x, y, w, degree, Some(sigma))
}

fn fit(x: &[f64], y: &[f64], w: &[f64], degree: usize, prior: Option<f64>) -> Option<PolynomialFit> {
    let terms = degree + 1;
    let points = x.len() + usize::from(prior.is_some());
    if points < terms {
        return None;
    }
    // Columns scaled to about 1, or the normal equations of x² lose their digits.
    let scale = x.iter().fold(0.0_f64, |max, x| max.max(x.abs()));
    let scale = if scale > 0.0 { scale } else { 1.0 };
    let known = prior.map_or(0.0, |sigma| 1.0 / (sigma * scale.powi(degree as i32)));
    let design = DMatrix::from_fn(points, terms, |i, k| match x.get(i) {
        Some(x) => (x / scale).powi(k as i32) * w[i].sqrt(),
        None if k == degree => known,
        None => 0.0,
    });
    let target = DVector::from_fn(points, |i, _| y.get(i).map_or(0.0, |y| y * w[i].sqrt()));
    let qr = design.clone().qr();
    let inverse = qr.r().try_inverse()?;
    let solution = &inverse * qr.q().transpose() * &target;
    let covariance = &inverse * inverse.transpose();
    if solution.iter().chain(covariance.iter()).any(|value| !value.is_finite()) {
        return None;
    }
    let residual = design * &solution - target;
    let unscale = |k: usize| scale.powi(-(k as i32));
    Some(PolynomialFit {
        coefficients: (0..terms).map(|k| solution[k] * unscale(k)).collect(),
        covariance: (0..terms)
            .map(|i| (0..terms).map(|k| covariance[(i, k)] * unscale(i) * unscale(k)).collect())
            .collect(),
        chi2: residual.norm_squared(),
        freedom: points - terms,
    })
}
