//! How many calibration frames, how bright the flats, darks or a map of bad pixels, and how far a dark library serves.

mod counts;
mod darks;
mod flats;
mod price;

use serde::Serialize;

use crate::camera::Mode;
use crate::units::Seconds;

use crate::night::Night;
use crate::plan::filter_solution::FilterSolution;

pub use counts::{FrameCount, least_for_rejection};
pub use darks::{BetterWay, DarkLibrary, DarksOrMap};
pub use flats::{FlatExposure, FlatLevel, FlatPlane};

/// `calibration` of `plan --json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CalibrationAdvice {
    /// What all masters together may add to the variance of the stack, which is what they add to the hours:
    /// a third of it each.
    pub share_percent: f64,
    /// One entry for each filter.
    pub filters: Vec<FilterCalibration>,
}

/// The calibration frames of one filter's lights.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilterCalibration {
    /// The filter.
    pub name: String,
    /// The length of the lights, and so of the darks.
    pub sub_s: Seconds,
    /// Darks as long and as warm as the lights.
    pub darks: FrameCount,
    /// Flats through the filter.
    pub flats: FrameCount,
    /// Biases or dark flats: what is taken off the flats, and off the lights where there are no darks.
    pub biases: FrameCount,
    /// Flats up to this long are served by biases; longer ones want dark flats. `null` without dark current.
    pub biases_serve_flats_up_to_s: Option<Seconds>,
    /// How bright the flats.
    pub flat_level: FlatLevel,
    /// Darks against a map of bad pixels and dithering.
    pub darks_or_map: DarksOrMap,
    /// Other darks that would do.
    pub dark_library: DarkLibrary,
}

/// The advice for every filter of a plan.
pub(super) fn calibration_advice(night: &Night, mode: &Mode, filters: &[FilterSolution<'_>]) -> CalibrationAdvice {
    let share = night.calibration.share();
    let advice_for = |filter: &FilterSolution<'_>| {
        let price = price::Price::new(filter);
        let least = least_for_rejection(night.stack.clip_sigma());
        FilterCalibration {
            name: filter.conditions.name.clone(),
            sub_s: filter.sub,
            darks: counts::darks(night, &price, share, least),
            flats: counts::flats(night, &price, share, least),
            biases: counts::biases(night, &price, share, least),
            biases_serve_flats_up_to_s: flats::served_by_biases(&price, share),
            flat_level: flats::level(mode, filter),
            darks_or_map: darks::darks_or_map(night, filter, &price),
            dark_library: darks::library(mode, filter, &price, share),
        }
    };
    CalibrationAdvice { share_percent: share * 100.0, filters: filters.iter().map(advice_for).collect() }
}
