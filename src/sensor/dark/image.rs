//! The mean image of the longest darks of one temperature, and what it says of single pixels.

use ndarray::{Array2, ArrayView2, Axis};

use crate::sensor::pattern::by_scale::{ByScale, OF_IMAGE, middle};
use crate::sensor::pattern::glow::Tiles;
use crate::sensor::{exact, row_blocks};
use crate::stats::Histogram;
use crate::units::Seconds;

use super::current::{Expectation, same_exposure};
use super::picture::Sketch;

/// A hot pixel has more than this many times the median rate …
const HOT_TIMES_MEDIAN: f64 = 10.0;
/// … and lies this many of its own uncertainties above the median.
const HOT_SIGMAS: f64 = 5.0;

/// Bins of the histogram of sums for each code and frame; with more frames than this, a bin holds several sums.
const MOST_BINS_PER_CODE: u32 = 64;

/// Sum image of the longest exposure.
pub(super) struct LongestStack {
    exposure: Seconds,
    sum: Array2<u32>,
    frames: u32,
}

/// What is left of a mean image of darks.
pub(crate) struct DarkImage {
    pub exposure: Seconds,
    /// Spread of the pixels' rates in percent of their mean, without hot pixels.
    pub nonuniformity_percent: Option<f64>,
    /// Share of hot pixels.
    pub hot_pixel_fraction: f64,
    /// Median levels of its parts.
    pub tiles: Option<Tiles>,
    /// What the report draws of it.
    pub sketch: Sketch,
    /// The sum of its frames in the middle, as long as no image of a warmer sensor is known.
    pub middle: Option<Middle>,
    /// Its frames.
    pub frames: u32,
    /// Shot noise of one of them in DN².
    pub shot: f64,
    /// Level in DN of the median pixel of the mean image.
    pub median: f64,
}

/// The middle of a sum of darks, and which of its pixels are hot.
pub(crate) struct Middle {
    sum: Array2<u32>,
    hot: Hot,
}

impl Middle {
    /// How it falls when pixels are averaged, without hot ones.
    pub(crate) fn by_scale(&self) -> ByScale {
        ByScale::from_image(self.sum.view(), |sum| self.hot.is(self.hot.rate_of_sum(sum)))
    }
}

/// What makes a pixel hot; rates in DN/s.
#[derive(Clone, Copy)]
struct Hot {
    median: f64,
    frames: f64,
    exposure: Seconds,
    offset: f64,
    read_variance: f64,
    dn_per_e: f64,
}

impl Hot {
    fn rate_of_sum(&self, sum: f64) -> f64 {
        (sum / self.frames - self.offset) / self.exposure.0
    }

    /// Standard deviation of a pixel's rate.
    fn noise(&self, rate: f64) -> f64 {
        let shot = (rate * self.exposure.0).max(0.0) * self.dn_per_e;
        ((self.read_variance + shot) / self.frames).sqrt() / self.exposure.0
    }

    fn is(&self, rate: f64) -> bool {
        rate > HOT_TIMES_MEDIAN * self.median && rate - self.median > HOT_SIGMAS * self.noise(rate)
    }
}

impl LongestStack {
    /// An empty one, in the memory of an old image.
    pub(super) fn new(exposure: Seconds, shape: (usize, usize), old: Array2<u32>) -> Self {
        Self { exposure, sum: row_blocks::room(old, shape), frames: 0 }
    }

    pub(super) fn into_memory(self) -> Array2<u32> {
        self.sum
    }

    /// Adds a frame of the same exposure; darks come with falling exposure.
    pub(super) fn add(&mut self, plane: ArrayView2<'_, u16>, exposure: Seconds) {
        // The sums hold 65 537 frames of the highest code.
        if same_exposure(self.exposure, exposure) && self.sum.dim() == plane.dim() && self.frames < 65_537 {
            let parts = self.sum.axis_chunks_iter_mut(Axis(0), row_blocks::ROWS);
            let parts = parts.zip(plane.axis_chunks_iter(Axis(0), row_blocks::ROWS)).collect();
            let first = self.frames == 0;
            row_blocks::each(parts, |(mut sums, plane)| {
                let mut gathered = Vec::new();
                for (row, mut sums) in sums.rows_mut().into_iter().enumerate() {
                    let sums = sums.as_slice_mut().unwrap_or_default();
                    exact::add(row_blocks::row_of(plane, row, &mut gathered), sums, first);
                }
            });
            self.frames += 1;
        }
    }

    /// The image in a few numbers: a sum image for each temperature would fill the memory.
    pub(super) fn numbers(&self, expectation: Expectation) -> DarkImage {
        let Expectation { offset, read_variance, dn_per_e, pattern_variance, .. } = expectation;
        let (frames, exposure) = (f64::from(self.frames), self.exposure);
        let tiles = Tiles::new(self.sum.view(), self.frames);
        let sums = self.sums();
        let rates = sums.rates(offset, exposure);
        let median = median_of(&rates);
        let sketch = Sketch::new(self.sum.view(), self.frames, exposure, offset).counted(&rates, median);
        let hot = Hot { median, frames, exposure, offset, read_variance, dn_per_e };
        let (of_hot, kept): (Vec<_>, Vec<_>) = rates.iter().partition(|(rate, _)| hot.is(*rate));
        let count = |rates: &[(f64, f64)]| rates.iter().map(|(_, count)| count).sum::<f64>();
        let (of_hot, of_kept) = (count(&of_hot), count(&kept));
        let mean = kept.iter().map(|(rate, count)| rate * count).sum::<f64>() / of_kept;
        let variance = kept.iter().map(|(rate, count)| (rate - mean).powi(2) * count).sum::<f64>() / (of_kept - 1.0);
        // The pixels' own levels without time are not of the dark current.
        let own = variance - hot.noise(mean).powi(2) - pattern_variance / exposure.0.powi(2);
        let seen = own > 0.0 && mean > 3.0 * hot.noise(mean) / of_kept.sqrt();
        DarkImage {
            exposure,
            nonuniformity_percent: seen.then(|| 100.0 * own.sqrt() / mean),
            hot_pixel_fraction: of_hot / (self.sum.len().max(1) as f64),
            tiles,
            sketch,
            middle: Some(Middle { sum: middle(self.sum.view(), OF_IMAGE).to_owned(), hot }),
            frames: self.frames,
            shot: (mean * exposure.0).max(0.0) * dn_per_e,
            median: sums.median_level() + expectation.median_shortfall(offset + mean * exposure.0) / frames,
        }
    }

    /// The sums of the pixels.
    fn sums(&self) -> Sums {
        let width = self.frames.div_ceil(MOST_BINS_PER_CODE).max(1);
        let bin = |sum: u32| (sum / width) as i32;
        let ends = |band| {
            let all = row_blocks::cut(self.sum.view(), band).to_slice().unwrap_or_default();
            exact::extremes(all).unwrap_or((u32::MAX, 0))
        };
        let ends = row_blocks::of_rows(self.sum.nrows(), ends);
        let (low, high) = ends.into_iter().fold((u32::MAX, 0), |(l, h), (low, high)| (l.min(low), h.max(high)));
        let empty = || Histogram::new(bin(low), bin(high));
        let of_band = |band, sums: &mut Histogram| {
            let all = row_blocks::cut(self.sum.view(), band).to_slice().unwrap_or_default();
            if width == 1 {
                sums.push_all(all.iter().map(|&sum| sum as i32)); // no division: four times as quick
            } else {
                sums.push_all(all.iter().map(|&sum| bin(sum)));
            }
        };
        let (_, sums) = row_blocks::of_rows_with(self.sum.nrows(), empty, of_band);
        let bins = sums.into_iter().reduce(Histogram::with).unwrap_or_else(empty);
        Sums { bins, width: f64::from(width), frames: f64::from(self.frames) }
    }
}

/// The histogram of a sum image.
struct Sums {
    bins: Histogram,
    /// Sums in a bin.
    width: f64,
    frames: f64,
}

impl Sums {
    /// DN in the mean of the frames.
    fn level(&self, bin: f64) -> f64 {
        (bin * self.width + (self.width - 1.0) / 2.0) / self.frames
    }

    fn median_level(&self) -> f64 {
        self.level(self.bins.quantile(0.5).unwrap_or(0.0))
    }

    /// The different rates of the pixels in DN/s, rising, and how many pixels have each.
    fn rates(&self, offset: f64, exposure: Seconds) -> Vec<(f64, f64)> {
        let rate = |bin: i32| (self.level(f64::from(bin)) - offset) / exposure.0;
        self.bins.occupied().map(|(bin, count)| (rate(bin), f64::from(count))).collect()
    }
}

/// The value at the middle of rising values with their counts; 0 without any.
fn median_of(values: &[(f64, f64)]) -> f64 {
    let half = values.iter().map(|(_, count)| count).sum::<f64>() / 2.0;
    let mut below = 0.0;
    let upper = values.iter().find(|(_, count)| {
        below += count;
        below > half
    });
    upper.map_or(0.0, |(value, _)| *value)
}
