//! What is photographed: its surface brightness in the continuum and in lines.

mod given;

pub use given::{DEFAULT_ALTITUDE, Target, TargetError};
