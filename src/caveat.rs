//! Doubts and refusals as data: what an answer rests on that may not hold, and what was left out of it.

use serde::{Deserialize, Serialize};

/// One doubt about a result; it travels with the result and never replaces it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caveat {
    /// A fixed word that programs can test for, such as `few-frames`.
    pub code: String,
    /// What was found, with its numbers.
    pub message: String,
    /// What the photographer can do about it.
    pub hint: String,
    /// The mode, plane or file it is about; empty when it is about everything.
    #[serde(default)]
    pub about: String,
}

impl Caveat {
    /// A caveat about everything; see [`Caveat::about`].
    #[must_use]
    pub fn new(code: &str, message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { code: code.to_owned(), message: message.into(), hint: hint.into(), about: String::new() }
    }

    /// The same, about one mode, plane or file.
    #[must_use]
    pub fn about(mut self, about: impl Into<String>) -> Self {
        self.about = about.into();
        self
    }
}

/// Adds `caveat` unless one with the same code, place and message is there already.
pub fn push_once(caveats: &mut Vec<Caveat>, caveat: Caveat) {
    if !caveats.contains(&caveat) {
        caveats.push(caveat);
    }
}

/// A file that was not taken, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rejected {
    /// The file's name as it is shown.
    pub file: String,
    /// A fixed word: `not-raw`, `unreadable`, `not-an-image`, …
    pub code: String,
    /// The reason in words.
    pub reason: String,
}
