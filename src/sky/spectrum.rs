//! The sky's spectrum: how many photons per nanometre a filter meets under a sky of a given V magnitude.

use crate::stats::Estimate;
use crate::units::{
    Band, Colour, MagnitudesPerSquareArcsecond, PHOTONS_OF_V_MAGNITUDE_0, PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY,
    PhotonDensity,
};

use super::Brightening;
use super::Lamps;
use super::scales::NATURAL_SKY;

/// A spectral factor and the standard uncertainty of its logarithm.
type Factor = (f64, f64);

/// The factors of one kind of light, in the bands of the trade.
struct Spectrum {
    wide: Factor,
    /// nm, factor, for windows of about 100 nm.
    broad: [(f64, Factor); 3],
    /// nm, factor, for windows of a few nm.
    narrow: [(f64, Factor); 3],
    /// R, G, B of a colour array, relative to its own effective width.
    array: [Factor; 3],
}

/// Airglow and zodiacal light. Narrow and wide: derived here from the airglow continuum and published dark-sky
/// colours; broad and array: derived here from B−V 0.8 to 1.0 and V−R 0.7 to 0.9 (Benn & Ellison 1998, La Palma
/// Technical Note 115; Patat 2003, A&A 400, 1183), the red one lowered because the lines of OH lie beyond 690 nm.
const NATURAL: Spectrum = Spectrum {
    wide: (0.95, 0.10),
    broad: [(450.0, (0.61, 0.16)), (540.0, (1.0, 0.10)), (640.0, (1.1, 0.25))],
    narrow: [(500.7, (0.65, 0.31)), (656.3, (0.85, 0.29)), (672.4, (0.80, 0.31))],
    array: [(1.1, 0.22), (0.97, 0.10), (0.70, 0.17)],
};

/// A town between two lightings: narrow and wide derived here; broad and array the mean of the three lamps below.
const MIXED: Spectrum = Spectrum {
    wide: (0.80, 0.075),
    broad: [(450.0, (0.28, 0.47)), (540.0, (0.83, 0.18)), (640.0, (1.16, 0.15))],
    narrow: [(500.7, (0.50, 0.336)), (656.3, (0.75, 0.405)), (672.4, (0.60, 0.405))],
    array: [(1.42, 0.25), (0.77, 0.10), (0.38, 0.50)],
};

/// Derived here from the illuminants HP1 (high-pressure sodium), LED-B2 (3000 K) and LED-B3 (4100 K) of CIE 15:2018
/// and laboratory spectra of street lamps (NIST), as photons per nm in the band over photons per nm in V.
const SODIUM: Spectrum = Spectrum {
    wide: (0.76, 0.10),
    broad: [(450.0, (0.13, 0.47)), (540.0, (0.63, 0.15)), (640.0, (1.26, 0.15))],
    narrow: [(500.7, (0.45, 0.53)), (656.3, (0.45, 0.262)), (672.4, (0.45, 0.262))],
    array: [(1.85, 0.15), (0.68, 0.10), (0.17, 0.40)],
};
const LED_3000: Spectrum = Spectrum {
    wide: (0.83, 0.075),
    broad: [(450.0, (0.27, 0.22)), (540.0, (0.90, 0.10)), (640.0, (1.28, 0.15))],
    narrow: [(500.7, (0.45, 0.262)), (656.3, (1.0, 0.262)), (672.4, (0.75, 0.262))],
    array: [(1.31, 0.15), (0.79, 0.08), (0.40, 0.22)],
};
const LED_4000: Spectrum = Spectrum {
    wide: (0.77, 0.075),
    broad: [(450.0, (0.43, 0.22)), (540.0, (0.97, 0.10)), (640.0, (0.95, 0.15))],
    narrow: [(500.7, (0.62, 0.262)), (656.3, (0.70, 0.262)), (672.4, (0.50, 0.262))],
    array: [(1.10, 0.15), (0.85, 0.08), (0.57, 0.22)],
};
/// Sunlight scattered as λ^−2: narrow and wide derived here from the solar spectrum, broad and array likewise at the
/// middle of their windows.
const MOON: Spectrum = Spectrum {
    wide: (0.99, 0.10),
    broad: [(450.0, (1.22, 0.10)), (540.0, (1.01, 0.05)), (640.0, (0.74, 0.10))],
    narrow: [(500.7, (1.1, 0.10)), (656.3, (0.68, 0.10)), (672.4, (0.67, 0.10))],
    array: [(0.84, 0.10), (1.03, 0.05), (1.21, 0.10)],
};

impl Spectrum {
    fn for_lamps(lamps: Lamps) -> &'static Self {
        match lamps {
            Lamps::Mixed => &MIXED,
            Lamps::Led3000 => &LED_3000,
            Lamps::Led4000 => &LED_4000,
            Lamps::Sodium => &SODIUM,
        }
    }

    fn factor(&self, band: Band) -> Factor {
        let between = |points: &[(f64, Factor); 3], wavelength| {
            let factors = points.map(|(wavelength, (factor, _))| (wavelength, factor));
            let spreads = points.map(|(wavelength, (_, spread))| (wavelength, spread));
            (interpolated(&factors, wavelength), interpolated(&spreads, wavelength))
        };
        match band {
            Band::Wide => self.wide,
            Band::Broad(centre) => between(&self.broad, centre.0),
            Band::Narrow(centre) => between(&self.narrow, centre.0),
            Band::Array(Colour::Red) => self.array[0],
            Band::Array(Colour::Green) => self.array[1],
            Band::Array(Colour::Blue) => self.array[2],
        }
    }
}

/// A straight line between the two points about `at`; beyond the ends, the end's value.
pub(super) fn interpolated(points: &[(f64, f64)], at: f64) -> f64 {
    let next = points.partition_point(|(x, _)| *x < at);
    match (next.checked_sub(1).and_then(|before| points.get(before)), points.get(next)) {
        (Some((x0, y0)), Some((x1, y1))) => y0 + (y1 - y0) * (at - x0) / (x1 - x0),
        (Some((_, y)), None) | (None, Some((_, y))) => *y,
        (None, None) => 0.0,
    }
}

fn flux(magnitude: f64) -> f64 {
    10_f64.powf(-0.4 * magnitude)
}

/// The sky's light per nanometre in one band, the Moon apart.
///
/// ```text
/// S = 9955 { r_nat 10^(−0.4·22.0) + r_art [10^(−0.4 μ) − 10^(−0.4·22.0)] }   photons s⁻¹ cm⁻² arcsec⁻² nm⁻¹
/// ```
///
/// `r` is the photon flux per nm in the band over that in V at equal V magnitude. What is brighter than the natural
/// sky is artificial; a sky darker than that is all natural. The uncertainty holds the magnitude's, the factors' and
/// the zero point's (2.5 %).
///
/// Stops being true for windows with an airglow line (557.7, 589, 630 nm), for [O III] filters wider than 6 nm under
/// sodium lamps, and between the tabulated wavelengths, where a straight line is drawn.
///
/// # Source
/// Derived here; zero point: Bessell, Castelli & Plez 1998, A&A 333, 231.
///
/// # Examples
/// ```
/// use subwell::{sky::{photon_density, GivenSky, Lamps}, units::{Band, Rayleighs}};
/// let sky = GivenSky::Bortle(7).magnitude()?;
/// let light = photon_density(&sky, Lamps::Mixed, Band::Wide);
/// let (low, high) = light.interval();
/// assert!(low > 0.0 && high > 2.0 * light.value.0);
/// # Ok::<(), subwell::sky::SkyError>(())
/// ```
#[must_use]
pub fn photon_density(
    magnitude: &Estimate<MagnitudesPerSquareArcsecond>,
    lamps: Lamps,
    band: Band,
) -> Estimate<PhotonDensity> {
    photon_density_towards(magnitude, lamps, band, Brightening::ZENITH)
}

/// [`photon_density`] in a direction where the sky is so many times as bright as at the zenith, of which the magnitude is.
#[must_use]
pub fn photon_density_towards(
    magnitude: &Estimate<MagnitudesPerSquareArcsecond>,
    lamps: Lamps,
    band: Band,
    towards: Brightening,
) -> Estimate<PhotonDensity> {
    let zenith = flux(magnitude.value.0);
    let artificial = (zenith - zenith.min(flux(NATURAL_SKY.0))) * towards.lamps;
    let natural = zenith.min(flux(NATURAL_SKY.0)) * towards.natural;
    let (r_nat, u_nat) = NATURAL.factor(band);
    let (r_art, u_art) = Spectrum::for_lamps(lamps).factor(band);
    let light = r_nat * natural + r_art * artificial;
    // A brighter or darker sky is one with more or fewer lamps, unless there are none.
    let grown = if artificial > 0.0 { r_art * towards.lamps } else { r_nat * towards.natural };
    let slope = grown * zenith * 0.4 * std::f64::consts::LN_10;
    let lit = r_art * artificial;
    let spread = [slope * magnitude.uncertainty.0, lit * towards.lamps_spread, r_nat * natural * u_nat, lit * u_art];
    let relative =
        spread.iter().map(|part| (part / light).powi(2)).sum::<f64>() + PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY.powi(2);
    Estimate::within_factor(PHOTONS_OF_V_MAGNITUDE_0 * light, relative.sqrt())
}

/// The V magnitude of a sky whose light was measured in one band: the inverse of [`photon_density`].
///
/// With it a sky measured through one filter predicts the others. The uncertainty holds the measurement's and the
/// factors', so a prediction for the *same* band should use the measured rate itself.
///
/// `None` unless the light is above 0.
#[must_use]
pub fn magnitude_of(
    light: &Estimate<PhotonDensity>,
    lamps: Lamps,
    band: Band,
) -> Option<Estimate<MagnitudesPerSquareArcsecond>> {
    let (r_nat, u_nat) = NATURAL.factor(band);
    let (r_art, u_art) = Spectrum::for_lamps(lamps).factor(band);
    let seen = light.value.0 / PHOTONS_OF_V_MAGNITUDE_0;
    let natural = flux(NATURAL_SKY.0).min(seen / r_nat);
    let artificial = ((seen - r_nat * natural) / r_art).max(0.0);
    let total = natural + artificial;
    let r_seen = if artificial > 0.0 { r_art } else { r_nat };
    let measured = light.relative().hypot(PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY) * seen / r_seen;
    let spread = [measured, natural * u_nat * r_nat / r_seen, artificial * u_art];
    let relative = spread.iter().map(|part| (part / total).powi(2)).sum::<f64>().sqrt();
    let magnitude = -2.5 * total.log10();
    (magnitude.is_finite() && relative.is_finite())
        .then(|| Estimate::new(magnitude, relative * 2.5 / std::f64::consts::LN_10))
}

/// The Moon's light per nanometre in one band, from its own V magnitude per square arcsecond at the target.
///
/// Scattered sunlight: bluer than the Sun as λ^−2, derived here.
#[must_use]
pub fn moon_photon_density(moonlight: &Estimate<MagnitudesPerSquareArcsecond>, band: Band) -> Estimate<PhotonDensity> {
    let (factor, spread) = MOON.factor(band);
    let magnitude = moonlight.uncertainty.0 * 0.4 * std::f64::consts::LN_10;
    let relative = magnitude.hypot(spread).hypot(PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY);
    Estimate::within_factor(PHOTONS_OF_V_MAGNITUDE_0 * factor * flux(moonlight.value.0), relative)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Nanometres;

    #[test]
    fn a_measured_sky_has_the_magnitude_it_was_made_from() {
        for band in [Band::Wide, Band::Narrow(Nanometres(656.3)), Band::Array(Colour::Blue)] {
            for magnitude in [17.0, 21.5, 22.0, 22.3] {
                let light = photon_density(&Estimate::new(magnitude, 0.1), Lamps::Sodium, band);
                let back = magnitude_of(&light, Lamps::Sodium, band).unwrap();
                approx::assert_relative_eq!(back.value.0, magnitude, epsilon = 1e-9);
            }
        }
    }

    #[test]
    fn no_light_has_no_magnitude() {
        assert!(magnitude_of(&Estimate::new(0.0, 0.1), Lamps::Mixed, Band::Wide).is_none());
    }

    #[test]
    fn beyond_the_ends_of_a_table_its_end_holds() {
        let points = [(1.0, 10.0), (2.0, 20.0)];
        assert_eq!([0.0, 1.0, 1.5, 2.0, 3.0].map(|at| interpolated(&points, at)), [10.0, 10.0, 15.0, 20.0, 20.0]);
    }

    #[test]
    fn a_town_of_sodium_is_far_darker_in_blue_than_a_white_one() {
        let blue = |lamps| photon_density(&Estimate::new(18.0, 0.1), lamps, Band::Array(Colour::Blue)).value.0;
        assert!(blue(Lamps::Led4000) / blue(Lamps::Sodium) > 2.5);
    }
}
