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
    /// Points minus coefficients.
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
    let terms = degree + 1;
    if x.len() < terms {
        return None;
    }
    // Columns scaled to about 1, or the normal equations of x² lose their digits.
    let scale = x.iter().fold(0.0_f64, |max, x| max.max(x.abs()));
    let scale = if scale > 0.0 { scale } else { 1.0 };
    let design = DMatrix::from_fn(x.len(), terms, |i, k| (x[i] / scale).powi(k as i32) * w[i].sqrt());
    let target = DVector::from_fn(x.len(), |i, _| y[i] * w[i].sqrt());
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
        freedom: x.len() - terms,
    })
}
