//! What catalogue stars in a light frame say of the telescope: zero point and throughput.

use serde::{Deserialize, Serialize};

use crate::camera::{Mode, PlaneName, StarFlux};
use crate::caveat::Caveat;
use crate::rig::{Filter, Moffat, StarBand, star_zero_point, throughput};
use crate::sky::airmass;
use crate::stats::{Estimate, median};
use crate::units::{Degrees, Magnitudes, Nanometres, PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY};

use super::SkyAnswer;
use crate::night::Night;
use crate::night::measured_sky::chains;
use crate::plan::PlanError;

/// How sharp a star's image is taken to be beyond the aperture, and its standard uncertainty: wings of β 2.5 and
/// turbulence alone enclose the same for ± 1.5 %.
const WINGS: f64 = 3.0;
const APERTURE_UNCERTAINTY: f64 = 0.015;
/// Standard uncertainty of the extinction of an ordinary night, per airmass (common practice, no source).
const EXTINCTION_UNCERTAINTY: f64 = 0.05;
/// Standard uncertainty of a magnitude in another band than the star's own: a star's colour (derived here for B−V of 0.3
/// to 0.9), all stars alike.
const COLOUR_UNCERTAINTY: f64 = 0.08;
/// A typed magnitude's own, each star for itself (common practice, no source).
const MAGNITUDE_UNCERTAINTY: f64 = 0.05;
/// The median of few normal values scatters by this much more than their mean.
const MEDIAN_LOSS: f64 = 1.253;
/// A catalogue's band further than this from the filter's says little of it.
const NEAR: Nanometres = Nanometres(80.0);

/// Zero point and throughput of one filter and plane, from stars: `stars` of `sky --json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StarLight {
    /// The filter.
    pub filter: String,
    /// The plane.
    pub plane: PlaneName,
    /// The catalogue's band.
    pub band: StarBand,
    /// Magnitude outside the air of a star of one electron a second.
    pub zero_point_mag: Estimate<Magnitudes>,
    /// Electrons over photons that meet the aperture: optics, filter and quantum efficiency together.
    pub throughput: Estimate<f64>,
    /// The same as it was typed, or assumed.
    pub typed_throughput: f64,
    /// Middle of the filter's (brightest) window.
    pub centre_nm: f64,
    /// Airmass that the air was taken off for.
    pub airmass: f64,
    /// Each star.
    pub stars: Vec<MeasuredStar>,
}

/// One star.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct MeasuredStar {
    /// Its magnitude in the catalogue.
    pub mag: Magnitudes,
    /// What was measured.
    #[serde(flatten)]
    pub flux: StarFlux,
    /// The zero point that it gives alone.
    pub zero_point_mag: Magnitudes,
}

/// The telescope's zero point from stars of known magnitude, their median.
///
/// The uncertainty holds the stars' scatter (or noise, where they are fewer than three), the air's, the aperture's and
/// the colour's; the throughput's the zero point of the band besides.
///
/// # Errors
/// When filter and camera do not fit together, the altitude is none, or no star gives light.
pub fn star_light(
    night: &Night,
    mode: &Mode,
    filter: &Filter,
    altitude: Degrees,
    band: StarBand,
    stars: &[(Magnitudes, StarFlux)],
) -> Result<StarLight, PlanError> {
    let none = || PlanError::impossible("star", "gives no light to this plane and filter");
    let plane = stars.first().and_then(|(_, flux)| mode.plane(flux.plane)).ok_or_else(none)?;
    let chains = chains(night, mode, filter, plane)?;
    let widest = chains.iter().max_by(|a, b| a.continuum_factor().total_cmp(&b.continuum_factor())).ok_or_else(none)?;
    let air = airmass(altitude)?;
    let loss = Magnitudes(night.site.extinction_at(widest.passband.centre).0 * air);
    let mut measured = Vec::new();
    let mut noise = Vec::new();
    for (mag, flux) in stars {
        let held = Moffat { fwhm: 1.0, beta: WINGS }.encircled(flux.aperture_fwhm) * flux.pixel_share;
        let whole = flux.e_per_s.scaled(1.0 / held);
        let catalogue = Estimate::new(mag.0, MAGNITUDE_UNCERTAINTY);
        let zero = star_zero_point(&catalogue, &Estimate::new(loss.0, 0.0), &whole).ok_or_else(none)?;
        noise.push(zero.uncertainty.0);
        measured.push(MeasuredStar { mag: *mag, flux: flux.clone(), zero_point_mag: zero.value });
    }
    let value = median(measured.iter().map(|star| star.zero_point_mag.0)).unwrap_or(0.0);
    let common = [EXTINCTION_UNCERTAINTY * air, COLOUR_UNCERTAINTY, 1.0857 * APERTURE_UNCERTAINTY];
    let common = crate::units::quadrature(&common);
    let own = if measured.len() < 3 {
        noise.iter().copied().fold(0.0, f64::max)
    } else {
        let apart = |star: &MeasuredStar| (star.zero_point_mag.0 - value).abs();
        1.4826 * MEDIAN_LOSS * median(measured.iter().map(apart)).unwrap_or(0.0) / (measured.len() as f64).sqrt()
    };
    let zero_point_mag = Estimate::new(value, own.hypot(common));
    // Of several windows the photons of all meet the aperture.
    let width: f64 = chains.iter().map(|chain| chain.passband.width.0).sum();
    let typed = chains.iter().map(|chain| {
        let passband = &chain.passband;
        passband.width.0 * chain.optics_transmission * passband.transmission * passband.quantum_efficiency
    });
    let share = throughput(&zero_point_mag, band, widest);
    let relative = share.relative().hypot(PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY);
    Ok(StarLight {
        filter: filter.label(),
        plane: plane.plane,
        band,
        zero_point_mag,
        throughput: Estimate::within_factor(share.value * widest.passband.width.0 / width, relative),
        typed_throughput: typed.sum::<f64>() / width,
        centre_nm: widest.passband.centre.0,
        airmass: air,
        stars: measured,
    })
}

impl StarLight {
    /// What its numbers rest on.
    #[must_use]
    pub fn caveats(&self) -> Vec<Caveat> {
        let mut caveats = Vec::new();
        if (self.band.centre().0 - self.centre_nm).abs() > NEAR.0 {
            let message = format!(
                "magnitudes in {} say little of light about {:.0} nm: a star's colour moves the throughput by a fifth",
                self.band.letter(),
                self.centre_nm
            );
            caveats.push(Caveat::new(
                "far-band",
                message,
                "give magnitudes in a band near the filter with --star-band",
            ));
        }
        if self.stars.len() < 5 {
            let message =
                format!("stars for the throughput: {}; one that varies or is double goes unseen", self.stars.len());
            caveats.push(Caveat::new("few-stars", message, "give five or more with --star X,Y,MAG"));
        }
        let ratio = self.throughput.value / self.typed_throughput;
        let spread = self.throughput.relative().hypot(0.1);
        if ratio.ln().abs() > 2.0 * spread {
            let message = format!(
                "the stars say {ratio:.2} of the typed throughput: cloud, dew, another gain or filter, or typed numbers that are off"
            );
            let hint =
                "check the light's filter and gain; if they are right, correct quantum_efficiency or transmission";
            caveats.push(Caveat::new("throughput-differs", message, hint));
        }
        caveats
    }
}

impl SkyAnswer {
    /// What the stars showed of the typed throughput, in the plane that is surest: `throughput_ratio` of `[optics]`.
    #[must_use]
    pub fn throughput_ratio(&self, night: &Night) -> Option<Estimate<f64>> {
        let surest = |a: &&StarLight, b: &&StarLight| a.throughput.relative().total_cmp(&b.throughput.relative());
        let best = self.stars.iter().min_by(surest)?;
        let before = night.optics.throughput_ratio.map_or(1.0, |ratio| ratio.value);
        Some(best.throughput.scaled(before / best.typed_throughput))
    }
}
