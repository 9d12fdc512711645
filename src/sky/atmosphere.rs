//! What the air takes from a star or a target on the way down. A sky reading is light at the aperture: it is never
//! dimmed by this.

use crate::reading::OutOfRange;
use crate::stats::Estimate;
use crate::units::{Degrees, MAGNITUDES_PER_LOGARITHM, Magnitudes, MagnitudesPerSquareArcsecond, Metres, Nanometres};

use super::{Site, SkyError};

/// The wavelength of V (Bessell, Castelli & Plez 1998, A&A 333, 231).
const V: Nanometres = Nanometres(545.0);

/// Scale height of the air that scatters, in metres.
const AIR_SCALE_HEIGHT: f64 = 7996.0;
/// Scale height of the haze, in metres.
const HAZE_SCALE_HEIGHT: f64 = 1500.0;

/// Ozone's extinction at the zenith, nm against mag; from memory of its Chappuis band, read off at 440, 500, 550, 600
/// and 656 nm so that the model meets observed extinction.
const OZONE: [(f64, f64); 7] =
    [(440.0, 0.0), (500.0, 0.010), (550.0, 0.028), (600.0, 0.030), (656.0, 0.018), (720.0, 0.005), (800.0, 0.0)];

/// The air that a ray crosses, in units of the zenith's.
///
/// ```text
/// X = 1 / (sin h + 0.50572 (h + 6.07995°)^−1.6364)
/// ```
///
/// `h` is the altitude in degrees. Refraction is not added to `h`.
///
/// # Source
/// Kasten & Young 1989, Applied Optics 28, 4735.
///
/// # Errors
/// When the altitude lies outside 0 to 90°.
///
/// # Examples
/// ```
/// use subwell::{sky::airmass, units::Degrees};
/// assert!((airmass(Degrees(30.0))? - 1.9943).abs() < 5e-5);
/// # Ok::<(), subwell::sky::SkyError>(())
/// ```
pub fn airmass(altitude: Degrees) -> Result<f64, SkyError> {
    OutOfRange::check("altitude_deg", altitude.0, 0.0, 90.0)?;
    Ok(1.0 / (altitude.radians().sin() + 0.505_72 * (altitude.0 + 6.079_95).powf(-1.6364)))
}

/// The air that a ray crosses, from the altitude at which the star is *seen*.
///
/// ```text
/// X = 1 / sin(h + 244/(165 + 47 h^1.1))
/// ```
///
/// `h` is the apparent altitude in degrees, refraction included: what an eyepiece or a plate solution shows. [`airmass`]
/// takes the altitude without refraction; down to 5° the two laws differ by less than 0.3 % of the air.
///
/// # Source
/// Pickering 2002, DIO 12, 20.
///
/// # Errors
/// When the altitude lies outside 0 to 90°.
///
/// # Examples
/// ```
/// use subwell::{sky::airmass_of_apparent, units::Degrees};
/// assert!((airmass_of_apparent(Degrees(10.0))? - 5.5807).abs() < 5e-5);
/// # Ok::<(), subwell::sky::SkyError>(())
/// ```
pub fn airmass_of_apparent(altitude: Degrees) -> Result<f64, SkyError> {
    OutOfRange::check("altitude_deg", altitude.0, 0.0, 90.0)?;
    let lifted = altitude.0 + 244.0 / (165.0 + 47.0 * altitude.0.powf(1.1));
    Ok(1.0 / lifted.to_radians().sin())
}

/// The share of a star's light that arrives.
///
/// ```text
/// 10^(−0.4 k X)
/// ```
///
/// `extinction` is `k` per airmass, `airmass` is `X`.
#[must_use]
pub fn transmission(extinction: Magnitudes, airmass: f64) -> f64 {
    10_f64.powf(-0.4 * extinction.0 * airmass)
}

/// Extinction per airmass on a clear, average night.
///
/// ```text
/// k(λ, h) = 0.1451 (0.51/λ)⁴ e^(−h/7.996) + ozone(λ) + 0.120 (0.51/λ)^1.3 e^(−h/1.5)    λ in µm, h in km
/// ```
///
/// Holds from 400 to 800 nm, outside of the bands of water; haze can double the last term.
///
/// # Source
/// Green 1992, International Comet Quarterly 14, 55 (form and constants from memory; ozone with wavelength: derived
/// here). It meets the extinction measured at 1700 m and 2635 m within 0.03 mag, see the tests.
#[must_use]
pub fn clear_night_extinction(wavelength: Nanometres, height: Metres) -> Magnitudes {
    let haze = 0.120 * (510.0 / wavelength.0).powf(1.3) * (-height.0 / HAZE_SCALE_HEIGHT).exp();
    let ozone = super::spectrum::interpolated(&OZONE, wavelength.0);
    air_extinction(wavelength, height) + Magnitudes(ozone + haze)
}

/// What the air's molecules alone take, per airmass: the first term of [`clear_night_extinction`], the least that any
/// night has.
///
/// # Source
/// Green 1992, as above; Rayleigh's λ^−4 with its constant, 4 % off the full law (Bodhaine et al. 1999) in the
/// ultraviolet and the red.
#[must_use]
pub fn air_extinction(wavelength: Nanometres, height: Metres) -> Magnitudes {
    Magnitudes(0.1451 * (510.0 / wavelength.0).powi(4) * (-height.0 / AIR_SCALE_HEIGHT).exp())
}

/// Share of the natural sky that shines above the scattering air: airglow, in layers.
const AIRGLOW_SHARE: f64 = 0.6;

/// How much brighter the natural sky is at a zenith distance than at the zenith.
///
/// ```text
/// Δm = 2.5 log₁₀[(1 − f) + f X] − k (X − 1),   f = 0.6
/// ```
///
/// `X` is [`super::night::scattering_airmass`], `k` the extinction per airmass. It says nothing of lamps, and lacks the
/// Milky Way and the zodiacal light's place.
///
/// # Source
/// Patat 2003, A&A 400, 1183, appendix C, equation C.4.
///
/// # Examples
/// ```
/// use subwell::{sky::natural_brightening, units::{Degrees, Magnitudes}};
/// assert!((natural_brightening(Degrees(60.0), Magnitudes(0.11)).0 - 0.367).abs() < 1e-3);
/// ```
#[must_use]
pub fn natural_brightening(zenith_distance: Degrees, extinction: Magnitudes) -> Magnitudes {
    let air = super::night::scattering_airmass(zenith_distance);
    Magnitudes(2.5 * (1.0 - AIRGLOW_SHARE + AIRGLOW_SHARE * air).log10() - extinction.0 * (air - 1.0))
}

/// How much brighter the lamps' light is at a zenith distance than at the zenith: magnitudes for each further unit of the
/// [scattering airmass](super::night::scattering_airmass), and their standard uncertainty from direction to direction.
///
/// 30° high a sky is 0.5 to 1 mag brighter than at the zenith towards a town, and 0.2 to 0.5 mag away from it: common practice,
/// no source. Nothing in closed form says more without a map of the lamps.
const LAMPS_PER_AIR: [f64; 2] = [0.6, 0.35];

/// How many times as bright as at the zenith the sky is in some direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brightening {
    /// Airglow and zodiacal light ([`natural_brightening`]).
    pub natural: f64,
    /// The lamps' light.
    pub lamps: f64,
    /// Standard uncertainty of the logarithm of `lamps`.
    pub lamps_spread: f64,
}

impl Brightening {
    /// The zenith itself.
    pub const ZENITH: Self = Self { natural: 1.0, lamps: 1.0, lamps_spread: 0.0 };

    /// At an altitude, the direction to the towns unknown.
    ///
    /// ```text
    /// natural: natural_brightening;   lamps: 10^(0.4 · 0.6 (X − 1)), good to 0.35 (X − 1) mag
    /// ```
    ///
    /// `X` is the scattering airmass; below the horizon it is that of the horizon. `extinction` is that in V per airmass.
    ///
    /// # Source
    /// Natural light: Patat 2003, appendix C. Lamps: common practice, no source.
    ///
    /// # Examples
    /// ```
    /// use subwell::{sky::Brightening, units::{Degrees, Magnitudes}};
    /// let low = Brightening::at(Degrees(30.0), Magnitudes(0.24));
    /// assert!((2.5 * low.lamps.log10() - 0.534).abs() < 1e-3);
    /// ```
    #[must_use]
    pub fn at(altitude: Degrees, extinction: Magnitudes) -> Self {
        let zenith_distance = Degrees(90.0 - altitude.0.clamp(0.0, 90.0));
        let further = super::night::scattering_airmass(zenith_distance) - 1.0;
        let [brighter, spread] = LAMPS_PER_AIR;
        Self {
            natural: 10_f64.powf(0.4 * natural_brightening(zenith_distance, extinction).0),
            lamps: 10_f64.powf(0.4 * brighter * further),
            lamps_spread: spread * further / MAGNITUDES_PER_LOGARITHM,
        }
    }

    /// This direction for a sky that was measured in another: towards the towns both are brighter, so that only the
    /// difference of their heights is unknown.
    #[must_use]
    pub fn measured_towards(&self, seen: &Self) -> Self {
        Self { lamps_spread: (self.lamps_spread - seen.lamps_spread).abs(), ..*self }
    }

    /// The V magnitude in this direction of a sky that has this one at the zenith.
    ///
    /// What is brighter than [`NATURAL_SKY`](super::NATURAL_SKY) is the lamps'.
    #[must_use]
    pub fn of_zenith(&self, zenith: MagnitudesPerSquareArcsecond) -> MagnitudesPerSquareArcsecond {
        let [natural, lamps] = parts_of(zenith);
        MagnitudesPerSquareArcsecond(-2.5 * (natural * self.natural + lamps * self.lamps).log10())
    }

    /// The V magnitude at the zenith of a sky that has this one in this direction: the inverse of
    /// [`Brightening::of_zenith`].
    ///
    /// # Examples
    /// ```
    /// use subwell::{sky::Brightening, units::{Degrees, Magnitudes, MagnitudesPerSquareArcsecond}};
    /// let low = Brightening::at(Degrees(30.0), Magnitudes(0.24));
    /// let zenith = MagnitudesPerSquareArcsecond(19.0);
    /// assert!((low.zenith_of(low.of_zenith(zenith)) - zenith).0.abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn zenith_of(&self, seen: MagnitudesPerSquareArcsecond) -> MagnitudesPerSquareArcsecond {
        let seen = 10_f64.powf(-0.4 * seen.0);
        let natural = (seen / self.natural).min(10_f64.powf(-0.4 * super::NATURAL_SKY.0));
        let lamps = ((seen - natural * self.natural) / self.lamps).max(0.0);
        MagnitudesPerSquareArcsecond(-2.5 * (natural + lamps).log10())
    }

    /// How unsure the zenith's magnitude is where it was measured in this direction.
    #[must_use]
    pub fn unsure_by(&self, zenith: MagnitudesPerSquareArcsecond) -> Magnitudes {
        let [natural, lamps] = parts_of(zenith);
        Magnitudes(MAGNITUDES_PER_LOGARITHM * self.lamps_spread * lamps / (natural + lamps))
    }

    /// The mean of several, each with its weight; the directions' unknowns are one.
    #[must_use]
    pub fn mean(parts: &[(f64, Self)]) -> Self {
        let total: f64 = parts.iter().map(|(weight, _)| weight).sum();
        let mean = |of: fn(&Self) -> f64| parts.iter().map(|(weight, part)| weight * of(part)).sum::<f64>() / total;
        Self { natural: mean(|p| p.natural), lamps: mean(|p| p.lamps), lamps_spread: mean(|p| p.lamps_spread) }
    }
}

/// What of a zenith's light is natural, and what the lamps'.
fn parts_of(zenith: MagnitudesPerSquareArcsecond) -> [f64; 2] {
    let flux = |magnitude: MagnitudesPerSquareArcsecond| 10_f64.powf(-0.4 * magnitude.0);
    let natural = flux(zenith).min(flux(super::NATURAL_SKY));
    [natural, flux(zenith) - natural]
}

impl Site {
    /// The sky's V magnitude at the zenith, and the direction in which it was measured: of it the uncertainty holds nothing
    /// ([`Brightening::unsure_by`]).
    ///
    /// # Errors
    /// As [`GivenSky::magnitude`](super::GivenSky::magnitude).
    pub fn zenith_sky(&self) -> Result<(Estimate<MagnitudesPerSquareArcsecond>, Brightening), SkyError> {
        let sky = self.sky();
        let given = sky.magnitude()?;
        let Some(altitude) = sky.altitude() else { return Ok((given, Brightening::ZENITH)) };
        let seen = Brightening::at(altitude, self.extinction());
        Ok((Estimate::new(seen.zenith_of(given.value).0, given.uncertainty.0), seen))
    }

    /// Extinction in V per airmass: as given, or [`clear_night_extinction`] at the site's height.
    #[must_use]
    pub fn extinction(&self) -> Magnitudes {
        self.extinction_mag.unwrap_or_else(|| clear_night_extinction(V, self.height()))
    }

    /// Extinction per airmass at another wavelength: [`Site::extinction`] times the clear night's ratio to V.
    #[must_use]
    pub fn extinction_at(&self, wavelength: Nanometres) -> Magnitudes {
        let clear = |wavelength| clear_night_extinction(wavelength, self.height());
        self.extinction() * (clear(wavelength) / clear(V))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_what_is_below_the_horizon() {
        assert!(airmass(Degrees(-0.1)).is_err());
        assert!(airmass(Degrees(f64::NAN)).is_err());
    }

    #[test]
    fn a_given_extinction_is_kept_in_v_and_grows_towards_blue() {
        let site = Site { extinction_mag: Some(Magnitudes(0.4)), ..Site::default() };
        approx::assert_relative_eq!(site.extinction_at(V).0, 0.4);
        assert!(site.extinction_at(Nanometres(450.0)).0 > 0.5);
        assert!(site.extinction_at(Nanometres(656.0)).0 < 0.3);
    }
}
