//! How noisy is one sub, and what is left of it in the stack?
//!
//! [`dark_current`] is what the sensor makes by itself at a temperature, [`PlaneNoise`] the
//! noise of one sub of any length, [`Stack`] what many subs, dithers and masters make of
//! it, [`CcdEquation`] the same for a star in an aperture. Nothing here sees a frame.

mod aperture;
mod carried;
mod faintest;
mod only_adds;
mod shape;
mod stack;
mod sub;
mod thermal;

pub use aperture::{CcdEquation, CcdRates};
pub use faintest::{FAINTEST_SNR, FAINTEST_SQUARE, faintest_rate};
pub use shape::{InPatch, NoiseShape};
pub use stack::{Clip, NoiseShares, Patch, Stack};
pub use sub::{Calibration, LeftPattern, PlaneNoise, Rates, SubNoise};
pub use thermal::{
    DarkCurrent, DarkRates, band_gap_ev, dark_current, depletion_ratio, diffusion_ratio, doubling_kelvins,
};
