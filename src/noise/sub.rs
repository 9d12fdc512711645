//! The noise of one sub.

use serde::{Deserialize, Serialize};

use crate::units::{Electrons, ElectronsPerSecond, Seconds};

/// Electrons per second in one pixel, by where they come from.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Rates {
    /// The target at its stated brightness.
    pub target: ElectronsPerSecond,
    /// The night sky without the Moon.
    pub sky: ElectronsPerSecond,
    /// Moonlight.
    pub moon: ElectronsPerSecond,
    /// Thermal electrons.
    pub dark: ElectronsPerSecond,
}

impl Rates {
    /// All of them together: what fills the pixel.
    #[must_use]
    pub fn total(&self) -> ElectronsPerSecond {
        self.target + self.sky + self.moon + self.dark
    }

    /// Each kind of light made of those of two.
    pub(crate) fn combined(
        self,
        other: Self,
        of: impl Fn(ElectronsPerSecond, ElectronsPerSecond) -> ElectronsPerSecond,
    ) -> Self {
        Self {
            target: of(self.target, other.target),
            sky: of(self.sky, other.sky),
            moon: of(self.moon, other.moon),
            dark: of(self.dark, other.dark),
        }
    }

    /// All but the target: what a sub has where there is nothing.
    #[must_use]
    pub fn background(&self) -> ElectronsPerSecond {
        self.sky + self.moon + self.dark
    }

    /// Light, which the flat acts on.
    #[must_use]
    pub fn light(&self) -> ElectronsPerSecond {
        self.target + self.sky + self.moon
    }
}

/// The calibration frames behind the masters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibration {
    /// Darks of the same length and temperature as the lights; 0 = none.
    pub darks: u32,
    /// Flats; 0 = none.
    pub flats: u32,
    /// Biases; they matter to the lights only without darks.
    pub biases: u32,
    /// Signal of one flat in one pixel.
    pub electrons_per_flat: Electrons,
}

/// The pattern that calibration leaves in every sub alike.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LeftPattern {
    /// Grows with time: `dD/dT · mismatch · nonuniformity`, or `D · nonuniformity` without darks.
    pub per_second: ElectronsPerSecond,
    /// Does not: the pixels' offsets, without darks and biases.
    pub offset: Electrons,
    /// Grows with light: the pixels' response, without flats (a fraction).
    pub response: f64,
}

/// Everything that the noise of one plane's pixel depends on, but the length of the sub.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneNoise {
    /// What fills the pixel.
    pub rates: Rates,
    /// Read noise, quantisation removed.
    pub read_noise: Electrons,
    /// Quantisation noise: [`PlaneNoise::quantisation_of_step`].
    pub quantisation: Electrons,
    /// What calibration leaves.
    pub left: LeftPattern,
    /// What calibration costs.
    pub calibration: Calibration,
    /// Pattern that changes from sub to sub and so averages as the subs do, per second.
    pub drift: ElectronsPerSecond,
}

/// Variances of one pixel of one sub in e-², before any division by counts.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SubNoise {
    /// Signal of the target in e-, which is also its variance.
    pub target: f64,
    /// Shot noise of the sky.
    pub sky: f64,
    /// Shot noise of moonlight.
    pub moon: f64,
    /// Shot noise of the dark current.
    pub dark: f64,
    /// Read noise.
    pub read: f64,
    /// Quantisation.
    pub quantisation: f64,
    /// Pattern left in every sub alike; divided by dither positions.
    pub pattern: f64,
    /// Of that, the pixels' response to light.
    pub response: f64,
    /// Of that, the pixels' levels without time.
    pub level: f64,
    /// Noise of the masters, a pattern too; divided by dither positions.
    pub masters: f64,
    /// Of that, read noise.
    pub masters_read: f64,
    /// Pattern that changes from sub to sub; divided by subs.
    pub drift: f64,
}

impl SubNoise {
    /// What averages as one over the number of subs and is clipped: shot noise, read noise, quantisation.
    #[must_use]
    pub fn temporal(&self) -> f64 {
        self.target + self.sky + self.moon + self.dark + self.read + self.quantisation
    }
}

impl PlaneNoise {
    /// Noise of rounding to codes that lie `step` electrons apart: step/√12.
    ///
    /// # Source
    /// EMVA Standard 1288 Release 4.0, σ_q² = 1/12 DN²; for padded data the step is more than one DN.
    #[must_use]
    pub fn quantisation_of_step(step: Electrons) -> Electrons {
        step / 12.0_f64.sqrt()
    }

    /// The variances of one pixel of a sub of length `sub`.
    ///
    /// ```text
    /// shot      = (S + B + M + D) t
    /// pattern   = (pattern rate · t)² + offset² + (response · (S + B + M) t)²
    /// masters   = (D t + R² + q²)/N_dark, or (R² + q²)/N_bias without darks
    ///             + ((S + B + M) t)²/(N_flat F)
    /// ```
    ///
    /// `R` read noise, `q` quantisation, `F` electrons per flat. The flats' own dark and read noise is left out
    /// (below 1 % of their shot noise at half saturation).
    ///
    /// # Source
    /// Derived here from the CCD equation applied to each master; checked against `tests/published`.
    #[must_use]
    pub fn sub(&self, sub: Seconds) -> SubNoise {
        let t = sub.0;
        let electrons = |rate: ElectronsPerSecond| (rate * sub).0;
        let light = electrons(self.rates.light());
        let (read, quantisation) = (self.read_noise.0.powi(2), self.quantisation.0.powi(2));
        let dark = electrons(self.rates.dark);
        let Calibration { darks, flats, biases, electrons_per_flat } = self.calibration;
        let (dark_master, masters_read) = match (darks, biases) {
            (0, 0) => (0.0, 0.0),
            (0, biases) => ((read + quantisation) / f64::from(biases), read / f64::from(biases)),
            (darks, _) => ((dark + read + quantisation) / f64::from(darks), read / f64::from(darks)),
        };
        let response = (self.left.response * light).powi(2);
        let flat_master = if flats == 0 { 0.0 } else { light.powi(2) / (f64::from(flats) * electrons_per_flat.0) };
        SubNoise {
            target: electrons(self.rates.target),
            sky: electrons(self.rates.sky),
            moon: electrons(self.rates.moon),
            dark,
            read,
            quantisation,
            pattern: (self.left.per_second.0 * t).powi(2) + self.left.offset.0.powi(2) + response,
            response,
            level: self.left.offset.0.powi(2),
            masters: dark_master + flat_master,
            masters_read,
            drift: (self.drift.0 * t).powi(2),
        }
    }

    /// Time after which shot noise without the target is so far above read noise that
    /// the latter adds only `excess` (0.05 = 5 %) to a sub's noise.
    ///
    /// ```text
    /// t = (R² + q²)/(B + M + D) / ((1 + excess)² − 1)
    /// ```
    ///
    /// # Source
    /// Derived here from √((F t + R²)/(F t)) = 1 + excess; the trade's 3, 5 and 10 R² rules are excesses of
    /// 15, 10 and 5 %.
    #[must_use]
    pub fn sky_limited(&self, excess: f64) -> Seconds {
        let read = self.read_noise.0.powi(2) + self.quantisation.0.powi(2);
        Seconds(read / self.rates.background().0 / ((1.0 + excess).powi(2) - 1.0))
    }
}
