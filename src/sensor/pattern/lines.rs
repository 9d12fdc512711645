//! What rows or columns do from frame to frame.

use crate::sensor::powers::Powers;

/// Sums over the frames of the means of lines, and of their squares; a frame's mean is taken off first.
#[derive(Debug, Clone, Default)]
pub(super) struct Lines {
    pub(super) sums: Vec<f64>,
    squares: Vec<f64>,
}

impl Lines {
    pub(super) fn push(&mut self, totals: &[u64], length: usize, mean: f64) {
        self.sums.resize(totals.len(), 0.0);
        self.squares.resize(totals.len(), 0.0);
        for ((sum, square), &total) in self.sums.iter_mut().zip(&mut self.squares).zip(totals) {
            let value = total as f64 / length as f64 - mean;
            *sum += value;
            *square += value * value;
        }
    }

    /// Variance from frame to frame of a line's mean.
    pub(super) fn temporal(&self, frames: f64) -> f64 {
        let apart: f64 = self.sums.iter().zip(&self.squares).map(|(sum, square)| square - sum * sum / frames).sum();
        apart / ((self.sums.len() as f64 - 1.0) * (frames - 1.0))
    }

    pub(super) fn spread(&self, frames: f64) -> Powers {
        let mut powers = Powers::default();
        self.sums.iter().for_each(|sum| powers.push(sum / frames));
        powers
    }
}
