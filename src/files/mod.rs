//! Files on disk: finding frames, reading headers and pixels, writing results. The only module that touches a disk.
//!
//! Bytes are not trusted. A header is read in safe Rust and its sizes are checked against the file before anything
//! is allocated; the C library reads pixels only of plain files that passed. Compressed files and camera raw files are
//! unpacked by a worker process ([`Decoder`]), whose death is one rejected file.

#![expect(clippy::disallowed_types, clippy::disallowed_methods, reason = "this is the module that reads the disk")]

mod decoder;
mod error;
mod fits;
mod follow;
mod frame_set;
mod open;
mod preview;
#[cfg(feature = "raw")]
mod raw;
mod scan;
mod sidecar;
mod text;
#[cfg(feature = "watch")]
mod wake;
mod worker;
mod write;
mod write_fits;

pub use decoder::Decoder;
pub use error::FileError;
pub use follow::{FileState, Follow, Look, Patience};
pub use frame_set::{FrameSet, read_frame, read_headers, read_headers_of, read_one};
#[cfg(feature = "simulate")]
pub use text::read_sensor;
pub use text::{
    TextError, read_chosen, read_night, read_profile, read_text, write_already, write_measured_sky, write_profile,
    write_throughput_ratio,
};
#[cfg(feature = "watch")]
pub use wake::Wake;
pub use worker::run_worker_if_asked;
#[cfg(feature = "page")]
pub(crate) use write::replace_whole;
pub use write::write_whole;
#[cfg(feature = "simulate")]
pub use write_fits::write_simulation;
pub use write_fits::{WriteError, write_frame};

/// Whether a file goes by the name of a frame, FITS or camera raw.
pub(crate) fn may_be_a_frame(path: &std::path::Path) -> bool {
    text::is_named_like_a_frame(path) || scan::is_raw_name(path)
}
