//! Sums of codes and of powers, in parts that the processor adds side by side.

use wide::f64x4;

/// So many codes of 16 bits fit a sum of 32.
pub(super) const SHORT: usize = 1 << 16;

/// The sum of the codes of a row.
pub(super) fn sum(row: &[u16]) -> u64 {
    row.chunks(SHORT).map(|part| u64::from(part.iter().map(|&code| u32::from(code)).sum::<u32>())).sum()
}

/// The sum of their squares: the upper and the lower half of each square for itself.
pub(super) fn squares(row: &[u16]) -> u64 {
    let of_part = |part: &[u16]| {
        let (mut low, mut high) = (0_u32, 0_u32);
        for &code in part {
            let square = u32::from(code) * u32::from(code);
            low += square & 0xffff;
            high += square >> 16;
        }
        u64::from(low) + (u64::from(high) << 16)
    };
    row.chunks(SHORT).map(of_part).sum()
}

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
        let mut lanes = [f64x4::ZERO; 4];
        let (whole, rest) = values.as_chunks();
        for values in whole {
            let value = f64x4::from(*values);
            let square = value * value;
            for (sum, power) in lanes.iter_mut().zip([value, square, square * value, square * square]) {
                *sum += power;
            }
        }
        let mut sums = lanes.map(f64x4::reduce_add);
        for value in rest {
            sums.iter_mut().zip(1..).for_each(|(sum, power)| *sum += value.powi(power));
        }
        self.sums.iter_mut().zip(sums).for_each(|(all, sum)| *all += sum);
        self.count += values.len() as f64;
        sums[0]
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.count += other.count;
        self.sums.iter_mut().zip(other.sums).for_each(|(sum, other)| *sum += other);
    }

    /// Means of the powers.
    pub(super) fn means(&self) -> [f64; 4] {
        self.sums.map(|sum| sum / self.count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_highest_codes_do_not_overflow() {
        let row = vec![u16::MAX; SHORT + 5];
        let n = row.len() as u64;
        assert_eq!(sum(&row), 65_535 * n);
        assert_eq!(squares(&row), 65_535 * 65_535 * n);
    }

    #[test]
    fn powers_of_whole_numbers_are_exact() {
        let values: Vec<f64> = (-3..8).map(f64::from).collect();
        let (mut at_once, mut one_by_one) = (Powers::default(), Powers::default());
        at_once.extend(&values);
        values.iter().for_each(|value| one_by_one.push(*value));
        let expected = [1, 2, 3, 4].map(|power| values.iter().map(|value| value.powi(power)).sum::<f64>());
        assert_eq!((at_once.sums, one_by_one.sums), (expected, expected));
        assert_eq!(at_once.means()[0], 2.0);
    }
}
