//! Which frames belong together, and which of their pixels to a plane.

use ndarray::{Array2, ArrayView2, Axis, Slice};

use crate::frames::FrameKind;
use crate::stats::Histogram;
use crate::units::{Celsius, Seconds};

use super::row_blocks::each_row;
use super::{exact, row_blocks};

/// Frames with the same key are of one stack and follow each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StackKey {
    /// What the frames are for.
    pub kind: FrameKind,
    /// Their exposure time.
    pub exposure: Seconds,
    /// The temperature of their group.
    pub sensor: Option<Celsius>,
}

impl StackKey {
    /// Where a stack stands in the order of measuring: bias, flats, darks; flats by falling exposure time, darks by
    /// temperature and falling exposure time.
    #[must_use]
    pub fn order(&self) -> (u8, i64, i64) {
        let thousandth = |value: f64| (value * 1000.0).round() as i64;
        let microseconds = (self.exposure.0 * 1e6).round() as i64;
        match self.kind {
            FrameKind::Bias => (0, self.sensor.map_or(i64::MIN, |c| thousandth(c.0)), 0),
            FrameKind::Flat => (1, 0, -microseconds),
            _ => (2, self.sensor.map_or(i64::MIN, |c| thousandth(c.0)), -microseconds),
        }
    }
}

/// A view of the part of a frame that a plane consists of.
pub(super) fn plane_view<T>(pixels: &Array2<T>, region: [usize; 4], cell: Option<(usize, usize)>) -> ArrayView2<'_, T> {
    let [left, top, width, height] = region;
    let ((row, column), step) = cell.map_or(((0, 0), 1), |cell| (cell, 2));
    let part = |start: usize, end: usize| Slice::from(start..end).step_by(step);
    let mut view = pixels.view();
    view.slice_axis_inplace(Axis(0), part(top + row, top + height));
    view.slice_axis_inplace(Axis(1), part(left + column, left + width));
    view
}

/// Mean of a plane in DN; 0 for an empty one.
pub(super) fn plane_mean(plane: &ArrayView2<'_, u16>) -> f64 {
    let of_band = |band| {
        let mut sum = 0;
        each_row(row_blocks::cut(*plane, band), |row| sum += exact::sum(row));
        sum
    };
    let sum: u64 = row_blocks::of_rows(plane.nrows(), of_band).into_iter().sum();
    sum as f64 / plane.len().max(1) as f64
}

/// Histograms that take the codes of a plane in turn.
const BANKS: usize = 4;

/// How often each code of a plane occurs.
pub(super) fn plane_codes(plane: ArrayView2<'_, u16>) -> Histogram {
    let empty = || Histogram::new(0, 65_535);
    let of_band = |band, banks: &mut [Histogram; BANKS]| {
        each_row(row_blocks::cut(plane, band), |row| Histogram::push_in_turn(banks, row));
    };
    let (_, codes) = row_blocks::of_rows_with(plane.nrows(), || [(); BANKS].map(|()| empty()), of_band);
    codes.into_iter().flatten().reduce(Histogram::with).unwrap_or_else(empty)
}
