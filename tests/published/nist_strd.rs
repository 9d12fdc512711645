//! NIST Statistical Reference Datasets, univariate summary statistics: a small spread on a
//! high level, just what a flat frame is. Data set and certified values from memory; both
//! can be proved by hand.

use subwell::stats::Moments;

/// NumAcc1 is exact in binary arithmetic if nothing is thrown away.
#[test]
fn num_acc_1_is_exact() {
    let moments: Moments = [10_000_001.0, 10_000_003.0, 10_000_002.0].into_iter().collect();
    assert_eq!(moments.mean(), Some(10_000_002.0));
    assert_eq!(moments.variance(), Some(1.0));
}

/// 1001 values whose last digits are not exact in binary: NIST certifies mean 1.2 and
/// standard deviation 0.1 exactly; 1e-12 is what 1001 additions may lose.
const NUM_ACC_2_TOLERANCE: f64 = 1e-12;

#[test]
fn num_acc_2_keeps_twelve_digits() {
    let values = std::iter::once(1.2).chain((0..500).flat_map(|_| [1.1, 1.3]));
    let moments: Moments = values.collect();
    approx::assert_abs_diff_eq!(moments.mean().unwrap(), 1.2, epsilon = NUM_ACC_2_TOLERANCE);
    approx::assert_abs_diff_eq!(moments.variance().unwrap().sqrt(), 0.1, epsilon = NUM_ACC_2_TOLERANCE);
}
