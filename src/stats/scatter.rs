//! What scatter says of an uncertainty.

use super::{bisect, chi2_quantile, normal_share_below};

/// Scatter that chance alone reaches in fewer than this share of cases is not chance.
const BEYOND_CHANCE: f64 = 0.01;

/// How many times wider than stated the points scatter: `√(χ²/ν)`, the Birge ratio, where `chi2` of `freedom`
/// degrees of freedom is beyond what chance gives in 1 % of cases; otherwise 1.
///
/// A ratio that acted on every χ² above ν would widen the interval of half of all sound sets.
///
/// # Source
/// R. T. Birge, Physical Review 40 (1932) 207 (from memory).
///
/// # Examples
/// ```
/// use subwell::stats::birge_ratio;
/// // The 99 % point of χ² with 10 degrees of freedom is 23.21 (any table).
/// assert_eq!(birge_ratio(23.0, 10), 1.0);
/// assert!((birge_ratio(40.0, 10) - 2.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn birge_ratio(chi2: f64, freedom: usize) -> f64 {
    if freedom > 0 && chi2 > chi2_quantile(1.0 - BEYOND_CHANCE, freedom as f64) {
        (chi2 / freedom as f64).sqrt()
    } else {
        1.0
    }
}

/// Half the width of the interval that holds 95 % of `sigma z + amplitude cos φ`, `z` normal and `φ` anywhere.
///
/// A phase that nobody knows gives an error with a hard end at `amplitude`; 1.96 standard uncertainties of it would
/// be an interval that always covers. Derived here.
///
/// ```
/// // Only the phase: |cos φ| is below sin(0.95 π/2) = 0.99692 in 95 of 100 cases.
/// let half = subwell::stats::half_interval_of_phase(1e-9, 1.0);
/// assert!((half - 0.99692).abs() < 1e-3);
/// ```
#[must_use]
pub fn half_interval_of_phase(sigma: f64, amplitude: f64) -> f64 {
    const PHASES: u32 = 200;
    if sigma <= 0.0 {
        return amplitude;
    }
    let held = |half: f64| {
        let at = |phase: u32| {
            let error = amplitude * (std::f64::consts::PI * (f64::from(phase) + 0.5) / f64::from(PHASES)).cos();
            normal_share_below((half - error) / sigma) - normal_share_below((-half - error) / sigma)
        };
        (0..PHASES).map(at).sum::<f64>() / f64::from(PHASES)
    };
    bisect([0.0, amplitude + 3.0 * sigma], 40, |half| held(half) < 0.95)[1]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_phase_the_interval_is_the_normal_one() {
        approx::assert_relative_eq!(half_interval_of_phase(2.0, 0.0), 3.919_928, max_relative = 1e-5);
    }

    #[test]
    fn no_freedom_says_nothing() {
        assert_eq!(birge_ratio(100.0, 0), 1.0);
    }
}
