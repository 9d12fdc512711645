//! Whole frames of sensors that break what the program takes for granted.
//!
//! Nothing here is shared with the program: its own chance, its own noise, its own FITS. A [`Body`] is what is true of a
//! sensor, a [`Session`] is the list of frames as they were taken (and as their headers tell it), and each [`Fault`] is
//! one assumption that does not hold.
//!
//! ```text
//! light ─► faults of light ─► charge (Poisson) ─► faults of charge ─► well ─► read noise, faults of reading ─► codes
//! ```

mod body;
mod camera;
mod chance;
mod fault;
mod field;
mod fits;
mod reading;
mod shot;

pub(crate) use body::{Body, DarkLaw};
pub(crate) use camera::Camera;
pub(crate) use chance::Chance;
pub(crate) use fault::Fault;
pub(crate) use fits::fits_bytes;
pub(crate) use shot::{Kind, Says, Session, Shot};
