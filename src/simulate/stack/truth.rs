//! What is true of a made-up night and of the sensor that sees it.

use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::simulate::SimulateError;
use crate::simulate::pattern::scrambled;
use crate::simulate::truth::within;
use crate::units::{Electrons, ElectronsPerDn, ElectronsPerSecond, Seconds};

use super::sensor::Purpose;

/// One part in so many of the field's columns shows the sky alone.
const SKY_PART: usize = 4;
/// More electrons than this in one exposure are a slip of the pen.
const MOST_ELECTRONS: f64 = 1e9;

/// A night on a small field, and everything that a stack of it depends on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StackTruth {
    /// Side of the square field in pixels.
    pub side_px: usize,
    /// The target, the same all over its part of the field.
    pub target_e_per_s: ElectronsPerSecond,
    /// Sky and Moon.
    pub sky_e_per_s: ElectronsPerSecond,
    /// Dark current of the mean pixel, hot pixels apart, when the lights are taken.
    pub dark_e_per_s: ElectronsPerSecond,
    /// Standard deviation over mean of the pixels' dark currents (log-normal, so that some pixels are warm).
    pub dark_nonuniformity: f64,
    /// Share of pixels with a much higher dark current.
    pub hot_pixel_fraction: f64,
    /// Their dark current over the mean one.
    pub hot_pixel_factor: f64,
    /// What the darks' dark current has too much or too little, as a share of that of the lights.
    pub dark_mismatch: f64,
    /// Read noise without quantisation.
    pub read_noise_e: Electrons,
    /// Electrons between two codes; 0 = not rounded.
    pub step_e: ElectronsPerDn,
    /// What each row of each frame adds to all of its pixels.
    pub row_noise_e: Electrons,
    /// Standard deviation of the pixels' levels without light and time.
    pub dsnu_e: Electrons,
    /// Length ℓ of the dark current's pattern: pixels d apart correlate as exp(−d²/2ℓ²); 0 = each for itself.
    pub pattern_length_px: f64,
    /// Standard deviation of the pixels' response to light, as a share.
    pub response_spread: f64,
    /// Hits of particles on one pixel in one second.
    pub cosmic_rays_per_s: f64,
    /// Length of one sub.
    pub sub_s: Seconds,
    /// Subs that survive and are stacked.
    pub kept: usize,
    /// Events that spoil the sub in progress, per second of open shutter.
    pub losses_per_s: f64,
    /// A dither after so many subs.
    pub dither_every: usize,
    /// Side of the square of whole pixels from which a dither draws its place; 1 = no dither.
    pub dither_box_px: usize,
    /// Pixels by which the field creeps on from one sub to the next, in rows and columns.
    pub drift_px_per_sub: [f64; 2],
    /// Rejection; `None` = plain mean.
    pub clip_sigma: Option<f64>,
    /// Darks of the subs' length; 0 = none.
    pub darks: usize,
    /// Flats; 0 = none.
    pub flats: usize,
    /// Biases, for the flats, and for the lights where there are no darks; 0 = none.
    pub biases: usize,
    /// Light in one flat.
    pub flat_e: Electrons,
    /// Only the pixels whose row and column are multiples of this see the light: 2 for the red or the blue pixels of an array of colours.
    pub colour_pitch: usize,
    /// Everything that chance does follows from it.
    pub seed: u64,
}

impl Default for StackTruth {
    /// A field of 96 × 96 pixels under a bright sky, 40 subs of a minute, dithered each, with good masters.
    fn default() -> Self {
        Self {
            side_px: 96,
            target_e_per_s: ElectronsPerSecond(0.05),
            sky_e_per_s: ElectronsPerSecond(2.0),
            dark_e_per_s: ElectronsPerSecond(0.01),
            dark_nonuniformity: 0.0,
            hot_pixel_fraction: 0.0,
            hot_pixel_factor: 100.0,
            dark_mismatch: 0.0,
            read_noise_e: Electrons(1.5),
            step_e: ElectronsPerDn(0.0),
            row_noise_e: Electrons(0.0),
            dsnu_e: Electrons(0.0),
            pattern_length_px: 0.0,
            response_spread: 0.0,
            cosmic_rays_per_s: 0.0,
            sub_s: Seconds(60.0),
            kept: 40,
            losses_per_s: 0.0,
            dither_every: 1,
            dither_box_px: 24,
            drift_px_per_sub: [0.0, 0.0],
            clip_sigma: None,
            darks: 30,
            flats: 25,
            biases: 50,
            flat_e: Electrons(20_000.0),
            colour_pitch: 1,
            seed: 1,
        }
    }
}

impl StackTruth {
    /// First column that shows the target.
    pub(super) fn target_from(&self) -> usize {
        self.side_px / SKY_PART
    }

    /// Pixels by which the sensor must be larger than the field, in rows and columns.
    pub(super) fn margin(&self, night: u64) -> [usize; 2] {
        let shifts = super::shifts(self, night);
        [0, 1].map(|axis| shifts.iter().map(|shift| shift[axis]).max().unwrap_or(0))
    }

    /// The random numbers of one purpose in one night: they depend on nothing else.
    pub(super) fn chance(&self, night: u64, purpose: Purpose) -> Xoshiro256PlusPlus {
        let [purpose, part] = purpose.key();
        let key = [night, purpose, part].into_iter().fold(scrambled(self.seed), |key, part| scrambled(key ^ part));
        Xoshiro256PlusPlus::seed_from_u64(key)
    }

    /// Whether a night can be made of these numbers.
    ///
    /// # Errors
    /// When a number lies outside what a night can have.
    pub fn check(&self) -> Result<(), SimulateError> {
        within("side_px", self.side_px as f64, SKY_PART as f64, 4096.0)?;
        within("kept", self.kept as f64, 1.0, 100_000.0)?;
        within("colour_pitch", self.colour_pitch as f64, 1.0, 8.0)?;
        within("sub_s", self.sub_s.0, 1e-6, 1e5)?;
        // Of a night that loses more than 19 of 20 subs no stack is made.
        within("losses_per_s × sub_s", self.losses_per_s * self.sub_s.0, 0.0, 3.0)?;
        for (key, rate) in [
            ("target_e_per_s", self.target_e_per_s),
            ("sky_e_per_s", self.sky_e_per_s),
            ("dark_e_per_s", self.dark_e_per_s),
        ] {
            within(key, rate.0 * self.sub_s.0, 0.0, MOST_ELECTRONS)?;
        }
        within("flat_e", self.flat_e.0, 1.0, MOST_ELECTRONS)?;
        for (key, value, highest) in [
            ("dark_nonuniformity", self.dark_nonuniformity, 10.0),
            ("hot_pixel_fraction", self.hot_pixel_fraction, 1.0),
            ("hot_pixel_factor", self.hot_pixel_factor, 1e6),
            ("read_noise_e", self.read_noise_e.0, 1e4),
            ("step_e", self.step_e.0, 1e4),
            ("row_noise_e", self.row_noise_e.0, 1e4),
            ("dsnu_e", self.dsnu_e.0, 1e4),
            ("pattern_length_px", self.pattern_length_px, 256.0),
            ("response_spread", self.response_spread, 0.3),
            ("cosmic_rays_per_s", self.cosmic_rays_per_s, 1.0),
            ("dither_box_px", self.dither_box_px as f64, 4096.0),
            ("drift_px_per_sub", self.drift_px_per_sub[0].min(self.drift_px_per_sub[1]), 100.0),
            ("drift_px_per_sub", self.drift_px_per_sub[0].max(self.drift_px_per_sub[1]), 100.0),
        ] {
            within(key, value, 0.0, highest)?;
        }
        within("dark_mismatch", self.dark_mismatch, -1.0, 100.0)?;
        within("clip_sigma", self.clip_sigma.unwrap_or(3.0), 1.0, 100.0)
    }
}
