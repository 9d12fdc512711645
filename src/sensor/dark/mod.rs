//! Frames without light: read noise, dark current and its temperature, and what the dark alone says of the gain.

pub(crate) mod anchor;
pub(crate) mod averaged;
pub(crate) mod bent;
pub(crate) mod clipped;
mod compared;
mod course;
pub(crate) mod current;
pub(crate) mod drift;
pub(crate) mod gain;
pub(crate) mod image;
pub(crate) mod levels;
pub(crate) mod limits;
mod median;
mod moment;
pub(crate) mod other_gain;
pub(crate) mod picture;
pub(crate) mod read_noise;
mod saturated;
pub(crate) mod subtracted;
pub(crate) mod taken;
pub(crate) mod thermal_law;
mod told;
mod warmth;
