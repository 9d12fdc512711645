//! What is on the disk: frames.

mod write_fits;

pub use write_fits::{WriteError, write_frame, write_simulation};
