//! How the noise of a plane falls when its pixels are averaged.

use serde::{Deserialize, Serialize};

use super::PlaneName;

/// Which of a plane's noises.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum NoisePart {
    /// What differs from frame to frame without light: read noise.
    Random,
    /// What is the same in every frame of the longest darks: the pattern.
    Fixed,
}

/// Over which pixels a mean is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum AveragedOver {
    /// A square of this side.
    Square,
    /// So many neighbours along a row.
    Row,
    /// So many neighbours along a column.
    Column,
}

/// The variance of means over more and more pixels: the noise of one pixel over their number where pixels are independent,
/// more where neighbours share it.
///
/// Measured by [`crate::measure::measure_camera`] over the middle of the plane; scales with too few means in the frame are
/// left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct NoiseByScale {
    /// The plane.
    pub plane: PlaneName,
    /// Which noise.
    pub part: NoisePart,
    /// Over which pixels.
    pub over: AveragedOver,
    /// Pixels of the plane along the side or the line: 1, 2, 4 … 64.
    pub pixels: Vec<u32>,
    /// The variance of their means.
    pub variance_e2: Vec<f64>,
    /// Its standard uncertainty.
    pub uncertainty_e2: Vec<f64>,
}
