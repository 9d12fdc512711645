//! Loops that the machine does for several numbers at a time, with the widest instructions that it has.
//!
//! Numbers with a fraction are added in a fixed number of lanes and in a fixed order, and no multiplication is joined
//! with an addition: the digits are the same on every machine.

use pulp::{Arch, Simd, WithSimd};

/// Sums that go on side by side, whatever number of them the machine adds at once.
const LANES: usize = 8;

/// Does `work`. Only what is inlined into it is compiled for the widest instructions, so it is a bare loop, or
/// calls what is `#[inline(always)]`.
#[inline(always)]
pub(super) fn simd_dispatch<T>(work: impl FnOnce() -> T) -> T {
    Arch::new().dispatch(work)
}

/// Σ v, Σ v², Σ v³ and Σ v⁴.
pub(super) fn powers(values: &[f64]) -> [f64; 4] {
    Arch::new().dispatch(PowersOf(values))
}

/// Σ a b of two rows.
pub(super) fn dot(a: &[f32], b: &[f32]) -> f64 {
    Arch::new().dispatch(Dot(a, b))
}

/// The numbers that fill all lanes, and those left over.
fn whole<T>(values: &[T]) -> (&[T], &[T]) {
    values.split_at(values.len() / LANES * LANES)
}

struct PowersOf<'a>(&'a [f64]);

impl WithSimd for PowersOf<'_> {
    type Output = [f64; 4];

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> [f64; 4] {
        let (values, rest) = whole(self.0);
        let (values, _) = S::as_simd_f64s(values);
        let mut sums = [[simd.splat_f64s(0.0); 4]; LANES];
        for values in values.chunks_exact(LANES / S::F64_LANES) {
            for (sums, &value) in sums.iter_mut().zip(values) {
                let square = simd.mul_f64s(value, value);
                let powers = [value, square, simd.mul_f64s(square, value), simd.mul_f64s(square, square)];
                for (sum, power) in sums.iter_mut().zip(powers) {
                    *sum = simd.add_f64s(*sum, power);
                }
            }
        }
        let mut totals = [0.0; 4];
        for (power, total) in totals.iter_mut().enumerate() {
            let mut lanes = [0.0; LANES];
            for (lanes, sums) in lanes.chunks_exact_mut(S::F64_LANES).zip(&sums) {
                simd.partial_store_f64s(lanes, sums[power]);
            }
            let left: f64 = rest.iter().map(|value| value.powi(power as i32 + 1)).sum();
            *total = lanes.iter().sum::<f64>() + left;
        }
        totals
    }
}

struct Dot<'a>(&'a [f32], &'a [f32]);

impl WithSimd for Dot<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> f64 {
        let ((a, rest), (b, other_rest)) = (whole(self.0), whole(self.1));
        let ((a, _), (b, _)) = (S::as_simd_f32s(a), S::as_simd_f32s(b));
        let registers = LANES / S::F32_LANES;
        let mut sums = [simd.splat_f32s(0.0); LANES];
        for (a, b) in a.chunks_exact(registers).zip(b.chunks_exact(registers)) {
            for (sum, (&a, &b)) in sums.iter_mut().zip(a.iter().zip(b)) {
                *sum = simd.add_f32s(*sum, simd.mul_f32s(a, b));
            }
        }
        let mut lanes = [0.0; LANES];
        for (lanes, &sums) in lanes.chunks_exact_mut(S::F32_LANES).zip(&sums) {
            simd.partial_store_f32s(lanes, sums);
        }
        let left: f32 = rest.iter().zip(other_rest).map(|(a, b)| a * b).sum();
        f64::from(lanes.iter().sum::<f32>() + left)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_counts_once_whatever_their_number() {
        for length in 0..40 {
            let values: Vec<f64> = (0..length).map(|i| f64::from(i % 7) - 2.0).collect();
            let expected = [1, 2, 3, 4].map(|power| values.iter().map(|value| value.powi(power)).sum::<f64>());
            assert_eq!(powers(&values), expected, "{length}");
            let single: Vec<f32> = values.iter().map(|&value| value as f32).collect();
            assert_eq!(dot(&single, &single), expected[1], "{length}");
        }
    }

    /// What a machine without wide instructions finds, bit for bit: lanes are lanes.
    #[test]
    fn the_digits_are_those_of_a_machine_that_adds_one_by_one() {
        let values: Vec<f64> = (0..1003).map(|i| (f64::from(i) * 0.7391).sin() * 3.0).collect();
        assert_eq!(powers(&values), pulp::Scalar::new().vectorize(PowersOf(&values)));
        let single: Vec<f32> = values.iter().map(|&value| value as f32).collect();
        assert_eq!(dot(&single, &single), pulp::Scalar::new().vectorize(Dot(&single, &single)));
    }
}
