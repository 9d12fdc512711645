//! Chance: a seeded stream of uniform, normal and Poisson numbers.

use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// From here on a Poisson number is drawn from its expansion about the normal law.
const MANY: f64 = 12.0;

/// A seeded stream of chance.
#[derive(Debug, Clone)]
pub(crate) struct Chance(Xoshiro256PlusPlus);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    /// A number from 0 to 1.
    pub(crate) fn share(&mut self) -> f64 {
        self.0.random::<f64>()
    }

    /// A number between two.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// A number between two, its logarithm uniform.
    pub(crate) fn spread(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.share())
    }

    /// A whole number from 0 up to, not with, `count`.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        ((self.share() * count as f64) as usize).min(count.saturating_sub(1))
    }

    /// Whether something that happens in `share` of all cases happens.
    pub(crate) fn happens(&mut self, share: f64) -> bool {
        self.share() < share
    }

    /// A standard normal number.
    pub(crate) fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Electrons counted where `expected` are expected: exact for few; for many the first terms of the Cornish–Fisher
    /// expansion, which have the Poisson law's mean, variance and, to 1 %, skewness, and are no whole numbers.
    pub(crate) fn poisson(&mut self, expected: f64) -> f64 {
        if expected <= 0.0 {
            return 0.0;
        }
        if expected > MANY {
            let z = self.normal();
            return expected + (expected - 1.0 / 18.0).sqrt() * z + (z * z - 1.0) / 6.0;
        }
        let (mut count, mut term, mut left) = (0.0, (-expected).exp(), self.share());
        while left > term && count < 100.0 {
            left -= term;
            count += 1.0;
            term *= expected / count;
        }
        count
    }
}
