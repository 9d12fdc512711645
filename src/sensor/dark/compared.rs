//! Two darks of one temperature: which pixels a particle hit, and how the others differ.
//!
//! Each dark is compared with the one before it at its temperature. A pixel six sigmas above what the other frame
//! predicts (scaled by exposure, with the shot noise of the prediction, so that hot pixels predict themselves) was hit
//! by a particle and takes the predicted value.

use std::ops::Range;

use ndarray::ArrayView2;

use crate::sensor::exact;
use crate::sensor::powers::Powers;
use crate::sensor::row_blocks::{self, each_two_rows};
use crate::sensor::simd::simd_dispatch;
use crate::stats::INTERQUARTILE_SIGMAS;
use crate::units::Seconds;

use super::current::{Expectation, PairVariance};

/// A pixel this many sigmas above what its partner frame predicts was hit by a particle.
const HIT_SIGMAS: f64 = 6.0;

/// How many pixels are looked at for what most of them do, and how few say nothing.
const SAMPLED_PIXELS: usize = 40_000;
const FEWEST_SAMPLED: usize = 100;
/// Pixels that are looked at together.
const RUN: usize = 32;
/// What rounding leaves of the squares of single precision.
const ROUNDING: f64 = 0.99;

/// Two darks of one temperature, pixel by pixel: which was hit, and how they differ.
#[derive(Default)]
pub(super) struct Compared {
    /// DN above what the other frame predicts, summed over the pixels hit.
    pub(super) excess: [f64; 2],
    hits: [usize; 2],
    /// Of the differences of pixels that were not hit.
    powers: Powers,
}

/// Of two rows: the differences of their pixels in DN, and the squares of what the second exceeds the first's prediction
/// by, in single precision, as bits, which rise as the squares do.
#[derive(Default)]
struct Row {
    differences: Vec<f64>,
    surpluses: Vec<u32>,
}

impl Row {
    /// `first` times `ratio` and `offset` is the prediction.
    fn take(&mut self, first: &[u16], second: &[u16], [ratio, offset]: [f32; 2]) {
        self.differences.resize(first.len(), 0.0);
        self.surpluses.resize(first.len(), 0);
        simd_dispatch(
            #[inline(always)]
            || {
                for ((difference, &a), &b) in self.differences.iter_mut().zip(first).zip(second) {
                    *difference = f64::from(i32::from(a) - i32::from(b));
                }
                for ((square, &a), &b) in self.surpluses.iter_mut().zip(first).zip(second) {
                    let surplus = f32::from(b) - f32::from(a) * ratio - offset;
                    *square = (surplus * surplus).to_bits();
                }
            },
        );
    }

    /// The runs in which some surplus has a square above `quiet`.
    fn loud(&self, quiet: f64) -> impl Iterator<Item = Range<usize>> + '_ {
        let highest_of =
            |run: &[u32]| exact::extremes(run).map_or(0.0, |(_, highest)| f64::from(f32::from_bits(highest)));
        let runs = self.surpluses.chunks(RUN).enumerate();
        runs.filter(move |(_, run)| highest_of(run) > quiet).map(|(run, own)| run * RUN..run * RUN + own.len())
    }
}

impl Compared {
    /// Compares `first` with `second`, whose exposure is `ratio` times as long.
    ///
    /// A pixel was hit where it exceeds what the other frame predicts by six sigmas of
    /// read and shot noise of the prediction (a hot pixel predicts itself), and of what most pixels scatter by: where the
    /// camera holds its black level, the level says nothing of the shot noise.
    pub(super) fn new(
        first: ArrayView2<'_, u16>,
        second: ArrayView2<'_, u16>,
        ratio: f64,
        expectation: Expectation,
    ) -> Self {
        let Expectation { offset, read_variance, dn_per_e, ceiling, .. } = expectation;
        let full = 0.98 * (ceiling - offset);
        let scatter = common_variance(first, second, ratio, offset);
        let surplus = |level: f64, from: f64, ratio: f64, scatter: f64| {
            let surplus = level - ratio * from;
            let variance = read_variance * (1.0 + ratio * ratio) + dn_per_e * ratio * (1.0 + ratio) * from.max(0.0);
            let variance = variance.max(scatter);
            // A saturated pixel predicts too little.
            let known = surplus > 0.0 && from < full;
            (known && surplus * surplus > HIT_SIGMAS * HIT_SIGMAS * variance).then_some(surplus)
        };
        // Where two pixels differ by less than this (in DN², as the second's surplus), shot noise left out, neither was
        // hit: most runs of pixels need no closer look.
        let least_variance = (read_variance * (1.0 + ratio * ratio)).max(scatter);
        let quiet = HIT_SIGMAS * HIT_SIGMAS * least_variance * ROUNDING;
        let line = [ratio as f32, (offset * (1.0 - ratio)) as f32];
        let of_band = |band: Range<usize>| {
            let (mut compared, mut row) = (Self::default(), Row::default());
            let rows = [first, second].map(|plane| row_blocks::cut(plane, band.clone()));
            each_two_rows(rows, |first, second| {
                row.take(first, second, line);
                let loud: Vec<Range<usize>> = row.loud(quiet).collect();
                let mut left_out = 0.0;
                for place in loud.into_iter().flatten() {
                    let (level_a, level_b) = (f64::from(first[place]) - offset, f64::from(second[place]) - offset);
                    let found = [
                        surplus(level_a, level_b, 1.0 / ratio, scatter / (ratio * ratio)),
                        surplus(level_b, level_a, ratio, scatter),
                    ];
                    for (frame, surplus) in found.into_iter().enumerate() {
                        if let Some(surplus) = surplus {
                            compared.excess[frame] += surplus;
                            compared.hits[frame] += 1;
                        }
                    }
                    if found != [None, None] {
                        row.differences[place] = 0.0;
                        left_out += 1.0;
                    }
                }
                compared.powers.extend(&row.differences);
                compared.powers.count -= left_out;
            });
            compared
        };
        let mut compared = Self::default();
        row_blocks::of_rows(first.nrows(), of_band).iter().for_each(|band| compared.add(band));
        compared
    }

    fn add(&mut self, other: &Self) {
        for frame in 0..2 {
            self.excess[frame] += other.excess[frame];
            self.hits[frame] += other.hits[frame];
        }
        self.powers.add(&other.powers);
    }

    /// Temporal variance of a pair of this level in DN, with its uncertainty from the differences' own fourth moment.
    pub(super) fn variance(&self, exposure: Seconds, level: f64) -> Option<PairVariance> {
        if self.powers.count < 2.0 {
            return None;
        }
        let [second, fourth] = self.powers.central();
        let uncertainty = ((fourth - second * second).max(0.0) / self.powers.count).sqrt() / 2.0;
        let variance = second / 2.0;
        (second > 0.0 && uncertainty > 0.0).then_some(PairVariance { exposure, variance, uncertainty, level })
    }
}

/// Variance in DN² of `second − ratio × first` over most pixels: from the quartiles of a sample, which neither hits
/// nor hot pixels move.
fn common_variance(first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>, ratio: f64, offset: f64) -> f64 {
    let every = (first.len() / SAMPLED_PIXELS).max(1);
    let places = (0..first.len()).step_by(every).map(|place| (place / first.ncols(), place % first.ncols()));
    let surplus = |place| (f64::from(second[place]) - offset) - ratio * (f64::from(first[place]) - offset);
    let mut left: Vec<f64> = places.map(surplus).collect();
    if left.len() < FEWEST_SAMPLED {
        return 0.0;
    }
    left.sort_unstable_by(f64::total_cmp);
    let quartile = |share: usize| left[share * left.len() / 4];
    ((quartile(3) - quartile(1)) / INTERQUARTILE_SIGMAS).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::Array2;

    const EXPECTATION: Expectation =
        Expectation { offset: 100.0, read_variance: 4.0, dn_per_e: 1.0, ceiling: 65_535.0, pattern_variance: 0.0 };

    #[test]
    fn a_hit_is_replaced_and_a_hot_pixel_is_not() {
        let quiet = Array2::from_elem((4, 4), 110_u16);
        let mut first = quiet.clone();
        first[(0, 0)] = 5000; // hot in both
        let mut second = first.clone();
        second[(2, 2)] = 9000; // hit once
        let compared = Compared::new(first.view(), second.view(), 1.0, EXPECTATION);
        assert_eq!(compared.hits, [0, 1]);
        approx::assert_relative_eq!(compared.excess[1], 8890.0);
    }

    #[test]
    fn runs_in_single_precision_have_the_variance_of_all_pixels_in_double() {
        // Seventy columns: runs of every length. Nothing is hit.
        let frame = |seed: u32| {
            Array2::from_shape_fn((60, 70), |(row, column)| {
                110 + ((row * 70 + column) as u32 * (7919 + seed)).wrapping_mul(2_654_435_761).rotate_left(9) as u16 % 9
            })
        };
        let (first, second) = (frame(0), frame(20));
        let compared = Compared::new(first.view(), second.view(), 1.0, EXPECTATION);
        let differences: Vec<f64> = first.iter().zip(&second).map(|(&a, &b)| f64::from(a) - f64::from(b)).collect();
        let n = differences.len() as f64;
        let mean = differences.iter().sum::<f64>() / n;
        let variance = differences.iter().map(|difference| (difference - mean).powi(2)).sum::<f64>() / n;
        assert_eq!(compared.hits, [0, 0]);
        let found = compared.variance(Seconds(60.0), 110.0).unwrap();
        approx::assert_relative_eq!(found.variance, variance / 2.0, max_relative = 1e-6);
    }
}
