//! Two darks of one temperature: which pixels a particle hit, and how the others differ.

use ndarray::{ArrayView2, Zip};

use crate::stats::INTERQUARTILE_SIGMAS;
use crate::units::Seconds;

use super::current::{Expectation, PairVariance};

/// A pixel this many sigmas above what its partner frame predicts was hit by a particle.
const HIT_SIGMAS: f64 = 6.0;

/// How many pixels are looked at for what most of them do, and how few say nothing.
const SAMPLED_PIXELS: usize = 40_000;
const FEWEST_SAMPLED: usize = 100;

/// Two darks of one temperature, pixel by pixel: which was hit, and how they differ.
#[derive(Default)]
pub(super) struct Compared {
    /// DN above what the other frame predicts, summed over the pixels hit.
    pub(super) excess: [f64; 2],
    hits: [usize; 2],
    count: f64,
    /// Sums of powers 1 to 4 of the differences of pixels that were not hit.
    powers: [f64; 4],
}

impl Compared {
    /// Compares `first` with `second`, whose exposure is `ratio` times as long.
    ///
    /// A pixel was hit where it exceeds what the other frame predicts by six sigmas of
    /// read and shot noise of the prediction (a hot pixel predicts itself), and of what most pixels scatter by: where the
    /// camera holds its black level, the level says nothing of the shot noise.
    pub(super) fn of(
        first: ArrayView2<'_, u16>,
        second: ArrayView2<'_, u16>,
        ratio: f64,
        expectation: Expectation,
    ) -> Self {
        let Expectation { offset, read_variance, dn_per_e, ceiling, .. } = expectation;
        let full = 0.98 * (ceiling - offset);
        let mut compared = Self::default();
        let scatter = common_variance(first, second, ratio, offset);
        let surplus = |level: f64, from: f64, ratio: f64, scatter: f64| {
            let surplus = level - ratio * from;
            let variance = read_variance * (1.0 + ratio * ratio) + dn_per_e * ratio * (1.0 + ratio) * from.max(0.0);
            let variance = variance.max(scatter);
            // A saturated pixel predicts too little.
            let known = surplus > 0.0 && from < full;
            (known && surplus * surplus > HIT_SIGMAS * HIT_SIGMAS * variance).then_some(surplus)
        };
        Zip::from(first).and(second).for_each(|&a, &b| {
            let (a, b) = (f64::from(a) - offset, f64::from(b) - offset);
            let found = [surplus(a, b, 1.0 / ratio, scatter / (ratio * ratio)), surplus(b, a, ratio, scatter)];
            for (frame, surplus) in found.into_iter().enumerate() {
                if let Some(surplus) = surplus {
                    compared.excess[frame] += surplus;
                    compared.hits[frame] += 1;
                }
            }
            if found == [None, None] {
                let difference = a - b;
                compared.count += 1.0;
                let mut power = 1.0;
                for sum in &mut compared.powers {
                    power *= difference;
                    *sum += power;
                }
            }
        });
        compared
    }

    /// Temporal variance of the pair, with its uncertainty from the differences' own fourth moment.
    pub(super) fn variance(&self, exposure: Seconds) -> Option<PairVariance> {
        if self.count < 2.0 {
            return None;
        }
        let [m1, m2, m3, m4] = self.powers.map(|sum| sum / self.count);
        let second = m2 - m1 * m1;
        let fourth = m4 - 4.0 * m1 * m3 + 6.0 * m1 * m1 * m2 - 3.0 * m1.powi(4);
        let uncertainty = ((fourth - second * second).max(0.0) / self.count).sqrt() / 2.0;
        (second > 0.0 && uncertainty > 0.0).then_some(PairVariance { exposure, variance: second / 2.0, uncertainty })
    }
}

/// Variance in DN² of `second − ratio × first` over most pixels: from the quartiles of a sample, which neither hits
/// nor hot pixels move.
fn common_variance(first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>, ratio: f64, offset: f64) -> f64 {
    let every = (first.len() / SAMPLED_PIXELS).max(1);
    let pixels = first.iter().zip(second.iter()).step_by(every);
    let mut left: Vec<f64> = pixels.map(|(&a, &b)| (f64::from(b) - offset) - ratio * (f64::from(a) - offset)).collect();
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
        let compared = Compared::of(first.view(), second.view(), 1.0, EXPECTATION);
        assert_eq!(compared.hits, [0, 1]);
        approx::assert_relative_eq!(compared.excess[1], 8890.0);
    }
}
