//! Which worlds must pass: the one place to say so.

/// Names of the worlds whose failure fails the proof.
pub(crate) const REQUIRED: &[&str] = &[];
