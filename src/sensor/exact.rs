//! Rows of codes of 16 bits in whole numbers, exactly.

use super::simd::simd_dispatch;

/// So many codes of 16 bits fit a sum of 32.
const SHORT: usize = 1 << 16;

/// The sum of the codes of a row.
pub(super) fn sum(row: &[u16]) -> u64 {
    let of_part = |part: &[u16]| {
        simd_dispatch(
            #[inline(always)]
            || part.iter().map(|&code| u32::from(code)).sum::<u32>(),
        )
    };
    row.chunks(SHORT).map(|part| u64::from(of_part(part))).sum()
}

/// The sum of their squares: the upper and the lower half of each square for itself.
pub(super) fn squares(row: &[u16]) -> u64 {
    let of_part = |part: &[u16]| {
        simd_dispatch(
            #[inline(always)]
            || {
                let (mut low, mut high) = (0_u32, 0_u32);
                for &code in part {
                    let square = u32::from(code) * u32::from(code);
                    low += square & 0xffff;
                    high += square >> 16;
                }
                u64::from(low) + (u64::from(high) << 16)
            },
        )
    };
    row.chunks(SHORT).map(of_part).sum()
}

/// The lowest and the highest of some numbers; `None` without any.
pub(super) fn extremes<T: Ord + Copy>(numbers: &[T]) -> Option<(T, T)> {
    let &first = numbers.first()?;
    Some(simd_dispatch(
        #[inline(always)]
        || numbers.iter().fold((first, first), |(low, high), &number| (low.min(number), high.max(number))),
    ))
}

/// How many of the codes are `wanted`.
pub(super) fn count(row: &[u16], wanted: u16) -> usize {
    let of_part = |part: &[u16]| {
        simd_dispatch(
            #[inline(always)]
            || part.iter().map(|&code| u32::from(code == wanted)).sum::<u32>(),
        )
    };
    row.chunks(SHORT).map(|part| of_part(part) as usize).sum()
}

/// Adds the differences of two rows to the sums of their columns.
pub(super) fn add_difference(first: &[u16], second: &[u16], sums: &mut [i32]) {
    simd_dispatch(
        #[inline(always)]
        || {
            for ((sum, &a), &b) in sums.iter_mut().zip(first).zip(second) {
                *sum += i32::from(a) - i32::from(b);
            }
        },
    );
}

/// Adds a row to the sums of its pixels, which hold nothing of worth yet where it is the `first` one.
pub(super) fn add(row: &[u16], sums: &mut [u32], first: bool) {
    simd_dispatch(
        #[inline(always)]
        || {
            let both = row.iter().zip(sums);
            if first {
                both.for_each(|(&code, sum)| *sum = u32::from(code));
            } else {
                both.for_each(|(&code, sum)| *sum += u32::from(code));
            }
        },
    );
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
        assert_eq!(count(&row, u16::MAX), row.len());
    }

    #[test]
    fn lowest_highest_and_their_counts_are_those_of_a_sort() {
        let row: Vec<u16> = (0..77_u32).map(|i| (i * 7919 % 61 + 3) as u16).collect();
        let mut sorted = row.clone();
        sorted.sort_unstable();
        assert_eq!(extremes(&row), Some((sorted[0], sorted[76])));
        assert_eq!(count(&row, 5), row.iter().filter(|&&code| code == 5).count());
        assert_eq!(extremes::<u16>(&[]), None);
    }

    #[test]
    fn the_first_row_overwrites_and_the_next_is_added() {
        let mut sums = [9, 9, 9];
        add(&[1, 2, 65_535], &mut sums, true);
        add(&[1, 2, 65_535], &mut sums, false);
        assert_eq!(sums, [2, 4, 131_070]);
    }
}
