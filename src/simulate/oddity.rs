//! How a made-up sensor or its files misbehave: the table `[oddity]` of `sensor.toml`. Everything is off by itself.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use crate::keys::{check_all, key};
use crate::reading::OutOfRange;
use crate::units::{Dn, Quantity};

/// What is odd about a sensor, or about how its frames were stored; each key is off when left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Oddity {
    /// Share of a pixel's charge that each of its four neighbours sees. Noise of the reading is not shared.
    pub neighbour_coupling: f64,
    /// What the camera does to the counts of neighbours before it stores them.
    pub raw_filter: RawFilter,
    /// Factor by which the converter's codes are multiplied and rounded again.
    pub digital_gain: f64,
    /// Distance of the stored codes in sigmas of the shot noise, at least one code: a lossy tone curve.
    pub lossy_sigmas: f64,
    /// Level that flats have without light, where something was taken off them.
    pub flat_pedestal_dn: Option<Dn>,
    /// By how much the level rises, evenly, from the first frame to the last, in stored DN.
    pub level_drift_dn: Dn,
    /// Readings whose mean, rounded, is stored as one dark.
    pub averaged_darks: usize,
}

/// A filter that a camera applies to raw counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum RawFilter {
    /// As the converter gave them.
    #[default]
    None,
    /// No pixel is higher than the highest of its eight neighbours of the same colour.
    Capped,
    /// The median of each pixel and its eight neighbours of the same colour.
    Median,
}

impl Default for Oddity {
    fn default() -> Self {
        Self {
            neighbour_coupling: key!(SENSOR, "oddity.neighbour_coupling").number(),
            raw_filter: RawFilter::None,
            digital_gain: key!(SENSOR, "oddity.digital_gain").number(),
            lossy_sigmas: key!(SENSOR, "oddity.lossy_sigmas").number(),
            flat_pedestal_dn: None,
            level_drift_dn: Dn(key!(SENSOR, "oddity.level_drift_dn").number()),
            averaged_darks: key!(SENSOR, "oddity.averaged_darks").number() as usize,
        }
    }
}

impl Oddity {
    pub(super) fn check(&self) -> Result<(), OutOfRange> {
        check_all([
            (key!(SENSOR, "oddity.neighbour_coupling"), Some(self.neighbour_coupling)),
            (key!(SENSOR, "oddity.digital_gain"), Some(self.digital_gain)),
            (key!(SENSOR, "oddity.lossy_sigmas"), Some(self.lossy_sigmas)),
            (key!(SENSOR, "oddity.flat_pedestal_dn"), self.flat_pedestal_dn.map(Quantity::get)),
            (key!(SENSOR, "oddity.level_drift_dn"), Some(self.level_drift_dn.0)),
            (key!(SENSOR, "oddity.averaged_darks"), Some(self.averaged_darks as f64)),
        ])
    }

    /// Charge as the pixels see it when each shares with its four neighbours; at the edge the share stays.
    ///
    /// ```text
    /// e' = e + α Σ (e_neighbour − e)
    /// ```
    pub(super) fn shared(&self, charge: &Array2<f64>) -> Array2<f64> {
        let (rows, columns) = charge.dim();
        Array2::from_shape_fn((rows, columns), |(row, column)| {
            let own = charge[(row, column)];
            let at =
                |r: Option<usize>, c: Option<usize>| r.zip(c).and_then(|at| charge.get(at)).map_or(0.0, |e| e - own);
            let (up, left) = (row.checked_sub(1), column.checked_sub(1));
            let around = at(up, Some(column)) + at(Some(row + 1), Some(column));
            let beside = at(Some(row), left) + at(Some(row), Some(column + 1));
            own + self.neighbour_coupling * (around + beside)
        })
    }

    /// The counts after the camera's filter; neighbours are `stride` pixels apart.
    pub(super) fn filtered(&self, counts: Array2<u16>, stride: usize) -> Array2<u16> {
        if self.raw_filter == RawFilter::None {
            return counts;
        }
        let (rows, columns) = counts.dim();
        Array2::from_shape_fn((rows, columns), |(row, column)| {
            let inside = row >= stride && column >= stride && row + stride < rows && column + stride < columns;
            let own = counts[(row, column)];
            if !inside {
                return own;
            }
            let mut around = [own; 9];
            let places = (0..9).map(|k| (row + k / 3 * stride - stride, column + k % 3 * stride - stride));
            around.iter_mut().zip(places).for_each(|(value, at)| *value = counts[at]);
            match self.raw_filter {
                RawFilter::Median => {
                    around.sort_unstable();
                    around[4]
                }
                _ => {
                    around[4] = 0;
                    own.min(around.into_iter().max().unwrap_or(own))
                }
            }
        })
    }

    /// For each converter code over the black level, the code that a lossy tone curve stores; empty when off.
    ///
    /// The curve's values are as far apart as `lossy_sigmas` of the shot noise, `√(gain·code)/gain` codes, and
    /// never closer than one code.
    pub(super) fn tone_curve(&self, gain: f64, highest: u16) -> Vec<u16> {
        if self.lossy_sigmas == 0.0 {
            return Vec::new();
        }
        let mut curve = Vec::with_capacity(usize::from(highest) + 1);
        let mut value = 0_u32;
        while curve.len() <= usize::from(highest) {
            let spacing = ((self.lossy_sigmas * (f64::from(value) / gain).sqrt()) as u32).max(1);
            let next = value + spacing;
            while curve.len() <= usize::from(highest) && (curve.len() as u32) < next {
                let code = curve.len() as u32;
                let nearest = if 2 * (code - value) < spacing { value } else { next };
                curve.push(u16::try_from(nearest).unwrap_or(highest).min(highest));
            }
            value = next;
        }
        curve
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sharing_keeps_the_charge() {
        let charge = Array2::from_shape_fn((5, 6), |(row, column)| (7 * row * column % 11) as f64);
        let odd = Oddity { neighbour_coupling: 0.02, ..Oddity::default() };
        approx::assert_relative_eq!(odd.shared(&charge).sum(), charge.sum(), max_relative = 1e-12);
    }

    #[test]
    fn a_capped_pixel_is_no_higher_than_its_neighbours() {
        let mut counts = Array2::from_elem((5, 5), 100_u16);
        counts[(2, 2)] = 900;
        let odd = Oddity { raw_filter: RawFilter::Capped, ..Oddity::default() };
        assert_eq!(odd.filtered(counts, 1)[(2, 2)], 100);
    }

    #[test]
    fn the_tone_curves_values_part_with_the_level() {
        let odd = Oddity { lossy_sigmas: 0.5, ..Oddity::default() };
        let curve = odd.tone_curve(1.0, 10_000);
        assert_eq!(curve.len(), 10_001);
        assert_eq!(curve[10], 10);
        let mut high: Vec<u16> = curve[8000..9000].to_vec();
        high.dedup();
        // Half a sigma of √8500 is 46.
        assert!((20..=24).contains(&high.len()), "{}", high.len());
    }
}
