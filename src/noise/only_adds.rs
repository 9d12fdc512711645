//! Estimates of what can only add.

use crate::stats::{Estimate, normal_density, normal_quantile, normal_share_below};
use crate::units::Quantity;

/// Beyond so many uncertainties above 0 nothing is to be done …
const SURELY_ABOVE: f64 = 6.0;
/// … and none lies further below it: that would be another fault.
const FURTHEST_BELOW: f64 = -6.0;

/// The mean of a normal distribution of this value and uncertainty given that it is above 0, with the 95 % interval.
///
/// ```text
/// m = v + u φ(v/u)/Φ(v/u)
/// ```
///
/// φ and Φ are density and distribution of the standard normal law (any text on truncated distributions). Charge that light or
/// warmth makes is never negative, however the estimate scatters.
///
/// # Source
/// Any handbook: the truncated normal distribution.
pub(super) fn only_adds<Q: Quantity>(estimate: Estimate<Q>) -> Estimate<Q> {
    let (value, uncertainty) = (estimate.value.get(), estimate.uncertainty.get());
    if !(uncertainty > 0.0 && value.is_finite() && uncertainty.is_finite()) {
        return if value > 0.0 { estimate } else { Estimate::new(0.0, 0.0) };
    }
    // An interval of its own that lies above 0 knows already, and need not be as wide to both sides.
    if value > 0.0 && estimate.interval_95.is_some_and(|(low, high)| low.get() > 0.0 && high.get().is_finite()) {
        return estimate;
    }
    let (low, high) = estimate.interval();
    let of_interval = ((high - low) / 3.92).max(1e-3 * uncertainty);
    if value > SURELY_ABOVE * uncertainty.max(of_interval) {
        return estimate;
    }
    let (mean, sigma, _) = above_zero(value, uncertainty);
    let (_, _, quantile) = above_zero(value, of_interval);
    let (low, high) = (quantile(0.025).min(mean), quantile(0.975).max(mean));
    Estimate { interval_95: Some((Q::new(low), Q::new(high))), ..Estimate::new(mean, sigma) }
}

/// Mean, standard deviation and quantiles of what is above 0.
fn above_zero(value: f64, uncertainty: f64) -> (f64, f64, impl Fn(f64) -> f64) {
    let sigmas = (value / uncertainty).max(FURTHEST_BELOW);
    let above = normal_share_below(sigmas);
    let ratio = normal_density(sigmas) / above;
    let mean = uncertainty * (sigmas + ratio);
    let sigma = uncertainty * (1.0 - sigmas * ratio - ratio * ratio).max(0.0).sqrt();
    // P(x > q) = (1 − p) Φ(v/u)
    let quantile = move |share: f64| (uncertainty * (sigmas - normal_quantile((1.0 - share) * above))).max(0.0);
    (mean.max(0.0), sigma, quantile)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1: `t = scipy.stats.truncnorm(-v/u, inf, loc=v, scale=u)`, `t.mean()`, `t.std()`, `t.ppf([0.025, 0.975])`.
    const SCIPY: [[f64; 6]; 4] = [
        [-0.0002, 0.0005, 0.0003343780859, 0.0002670499551, 1.1751984e-05, 0.00099089293],
        [0.0, 1.0, 0.7978845608, 0.602810275, 0.031337982, 2.2414027],
        [0.3, 0.2, 0.3277579501, 0.1757899632, 0.032017653, 0.69787534],
        [-3.0, 1.0, 0.2830986549, 0.2656297927, 0.0077031586, 0.98494801],
    ];

    #[test]
    fn what_is_left_above_zero_is_that_of_scipy() {
        for [value, uncertainty, mean, sigma, low, high] in SCIPY {
            let found = only_adds(Estimate::<f64>::new(value, uncertainty));
            approx::assert_relative_eq!(found.value, mean, max_relative = 1e-6);
            approx::assert_relative_eq!(found.uncertainty, sigma, max_relative = 1e-5);
            approx::assert_relative_eq!(found.interval().0, low, max_relative = 1e-3);
            approx::assert_relative_eq!(found.interval().1, high, max_relative = 1e-3);
        }
    }

    #[test]
    fn nothing_negative_and_nothing_undefined_comes_out() {
        for value in [-1e300, -1.0, -1e-4, 0.0, 1e-4, 1.0, f64::NAN, f64::INFINITY] {
            for uncertainty in [0.0, 1e-300, 1e-4, 1.0, 1e300, f64::NAN] {
                let found = only_adds(Estimate::<f64>::new(value, uncertainty));
                let (low, high) = found.interval();
                assert!(
                    !(found.value < 0.0 || low < 0.0 || high < 0.0 || found.value.is_nan()) || value.is_infinite(),
                    "{value} {uncertainty}: {found:?}"
                );
            }
        }
        let sure = Estimate::<f64>::new(1.0, 0.1);
        assert_eq!(only_adds(sure), sure);
    }
}
