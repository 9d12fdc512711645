//! Planes in bands of rows that several threads take at once.
//!
//! Where the bands are cut does not depend on how many threads there are, and what comes of them is put together from top
//! to bottom: the same frames give the same digits on any machine.

use std::ops::Range;
use std::sync::{Mutex, PoisonError};

use ndarray::{Array2, ArrayView2, ArrayViewMut1, ArrayViewMut2, Axis, Slice};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

/// Rows of a band.
pub(super) const ROWS: usize = 256;

/// What comes of each band of `rows` rows, from top to bottom.
pub(super) fn of_rows<T: Send>(rows: usize, of_band: impl Fn(Range<usize>) -> T + Sync + Send) -> Vec<T> {
    each((0..rows).step_by(ROWS).map(|top| top..(top + ROWS).min(rows)).collect(), of_band)
}

/// [`of_rows`] with something of its own, such as a histogram, for whoever works on a band; there are as many of them as
/// bands are worked on at a time. One for each band would be more memory to fetch and to add up than the band itself.
///
/// Which bands went into which of them is chance: they must come to the same in all.
pub(super) fn of_rows_with<S: Send, T: Send>(
    rows: usize,
    new: impl Fn() -> S + Sync,
    of_band: impl Fn(Range<usize>, &mut S) -> T + Sync + Send,
) -> (Vec<T>, Vec<S>) {
    let idle = Mutex::new(Vec::new());
    let lock = || idle.lock().unwrap_or_else(PoisonError::into_inner);
    let done = of_rows(rows, |band| {
        let kept = lock().pop();
        let mut own = kept.unwrap_or_else(&new);
        let done = of_band(band, &mut own);
        lock().push(own);
        done
    });
    (done, std::mem::take(&mut *lock()))
}

/// What comes of each part, in their order.
pub(super) fn each<P: Send, T: Send>(parts: Vec<P>, of_part: impl Fn(P) -> T + Sync + Send) -> Vec<T> {
    // A small plane is done before a thread has woken up.
    if parts.len() < 2 {
        return parts.into_iter().map(of_part).collect();
    }
    parts.into_par_iter().map(of_part).collect()
}

/// Room for an image of sums: in the memory of an `old` one if that has its size, and then not empty.
///
/// New memory is written to: if it was only promised, it is given page by page at the first addition, each time with a
/// word to all processors, which takes longer than the additions.
pub(super) fn room(old: Array2<u32>, shape: (usize, usize)) -> Array2<u32> {
    if old.dim() == shape {
        return old;
    }
    let mut sums = Array2::zeros(shape);
    each(sums.axis_chunks_iter_mut(Axis(0), ROWS).collect(), |mut band: ArrayViewMut2<'_, u32>| band.fill(0));
    sums
}

/// Some rows of an image.
pub(super) fn cut<T>(mut plane: ArrayView2<'_, T>, rows: Range<usize>) -> ArrayView2<'_, T> {
    plane.slice_axis_inplace(Axis(0), Slice::from(rows));
    plane
}

/// A row of a plane; the scattered pixels of one colour are gathered into `gathered` first.
pub(super) fn row_of<'a>(plane: ArrayView2<'a, u16>, row: usize, gathered: &'a mut Vec<u16>) -> &'a [u16] {
    let row = plane.index_axis_move(Axis(0), row);
    match row.to_slice() {
        Some(codes) => codes,
        None => {
            gathered.resize(row.len(), 0);
            // With two strides in one loop; pixel by pixel through an iterator it takes many times as long.
            ArrayViewMut1::from(gathered.as_mut_slice()).assign(&row);
            gathered
        }
    }
}

/// Hands over each row of a plane.
pub(super) fn each_row(plane: ArrayView2<'_, u16>, mut take: impl FnMut(&[u16])) {
    let mut gathered = Vec::new();
    for row in 0..plane.nrows() {
        take(row_of(plane, row, &mut gathered));
    }
}

/// [`each_row`] of two planes of one shape, side by side.
pub(super) fn each_two_rows([first, second]: [ArrayView2<'_, u16>; 2], mut take: impl FnMut(&[u16], &[u16])) {
    let (mut of_first, mut of_second) = (Vec::new(), Vec::new());
    for row in 0..first.nrows() {
        take(row_of(first, row, &mut of_first), row_of(second, row, &mut of_second));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_come_from_top_to_bottom_and_miss_no_row() {
        let bands = of_rows(2 * ROWS + 3, |band| band);
        assert_eq!(bands, [0..ROWS, ROWS..2 * ROWS, 2 * ROWS..2 * ROWS + 3]);
        assert!(of_rows(0, |band| band).is_empty());
    }

    #[test]
    fn scattered_pixels_are_gathered() {
        let frame = Array2::from_shape_fn((4, 6), |(row, column)| (10 * row + column) as u16);
        let mut plane = frame.view();
        plane.slice_axis_inplace(Axis(0), Slice::from(1..).step_by(2));
        plane.slice_axis_inplace(Axis(1), Slice::from(1..).step_by(2));
        let mut rows = Vec::new();
        each_row(plane, |row| rows.push(row.to_vec()));
        assert_eq!(rows, [[11, 13, 15], [31, 33, 35]]);
        each_two_rows([plane, plane], |a, b| assert_eq!(a, b));
    }
}
