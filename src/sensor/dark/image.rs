//! The mean image of the longest darks of one temperature, and what it says of single pixels.

use ndarray::{Array2, ArrayView2, Zip};

use crate::sensor::pattern::glow::Tiles;
use crate::stats::Moments;
use crate::units::Seconds;

use super::current::{Expectation, same_exposure};
use super::picture::Sketch;

/// A hot pixel has more than this many times the median rate …
const HOT_TIMES_MEDIAN: f64 = 10.0;
/// … and lies this many of its own uncertainties above the median.
const HOT_SIGMAS: f64 = 5.0;

/// Sum image of the longest exposure.
pub(super) struct LongestStack {
    exposure: Seconds,
    sum: Array2<f32>,
    frames: usize,
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
}

impl LongestStack {
    pub(super) fn new(exposure: Seconds, shape: (usize, usize)) -> Self {
        Self { exposure, sum: Array2::zeros(shape), frames: 0 }
    }

    /// Adds a frame of the same exposure; darks come with falling exposure.
    pub(super) fn add(&mut self, plane: ArrayView2<'_, u16>, exposure: Seconds) {
        if same_exposure(self.exposure, exposure) && self.sum.dim() == plane.dim() {
            Zip::from(&mut self.sum).and(plane).for_each(|sum, &y| *sum += f32::from(y));
            self.frames += 1;
        }
    }

    /// The image in a few numbers: a sum image for each temperature would fill the memory.
    pub(super) fn closed(self, expectation: Expectation) -> DarkImage {
        let Expectation { offset, read_variance, dn_per_e, pattern_variance, .. } = expectation;
        let (frames, exposure) = (self.frames as f64, self.exposure);
        let tiles = Tiles::of(self.sum.view(), |&sum| f64::from(sum) / frames);
        let mut sketch = Sketch::of(self.sum.view(), self.frames, exposure, offset);
        let (mut rates, _) = self.sum.into_raw_vec_and_offset();
        rates.iter_mut().for_each(|sum| *sum = ((f64::from(*sum) / frames - offset) / exposure.0) as f32);
        let median = median_of(&mut rates);
        sketch.count(&rates, median);
        let noise = |rate: f64| {
            let shot = (rate * exposure.0).max(0.0) * dn_per_e;
            ((read_variance + shot) / frames).sqrt() / exposure.0
        };
        let is_hot = |rate: f64| rate > HOT_TIMES_MEDIAN * median && rate - median > HOT_SIGMAS * noise(rate);
        let (mut kept, mut hot) = (Moments::default(), 0_usize);
        for &rate in &rates {
            let rate = f64::from(rate);
            if is_hot(rate) { hot += 1 } else { kept.push(rate) }
        }
        let spread = |mean: f64, variance: f64| {
            // The pixels' own levels without time are not of the dark current.
            let own = variance - noise(mean).powi(2) - pattern_variance / exposure.0.powi(2);
            let seen = own > 0.0 && mean > 3.0 * noise(mean) / (kept.count() as f64).sqrt();
            seen.then(|| 100.0 * own.sqrt() / mean)
        };
        DarkImage {
            exposure,
            nonuniformity_percent: kept.mean().zip(kept.variance()).and_then(|(mean, variance)| spread(mean, variance)),
            hot_pixel_fraction: hot as f64 / rates.len().max(1) as f64,
            tiles,
            sketch,
        }
    }
}

/// The median of values, which are put into another order; 0 without any.
fn median_of(values: &mut [f32]) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { f64::from(*values.select_nth_unstable_by(middle, f32::total_cmp).1) }
}
