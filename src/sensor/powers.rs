//! Sums of powers, from which central moments follow.

use super::simd;

/// Sums of powers 1 to 4 of numbers that lie about 0.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Powers {
    pub(super) count: f64,
    pub(super) sums: [f64; 4],
}

impl Powers {
    pub(super) fn push(&mut self, value: f64) {
        self.extend(&[value]);
    }

    /// Takes numbers and gives their own sum.
    pub(super) fn extend(&mut self, values: &[f64]) -> f64 {
        let sums = simd::powers(values);
        self.sums.iter_mut().zip(sums).for_each(|(all, sum)| *all += sum);
        self.count += values.len() as f64;
        sums[0]
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.count += other.count;
        self.sums.iter_mut().zip(other.sums).for_each(|(sum, other)| *sum += other);
    }

    /// Second and fourth central moment (divisor n).
    pub(super) fn central(&self) -> [f64; 2] {
        let [m1, m2, m3, m4] = self.sums.map(|sum| sum / self.count);
        [m2 - m1 * m1, m4 - 4.0 * m1 * m3 + 6.0 * m1 * m1 * m2 - 3.0 * m1.powi(4)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_of_whole_numbers_are_exact() {
        let values: Vec<f64> = (-3..8).map(f64::from).collect();
        let (mut at_once, mut one_by_one) = (Powers::default(), Powers::default());
        at_once.extend(&values);
        values.iter().for_each(|value| one_by_one.push(*value));
        let expected = [1, 2, 3, 4].map(|power| values.iter().map(|value| value.powi(power)).sum::<f64>());
        assert_eq!((at_once.sums, one_by_one.sums), (expected, expected));
        assert_eq!(at_once.sums[0] / at_once.count, 2.0);
        // Eleven whole numbers in a row: (n² − 1)/12 and (n² − 1)(3n² − 7)/240 (discrete uniform distribution, any table).
        let [second, fourth] = at_once.central();
        approx::assert_relative_eq!(second, 10.0, max_relative = 1e-12);
        approx::assert_relative_eq!(fourth, 178.0, max_relative = 1e-12);
    }
}
