//! What is fixed in a made-up sensor: the same in every frame.

use ndarray::{Array2, Axis};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

use super::SensorTruth;

/// Lowest and highest dark current of a hot pixel over that of an ordinary one; between them
/// every ratio is as likely as the next (log-uniform). Common practice, no source.
pub const HOT_PIXEL_FACTORS: (f64, f64) = (50.0, 500.0);

/// What sets one pixel apart from another, row by row as the frame is stored.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// Response to light over the mean response.
    pub response: Array2<f32>,
    /// Dark current over that of the ordinary pixels' mean, the floor apart.
    pub dark_factor: Array2<f32>,
    /// Dark level over the offset, in electrons.
    pub level_e: Array2<f32>,
    /// Pixels that jump between two levels.
    pub telegraph: Array2<bool>,
}

/// One purpose of chance; each draws from its own numbers.
#[derive(Clone, Copy)]
pub(super) enum Stream {
    Response,
    DarkFactor,
    HotPixels,
    Level,
    Telegraph,
    /// One row of one frame.
    Frame(usize),
    /// What concerns one frame as a whole.
    WholeFrame(usize),
    /// The stars in the light frames.
    Stars,
    /// What whole rows, and whole columns, have of the response and of the dark level.
    RowResponse,
    ColumnResponse,
    RowLevel,
    ColumnLevel,
}

impl Pattern {
    /// The pattern that a sensor's seed gives it.
    #[must_use]
    pub fn from_truth(truth: &SensorTruth) -> Self {
        let prnu = truth.prnu_percent / 100.0;
        let (spread, dsnu) = (truth.dark_nonuniformity, truth.dsnu_e.0);
        let hot = truth.hot_pixel_fraction;
        // Half the variance is taken off the logarithm, so that the mean stays 1.
        let factor = |own: f64| (spread * own - spread * spread / 2.0).exp() as f32;
        let mut dark_factor = if truth.dark_pattern_px > 0.0 {
            let size = (truth.height_px, truth.width_px);
            smooth(size, truth.dark_pattern_px, &mut chance(truth.seed, Stream::DarkFactor, 0)).mapv(factor)
        } else {
            drawn(truth, Stream::DarkFactor, |rng| factor(normal(rng)))
        };
        let hot_factor = drawn(truth, Stream::HotPixels, |rng| {
            let (is_hot, place) = (rng.random::<f64>() < hot, rng.random::<f64>());
            let (low, high) = HOT_PIXEL_FACTORS;
            if is_hot { (low * (high / low).powf(place)) as f32 } else { 0.0 }
        });
        dark_factor.zip_mut_with(&hot_factor, |ordinary, &hot| {
            if hot > 0.0 {
                *ordinary = hot;
            }
        });
        let mut response = drawn(truth, Stream::Response, |rng| (1.0 + prnu * normal(rng)).max(0.0) as f32);
        let sigmas = [truth.prnu_row_percent / 100.0, truth.prnu_column_percent / 100.0];
        add_lines(&mut response, truth.seed, [Stream::RowResponse, Stream::ColumnResponse], sigmas);
        response.mapv_inplace(|share| share.max(0.0));
        let mut level_e = drawn(truth, Stream::Level, |rng| (dsnu * normal(rng)) as f32);
        let sigmas = [truth.dsnu_row_e.0, truth.dsnu_column_e.0];
        add_lines(&mut level_e, truth.seed, [Stream::RowLevel, Stream::ColumnLevel], sigmas);
        Self {
            response,
            dark_factor,
            level_e,
            telegraph: drawn(truth, Stream::Telegraph, |rng| rng.random::<f64>() < truth.telegraph_fraction),
        }
    }
}

/// Adds to whole rows and whole columns, with standard deviations `sigmas`; 0 changes nothing.
fn add_lines(values: &mut Array2<f32>, seed: u64, streams: [Stream; 2], sigmas: [f64; 2]) {
    for axis in [0, 1] {
        if sigmas[axis] > 0.0 {
            let mut rng = chance(seed, streams[axis], 0);
            for mut line in values.axis_iter_mut(Axis(axis)) {
                let step = (sigmas[axis] * normal(&mut rng)) as f32;
                line.mapv_inplace(|value| value + step);
            }
        }
    }
}

fn drawn<T: Clone + Default>(
    truth: &SensorTruth,
    stream: Stream,
    mut value: impl FnMut(&mut Xoshiro256PlusPlus) -> T,
) -> Array2<T> {
    let mut values = Array2::default((truth.height_px, truth.width_px));
    for (row, mut pixels) in values.outer_iter_mut().enumerate() {
        let mut rng = chance(truth.seed, stream, row);
        pixels.iter_mut().for_each(|pixel| *pixel = value(&mut rng));
    }
    values
}

pub(super) fn normal(rng: &mut Xoshiro256PlusPlus) -> f64 {
    StandardNormal.sample(rng)
}

/// Normal numbers of variance 1 whose correlation falls with the distance d as exp(−d²/2ℓ²): independent ones, smoothed
/// along rows and columns by a Gaussian of width ℓ/√2.
pub(super) fn smooth(size: (usize, usize), length: f64, chance: &mut Xoshiro256PlusPlus) -> Array2<f64> {
    let reach = (4.0 * length / std::f64::consts::SQRT_2).ceil() as usize;
    let weight = |at: usize| (-((at as f64 - reach as f64) / length).powi(2)).exp();
    let kernel: Vec<f64> = (0..=2 * reach).map(weight).collect();
    let norm = kernel.iter().map(|weight| weight * weight).sum::<f64>().sqrt();
    let along =
        |at: &dyn Fn(usize) -> f64| kernel.iter().enumerate().map(|(k, weight)| weight * at(k)).sum::<f64>() / norm;
    let white = Array2::from_shape_simple_fn((size.0 + 2 * reach, size.1 + 2 * reach), || normal(chance));
    let rows = Array2::from_shape_fn((size.0 + 2 * reach, size.1), |(i, j)| along(&|k| white[[i, j + k]]));
    Array2::from_shape_fn(size, |(i, j)| along(&|k| rows[[i + k, j]]))
}

/// The random numbers of one purpose and one row: they depend on nothing else, so that
/// neither the order of frames nor threads can change a pixel.
pub(super) fn chance(seed: u64, stream: Stream, row: usize) -> Xoshiro256PlusPlus {
    let (purpose, frame) = match stream {
        Stream::Response => (1, 0),
        Stream::DarkFactor => (2, 0),
        Stream::HotPixels => (3, 0),
        Stream::Level => (4, 0),
        Stream::Telegraph => (5, 0),
        Stream::Frame(frame) => (6, frame as u64),
        Stream::WholeFrame(frame) => (7, frame as u64),
        Stream::Stars => (8, 0),
        Stream::RowResponse => (20, 0),
        Stream::ColumnResponse => (21, 0),
        Stream::RowLevel => (22, 0),
        Stream::ColumnLevel => (23, 0),
    };
    let key = [purpose, frame, row as u64].into_iter().fold(scrambled(seed), |key, part| scrambled(key ^ part));
    Xoshiro256PlusPlus::seed_from_u64(key)
}

/// The output function of SplitMix64: neighbouring inputs give unrelated outputs.
///
/// Source: G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014 (constants from memory).
pub(super) fn scrambled(value: u64) -> u64 {
    let z = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scrambles_as_the_published_generator_does() {
        // First output of SplitMix64 seeded with 0 (from memory; a wrong constant changes it).
        assert_eq!(scrambled(0), 0xe220_a839_7b1d_cdaf);
    }

    #[test]
    fn every_purpose_frame_and_row_has_its_own_numbers() {
        let streams = [Stream::Response, Stream::Level, Stream::Frame(0), Stream::Frame(1), Stream::WholeFrame(0)];
        let mut first: Vec<u64> = Vec::new();
        for stream in streams {
            for row in 0..100 {
                first.push(chance(1, stream, row).random());
            }
        }
        first.sort_unstable();
        first.dedup();
        assert_eq!(first.len(), 500);
    }
}
