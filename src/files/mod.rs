//! Files on disk: finding frames, reading their headers and pixels, and writing results. The only room that touches a disk.
//!
//! Bytes are not trusted. A header is read in safe Rust and its sizes are checked against the file before anything
//! is allocated; the C library reads pixels only of plain files that passed. Compressed files are unpacked by a
//! worker process ([`Decoder`]), whose death is one rejected file.

mod decoder;
mod error;
mod fits;
mod frame_set;
mod look;
mod scan;
mod worker;
mod write;

pub use decoder::Decoder;
pub use error::FileError;
pub use frame_set::{FrameSet, read_frame, read_headers};
pub use worker::run_worker_if_asked;
pub use write::write_whole;
