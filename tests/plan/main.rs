//! What a plan promises, decides and looks back on: laws, recomputed nights, made-up stacks, skies, slips of the pen.

mod beside;
mod campaign;
mod choices;
mod draw;
mod hints;
mod laws;
mod light;
mod nebulae;
mod nights;
#[cfg(feature = "report")]
mod random_nights;
mod recomputed;
#[cfg(feature = "report")]
mod sky_height;
mod stack_proof;
#[cfg(feature = "report")]
mod steps;

#[cfg(feature = "cli")]
mod decisions;
#[cfg(feature = "cli")]
mod files;
#[cfg(feature = "cli")]
mod review;
#[cfg(feature = "cli")]
mod sky;
#[cfg(feature = "cli")]
mod sky_refused;
#[cfg(feature = "files")]
mod slips;

#[path = "../support/mod.rs"]
mod support;
