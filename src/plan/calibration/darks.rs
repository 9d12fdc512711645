//! Darks, or a map of bad pixels and dithering; and which other darks would do.

use serde::{Deserialize, Serialize};

use crate::camera::Mode;
use crate::night::{CalibrationCounts, Night, PlaneConditions};
use crate::noise::{Calibration, DarkRates, LeftPattern, PlaneNoise};
use crate::plan::filter_solution::FilterSolution;
use crate::stats::bisect;
use crate::units::{Celsius, Electrons, ElectronsPerSecond, Seconds};

use super::price::{PlanePrice, Price};

/// Two ways that differ by less in hours are alike.
const NO_DIFFERENCE: f64 = 0.02;
/// How far a library's temperature is looked for.
const FAR_K: f64 = 40.0;
/// Halvings of an interval: a hundredth of a kelvin is left of it.
const HALVINGS: usize = 14;

/// Which way takes fewer hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum BetterWay {
    /// Darks of the lights' length.
    Darks,
    /// Biases, a map of bad pixels, and dithering.
    BadPixelMap,
    /// Within 2 % of each other.
    Alike,
}

/// Darks against a map of bad pixels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct DarksOrMap {
    /// Standard deviation between the sensor's temperature in darks and lights.
    pub dark_mismatch_c: f64,
    /// Hours with darks over hours of a sensor without thermal pattern, at the plan's sub length; `null` where no number of
    /// subs is enough.
    pub darks_time_ratio: Option<f64>,
    /// Hours with biases, a map of bad pixels and dithering over the same.
    pub map_time_ratio: Option<f64>,
    /// Which is better.
    pub better: BetterWay,
    /// With a mismatch of less darks leave a weaker pattern than no darks; `null` without dark current.
    pub darks_win_below_c: Option<f64>,
}

/// Darks of other temperature or length that cost less than the share.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct DarkLibrary {
    /// The sensor's temperature in the lights.
    pub lights_c: Celsius,
    /// The coldest darks that serve; `null` where any do.
    pub coldest_c: Option<Celsius>,
    /// The warmest.
    pub warmest_c: Option<Celsius>,
    /// The shortest, not scaled; `null` where any do.
    pub shortest_s: Option<Seconds>,
    /// The longest.
    pub longest_s: Option<Seconds>,
}

/// The two ways in hours. Both at the plan's sub length with the best cadence of their own; the map is taken to hold every
/// pixel that a dark's clipping leaves out, so that the unevenness of the others is what remains.
pub(super) fn darks_or_map(night: &Night, filter: &FilterSolution<'_>, price: &Price<'_>) -> DarksOrMap {
    let counts = &night.calibration;
    let mismatch = counts.dark_mismatch_k(night.camera.cooled());
    let (darks, biases) = (
        at_least_default(counts.darks(), CalibrationCounts::DEFAULT_DARKS),
        at_least_default(counts.biases(), CalibrationCounts::DEFAULT_BIASES),
    );
    let way = |left: &dyn Fn(&PlaneConditions) -> ElectronsPerSecond, darks: u32, biases: u32| {
        let noise = |plane: &PlaneConditions| PlaneNoise {
            left: LeftPattern { per_second: left(plane), offset: Electrons(0.0), ..plane.noise.left },
            calibration: Calibration { darks, biases, ..plane.noise.calibration },
            ..plane.noise
        };
        filter.search_with(noise).best_at(filter.sub).map(|chosen| chosen.cost)
    };
    let none = way(&|_| ElectronsPerSecond(0.0), u32::MAX, u32::MAX);
    let with_darks = way(&|plane| plane.dark.rate_per_kelvin * (mismatch * plane.dark.nonuniformity), darks, biases);
    let with_map = way(&|plane| plane.dark.rate.value * plane.dark.nonuniformity, 0, biases);
    let ratio = |cost: Option<f64>| cost.zip(none).map(|(cost, none)| cost / none);
    let (darks_time_ratio, map_time_ratio) = (ratio(with_darks), ratio(with_map));
    let better = match (darks_time_ratio, map_time_ratio) {
        (Some(darks), Some(map)) if darks < map * (1.0 - NO_DIFFERENCE) => BetterWay::Darks,
        (Some(darks), Some(map)) if map < darks * (1.0 - NO_DIFFERENCE) => BetterWay::BadPixelMap,
        (Some(_), None) => BetterWay::Darks,
        (None, Some(_)) => BetterWay::BadPixelMap,
        _ => BetterWay::Alike,
    };
    let masters = [f64::from(darks), f64::from(biases)];
    let below = price.least(|plane| break_even(plane, filter.sub, masters));
    DarksOrMap { dark_mismatch_c: mismatch, darks_time_ratio, map_time_ratio, better, darks_win_below_c: below }
}

fn at_least_default(given: u32, default: u32) -> u32 {
    if given == 0 { default } else { given }
}

/// The mismatch at which darks leave as much as no darks.
///
/// ```text
/// (D' δ s t)² + (D t + R²)/N_dark = (D s t)² + R²/N_bias
/// ```
///
/// # Source
/// Derived here; the terms are those of [`PlaneNoise::sub`].
fn break_even(plane: &PlanePrice<'_>, sub: Seconds, [darks, biases]: [f64; 2]) -> Option<f64> {
    let dark = &plane.plane.dark;
    let per_kelvin = (dark.rate_per_kelvin * sub).0 * dark.nonuniformity;
    let without = (plane.dark * dark.nonuniformity).powi(2) + plane.read / biases;
    let left = without - plane.one_dark() / darks;
    (per_kelvin > 0.0).then(|| left.max(0.0).sqrt() / per_kelvin)
}

/// Which darks serve: those whose pattern differs from the lights' by no more than what adds `share`.
///
/// ```text
/// |D(T_d) − D(T)| s t ≤ √(share V/w),   D s |t_d − t| ≤ the same
/// ```
///
/// # Source
/// Derived here; `D(T)` is [`DarkRates::rate`].
pub(super) fn library(mode: &Mode, filter: &FilterSolution<'_>, price: &Price<'_>, share: f64) -> DarkLibrary {
    let lights = price.planes.first().map_or(Celsius(0.0), |plane| plane.plane.sensor);
    let mut found =
        DarkLibrary { lights_c: lights, coldest_c: None, warmest_c: None, shortest_s: None, longest_s: None };
    let sub = filter.sub;
    for priced in &price.planes {
        let Some(plane) = mode.planes.iter().find(|plane| plane.plane == priced.plane.plane) else { continue };
        let dark = &priced.plane.dark;
        if dark.rate.value.0 <= 0.0 || dark.nonuniformity <= 0.0 {
            continue;
        }
        let rate = priced.allowed(share) / (dark.nonuniformity * sub.0);
        let rates = DarkRates::new(plane);
        let off = |kelvins: f64| rates.rate(Celsius(lights.0 + kelvins)).0 - dark.rate.value.0;
        let reach =
            |sign: f64| farthest(&|kelvins| (off(sign * kelvins)).abs() <= rate).map(|far| lights.0 + sign * far);
        let (colder, warmer) = (reach(-1.0), reach(1.0));
        found.coldest_c = tighter(found.coldest_c.map(|c| c.0), colder, f64::max).map(Celsius);
        found.warmest_c = tighter(found.warmest_c.map(|c| c.0), warmer, f64::min).map(Celsius);
        let apart = priced.allowed(share) / (dark.nonuniformity * dark.rate.value.0);
        let shorter = (apart < sub.0).then_some(sub.0 - apart);
        found.shortest_s = tighter(found.shortest_s.map(|s| s.0), shorter, f64::max).map(Seconds);
        found.longest_s = tighter(found.longest_s.map(|s| s.0), Some(sub.0 + apart), f64::min).map(Seconds);
    }
    found
}

fn tighter(known: Option<f64>, new: Option<f64>, of: fn(f64, f64) -> f64) -> Option<f64> {
    match (known, new) {
        (Some(known), Some(new)) => Some(of(known, new)),
        (known, new) => known.or(new),
    }
}

/// The end of the stretch from 0 on in which it holds; `None` where it holds all the way.
fn farthest(holds: &impl Fn(f64) -> bool) -> Option<f64> {
    if holds(FAR_K) {
        return None;
    }
    Some(bisect([0.0, FAR_K], HALVINGS, holds)[0])
}
