//! The scales in which a sky's brightness is said, and the ways between them.

use crate::keys::key;
use crate::stats::Estimate;
use crate::units::{CandelasPerSquareMetre, Magnitudes, MagnitudesPerSquareArcsecond};

use super::{GivenSky, SkyError};

/// V magnitude and one standard uncertainty of each Bortle class, 1 first.
///
/// Derived here from several public tables, which disagree by half a magnitude: the centre of what they say. The
/// classes (Bortle 2001, Sky & Telescope 101, 126) describe what is seen and were never tied to a magnitude.
const BORTLE: [(f64, f64); 9] = [
    (21.9, 0.15),
    (21.7, 0.15),
    (21.5, 0.2),
    (20.9, 0.4),
    (19.8, 0.4),
    (18.9, 0.4),
    (18.5, 0.4),
    (17.9, 0.4),
    (17.2, 0.6),
];

/// Standard uncertainty of a magnitude typed from a sky meter: 0.1 of calibration (den Outer et al. 2011, Sensors 11,
/// 9603, found units to scatter by 14 %) and up to 0.2 of lamp colour (Sánchez de Miguel et al. 2017, MNRAS 467, 2966,
/// show that no fixed conversion to V exists).
const READING_UNCERTAINTY: f64 = 0.20;

/// Standard uncertainty of a magnitude from a naked-eye limit, from memory: observers differ by more than the eye.
const LIMIT_UNCERTAINTY: f64 = 0.5;

/// The brightest sky whose naked-eye limit is taken: below it the eye's law changes branch (18.39 mag/arcsec²).
const LEAST_LIMIT: f64 = key!(NIGHT, "site.sky.limiting_mag").low;
/// The darkest: beyond it the inversion runs away (7.6 would give 25.5 mag/arcsec², three magnitudes below airglow).
const MOST_LIMIT: f64 = key!(NIGHT, "site.sky.limiting_mag").high;

/// Luminance of magnitude 0 per square arcsecond in cd/m², the trade's conversion; V is not luminance, and the
/// spectrum moves it by 10 to 25 % (Bará et al. 2020, MNRAS 493, 2429).
const LUMINANCE_OF_MAGNITUDE_0: f64 = 10.8e4;

/// V magnitude of the natural sky (Falchi et al. 2016, Science Advances 2, e1600377).
pub const NATURAL_SKY: MagnitudesPerSquareArcsecond = MagnitudesPerSquareArcsecond(22.0);

/// Luminance at which the eye's law changes branch, in nanolamberts (Schaefer 1990, PASP 102, 212; from memory).
const BRANCH_NANOLAMBERT: f64 = 1500.0;

pub(super) fn check_limiting(limit: Magnitudes) -> Result<(), SkyError> {
    if (LEAST_LIMIT..=MOST_LIMIT).contains(&limit.0) {
        Ok(())
    } else {
        Err(SkyError::LimitingMagnitude { found: limit.0, low: LEAST_LIMIT, high: MOST_LIMIT })
    }
}

impl GivenSky {
    /// The sky's V magnitude per square arcsecond, with the uncertainty of the scale it was given in.
    ///
    /// A Bortle class is worth ± 0.4 mag, which is ± 40 % in the sky's electrons; a reading ± 0.2; a naked-eye limit
    /// ± 0.5.
    ///
    /// # Errors
    /// When the number is none of its scale, or the sky was given as a rate: that becomes a magnitude only through the
    /// optics ([`super::magnitude_of`]).
    ///
    /// # Examples
    /// ```
    /// use subwell::sky::GivenSky;
    /// let sky = GivenSky::Bortle(7).magnitude()?;
    /// assert_eq!((sky.value.0, sky.uncertainty.0), (18.5, 0.4));
    /// # Ok::<(), subwell::sky::SkyError>(())
    /// ```
    pub fn magnitude(&self) -> Result<Estimate<MagnitudesPerSquareArcsecond>, SkyError> {
        self.check()?;
        match self {
            Self::Bortle(class) => {
                let (magnitude, uncertainty) = BORTLE[usize::from(*class) - 1];
                Ok(Estimate::new(magnitude, uncertainty))
            }
            Self::Magnitude(magnitude) | Self::MagnitudeAt { magnitude, .. } => {
                Ok(Estimate::new(magnitude.0, READING_UNCERTAINTY))
            }
            Self::LimitingMagnitude(limit) => Ok(Estimate::new(from_limiting(*limit)?.0, LIMIT_UNCERTAINTY)),
            Self::Measured { e_per_s, .. } => Err(SkyError::NeedsTheLightChain { e_per_s: e_per_s.value.0 }),
        }
    }
}

/// The sky's V magnitude from a hand-held sky meter's reading.
///
/// ```text
/// V = reading − 0.15 a ± √(0.1² + (0.17 a)²),   a = 1 − 10^(−0.4 (22.0 − reading))
/// ```
///
/// `a` is the share of artificial light: under lamps the meter's wide, blue band reads 0.1 to 0.2 mag darker than V and
/// the lamps' colour is not known; under a natural sky only the unit's calibration is unsure.
///
/// # Source
/// Derived here from lamp spectra (CIE 15:2018) and a Gaussian response of 240 nm about 540 nm, from memory; that no
/// fixed conversion exists: Sánchez de Miguel et al. 2017, MNRAS 467, 2966.
///
/// ```
/// use subwell::{sky::from_meter, units::MagnitudesPerSquareArcsecond};
/// let town = from_meter(MagnitudesPerSquareArcsecond(18.0));
/// assert!((town.value.0 - 17.854).abs() < 0.001 && (town.uncertainty.0 - 0.193).abs() < 0.002);
/// ```
#[must_use]
pub fn from_meter(reading: MagnitudesPerSquareArcsecond) -> Estimate<MagnitudesPerSquareArcsecond> {
    let natural = 10_f64.powf(-0.4 * (NATURAL_SKY - reading).0);
    let artificial = (1.0 - natural).clamp(0.0, 1.0);
    Estimate::new(reading.0 - 0.15 * artificial, 0.1_f64.hypot(0.17 * artificial))
}

/// The Bortle class whose magnitude lies nearest.
///
/// ```
/// use subwell::{sky::bortle_class, units::MagnitudesPerSquareArcsecond};
/// assert_eq!(bortle_class(MagnitudesPerSquareArcsecond(20.7)), 4);
/// ```
#[must_use]
pub fn bortle_class(magnitude: MagnitudesPerSquareArcsecond) -> u8 {
    let halfway = |pair: &&[(f64, f64)]| magnitude.0 < (pair[0].0 + pair[1].0) / 2.0;
    let darker = BORTLE.windows(2).filter(halfway).count();
    darker as u8 + 1
}

/// The faintest star seen with the naked eye under a sky of this magnitude.
///
/// ```text
/// NELM = 7.93 − 5 log₁₀(10^(4.316 − μ/5) + 1)                 below 1500 nL
/// NELM = −16.57 − 2.5 log₁₀(10^−8.35 (1 + √(10^−5.90 B))²)    above, B in nL
/// ```
///
/// The two branches miss each other by 0.1 mag where they meet; observers differ by 0.5 mag.
///
/// # Source
/// Schaefer 1990, PASP 102, 212 (constants from memory); the first line is its dark branch with the sky in magnitudes.
#[must_use]
pub fn limiting_magnitude(magnitude: MagnitudesPerSquareArcsecond) -> Magnitudes {
    let brightness = nanolambert(magnitude);
    if brightness < BRANCH_NANOLAMBERT {
        Magnitudes(7.93 - 5.0 * (10_f64.powf(4.316 - magnitude.0 / 5.0) + 1.0).log10())
    } else {
        let eye = 1.0 + (10_f64.powf(-5.90) * brightness).sqrt();
        Magnitudes(-16.57 - 2.5 * (10_f64.powf(-8.35) * eye * eye).log10())
    }
}

/// The sky's magnitude from the faintest star seen with the naked eye.
///
/// ```text
/// μ = 21.58 − 5 log₁₀(10^(1.586 − NELM/5) − 1)
/// ```
///
/// # Source
/// The inverse of [`limiting_magnitude`]'s dark branch.
///
/// # Errors
/// When the limit lies outside 4.5 to 6.5: the inversion says nothing there.
pub fn from_limiting(limit: Magnitudes) -> Result<MagnitudesPerSquareArcsecond, SkyError> {
    check_limiting(limit)?;
    Ok(MagnitudesPerSquareArcsecond(21.58 - 5.0 * (10_f64.powf(1.586 - limit.0 / 5.0) - 1.0).log10()))
}

/// Brightness in nanolamberts, the unit of the older literature.
///
/// ```text
/// B = 34.08 exp(20.7233 − 0.92104 V)
/// ```
///
/// # Source
/// Krisciunas & Schaefer 1991, PASP 103, 1033, who take it from Garstang 1989, PASP 101, 306.
#[must_use]
pub fn nanolambert(magnitude: MagnitudesPerSquareArcsecond) -> f64 {
    34.08 * (20.7233 - 0.921_04 * magnitude.0).exp()
}

/// The magnitude of so many nanolamberts, the inverse of [`nanolambert`]; `None` unless there is light.
#[must_use]
pub fn magnitude_of_nanolambert(brightness: f64) -> Option<MagnitudesPerSquareArcsecond> {
    let magnitude = (20.7233 - (brightness / 34.08).ln()) / 0.921_04;
    magnitude.is_finite().then_some(MagnitudesPerSquareArcsecond(magnitude))
}

/// Luminance of a sky of this V magnitude; the lamps' spectrum moves it by 10 to 25 %.
///
/// ```text
/// L = 10.8·10⁴ · 10^(−0.4 μ) cd/m²
/// ```
///
/// # Source
/// Common practice; its zero point agrees within 2 % with the 10.96·10⁴ cd/m² of the CIE V(λ) band (Bará 2017,
/// International Journal of Sustainable Lighting 19, 104).
#[must_use]
pub fn luminance(magnitude: MagnitudesPerSquareArcsecond) -> CandelasPerSquareMetre {
    CandelasPerSquareMetre(LUMINANCE_OF_MAGNITUDE_0 * 10_f64.powf(-0.4 * magnitude.0))
}

/// The V magnitude of a sky of this luminance, the inverse of [`luminance`]; `None` unless it is above 0.
#[must_use]
pub fn from_luminance(luminance: CandelasPerSquareMetre) -> Option<MagnitudesPerSquareArcsecond> {
    let magnitude = -2.5 * (luminance.0 / LUMINANCE_OF_MAGNITUDE_0).log10();
    magnitude.is_finite().then_some(MagnitudesPerSquareArcsecond(magnitude))
}

/// Artificial light over natural light; 0 for a sky darker than the natural one.
///
/// ```text
/// r = 10^(0.4 (22.0 − μ)) − 1
/// ```
///
/// # Source
/// The definition of Falchi et al. 2016, Science Advances 2, e1600377, with their natural sky of 22.0 mag/arcsec².
#[must_use]
pub fn artificial_ratio(magnitude: MagnitudesPerSquareArcsecond) -> f64 {
    (10_f64.powf(0.4 * (NATURAL_SKY - magnitude).0) - 1.0).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_class_is_the_class_of_its_own_magnitude() {
        for class in 1..=9 {
            let magnitude = GivenSky::Bortle(class).magnitude().unwrap();
            assert_eq!(bortle_class(magnitude.value), class);
        }
    }

    #[test]
    fn refuses_class_0_and_10() {
        assert!(GivenSky::Bortle(0).magnitude().is_err());
        assert!(GivenSky::Bortle(10).magnitude().is_err());
    }

    #[test]
    fn refuses_limits_where_the_inversion_runs_away() {
        for limit in [4.4, 6.6, 7.6, f64::NAN] {
            assert!(from_limiting(Magnitudes(limit)).is_err(), "{limit}");
        }
    }

    #[test]
    fn the_limit_falls_with_the_sky_across_the_branch() {
        let limit = |magnitude| limiting_magnitude(MagnitudesPerSquareArcsecond(magnitude)).0;
        assert!(limit(18.0) < limit(18.38) && limit(18.38) < limit(18.40) && limit(18.40) < limit(19.0));
    }
}
