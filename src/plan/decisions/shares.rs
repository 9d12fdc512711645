//! A ratio taken apart into factors.

use super::PlanError;

/// The factors of a ratio, one for each of `count` properties that differ.
///
/// `value` is the logarithm of a time with the properties whose bits are set taken from the one side, the others from the
/// other. Each property's factor is the mean, over all orders of changing one property after the other, of what its change
/// does:
///
/// ```text
/// ln f_i = Σ_S |S|! (n − |S| − 1)!/n! · (v(S) − v(S ∪ i))
/// ```
///
/// `S` runs over the sets without `i`. Every order's changes add up to the whole, so the factors multiply to the whole and
/// none of them is what is left over.
///
/// # Source
/// Shapley 1953, A value for n-person games, from memory.
pub(super) fn factors(count: usize, value: impl Fn(u32) -> Result<f64, PlanError>) -> Result<Vec<f64>, PlanError> {
    let values = (0..1_u32 << count).map(value).collect::<Result<Vec<f64>, _>>()?;
    let factorial = |n: usize| (1..=n).map(|k| k as f64).product::<f64>();
    let weight = |size: usize| factorial(size) * factorial(count - size - 1) / factorial(count);
    let of = |property: usize| {
        let bit = 1_usize << property;
        let without = (0..values.len()).filter(|set| set & bit == 0);
        let sum: f64 = without.map(|set| weight(set.count_ones() as usize) * (values[set] - values[set | bit])).sum();
        sum.exp()
    };
    Ok((0..count).map(of).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factors_multiply_to_the_whole_and_equal_parts_are_equal() {
        // Two properties that only act together share what they do.
        let value = |set: u32| Ok(if set & 3 == 3 { -1.0 } else { 0.0 } - if set & 4 == 4 { 0.3 } else { 0.0 });
        let factors = factors(3, value).unwrap();
        approx::assert_relative_eq!(factors.iter().product::<f64>(), 1.3_f64.exp(), max_relative = 1e-12);
        approx::assert_relative_eq!(factors[0], 0.5_f64.exp(), max_relative = 1e-12);
        approx::assert_relative_eq!(factors[1], factors[0], max_relative = 1e-12);
    }

    #[test]
    fn nothing_that_differs_has_no_factors() {
        assert!(factors(0, |_| Ok(2.0)).unwrap().is_empty());
    }
}
