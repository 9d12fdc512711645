//! What is photographed: its surface brightness in the continuum and in lines, from the night file or a catalogue.

mod catalogue;
mod colour;
mod given;
mod nebulae;
mod place;

pub use catalogue::{CATALOGUE_UNCERTAINTY, OBJECTS, Object, ObjectKind, Source, object, objects};
pub use colour::{ColourName, TargetColour};
pub use given::{Brightness, DEFAULT_ALTITUDE, NEBULA_KELVIN, Target, TargetError, mean_surface_brightness};
pub use nebulae::{LineSource, NebulaLines, PLANETARIES, REGIONS};
pub use place::{declination, right_ascension};
