//! What do these frames say? The one way from frames to a camera profile, a sky, or a judged night.
//!
//! ```text
//!            ┌──► measure_camera ──► Measurement (a camera profile)
//! frames ────┼──► measure_sky ─────► SkyMeasurement
//!            ├──► review_night ────► Review
//!            └──► Watch ───────────► Review, sub by sub, while the frames arrive
//! ```
//!
//! Frames come from a [`FrameSource`]: [`Frames`] that are handed in, or a [`Folder`] on the disk (feature `files`), whose
//! [`Folder::open`] only looks: [`Folder::inventory`] then says what is there. Each call takes a struct of options
//! whose default asks for nothing special, and tells a [`Progress`] how far it is; nothing is printed. The command line and
//! the page call what stands here, and so may any other program.

mod camera;
mod error;
#[cfg(feature = "files")]
mod folder;
mod fullness;
mod lights;
mod night;
mod progress;
mod same_camera;
mod sky;
mod source;
#[cfg(feature = "files")]
mod tonight;
#[cfg(feature = "files")]
mod watch;

pub use camera::{CameraOptions, Measurement, measure_camera, note_changes};
pub use error::FramesError;
#[cfg(feature = "files")]
pub use folder::{Folder, read_light_and_dark};
pub use night::{ReviewOptions, review_night};
pub use progress::{Progress, Silent, Work};
pub use sky::{SkyMeasurement, SkyOptions, measure_sky, measure_sky_without_night};
pub use source::{Content, FrameSource, Frames};
#[cfg(feature = "files")]
pub use watch::{Watch, WatchError};
