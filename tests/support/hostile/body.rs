//! What is true of a sensor.

/// eV per kelvin.
const BOLTZMANN: f64 = 8.617_333_262e-5;
const ZERO_C: f64 = 273.15;

/// Dark current of the mean pixel: two ways of generation and what no cold stops.
#[derive(Debug, Clone, Copy)]
pub(crate) struct DarkLaw {
    /// e⁻/s at 0 °C and activation energy in eV, for each way.
    pub(crate) ways: [(f64, f64); 2],
    /// e⁻/s at any temperature.
    pub(crate) floor: f64,
}

impl DarkLaw {
    /// One way with the energy of generation in the depletion region; it doubles in 7.5 K or so.
    pub(crate) fn of_depletion(at_zero: f64) -> Self {
        Self { ways: [(at_zero, 0.60), (0.0, 1.1)], floor: 0.0 }
    }

    /// e⁻/s at a temperature.
    pub(crate) fn at(&self, celsius: f64) -> f64 {
        let kelvin = celsius + ZERO_C;
        let grown = |(at_zero, energy): (f64, f64)| {
            at_zero * (kelvin / ZERO_C).powf(1.5) * (energy / BOLTZMANN * (1.0 / ZERO_C - 1.0 / kelvin)).exp()
        };
        self.floor + self.ways.into_iter().map(grown).sum::<f64>()
    }
}

/// What is true of a sensor.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Body {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// Electrons per step of the converter.
    pub(crate) gain: f64,
    /// DN from one step to the next.
    pub(crate) step: u32,
    /// Read noise in electrons.
    pub(crate) read: f64,
    /// Level without charge, in steps.
    pub(crate) offset: f64,
    /// Steps that the level moves with each kelvin.
    pub(crate) offset_per_kelvin: f64,
    /// Scatter of the level from frame to frame, in steps.
    pub(crate) jitter: f64,
    /// Electrons that a pixel holds.
    pub(crate) well: f64,
    /// Share of its variance that the charge of a pixel wins with each electron; below 0 it loses, as where charge repels charge.
    pub(crate) curvature: f64,
    /// The highest step.
    pub(crate) top: f64,
    /// Standard deviation of the pixels' response, a share.
    pub(crate) prnu: f64,
    /// Standard deviation of the pixels' level, in electrons.
    pub(crate) dsnu: f64,
    pub(crate) dark: DarkLaw,
    /// Standard deviation of the logarithm of the pixels' dark current.
    pub(crate) dark_spread: f64,
}

impl Body {
    /// A sensor of 14 bits without vices.
    pub(crate) fn sound() -> Self {
        Self {
            width: 240,
            height: 180,
            gain: 2.0,
            step: 1,
            read: 5.0,
            offset: 300.3,
            offset_per_kelvin: 0.0,
            jitter: 0.03,
            well: 60_000.0,
            curvature: 0.0,
            top: 16_383.0,
            prnu: 0.006,
            dsnu: 1.0,
            dark: DarkLaw::of_depletion(0.2),
            dark_spread: 0.3,
        }
    }

    pub(crate) fn pixels(&self) -> usize {
        self.width * self.height
    }

    /// Electrons per DN.
    pub(crate) fn gain_per_dn(&self) -> f64 {
        self.gain / f64::from(self.step)
    }

    /// By what a pixel's charge scatters about `expected` electrons over what Poisson's law has.
    ///
    /// ```text
    /// V = (exp(2 a λ) − 1) / (2 a)
    /// ```
    ///
    /// # Source
    /// P. Astier et al. 2019, A&A 629 A36, equation 16.
    pub(crate) fn scatter(&self, expected: f64) -> f64 {
        let x = 2.0 * self.curvature * expected;
        if x.abs() < 1e-9 { 1.0 } else { (x.exp_m1() / x).sqrt() }
    }

    /// Electrons at which a pixel or the converter stops.
    pub(crate) fn saturation(&self) -> f64 {
        self.well.min((self.top - self.offset) * self.gain)
    }
}
