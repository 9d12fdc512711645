//! Exact sums of codes of 16 bits, in parts that the processor adds side by side.

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
}
