//! The mean image of a stack, split into variances of rows, columns and single pixels.
//!
//! It is summed while its frames pass and split when it ends; what rows and columns do from frame to frame is taken off.

use std::ops::Range;

use ndarray::{Array2, ArrayView2, ArrayViewMut2, Axis};

use crate::sensor::exact;
use crate::sensor::powers::Powers;
use crate::sensor::row_blocks::{self, row_of};
use crate::sensor::simd::simd_dispatch;
use crate::stats::{Estimate, Moments};

use super::lines::Lines;

/// Side of the box that the high-pass filter takes off (EMVA 1288 Release 4.0 Linear, from memory: 5 × 5).
pub const HIGH_PASS: usize = 5;

/// A box of one pixel takes nothing off: no filter.
const NO_FILTER: usize = 1;
/// So many frames of the highest code, times the pixels of the filter's box, fit 32 bits; no mean gets better by more.
const MOST_FRAMES: u32 = 1300;
/// A plane must have this many boxes a side, or little is left of it.
const FEWEST_BOXES: usize = 3;

/// The mean image of a stack of frames of the same light, with what is needed to take the temporal noise off.
///
/// Frames are pushed one at a time; memory is one image of 32-bit sums, whatever their number.
///
/// # Examples
/// ```
/// let mut stack = subwell::sensor::StackPattern::default();
/// for frame in [[[1_u16, 5], [3, 9]], [[2, 4], [3, 9]]] {
///     stack.push(ndarray::arr2(&frame).view());
/// }
/// assert_eq!(stack.mean(), Some(4.5));
/// ```
#[derive(Debug, Clone, Default)]
pub struct StackPattern {
    pub(super) sum: Array2<u32>,
    pub(super) frames: u32,
    level: Moments,
    /// Squared distances of all pixels from their frame's mean.
    squares: f64,
    rows: Lines,
    columns: Lines,
}

/// The sums over a band of one frame.
struct Band {
    rows: Vec<u64>,
    columns: Vec<u32>,
    squares: u64,
}

impl Band {
    fn new(rows: usize, columns: usize) -> Self {
        Self { rows: Vec::with_capacity(rows), columns: vec![0; columns], squares: 0 }
    }

    fn take(&mut self, line: &[u16], sums: &mut [u32], first: bool) {
        self.rows.push(exact::sum(line));
        self.squares += exact::squares(line);
        exact::add(line, sums, first);
        exact::add(line, &mut self.columns, false);
    }

    /// Adds a band of frames to the `sums` of its pixels, a row of all of them at a time: the sums are fetched once. They
    /// hold nothing of worth where these are the `first` frames.
    fn from_frames<const FRAMES: usize>(
        frames: [ArrayView2<'_, u16>; FRAMES],
        mut sums: ArrayViewMut2<'_, u32>,
        first: bool,
    ) -> [Self; FRAMES] {
        let (rows, columns) = sums.dim();
        let mut bands = [(); FRAMES].map(|()| Self::new(rows, columns));
        let mut gathered = Vec::new();
        for (row, sums) in sums.rows_mut().into_iter().enumerate() {
            let sums = sums.into_slice().unwrap_or_default();
            for (number, (frame, band)) in frames.into_iter().zip(&mut bands).enumerate() {
                band.take(row_of(frame, row, &mut gathered), sums, first && number == 0);
            }
        }
        bands
    }
}

impl Powers {
    /// Unbiased variance and its own variance, from the fourth moment or the normal distribution, whichever is more.
    fn variance(&self) -> Known {
        let [second, fourth] = self.central();
        let second = second.max(0.0);
        let of_one = (fourth - second * second).max(2.0 * second * second);
        Known { value: second * self.count / (self.count - 1.0), variance: of_one / (self.count - 1.0) }
    }
}

/// A spatial variance in DN² and the variance of that value.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Known {
    value: f64,
    variance: f64,
}

impl Known {
    fn less(self, other: Self) -> Self {
        Self { value: self.value - other.value, variance: self.variance + other.variance }
    }

    fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, variance: self.variance * factor * factor }
    }

    fn estimate(self) -> Estimate<f64> {
        Estimate::new(self.value, self.variance.sqrt())
    }
}

/// Spatial variances in DN² of one stack: of whole rows, whole columns, single pixels, and all of it.
///
/// A part whose true value is near 0 may come out negative; it is left so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatternVariance {
    /// Whole rows.
    pub row: Estimate<f64>,
    /// Whole columns.
    pub column: Estimate<f64>,
    /// Single pixels.
    pub pixel: Estimate<f64>,
    /// The sum of the three.
    pub total: Estimate<f64>,
}

impl PatternVariance {
    /// The same where waves over the frames, few as they are, leave so much more or less in their mean than they do on average,
    /// in DN² as a standard uncertainty.
    pub(crate) fn among_waves(mut self, sigma: f64) -> Self {
        for part in [&mut self.row, &mut self.pixel, &mut self.total] {
            part.uncertainty = part.uncertainty.hypot(sigma);
        }
        self
    }
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Parts {
    row: Known,
    column: Known,
    pixel: Known,
}

impl Parts {
    /// Solves for the parts what a box of side `b` leaves of them.
    ///
    /// The filter keeps 1 − 1/b² of the variance of independent pixels, and 1 − 1/b of that of whole rows
    /// or columns, on which the box works in one direction only.
    fn solved(total: Known, of_rows: Known, of_columns: Known, [rows, columns]: [f64; 2], b: usize) -> Self {
        let (line, single) = kept(b);
        let rest = Known { variance: total.variance, ..total.less(of_rows).less(of_columns) };
        let pixel = rest.scaled(1.0 / (single - line * (1.0 / rows + 1.0 / columns)));
        Self {
            row: of_rows.scaled(1.0 / line).less(pixel.scaled(1.0 / columns)),
            column: of_columns.scaled(1.0 / line).less(pixel.scaled(1.0 / rows)),
            pixel,
        }
    }

    fn less(self, other: Self) -> Self {
        Self {
            row: self.row.less(other.row),
            column: self.column.less(other.column),
            pixel: self.pixel.less(other.pixel),
        }
    }

    fn written(self) -> PatternVariance {
        let total = Known {
            value: self.row.value + self.column.value + self.pixel.value,
            variance: self.row.variance + self.column.variance + self.pixel.variance,
        };
        PatternVariance {
            row: self.row.estimate(),
            column: self.column.estimate(),
            pixel: self.pixel.estimate(),
            total: total.estimate(),
        }
    }
}

/// What a box of side `b` leaves of the variance of whole lines, and of single pixels; all without a filter.
fn kept(b: usize) -> (f64, f64) {
    let side = b as f64;
    if b == NO_FILTER { (1.0, 1.0) } else { (1.0 - 1.0 / side, 1.0 - 1.0 / (side * side)) }
}

/// By how much filtered values know their variance worse than independent ones would: Σρ² over all lags
/// of a line, and of a plane (derived here).
fn correlated(b: usize) -> (f64, f64) {
    if b == NO_FILTER {
        return (1.0, 1.0);
    }
    let (side, reach) = (b as i32, b as i32 - 1);
    let half = side / 2;
    let overlap = |lag: i32| f64::from(side - lag.abs());
    let (n, inside) = (f64::from(side), |lag: i32| f64::from(u8::from(lag.abs() <= half)));
    let origin = |lag: i32| f64::from(u8::from(lag == 0));
    let (line, single) = kept(b);
    let mut sums = (0.0, 0.0);
    for y in -reach..=reach {
        sums.0 += ((origin(y) - 2.0 * inside(y) / n + overlap(y) / (n * n)) / line).powi(2);
        for x in -reach..=reach {
            let both = origin(x) * origin(y) - 2.0 * inside(x) * inside(y) / (n * n);
            sums.1 += ((both + overlap(x) * overlap(y) / n.powi(4)) / single).powi(2);
        }
    }
    sums
}

impl StackPattern {
    /// An empty stack that sums in the memory of an old image.
    pub(super) fn in_memory_of(old: Array2<u32>) -> Self {
        Self { sum: old, ..Self::default() }
    }

    pub(super) fn into_memory(self) -> Array2<u32> {
        self.sum
    }

    /// Adds a frame; one of another size than the first is left out, and so are those after the 1,300th.
    pub fn push(&mut self, frame: ArrayView2<'_, u16>) {
        self.push_all([frame]);
    }

    /// Adds frames of one size in one pass.
    pub(super) fn push_all<const FRAMES: usize>(&mut self, frames: [ArrayView2<'_, u16>; FRAMES]) {
        let shape = frames[0].dim();
        if self.frames == 0 {
            self.sum = row_blocks::room(std::mem::take(&mut self.sum), shape);
        }
        let left_out = shape != self.sum.dim() || self.sum.is_empty();
        if left_out || self.frames + FRAMES as u32 > MOST_FRAMES {
            return;
        }
        let first = self.frames == 0;
        let tops = (0..shape.0).step_by(row_blocks::ROWS);
        let parts = tops.zip(self.sum.axis_chunks_iter_mut(Axis(0), row_blocks::ROWS)).collect();
        let of_bands = row_blocks::each(parts, |(top, sums)| {
            Band::from_frames(frames.map(|frame| row_blocks::cut(frame, top..top + sums.nrows())), sums, first)
        });
        let mut of_frames = [(); FRAMES].map(|()| Vec::with_capacity(of_bands.len()));
        for bands in of_bands {
            of_frames.iter_mut().zip(bands).for_each(|(frame, band)| frame.push(band));
        }
        of_frames.into_iter().for_each(|frame| self.count(frame));
    }

    /// Counts a frame whose pixels are added already.
    fn count(&mut self, frame: Vec<Band>) {
        let (rows, columns) = self.sum.dim();
        let (mut of_rows, mut of_columns, mut squares) = (Vec::with_capacity(rows), vec![0_u64; columns], 0);
        for band in frame {
            of_rows.extend(band.rows);
            of_columns.iter_mut().zip(band.columns).for_each(|(sum, band)| *sum += u64::from(band));
            squares += band.squares;
        }
        let (total, pixels) = (of_rows.iter().sum::<u64>(), self.sum.len());
        let (n, mean) = (pixels as f64, total as f64 / pixels as f64);
        let apart = i128::from(squares) * pixels as i128 - i128::from(total) * i128::from(total);
        self.squares += apart as f64 / n;
        self.rows.push(&of_rows, columns, mean);
        self.columns.push(&of_columns, rows, mean);
        self.level.push(mean);
        self.frames += 1;
    }

    /// How many frames there are.
    #[must_use]
    pub fn frames(&self) -> u32 {
        self.frames
    }

    /// Mean level in DN; `None` without frames.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        self.level.mean()
    }

    /// The sums of the frames, pixel by pixel, in DN.
    #[must_use]
    pub fn sums(&self) -> ArrayView2<'_, u32> {
        self.sum.view()
    }

    /// The spatial variances of the mean image, temporal noise taken off; `high_pass` is the side of the box
    /// whose mean is taken off each pixel first (odd; `None`: no filter).
    ///
    /// ```text
    /// s_y² = s² − σ²/L        s_rav² = s_r² − σ_r²/L        s_cav² = s_c² − σ_c²/L
    /// s_pix² = (s_y² − s_rav² − s_cav²) / (f₂ − f₁/M − f₁/N)
    /// s_row² = s_rav²/f₁ − s_pix²/N        s_col² = s_cav²/f₁ − s_pix²/M
    /// ```
    ///
    /// s², s_r², s_c² are the variances over the pixels, the row means and the column means of the mean of L
    /// frames with M rows and N columns; σ², σ_r², σ_c² those of the same things from frame to frame, so that
    /// noise common to a row of one frame is no pattern. f₁ = 1 − 1/b and f₂ = 1 − 1/b² undo the filter; both
    /// are 1 without it. For two frames s_y² is their covariance (equation 32).
    ///
    /// `None` with fewer than two frames, when the plane is smaller than three boxes, or when the codes in a box may add up
    /// to more than 32 bits hold.
    ///
    /// # Source
    /// EMVA 1288 Release 4.0 Linear, equations 32, 35, 36, 41 and 42, and its high-pass filter (from memory);
    /// the filter's effect on lines and the uncertainties derived here.
    #[must_use]
    pub fn variances(&self, high_pass: Option<usize>) -> Option<PatternVariance> {
        self.variances_with(&self.pixels(), high_pass)
    }

    pub(super) fn variances_with(&self, pixels: &Powers, high_pass: Option<usize>) -> Option<PatternVariance> {
        let (rows, columns) = self.sum.dim();
        let b = high_pass.unwrap_or(NO_FILTER);
        let too_small = rows.min(columns) < (FEWEST_BOXES * b).max(3);
        // A box of the highest codes must fit 32 bits.
        let too_wide = (b * b) as u64 * u64::from(self.frames) * u64::from(u16::MAX) > i32::MAX as u64;
        if self.frames < 2 || too_small || too_wide || b.is_multiple_of(2) {
            return None;
        }
        let l = f64::from(self.frames);
        let whole = [rows as f64, columns as f64];
        let temporal = self.temporal(pixels).map(|known| known.scaled(1.0 / l));
        let temporal = Parts::solved(temporal[0], temporal[1], temporal[2], whole, NO_FILTER);
        let measured = if b == NO_FILTER {
            let of_lines = [self.rows.spread(l).variance(), self.columns.spread(l).variance()];
            Parts::solved(pixels.variance().scaled(1.0 / (l * l)), of_lines[0], of_lines[1], whole, b)
        } else {
            self.filtered(b)
        };
        Some(measured.less(temporal).written())
    }

    /// The sums' distances from their mean.
    pub(super) fn pixels(&self) -> Powers {
        let middle = self.level.mean().unwrap_or(0.0) * f64::from(self.frames);
        let of_band = |band| {
            let (mut powers, mut line) = (Powers::default(), vec![0.0; self.sum.ncols()]);
            for sums in row_blocks::cut(self.sum.view(), band).rows() {
                let sums = sums.to_slice().unwrap_or_default();
                simd_dispatch(
                    #[inline(always)]
                    || line.iter_mut().zip(sums).for_each(|(value, &sum)| *value = f64::from(sum) - middle),
                );
                powers.extend(&line);
            }
            powers
        };
        let mut powers = Powers::default();
        row_blocks::of_rows(self.sum.nrows(), of_band).iter().for_each(|band| powers.add(band));
        powers
    }

    /// Variances from frame to frame: of a pixel, of a row's mean, of a column's mean.
    fn temporal(&self, pixels: &Powers) -> [Known; 3] {
        let l = f64::from(self.frames);
        let known = |value: f64, count: f64| Known { value, variance: 2.0 * value * value / (count * (l - 1.0)) };
        let (rows, columns) = (self.rows.sums.len() as f64, self.columns.sums.len() as f64);
        let of_pixel = (self.squares - pixels.sums[1] / l) / ((pixels.count - 1.0) * (l - 1.0));
        [known(of_pixel, pixels.count), known(self.rows.temporal(l), rows), known(self.columns.temporal(l), columns)]
    }

    /// The parts of the mean image less the mean of the box about each pixel; pixels whose box leaves
    /// the plane are left out.
    fn filtered(&self, b: usize) -> Parts {
        let (rows, columns) = self.sum.dim();
        let [inner_rows, inner_columns] = [rows, columns].map(|length| length - 2 * (b / 2));
        let (mut all, mut of_rows, mut of_columns) = (Powers::default(), Powers::default(), vec![0.0; inner_columns]);
        for (powers, lines, columns) in row_blocks::of_rows(inner_rows, |band| self.filtered_band(b, band)) {
            all.add(&powers);
            of_rows.extend(&lines);
            of_columns.iter_mut().zip(columns).for_each(|(sum, column)| *sum += column);
        }
        let mut columns = Powers::default();
        of_columns.iter().for_each(|sum| columns.push(sum / inner_rows as f64));
        let (line, plane) = correlated(b);
        let widened = |known: Known, factor: f64| Known { variance: known.variance * factor, ..known };
        Parts::solved(
            widened(all.variance(), plane),
            widened(of_rows.variance(), line),
            widened(columns.variance(), line),
            [inner_rows as f64, inner_columns as f64],
            b,
        )
    }

    /// A band of the filtered image, counted from the first row whose box lies inside: its pixels, the means of its rows,
    /// and the sums of its columns.
    fn filtered_band(&self, b: usize, band: Range<usize>) -> (Powers, Vec<f64>, Vec<f64>) {
        let (half, area) = (b / 2, (b * b) as i32);
        let per_code = 1.0 / (f64::from(area) * f64::from(self.frames));
        let inner = half..self.sum.ncols() - half;
        // Sums over the rows of the box, and over the box.
        let (mut strip, mut inside) = (vec![0_i32; self.sum.ncols()], vec![0_i32; inner.len()]);
        let row = |row: usize| row_blocks::cut(self.sum.view(), row..row + 1).to_slice().unwrap_or_default();
        for above in band.start..band.start + b - 1 {
            strip.iter_mut().zip(row(above)).for_each(|(sum, &y)| *sum += y as i32);
        }
        let (mut powers, mut of_rows) = (Powers::default(), Vec::with_capacity(band.len()));
        let (mut of_columns, mut line) = (vec![0.0; inner.len()], vec![0.0; inner.len()]);
        for top in band {
            let (entering, own, leaving) = (row(top + b - 1), &row(top + half)[inner.clone()], row(top));
            simd_dispatch(
                #[inline(always)]
                || {
                    strip.iter_mut().zip(entering).for_each(|(sum, &y)| *sum += y as i32);
                    inside.copy_from_slice(&strip[..inner.len()]);
                    for across in 1..b {
                        inside.iter_mut().zip(&strip[across..]).for_each(|(sum, &strip)| *sum += strip);
                    }
                    for ((value, &own), &inside) in line.iter_mut().zip(own).zip(&inside) {
                        *value = f64::from(area * own as i32 - inside) * per_code;
                    }
                    of_columns.iter_mut().zip(&line).for_each(|(of_column, value)| *of_column += value);
                    strip.iter_mut().zip(leaving).for_each(|(sum, &y)| *sum -= y as i32);
                },
            );
            of_rows.push(powers.extend(&line) / inner.len() as f64);
        }
        (powers, of_rows, of_columns)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pixels, rows and columns of chance without a generator: a linear congruential sequence.
    fn noise(seed: &mut u64) -> f64 {
        let mut uniform = || {
            *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (*seed >> 40) as f64 / (1_u64 << 24) as f64
        };
        (0..12).map(|_| uniform()).sum::<f64>() - 6.0
    }

    fn stack(parts: [f64; 3], temporal: f64, bend: f64) -> StackPattern {
        let (rows, columns, mut seed) = (120, 160, 11);
        let of_rows: Vec<f64> = (0..rows).map(|_| parts[0] * noise(&mut seed)).collect();
        let of_columns: Vec<f64> = (0..columns).map(|_| parts[1] * noise(&mut seed)).collect();
        let pattern = Array2::from_shape_fn((rows, columns), |(i, j)| {
            let vignette = bend * ((i as f64 - 60.0).powi(2) + (j as f64 - 80.0).powi(2)) / 10_000.0;
            1000.0 + of_rows[i] + of_columns[j] + parts[2] * noise(&mut seed) - vignette
        });
        let mut stack = StackPattern::default();
        for _ in 0..16 {
            let frame = pattern.mapv(|level| (level + temporal * noise(&mut seed)).round() as u16);
            stack.push(frame.view());
        }
        stack
    }

    fn holds(variances: &PatternVariance, truth: [f64; 3]) {
        let parts = [variances.row, variances.column, variances.pixel];
        for (part, truth) in parts.iter().zip(truth) {
            let pull = (part.value - truth) / part.uncertainty;
            assert!(pull.abs() < 3.5, "{part:?} for {truth}");
        }
    }

    #[test]
    fn rows_columns_and_pixels_are_told_apart_with_and_without_the_filter() {
        let stack = stack([4.0, 7.0, 15.0], 40.0, 0.0);
        for filter in [None, Some(3), Some(5), Some(7)] {
            holds(&stack.variances(filter).unwrap(), [16.0, 49.0, 225.0]);
        }
    }

    #[test]
    fn a_vignette_is_no_response_to_the_filter() {
        let stack = stack([0.0, 0.0, 15.0], 40.0, 400.0);
        assert!(stack.variances(None).unwrap().total.value > 5_000.0);
        let filtered = stack.variances(Some(HIGH_PASS)).unwrap();
        assert!((filtered.total.value / 225.0 - 1.0).abs() < 0.05, "{filtered:?}");
    }

    /// EMVA 1288 Release 4.0, equation 32: for two frames the corrected variance is their covariance.
    #[test]
    fn two_frames_give_their_covariance() {
        let (first, second) = (
            ndarray::arr2(&[[10_u16, 12, 11], [13, 9, 11], [9, 9, 9]]),
            ndarray::arr2(&[[11_u16, 12, 10], [12, 10, 14], [9, 8, 9]]),
        );
        let mut stack = StackPattern::default();
        [first.view(), second.view()].into_iter().for_each(|frame| stack.push(frame));
        let covariance = crate::sensor::spatial_covariance(first.view(), second.view()) * 9.0 / 8.0;
        approx::assert_relative_eq!(stack.variances(None).unwrap().total.value, covariance, max_relative = 1e-12);
    }
}
