//! The laws of chance: the one door to special functions, none of which is asked outside of where it was tested.
//!
//! Whatever the arguments, each answers at once and never with NaN: probabilities are taken within 10⁻¹² of 0 and 1,
//! degrees of freedom from 1 on, and above 10⁵ of them the normal law stands for Student's (they differ by less than
//! 10⁻⁵ there).

use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF, Normal, StudentsT};

/// More degrees of freedom than this are as good as any number of them: where the series behind the laws are still sure.
const MOST_FREEDOM: f64 = 1e5;
/// No probability is nearer to 0 or 1.
const RAREST: f64 = 1e-12;

fn probability(p: f64) -> f64 {
    if p.is_nan() { 0.5 } else { p.clamp(RAREST, 1.0 - RAREST) }
}

/// Degrees of freedom within what was tested; what is no number counts as 1, which is the most careful.
fn freedom(degrees: f64) -> f64 {
    if degrees.is_nan() { 1.0 } else { degrees.clamp(1.0, MOST_FREEDOM) }
}

/// The error function.
///
/// ```
/// // scipy 1.17.1, scipy.special.erf(0.5)
/// assert!((subwell::stats::erf(0.5) - 0.520_499_877_813_046_5).abs() < 1e-10);
/// ```
#[must_use]
pub fn erf(x: f64) -> f64 {
    if x.is_nan() { 0.0 } else { statrs::function::erf::erf(x) }
}

/// The density of the standard normal distribution.
#[must_use]
pub fn normal_density(x: f64) -> f64 {
    if x.is_nan() { 0.0 } else { Normal::standard().pdf(x) }
}

/// The share of a standard normal distribution below `x`.
#[must_use]
pub fn normal_share_below(x: f64) -> f64 {
    if x.is_nan() { 0.5 } else { Normal::standard().cdf(x) }
}

/// The value that the share `p` of a standard normal distribution lies below.
///
/// ```
/// // scipy 1.17.1, scipy.stats.norm.ppf(0.975)
/// assert!((subwell::stats::normal_quantile(0.975) - 1.959_963_984_540_054).abs() < 1e-12);
/// ```
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    Normal::standard().inverse_cdf(probability(p))
}

/// The value that the share `p` of Student's distribution with `degrees` of freedom lies below.
///
/// ```
/// // Any table of Student's t: 12.706 for 1, 2.228 for 10 degrees of freedom.
/// assert!((subwell::stats::student_t_quantile(0.975, 1.0) - 12.706).abs() < 0.0005);
/// assert!((subwell::stats::student_t_quantile(0.975, 10.0) - 2.228).abs() < 0.0005);
/// ```
#[must_use]
pub fn student_t_quantile(p: f64, degrees: f64) -> f64 {
    if degrees > MOST_FREEDOM {
        return normal_quantile(p);
    }
    let law = StudentsT::new(0.0, 1.0, freedom(degrees));
    law.map_or_else(|_| normal_quantile(p), |law| law.inverse_cdf(probability(p)))
}

/// The share of Student's distribution with `degrees` of freedom below `x`.
///
/// ```
/// // scipy 1.17.1: scipy.stats.t.cdf(1.5, 4)
/// assert!((subwell::stats::student_t_share_below(1.5, 4.0) - 0.896).abs() < 1e-12);
/// ```
#[must_use]
pub fn student_t_share_below(x: f64, degrees: f64) -> f64 {
    if degrees > MOST_FREEDOM || !x.is_finite() {
        return normal_share_below(x);
    }
    StudentsT::new(0.0, 1.0, freedom(degrees)).map_or_else(|_| normal_share_below(x), |law| law.cdf(x))
}

/// The 97.5 % quantile of Student's t: half the width of a 95 % interval in standard uncertainties.
#[must_use]
pub fn student_t_975(degrees: f64) -> f64 {
    student_t_quantile(0.975, degrees)
}

/// The value that the share `p` of χ² with `degrees` of freedom lies below; above 10⁵ of them that of the normal
/// distribution with the same mean and variance.
///
/// ```
/// // The 99 % point of χ² with 10 degrees of freedom is 23.21 (any table).
/// assert!((subwell::stats::chi2_quantile(0.99, 10.0) - 23.209).abs() < 0.0005);
/// ```
#[must_use]
pub fn chi2_quantile(p: f64, degrees: f64) -> f64 {
    let of_normal = |degrees: f64| degrees + normal_quantile(p) * (2.0 * degrees).sqrt();
    if degrees > MOST_FREEDOM {
        return of_normal(degrees.min(1e30));
    }
    ChiSquared::new(freedom(degrees)).map_or_else(|_| of_normal(degrees), |law| law.inverse_cdf(probability(p)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1: `scipy.stats.t.ppf(0.975, ν)`, `chi2.ppf(0.99, ν)`.
    const SCIPY: [(f64, f64, f64); 7] = [
        (1.0, 12.706204736, 6.6348966),
        (2.5, 3.574654842, 10.3112444),
        (10.0, 2.228138852, 23.2092512),
        (300.0, 1.967903011, 359.9064260),
        (1e4, 1.960201240, 10331.9335779),
        (1e5, 1.959987708, 101043.3147368),
        (1e7, 1.959964222, 10010406.6851424),
    ];

    #[test]
    fn quantiles_are_those_of_scipy() {
        for (degrees, t, chi2) in SCIPY {
            approx::assert_relative_eq!(student_t_975(degrees), t, max_relative = 2e-5);
            approx::assert_relative_eq!(chi2_quantile(0.99, degrees), chi2, max_relative = 2e-5);
        }
    }

    /// Degrees of freedom that rounding noise once gave (Welch and Satterthwaite of nothing), and worse.
    #[test]
    fn no_argument_hangs_or_gives_nan() {
        let odd = [f64::NAN, f64::NEG_INFINITY, -1.0, 0.0, 1e-300, 0.3, 1.0, 7e6, 1.4e7, 1e16, 1e300, f64::INFINITY];
        for a in odd {
            for p in [f64::NAN, -1.0, 0.0, 1e-300, 0.5, 0.975, 1.0, 2.0] {
                assert!(!student_t_quantile(p, a).is_nan() && !chi2_quantile(p, a).is_nan(), "{p} {a}");
                assert!(normal_quantile(p).is_finite() && !normal_share_below(a).is_nan() && !erf(a).is_nan());
                assert!(odd.iter().all(|x| (0.0..=1.0).contains(&student_t_share_below(*x, a))), "{a}");
            }
        }
        assert!(student_t_975(1.4e7) > 1.959 && student_t_975(1.4e7) < 1.961);
    }
}
