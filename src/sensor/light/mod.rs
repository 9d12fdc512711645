//! Frames of the sky: its light, and that of a star in it.

pub(crate) mod background;
pub(crate) mod star;
