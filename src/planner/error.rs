//! A question that gets no answer, and why.

use serde_json::Value;

use crate::error::Error;
use crate::report::error_document;

/// Why a question is refused: what HTTP says of it, and the document that `--json` prints.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// The status of HTTP.
    pub status: u16,
    /// A fixed word.
    pub code: String,
    /// What is wrong.
    pub message: String,
    /// What helps.
    pub hint: String,
}

impl Refusal {
    /// An error in words.
    #[must_use]
    pub fn new(status: u16, code: &str, message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { status, code: code.into(), message: message.into(), hint: hint.into() }
    }

    /// The document of this error.
    #[must_use]
    pub fn document(&self) -> Value {
        error_document(&self.code, &self.message, &self.hint)
    }
}

/// What was asked was understood, and night, camera or frames cannot answer it.
impl<E: Into<Error>> From<E> for Refusal {
    fn from(error: E) -> Self {
        let error = error.into();
        Self::new(422, error.code(), error.to_string(), error.hint())
    }
}
