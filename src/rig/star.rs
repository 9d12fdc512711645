//! How wide a star is on the sensor, and how soon it saturates.

use crate::stats::erf;
use crate::units::{Arcseconds, Electrons, ElectronsPerSecond, Nanometres, Seconds};

use super::{Mount, Optics};

/// Full width at half maximum of a Gaussian over its standard deviation: 2√(2 ln 2).
const FWHM_PER_SIGMA: f64 = 2.354_820_045_030_949;
/// Width that a uniform blur of length 1 adds in quadrature: 2.3548/√12.
const FWHM_PER_UNIFORM: f64 = 0.679_777_993_445_6;
/// Width of the diffraction disc in λ/D (full width at half maximum of the Airy pattern).
const DIFFRACTION_WIDTH: f64 = 1.029;

/// What widens a star, each as full width at half maximum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StarWidth {
    /// The air, at the target's airmass.
    pub seeing: Arcseconds,
    /// The aperture.
    pub diffraction: Arcseconds,
    /// The guiding.
    pub guiding: Arcseconds,
    /// The pixel.
    pub pixel: Arcseconds,
}

impl StarWidth {
    /// The parts of a star's width.
    ///
    /// ```text
    /// seeing · X^0.6,   1.029 λ/D,   2.3548 σ_guide,   0.6798 s
    /// ```
    ///
    /// `X` is the airmass, `σ_guide` the guiding error of one axis: the total over √2. Seeing with airmass is from
    /// memory (Kolmogorov turbulence); its weak fall with wavelength is left out. An obstruction narrows the
    /// disc by some per cent, which is left out too.
    #[must_use]
    pub fn new(
        seeing: Arcseconds,
        airmass: f64,
        optics: &Optics,
        wavelength: Nanometres,
        mount: &Mount,
        pixel_scale: Arcseconds,
    ) -> Self {
        let radians = DIFFRACTION_WIDTH * wavelength.0 * 1e-6 / optics.aperture_mm.0;
        let guiding = if mount.guided() { mount.guide_rms() } else { Arcseconds(0.0) };
        Self {
            seeing: seeing * airmass.powf(0.6),
            diffraction: Arcseconds(radians.to_degrees() * 3600.0),
            guiding: guiding * (FWHM_PER_SIGMA / std::f64::consts::SQRT_2),
            pixel: pixel_scale * FWHM_PER_UNIFORM,
        }
    }

    /// The width of the image that falls on the sensor.
    #[must_use]
    pub fn optical(&self) -> Arcseconds {
        crate::units::quadrature(&[self.seeing, self.diffraction, self.guiding])
    }

    /// The width that is measured in the frame, pixel included.
    #[must_use]
    pub fn on_sensor(&self) -> Arcseconds {
        crate::units::quadrature(&[self.seeing, self.diffraction, self.guiding, self.pixel])
    }
}

/// The share of a star's light in its brightest pixel, when the star is centred on it.
///
/// ```text
/// p = erf(1 / (2√2 σ))²,   σ = FWHM / 2.3548
/// ```
///
/// `fwhm_px` is the width of the image before the pixel samples it, a Gaussian; real images have wings, which
/// take 10 to 25 % away from the peak.
///
/// # Source
/// The integral of a Gaussian over a square.
///
/// ```
/// assert!((subwell::rig::peak_pixel_fraction(3.0) - 0.0932).abs() < 5e-5);
/// ```
#[must_use]
pub fn peak_pixel_fraction(fwhm_px: f64) -> f64 {
    let sigma = fwhm_px.abs() / FWHM_PER_SIGMA;
    if sigma > 0.0 { erf(0.5 / (std::f64::consts::SQRT_2 * sigma)).powi(2) } else { 1.0 }
}

/// [`peak_pixel_fraction`] with the star's middle off the pixel's by these shares of a pixel.
///
/// ```text
/// p = p(dx) p(dy),   p(d) = ½ [erf((d + ½)/√2σ) − erf((d − ½)/√2σ)]
/// ```
///
/// At (½, ½) the light falls on four pixels alike: the least that a brightest pixel gets.
#[must_use]
pub fn pixel_fraction_at(fwhm_px: f64, dx: f64, dy: f64) -> f64 {
    let sigma = fwhm_px.abs() / FWHM_PER_SIGMA;
    let below = |edge: f64| erf(edge / (std::f64::consts::SQRT_2 * sigma));
    let share = |offset: f64| 0.5 * (below(offset + 0.5) - below(offset - 0.5));
    if sigma > 0.0 { share(dx) * share(dy) } else { f64::from(u8::from(dx.abs() < 0.5 && dy.abs() < 0.5)) }
}

/// A star's image with wings.
///
/// ```text
/// I(r) ∝ (1 + r²/α²)^−β,   α = FWHM / (2 √(2^(1/β) − 1))
/// ```
///
/// `β` is 4.765 for turbulence alone and 2.5 to 3.5 in real telescopes; the smaller, the more light is in the wings.
///
/// # Source
/// Moffat 1969, A&A 3, 455; the values of β: Trujillo et al. 2001, MNRAS 328, 977, from memory.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moffat {
    /// Full width at half maximum, in any unit of length.
    pub fwhm: f64,
    /// The exponent β, above 1.
    pub beta: f64,
}

impl Moffat {
    /// `α`.
    fn radius(self) -> f64 {
        self.fwhm / (2.0 * (2_f64.powf(1.0 / self.beta) - 1.0).sqrt())
    }

    /// Share of the light in one unit of area in the middle: `(β − 1)/(π α²)`.
    #[must_use]
    pub fn central_density(self) -> f64 {
        (self.beta - 1.0) / (std::f64::consts::PI * self.radius().powi(2))
    }

    /// Share of the light within a radius: `1 − (1 + r²/α²)^(1 − β)`.
    ///
    /// ```
    /// use subwell::rig::Moffat;
    /// // Half of the light lies within a radius that is larger than half of the width.
    /// assert!(Moffat { fwhm: 3.0, beta: 3.0 }.encircled(1.5) < 0.5);
    /// ```
    #[must_use]
    pub fn encircled(self, radius: f64) -> f64 {
        1.0 - (1.0 + (radius / self.radius()).powi(2)).powf(1.0 - self.beta)
    }

    /// Share of the light in the brightest pixel, the star centred on it and `fwhm` in pixels.
    #[must_use]
    pub fn peak_pixel_fraction(self) -> f64 {
        let alpha = self.radius();
        let profile = |x: f64, y: f64| (1.0 + (x * x + y * y) / (alpha * alpha)).powf(-self.beta);
        // A quarter of the pixel, in the middles of small squares: the profile is smooth, 40 a side leave 1e-5.
        let middles = || (0..40).map(|step| (f64::from(step) + 0.5) / 80.0);
        let quarter: f64 = middles().flat_map(|x| middles().map(move |y| profile(x, y))).sum();
        self.central_density() * quarter * 4.0 / 6400.0
    }
}

/// The longest sub before a pixel is full.
///
/// ```text
/// t = well / (p F + B)
/// ```
///
/// `well` is what the pixel can hold above its offset, `star` the star's whole rate `F`, `peak_fraction` is `p`,
/// `background` the rates of sky, Moon and dark current together. With no star (`star` 0) it is the time at which the
/// sky saturates. `None` when nothing falls on the pixel.
#[must_use]
pub fn saturation_time(
    well: Electrons,
    star: ElectronsPerSecond,
    peak_fraction: f64,
    background: ElectronsPerSecond,
) -> Option<Seconds> {
    let rate = star * peak_fraction + background;
    (rate.0 > 0.0 && well.0 > 0.0).then(|| well / rate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_puts_all_its_light_into_one_pixel() {
        assert_eq!(peak_pixel_fraction(0.0), 1.0);
        assert!(peak_pixel_fraction(0.2) > 0.999);
    }

    #[test]
    fn all_offsets_of_a_pixel_share_the_light_between_them() {
        let row = |dy: f64| (-20..=20).map(|dx| pixel_fraction_at(3.0, f64::from(dx), dy)).sum::<f64>();
        let all: f64 = (-20..=20).map(|dy| row(f64::from(dy))).sum();
        approx::assert_relative_eq!(all, 1.0, epsilon = 1e-12);
        assert_eq!((pixel_fraction_at(0.0, 0.2, 0.0), pixel_fraction_at(0.0, 0.7, 0.0)), (1.0, 0.0));
    }

    #[test]
    fn an_empty_sky_never_saturates() {
        assert_eq!(saturation_time(Electrons(5e4), ElectronsPerSecond(0.0), 0.1, ElectronsPerSecond(0.0)), None);
    }
}
