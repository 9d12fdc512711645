//! What is photographed: its surface brightness in the continuum and in lines, from the night file or a catalogue.

mod catalogue;
mod given;

pub use catalogue::{CATALOGUE_UNCERTAINTY, OBJECTS, Object, ObjectKind, Source, object};
pub use given::{Brightness, DEFAULT_ALTITUDE, NEBULA_KELVIN, Target, TargetError, mean_surface_brightness};
