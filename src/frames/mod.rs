//! What was true when the pixels were taken: a frame, its kind, and the groups it falls into.
//!
//! ```text
//! cards ──► header ──┐
//!   folder and name ─┼─► kind ──► inventory ──► groups, for measuring
//!  pixels ─► strip_statistics ─┘            (and what was left out, and what is missing)
//! ```

pub mod cards;
pub mod group;
pub mod header;
mod inventory;
pub mod kind;
mod moment;
pub mod names;
mod processed;
pub mod self_heating;
pub mod shutter;
pub mod sidecar;
pub mod stated;
mod strip_statistics;
pub mod warm_up;

pub use cards::{Card, Cards};
pub use group::{Group, ModeKey, natural_order, same_exposure};
pub use header::Header;
pub use inventory::{Inventory, Seen};
pub use moment::seconds_of;
pub use sidecar::{Override, SidecarError};
pub use strip_statistics::StripStatistics;

use std::fmt;

use ndarray::Array2;
use serde::{Deserialize, Serialize};

pub use crate::units::CfaPattern;
use crate::units::{Celsius, Micrometres, Seconds};

/// What a frame was taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum FrameKind {
    /// No light, shortest time.
    Bias,
    /// No light, some time.
    Dark,
    /// Even light.
    Flat,
    /// No light, the time of a flat.
    DarkFlat,
    /// The sky.
    Light,
}

impl FrameKind {
    /// Whether it is taken with the cap on.
    #[must_use]
    pub fn is_unlit(self) -> bool {
        matches!(self, Self::Bias | Self::Dark | Self::DarkFlat)
    }
}

impl fmt::Display for FrameKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Bias => "bias",
            Self::Dark => "dark",
            Self::Flat => "flat",
            Self::DarkFlat => "dark-flat",
            Self::Light => "light",
        })
    }
}

/// What is known of one frame besides its pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameInfo {
    /// The file's name as it is shown, relative to the folder asked about.
    pub file: String,
    /// What it was taken for.
    pub kind: FrameKind,
    /// Why it was judged so: `header`, `folder`, `name` or `pixels`, in words.
    pub why: String,
    /// The camera's name, if the header gives one.
    pub camera: Option<String>,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// The driver's gain or the ISO number: a label, never electrons per DN.
    pub gain_setting: Option<f64>,
    /// The driver's offset: a label, never DN.
    pub offset_setting: Option<f64>,
    /// The camera's readout mode, if named.
    pub readout_mode: Option<String>,
    /// Horizontal and vertical binning.
    pub binning: [u32; 2],
    /// The side of a (binned) pixel.
    pub pixel: Option<Micrometres>,
    /// How long the shutter was open.
    pub exposure: Seconds,
    /// The sensor's temperature when it was read.
    pub sensor: Option<Celsius>,
    /// The cooler's set point.
    pub set_point: Option<Celsius>,
    /// The colour pattern in stored order; `None` for a monochrome or unknown array.
    pub cfa: Option<CfaPattern>,
    /// When it was taken: ISO 8601 as the header gives it, used only to order frames.
    pub taken: Option<String>,
    /// The filter in the light path, if named.
    pub filter: Option<String>,
}

/// One frame: stored counts as they came from the camera, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// What is known of it.
    pub info: FrameInfo,
    /// Stored DN, shape (rows, columns).
    pub pixels: Array2<u16>,
}
