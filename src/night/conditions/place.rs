//! What all filters of a night share, and the way from it to the planes of one filter.

use crate::camera::{Mode, Plane};
use crate::caveat::Caveat;
use crate::night::evening::{Evening, Stand};
use crate::night::measured_sky::{chains as chains_of, filter_named, magnitude_behind, plane_named};
use crate::night::{Night, NightError};
use crate::noise::{Calibration, DarkCurrent, FAINTEST_SQUARE, LeftPattern, Patch, PlaneNoise, Rates};
use crate::rig::{Filter, LightChain, Pointing, StarWidth, TargetLight, TrackingLimits, peak_pixel_fraction, sum};
use crate::sky::night::TWILIGHT_UNCERTAINTY;
use crate::sky::{Brightening, GivenSky, moon_photon_density, photon_density_towards};
use crate::stats::Estimate;
use crate::target::Brightness;
use crate::units::{
    Arcseconds, Colour, Degrees, Dn, Electrons, ElectronsPerSecond, MAGNITUDES_PER_LOGARITHM, Magnitudes,
    MagnitudesPerSquareArcsecond, Nanometres, PhotonDensity, Rayleighs, Seconds,
};

use super::sensor_noise::{PlaneSensorNoise, SensorNoise};
use super::{FLAT_LEVEL, FilterConditions, Limits, PlaneConditions, Spread, left_by_dark};

/// Spread of the pixels' response where it was not measured (common practice, no source).
const ASSUMED_RESPONSE_SPREAD: f64 = 0.01;
/// Sub at which planes of one window are compared.
const COMPARED_AT: Seconds = Seconds(60.0);
/// What all filters of a night share.
pub(super) struct Place<'a> {
    pub(super) night: &'a Night,
    pub(super) mode: &'a Mode,
    pub(super) pixel_scale: Arcseconds,
    pub(super) evening: &'a Evening,
    pub(super) sensor: &'a SensorNoise,
}

/// Sky rate in a plane with the parts of its spread.
struct SkyRate {
    rate: ElectronsPerSecond,
    sky: f64,
    lamps: f64,
    throughput: f64,
}

impl Place<'_> {
    /// What the mount allows in the direction of the target.
    fn tracking(&self) -> TrackingLimits {
        let corner_px = (self.mode.width_px as f64).hypot(self.mode.height_px as f64) / 2.0;
        let declination = self.night.position().map(|(_, declination)| declination);
        let highest = self.evening.night.as_ref().map(|summary| Degrees(summary.target_altitude_deg[1]));
        let pointing = Pointing {
            declination: declination.or_else(|| self.night.target.object().map(|object| object.dec_deg)),
            altitude: highest.or(Some(self.night.target.altitude())),
            latitude: self.night.site.latitude_deg,
        };
        self.night.mount.limits(self.pixel_scale, corner_px, pointing)
    }

    /// What the limits of the mount rest on where they were not given.
    pub(super) fn tracking_caveat(&self) -> Option<Caveat> {
        let limits = self.tracking();
        let (message, hint) = if limits.assumed {
            (
                "nothing is known of the unguided mount: subs of at most 60 s are assumed",
                "give longest_sub_s or polar_error_arcmin under [mount]",
            )
        } else if limits.tracking.is_none() && limits.field_rotation.is_none() {
            (
                "nothing is known of the mount: its guiding is taken to hold a sub of any length",
                "give longest_sub_s under [mount], the longest sub whose stars were round, or polar_error_arcmin",
            )
        } else {
            return None;
        };
        Some(Caveat::new("assumed-value", message, hint))
    }

    fn air(&self, chain: &LightChain) -> f64 {
        self.air_at(chain.passband.centre)
    }

    fn air_at(&self, wavelength: Nanometres) -> f64 {
        self.evening.transmission(self.night.site.extinction_at(wavelength))
    }

    /// What the air lets pass of a target that stands so.
    fn target_air(&self, stand: Stand, chain: &LightChain) -> f64 {
        self.evening.with_stand(stand).transmission(self.night.site.extinction_at(chain.passband.centre))
    }

    pub(super) fn filter(&self, filter: &Filter) -> Result<FilterConditions, NightError> {
        let mut planes = Vec::new();
        for (plane, noise) in self.mode.planes.iter().zip(&self.sensor.planes) {
            let chains = chains_of(self.night, self.mode, filter, plane)?;
            if !chains.is_empty() {
                planes.push(self.plane(filter, plane, noise, &chains)?);
            }
        }
        mark_governing(&mut planes);
        let tracking = self.tracking();
        let limits =
            Limits { tracking: tracking.tracking, field_rotation: tracking.field_rotation, ..Limits::default() };
        let clear_hours = self.evening.clear_hours;
        let conditions = FilterConditions {
            name: filter.label(),
            share: filter.share,
            snr: filter.snr,
            planes,
            limits,
            clear_hours,
        };
        Ok(conditions.bounded_by_light(self.night.goal.star_mag_kept))
    }

    fn plane(
        &self,
        filter: &Filter,
        plane: &Plane,
        PlaneSensorNoise { dark, shapes }: &PlaneSensorNoise,
        chains: &[LightChain],
    ) -> Result<PlaneConditions, NightError> {
        let brightness = self.night.target.brightness()?;
        let rate = |chain: &LightChain| chain.target_rate(&light_in(&brightness, chain), |nm| self.air_at(nm));
        let of_all = |parts: Vec<_>| sum(&parts).unwrap_or(Estimate::new(0.0, 0.0));
        let target = of_all(chains.iter().filter_map(rate).collect());
        let as_in_any_beam = of_all(chains.iter().filter_map(|chain| rate(&chain.with_known_beam())).collect());
        let of_magnitude_0 = |c: &LightChain| {
            let colour = brightness.colour.factor(&c.passband.band);
            c.coloured_rate(MagnitudesPerSquareArcsecond(0.0), &colour, self.air(c)).value.0
        };
        let magnitude_0: f64 = chains.iter().map(of_magnitude_0).sum();
        let rayleigh: f64 = chains
            .iter()
            .filter_map(|c| c.line_rate(Rayleighs(1.0), self.air_at(c.line())))
            .map(|rate| rate.value.0)
            .sum();
        let shows_line = brightness.has_lines() && rayleigh > 0.0;
        let sky = self.with_twilight(self.sky(filter, plane, chains)?, chains);
        let moon = scattered_sunlight(self.evening.moon.as_ref(), chains);
        let throughput = throughput_relative(chains);
        let rates = Rates { target: target.value, sky: sky.rate, moon: moon.value, dark: dark.rate.value };
        let per_pixel = self.pixel_scale.0.powi(-2) * plane.sampling;
        let in_patch = |pixels: f64| Patch::new(pixels, plane.sampling).with_shapes(*shapes);
        let well = plane.saturation_e.value;
        Ok(PlaneConditions {
            plane: plane.plane,
            colour: plane.colour,
            noise: self.noise(plane, dark, rates),
            patch: self.night.goal.patch().map_or(in_patch(1.0), |side| in_patch(side.0.powi(2) * per_pixel)),
            square: in_patch(FAINTEST_SQUARE.0.powi(2) * per_pixel),
            rate_of_magnitude_0: ElectronsPerSecond(magnitude_0),
            rate_of_rayleigh: shows_line.then_some(ElectronsPerSecond(rayleigh)),
            spread: Spread {
                sky: sky.sky,
                lamps: sky.lamps,
                moon: relative(&moon),
                throughput,
                throughput_on_sky: sky.throughput,
                target: beyond(relative(&as_in_any_beam), throughput)
                    .hypot(self.half_between(|place, stand| place.target_air(stand, &chains[0]))),
                beam: beyond(relative(&target), relative(&as_in_any_beam)),
                read_noise: relative(&plane.read_noise_e),
                dark_current: self.dark_spread(dark),
            },
            governs: false,
            full_well: well,
            full_well_is: plane.saturation_is,
            gain: plane.gain_e_per_dn.value,
            offset: plane.offset_dn.map(|offset| offset.value),
            dark: dark.clone(),
            sensor: self.sensor.sensor,
            window_nm: chains[0].passband.centre.0,
            star_peak: self.star_peak(chains),
        })
    }

    fn dark_spread(&self, dark: &DarkCurrent) -> f64 {
        if dark.rate.value.0 <= 0.0 {
            return 0.0;
        }
        let by_temperature = dark.rate_per_kelvin.0 * self.night.camera.sensor_uncertainty_k() / dark.rate.value.0;
        relative(&dark.rate).hypot(by_temperature)
    }

    fn noise(&self, plane: &Plane, dark: &DarkCurrent, rates: Rates) -> PlaneNoise {
        let counts = &self.night.calibration;
        let calibration = Calibration {
            darks: counts.darks(),
            flats: counts.flats(),
            biases: counts.biases(),
            electrons_per_flat: plane.saturation_e.value * FLAT_LEVEL,
        };
        let per_second = left_by_dark(self.night, dark);
        let offset = match (calibration.darks, calibration.biases) {
            (0, 0) => plane.dsnu_e.map_or(Electrons(0.0), |dsnu| dsnu.value),
            _ => Electrons(0.0),
        };
        let spread = plane.prnu_percent.map_or(ASSUMED_RESPONSE_SPREAD, |percent| percent.value / 100.0);
        let response = if calibration.flats == 0 { spread } else { 0.0 };
        let step = Dn(f64::from(self.mode.dn_step)) * plane.gain_e_per_dn.value;
        PlaneNoise {
            rates,
            read_noise: plane.read_noise_e.value,
            quantisation: PlaneNoise::quantisation_of_step(step),
            left: LeftPattern { per_second, offset, response },
            calibration,
            drift: ElectronsPerSecond(0.0),
        }
    }

    fn star_peak(&self, chains: &[LightChain]) -> ElectronsPerSecond {
        let star: f64 = chains.iter().map(|chain| chain.star_rate(Magnitudes(0.0), self.air(chain)).value.0).sum();
        let width = StarWidth::new(
            self.night.site.seeing(),
            self.evening.least_airmass(),
            &self.night.optics,
            chains[0].passband.centre,
            &self.night.mount,
            self.pixel_scale,
        );
        ElectronsPerSecond(star * peak_pixel_fraction(width.optical() / self.pixel_scale))
    }

    fn sky(&self, filter: &Filter, plane: &Plane, chains: &[LightChain]) -> Result<SkyRate, NightError> {
        let sky = self.night.site.sky();
        let GivenSky::Measured { e_per_s, filter: seen_through, plane: seen_in, altitude } = &sky else {
            let (zenith, seen) = self.night.site.zenith_sky()?;
            return Ok(self.sky_at_any_height(&zenith, chains, &seen));
        };
        let reference = plane_named(self.mode, seen_in.as_deref())?;
        let same_colour =
            reference.plane == plane.plane || (plane.colour.is_some() && plane.colour == reference.colour);
        let same_light = *seen_through == filter.label() && same_colour;
        if same_light && altitude.is_none() {
            return Ok(SkyRate { rate: e_per_s.value, sky: relative(e_per_s), lamps: 0.0, throughput: 0.0 });
        }
        let (other, _) = filter_named(self.night, self.mode, seen_through)?;
        let behind = chains_of(self.night, self.mode, &other, reference)?;
        let seen = altitude.map(|altitude| Brightening::at(altitude, self.night.site.extinction()));
        let towards = seen.unwrap_or(self.evening.brightening);
        let zenith = magnitude_behind(e_per_s, &behind, self.night.site.lamps(), towards)?;
        Ok(match seen {
            // As high as the target stands, wherever that is.
            None => self.sky_of(&zenith, chains, towards.measured_towards(&towards)),
            Some(seen) if same_light => {
                let moved = self.sky_at_any_height(&Estimate::new(zenith.value.0, 0.0), chains, &seen);
                SkyRate { rate: moved.rate, sky: relative(e_per_s).hypot(moved.sky), lamps: 0.0, throughput: 0.0 }
            }
            Some(seen) => self.sky_at_any_height(&zenith, chains, &seen),
        })
    }

    /// The sky with the evening's mean twilight added.
    fn with_twilight(&self, sky: SkyRate, chains: &[LightChain]) -> SkyRate {
        let Some(twilight) = &self.evening.twilight else { return sky };
        let added = scattered_sunlight(Some(twilight), chains).value;
        let rate = sky.rate + added;
        let (own, other) = (sky.rate / rate, added / rate);
        SkyRate {
            rate,
            sky: (own * sky.sky).hypot(other * TWILIGHT_UNCERTAINTY),
            lamps: own * sky.lamps,
            throughput: own * sky.throughput + other * throughput_relative(chains),
        }
    }

    /// The sky where the target stands, of a zenith that was told from the sky in a direction; wider where nobody said how
    /// high the target stands.
    fn sky_at_any_height(
        &self,
        magnitude: &Estimate<MagnitudesPerSquareArcsecond>,
        chains: &[LightChain],
        seen: &Brightening,
    ) -> SkyRate {
        let sky = self.sky_of(magnitude, chains, self.evening.brightening.measured_towards(seen));
        let by_height = self.half_between(|place, stand| place.sky_of(magnitude, chains, stand.brightening).rate.0);
        SkyRate { sky: sky.sky.hypot(by_height), ..sky }
    }

    /// Half of the logarithm between a number with the target low and high in the sky; 0 where its height is known.
    fn half_between(&self, number: impl Fn(&Self, Stand) -> f64) -> f64 {
        let Some([low, high]) = self.evening.elsewhere else { return 0.0 };
        (number(self, low) / number(self, high)).ln().abs() / 2.0
    }

    fn sky_of(
        &self,
        magnitude: &Estimate<MagnitudesPerSquareArcsecond>,
        chains: &[LightChain],
        towards: Brightening,
    ) -> SkyRate {
        let exact = Estimate::new(magnitude.value.0, 0.0);
        let straight = Brightening { lamps_spread: 0.0, ..towards };
        let lamps = self.night.site.lamps();
        let (mut rate, mut sky, mut spectrum) = (0.0, 0.0, 0.0);
        for chain in chains {
            let light = photon_density_towards(magnitude, lamps, &chain.passband.band, towards);
            let by_spectrum = relative(&photon_density_towards(&exact, lamps, &chain.passband.band, straight));
            let part = light.value.0 * chain.continuum_factor();
            rate += part;
            sky += part * beyond(relative(&light), by_spectrum);
            spectrum += part * by_spectrum;
        }
        let throughput = throughput_relative(chains);
        SkyRate { rate: ElectronsPerSecond(rate), sky: sky / rate, lamps: spectrum / rate, throughput }
    }
}

/// The target's light as one window sees it.
fn light_in(brightness: &Brightness, chain: &LightChain) -> TargetLight {
    let colour = brightness.colour.factor(&chain.passband.band);
    let relative = colour.relative().hypot(brightness.uncertainty.0 / MAGNITUDES_PER_LOGARITHM);
    TargetLight {
        continuum: brightness.continuum,
        colour: Estimate::within_factor(colour.value, relative),
        line: brightness.line,
        lines: brightness.lines,
    }
}

/// What moonlight or twilight of this V magnitude gives each pixel; the uncertainty is the light's own, without the
/// throughput's.
fn scattered_sunlight(
    light: Option<&Estimate<MagnitudesPerSquareArcsecond>>,
    chains: &[LightChain],
) -> Estimate<ElectronsPerSecond> {
    let Some(light) = light else { return Estimate::new(0.0, 0.0) };
    let part = |chain: &LightChain| {
        let density = moon_photon_density(light, &chain.passband.band);
        Estimate::within_factor(density.value.0 * chain.continuum_factor(), relative(&density))
    };
    let parts: Vec<_> = chains.iter().map(part).collect();
    sum(&parts).unwrap_or(Estimate::new(0.0, 0.0))
}

/// Relative uncertainty of optics, filter and quantum efficiency, the same for sky and target.
fn throughput_relative(chains: &[LightChain]) -> f64 {
    let exact: Estimate<PhotonDensity> = Estimate::new(1.0, 0.0);
    let parts: Vec<_> = chains.iter().map(|chain| chain.sky_rate(&exact)).collect();
    sum(&parts).map_or(0.0, |rate| relative(&rate))
}

/// The standard uncertainty of a number's logarithm. One that exceeds the number itself reaches as many times it, not e to that
/// power:
///
/// ```text
/// s = r,   above r = 1:  1 + ln r
/// ```
fn relative<Q: crate::units::Quantity>(estimate: &Estimate<Q>) -> f64 {
    let relative = if estimate.value.get() > 0.0 { estimate.relative() } else { 0.0 };
    if relative > 1.0 { 1.0 + relative.ln() } else { relative }
}

/// What is left of a total uncertainty without a part of it.
fn beyond(total: f64, part: f64) -> f64 {
    (total.powi(2) - part.powi(2)).max(0.0).sqrt()
}

/// Which planes must reach the goal: every window's best plane, where the target shines through it.
///
/// A colour array without a filter has one window for each colour, so that red, green and blue must all get there;
/// behind a line filter green and blue see the same window, and the better colour counts. Planes of one colour are no rivals:
/// the patch has pixels of both, and the worse one says what it reaches.
fn mark_governing(planes: &mut [PlaneConditions]) {
    let quality = |plane: &PlaneConditions| {
        let sub = plane.noise.sub(COMPARED_AT);
        sub.target * (plane.patch.pixels / sub.temporal()).sqrt()
    };
    let qualities: Vec<f64> = planes.iter().map(quality).collect();
    let windows: Vec<f64> = planes.iter().map(|plane| plane.window_nm).collect();
    let colours: Vec<_> = planes.iter().map(|plane| plane.colour).collect();
    let best_of = |colour: Option<Colour>, window: f64| {
        let alike = (0..windows.len()).filter(|j| windows[*j] == window && colours[*j] == colour);
        alike.map(|j| qualities[j]).fold(0.0, f64::max)
    };
    for (i, plane) in planes.iter_mut().enumerate() {
        let rivals = (0..windows.len()).filter(|j| windows[*j] == windows[i] && colours[*j] != colours[i]);
        let own = best_of(colours[i], windows[i]);
        let beaten = rivals.into_iter().any(|j| qualities[j] > own);
        plane.governs = !beaten && plane.noise.rates.target.0 > 0.0;
    }
}
