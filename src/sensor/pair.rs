//! Two frames of the same light: what differs between them is temporal noise.

use ndarray::{ArrayView2, Zip};

use crate::stats::{Histogram, clipped_variance_factor};
use crate::units::Dn;

/// Differences beyond this many robust sigmas are events, not noise: a cosmic ray, a jump.
/// Wide enough that the brightest part of a vignetted flat, with up to twice the median
/// noise, loses nothing.
const EVENT_SIGMAS: f64 = 8.0;
/// The core of the noise ends here; telegraph and hot pixels lie beyond.
const CORE_SIGMAS: f64 = 4.0;

/// What one pass over two frames of the same plane leaves: exact integer sums, and what the
/// histogram of plain differences says of outliers.
#[derive(Debug, Clone, PartialEq)]
pub struct PairStatistics {
    /// Pixels in the plane.
    pub count: u64,
    /// Mean of each frame in DN.
    pub means: [f64; 2],
    /// Unbiased variances and covariance over the pixels: first frame, second frame, both.
    spatial: [f64; 3],
    /// Share of the plain differences' variance that is not in single events.
    without_events: f64,
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
}

#[derive(Default)]
struct Sums {
    first: u64,
    second: u64,
    squares: [u64; 3],
    highest: u16,
    at_highest: u64,
    at_zero: u64,
}

impl Sums {
    fn take(&mut self, a: u16, b: u16) {
        let (wide_a, wide_b) = (u64::from(a), u64::from(b));
        self.first += wide_a;
        self.second += wide_b;
        self.squares[0] += wide_a * wide_a;
        self.squares[1] += wide_b * wide_b;
        self.squares[2] += wide_a * wide_b;
        self.at_zero += u64::from(a == 0) + u64::from(b == 0);
        let top = a.max(b);
        if top > self.highest {
            self.highest = top;
            self.at_highest = 0;
        }
        self.at_highest += u64::from(a == self.highest) + u64::from(b == self.highest);
    }
}

/// `(Σxy − Σx Σy / n) / (n − 1)` from exact integers.
fn covariance(product: u64, x: u64, y: u64, n: u64) -> f64 {
    let numerator = i128::from(product) * i128::from(n) - i128::from(x) * i128::from(y);
    numerator as f64 / (n as f64 * (n - 1) as f64)
}

impl PairStatistics {
    /// Statistics of two planes of equal shape with at least two pixels; `None` otherwise.
    #[must_use]
    pub fn of(first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>) -> Option<Self> {
        let count = first.len() as u64;
        if first.dim() != second.dim() || count < 2 {
            return None;
        }
        let mut sums = Sums::default();
        let mut differences = Histogram::new(-65_535, 65_535);
        Zip::from(first).and(second).for_each(|&a, &b| {
            sums.take(a, b);
            differences.push(i32::from(a) - i32::from(b));
        });
        let (without_events, excess_kurtosis, core_variance) = shape(&differences)?;
        let share = |pixels: u64| pixels as f64 / (2 * count) as f64;
        Some(Self {
            count,
            means: [sums.first as f64 / count as f64, sums.second as f64 / count as f64],
            spatial: [
                covariance(sums.squares[0], sums.first, sums.first, count),
                covariance(sums.squares[1], sums.second, sums.second, count),
                covariance(sums.squares[2], sums.first, sums.second, count),
            ],
            without_events,
            excess_kurtosis,
            core_variance,
            highest: sums.highest,
            share_at_highest: share(sums.at_highest),
            share_at_zero: share(sums.at_zero),
        })
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
    /// Exact for shot noise at the mean level, off by (r − 1)²/2 of the read noise. Single
    /// events are left out. Where the signal is too small for its ratio to be known (below
    /// 2 DN, or 20 of its own uncertainties) the plain variance is returned.
    /// Derived here from EMVA 1288's model.
    #[must_use]
    pub fn scaled_variance(&self, offset: Dn) -> f64 {
        let [first, second] = self.means.map(|mean| mean - offset.0);
        let plain = self.variance();
        let known = 20.0 * (plain / self.count as f64).sqrt() + 2.0;
        let scaled = if first.min(second) > known {
            let r = first / second;
            (self.spatial[0] + r * r * self.spatial[1] - 2.0 * r * self.spatial[2]) / (2.0 * r)
        } else {
            plain
        };
        (scaled * self.without_events).max(0.0)
    }

    /// The variance in DN⁴ of a variance estimate whose expectation is `variance`.
    ///
    /// ```text
    /// Var(σ̂²) = 2 σ⁴ (1 + κ/2) / n
    /// ```
    ///
    /// κ is the excess kurtosis of the differences: 0 for a normal distribution, large with
    /// telegraph pixels or uneven dark current.
    #[must_use]
    pub fn variance_of(&self, variance: f64) -> f64 {
        2.0 * variance * variance * (1.0 + self.excess_kurtosis / 2.0) / self.count as f64
    }

    /// Whether both frames are the same pixels.
    #[must_use]
    pub fn is_duplicate(&self) -> bool {
        self.means[0] == self.means[1] && self.spatial[0] > 0.0 && self.variance() == 0.0
    }

    /// Standard deviation over the pixels of what both frames share (EMVA 1288 Release 4.0,
    /// equation 32, unbiased) in DN²: pattern, without temporal noise.
    #[must_use]
    pub fn shared_variance(&self) -> f64 {
        self.spatial[2]
    }
}

/// Share of variance without events, excess kurtosis, core variance, from the plain differences.
fn shape(differences: &Histogram) -> Option<(f64, f64, f64)> {
    let centre = differences.quantile(0.5)?;
    let sigma = differences.robust_sigma()?.max(1.0);
    let (_, _, all, _) = differences.central_moments(centre, f64::INFINITY)?;
    let (kept, _, inside, fourth) = differences.central_moments(centre, EVENT_SIGMAS * sigma)?;
    let without_events = if all > 0.0 { inside * kept / (all * differences.total() as f64) } else { 1.0 };
    let kurtosis = if inside > 0.0 { (fourth / (inside * inside) - 3.0).max(0.0) } else { 0.0 };
    // Integers: everything up to the half step beyond the last one kept is inside.
    let limit = (CORE_SIGMAS * sigma).floor() + 0.5;
    let (_, _, clipped, _) = differences.central_moments(centre, limit)?;
    Some((without_events, kurtosis, unclipped(clipped, limit) / 2.0))
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

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::arr2;

    #[test]
    fn agrees_with_the_hand_pair() {
        // The pair of the published-style hand example: unbiased variance 1.15 by hand.
        let first = arr2(&[[10_u16, 12, 11], [13, 9, 11]]);
        let second = arr2(&[[11_u16, 12, 10], [12, 10, 14]]);
        let pair = PairStatistics::of(first.view(), second.view()).unwrap();
        approx::assert_relative_eq!(pair.variance(), 1.15, epsilon = 1e-12);
        approx::assert_relative_eq!(pair.mean().0, 45.0 / 4.0);
    }

    #[test]
    fn needs_a_pair_of_equal_shape() {
        assert!(PairStatistics::of(arr2(&[[1_u16, 2]]).view(), arr2(&[[1_u16], [2]]).view()).is_none());
    }

    #[test]
    fn a_drift_of_the_lamp_is_scaled_away() {
        let first = ndarray::Array2::from_shape_fn((64, 64), |(row, column)| 1000 + 20 * (row + column) as u16);
        let second = first.mapv(|y| y / 2);
        let pair = PairStatistics::of(first.view(), second.view()).unwrap();
        assert!(pair.variance() > 1000.0);
        approx::assert_relative_eq!(pair.scaled_variance(Dn(0.0)), 0.0, epsilon = 1e-9);
    }

    #[test]
    fn the_same_file_twice_is_noticed() {
        let frame = arr2(&[[5_u16, 9], [7, 6]]);
        assert!(PairStatistics::of(frame.view(), frame.view()).unwrap().is_duplicate());
    }

    #[test]
    fn unclipping_inverts_the_clipping_factor() {
        let truth = 2.25_f64;
        let clipped = truth * clipped_variance_factor(4.5 / truth.sqrt());
        approx::assert_relative_eq!(unclipped(clipped, 4.5), truth, epsilon = 1e-9);
    }
}
