//! What the report draws of a mean image of darks: made of what the measurement holds, small whatever the sensor.

use std::ops::Range;

use ndarray::{Array2, ArrayView2, Axis, Slice};

use crate::camera::{DarkBin, DarkPicture};
use crate::units::{Celsius, ElectronsPerDn, ElectronsPerSecond, Seconds};

/// Most parts across and down.
const PARTS: (usize, usize) = (24, 16);
/// Least side of a part in pixels.
const LEAST_SIDE: usize = 16;
/// Most stretches of a profile of rows or columns.
const STRETCHES: usize = 64;
/// Pixels that are looked at for one number.
const SAMPLES: usize = 1024;
/// Bins in a factor of ten, from a tenth of the median rate …
const BINS_OF_TEN: usize = 12;
/// … to this many factors of ten above that; the last bin holds what lies beyond.
const TENS: usize = 6;
/// The bin that begins at ten times the median.
const BINS_TO_HOT: usize = 2 * BINS_OF_TEN;
/// Values of a mean pixel that a bin must have room for.
const STEPS_OF_A_BIN: f64 = 2.0;
/// Bits of a number that are not looked at while counting: 8 of its fraction are left.
const UNSEEN_BITS: u32 = 15;
/// The bits that are left of 2⁻⁴, and how many of them there are up to 2¹⁷.
const LOWEST: usize = (127 - 4) << 8;
const FINE: usize = 21 << 8;

/// Levels in DN, rates in DN/s: the gain comes later.
#[derive(Debug, Clone)]
pub(crate) struct Sketch {
    exposure: Seconds,
    frames: u32,
    size: [usize; 2],
    median: f64,
    /// The bins' edges, in medians.
    edges: Vec<f64>,
    counts: Vec<u64>,
    below: u64,
    parts: Array2<f64>,
    columns: Vec<f64>,
    rows: Vec<f64>,
}

impl Sketch {
    /// Of a sum image of `frames` darks whose level without time is `offset`.
    pub(super) fn new(sum: ArrayView2<'_, u32>, frames: u32, exposure: Seconds, offset: f64) -> Self {
        let (height, width) = sum.dim();
        let rate = |sum: f64| (sum / f64::from(frames) - offset) / exposure.0;
        let few = |length: usize, most: usize| (length / LEAST_SIDE).clamp(1, most);
        let stretch = |i: usize, of: usize, whole: usize| i * whole / of..(i + 1) * whole / of;
        let (down, across) = (few(height, PARTS.1), few(width, PARTS.0));
        let mut values = Vec::with_capacity(2 * SAMPLES);
        let mut middle = |part: ArrayView2<'_, u32>| rate(middle_of(part, &mut values));
        let parts = Array2::from_shape_fn((down, across), |(i, j)| {
            let (rows, columns) = (stretch(i, down, height), stretch(j, across, width));
            let step = ((rows.len() * columns.len()) as f64 / SAMPLES as f64).sqrt().ceil().max(1.0) as isize;
            middle(thinned(sum, (rows, step), (columns, step)))
        });
        let (rows, columns) = (few(height, STRETCHES), few(width, STRETCHES));
        let step = |length: usize, other: usize| (length * other).div_ceil(SAMPLES).max(1) as isize;
        let row = |i: usize| {
            let own = stretch(i, rows, height);
            let step = step(own.len(), width);
            thinned(sum, (own, 1), (0..width, step))
        };
        let column = |i: usize| {
            let own = stretch(i, columns, width);
            let step = step(own.len(), height);
            thinned(sum, (0..height, step), (own, 1))
        };
        Self {
            exposure,
            frames,
            size: [width, height],
            median: 0.0,
            edges: Vec::new(),
            counts: Vec::new(),
            below: 0,
            parts,
            rows: (0..rows).map(|i| middle(row(i))).collect(),
            columns: (0..columns).map(|i| middle(column(i))).collect(),
        }
    }

    /// The same with the pixels' rates in DN/s, each with how many pixels have it. A number's leading bits say its bin
    /// without a logarithm.
    pub(super) fn counted(mut self, rates: &[(f64, f64)], median: f64) -> Self {
        self.median = median;
        if median <= 0.0 {
            return self;
        }
        let mut fine = vec![0_u64; FINE + 1];
        for (rate, pixels) in rates {
            let times = (rate / median) as f32;
            // What is below nothing has no bin.
            if times > 0.0 {
                fine[place(times).min(FINE)] += *pixels as u64;
            }
        }
        let edge = |bin: usize| place(10_f32.powf(bin as f32 / BINS_OF_TEN as f32 - 1.0) * 1.001);
        let edges: Vec<usize> = (0..=BINS_OF_TEN * TENS).map(edge).collect();
        self.counts = edges.windows(2).map(|ends| fine[ends[0]..ends[1]].iter().sum()).collect();
        if let Some(last) = self.counts.last_mut() {
            *last += fine[edges[edges.len() - 1]..].iter().sum::<u64>();
        }
        let all: f64 = rates.iter().map(|(_, pixels)| pixels).sum();
        self.below = all as u64 - self.counts.iter().sum::<u64>();
        let used = self.counts.iter().rposition(|count| *count > 0).map_or(0, |last| last + 1);
        self.counts.truncate(used);
        self.edges =
            edges.iter().map(|place| f64::from(f32::from_bits(((place + LOWEST) << UNSEEN_BITS) as u32))).collect();
        self
    }

    /// The picture in electrons, for codes that are `step` DN apart.
    pub(crate) fn picture(&self, sensor: Option<Celsius>, gain: ElectronsPerDn, step: u32) -> DarkPicture {
        let electrons = |rates: &[f64]| rates.iter().map(|rate| rate * gain.0).collect::<Vec<f64>>();
        let edge = |times: f64| times * self.median * gain.0;
        // A mean of few frames has few values: bins that hold one or none of them in turn would make a comb.
        let narrowest = STEPS_OF_A_BIN * f64::from(step) / (f64::from(self.frames) * self.exposure.0) * gain.0;
        let mut bins: Vec<DarkBin> = Vec::new();
        let mut wants_more = false;
        for (i, (&pixels, ends)) in self.counts.iter().zip(self.edges.windows(2)).enumerate() {
            let own = DarkBin { from_e_per_s: edge(ends[0]), to_e_per_s: edge(ends[1]), pixels };
            match bins.last_mut() {
                Some(last) if wants_more && i != BINS_TO_HOT => {
                    *last = DarkBin { to_e_per_s: own.to_e_per_s, pixels: last.pixels + pixels, ..*last };
                }
                _ => bins.push(own),
            }
            wants_more = bins.last().is_some_and(|bin| bin.to_e_per_s - bin.from_e_per_s < narrowest);
        }
        DarkPicture {
            sensor_c: sensor,
            exposure_s: self.exposure,
            frames: self.frames as usize,
            size_px: self.size,
            median_e_per_s: ElectronsPerSecond(self.median * gain.0),
            bins,
            pixels_below: self.below,
            parts_e_per_s: self.parts.outer_iter().map(|row| electrons(&row.to_vec())).collect(),
            columns_e_per_s: electrons(&self.columns),
            rows_e_per_s: electrons(&self.rows),
        }
    }
}

/// Where a positive number stands among those that are told apart while counting; all below 2⁻⁴ at 0.
fn place(number: f32) -> usize {
    ((number.to_bits() >> UNSEEN_BITS) as usize).saturating_sub(LOWEST)
}

/// A part, of which only every so many rows and columns are looked at.
fn thinned<'a>(
    image: ArrayView2<'a, u32>,
    (rows, down): (Range<usize>, isize),
    (columns, across): (Range<usize>, isize),
) -> ArrayView2<'a, u32> {
    let mut part = image;
    part.slice_axis_inplace(Axis(0), Slice::from(rows).step_by(down));
    part.slice_axis_inplace(Axis(1), Slice::from(columns).step_by(across));
    part
}

/// Mean of the middle half of the values: neither hot pixels nor whole counts show in it.
fn middle_of(part: ArrayView2<'_, u32>, values: &mut Vec<u32>) -> f64 {
    values.clear();
    values.extend(part.iter());
    values.sort_unstable();
    let quarter = values.len() / 4;
    let inner = &values[quarter..values.len() - quarter];
    inner.iter().map(|value| f64::from(*value)).sum::<f64>() / inner.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pixel_is_counted_once_and_each_part_has_its_own_rate() {
        // Ten frames of 100 s at 200 DN; the right half rises by 0.2 DN/s, the left by 0.1, one pixel by 50.
        let mut sum = Array2::from_shape_fn((64, 96), |(_, j)| 10 * (200 + if j < 48 { 10 } else { 20 }));
        sum[(10, 10)] = 10 * (200 + 5000);
        sum[(11, 10)] = 10 * 199;
        let rates: Vec<(f64, f64)> = sum.iter().map(|sum| ((f64::from(*sum) / 10.0 - 200.0) / 100.0, 1.0)).collect();
        let sketch = Sketch::new(sum.view(), 10, Seconds(100.0), 200.0).counted(&rates, 0.15);
        let picture = sketch.picture(None, ElectronsPerDn(2.0), 1);
        assert_eq!((picture.pixels(), picture.pixels_below), (64 * 96, 1));
        let beyond = picture.bins.iter().filter(|bin| bin.from_e_per_s > 2.9).map(|bin| bin.pixels).sum::<u64>();
        assert_eq!(beyond, 1, "one pixel has ten times the median");
        for row in &picture.parts_e_per_s {
            approx::assert_relative_eq!(row[0], 0.2, max_relative = 1e-4);
            approx::assert_relative_eq!(*row.last().unwrap(), 0.4, max_relative = 1e-4);
        }
        approx::assert_relative_eq!(picture.columns_e_per_s[0], 0.2, max_relative = 1e-4);
        approx::assert_relative_eq!(picture.rows_e_per_s[2], 0.3, max_relative = 1e-4);
    }

    #[test]
    fn a_bin_holds_what_lies_between_its_edges() {
        let sum = Array2::from_shape_fn((50, 100), |(i, j)| 10_f64.powf((100 * i + j) as f64 / 800.0 + 2.0) as u32);
        let rates: Vec<(f64, f64)> = sum.iter().map(|sum| (f64::from(*sum), 1.0)).collect();
        let sketch = Sketch::new(sum.view(), 1, Seconds(1.0), 0.0).counted(&rates, 5e3);
        let picture = sketch.picture(None, ElectronsPerDn(1.0), 0);
        assert!(picture.bins.len() > 40 && picture.pixels_below > 500);
        for bin in &picture.bins {
            let within = |(rate, _): &&(f64, f64)| (bin.from_e_per_s..bin.to_e_per_s).contains(rate);
            // A number at an edge may round to either side.
            let wanted = rates.iter().filter(within).count() as f64;
            assert!((bin.pixels as f64 - wanted).abs() <= 1.0, "{bin:?} {wanted}");
        }
        assert!(picture.bins.windows(2).all(|two| two[0].to_e_per_s == two[1].from_e_per_s));
        let hot = picture.bins.iter().filter(|bin| (bin.from_e_per_s / 5e4 - 1.0).abs() < 1e-6);
        assert_eq!(hot.count(), 1, "no bin begins at ten medians");
    }
}
