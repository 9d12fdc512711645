//! Means and variances that keep their digits.

/// Mean and variance of numbers pushed one at a time.
///
/// Welford's update: a small spread on a high level keeps its digits.
///
/// # Source
/// B. P. Welford, Technometrics 4 (1962) 419 (from memory).
///
/// # Examples
/// ```
/// let moments: subwell::stats::Moments = [10_000_001.0, 10_000_003.0, 10_000_002.0].into_iter().collect();
/// assert_eq!(moments.mean(), Some(10_000_002.0));
/// assert_eq!(moments.variance(), Some(1.0)); // NIST StRD NumAcc1
/// ```
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Moments {
    count: u64,
    mean: f64,
    squares: f64,
}

impl Moments {
    /// Takes one more number.
    pub fn push(&mut self, value: f64) {
        self.count += 1;
        let before = value - self.mean;
        self.mean += before / self.count as f64;
        self.squares += before * (value - self.mean);
    }

    /// How many numbers there were.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Their mean; `None` without numbers.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then_some(self.mean)
    }

    /// Their unbiased variance (divisor n − 1); `None` with fewer than two.
    #[must_use]
    pub fn variance(&self) -> Option<f64> {
        (self.count > 1).then(|| self.squares / (self.count - 1) as f64)
    }
}

impl FromIterator<f64> for Moments {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut moments = Self::default();
        for value in values {
            moments.push(value);
        }
        moments
    }
}
