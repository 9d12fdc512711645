//! How full of sky a light is.

use crate::camera::{Mode, PlaneBackground};

/// A frame filled to this share of the well is no measurement of a sky, whatever it is called: it does not answer
/// straight any more.
pub(super) const FULL_SHARE: f64 = 0.9;

/// The sky's share of the well, in the plane where it is largest.
pub(super) fn fullest_share<'a>(mode: &Mode, planes: impl Iterator<Item = &'a PlaneBackground>) -> f64 {
    let share = |plane: &PlaneBackground| {
        let known = mode.plane(plane.plane)?;
        Some(plane.level_dn.value.0 * known.gain_e_per_dn.value.0 / known.saturation_e.value.0)
    };
    planes.filter_map(share).fold(0.0, f64::max)
}
