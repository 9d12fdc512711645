//! What would a sensor have written whose truth we know?
//!
//! Frames of a made-up sensor, to prove what measures and what plans: this module shares
//! no function with either. Light and dark current make electrons, a well holds them,
//! a converter counts them; see [`SimulatedSensor`] for the whole path.
//!
//! Nothing here is left to chance: everything follows from the seed, each frame on its own,
//! so that a frame is the same whichever others are made before it.

mod clock;
mod error;
mod exposure;
mod frame_group;
mod oddity;
mod pattern;
mod scene;
mod stack;
mod truth;

pub use error::SimulateError;
pub use exposure::{SimulatedSensor, frames, one_frame};
pub use frame_group::{Course, FrameGroup};
pub use oddity::{Oddity, RawFilter};
pub use pattern::{HOT_PIXEL_FACTORS, Pattern};
pub use stack::{FoundSnr, Shift, StackTruth, StackedField, clipped_mean, shifts, snr_found, stacked_field};
pub use truth::{LightColour, SensorTruth};
