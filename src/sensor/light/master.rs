//! What is taken off a light: the mean of darks, or what the camera's profile says of one.

use ndarray::Array2;

use crate::camera::{DarkFrom, PlaneName};
use crate::frames::Frame;
use crate::units::Dn;

use crate::sensor::MeasureError;

/// A dark of many frames, pushed one at a time, or of a level for each plane.
#[derive(Debug, Clone, PartialEq)]
pub struct DarkMaster {
    pub(super) mean: Array2<f32>,
    from: DarkFrom,
}

impl DarkMaster {
    /// A master of no frames yet.
    #[must_use]
    pub fn new(width: usize, height: usize) -> Self {
        Self { mean: Array2::zeros((height, width)), from: DarkFrom::Frames(0) }
    }

    /// Takes one more dark into the mean.
    ///
    /// # Errors
    /// When it has another size than the frames before.
    pub fn add(&mut self, dark: &Frame) -> Result<(), MeasureError> {
        if dark.pixels.dim() != self.mean.dim() {
            let size = |(rows, columns): (usize, usize)| format!("{columns} x {rows}");
            return Err(MeasureError::SizeDiffers {
                file: dark.info.file.clone(),
                found: size(dark.pixels.dim()),
                expected: size(self.mean.dim()),
            });
        }
        let frames = self.frames() + 1;
        let share = 1.0 / frames as f32;
        self.mean.zip_mut_with(&dark.pixels, |mean, &count| *mean += (f32::from(count) - *mean) * share);
        self.from = DarkFrom::Frames(frames);
        Ok(())
    }

    /// A dark without noise and pattern: each plane at its level.
    #[must_use]
    pub fn of_levels(width: usize, height: usize, levels: &[(PlaneName, Dn)]) -> Self {
        let level = |row: usize, column: usize| {
            let here =
                |(plane, _): &&(PlaneName, Dn)| plane.cell().is_none_or(|(r, c)| (row % 2, column % 2) == (r, c));
            levels.iter().find(here).map_or(0.0, |(_, level)| level.0 as f32)
        };
        let mean = Array2::from_shape_fn((height, width), |(row, column)| level(row, column));
        Self { mean, from: DarkFrom::Profile }
    }

    /// Where it comes from.
    #[must_use]
    pub fn from(&self) -> DarkFrom {
        self.from
    }

    /// Darks in the mean; 0 for one of levels.
    #[must_use]
    pub fn frames(&self) -> usize {
        match self.from {
            DarkFrom::Frames(frames) => frames,
            DarkFrom::Profile => 0,
        }
    }
}
