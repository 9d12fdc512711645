//! What a camera is, in numbers: the narrow waist between measuring and planning.
//!
//! A measured camera and one typed from a data sheet are the same type, so that
//! "is a cooled one worth buying?" compares like with like.

mod against_warmth;
mod background;
mod change;
mod check;
mod dark_picture;
mod error;
mod frame_mode;
mod gain_law;
mod measured_light;
mod mode_names;
mod noise_by_scale;
mod plane_name;
mod profile;
mod profile_text;
mod sheet;

pub use against_warmth::against_warmth;
pub use background::{Background, PlaneBackground, StarFlux};
pub use change::{Change, Comparison, changes};
pub use dark_picture::{DarkBin, DarkPicture};
pub use error::ProfileError;
pub use frame_mode::FrameMode;
pub use gain_law::{GainLaw, GainLawKind, gain_law};
pub use measured_light::{DarkFrom, FieldStar, LightPlane, MeasuredLight};
pub use noise_by_scale::{AveragedOver, NoiseByScale, NoisePart};
pub use plane_name::PlaneName;
pub use profile::{
    CameraProfile, DarkCurrentPoint, DarkCurrentSource, FORMAT, Fit, FitModel, FrameCounts, Mode, Plane, Provenance,
    ReadNoisePoint, SaturationCause, SaturationIs, SheetColours, Thermal, TransferPoint, VERSION,
};
