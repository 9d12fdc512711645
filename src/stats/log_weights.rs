//! Weights that are known by their logarithms, which a float may not hold.

/// The weights over their sum, and the logarithm of the sum.
///
/// ```text
/// wᵢ = exp(lᵢ − m) / Σ exp(lⱼ − m),    ln Σ exp(lⱼ) = m + ln Σ exp(lⱼ − m),    m = max lⱼ
/// ```
///
/// # Source
/// The usual shift by the largest.
pub(crate) fn over_their_sum(ln_weights: &[f64]) -> (Vec<f64>, f64) {
    let best = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights = || ln_weights.iter().map(|weight| (weight - best).exp());
    let total: f64 = weights().sum();
    (weights().map(|weight| weight / total).collect(), best + total.ln())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_that_no_float_holds_add_up_to_one() {
        let (shares, ln_sum) = over_their_sum(&[-2000.0, -2000.0 + 3_f64.ln()]);
        approx::assert_relative_eq!(shares[0], 0.25, max_relative = 1e-12);
        approx::assert_relative_eq!(shares[1], 0.75, max_relative = 1e-12);
        approx::assert_relative_eq!(ln_sum, -2000.0 + 4_f64.ln(), max_relative = 1e-15);
    }
}
