//! The sky's spectrum: how many photons per nanometre a filter meets under a sky of a given V magnitude.
//!
//! Each kind of light is one curve over wavelength, photons per nm against those in V. What a filter meets is the curve's mean
//! over its [`Band`], whatever its width.

use crate::stats::Estimate;
use crate::units::{
    Band, MagnitudesPerSquareArcsecond, Nanometres, PHOTONS_OF_V_MAGNITUDE_0, PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY,
    PhotonDensity,
};

use super::Brightening;
use super::Lamps;
use super::scales::NATURAL_SKY;

/// A spectral factor and the standard uncertainty of its logarithm.
type Factor = (f64, f64);

/// Where the curves are given, in nm: straight lines between, the ends' values beyond.
const AT: [f64; 15] =
    [400.0, 425.0, 450.0, 475.0, 500.7, 520.0, 540.0, 560.0, 580.0, 600.0, 620.0, 640.0, 656.3, 672.4, 700.0];

/// A window much narrower than this in nm can lie on a line of the lamps or beside it, a wider one holds both.
const FINE: f64 = 25.0;

/// One kind of light.
///
/// The curves are the smoothest, drawn here, whose means are: at the three lines of the nebulae, the factors derived here for
/// windows of a few nm; over 396–504, 497–579, 590–690 and 400–700 nm and over the three bells of a colour array the factors of
/// the trade's filters, each within a few percent of what is named at the light; over V 1. Lamps have finer lines than
/// a smooth curve shows; the uncertainty of narrow windows holds them.
struct Spectrum {
    /// Photons per nm against V, at [`AT`].
    curve: [f64; 15],
    /// How sure the whole is.
    level: f64,
    /// Blue and red against V: standard uncertainties of the logarithm at 450, 545 and 640 nm, of one cause. A band that has
    /// both is the surer for it.
    tilt: [f64; 2],
    /// Lines that the curve does not show, below and above 580 nm.
    fine: [f64; 2],
}

/// Airglow and zodiacal light, from the airglow continuum and published dark-sky colours, B−V 0.8 to 1.0 and V−R 0.7 to 0.9
/// (Benn & Ellison 1998, La Palma Technical Note 115; Patat 2003, A&A 400, 1183): 0.61, 1.0, 1.1 in the three boxes, 0.95
/// over all, lowered in the red because the lines of OH lie beyond 690 nm.
const NATURAL: Spectrum = Spectrum {
    curve: [0.484, 0.679, 0.752, 0.657, 0.65, 0.86, 1.139, 1.388, 1.058, 1.127, 1.415, 1.074, 0.85, 0.80, 1.0],
    level: 0.10,
    tilt: [-0.13, 0.22],
    fine: [0.27, 0.15],
};

/// A town between two lightings: at the lines derived here; in wide bands the mean of the three lamps below, 0.28, 0.83, 1.16
/// in the boxes and 0.80 over all.
const MIXED: Spectrum = Spectrum {
    curve: [0.133, 0.187, 0.264, 0.371, 0.50, 0.649, 0.851, 1.122, 1.49, 1.954, 1.433, 1.009, 0.75, 0.60, 0.75],
    level: 0.075,
    tilt: [-0.46, 0.14],
    fine: [0.18, 0.36],
};

/// Derived here from the illuminants HP1 (high-pressure sodium), LED-B2 (3000 K) and LED-B3 (4100 K) of CIE 15:2018
/// and laboratory spectra of street lamps (NIST): 0.13, 0.63, 1.26 and 0.76 for sodium; 0.27, 0.90, 1.28 and 0.83; 0.43, 0.97,
/// 0.95 and 0.77 for the LEDs.
const SODIUM: Spectrum = Spectrum {
    curve: [0.031, 0.044, 0.069, 0.136, 0.45, 0.31, 0.445, 0.815, 1.747, 3.154, 2.031, 0.882, 0.45, 0.45, 0.474],
    level: 0.10,
    tilt: [-0.45, 0.12],
    fine: [0.42, 0.22],
};
const LED_3000: Spectrum = Spectrum {
    curve: [0.128, 0.18, 0.253, 0.356, 0.45, 0.617, 0.839, 1.121, 1.474, 1.562, 1.663, 1.261, 1.0, 0.75, 0.80],
    level: 0.075,
    tilt: [-0.21, 0.13],
    fine: [0.21, 0.21],
};
const LED_4000: Spectrum = Spectrum {
    curve: [0.126, 0.21, 0.43, 0.726, 0.62, 1.19, 1.074, 0.803, 0.918, 1.237, 1.453, 1.005, 0.70, 0.50, 0.51],
    level: 0.075,
    tilt: [-0.21, 0.13],
    fine: [0.21, 0.21],
};
/// Sunlight scattered as λ^−2, from the solar spectrum.
const MOON: Spectrum = Spectrum {
    curve: [1.141, 1.442, 1.331, 1.107, 1.1, 1.088, 1.027, 0.946, 0.893, 0.824, 0.797, 0.755, 0.68, 0.67, 0.67],
    level: 0.05,
    tilt: [0.08, -0.08],
    fine: [0.04, 0.04],
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

    fn at(&self, wavelength: Nanometres) -> f64 {
        let next = AT.partition_point(|nm| *nm < wavelength.0).clamp(1, AT.len() - 1);
        let share = ((wavelength.0 - AT[next - 1]) / (AT[next] - AT[next - 1])).clamp(0.0, 1.0);
        self.curve[next - 1] + (self.curve[next] - self.curve[next - 1]) * share
    }

    /// The mean over a band, and how sure that is.
    fn factor(&self, band: &Band) -> Factor {
        let mean = band.mean(|nm| self.at(nm));
        let tilts = self.tilts();
        let tilted = band.mean(|nm| self.at(nm) * interpolated(&tilts, nm.0)) / mean;
        let width = band.width().0;
        let red = ((band.centre().0 - 560.0) / 40.0).clamp(0.0, 1.0);
        let fine = (self.fine[0] * (1.0 - red) + self.fine[1] * red) / (1.0 + (width / FINE).powi(2)).sqrt();
        (mean, self.level.hypot(tilted).hypot(fine))
    }

    fn tilts(&self) -> [(f64, f64); 3] {
        [(450.0, self.tilt[0]), (545.0, 0.0), (640.0, self.tilt[1])]
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
/// `r` is the photon flux per nm in the band over that in V at equal V magnitude, the mean of one curve. What is brighter than the natural
/// sky is artificial; a sky darker than that is all natural. The uncertainty holds the magnitude's, the factors' and
/// the zero point's (2.5 %).
///
/// Stops being true for narrow windows on or beside a line of airglow (557.7, 589, 630 nm) or of sodium lamps (498, 568, 589,
/// 615 nm): the curves are smooth.
///
/// # Source
/// Derived here; zero point: Bessell, Castelli & Plez 1998, A&A 333, 231.
///
/// # Examples
/// ```
/// use subwell::{sky::{photon_density, GivenSky, Lamps}, units::{Band, Nanometres}};
/// let sky = GivenSky::Bortle(7).magnitude()?;
/// let luminance = Band::window(Nanometres(550.0), Nanometres(300.0));
/// let light = photon_density(&sky, Lamps::Mixed, &luminance);
/// let (low, high) = light.interval();
/// assert!(low > 0.0 && high > 2.0 * light.value.0);
/// # Ok::<(), subwell::sky::SkyError>(())
/// ```
#[must_use]
pub fn photon_density(
    magnitude: &Estimate<MagnitudesPerSquareArcsecond>,
    lamps: Lamps,
    band: &Band,
) -> Estimate<PhotonDensity> {
    photon_density_towards(magnitude, lamps, band, Brightening::ZENITH)
}

/// [`photon_density`] in a direction where the sky is so many times as bright as at the zenith, of which the magnitude is.
#[must_use]
pub fn photon_density_towards(
    magnitude: &Estimate<MagnitudesPerSquareArcsecond>,
    lamps: Lamps,
    band: &Band,
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

/// The V magnitude of a sky whose light was measured in one band: the inverse of [`photon_density`]; at the zenith, where
/// the light was measured `towards` a direction that is so many times as bright.
///
/// With it a sky measured through one filter predicts the others. The uncertainty holds the measurement's and the
/// factors', so a prediction for the *same* band should use the measured rate itself.
///
/// `None` unless the light is above 0.
#[must_use]
pub fn magnitude_of(
    light: &Estimate<PhotonDensity>,
    lamps: Lamps,
    band: &Band,
    towards: Brightening,
) -> Option<Estimate<MagnitudesPerSquareArcsecond>> {
    let (r_nat, u_nat) = NATURAL.factor(band);
    let (r_art, u_art) = Spectrum::for_lamps(lamps).factor(band);
    let (r_nat, r_art) = (r_nat * towards.natural, r_art * towards.lamps);
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
pub fn moon_photon_density(moonlight: &Estimate<MagnitudesPerSquareArcsecond>, band: &Band) -> Estimate<PhotonDensity> {
    let (factor, spread) = MOON.factor(band);
    let magnitude = moonlight.uncertainty.0 * 0.4 * std::f64::consts::LN_10;
    let relative = magnitude.hypot(spread).hypot(PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY);
    Estimate::within_factor(PHOTONS_OF_V_MAGNITUDE_0 * factor * flux(moonlight.value.0), relative)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Degrees, Magnitudes, Nanometres};

    fn window(centre: f64, width: f64) -> Band {
        Band::window(Nanometres(centre), Nanometres(width))
    }

    #[test]
    fn a_measured_sky_has_the_magnitude_it_was_made_from() {
        for band in [window(550.0, 300.0), Band::line(Nanometres(656.3)), window(450.0, 80.0)] {
            for magnitude in [17.0, 21.5, 22.0, 22.3] {
                for altitude in [90.0, 30.0] {
                    let towards = Brightening::at(Degrees(altitude), Magnitudes(0.24));
                    let sky = Estimate::new(magnitude, 0.1);
                    let light = photon_density_towards(&sky, Lamps::Sodium, &band, towards);
                    let back = magnitude_of(&light, Lamps::Sodium, &band, towards).unwrap();
                    approx::assert_relative_eq!(back.value.0, magnitude, epsilon = 1e-9);
                }
            }
        }
    }

    #[test]
    fn no_light_has_no_magnitude() {
        assert!(
            magnitude_of(&Estimate::new(0.0, 0.1), Lamps::Mixed, &window(550.0, 300.0), Brightening::ZENITH).is_none()
        );
    }

    #[test]
    fn beyond_the_ends_of_a_table_its_end_holds() {
        let points = [(1.0, 10.0), (2.0, 20.0)];
        assert_eq!([0.0, 1.0, 1.5, 2.0, 3.0].map(|at| interpolated(&points, at)), [10.0, 10.0, 15.0, 20.0, 20.0]);
        assert_eq!([300.0, 400.0, 656.3, 900.0].map(|nm| MIXED.at(Nanometres(nm))), [0.133, 0.133, 0.75, 0.75]);
    }

    #[test]
    fn a_town_of_sodium_is_far_darker_in_blue_than_a_white_one() {
        let blue = |lamps| photon_density(&Estimate::new(18.0, 0.1), lamps, &window(465.0, 88.0)).value.0;
        assert!(blue(Lamps::Led4000) / blue(Lamps::Sodium) > 2.5);
    }

    /// The factors that the curves were drawn for, in the trade's boxes: blue, green, red, luminance.
    #[test]
    fn the_curves_have_the_means_that_they_were_drawn_for() {
        let rows = [
            (&NATURAL, [0.61, 1.0, 1.1, 0.95]),
            (&MIXED, [0.28, 0.83, 1.16, 0.80]),
            (&SODIUM, [0.13, 0.63, 1.26, 0.76]),
            (&LED_3000, [0.27, 0.90, 1.28, 0.83]),
            (&LED_4000, [0.43, 0.97, 0.95, 0.77]),
            (&MOON, [1.22, 1.01, 0.74, 0.99]),
        ];
        let boxes = [(450.0, 108.0), (538.0, 82.0), (640.0, 100.0), (550.0, 300.0)];
        for (spectrum, factors) in rows {
            for ((centre, width), drawn_for) in boxes.into_iter().zip(factors) {
                let (mean, spread) = spectrum.factor(&window(centre, width));
                assert!((mean / drawn_for).ln().abs() < spread, "{centre}: {mean} for {drawn_for}, {spread}");
            }
            // V itself: a bell of its effective width.
            let bell = |nm: Nanometres| (-0.5 * ((nm.0 - 545.0) / 35.5).powi(2)).exp();
            let v = spectrum.factor(&Band::weighted(Nanometres(545.0), Nanometres(250.0), bell).unwrap()).0;
            assert!((v - 1.0).abs() < 0.12, "{v}");
        }
    }
}
