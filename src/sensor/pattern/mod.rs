//! What is fixed from frame to frame: how unlike the pixels are, and where the amplifier glows.

pub(crate) mod by_scale;
pub(crate) mod glow;
mod lines;
pub(crate) mod stack_pattern;
pub(crate) mod stacks;
pub(crate) mod uniformity;
