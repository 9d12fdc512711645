//! Sensor noise and exposure for deep-sky photographers: the path of the light as a library.
//!
//! ```text
//!  frames ──► sensor ──► camera ──► noise ──► night ──► plan ──► decide · review ──► report
//!  what was   what the   the        one sub,  what the  sub,     what to change,     as text
//!  true when  frames     profile,   one stack keys are  count,   what happened       and page
//!  they were  say        the waist     ▲      in light  cadence
//!  taken                               │
//!                        sky · target · rig
//! ```
//!
//! `camera` is the waist: what is left of it measures and never plans, what is right of it plans and never sees a frame.
//! Signatures carry units ([`units`]), measured values their uncertainty ([`stats::Estimate`]), answers their doubts
//! ([`caveat::Caveat`]).
//!
//! # The calls
//!
//! | question | call | answer |
//! |---|---|---|
//! | what is in this folder? | `measure::Folder::open` (feature `files`), [`measure::FrameSource::inventory`] | [`frames::Inventory`] |
//! | what does this camera do? | [`measure::measure_camera`] | [`camera::CameraProfile`] |
//! | how bright is my sky? | [`measure::measure_sky`] | [`measure::SkyMeasurement`] |
//! | how long each sub, how many? | [`plan::plan`] | [`plan::Plan`] |
//! | is a cooled camera, a filter, a drive worth it? | [`decide::Cooling`], [`decide::Comparison`] | hours |
//! | was last night as planned? | [`measure::review_night`] | [`review::Review`] |
//!
//! Each has an example of its own. The shortest way from frames to a plan, with frames of a made-up camera in place of real
//! ones:
//!
//! ```
//! use subwell::measure::{CameraOptions, Frames, measure_camera};
//! use subwell::night::Night;
//! use subwell::plan::plan;
//! use subwell::simulate::{self, SensorTruth};
//!
//! let truth = SensorTruth::from_toml(r#"
//!     camera = "Heron M"
//!     pixel_um = 3.8
//!     width_px = 200
//!     height_px = 150
//!     gain_e_per_adc_step = 0.8
//!     offset_dn = 240.0
//!     read_noise_e = 1.6
//!     full_well_e = 12000.0
//!     dark_e_per_s = 0.02
//!     seed = 7
//!     frames = [
//!         { kind = "bias", count = 8 },
//!         { kind = "flat", count = 2, exposure_s = 0.5, light_e_per_s = 4000.0 },
//!         { kind = "flat", count = 2, exposure_s = 1.0, light_e_per_s = 4000.0 },
//!         { kind = "flat", count = 2, exposure_s = 2.0, light_e_per_s = 4000.0 },
//!         { kind = "flat", count = 2, exposure_s = 4.0, light_e_per_s = 4000.0 },
//!         { kind = "dark", count = 3, exposure_s = 60.0 },
//!         { kind = "dark", count = 3, exposure_s = 300.0 },
//!     ]
//! "#)?;
//! let frames = Frames::new(simulate::frames(&truth).collect());
//! let camera = measure_camera(&frames, &CameraOptions::default())?.profile;
//!
//! let night = Night::from_toml(r#"
//!     optics = { aperture_mm = 76.0, focal_length_mm = 440.0 }
//!     site = { sky = { bortle = 7 } }
//!     target = { surface_brightness_mag = 22.8 }
//!     goal = { snr = 8.0 }
//! "#)?;
//! let plan = plan(&night, &camera)?;
//! let filter = &plan.filters[0];
//! println!("{} subs of {} s, dither every {}", filter.subs_to_shoot, filter.sub_s.0, filter.dither_every_subs);
//! assert!((10.0..120.0).contains(&filter.sub_s.0));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! From a folder, `measure::Folder` takes the place of [`measure::Frames`]; `examples/measure_and_plan.rs` is that program.
//!
//! # Features
//!
//! Without any feature the library does no input or output and asks no clock and no chance. `files` reads and writes frames,
//! profiles and nights, `raw` adds camera raw files, `report` draws pages with pictures, `simulate` makes frames of a sensor
//! whose truth is known (to prove the rest), `planner` answers what a page asks, `page` serves it to the browser, `cli` is the program. Where the formulas come
//! from: [`sources`].

#![warn(clippy::disallowed_types, clippy::disallowed_methods)]
#![warn(clippy::print_stdout, clippy::print_stderr, clippy::exit, clippy::unwrap_used, clippy::panic)]
#![warn(clippy::too_many_lines)]

pub(crate) mod allocation;
pub mod camera;
pub mod caveat;
pub mod decide;
pub mod document;
mod error;
pub mod frames;
pub mod keys;
pub mod measure;
pub mod night;
pub mod noise;
pub(crate) mod optimum;
pub mod plan;
#[cfg(feature = "planner")]
pub mod planner;
pub mod reading;
pub mod report;
pub mod review;
pub mod rig;
#[cfg(feature = "schema")]
pub mod schema;
pub mod sensor;
#[cfg(feature = "simulate")]
pub mod simulate;
pub mod sky;
pub mod sources;
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
