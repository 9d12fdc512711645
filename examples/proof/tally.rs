//! What many sensors of a corner add up to.

use subwell::stats::Estimate;
use subwell::units::Quantity;

/// Errors of one quantity over its stated uncertainties.
#[derive(Debug, Default, Clone)]
pub(crate) struct Tally {
    count: f64,
    covered: f64,
    relative: f64,
    squares: f64,
    statistical: f64,
}

impl Tally {
    /// Takes an estimate of a known truth.
    pub(crate) fn add<Q: Quantity>(&mut self, estimate: &Estimate<Q>, truth: f64) {
        let error = estimate.value.get() - truth;
        let statistical = estimate.statistical.unwrap_or(estimate.uncertainty).get();
        self.count += 1.0;
        self.covered += f64::from(u8::from(estimate.covers(truth)));
        self.relative += error / truth;
        self.squares += (error / truth).powi(2);
        self.statistical += (error / statistical).powi(2);
    }

    /// Takes another tally in.
    pub(crate) fn merge(&mut self, other: &Self) {
        self.count += other.count;
        self.covered += other.covered;
        self.relative += other.relative;
        self.squares += other.squares;
        self.statistical += other.statistical;
    }

    /// How many there were.
    pub(crate) fn count(&self) -> f64 {
        self.count
    }

    /// Percent of the 95 % intervals that hold the truth.
    pub(crate) fn coverage_percent(&self) -> f64 {
        100.0 * self.covered / self.count
    }

    /// Mean relative error in percent, and its standard error.
    pub(crate) fn bias_percent(&self) -> (f64, f64) {
        (100.0 * self.relative / self.count, 100.0 * self.squares.sqrt() / self.count)
    }

    /// Mean square of error over statistical uncertainty.
    pub(crate) fn statistical_pull(&self) -> f64 {
        self.statistical / self.count
    }
}

/// The three quantities of a corner, and how the gain's spread compares with its bound.
#[derive(Debug, Default, Clone)]
pub(crate) struct CornerTally {
    pub(crate) gain: Tally,
    pub(crate) read: Tally,
    pub(crate) dark: Tally,
    against_bound: f64,
    bounded: f64,
}

impl CornerTally {
    /// Takes the gain's relative error over its Cramér–Rao bound.
    pub(crate) fn against_bound(&mut self, ratio: f64) {
        self.against_bound += ratio * ratio;
        self.bounded += 1.0;
    }

    /// The three with their names.
    pub(crate) fn quantities(&self) -> [(&'static str, &Tally); 3] {
        [("gain", &self.gain), ("read noise", &self.read), ("dark current", &self.dark)]
    }

    /// Takes another tally in.
    pub(crate) fn merge(&mut self, other: &Self) {
        self.gain.merge(&other.gain);
        self.read.merge(&other.read);
        self.dark.merge(&other.dark);
        self.against_bound += other.against_bound;
        self.bounded += other.bounded;
    }

    /// Spread of the gain over its Cramér–Rao bound; `None` where there is none.
    pub(crate) fn spread_over_bound(&self) -> Option<f64> {
        (self.bounded > 0.0).then(|| (self.against_bound / self.bounded).sqrt())
    }
}
