//! The sky over the telescope: how bright it is, what lights it, what the air takes away.

mod error;
mod scales;
mod site;

pub use error::SkyError;
pub use site::{Climate, DEFAULT_AMBIENT, DEFAULT_SEEING, DEFAULT_SKY, GivenSky, Lamps, Site};
