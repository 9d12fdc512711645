//! The darks of one temperature as a picture: for the report, and never in a profile.

use crate::units::{Celsius, ElectronsPerSecond, Seconds};

/// The mean image of the longest darks, less the level without time, put into a few hundred numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct DarkPicture {
    /// The sensor's temperature.
    pub sensor_c: Option<Celsius>,
    /// Length of the darks.
    pub exposure_s: Seconds,
    /// How many there are.
    pub frames: usize,
    /// Columns and rows of the plane.
    pub size_px: [usize; 2],
    /// The median pixel.
    pub median_e_per_s: ElectronsPerSecond,
    /// Pixels by their rate; empty where the median pixel has none.
    pub bins: Vec<DarkBin>,
    /// Pixels below the first of them.
    pub pixels_below: u64,
    /// The middle of each part of the plane, row by row from the top; hot pixels do not count.
    pub parts_e_per_s: Vec<Vec<f64>>,
    /// The same of whole columns, a few together, from the left.
    pub columns_e_per_s: Vec<f64>,
    /// The same of whole rows, from the top.
    pub rows_e_per_s: Vec<f64>,
}

/// Pixels whose rates lie between two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DarkBin {
    /// The lower one, in e⁻/s.
    pub from_e_per_s: f64,
    /// The upper one.
    pub to_e_per_s: f64,
    /// How many.
    pub pixels: u64,
}

impl DarkPicture {
    /// Pixels of the plane.
    #[must_use]
    pub fn pixels(&self) -> u64 {
        self.pixels_below + self.bins.iter().map(|bin| bin.pixels).sum::<u64>()
    }
}
