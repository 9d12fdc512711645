//! Frames in, electrons out: sensors of known truth, odd ones and real ones, measured.

mod by_scale;
#[cfg(feature = "files")]
mod darks_told;
mod oddities;
mod oddities_of_level;
mod simulated;
mod simulated_frames;
mod thermal_range;
mod uniformity;
mod wandering_darks;

#[cfg(feature = "cli")]
mod dslr;
#[cfg(feature = "cli")]
mod invariance;
#[cfg(feature = "cli")]
mod real;
#[cfg(feature = "cli")]
mod several_modes;
#[cfg(feature = "cli")]
mod transfer_points;

#[path = "../support/mod.rs"]
mod support;
#[cfg(feature = "files")]
#[allow(dead_code, unused_imports, reason = "each of its users takes what it needs")]
#[path = "../support/hostile/mod.rs"]
mod whole_frames;
