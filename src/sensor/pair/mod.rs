//! Two frames of the same light: what differs between them is temporal noise.
//!
//! One pass gives exact sums of y0, y1, y0², y1², y0·y1 and a histogram of the plain differences. The variance is that
//! of y0 − r·y1 with r the ratio of the levels, over 2r: a lamp that drifts adds nothing, even in a vignetted field.
//! Differences beyond eight robust sigmas of the noisiest pair are events and are left out; the limit is the same for
//! all levels, or jumping pixels would count at one level and not at another.

mod blocks;
pub(crate) mod correlation;
pub(crate) mod field;
pub(crate) mod filtered;
pub(crate) mod sound;
mod sums;
mod waves;

use std::ops::Range;

use ndarray::{Array2, ArrayView2, Axis, Zip};

use crate::stats::{Histogram, Moments, clipped_variance_factor};
use crate::units::Dn;

use crate::sensor::row_blocks;

use blocks::Blocks;
use sound::Sound;
use sums::{Sums, common, covariance, of_columns};
use waves::Waves;

/// Differences beyond this many robust sigmas may be events, not noise: a cosmic ray, a jump.
/// Wide enough that the brightest part of a vignetted flat, with up to twice the median
/// noise, loses nothing.
const EVENT_SIGMAS: f64 = 8.0;
/// How many different sizes of events are remembered; a pair with more is no pair.
const MOST_EVENTS: usize = 65_536;
/// The core of the noise ends here; telegraph and hot pixels lie beyond.
pub(crate) const CORE_SIGMAS: f64 = 4.0;

/// What one pass over two frames of the same plane leaves: exact integer sums, and what the
/// histogram of plain differences says of outliers.
#[derive(Debug, Clone, PartialEq)]
pub struct PairStatistics {
    /// Pixels in the plane.
    pub count: u64,
    /// DN from one code to the next.
    step: f64,
    /// Mean of each frame in DN.
    pub means: [f64; 2],
    /// Unbiased variances and covariance over the pixels: first frame, second frame, both.
    spatial: [f64; 3],
    /// Robust limit in DN beyond which differences may be events.
    pub event_limit: f64,
    /// Squared distance in DN² of the differences beyond that limit, with their counts.
    events: Vec<(f64, u32)>,
    /// Mean squared distance in DN² of all differences from their middle.
    all_squares: f64,
    /// Temporal variance in DN² common to whole rows, may come out negative near 0.
    pub row_variance: f64,
    rows: usize,
    /// The part of it in DN² that both halves of a row share: less where waves or blotches move the rows' means.
    row_common: f64,
    /// Variance in DN⁴ of that part of the variance which whole columns share.
    of_columns: f64,
    /// What waves hold of the variance, and how surely.
    waves: Waves,
    /// Variance in DN² about the means of rows within blocks, where it was looked at: without waves that are longer.
    within_blocks: Option<f64>,
    /// Excess kurtosis of the plain differences, events left out, at least 0.
    pub excess_kurtosis: f64,
    /// Temporal variance in DN² of the pixels within four robust sigmas, clipping corrected.
    pub core_variance: f64,
    /// Highest code in either frame.
    pub highest: u16,
    /// Share of the pixels of both frames at that code.
    pub share_at_highest: f64,
    /// Share of the pixels of both frames at 0.
    pub share_at_zero: f64,
    /// Lowest code in either frame, and the share of the pixels of both at it.
    pub(crate) lowest: (u16, f64),
    /// What was left out of a pair of flats; `None` where the whole plane counts.
    pub(crate) sound: Option<Sound>,
}

/// The sums over the pixels of two frames that a [`PairStatistics`] is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairSums {
    /// Rows of the plane.
    pub rows: usize,
    /// Mean of each frame in DN.
    pub means: [f64; 2],
    /// Unbiased variances and covariance over the pixels in DN²: first frame, second frame, both.
    pub spatial: [f64; 3],
    /// Temporal variance in DN² common to whole rows, may come out negative near 0.
    pub row_variance: f64,
    /// Highest code in either frame.
    pub highest: u16,
    /// Share of the pixels of both frames at that code.
    pub share_at_highest: f64,
    /// Share of the pixels of both frames at 0.
    pub share_at_zero: f64,
}

impl PairStatistics {
    /// Statistics of two planes of equal shape with at least two pixels; `None` otherwise.
    #[must_use]
    pub fn from_frames(first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>) -> Option<Self> {
        let count = first.len() as u64;
        if first.dim() != second.dim() || count < 2 {
            return None;
        }
        let of_band = |band: Range<usize>, differences: &mut Histogram| {
            Sums::from_frames([first, second].map(|frame| row_blocks::cut(frame, band.clone())), differences)
        };
        let empty = || Histogram::new(-65_535, 65_535);
        let (sums, differences) = row_blocks::of_rows_with(first.nrows(), empty, of_band);
        let sums = sums.into_iter().reduce(Sums::with)?;
        let differences = differences.into_iter().reduce(Histogram::with)?;
        let row_means: Moments = sums.rows.iter().copied().collect();
        let share = |pixels: usize| pixels as f64 / (2 * count) as f64;
        let [own, other] = sums.totals;
        let spatial = [
            covariance(sums.squares[0], own, own, count),
            covariance(sums.squares[1], other, other, count),
            covariance(sums.product(&differences), own, other, count),
        ];
        let of_rows = row_means.variance().unwrap_or(0.0);
        let of_pixels = spatial[0] + spatial[1] - 2.0 * spatial[2];
        let pair_sums = PairSums {
            rows: first.nrows(),
            means: sums.totals.map(|total| total as f64 / count as f64),
            spatial,
            row_variance: (of_rows - (of_pixels - of_rows) / first.ncols() as f64) / 2.0,
            highest: sums.highest,
            share_at_highest: share(sums.at_highest),
            share_at_zero: if sums.lowest == 0 { share(sums.at_lowest) } else { 0.0 },
        };
        let pair = Self::from_sums(&pair_sums, &differences)?;
        let of_columns = of_columns(&sums.columns, first.nrows());
        let row_common = common(&sums.halves) / 2.0;
        Some(Self { lowest: (sums.lowest, share(sums.at_lowest)), of_columns, row_common, ..pair })
    }

    /// The same from sums that were made elsewhere, and the histogram of the plain differences
    /// first less second: what a simulation of many sensors draws instead of pixels.
    ///
    /// `None` with fewer than two differences, or when nearly all of them are events.
    #[must_use]
    pub fn from_sums(sums: &PairSums, differences: &Histogram) -> Option<Self> {
        let Shape { step, event_limit, events, all_squares, excess_kurtosis, core_variance } = shape(differences)?;
        (differences.total() > 1).then_some(Self {
            step,
            count: differences.total(),
            row_variance: sums.row_variance,
            rows: sums.rows,
            row_common: sums.row_variance,
            of_columns: 0.0,
            waves: Waves::default(),
            within_blocks: None,
            means: sums.means,
            spatial: sums.spatial,
            event_limit,
            events,
            all_squares,
            excess_kurtosis,
            core_variance,
            highest: sums.highest,
            share_at_highest: sums.share_at_highest,
            share_at_zero: sums.share_at_zero,
            lowest: (0, sums.share_at_zero),
            sound: None,
        })
    }

    /// The same pair, whose variance is as uncertain as the waves in its frames make it.
    pub(crate) fn with_waves(self, frames: [ArrayView2<'_, u16>; 2]) -> Self {
        let within_blocks = Blocks::mean_variance(frames);
        Self { waves: waves::waves(frames, self.event_limit), within_blocks, ..self }
    }

    /// The temporal variance in DN² that rows within blocks do not show, of which they keep the part `about_rows` of independent
    /// pixels' noise: that of whole rows and of waves; may come out negative near 0.
    pub(crate) fn beyond_blocks(&self, about_rows: f64) -> f64 {
        self.within_blocks.map_or(self.row_variance, |within| self.variance() - within / about_rows)
    }

    /// DN from one code to the next.
    #[must_use]
    pub fn step(&self) -> f64 {
        self.step
    }

    /// Mean level of the pair in DN.
    #[must_use]
    pub fn mean(&self) -> Dn {
        Dn((self.means[0] + self.means[1]) / 2.0)
    }

    /// Temporal variance in DN² of every pixel: EMVA 1288 Release 4.0, equation 18, unbiased.
    ///
    /// ```text
    /// σ² = Var(y0 − y1) / 2
    /// ```
    #[must_use]
    pub fn variance(&self) -> f64 {
        ((self.spatial[0] + self.spatial[1] - 2.0 * self.spatial[2]) / 2.0).max(0.0)
    }

    /// Temporal variance in DN² with the second frame scaled to the level of the first, so
    /// that a lamp that drifted within the pair adds nothing, however uneven the field.
    ///
    /// ```text
    /// r = (μ0 − offset) / (μ1 − offset)        σ² = Var(y0 − r y1) / (2 r)
    /// ```
    ///
    /// Exact for shot noise at the mean level, off by (r − 1)²/2 of the read noise. Differences
    /// beyond `cut` DN are left out as events; the same cut must hold for all levels of a curve,
    /// or the jumps of telegraph pixels count at one level and not at another. Where the signal is too small for its ratio to be known (below
    /// 2 steps, or 20 of its own uncertainties) the plain variance is returned.
    /// Derived here from EMVA 1288's model.
    #[must_use]
    pub fn scaled_variance(&self, offset: Dn, cut: f64) -> f64 {
        let [first, second] = self.means.map(|mean| mean - offset.0);
        let plain = self.variance();
        let known = sound_level(self);
        let scaled = if let Some(sound) = &self.sound {
            sound.variance
        } else if first.min(second) > known {
            let r = first / second;
            (self.spatial[0] + r * r * self.spatial[1] - 2.0 * r * self.spatial[2]) / (2.0 * r)
        } else {
            plain
        };
        (scaled * self.share_within(cut)).max(0.0)
    }

    /// The share of the plain differences' variance that lies within `cut` DN.
    fn share_within(&self, cut: f64) -> f64 {
        let beyond: f64 = self
            .events
            .iter()
            .filter(|(square, _)| square.sqrt() > cut)
            .map(|(square, count)| square * f64::from(*count))
            .sum();
        if self.all_squares > 0.0 { 1.0 - beyond / (self.all_squares * self.count as f64) } else { 1.0 }
    }

    /// The variance in DN⁴ of a variance estimate whose expectation is `variance`.
    ///
    /// ```text
    /// Var(σ̂²) = 2 σ⁴ (1 + κ/2) / n
    /// ```
    ///
    /// κ is the excess kurtosis of the differences: 0 for a normal distribution, large with
    /// telegraph pixels or uneven dark current. Noise common to a row is known from as many
    /// values as there are rows: `2 σ_row⁴ / rows` is added; and noise of whole columns from as many as there are
    /// columns, of which few may jump: `(m₄ − m₂²) / (4 columns)` of the moments of their mean differences. Waves over the
    /// frame are few, see `waves.rs`.
    #[must_use]
    pub fn variance_of(&self, variance: f64) -> f64 {
        self.variance_without_waves(variance) + self.of_waves()
    }

    /// The same from pixels, rows and columns alone.
    pub(crate) fn variance_without_waves(&self, variance: f64) -> f64 {
        let of_pixels = 2.0 * variance * variance * (1.0 + self.excess_kurtosis / 2.0) / self.count as f64;
        of_pixels + self.of_independent_rows() + self.of_columns
    }

    fn of_independent_rows(&self) -> f64 {
        2.0 * self.row_variance.max(0.0).powi(2) / self.rows as f64
    }

    /// What waves add in DN⁴ to the variance of the variance.
    pub(crate) fn of_waves(&self) -> f64 {
        let [along_rows, others] = self.waves.of_variance;
        (along_rows - self.of_independent_rows()).max(0.0) + others
    }

    /// What waves hold of the temporal variance, in DN².
    pub(crate) fn in_waves(&self) -> f64 {
        self.waves.variance
    }

    /// The temporal variance in DN² that both halves of the rows share.
    pub(crate) fn row_common(&self) -> f64 {
        self.row_common
    }

    /// Standard uncertainty in DN² of [`PairStatistics::row_variance`]: as many values as rows.
    #[must_use]
    pub fn row_variance_sigma(&self) -> f64 {
        let of_row_mean = self.row_variance.max(0.0) + self.variance() * self.rows as f64 / self.count as f64;
        of_row_mean * (2.0 / self.rows as f64).sqrt()
    }

    /// Whether both frames are the same pixels.
    #[must_use]
    pub fn is_duplicate(&self) -> bool {
        self.means[0] == self.means[1] && self.spatial[0] > 0.0 && self.variance() == 0.0
    }

    /// Variance over the pixels of what both frames share in DN² (EMVA 1288 Release 4.0,
    /// equation 32, unbiased): pattern, without temporal noise.
    #[must_use]
    pub fn shared_variance(&self) -> f64 {
        self.spatial[2]
    }
}

/// The signal in DN from which on its ratio between the frames is known: 2 steps, or 20 of its own uncertainties.
fn sound_level(pair: &PairStatistics) -> f64 {
    20.0 * (pair.variance() / pair.count as f64).sqrt() + 2.0 * pair.step
}

/// What the histogram of plain differences says.
struct Shape {
    step: f64,
    event_limit: f64,
    events: Vec<(f64, u32)>,
    all_squares: f64,
    excess_kurtosis: f64,
    core_variance: f64,
}

/// The shape of the plain differences; `None` without any, or when nearly all are events.
fn shape(differences: &Histogram) -> Option<Shape> {
    let centre = differences.quantile(0.5)?;
    let step = f64::from(differences.step().0);
    let sigma = differences.robust_sigma()?.max(step);
    let event_limit = EVENT_SIGMAS * sigma;
    let distance = |value: i32| (f64::from(value) - centre).abs();
    let events: Vec<(f64, u32)> = differences
        .occupied()
        .filter(|(value, _)| distance(*value) > event_limit)
        .map(|(value, count)| (distance(value).powi(2), count))
        .take(MOST_EVENTS)
        .collect();
    let squares = differences.occupied().map(|(value, count)| distance(value).powi(2) * f64::from(count));
    let all_squares = squares.sum::<f64>() / differences.total() as f64;
    let (_, _, inside, fourth) = differences.central_moments(centre, event_limit)?;
    let excess_kurtosis = if inside > 0.0 { (fourth / (inside * inside) - 3.0).max(0.0) } else { 0.0 };
    // Whole steps: everything up to the half step beyond the last one kept is inside.
    let limit = ((CORE_SIGMAS * sigma / step).floor() + 0.5) * step;
    let (_, _, clipped, _) = differences.central_moments(centre, limit)?;
    Some(Shape {
        step,
        event_limit,
        events,
        all_squares,
        excess_kurtosis,
        core_variance: unclipped(clipped, limit) / 2.0,
    })
}

/// The variance whose normal distribution, clipped at `± limit`, has variance `clipped`.
fn unclipped(clipped: f64, limit: f64) -> f64 {
    let mut variance = clipped;
    for _ in 0..50 {
        if variance <= 0.0 {
            return 0.0;
        }
        let next = clipped / clipped_variance_factor(limit / variance.sqrt());
        if (next - variance).abs() <= 1e-12 * variance {
            return next;
        }
        variance = next;
    }
    variance
}

/// Temporal variance of a pair by EMVA 1288 Release 3.1, equation 29: a drift between the frames counts as noise.
#[must_use]
pub fn temporal_variance_r31(first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>) -> f64 {
    let squares = Zip::from(first).and(second).fold(0.0, |sum, &a, &b| sum + (f64::from(a) - f64::from(b)).powi(2));
    squares / (2 * first.len()) as f64
}

/// Temporal variance of a pair by EMVA 1288 Release 4.0, equation 18: the means' difference taken off.
#[must_use]
pub fn temporal_variance_r4(first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>) -> f64 {
    let mean = |plane: ArrayView2<'_, u16>| plane.iter().map(|&y| f64::from(y)).sum::<f64>() / plane.len() as f64;
    temporal_variance_r31(first, second) - (mean(first) - mean(second)).powi(2) / 2.0
}

/// Spatial variance of a pair by EMVA 1288 Release 4.0, equation 32: a covariance, so temporal noise drops out.
#[must_use]
pub fn spatial_covariance(first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>) -> f64 {
    let n = first.len() as f64;
    let product = Zip::from(first).and(second).fold(0.0, |sum, &a, &b| sum + f64::from(a) * f64::from(b));
    let total = |plane: ArrayView2<'_, u16>| plane.iter().map(|&y| f64::from(y)).sum::<f64>();
    product / n - total(first) / n * (total(second) / n)
}

/// Takes the means of rows and of columns off.
fn without_lines(d: &mut Array2<f64>) {
    for axis in [Axis(1), Axis(0)] {
        if let Some(means) = d.mean_axis(axis) {
            *d -= &means.insert_axis(axis);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::arr2;

    #[test]
    fn agrees_with_the_hand_pair() {
        // The pair of the published-style hand example: unbiased variance 1.15 by hand.
        let first = arr2(&[[10_u16, 12, 11], [13, 9, 11]]);
        let second = arr2(&[[11_u16, 12, 10], [12, 10, 14]]);
        let pair = PairStatistics::from_frames(first.view(), second.view()).unwrap();
        approx::assert_relative_eq!(pair.variance(), 1.15, epsilon = 1e-12);
        approx::assert_relative_eq!(pair.mean().0, 45.0 / 4.0);
    }

    #[test]
    fn needs_a_pair_of_equal_shape() {
        assert!(PairStatistics::from_frames(arr2(&[[1_u16, 2]]).view(), arr2(&[[1_u16], [2]]).view()).is_none());
    }

    #[test]
    fn a_drift_of_the_lamp_is_scaled_away() {
        let first = Array2::from_shape_fn((64, 64), |(row, column)| 1000 + 20 * (row + column) as u16);
        let second = first.mapv(|y| y / 2);
        let pair = PairStatistics::from_frames(first.view(), second.view()).unwrap();
        assert!(pair.variance() > 1000.0);
        approx::assert_relative_eq!(pair.scaled_variance(Dn(0.0), f64::INFINITY), 0.0, epsilon = 1e-9);
    }

    #[test]
    fn the_same_file_twice_is_noticed() {
        let frame = arr2(&[[5_u16, 9], [7, 6]]);
        assert!(PairStatistics::from_frames(frame.view(), frame.view()).unwrap().is_duplicate());
    }

    #[test]
    fn unclipping_inverts_the_clipping_factor() {
        let truth = 2.25_f64;
        let clipped = truth * clipped_variance_factor(4.5 / truth.sqrt());
        approx::assert_relative_eq!(unclipped(clipped, 4.5), truth, epsilon = 1e-9);
    }
}
