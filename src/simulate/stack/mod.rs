//! Whole stacks of a small made-up field, pixel by pixel: the proof of what a plan promises.
//!
//! Nothing here knows how noise adds up. Electrons are drawn and counted, masters are averaged from frames of their own,
//! lights are calibrated with them, laid over each other by whole pixels, clipped and averaged; then the signal and the
//! noise are looked for in the picture, as a photographer would.

mod exposed;
mod found;
mod reject;
mod schedule;
mod sensor;
mod truth;

pub use found::{FoundSnr, snr_found};
pub use reject::clipped_mean;
pub use schedule::{Shift, shifts};
pub use truth::StackTruth;

use ndarray::Array2;

use exposed::CalibratedLights;

/// The mean of the kept subs of one night, in electrons of one sub.
#[derive(Debug, Clone, PartialEq)]
pub struct StackedField {
    /// The mean of each pixel; 0 where no sub has a value.
    pub mean: Array2<f64>,
    /// Values behind it, the rejected ones apart.
    pub samples: Array2<u32>,
    /// Columns before this one show the sky alone, the others the target too.
    pub target_from: usize,
}

/// The stack of one whole night: sensor, masters, dithers and lights all drawn again from the seed and `night`.
///
/// Every sub is moved by whole pixels, every value rejected that lies further than `clip_sigma` from the mean of its
/// pixel's values until none does, and the rest is averaged.
///
/// # Errors
/// When the truth holds a number that no night has.
///
/// # Examples
/// ```
/// use subwell::simulate::{StackTruth, stacked_field};
///
/// let truth = StackTruth { side_px: 32, kept: 15, ..StackTruth::default() };
/// let field = stacked_field(&truth, 0)?;
/// assert_eq!(field.mean.dim(), (32, 32));
/// # Ok::<(), subwell::simulate::SimulateError>(())
/// ```
pub fn stacked_field(truth: &StackTruth, night: u64) -> Result<StackedField, super::SimulateError> {
    truth.check()?;
    let lights = CalibratedLights::new(truth, night);
    let side = truth.side_px;
    let (mut mean, mut samples) = (Array2::zeros((side, side)), Array2::zeros((side, side)));
    let mut values = Vec::with_capacity(truth.kept);
    for row in 0..side {
        let mut chance = truth.chance(night, sensor::Purpose::Lights(row));
        for column in 0..side {
            lights.of_pixel(row, column, &mut chance, &mut values);
            mean[(row, column)] = match truth.clip_sigma {
                Some(sigmas) => clipped_mean(&mut values, sigmas),
                None => values.iter().sum::<f64>() / values.len().max(1) as f64,
            };
            samples[(row, column)] = values.len() as u32;
        }
    }
    Ok(StackedField { mean, samples, target_from: truth.target_from() })
}
