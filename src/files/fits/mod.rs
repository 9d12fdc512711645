//! FITS files: the header in safe Rust, the pixels through the C library, which sees only what the checks let pass.

mod blocks;
mod layout;
mod pixels;
mod tiles;

pub(super) use layout::{ImageHdu, first_image};
pub(super) use pixels::{pixels, plain_folder, strip};

/// An image with more pixels is no camera frame, and is refused before anything is allocated.
pub(super) const MOST_PIXELS: u64 = 400_000_000;
