//! Assumptions of reading that do not hold: levels and gains of rows, columns, halves and moments.

use std::f64::consts::TAU;

use super::chance::Chance;
use super::fault::{Fault, Taking};
use super::field::Field;
use super::shot::Shot;

impl Fault {
    /// Changes the signal in electrons by gains that are not the body's.
    pub(super) fn shape_signal(self, signal: &mut Field, shot: &Shot) {
        match self {
            Self::Coupling { share } => signal.shared_with_neighbours(share),
            Self::HalfDrift { per_hour } => {
                let grown = 1.0 + per_hour * shot.at_s / 3600.0;
                let half = signal.width / 2;
                signal.each(|column, _, value| *value *= if column < half { 1.0 } else { grown });
            }
            Self::TwoConverters { apart } => {
                signal.each(|column, _, value| *value *= 1.0 + apart * (column % 2) as f64 - apart / 2.0);
            }
            _ => {}
        }
    }

    /// Adds to the levels, in steps of the converter.
    pub(super) fn add_level(self, level: &mut Field, taking: &Taking<'_>, chance: &mut Chance) {
        match self {
            Self::Rows { steps } => {
                let rows: Vec<f64> = (0..level.height).map(|_| steps * chance.normal()).collect();
                level.each(|_, row, value| *value += rows[row]);
            }
            Self::RollingBands { steps, rows } => {
                let phase = chance.between(0.0, TAU);
                level.each(|_, row, value| *value += steps * (TAU * row as f64 / rows + phase).sin());
            }
            Self::Blotches { steps, pixels } => blotches(level, steps, pixels, chance),
            Self::Columns { steps, jumping, jump } => {
                let mut which = taking.fixed.clone();
                let of_column = |_| {
                    let jumps = which.happens(jumping) && chance.happens(0.5);
                    steps * chance.normal() + if jumps { jump } else { 0.0 }
                };
                let columns: Vec<f64> = (0..level.width).map(of_column).collect();
                level.each(|column, _, value| *value += columns[column]);
            }
            Self::Stripes { steps, pixels } => {
                let phase = chance.between(0.0, TAU);
                level.each(|column, row, value| {
                    *value += steps * (TAU * (column as f64 + 0.37 * row as f64) / pixels + phase).sin();
                });
            }
            Self::Settling { steps, over_s } => {
                let more = steps * (-taking.shot.at_s / over_s).exp();
                level.each(|_, _, value| *value += more);
            }
            _ => {}
        }
    }
}

/// Adds a field of chance that is smooth over so many pixels: normal numbers on a grid, joined by cosines; of this standard
/// deviation in the mean over the field.
fn blotches(level: &mut Field, steps: f64, pixels: f64, chance: &mut Chance) {
    let across = (level.width as f64 / pixels) as usize + 2;
    let down = (level.height as f64 / pixels) as usize + 2;
    let knots: Vec<f64> = (0..across * down).map(|_| chance.normal()).collect();
    let place = |at: usize| {
        let (whole, part) = ((at as f64 / pixels).floor(), (at as f64 / pixels).fract());
        (whole as usize, (1.0 - (TAU / 2.0 * part).cos()) / 2.0)
    };
    // The mean square of the weights between two knots is 3/4 along each side.
    let size = steps / 0.75;
    level.each(|column, row, value| {
        let ((j, x), (i, y)) = (place(column), place(row));
        let knot = |i: usize, j: usize| knots[i * across + j];
        let upper = (1.0 - x) * knot(i, j) + x * knot(i, j + 1);
        let lower = (1.0 - x) * knot(i + 1, j) + x * knot(i + 1, j + 1);
        *value += size * ((1.0 - y) * upper + y * lower);
    });
}
