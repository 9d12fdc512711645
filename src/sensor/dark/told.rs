//! Darks of a sensor whose temperature moves while they are taken, and whose headers say so.

use crate::stats::{Estimate, Opinion, mixture};

use super::levels::Level;
use super::limits::loosened;
use super::warmth::PER_KELVIN;

/// Places about it, in its standard uncertainty.
const PLACES: [f64; 9] = [-2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0];
/// Readings nearer than this to the temperature of the rate, in kelvins, are at it.
const AT_IT: f64 = 0.15;

/// A slope whose frames' temperatures are off by this share of it, as [`at_middle`](super::moment::at_middle) says.
pub(super) fn moved(slope: Estimate<f64>, share: f64) -> Estimate<f64> {
    loosened(slope, share * slope.value.abs())
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
        let per_kelvin = (PER_KELVIN.mean + place * PER_KELVIN.sigma).max(0.0);
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
