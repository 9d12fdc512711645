//! What the program says of a stack against stacks that were made pixel by pixel, without its formulas.
//!
//! The seeds are fixed, so nothing here depends on luck. `cargo test --release --test stack_proof -- --ignored --nocapture`
//! makes the long run and prints its tables.

#[path = "stacking/camera.rs"]
mod camera;
#[path = "stacking/nights.rs"]
mod nights;
#[path = "stacking/planned.rs"]
mod planned;
#[path = "stacking/published.rs"]
mod published;
#[path = "stacking/told.rs"]
mod told;
