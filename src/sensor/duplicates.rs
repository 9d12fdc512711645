//! Which frames were seen before, whatever their header says?

use std::collections::HashMap;

use ndarray::Array2;

use super::row_blocks::{self, each_row};

/// The frames taken so far, by a hash of their pixels.
#[derive(Debug, Clone, Default)]
pub(super) struct Seen {
    files: HashMap<u64, String>,
}

impl Seen {
    /// The file that held the same pixels before; remembers `file` when there is none.
    ///
    /// Frames of one single value say nothing and are never the same. Two different frames have the same hash with a
    /// chance of about 10⁻¹⁹.
    pub(super) fn before(&mut self, file: &str, pixels: &Array2<u16>) -> Option<&str> {
        let first = pixels.first()?;
        if pixels.iter().all(|code| code == first) {
            return None;
        }
        let mut fresh = false;
        let before = self.files.entry(hash(pixels)).or_insert_with(|| {
            fresh = true;
            file.to_owned()
        });
        (!fresh).then_some(before.as_str())
    }
}

/// States of the hash that go on side by side.
const STATES: usize = 8;

/// A hash of the pixels in their order, four at a time: multiply and rotate, with odd constants.
fn hash(pixels: &Array2<u16>) -> u64 {
    let mix = |state: u64, value: u64| (state ^ value).wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(23);
    let word = |codes: &[u16]| codes.iter().rev().fold(0, |word, &code| word << 16 | u64::from(code));
    let of_band = |band| {
        // Several states: the next word of one need not wait for another's multiplication.
        let mut states = [pixels.ncols() as u64, pixels.nrows() as u64, 2, 3, 4, 5, 6, 7];
        each_row(row_blocks::cut(pixels.view(), band), |row| {
            let (words, rest) = row.as_chunks::<4>();
            let (whole, some) = words.as_chunks::<STATES>();
            for words in whole {
                for (state, codes) in states.iter_mut().zip(words) {
                    *state = mix(*state, word(codes));
                }
            }
            states[0] = some.iter().fold(states[0], |state, codes| mix(state, word(codes)));
            states[1] = mix(states[1], word(rest));
        });
        states.into_iter().fold(0, mix)
    };
    row_blocks::of_rows(pixels.nrows(), of_band).into_iter().fold(0, mix)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_pixels_are_known_again_and_others_are_not() {
        let mut seen = Seen::default();
        let frame = Array2::from_shape_fn((4, 5), |(row, column)| (row * column) as u16);
        let mut other = frame.clone();
        other.swap((0, 1), (3, 3));
        assert_eq!(seen.before("a", &frame), None);
        assert_eq!(seen.before("b", &other), None);
        assert_eq!(seen.before("c", &frame), Some("a"));
        for file in ["d", "e"] {
            assert_eq!(seen.before(file, &Array2::zeros((4, 5))), None);
        }
    }
}
