//! Frames of the sky: its light, that of a star in it, and all of one night's.

pub(crate) mod background;
mod blank;
mod field;
pub(crate) mod master;
pub(crate) mod night;
pub(crate) mod star;
