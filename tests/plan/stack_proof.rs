//! What the program says of a stack against stacks that were made pixel by pixel, without its formulas.
//!
//! The seeds are fixed, so nothing here depends on luck. `cargo test --release --test plan stack_proof -- --ignored --nocapture`
//! makes the long run and prints its tables.

pub(crate) mod camera;
mod nights;
mod planned;
mod published;
mod scales;
mod told;
