//! What a light frame says of its sky: measured in `sensor`, compared and used by `sky` and `plan`.

use super::plane_name::PlaneName;
use serde::{Deserialize, Serialize};

use crate::caveat::Caveat;
use crate::stats::Estimate;
use crate::units::{Colour, Dn, ElectronsPerSecond, Seconds};

/// The sky in a light frame, plane by plane.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Background {
    /// How long the light was exposed.
    pub exposure_s: Seconds,
    /// The filter that its header names.
    pub filter: Option<String>,
    /// One for each plane of the sensor.
    pub planes: Vec<PlaneBackground>,
    /// Doubts.
    pub caveats: Vec<Caveat>,
}

/// The sky in one plane of a light frame, in the middle of the field.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct PlaneBackground {
    /// `mono`, or the place in the stored 2 × 2 cell.
    pub plane: PlaneName,
    /// `R`, `G` or `B` where the pattern is known.
    pub colour: Option<Colour>,
    /// Light less dark.
    pub level_dn: Estimate<Dn>,
    /// The same as a rate.
    pub e_per_s: Estimate<ElectronsPerSecond>,
    /// How much the sky changes across the field, of its level.
    pub gradient_percent: f64,
    /// How much darker the corners are than the middle, of the level.
    pub falloff_percent: f64,
    /// Share of the field that is brighter than its sky: nebula, galaxy, crowded stars.
    pub not_background_percent: f64,
}

/// The light of one star in one plane of a light frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct StarFlux {
    /// `mono`, or the place in the stored 2 × 2 cell.
    pub plane: PlaneName,
    /// Column of its middle in the stored frame, the first being 1.
    pub x_px: f64,
    /// Row of its middle.
    pub y_px: f64,
    /// Full width at half maximum, in pixels of the frame.
    pub fwhm_px: f64,
    /// Radius of the aperture in widths of the star.
    pub aperture_fwhm: f64,
    /// The share of the frame's pixels that the plane has: mono 1, a place of the cell ¼.
    pub pixel_share: f64,
    /// Rate in the aperture, of the plane's pixels alone.
    pub e_per_s: Estimate<ElectronsPerSecond>,
}

impl Background {
    /// The plane whose rate is known best.
    #[must_use]
    pub fn best_plane(&self) -> Option<&PlaneBackground> {
        self.planes.iter().min_by(|a, b| a.e_per_s.relative().total_cmp(&b.e_per_s.relative()))
    }
}
