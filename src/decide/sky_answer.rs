//! What a sky is in every scale and in electrons, each factor on its own: what `sky --json` prints.

use std::borrow::Cow;
use std::f64::consts::{LN_10, PI};

use serde::{Deserialize, Serialize};

use crate::camera::{Background, CameraProfile, Mode, Plane, PlaneName};
use crate::caveat::Caveat;
use crate::document::Format;
use crate::rig::{Filter, LightChain, sum};
use crate::sky::{
    Brightening, GivenSky, Lamps, artificial_ratio, bortle_class, limiting_magnitude, luminance, photon_density_towards,
};
use crate::stats::Estimate;
use crate::units::{
    Band, CandelasPerSquareMetre, Colour, Degrees, ElectronsPerSecond, Magnitudes, MagnitudesPerSquareArcsecond,
    PHOTONS_OF_V_MAGNITUDE_0, PhotonDensity, Seconds,
};

use super::StarLight;
use crate::night::Night;
use crate::night::evening::Evening;
use crate::night::infrared_cut::infrared_cut_caveat;
use crate::night::measured_sky::{chains, filter_named, magnitude_behind, plane_named};
use crate::plan::{PlanError, plan};

/// A limiting magnitude says nothing outside of these.
const LIMITS_SAID: (f64, f64) = (4.5, 6.7);

/// What `sky --json` prints.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct SkyAnswer {
    /// In V at the zenith; `null` where only a rate is known.
    pub mag_per_arcsec2: Option<Estimate<MagnitudesPerSquareArcsecond>>,
    /// How high the sky was measured, which the rates in `planes` are of; `null` where they are of the zenith.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub altitude_deg: Option<Degrees>,
    /// The class whose magnitude lies nearest.
    pub bortle: Option<u8>,
    /// The faintest star for the naked eye, where that means something.
    pub limiting_mag: Option<Magnitudes>,
    /// The trade's conversion; lamps move it by 10 to 25 %.
    pub candela_per_m2: Option<CandelasPerSquareMetre>,
    /// Artificial over natural light.
    pub artificial_ratio: Option<f64>,
    /// What it gives a pixel, for each filter and plane.
    pub planes: Vec<PlaneSky>,
    /// The hours for the night's target against those under another sky.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against: Option<HoursRatio>,
    /// What a light frame said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured: Option<Background>,
    /// What catalogue stars in the light said of the telescope.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stars: Vec<StarLight>,
    /// What the numbers rest on.
    pub caveats: Vec<Caveat>,
}

impl Format for SkyAnswer {
    const FORMAT: &'static str = "subwell.sky";
}

/// The sky in one plane behind one filter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct PlaneSky {
    /// The filter.
    pub filter: String,
    /// The plane.
    pub plane: PlaneName,
    /// Its colour.
    pub colour: Option<Colour>,
    /// In one pixel: as measured, or the sum of the windows' products.
    pub e_per_s: Estimate<ElectronsPerSecond>,
    /// Whether the rate was measured through this filter in this plane.
    pub measured: bool,
    /// The windows of the filter, each with its derivation.
    pub windows: Vec<SkyWindow>,
}

/// One window: factors whose product is its rate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SkyWindow {
    /// Its middle.
    pub centre_nm: f64,
    /// The product of the factors.
    pub e_per_s: f64,
    /// The chain, from the sky to the pixel.
    pub factors: Vec<ChainFactor>,
}

/// One factor of the light chain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ChainFactor {
    /// What it is.
    pub name: Cow<'static, str>,
    /// Its value.
    pub value: f64,
    /// Its unit.
    pub unit: Cow<'static, str>,
    /// Where it comes from.
    pub from: String,
}

/// Hours under the sky over hours under another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct HoursRatio {
    /// The other sky.
    pub mag_per_arcsec2: Estimate<MagnitudesPerSquareArcsecond>,
    /// Wall-clock hours under this sky over those under the other, from the whole plan; the uncertainty is that of the
    /// two brightnesses.
    pub hours_ratio: Estimate<f64>,
    /// 10^(0.4 Δm): what it would be with no noise but the sky's and no time but the shutter's.
    pub sky_ratio: Estimate<f64>,
    /// Under this sky.
    pub wall_clock_s: Seconds,
    /// Under the other.
    pub other_wall_clock_s: Seconds,
}

impl SkyAnswer {
    /// The scales of a magnitude.
    ///
    /// # Examples
    /// ```
    /// use subwell::{decide::SkyAnswer, stats::Estimate};
    /// let sky = SkyAnswer::of_magnitude(&Estimate::new(20.0, 0.2));
    /// assert_eq!(sky.bortle, Some(5));
    /// assert!((sky.candela_per_m2.unwrap().0 - 1.08e-3).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn of_magnitude(magnitude: &Estimate<MagnitudesPerSquareArcsecond>) -> Self {
        let value = magnitude.value;
        let limit = limiting_magnitude(value);
        Self {
            mag_per_arcsec2: Some(*magnitude),
            bortle: Some(bortle_class(value)),
            limiting_mag: (LIMITS_SAID.0..=LIMITS_SAID.1).contains(&limit.0).then_some(limit),
            candela_per_m2: Some(luminance(value)),
            artificial_ratio: Some(artificial_ratio(value)),
            ..Self::default()
        }
    }

    /// The sky of a night, in every scale and through each of its filters; `magnitude` stands for the night's own.
    ///
    /// # Errors
    /// When night and camera do not fit together, or a measured sky names a plane that is not there.
    pub fn of_night(
        night: &Night,
        mode: &Mode,
        magnitude: Option<&Estimate<MagnitudesPerSquareArcsecond>>,
    ) -> Result<Self, PlanError> {
        let given = night.site.sky();
        let mut caveats = Vec::new();
        let (mut zenith, towards, seen) = match (magnitude, &given) {
            (Some(magnitude), _) => (*magnitude, Brightening::ZENITH, None),
            (None, GivenSky::Measured { e_per_s, filter, plane, altitude }) => {
                let plane = plane_named(mode, plane.as_deref())?;
                let (through, assumed) = filter_named(night, mode, filter)?;
                caveats.extend(assumed);
                let towards = measured_towards(night, *altitude)?;
                let behind = chains(night, mode, &through, plane)?;
                let zenith = magnitude_behind(e_per_s, &behind, night.site.lamps(), towards)?;
                (zenith, towards, Some((e_per_s, filter, plane)))
            }
            (None, _) => {
                let (zenith, towards) = night.site.zenith_sky()?;
                (zenith, towards, None)
            }
        };
        zenith.uncertainty.0 = zenith.uncertainty.0.hypot(towards.unsure_by(zenith.value).0);
        caveats.extend(infrared_cut_caveat(night, mode)?);
        let altitude_deg = if magnitude.is_none() { given.altitude() } else { None };
        let mut answer = Self { caveats, altitude_deg, ..Self::of_magnitude(&zenith) };
        let (rig, magnitude) = (SkyRig { night, mode, towards }, zenith);
        let colour_array = mode.planes.iter().any(|plane| plane.colour.is_some());
        for filter in night.filters(colour_array) {
            for plane in &mode.planes {
                let Some(mut sky) = rig.plane_sky(&filter, plane, &magnitude)? else { continue };
                if let Some((rate, through, in_plane)) = seen {
                    let alike =
                        in_plane.plane == plane.plane || (plane.colour.is_some() && in_plane.colour == plane.colour);
                    if *through == sky.filter && alike {
                        sky.e_per_s = *rate;
                        sky.measured = true;
                    }
                }
                answer.planes.push(sky);
            }
        }
        Ok(answer)
    }

    /// The hours for the night's target under one sky over those under another.
    ///
    /// # Errors
    /// When either plan fails.
    pub fn hours_ratio(
        night: &Night,
        profile: &CameraProfile,
        own: &Estimate<MagnitudesPerSquareArcsecond>,
        other: &Estimate<MagnitudesPerSquareArcsecond>,
    ) -> Result<HoursRatio, PlanError> {
        let asked = asking_for_snr(night, profile)?;
        let seconds = |magnitude: f64| -> Result<f64, PlanError> {
            let mut night = asked.clone();
            // The darkest sky there is: a brightness less its uncertainty may lie beyond.
            night.site.sky = Some(GivenSky::Magnitude(MagnitudesPerSquareArcsecond(magnitude.clamp(14.0, 22.5))));
            Ok(plan(&night, profile)?.wall_clock_s.0)
        };
        let sensitivity = |sky: &Estimate<MagnitudesPerSquareArcsecond>| -> Result<f64, PlanError> {
            let darker = seconds(sky.value.0 + sky.uncertainty.0)?;
            let brighter = seconds(sky.value.0 - sky.uncertainty.0)?;
            Ok((brighter / darker).ln() / 2.0)
        };
        let (here, there) = (seconds(own.value.0)?, seconds(other.value.0)?);
        let plain = 10_f64.powf(0.4 * (other.value - own.value).0);
        let plain_spread = 0.4 * LN_10 * own.uncertainty.0.hypot(other.uncertainty.0);
        Ok(HoursRatio {
            mag_per_arcsec2: *other,
            hours_ratio: Estimate::within_factor(here / there, sensitivity(own)?.hypot(sensitivity(other)?)),
            sky_ratio: Estimate::within_factor(plain, plain_spread),
            wall_clock_s: Seconds(here),
            other_wall_clock_s: Seconds(there),
        })
    }
}

/// The same night with a signal over noise for its goal: hours that are given say nothing of other conditions, what they
/// reach does.
pub(crate) fn asking_for_snr(night: &Night, profile: &CameraProfile) -> Result<Night, PlanError> {
    let mut asked = night.clone();
    if asked.goal.hours.take().is_some() {
        let reached = plan(night, profile)?;
        let ratios = reached.filters.iter().flat_map(|filter| &filter.planes).map(|plane| plane.snr.value);
        asked.goal.snr = ratios.filter(|snr| *snr > 0.0).min_by(f64::total_cmp);
    }
    Ok(asked)
}

/// The sky of a night in magnitudes; `None` where they are not known.
pub(super) fn in_magnitudes(night: &Night, mode: &Mode) -> Result<Option<GivenSky>, PlanError> {
    let magnitude = SkyAnswer::of_night(night, mode, None)?.mag_per_arcsec2;
    Ok(magnitude.map(|magnitude| GivenSky::Magnitude(magnitude.value)))
}

/// How bright the direction is in which a rate was measured: at its altitude, or, where that is not known, at the target.
fn measured_towards(night: &Night, altitude: Option<Degrees>) -> Result<Brightening, PlanError> {
    let at = |altitude| Ok(Brightening::at(altitude, night.site.extinction()));
    altitude.map_or_else(|| Ok(Evening::new(night).or_else(|_| Evening::undated(night))?.brightening), at)
}

struct SkyRig<'a> {
    night: &'a Night,
    mode: &'a Mode,
    /// The direction of the rates.
    towards: Brightening,
}

impl SkyRig<'_> {
    fn plane_sky(
        &self,
        filter: &Filter,
        plane: &Plane,
        magnitude: &Estimate<MagnitudesPerSquareArcsecond>,
    ) -> Result<Option<PlaneSky>, PlanError> {
        let chains = chains(self.night, self.mode, filter, plane)?;
        let lamps = self.night.site.lamps();
        let rates: Vec<_> =
            chains.iter().map(|c| c.sky_rate(&self.light(magnitude, lamps, &c.passband.band))).collect();
        let windows = chains.iter().map(|chain| self.window(chain, magnitude)).collect();
        Ok(sum(&rates).map(|e_per_s| PlaneSky {
            filter: filter.label(),
            plane: plane.plane,
            colour: plane.colour,
            e_per_s,
            measured: false,
            windows,
        }))
    }

    /// What is known of the zenith is known of it by the direction of the measurement.
    fn light(
        &self,
        zenith: &Estimate<MagnitudesPerSquareArcsecond>,
        lamps: Lamps,
        band: &Band,
    ) -> Estimate<PhotonDensity> {
        photon_density_towards(zenith, lamps, band, self.towards.measured_towards(&self.towards))
    }

    fn window(&self, chain: &LightChain, magnitude: &Estimate<MagnitudesPerSquareArcsecond>) -> SkyWindow {
        let (optics, passband, value) =
            (&self.night.optics, &chain.passband, self.towards.of_zenith(magnitude.value).0);
        let lamps = self.night.site.lamps();
        let faintness = 10_f64.powf(-0.4 * value);
        let light = self.light(magnitude, lamps, &passband.band).value.0;
        let (diameter, shadow) = (optics.aperture_mm.0, optics.obstruction().0);
        let factor = |name: &'static str, value, unit: &'static str, from| ChainFactor {
            name: name.into(),
            value,
            unit: unit.into(),
            from,
        };
        let scale = chain.pixel_scale.0;
        let factors = vec![
            factor("V magnitude 0", PHOTONS_OF_V_MAGNITUDE_0, "ph/s/cm2/nm", "Bessell, Castelli & Plez 1998".into()),
            factor("sky", faintness, "/arcsec2", format!("{value:.2} mag/arcsec2")),
            factor(
                "sky spectrum",
                light / (PHOTONS_OF_V_MAGNITUDE_0 * faintness),
                "",
                format!("{}, against V", lamps.word()),
            ),
            factor("aperture", PI / 4.0 * diameter * diameter / 100.0, "cm2", format!("{diameter} mm")),
            factor("obstruction", 1.0 - (shadow / diameter).powi(2), "", format!("{shadow} mm")),
            factor("plate scale", scale * scale, "arcsec2/px", format!("{scale:.4}\" a side")),
            factor("optics", chain.optics_transmission, "", "transmission".into()),
            factor("filter", passband.transmission, "", "transmission".into()),
            factor("band", passband.width.0, "nm", format!("about {:.0} nm", passband.centre.0)),
            factor("quantum efficiency", passband.quantum_efficiency, "e-/ph", "as typed, or assumed".into()),
        ];
        let e_per_s = factors.iter().map(|factor| factor.value).product();
        SkyWindow { centre_nm: passband.centre.0, e_per_s, factors }
    }
}
