//! `night.toml`: what the photographer wrote.

use serde::{Deserialize, Serialize};

use crate::caveat::Caveat;
use crate::reading;
use crate::rig::{
    DEFAULT_FILTER_TRANSMISSION, DEFAULT_LINE_TRANSMISSION, DEFAULT_LINE_WIDTH, DEFAULT_QUANTUM_EFFICIENCY,
    DEFAULT_TRANSMISSION, Filter, FilterName, Mount, Optics,
};
use crate::sky::Site;
use crate::sky::night::{Date, Place};
use crate::target::Target;
use crate::units::{Arcseconds, Celsius, Degrees, Magnitudes};

use super::evening::least_altitude;
use super::{AlreadyHave, PlanError};

/// How alike two words must be for one to be offered for the other (Jaro-Winkler, 1 = equal).
const ALIKE: f64 = 0.7;

const PROFILE_GIVEN: &str = "this is the profile of a camera: give a night file, which names the profile under [camera] \
                             (`subwell schema night` prints one)";

/// An uncooled sensor colder than the air by more than this is a mistake.
const BELOW_AIR_C: f64 = 1.0;

/// Everything about one night: the whole of `night.toml`.
///
/// Whatever may be left out is an `Option` or has a method with its default; [`Night::assumed`] lists what was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Night {
    /// `[camera]`
    #[serde(default)]
    pub camera: CameraChoice,
    /// `[optics]`
    pub optics: Optics,
    /// `[site]`
    #[serde(default)]
    pub site: Site,
    /// `[[filters]]`
    #[serde(default)]
    pub filters: Vec<Filter>,
    /// `[target]`
    pub target: Target,
    /// `[mount]`
    #[serde(default)]
    pub mount: Mount,
    /// `[calibration]`
    #[serde(default)]
    pub calibration: CalibrationCounts,
    /// `[stack]`
    #[serde(default)]
    pub stack: StackRules,
    /// `[goal]`
    #[serde(default)]
    pub goal: Goal,
    /// `[cooler]`
    #[serde(default)]
    pub cooler: Option<Cooler>,
}

/// `[camera]`: which profile, and how the camera is run.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CameraChoice {
    /// The profile's file, as written.
    pub profile: Option<String>,
    /// The mode; left out, every mode is weighed.
    pub gain_setting: Option<f64>,
    /// Whether the sensor is held at a set point; left out, it is when `sensor_c` is given.
    pub cooled: Option<bool>,
    /// The set point.
    pub sensor_c: Option<Celsius>,
    /// Sensor above air, uncooled.
    pub rise_c: Option<Celsius>,
    /// Infrared-cut filter removed.
    pub modified: Option<bool>,
}

impl CameraChoice {
    /// Set point of a cooled camera where none is given, common practice, no source.
    pub const DEFAULT_SET_POINT: Celsius = Celsius(-10.0);
    /// An uncooled sensor above the air where nothing is given: 5 to 15 K are seen in long runs (common practice, no
    /// source; the heating itself: Dunlap, Sostin, Widenhorn & Bodegom 2010, J. Electron. Imaging 19(1)).
    pub const DEFAULT_RISE: Celsius = Celsius(8.0);

    /// Whether the sensor is held at a set point.
    #[must_use]
    pub fn cooled(&self) -> bool {
        self.cooled.unwrap_or(self.sensor_c.is_some())
    }

    /// The sensor's temperature with the air at `ambient`; a given `sensor_c` always holds.
    #[must_use]
    pub fn sensor(&self, ambient: Celsius) -> Celsius {
        match (self.sensor_c, self.cooled()) {
            (Some(given), _) => given,
            (None, true) => Self::DEFAULT_SET_POINT,
            (None, false) => ambient + self.rise_c.unwrap_or(Self::DEFAULT_RISE),
        }
    }

    /// One standard uncertainty of [`CameraChoice::sensor`] in kelvins: 0.5 cooled, 2 with a stated rise, else 5
    /// (common practice, no source).
    #[must_use]
    pub fn sensor_uncertainty_k(&self) -> f64 {
        match (self.cooled(), self.rise_c.or(self.sensor_c)) {
            (true, _) => 0.5,
            (false, Some(_)) => 2.0,
            (false, None) => 5.0,
        }
    }
}

/// `[calibration]`: the frames behind the masters.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationCounts {
    /// Darks; 0 = none.
    pub darks: Option<u32>,
    /// Flats; 0 = none.
    pub flats: Option<u32>,
    /// Biases; 0 = none.
    pub biases: Option<u32>,
    /// Standard deviation between the sensor's temperature in darks and lights, in kelvins.
    pub dark_mismatch_c: Option<f64>,
    /// What all masters together may add to the stack's variance, in percent: frames are advised until it is less.
    pub share_percent: Option<f64>,
}

impl CalibrationCounts {
    /// Darks where none are given, common practice (20 to 50), no source.
    pub const DEFAULT_DARKS: u32 = 30;
    /// Flats where none are given, common practice (20 to 30), no source.
    pub const DEFAULT_FLATS: u32 = 25;
    /// Biases where none are given, common practice (20 to 100), no source.
    pub const DEFAULT_BIASES: u32 = 50;
    /// Mismatch of an uncooled camera where none is given, common practice, no source; a cooled one has none.
    pub const DEFAULT_UNCOOLED_MISMATCH_K: f64 = 2.0;

    /// What the masters may add where nothing is given: hours that nobody notices (common practice, no source).
    pub const DEFAULT_SHARE_PERCENT: f64 = 5.0;

    /// What the masters may add as a fraction, or the default.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.share_percent.unwrap_or(Self::DEFAULT_SHARE_PERCENT) / 100.0
    }

    /// Darks, or the default.
    #[must_use]
    pub fn darks(&self) -> u32 {
        self.darks.unwrap_or(Self::DEFAULT_DARKS)
    }

    /// Flats, or the default.
    #[must_use]
    pub fn flats(&self) -> u32 {
        self.flats.unwrap_or(Self::DEFAULT_FLATS)
    }

    /// Biases, or the default.
    #[must_use]
    pub fn biases(&self) -> u32 {
        self.biases.unwrap_or(Self::DEFAULT_BIASES)
    }

    /// Mismatch in kelvins, or the default.
    #[must_use]
    pub fn dark_mismatch_k(&self, cooled: bool) -> f64 {
        self.dark_mismatch_c.unwrap_or(if cooled { 0.0 } else { Self::DEFAULT_UNCOOLED_MISMATCH_K })
    }
}

/// `[stack]`: how the subs are combined, and the bounds of the plan.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StackRules {
    /// Rejection in sigmas, at least 2; 0 = plain mean.
    pub clip_sigma: Option<f64>,
    /// The least subs in a stack.
    pub min_subs: Option<u32>,
    /// The least dither positions in a night.
    pub min_positions_per_night: Option<u32>,
    /// The least dither positions in all.
    pub min_positions: Option<u32>,
    /// The most subs to shoot, in each filter.
    pub most_subs: Option<u32>,
    /// The most to store, in each filter.
    pub most_gigabytes: Option<f64>,
}

impl StackRules {
    /// Rejection where none is given, common practice, no source.
    pub const DEFAULT_CLIP_SIGMA: f64 = 3.0;
    /// Least subs where none are given: rejection at 3 sigmas needs 11 (Shiffler 1988, The American Statistician 42).
    pub const DEFAULT_MIN_SUBS: u32 = 15;
    /// Least positions of a night where none are given, common practice, no source.
    pub const DEFAULT_MIN_POSITIONS_PER_NIGHT: u32 = 10;
    /// Least positions where none are given: a hot pixel is rejected from 1 + k² positions on (derived here).
    pub const DEFAULT_MIN_POSITIONS: u32 = 15;
    /// Most subs where none are given, common practice, no source.
    pub const DEFAULT_MOST_SUBS: u32 = 2000;
    /// Most gigabytes where none are given, common practice, no source.
    pub const DEFAULT_MOST_GIGABYTES: f64 = 200.0;

    /// Rejection in sigmas, or the default.
    #[must_use]
    pub fn clip_sigma(&self) -> f64 {
        self.clip_sigma.unwrap_or(Self::DEFAULT_CLIP_SIGMA)
    }

    /// Least subs, or the default; at least 1.
    #[must_use]
    pub fn min_subs(&self) -> u32 {
        self.min_subs.unwrap_or(Self::DEFAULT_MIN_SUBS).max(1)
    }

    /// Least positions of a night, or the default; at least 1.
    #[must_use]
    pub fn min_positions_per_night(&self) -> u32 {
        self.min_positions_per_night.unwrap_or(Self::DEFAULT_MIN_POSITIONS_PER_NIGHT).max(1)
    }

    /// Least positions, or the default; at least 1.
    #[must_use]
    pub fn min_positions(&self) -> u32 {
        self.min_positions.unwrap_or(Self::DEFAULT_MIN_POSITIONS).max(1)
    }

    /// Most subs, or the default.
    #[must_use]
    pub fn most_subs(&self) -> u32 {
        self.most_subs.unwrap_or(Self::DEFAULT_MOST_SUBS)
    }

    /// Most gigabytes, or the default.
    #[must_use]
    pub fn most_gigabytes(&self) -> f64 {
        self.most_gigabytes.unwrap_or(Self::DEFAULT_MOST_GIGABYTES)
    }
}

/// `[goal]`: the picture that is wanted, or the time there is.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Goal {
    /// Signal over noise of the target in the patch.
    pub snr: Option<f64>,
    /// Side of the square patch.
    pub patch_arcsec: Option<Arcseconds>,
    /// One pixel of the plane instead of a patch.
    pub pixel: Option<bool>,
    /// Wall-clock hours instead of `snr`, all filters together.
    pub hours: Option<f64>,
    /// Hours of a usual clear night.
    pub clear_hours_per_night: Option<f64>,
    /// Share of nights that are clear, 0 to 1.
    pub clear_share: Option<f64>,
    /// Minutes of set-up at the beginning of a night, in dark hours.
    pub setup_min: Option<f64>,
    /// Minutes of each hour for refocusing, filter changes and the like.
    pub refocus_min_per_hour: Option<f64>,
    /// Local date of the evening.
    pub date: Option<String>,
    /// Stars fainter than this must not saturate; left out, none is looked after.
    pub star_mag_kept: Option<Magnitudes>,
    /// Hours of open shutter that are there already, in all filters together.
    pub already_have_h: Option<f64>,
    /// `[[goal.already]]`: earlier stacks, under another sky or in other subs.
    #[serde(default)]
    pub already: Vec<AlreadyHave>,
    /// Whether a night without astronomical darkness is an error.
    pub need_astronomical_night: Option<bool>,
}

impl Goal {
    /// Signal over noise where neither it nor hours are given: noise of a tenth is seen, but does not disturb
    /// (common practice, no source).
    pub const DEFAULT_SNR: f64 = 10.0;
    /// Side of the patch where none is given: about a blurred star's disc (common practice, no source).
    pub const DEFAULT_PATCH: Arcseconds = Arcseconds(5.0);
    /// Clear hours of a night where none are given, common practice, no source.
    pub const DEFAULT_CLEAR_HOURS: f64 = 4.0;

    /// Share of clear nights where none is given: two in five (common practice, no source; it lies between 0.2 and 0.8).
    pub const DEFAULT_CLEAR_SHARE: f64 = 0.4;
    /// Set-up in dark hours where none is given, in minutes (common practice, no source).
    pub const DEFAULT_SETUP_MIN: f64 = 15.0;
    /// Refocusing in each hour where none is given, in minutes (common practice, no source).
    pub const DEFAULT_REFOCUS_MIN_PER_HOUR: f64 = 3.0;

    /// Share of clear nights, or the default.
    #[must_use]
    pub fn clear_share(&self) -> f64 {
        self.clear_share.unwrap_or(Self::DEFAULT_CLEAR_SHARE)
    }

    /// Minutes of set-up, or the default.
    #[must_use]
    pub fn setup_min(&self) -> f64 {
        self.setup_min.unwrap_or(Self::DEFAULT_SETUP_MIN)
    }

    /// Minutes of refocusing in each hour, or the default.
    #[must_use]
    pub fn refocus_min_per_hour(&self) -> f64 {
        self.refocus_min_per_hour.unwrap_or(Self::DEFAULT_REFOCUS_MIN_PER_HOUR)
    }

    /// The patch, or the default; `None` for one pixel.
    #[must_use]
    pub fn patch(&self) -> Option<Arcseconds> {
        if self.pixel == Some(true) { None } else { Some(self.patch_arcsec.unwrap_or(Self::DEFAULT_PATCH)) }
    }

    /// Clear hours of a night, or the default.
    #[must_use]
    pub fn clear_hours(&self) -> f64 {
        self.clear_hours_per_night.unwrap_or(Self::DEFAULT_CLEAR_HOURS)
    }

    /// Hours in hand, or none.
    #[must_use]
    pub fn already_have(&self) -> f64 {
        self.already_have_h.unwrap_or(0.0)
    }
}

/// `[cooler]`: what a cooled camera would bring and cost.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cooler {
    /// How far below the air it cools.
    pub below_ambient_c: Option<f64>,
    /// Hours of open shutter in a year.
    pub imaging_hours_per_year: Option<f64>,
    /// What it costs.
    pub price: Option<f64>,
    /// Set point, where the night's own camera has none.
    pub set_point_c: Option<Celsius>,
    /// Sensor above air without cooling, where the night's own camera is cooled.
    pub rise_c: Option<Celsius>,
    /// Time constant of the uncooled body's warming, in minutes.
    pub warm_up_min: Option<f64>,
}

impl Cooler {
    /// Reach below the air where none is given: 35 to 45 K are usual (common practice, no source).
    pub const DEFAULT_BELOW_AMBIENT_K: f64 = 35.0;
    /// Hours of open shutter in a year where none are given (common practice, no source).
    pub const DEFAULT_HOURS: f64 = 60.0;
    /// Time constant of a body's warming where none is given, from memory; the warming itself: Dunlap, Sostin, Widenhorn &
    /// Bodegom 2010, J. Electron. Imaging 19(1).
    pub const DEFAULT_WARM_UP_MIN: f64 = 20.0;

    /// Reach below the air in kelvins, or the default.
    #[must_use]
    pub fn below_ambient_k(&self) -> f64 {
        self.below_ambient_c.unwrap_or(Self::DEFAULT_BELOW_AMBIENT_K)
    }

    /// Hours of open shutter in a year, or the default.
    #[must_use]
    pub fn hours(&self) -> f64 {
        self.imaging_hours_per_year.unwrap_or(Self::DEFAULT_HOURS)
    }

    /// Time constant of the body's warming in minutes, or the default.
    #[must_use]
    pub fn warm_up_min(&self) -> f64 {
        self.warm_up_min.unwrap_or(Self::DEFAULT_WARM_UP_MIN)
    }
}

impl Night {
    /// Reads a night from TOML; the profile's file is not opened.
    ///
    /// # Errors
    /// When the text is not TOML, has an unknown key (the nearest known one is named) or lacks one that has no
    /// default, when a number cannot be, or when two keys contradict each other.
    pub fn from_toml(text: &str) -> Result<Self, PlanError> {
        let night: Self = toml::from_str(text).map_err(|error| {
            let nearest = nearest_key(error.message()).map(|nearest| format!("the nearest known key is `{nearest}`"));
            let advice = nearest.or_else(|| reading::advice(text, error.span()));
            let profile = text.contains("[[modes]]").then(|| PROFILE_GIVEN.to_owned());
            let advice = profile.or(advice);
            PlanError::Syntax { advice, message: reading::in_words(&error.to_string()) }
        })?;
        night.check()?;
        Ok(night)
    }

    /// Checks what the types cannot.
    ///
    /// # Errors
    /// As [`Night::from_toml`], but for the text.
    pub fn check(&self) -> Result<(), PlanError> {
        self.optics.check()?;
        self.site.check()?;
        self.target.check()?;
        self.mount.check()?;
        for filter in &self.filters {
            filter.check()?;
        }
        let impossible = |key: &str, why: &str| Err(PlanError::Impossible { key: key.into(), why: why.into() });
        let clip = self.stack.clip_sigma();
        if !(clip == 0.0 || (2.0..=20.0).contains(&clip)) {
            return impossible("stack.clip_sigma", "must be 0 (plain mean) or lie between 2 and 20");
        }
        if self.goal.snr.is_some() && self.goal.hours.is_some() {
            return impossible("goal.hours", "stands instead of snr, not beside it");
        }
        if self.goal.pixel == Some(true) && self.goal.patch_arcsec.is_some() {
            return impossible("goal.pixel", "stands instead of patch_arcsec, not beside it");
        }
        if self.target.ra_deg.is_some() != self.target.dec_deg.is_some() {
            return impossible("target.ra_deg", "and dec_deg stand beside each other");
        }
        self.dated()?;
        let shares = self.filters.iter().map(Filter::share).sum::<f64>();
        if !self.filters.is_empty() && shares <= 0.0 {
            return impossible("filters.share", "must add up to more than 0");
        }
        if self.stack.min_subs() > self.stack.most_subs() {
            return impossible("stack.min_subs", "is more than stack.most_subs allows");
        }
        if let (Some(false), Some(sensor), Some(air)) = (self.camera.cooled, self.camera.sensor_c, self.site.ambient_c)
            && sensor.0 < air.0 - BELOW_AIR_C
        {
            let why = format!("is below the air's {} °C, which a camera with cooled = false cannot be", air.0);
            return impossible("camera.sensor_c", &why);
        }
        if self.camera.cooled == Some(true) && self.camera.rise_c.is_some() {
            return impossible("camera.rise_c", "is for cameras with cooled = false; a cooled one has sensor_c");
        }
        for stack in &self.goal.already {
            stack.check(self)?;
        }
        for (key, value, low, high) in self.numbers() {
            if value.is_some_and(|value| !(low..=high).contains(&value)) {
                return impossible(key, &format!("must lie between {low} and {high}"));
            }
        }
        Ok(())
    }

    fn numbers(&self) -> [(&'static str, Option<f64>, f64, f64); 22] {
        let Self { camera, calibration, stack, goal, .. } = self;
        let cooler = |value: fn(&Cooler) -> Option<f64>| self.cooler.as_ref().and_then(value);
        [
            ("cooler.below_ambient_c", cooler(|c| c.below_ambient_c), 0.0, 120.0),
            ("cooler.imaging_hours_per_year", cooler(|c| c.imaging_hours_per_year), 0.0, 8800.0),
            ("cooler.price", cooler(|c| c.price), 0.0, 1e9),
            ("cooler.set_point_c", cooler(|c| c.set_point_c.map(|q| q.0)), -120.0, 40.0),
            ("cooler.rise_c", cooler(|c| c.rise_c.map(|q| q.0)), -1.0, 40.0),
            ("cooler.warm_up_min", cooler(|c| c.warm_up_min), 0.0, 600.0),
            ("camera.sensor_c", camera.sensor_c.map(|c| c.0), -120.0, 60.0),
            ("camera.rise_c", camera.rise_c.map(|c| c.0), -20.0, 40.0),
            ("calibration.dark_mismatch_c", calibration.dark_mismatch_c, 0.0, 40.0),
            ("calibration.share_percent", calibration.share_percent, 0.1, 100.0),
            ("stack.min_subs", stack.min_subs.map(f64::from), 1.0, 1e6),
            ("stack.most_subs", stack.most_subs.map(f64::from), 1.0, 1e9),
            ("stack.most_gigabytes", stack.most_gigabytes, 1e-3, 1e9),
            ("goal.snr", goal.snr, 0.01, 1e4),
            ("goal.patch_arcsec", goal.patch_arcsec.map(|q| q.0), 0.01, 36_000.0),
            ("goal.hours", goal.hours, 1e-3, 1e5),
            ("goal.clear_hours_per_night", goal.clear_hours_per_night, 0.05, 24.0),
            ("goal.clear_share", goal.clear_share, 0.01, 1.0),
            ("goal.setup_min", goal.setup_min, 0.0, 600.0),
            ("goal.refocus_min_per_hour", goal.refocus_min_per_hour, 0.0, 50.0),
            ("goal.star_mag_kept", goal.star_mag_kept.map(|m| m.0), -2.0, 25.0),
            ("goal.already_have_h", goal.already_have_h, 0.0, 1e5),
        ]
    }

    /// The evening's date and the place, where both are given.
    ///
    /// # Errors
    /// When the date is none.
    pub fn dated(&self) -> Result<Option<(Date, Place)>, PlanError> {
        let date = self.goal.date.as_deref().map(Date::parse).transpose()?;
        let place = self.site.latitude_deg.zip(self.site.longitude_deg);
        let place = place.map(|(latitude, longitude)| Place { latitude, longitude, height: self.site.height() });
        Ok(date.zip(place))
    }

    fn is_dated(&self) -> bool {
        matches!(self.dated(), Ok(Some(_)))
    }

    /// Right ascension and declination of the target: as given, or of its name where no altitude is.
    #[must_use]
    pub fn position(&self) -> Option<(Degrees, Degrees)> {
        let named = || self.target.object().filter(|_| self.target.altitude_deg.is_none());
        self.target.ra_deg.zip(self.target.dec_deg).or_else(|| named().map(|object| (object.ra_deg, object.dec_deg)))
    }

    /// Local time minus universal time: as given, or the whole hours of the place's longitude.
    #[must_use]
    pub fn utc_offset_h(&self) -> f64 {
        let by_longitude = || self.site.longitude_deg.map_or(0.0, |q| ((q.0 + 180.0).rem_euclid(360.0) - 180.0) / 15.0);
        self.site.utc_offset_h.unwrap_or_else(|| by_longitude().round())
    }

    /// The filters; where none are given, a luminance filter or, for a colour array, none.
    #[must_use]
    pub fn filters(&self, colour_array: bool) -> Vec<Filter> {
        if !self.filters.is_empty() {
            return self.filters.clone();
        }
        let name = if colour_array { "none" } else { "luminance" };
        vec![Filter { name: Some(name.into()), ..Filter::default() }]
    }

    /// The caveats of a night: what was assumed for missing keys, and which keys have no effect yet.
    #[must_use]
    pub fn caveats(&self) -> Vec<Caveat> {
        let mut caveats = Vec::new();
        let assumed = self.assumed();
        if !assumed.is_empty() {
            let message = format!("taken for keys that were left out: {}", assumed.join(", "));
            caveats.push(Caveat::new("assumed-value", message, "write the keys that you know into the night"));
        }
        caveats.extend(catalogue_caveat(&self.target));
        let unused = self.not_yet_used();
        if !unused.is_empty() {
            let message = format!("read, but without effect on this plan: {}", unused.join(", "));
            let hint = if unused.contains(&"site.horizon") {
                "a horizon counts where the night has a date and the target a place: ra_deg and dec_deg, or a name"
            } else {
                "nothing to do"
            };
            caveats.push(Caveat::new("not-yet-used", message, hint));
        }
        caveats
    }

    /// What was taken for keys that were left out, as `key = value`. The loss rate has a caveat of its own.
    #[must_use]
    pub fn assumed(&self) -> Vec<String> {
        let mut list = Vec::new();
        let mut add = |missing: bool, key: &str, value: String| {
            if missing {
                list.push(format!("{key} = {value}"));
            }
        };
        self.assumed_camera(&mut add);
        self.assumed_place(&mut add);
        self.assumed_rules(&mut add);
        list
    }

    fn assumed_camera(&self, add: &mut impl FnMut(bool, &str, String)) {
        let (camera, counts) = (&self.camera, &self.calibration);
        let cooled = camera.cooled();
        let temperature_known = camera.sensor_c.is_some();
        add(camera.cooled.is_none(), "camera.cooled", cooled.to_string());
        add(cooled && !temperature_known, "camera.sensor_c", CameraChoice::DEFAULT_SET_POINT.0.to_string());
        let rise_assumed = !cooled && !temperature_known && camera.rise_c.is_none();
        add(rise_assumed, "camera.rise_c", CameraChoice::DEFAULT_RISE.0.to_string());
        add(counts.darks.is_none(), "calibration.darks", counts.darks().to_string());
        add(counts.flats.is_none(), "calibration.flats", counts.flats().to_string());
        add(counts.biases.is_none(), "calibration.biases", counts.biases().to_string());
        let mismatch = counts.dark_mismatch_k(cooled).to_string();
        add(counts.dark_mismatch_c.is_none(), "calibration.dark_mismatch_c", mismatch);
        let share = CalibrationCounts::DEFAULT_SHARE_PERCENT.to_string();
        add(counts.share_percent.is_none(), "calibration.share_percent", share);
    }

    fn assumed_place(&self, add: &mut impl FnMut(bool, &str, String)) {
        let (optics, site) = (&self.optics, &self.site);
        add(optics.obstruction_mm.is_none(), "optics.obstruction_mm", optics.obstruction().0.to_string());
        add(optics.transmission.is_none(), "optics.transmission", DEFAULT_TRANSMISSION.to_string());
        add(site.sky.is_none(), "site.sky", "{ bortle = 6 }".into());
        let measured = matches!(site.sky, Some(crate::sky::GivenSky::Measured { .. }));
        add(site.lamps.is_none() && !measured, "site.lamps", "mixed".into());
        add(site.extinction_mag.is_none(), "site.extinction_mag", format!("{:.2}", site.extinction().0));
        let seeing_matters = self.goal.star_mag_kept.is_some();
        add(site.seeing_arcsec.is_none() && seeing_matters, "site.seeing_arcsec", site.seeing().0.to_string());
        let air_matters = !self.camera.cooled() && self.camera.sensor_c.is_none();
        add(site.ambient_c.is_none() && air_matters, "site.ambient_c", site.ambient().0.to_string());
        let (dated, placed) = (self.is_dated(), self.position().is_some());
        add(site.utc_offset_h.is_none() && dated, "site.utc_offset_h", self.utc_offset_h().to_string());
        let altitude_matters = !(dated && placed);
        add(
            self.target.altitude_deg.is_none() && altitude_matters,
            "target.altitude_deg",
            self.target.altitude().0.to_string(),
        );
        let no_horizon = self.target.min_altitude_deg.is_none() && site.horizon.is_none();
        add(dated && placed && no_horizon, "target.min_altitude_deg", least_altitude(self).0.to_string());
        add(self.filters.is_empty(), "filters", "luminance, or none for a colour camera".into());
        for filter in &self.filters {
            assumed_filter(filter, add);
        }
    }

    fn assumed_rules(&self, add: &mut impl FnMut(bool, &str, String)) {
        let Self { mount, stack, goal, .. } = self;
        add(mount.guided.is_none(), "mount.guided", mount.guided().to_string());
        let guiding_matters = mount.guided() && goal.star_mag_kept.is_some();
        add(
            mount.guide_rms_arcsec.is_none() && guiding_matters,
            "mount.guide_rms_arcsec",
            mount.guide_rms().0.to_string(),
        );
        add(mount.settle_s.is_none(), "mount.settle_s", mount.settle().0.to_string());
        add(mount.between_subs_s.is_none(), "mount.between_subs_s", mount.between_subs().0.to_string());
        add(stack.clip_sigma.is_none(), "stack.clip_sigma", stack.clip_sigma().to_string());
        add(stack.min_subs.is_none(), "stack.min_subs", stack.min_subs().to_string());
        let nightly = stack.min_positions_per_night;
        add(nightly.is_none(), "stack.min_positions_per_night", stack.min_positions_per_night().to_string());
        add(stack.min_positions.is_none(), "stack.min_positions", stack.min_positions().to_string());
        add(stack.most_subs.is_none(), "stack.most_subs", stack.most_subs().to_string());
        add(stack.most_gigabytes.is_none(), "stack.most_gigabytes", stack.most_gigabytes().to_string());
        add(goal.snr.is_none() && goal.hours.is_none(), "goal.snr", Goal::DEFAULT_SNR.to_string());
        let no_patch = goal.patch_arcsec.is_none() && goal.pixel != Some(true);
        add(no_patch, "goal.patch_arcsec", Goal::DEFAULT_PATCH.0.to_string());
        add(goal.clear_hours_per_night.is_none(), "goal.clear_hours_per_night", goal.clear_hours().to_string());
        let cadence_left_out = goal.already.iter().any(|stack| stack.dither_every_subs.is_none());
        add(cadence_left_out, "goal.already.dither_every_subs", AlreadyHave::DEFAULT_DITHER_EVERY.to_string());
        let dated = self.is_dated();
        add(dated && goal.clear_share.is_none(), "goal.clear_share", goal.clear_share().to_string());
        add(dated && goal.setup_min.is_none(), "goal.setup_min", goal.setup_min().to_string());
        let refocus = goal.refocus_min_per_hour().to_string();
        add(dated && goal.refocus_min_per_hour.is_none(), "goal.refocus_min_per_hour", refocus);
    }

    fn not_yet_used(&self) -> Vec<&'static str> {
        let dated = self.is_dated();
        let tracked = dated && self.position().is_some();
        let keys = [
            ("site.horizon", self.site.horizon.is_some() && !tracked),
            ("target.ra_deg", self.position().is_some() && !tracked),
            ("target.min_altitude_deg", self.target.min_altitude_deg.is_some() && !tracked),
            ("goal.date", self.goal.date.is_some() && !dated),
            ("goal.clear_share", self.goal.clear_share.is_some() && !dated),
            ("goal.setup_min", self.goal.setup_min.is_some() && !dated),
            ("goal.refocus_min_per_hour", self.goal.refocus_min_per_hour.is_some() && !dated),
            ("goal.need_astronomical_night", self.goal.need_astronomical_night.is_some() && !dated),
        ];
        keys.into_iter().filter(|(_, given)| *given).map(|(key, _)| key).collect()
    }
}

/// What a target's brightness rests on when only its name is given.
fn catalogue_caveat(target: &Target) -> Option<Caveat> {
    let object = target.object().filter(|_| target.from_catalogue())?;
    let brightness = object.surface_brightness()?;
    let message = format!(
        "{} is taken at {:.1} mag/arcsec2, the mean over {} by {} arcmin; catalogues differ by half a magnitude, its \
         core is brighter and its outskirts are fainter",
        object.name(),
        brightness.0,
        object.size_arcmin[0],
        object.size_arcmin[1]
    );
    let hint = "give surface_brightness_mag of the part that you want to see, such as 24 for outer arms";
    Some(Caveat::new("catalogue-brightness", message, hint).about(object.name()))
}

fn assumed_filter(filter: &Filter, add: &mut impl FnMut(bool, &str, String)) {
    let name = filter.label();
    let key = |word: &str| format!("{word} of the filter {name}");
    let line = FilterName::from_name(&name).is_ok_and(FilterName::is_line);
    let efficiency = format!("{DEFAULT_QUANTUM_EFFICIENCY}, or 0.5 at the green peak of a colour array");
    add(filter.quantum_efficiency.is_none(), &key("quantum_efficiency"), efficiency);
    let transmission = if line { DEFAULT_LINE_TRANSMISSION } else { DEFAULT_FILTER_TRANSMISSION };
    let typed = filter.transmission.is_some() || filter.curve.is_some();
    add(!typed && name != "none", &key("transmission"), transmission.to_string());
    add(
        line && filter.width_nm.is_none() && filter.curve.is_none(),
        &key("width_nm"),
        DEFAULT_LINE_WIDTH.0.to_string(),
    );
}

/// The known key nearest to the unknown one that a parser's message names.
///
/// The message lists what was expected: the first word in backticks is the stranger, the others are known.
fn nearest_key(message: &str) -> Option<String> {
    if !message.starts_with("unknown field") {
        return None;
    }
    let mut words = message.split('`').skip(1).step_by(2);
    let stranger = words.next()?;
    let likeness = |known: &str| strsim::jaro_winkler(known, stranger);
    let nearest = words.max_by(|a, b| likeness(a).total_cmp(&likeness(b)))?;
    (likeness(nearest) >= ALIKE).then(|| nearest.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEAST: &str =
        "[optics]\naperture_mm = 80.0\nfocal_length_mm = 400.0\n[target]\nsurface_brightness_mag = 22.0\n";

    #[test]
    fn the_least_night_lists_what_it_assumes() {
        let night = Night::from_toml(LEAST).unwrap();
        let assumed = night.assumed().join(", ");
        for key in ["calibration.darks = 30", "mount.settle_s = 20", "goal.snr = 10", "site.sky = { bortle = 6 }"] {
            assert!(assumed.contains(key), "{key} in {assumed}");
        }
        assert_eq!(night.caveats().len(), 1, "the evening's own come with the conditions");
    }

    #[test]
    fn an_unknown_key_is_refused_with_the_nearest_known_one() {
        let slip = format!("{LEAST}[mount]\nsettel_s = 3.0\n");
        let error = Night::from_toml(&slip).unwrap_err();
        assert!(error.hint().contains("`settle_s`"), "{error}: {}", error.hint());
        let stranger = format!("{LEAST}[goal]\nqqqq = 3.0\n");
        assert!(!Night::from_toml(&stranger).unwrap_err().hint().contains("nearest"));
    }

    #[test]
    fn hours_and_snr_exclude_each_other() {
        let both = format!("{LEAST}[goal]\nsnr = 3.0\nhours = 2.0\n");
        assert!(matches!(Night::from_toml(&both), Err(PlanError::Impossible { .. })));
    }

    #[test]
    fn nonsense_is_refused() {
        for line in ["[goal]\nsnr = nan", "[goal]\nsnr = -1.0", "[stack]\nclip_sigma = 1.0", "[goal]\nhours = inf"] {
            assert!(Night::from_toml(&format!("{LEAST}{line}\n")).is_err(), "{line}");
        }
    }

    #[test]
    fn keys_without_effect_are_named() {
        let night =
            Night::from_toml(&format!("{LEAST}[goal]\ndate = \"2026-10-12\"\n[cooler]\nprice = 1.0\n")).unwrap();
        // A cooler is for `cooling`, and a plan says nothing of it.
        let unused = &night.caveats()[1];
        assert_eq!(unused.code, "not-yet-used");
        assert!(unused.message.contains("goal.date") && !unused.message.contains("cooler"), "{}", unused.message);
    }

    #[test]
    fn an_uncooled_sensor_is_warmer_than_the_air() {
        let camera = CameraChoice { cooled: Some(false), ..CameraChoice::default() };
        assert_eq!(camera.sensor(Celsius(5.0)), Celsius(13.0));
        let cooled = CameraChoice { sensor_c: Some(Celsius(-20.0)), ..CameraChoice::default() };
        assert!(cooled.cooled() && cooled.sensor(Celsius(5.0)) == Celsius(-20.0));
    }
}
