//! Masters and lights: frames are drawn, averaged, and subtracted and divided as a photographer does.

use ndarray::Array2;
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::simulate::pattern::normal;

use super::schedule::{Shift, shifts};
use super::sensor::{FixedPattern, Purpose, hits, reading};
use super::truth::StackTruth;

/// What calibration takes off and divides by.
struct Masters {
    /// The mean dark, or bias where there are no darks; 0 without either.
    dark: Array2<f64>,
    /// The mean flat over its own mean; 1 without flats.
    flat: Array2<f64>,
}

impl Masters {
    fn from_truth(truth: &StackTruth, night: u64, fixed: &FixedPattern) -> Self {
        let chance = &mut truth.chance(night, Purpose::Masters);
        let bias = averaged(truth.biases, fixed, |_, level| reading(truth, 0.0, level, chance));
        let too_warm = truth.sub_s.0 * (1.0 + truth.dark_mismatch);
        let dark = match truth.darks {
            0 => bias.clone(),
            darks => averaged(darks, fixed, |at, level| reading(truth, fixed.dark[at] * too_warm, level, chance)),
        };
        let mut flat = Array2::ones(fixed.dark.dim());
        if truth.flats > 0 {
            let light = |at| truth.flat_e.0 * fixed.response[at];
            flat = averaged(truth.flats, fixed, |at, level| reading(truth, light(at), level, chance)) - bias;
            let mean = flat.mean().unwrap_or(1.0);
            flat.mapv_inplace(|value| value / mean);
        }
        Self { dark, flat }
    }
}

/// The mean of `count` frames, pixel by pixel; 0 of none.
fn averaged(count: usize, fixed: &FixedPattern, mut one: impl FnMut((usize, usize), f64) -> f64) -> Array2<f64> {
    Array2::from_shape_fn(fixed.level.dim(), |at| {
        (0..count).map(|_| one(at, fixed.level[at])).sum::<f64>() / count.max(1) as f64
    })
}

/// The lights of one night, calibrated.
pub(super) struct CalibratedLights<'a> {
    truth: &'a StackTruth,
    shifts: Vec<Shift>,
    fixed: FixedPattern,
    masters: Masters,
    /// What each row of the sensor adds in each sub.
    rows: Array2<f64>,
}

impl<'a> CalibratedLights<'a> {
    pub(super) fn new(truth: &'a StackTruth, night: u64) -> Self {
        let fixed = FixedPattern::from_truth(truth, night);
        let mut masters = Masters::from_truth(truth, night, &fixed);
        let shifts = shifts(truth, night);
        let chance = &mut truth.chance(night, Purpose::Rows);
        let mut of_rows = |frames: usize, share: f64| {
            let size = (frames, if truth.row_noise_e.0 > 0.0 { fixed.level.nrows() } else { 0 });
            Array2::from_shape_simple_fn(size, || share * truth.row_noise_e.0 * normal(chance))
        };
        let rows = of_rows(shifts.len(), 1.0);
        // The mean of so many frames: that of the darks, or of the biases where there are none.
        let averaged = if truth.darks > 0 { truth.darks } else { truth.biases };
        if averaged > 0 {
            let of_master = of_rows(1, 1.0 / (averaged as f64).sqrt());
            of_master.iter().zip(masters.dark.rows_mut()).for_each(|(own, mut row)| row += *own);
        }
        Self { truth, shifts, fixed, masters, rows }
    }

    /// The values that the subs have for one pixel of the field, each from where the field lay on the sensor.
    pub(super) fn of_pixel(&self, row: usize, column: usize, chance: &mut Xoshiro256PlusPlus, values: &mut Vec<f64>) {
        let truth = self.truth;
        let shows_target = column >= truth.target_from();
        let light = truth.sky_e_per_s.0 + if shows_target { truth.target_e_per_s.0 } else { 0.0 };
        values.clear();
        for (sub, [down, right]) in self.shifts.iter().enumerate() {
            let at = (row + down, column + right);
            if ![at.0, at.1].iter().all(|place| place.is_multiple_of(truth.colour_pitch)) {
                continue;
            }
            let expected = (light * self.fixed.response[at] + self.fixed.dark[at]) * truth.sub_s.0;
            let of_row = self.rows.get([sub, at.0]).copied().unwrap_or(0.0);
            let read = reading(truth, expected, self.fixed.level[at] + of_row, chance) + hits(truth, chance);
            values.push((read - self.masters.dark[at]) / self.masters.flat[at]);
        }
    }
}
