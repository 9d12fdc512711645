//! Sensor noise and exposure: the path of the light as a library.
//!
//! ```text
//! frames ──► sensor ──► camera ──► noise ──► plan ──► report
//!  what was   what the   the        one sub,   sub,     as
//!  true when  frames     profile,   one stack  count,   text
//!  the pixels say        the waist     ▲       dither
//!  were taken                          │
//!                        sky · target · rig
//! ```
//!
//! `camera` is the waist: what is left of it measures and never plans, what is right
//! of it plans and never sees a frame. `simulate` makes frames of a sensor whose truth
//! is known, to prove the rest. `files` (a feature) is the only module that reads a disk.

#![warn(clippy::disallowed_types, clippy::disallowed_methods)]
#![warn(clippy::print_stdout, clippy::print_stderr, clippy::exit, clippy::unwrap_used, clippy::panic)]

pub mod camera;
pub mod caveat;
pub mod decide;
mod error;
pub mod frames;
pub mod measure;
pub mod night;
pub mod noise;
pub mod plan;
mod reading;
pub mod report;
pub mod review;
pub mod rig;
pub mod sensor;
#[cfg(feature = "simulate")]
pub mod simulate;
pub mod sky;
pub mod stats;
pub mod target;
pub mod units;

#[cfg(feature = "files")]
pub mod files;
#[cfg(feature = "page")]
pub mod page;

pub use error::Error;

/// The pages' `rust` blocks are compiled and run with the documentation's own.
#[cfg(doctest)]
mod pages {
    #[doc = include_str!("../README.md")]
    mod readme {}
    #[doc = include_str!("../notebooks-md/01-measure-and-plan.md")]
    mod measure_and_plan {}
}
