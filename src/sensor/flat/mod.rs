//! Frames of even light: how noise grows with it, where the sensor stops, where the light begins.

pub(crate) mod averaged;
pub(crate) mod pedestal;
pub(crate) mod saturation;
pub(crate) mod transfer;
