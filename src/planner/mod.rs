//! What may a page ask of the planner? Answered from texts: nothing here knows a disk, a socket or a clock.
//!
//! ```text
//!  the page's words ──► Draft ──► Night + camera ──► plan · map · course · starts · targets · choices · cooling · compare
//!   key and value       on the      texts that
//!   of each change      file's text  `read` gets by name
//! ```
//!
//! The program answers its page with it (`page`), and the same code, built for WebAssembly, answers a page that is a file on a
//! phone. A question is a path and a JSON body, an answer a JSON document or a [`Refusal`].

#![expect(clippy::disallowed_types, reason = "names of texts go by the rules of paths; nothing is read here")]

mod answers;
mod ask;
mod draft;
mod edit;
mod error;

pub use ask::Planner;
#[cfg(feature = "page")]
pub(crate) use ask::{Named, body_of};
pub use draft::Draft;
pub use edit::{Change, changed_text};
pub use error::Refusal;

/// What a night is called: its file without the ending.
fn name_of(path: &std::path::Path) -> String {
    path.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}
