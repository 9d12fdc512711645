//! What darks are held against: levels and noise without light and time.

use crate::stats::Estimate;
use crate::units::Dn;

/// The levels without light and time that a stage may need as its anchor.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Anchor {
    pub offset: Estimate<Dn>,
    pub variance: Estimate<f64>,
    /// Scatter of the bias frames' levels in DN.
    pub level_scatter: f64,
    /// How far in DN the steps may move a mean level, and in DN² a variance.
    pub hidden_by_steps: [f64; 2],
    /// Whether they were taken at the stage's own temperature.
    pub same_temperature: bool,
    /// Whether they are of bias frames: darks cannot be their own anchor.
    pub is_of_bias: bool,
    /// The code at which the dark side is cut off, if it is.
    pub floor: Option<u16>,
}

#[cfg(test)]
impl Anchor {
    /// Bias frames of the darks' own temperature with this level in DN and this variance in DN².
    pub(super) fn of_bias(offset: f64, variance: Estimate<f64>) -> Self {
        Self {
            offset: Estimate::new(offset, 0.1),
            variance,
            level_scatter: 0.1,
            hidden_by_steps: [0.0; 2],
            same_temperature: true,
            is_of_bias: true,
            floor: None,
        }
    }
}

/// What a dark pixel may be expected to do, in DN: enough to tell a particle from noise.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Expectation {
    pub offset: f64,
    pub read_variance: f64,
    pub dn_per_e: f64,
    /// The code at which pixels saturate.
    pub ceiling: f64,
    /// Variance in DN² of the pixels' own levels without time.
    pub pattern_variance: f64,
}

impl Expectation {
    /// How far in DN the median pixel of alike ones lies below their mean at this level: few electrons are skewed.
    ///
    /// ```text
    /// mean − median ≈ κ₃ / (6 σ²),    κ₃ = K² (μ − offset),    σ² = σ_d² + s² + K (μ − offset)
    /// ```
    ///
    /// `s` is the pixels' pattern. The first term of the expansion of Cornish and Fisher.
    pub(super) fn median_shortfall(&self, mean: f64) -> f64 {
        let signal = (mean - self.offset).max(0.0);
        let variance = self.read_variance + self.pattern_variance + self.dn_per_e * signal;
        if variance.is_finite() && variance > 0.0 { self.dn_per_e.powi(2) * signal / (6.0 * variance) } else { 0.0 }
    }
}
