//! What a camera is, in numbers: the narrow waist between measuring and planning.
//!
//! A measured camera and one typed from a data sheet are the same type, so that
//! "is a cooled one worth buying?" compares like with like.

mod background;
mod error;
mod profile;

pub use background::{Background, PlaneBackground, StarFlux};
pub use error::ProfileError;
pub use profile::{
    CameraProfile, DarkCurrentPoint, DarkCurrentSource, FORMAT, Fit, FrameCounts, Mode, Plane, Provenance,
    ReadNoisePoint, SaturationCause, SaturationIs, Thermal, TransferPoint, VERSION,
};
