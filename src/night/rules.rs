//! `[calibration]` and `[stack]` of a night: the frames behind the masters, and how subs are combined.

use serde::{Deserialize, Serialize};

/// `[calibration]`: the frames behind the masters.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationCounts {
    /// Darks; 0 = none.
    pub darks: Option<u32>,
    /// Flats; 0 = none.
    pub flats: Option<u32>,
    /// Biases; 0 = none.
    pub biases: Option<u32>,
    /// Standard deviation between the sensor's temperature in darks and lights, in kelvins.
    pub dark_mismatch_c: Option<f64>,
    /// What all masters together may add to the stack's variance, in percent: frames are advised until it is less.
    pub share_percent: Option<f64>,
}

impl CalibrationCounts {
    /// Darks where none are given, common practice (20 to 50), no source.
    pub const DEFAULT_DARKS: u32 = 30;
    /// Flats where none are given, common practice (20 to 30), no source.
    pub const DEFAULT_FLATS: u32 = 25;
    /// Biases where none are given, common practice (20 to 100), no source.
    pub const DEFAULT_BIASES: u32 = 50;
    /// Mismatch of an uncooled camera where none is given, common practice, no source; a cooled one has none.
    pub const DEFAULT_UNCOOLED_MISMATCH_K: f64 = 2.0;

    /// What the masters may add where nothing is given: hours that nobody notices (common practice, no source).
    pub const DEFAULT_SHARE_PERCENT: f64 = 5.0;

    /// What the masters may add as a fraction, or the default.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.share_percent.unwrap_or(Self::DEFAULT_SHARE_PERCENT) / 100.0
    }

    /// Darks, or the default.
    #[must_use]
    pub fn darks(&self) -> u32 {
        self.darks.unwrap_or(Self::DEFAULT_DARKS)
    }

    /// Flats, or the default.
    #[must_use]
    pub fn flats(&self) -> u32 {
        self.flats.unwrap_or(Self::DEFAULT_FLATS)
    }

    /// Biases, or the default.
    #[must_use]
    pub fn biases(&self) -> u32 {
        self.biases.unwrap_or(Self::DEFAULT_BIASES)
    }

    /// Mismatch in kelvins, or the default.
    #[must_use]
    pub fn dark_mismatch_k(&self, cooled: bool) -> f64 {
        self.dark_mismatch_c.unwrap_or(if cooled { 0.0 } else { Self::DEFAULT_UNCOOLED_MISMATCH_K })
    }
}

/// `[stack]`: how the subs are combined, and the bounds of the plan.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StackRules {
    /// Rejection in sigmas, at least 2; 0 = plain mean.
    pub clip_sigma: Option<f64>,
    /// The least subs in a stack.
    pub min_subs: Option<u32>,
    /// The least dither positions in a night.
    pub min_positions_per_night: Option<u32>,
    /// The least dither positions in all.
    pub min_positions: Option<u32>,
    /// The most subs to shoot, in each filter.
    pub most_subs: Option<u32>,
    /// The most to store, in each filter.
    pub most_gigabytes: Option<f64>,
}

impl StackRules {
    /// Rejection where none is given, common practice, no source.
    pub const DEFAULT_CLIP_SIGMA: f64 = 3.0;
    /// Least subs where none are given: rejection at 3 sigmas needs 11 (Shiffler 1988, The American Statistician 42).
    pub const DEFAULT_MIN_SUBS: u32 = 15;
    /// Least positions of a night where none are given, common practice, no source.
    pub const DEFAULT_MIN_POSITIONS_PER_NIGHT: u32 = 10;
    /// Least positions where none are given: a hot pixel is rejected from 1 + k² positions on (derived here).
    pub const DEFAULT_MIN_POSITIONS: u32 = 15;
    /// Most subs where none are given, common practice, no source.
    pub const DEFAULT_MOST_SUBS: u32 = 2000;
    /// Most gigabytes where none are given, common practice, no source.
    pub const DEFAULT_MOST_GIGABYTES: f64 = 200.0;

    /// Rejection in sigmas, or the default.
    #[must_use]
    pub fn clip_sigma(&self) -> f64 {
        self.clip_sigma.unwrap_or(Self::DEFAULT_CLIP_SIGMA)
    }

    /// Least subs, or the default; at least 1.
    #[must_use]
    pub fn min_subs(&self) -> u32 {
        self.min_subs.unwrap_or(Self::DEFAULT_MIN_SUBS).max(1)
    }

    /// Least positions of a night, or the default; at least 1.
    #[must_use]
    pub fn min_positions_per_night(&self) -> u32 {
        self.min_positions_per_night.unwrap_or(Self::DEFAULT_MIN_POSITIONS_PER_NIGHT).max(1)
    }

    /// Least positions, or the default; at least 1.
    #[must_use]
    pub fn min_positions(&self) -> u32 {
        self.min_positions.unwrap_or(Self::DEFAULT_MIN_POSITIONS).max(1)
    }

    /// Most subs, or the default.
    #[must_use]
    pub fn most_subs(&self) -> u32 {
        self.most_subs.unwrap_or(Self::DEFAULT_MOST_SUBS)
    }

    /// Most gigabytes, or the default.
    #[must_use]
    pub fn most_gigabytes(&self) -> f64 {
        self.most_gigabytes.unwrap_or(Self::DEFAULT_MOST_GIGABYTES)
    }
}
