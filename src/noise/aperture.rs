//! The CCD equation: a star measured in an aperture.

use crate::units::{Electrons, ElectronsPerDn, ElectronsPerSecond, Seconds};

/// Standard deviation of rounding to whole numbers, 1/√12 DN.
const ROUNDING_DN: f64 = 0.288_675_134_594_812_9;

/// What a star's aperture holds, in electrons of one exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CcdEquation {
    /// Electrons of the star in the whole aperture.
    pub star: Electrons,
    /// Pixels of the aperture.
    pub pixels: f64,
    /// Pixels of the sky's annulus; `None` = the sky is known exactly.
    pub sky_pixels: Option<f64>,
    /// Electrons of sky in one pixel.
    pub sky: Electrons,
    /// Thermal electrons in one pixel.
    pub dark: Electrons,
    /// Read noise.
    pub read_noise: Electrons,
    /// Gain, for the noise of rounding; 0 leaves it out.
    pub gain: ElectronsPerDn,
}

impl CcdEquation {
    /// Signal over noise of the star.
    ///
    /// ```text
    /// S/N = N* / √(N* + n (1 + n/n_B) (N_S + N_D + N_R² + G²/12))
    /// ```
    ///
    /// # Source
    /// Merline & Howell 1995, Experimental Astronomy 6; Howell, Handbook of CCD Astronomy (2000), pp. 54–57.
    #[must_use]
    pub fn snr(&self) -> f64 {
        let estimated_sky = 1.0 + self.sky_pixels.map_or(0.0, |pixels| self.pixels / pixels);
        let rounding = self.gain.0 * ROUNDING_DN;
        let per_pixel = self.sky.0 + self.dark.0 + self.read_noise.0.powi(2) + rounding.powi(2);
        self.star.0 / (self.star.0 + self.pixels * estimated_sky * per_pixel).sqrt()
    }
}

/// What fills a star's aperture, per second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CcdRates {
    /// Rate of the star in the whole aperture.
    pub star: ElectronsPerSecond,
    /// Pixels of the aperture.
    pub pixels: f64,
    /// Rate of the sky in one pixel.
    pub sky: ElectronsPerSecond,
    /// Rate of thermal electrons in one pixel.
    pub dark: ElectronsPerSecond,
    /// Read noise.
    pub read_noise: Electrons,
}

impl CcdRates {
    /// The exposure that reaches a signal over noise of `snr`, sky known exactly, rounding left out.
    ///
    /// ```text
    /// t = (−B + √(B² − 4AC))/2A,   A = N², B = −SNR² (N + n (N_S + N_D)), C = −SNR² n N_R²
    /// ```
    ///
    /// # Source
    /// Howell, Handbook of CCD Astronomy (2000), p. 57.
    #[must_use]
    pub fn exposure(&self, snr: f64) -> Seconds {
        let a = self.star.0.powi(2);
        let b = -snr.powi(2) * (self.star.0 + self.pixels * (self.sky.0 + self.dark.0));
        let c = -snr.powi(2) * self.pixels * self.read_noise.0.powi(2);
        Seconds((-b + (b * b - 4.0 * a * c).sqrt()) / (2.0 * a))
    }
}
