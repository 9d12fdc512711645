//! How sure a plan is: one source after the other moved by one standard uncertainty.

use serde::{Deserialize, Serialize};

use crate::noise::PlaneNoise;

use super::Search;
use crate::night::PlaneConditions;

/// What a plan's uncertainty comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// How bright the sky is.
    Sky,
    /// The sky's spectrum at that brightness.
    Lamps,
    /// How much of the Moon's light is scattered.
    Moon,
    /// Optics, filter and quantum efficiency.
    Throughput,
    /// The target's colour.
    Target,
    /// What a fast beam takes of a line: the middle and the make of the filter.
    Beam,
    /// The camera's read noise.
    ReadNoise,
    /// The camera's dark current, the sensor's temperature included.
    DarkCurrent,
}

impl Source {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Sky,
        Self::Lamps,
        Self::Moon,
        Self::Throughput,
        Self::Target,
        Self::Beam,
        Self::ReadNoise,
        Self::DarkCurrent,
    ];

    /// The word in the plan.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Sky => "sky",
            Self::Lamps => "lamps",
            Self::Moon => "moon",
            Self::Throughput => "throughput",
            Self::Target => "target",
            Self::Beam => "beam",
            Self::ReadNoise => "read-noise",
            Self::DarkCurrent => "dark-current",
        }
    }
}

impl std::fmt::Display for Source {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// The plane's noise with one source moved by `sigmas` standard uncertainties.
pub(crate) fn moved(plane: &PlaneConditions, source: Source, sigmas: f64) -> PlaneNoise {
    let mut noise = plane.noise;
    let factor = |spread: f64| (sigmas * spread).exp();
    let spread = &plane.spread;
    match source {
        Source::Sky => noise.rates.sky = noise.rates.sky * factor(spread.sky),
        Source::Lamps => noise.rates.sky = noise.rates.sky * factor(spread.lamps),
        Source::Moon => noise.rates.moon = noise.rates.moon * factor(spread.moon),
        Source::Target => noise.rates.target = noise.rates.target * factor(spread.target),
        Source::Beam => noise.rates.target = noise.rates.target * factor(spread.beam),
        Source::Throughput => {
            noise.rates.target = noise.rates.target * factor(spread.throughput);
            noise.rates.sky = noise.rates.sky * factor(spread.throughput_on_sky);
            noise.rates.moon = noise.rates.moon * factor(spread.throughput);
        }
        Source::ReadNoise => noise.read_noise = noise.read_noise * factor(spread.read_noise),
        Source::DarkCurrent => {
            noise.rates.dark = noise.rates.dark * factor(spread.dark_current);
            noise.left.per_second = noise.left.per_second * factor(spread.dark_current);
        }
    }
    noise
}

/// The search with one source moved.
pub(crate) fn moved_search(search: &Search, planes: &[PlaneConditions], source: Source, sigmas: f64) -> Search {
    let planes = planes.iter().filter(|plane| plane.governs);
    let planes =
        planes.map(|plane| (moved(plane, source, sigmas), plane.patch.dithered_within(search.dither_box_px))).collect();
    Search { planes, ..search.clone() }
}

/// Logarithms of what a number becomes when one source is one standard uncertainty down and up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sensitivity {
    pub(crate) source: Source,
    pub(crate) down: f64,
    pub(crate) up: f64,
}

impl Sensitivity {
    /// From the ratios; where one cannot be reached, the other is mirrored.
    pub(crate) fn new(source: Source, down: Option<f64>, up: Option<f64>) -> Self {
        let (down, up) = match (down.map(f64::ln), up.map(f64::ln)) {
            (Some(down), Some(up)) => (down, up),
            (Some(down), None) => (down, -down),
            (None, Some(up)) => (-up, up),
            (None, None) => (0.0, 0.0),
        };
        Self { source, down, up }
    }

    /// Half of the way between the ends.
    pub(crate) fn half(&self) -> f64 {
        (self.up - self.down).abs() / 2.0
    }
}

/// The factors from a number to the ends of its range, independent sources together.
pub(crate) fn range_factors(sensitivities: &[Sensitivity]) -> (f64, f64) {
    let low: f64 = sensitivities.iter().map(|sensitivity| sensitivity.down.min(sensitivity.up).min(0.0).powi(2)).sum();
    let high: f64 = sensitivities.iter().map(|sensitivity| sensitivity.down.max(sensitivity.up).max(0.0).powi(2)).sum();
    ((-low.sqrt()).exp(), high.sqrt().exp())
}

/// The largest source and its share of the squared uncertainty in percent.
pub(crate) fn largest(sensitivities: &[Sensitivity]) -> (Source, f64) {
    let total: f64 = sensitivities.iter().map(|sensitivity| sensitivity.half().powi(2)).sum();
    let largest = sensitivities.iter().max_by(|a, b| a.half().total_cmp(&b.half()));
    match largest {
        Some(sensitivity) if total > 0.0 => (sensitivity.source, 100.0 * sensitivity.half().powi(2) / total),
        _ => (Source::Sky, 0.0),
    }
}
