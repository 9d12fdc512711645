//! Darks of a sensor whose temperature moves while they are taken, and whose headers say so.

use crate::stats::{Estimate, Opinion, mixture};

use super::current::DarkFrame;
use super::levels::Level;

/// What is thought beforehand of the relative change per kelvin: between depletion (0.09 at 10 °C) and diffusion (0.18), see
/// `noise/thermal.rs`.
const PER_KELVIN: (f64, f64) = (0.12, 0.035);
/// Places about it, in its standard uncertainty.
const PLACES: [f64; 9] = [-2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0];
/// Readings nearer than this to the temperature of the rate, in kelvins, are at it.
const AT_IT: f64 = 0.15;

/// Standard uncertainty, as a share of the rate, of readings taken at an unknown moment of each exposure while the temperature moves.
///
/// ```text
/// u = κ ⟨t dT/dt⟩ / (2 √3),    κ = 0.12/K
/// ```
///
/// A header may give the temperature at the beginning or at the end of the exposure: half an exposure off the middle at most,
/// a rectangle. Readings that only scatter take each other off. Derived here.
pub(super) fn of_unknown_moment(frames: &[DarkFrame]) -> f64 {
    let mut told: Vec<(f64, f64, f64)> =
        frames.iter().filter_map(|frame| Some((frame.taken?, frame.temperature?.0, frame.exposure.0))).collect();
    told.sort_by(|a, b| a.0.total_cmp(&b.0));
    let of_pair = |pair: &[(f64, f64, f64)]| {
        let seconds = pair[1].0 - pair[0].0;
        // A frame lasts as long as itself, whatever the clock says.
        let speed = (pair[1].1 - pair[0].1) / seconds.max(pair[0].2).max(1e-9);
        pair[0].2 * (speed * pair[0].2 / 2.0)
    };
    let exposed: f64 = told.iter().map(|frame| frame.2).sum();
    let moved: f64 = told.windows(2).map(of_pair).sum();
    if exposed > 0.0 { PER_KELVIN.0 * (moved / exposed).abs() / 3.0_f64.sqrt() } else { 0.0 }
}

/// The same put into a slope.
pub(super) fn moved(slope: Estimate<f64>, frames: &[DarkFrame]) -> Estimate<f64> {
    let sigma = of_unknown_moment(frames) * slope.value.abs();
    let (low, high) = slope.interval();
    let end = |end: f64, sign: f64| slope.value + sign * (end - slope.value).hypot(1.96 * sigma);
    Estimate {
        interval_95: Some((end(low, -1.0), end(high, 1.0))),
        ..Estimate::new(slope.value, slope.uncertainty.hypot(sigma))
    }
}

/// The rate at `at` in DN/s from darks of one exposure, each at its own told temperature; `None` where all are at it.
///
/// ```text
/// D = ⟨(y − b) / (t exp(κ (T − at)))⟩,    κ ~ N(0.12, 0.035)/K
/// ```
///
/// Rates for each `κ` are weighed by how little they scatter. `offset` in DN; `unseen` is the scatter in DN of a level where a single
/// frame shows none.
pub(super) fn at_one_exposure(frames: &[Level], at: f64, offset: f64, unseen: f64) -> Option<Estimate<f64>> {
    let kelvins: Vec<f64> = frames.iter().map(|frame| frame.temperature.map_or(0.0, |celsius| celsius - at)).collect();
    if kelvins.iter().all(|kelvins| kelvins.abs() < AT_IT) {
        return None;
    }
    let freedom = (frames.len() as f64 - 1.0).max(1.0);
    let seconds = frames.iter().map(|frame| frame.time).sum::<f64>() / frames.len() as f64;
    let opinion = |place: f64| {
        let per_kelvin = (PER_KELVIN.0 + place * PER_KELVIN.1).max(0.0);
        let rate =
            |(frame, kelvins): (&Level, &f64)| (frame.level - offset) / (frame.time * (per_kelvin * kelvins).exp());
        let rates: Vec<f64> = frames.iter().zip(&kelvins).map(rate).collect();
        let mean = rates.iter().sum::<f64>() / rates.len() as f64;
        let squares = rates.iter().map(|rate| (rate - mean).powi(2)).sum::<f64>();
        let least = (unseen / seconds).powi(2);
        let scatter = if frames.len() > 1 { squares / freedom + 0.05 * least } else { least };
        let weight =
            (-0.5 * place * place).exp() * scatter.max(f64::MIN_POSITIVE).powf(-0.5 * (frames.len() as f64 - 1.0));
        Opinion { weight, value: mean, scale: (scatter / frames.len() as f64).sqrt() }
    };
    let opinions = PLACES.map(opinion);
    let most = opinions.iter().map(|opinion| opinion.weight).fold(0.0, f64::max);
    mixture(
        &opinions.map(|opinion| Opinion { weight: opinion.weight / most.max(f64::MIN_POSITIVE), ..opinion }),
        freedom,
    )
}
