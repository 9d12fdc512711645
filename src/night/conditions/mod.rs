//! What a night and a camera mean in electrons per second, plane by plane.

mod place;
mod sensor_noise;

use crate::camera::{Mode, Plane, PlaneName, SaturationIs};
use crate::caveat::{Caveat, push_once};
use crate::noise::{DarkCurrent, Patch, PlaneNoise, Rates};
use crate::rig::saturation_time;
use crate::sky::GivenSky;
use crate::units::{
    Arcseconds, Celsius, Colour, Dn, Electrons, ElectronsPerDn, ElectronsPerSecond, Magnitudes, Seconds,
};

use super::evening::Evening;
use super::fast_beam::shifted_bands;
use super::infrared_cut::infrared_cut_caveat;
use super::measured_sky::filter_named;
use super::{Goal, Night, NightError, PlanNight};
use place::Place;
pub(crate) use sensor_noise::SensorNoise;

/// Share of the well that a star to be kept may fill: the last part is seldom linear (common practice, no source).
pub(crate) const STAR_HEADROOM: f64 = 0.8;
/// Flats are taken at half of the well (common practice, no source).
pub(crate) const FLAT_LEVEL: f64 = 0.5;
/// Share of the well that the sky may fill: half of it belongs to the picture (common practice, no source).
const SKY_HEADROOM: f64 = 0.5;

/// How far each source moves a plane's numbers: standard uncertainties of logarithms.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Spread {
    /// How bright the sky is.
    pub sky: f64,
    /// The sky's spectrum at that brightness.
    pub lamps: f64,
    /// How much of the Moon's light is scattered.
    pub moon: f64,
    /// Optics, filter and quantum efficiency.
    pub throughput: f64,
    /// What throughput does to the sky: as much, or nothing where the sky was measured through it.
    pub throughput_on_sky: f64,
    /// The target's colour.
    pub target: f64,
    /// What a fast beam takes of its line.
    pub beam: f64,
    /// Read noise.
    pub read_noise: f64,
    /// Dark current, the sensor's temperature included.
    pub dark_current: f64,
}

/// One plane of the sensor behind one filter, under this sky.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneConditions {
    /// The plane's name in the profile.
    pub plane: PlaneName,
    /// Its colour.
    pub colour: Option<Colour>,
    /// Everything its noise depends on.
    pub noise: PlaneNoise,
    /// The goal's patch: one pixel of this colour, or a square on the sky.
    pub patch: Patch,
    /// The square of [`FAINTEST_SQUARE`](crate::noise::FAINTEST_SQUARE).
    pub square: Patch,
    /// What a target of magnitude 0 per square arcsecond would give.
    pub rate_of_magnitude_0: ElectronsPerSecond,
    /// What a line of one Rayleigh gives; `None` where the plane sees no line or the target has none.
    pub rate_of_rayleigh: Option<ElectronsPerSecond>,
    /// How sure the numbers are.
    pub spread: Spread,
    /// Whether this plane must reach the goal.
    pub governs: bool,
    /// Signal at saturation.
    pub full_well: Electrons,
    /// Whether that was reached, or is the least that it can be.
    pub full_well_is: SaturationIs,
    /// Gain.
    pub gain: ElectronsPerDn,
    /// Level without light and time.
    pub offset: Option<Dn>,
    /// The dark current behind the rates.
    pub(crate) dark: DarkCurrent,
    /// The sensor's temperature.
    pub(crate) sensor: Celsius,
    /// Middle of the plane's (first) window, which says what planes compete.
    pub(crate) window_nm: f64,
    /// What a star of magnitude 0 gives its brightest pixel.
    star_peak: ElectronsPerSecond,
}

/// What bounds the length of a sub from above; `None` = does not.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// The mount.
    pub tracking: Option<Seconds>,
    /// The turning of a guided field.
    pub field_rotation: Option<Seconds>,
    /// The brightest star to keep.
    pub star_saturation: Option<Seconds>,
    /// The sky itself.
    pub sky_saturation: Option<Seconds>,
}

/// One filter: its planes and what bounds its subs.
#[derive(Debug, Clone, PartialEq)]
pub struct FilterConditions {
    /// The filter's name.
    pub name: String,
    /// Share of the hours as given, not normalised; `None` where it was left out.
    pub share: Option<f64>,
    /// Signal over noise to reach; `None` where it is that of the goal.
    pub snr: Option<f64>,
    /// The planes that see light through it.
    pub planes: Vec<PlaneConditions>,
    /// What bounds the sub.
    pub limits: Limits,
    /// Hours of a night that can be planned with.
    pub clear_hours: f64,
}

/// A night with one mode of a camera, in electrons per second.
#[derive(Debug, Clone, PartialEq)]
pub struct Conditions {
    /// The sensor's temperature.
    pub sensor: Celsius,
    /// A pixel's side on the sky.
    pub pixel_scale: Arcseconds,
    /// The filters, in the order of the night.
    pub filters: Vec<FilterConditions>,
    /// The hours of the date, where one is given.
    pub night: Option<PlanNight>,
    /// What the numbers rest on.
    pub caveats: Vec<Caveat>,
}

impl FilterConditions {
    /// The signal over noise to reach: its own, or that of the goal.
    pub(crate) fn asked_snr(&self, goal: &Goal) -> f64 {
        self.snr.unwrap_or(goal.snr())
    }

    /// The same with the bounds that the light of its own planes sets: what `star`, the brightest to keep, and the sky fill.
    fn bounded_by_light(mut self, star: Option<Magnitudes>) -> Self {
        self.limits.star_saturation = shortest(self.planes.iter().filter_map(|plane| plane.star_limit(star?)));
        let own = self.planes.iter().map(|plane| plane.noise.rates);
        self.limits.sky_saturation = self.sky_limit(own);
        self
    }

    /// The longest sub that the sky fills in no plane, under these rates of them.
    pub(crate) fn sky_limit(&self, rates: impl IntoIterator<Item = Rates>) -> Option<Seconds> {
        shortest(self.planes.iter().zip(rates).filter_map(|(plane, rates)| plane.sky_limit(rates.total())))
    }

    /// The time in which these rates fill a pixel of a plane that must reach the goal: a longer sub holds nothing of it.
    pub(crate) fn filled_after(&self, rates: impl IntoIterator<Item = Rates>) -> Option<Seconds> {
        let governing = self.planes.iter().zip(rates).filter(|(plane, _)| plane.governs);
        shortest(governing.filter_map(|(plane, rates)| plane.filled_after(rates.total())))
    }

    /// The same filter under other light.
    pub(crate) fn under(&self, rates: &[Rates], star: Option<Magnitudes>) -> Self {
        let mut other = self.clone();
        for (plane, rates) in other.planes.iter_mut().zip(rates) {
            plane.noise.rates = *rates;
        }
        other.bounded_by_light(star)
    }
}

fn shortest(limits: impl Iterator<Item = Seconds>) -> Option<Seconds> {
    limits.min_by(|a, b| a.0.total_cmp(&b.0))
}

impl PlaneConditions {
    /// What a star of this magnitude gives its brightest pixel.
    pub(crate) fn star_peak(&self, magnitude: Magnitudes) -> ElectronsPerSecond {
        self.star_peak * 10_f64.powf(-0.4 * magnitude.0)
    }

    /// The longest sub that keeps such a star.
    fn star_limit(&self, magnitude: Magnitudes) -> Option<Seconds> {
        let background = self.noise.rates.background();
        saturation_time(self.full_well * STAR_HEADROOM, self.star_peak(magnitude), 1.0, background)
    }

    /// The longest sub that so much light and dark current does not fill.
    fn sky_limit(&self, total: ElectronsPerSecond) -> Option<Seconds> {
        saturation_time(self.full_well * SKY_HEADROOM, ElectronsPerSecond(0.0), 0.0, total)
    }

    /// When so much light and dark current has filled a pixel.
    fn filled_after(&self, total: ElectronsPerSecond) -> Option<Seconds> {
        saturation_time(self.full_well, ElectronsPerSecond(0.0), 0.0, total)
    }

    /// The magnitude above which stars burn in a sub; `None` where the sky does.
    ///
    /// ```text
    /// m = −2.5 log₁₀((0.8 well/t − B)/P)
    /// ```
    ///
    /// `P` is what a star of magnitude 0 gives its brightest pixel, `B` the background.
    ///
    /// # Source
    /// [`saturation_time`], solved for the star.
    pub(crate) fn burning_star(&self, sub: Seconds) -> Option<Magnitudes> {
        let left = (self.full_well * STAR_HEADROOM) / sub - self.noise.rates.background();
        let magnitude = -2.5 * (left.0 / self.star_peak.0).log10();
        magnitude.is_finite().then_some(Magnitudes(magnitude))
    }
}

impl Conditions {
    /// The conditions of `night` for one mode of a camera.
    ///
    /// # Errors
    /// When the profile lacks the pixel's size or a colour, the night cannot be, or its date has no hours for it.
    pub fn new(night: &Night, mode: &Mode) -> Result<Self, NightError> {
        Self::on(night, mode, &Evening::new(night)?)
    }

    /// [`Conditions::new`] with the evening known.
    pub(crate) fn on(night: &Night, mode: &Mode, evening: &Evening) -> Result<Self, NightError> {
        Self::with(night, mode, &SensorNoise::new(night, mode), evening)
    }

    /// [`Conditions::on`] with what the sensor adds known, for many evenings of one night.
    pub(crate) fn with(
        night: &Night,
        mode: &Mode,
        sensor: &SensorNoise,
        evening: &Evening,
    ) -> Result<Self, NightError> {
        let missing = |key: &str, why: &str| NightError::Impossible { key: key.into(), why: why.into() };
        let pixel = mode.pixel_um.ok_or_else(|| {
            missing(
                "pixel_um",
                "is missing in the camera profile: write it under [[modes]] there, or measure again with --pixel-um",
            )
        })?;
        if mode.planes.iter().any(|plane| plane.plane != PlaneName::Mono && plane.colour.is_none()) {
            return Err(missing("colour", "of a plane is missing in the camera profile (measure with `--cfa`)"));
        }
        night.optics.check()?;
        let colour_array = mode.planes.iter().any(|plane| plane.colour.is_some());
        let mut caveats = evening.caveats.clone();
        let pixel_scale = night.optics.pixel_scale(pixel);
        let place = Place { night, mode, pixel_scale, evening, sensor };
        note_camera(mode, sensor, &mut caveats);
        let filters = night.filters(colour_array);
        let filters = filters.iter().map(|filter| place.filter(filter)).collect::<Result<_, _>>()?;
        caveats.extend(place.tracking_caveat());
        caveats.extend(shifted_bands(night, mode)?);
        caveats.extend(infrared_cut_caveat(night, mode)?);
        if let GivenSky::Measured { filter, .. } = night.site.sky() {
            caveats.extend(filter_named(night, mode, &filter)?.1);
        }
        Ok(Self { sensor: sensor.sensor, pixel_scale, filters, night: evening.night.clone(), caveats })
    }
}

/// What the dark current leaves in every sub alike: all of its unevenness without darks, what a mismatch of temperature
/// makes of it with them.
pub(crate) fn left_by_dark(night: &Night, dark: &DarkCurrent) -> ElectronsPerSecond {
    match night.calibration.darks() {
        0 => dark.rate.value * dark.nonuniformity,
        _ => {
            let mismatch = night.calibration.dark_mismatch_k(night.camera.cooled());
            dark.rate_per_kelvin * (mismatch * dark.nonuniformity)
        }
    }
}

/// The doubts about a camera; of several planes that say the same, the first speaks.
fn note_camera(mode: &Mode, sensor: &SensorNoise, caveats: &mut Vec<Caveat>) {
    for caveat in sensor.planes.iter().flat_map(|plane| &plane.dark.caveats) {
        if caveats.iter().all(|known: &Caveat| known.code != caveat.code) {
            caveats.push(caveat.clone());
        }
    }
    let unspread = |plane: &&Plane| {
        !plane.dark_current.is_empty() && plane.dark_current.iter().all(|point| point.nonuniformity_percent.is_none())
    };
    if let Some(plane) = mode.planes.iter().find(unspread) {
        // What this program measured names its exposures.
        let measured = plane.dark_current.iter().any(|point| !point.exposures_s.is_empty());
        let (message, hint) = if measured {
            (
                "the darks do not show how unlike the pixels' dark currents are: 31 % is assumed",
                "take longer or warmer darks",
            )
        } else {
            (
                "the spread of the pixels' dark currents is not in the profile: 31 % is assumed",
                "measure darks with this program",
            )
        };
        push_once(caveats, Caveat::new("assumed-value", message, hint));
    }
    if mode.planes.iter().any(|plane| plane.read_noise_is_upper_limit) {
        let message = "the read noise is an upper limit: the steps of the converter hide it";
        push_once(caveats, Caveat::new("quantisation-limited", message, "measure at a higher gain setting"));
    }
    if mode.noise_by_scale.is_empty() {
        let message = "the profile does not say what neighbouring pixels share of the noise: nothing beyond its row noise is \
                       assumed, and wide patches may take longer";
        push_once(caveats, Caveat::new("assumed-value", message, "measure biases and darks with this program"));
    }
    if mode.planes.iter().any(|plane| plane.saturation_is == SaturationIs::AtLeast) {
        let message = "saturation was not reached when the camera was measured: how long a star or the sky may shine and how bright \
                       a flat may be are the least that they can be";
        let hint = "measure with brighter flats, up to burnt ones, or type saturation_e from a data sheet";
        push_once(caveats, Caveat::new("saturation-at-least", message, hint));
    }
    if mode.planes.iter().any(|plane| plane.offset_dn.is_none()) {
        let message = "the camera profile has no offset: the sky's level is given above it";
        push_once(caveats, Caveat::new("assumed-value", message, "measure bias frames"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CAMERA: &str = "camera = \"a\"\nprovenance = \"published\"\n[[modes]]\npixel_um = 3.5\nwidth_px = 100\n\
                          height_px = 100\n[[modes.planes]]\nplane = \"mono\"\ngain_e_per_dn = 1.0\nread_noise_e = 2.0\n\
                          saturation_e = 20000.0\n";
    const NIGHT: &str = "[optics]\naperture_mm = 80.0\nfocal_length_mm = 400.0\n[site]\nsky = SKY\n[[filters]]\n\
                         name = \"FILTER\"\n[target]\nsurface_brightness_mag = 22.0\naltitude_deg = 90.0\n";

    fn conditions(sky: &str, filter: &str) -> Result<PlaneConditions, NightError> {
        let profile = crate::camera::CameraProfile::from_toml(CAMERA)?;
        let night = Night::from_toml(&NIGHT.replace("SKY", sky).replace("FILTER", filter))?;
        Ok(Conditions::new(&night, &profile.modes[0])?.filters[0].planes[0].clone())
    }

    #[test]
    fn a_sky_measured_through_the_same_filter_is_taken_as_it_is() {
        let sky = "{ e_per_s = { value = 3.3, uncertainty = 0.1 }, filter = \"luminance\" }";
        let plane = conditions(sky, "luminance").unwrap();
        assert_eq!(plane.noise.rates.sky, ElectronsPerSecond(3.3));
        assert_eq!((plane.spread.lamps, plane.spread.throughput_on_sky), (0.0, 0.0));
        approx::assert_relative_eq!(plane.spread.sky, 0.1 / 3.3);
    }

    #[test]
    fn a_sky_measured_through_another_filter_foretells_this_one() {
        let known = conditions("{ mag_per_arcsec2 = 19.4 }", "luminance").unwrap().noise.rates.sky.0;
        let measured = format!("{{ e_per_s = {known}, filter = \"luminance\" }}");
        let predicted = conditions(&measured, "h-alpha").unwrap();
        let direct = conditions("{ mag_per_arcsec2 = 19.4 }", "h-alpha").unwrap();
        approx::assert_relative_eq!(predicted.noise.rates.sky.0, direct.noise.rates.sky.0, max_relative = 1e-9);
        assert!(predicted.spread.lamps > 0.0);
    }

    #[test]
    fn a_sky_measured_in_an_unknown_plane_is_refused() {
        let sky = "{ e_per_s = 3.3, filter = \"luminance\", plane = \"r0c0\" }";
        assert!(matches!(conditions(sky, "luminance"), Err(NightError::Impossible { .. })));
    }

    #[test]
    fn a_bortle_class_is_forty_percent_of_sky() {
        let plane = conditions("{ bortle = 7 }", "luminance").unwrap();
        approx::assert_relative_eq!(plane.spread.sky, 0.4 * 0.4 * std::f64::consts::LN_10, max_relative = 0.01);
    }
}
