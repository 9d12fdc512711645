//! What does the night look like in the browser? The planner as a page for this machine only.
//!
//! [`Api`] answers one request after the other and knows nothing of sockets; [`serve`] puts it behind the loopback
//! address with limits on size, time and number. Every request passes [`Guard`] first: Host (a name that another site
//! pointed here), Origin (a page of another site), token (another user of the machine). Files are reached through
//! [`Folder`], which ends where the folder ends.

#![expect(
    clippy::disallowed_types,
    clippy::disallowed_methods,
    reason = "this module serves files of one folder and shows how long a measurement takes"
)]

mod api;
mod assets;
mod edit;
mod error;
mod folder;
mod guard;
mod job;
mod server;

pub use api::{Api, Response};
pub use edit::{Change, changed_text};
pub use error::ApiError;
pub use folder::{Contents, Folder, FolderOfFrames};
pub use guard::{Guard, Request};
pub use job::{Measure, Progress, measure_folder};
pub use server::{Limits, serve};
