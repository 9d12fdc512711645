//! `[cooler]` of a night: what a cooled camera would bring and cost.

use serde::{Deserialize, Serialize};

use crate::units::Celsius;

/// `[cooler]`: what a cooled camera would bring and cost.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cooler {
    /// How far below the air it cools.
    pub below_ambient_c: Option<f64>,
    /// Hours of open shutter in a year.
    pub imaging_hours_per_year: Option<f64>,
    /// What it costs.
    pub price: Option<f64>,
    /// Set point, where the night's own camera has none.
    pub set_point_c: Option<Celsius>,
    /// Sensor above air without cooling, where the night's own camera is cooled.
    pub rise_c: Option<Celsius>,
    /// Time constant of the uncooled body's warming, in minutes.
    pub warm_up_min: Option<f64>,
}

impl Cooler {
    /// Reach below the air where none is given: 35 to 45 K are usual (common practice, no source).
    pub const DEFAULT_BELOW_AMBIENT_K: f64 = 35.0;
    /// Hours of open shutter in a year where none are given (common practice, no source).
    pub const DEFAULT_HOURS: f64 = 60.0;
    /// Time constant of a body's warming where none is given, from memory; the warming itself: Dunlap, Sostin, Widenhorn &
    /// Bodegom 2010, J. Electron. Imaging 19(1).
    pub const DEFAULT_WARM_UP_MIN: f64 = 20.0;

    /// Reach below the air in kelvins, or the default.
    #[must_use]
    pub fn below_ambient_k(&self) -> f64 {
        self.below_ambient_c.unwrap_or(Self::DEFAULT_BELOW_AMBIENT_K)
    }

    /// Hours of open shutter in a year, or the default.
    #[must_use]
    pub fn hours(&self) -> f64 {
        self.imaging_hours_per_year.unwrap_or(Self::DEFAULT_HOURS)
    }

    /// Time constant of the body's warming in minutes, or the default.
    #[must_use]
    pub fn warm_up_min(&self) -> f64 {
        self.warm_up_min.unwrap_or(Self::DEFAULT_WARM_UP_MIN)
    }
}
