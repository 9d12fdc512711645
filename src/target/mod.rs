//! What is photographed: its surface brightness in the continuum and in lines.

mod given;

pub use given::{Brightness, DEFAULT_ALTITUDE, Target, TargetError, mean_surface_brightness};
