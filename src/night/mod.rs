//! What did the photographer write, and what does it mean in electrons per second?
//!
//! ```text
//! night.toml ──► Night ──► Evening ──► Conditions
//!  the keys     checked,   the date's   each plane of each
//!               assumed    hours, air   filter: rates, noise,
//!                          and Moon     limits of a sub
//! ```
//!
//! [`Night`] is the text file, key for key; [`Conditions`] is what a camera makes of it. Nothing is searched or chosen here: that is
//! the work of [`crate::plan`].

mod assumed;
mod camera_choice;
pub(crate) mod conditions;
mod cooler;
mod course;
mod error;
pub(crate) mod evening;
mod fast_beam;
mod goal;
pub(crate) mod infrared_cut;
pub(crate) mod measured_sky;
mod rules;

pub use camera_choice::CameraChoice;
pub use conditions::{Conditions, FilterConditions, Limits, PlaneConditions, Spread};
pub use cooler::Cooler;
pub use course::{CourseMoment, NightCourse};
pub use error::{NightError, NoHours};
pub use evening::PlanNight;
pub use goal::{AlreadyHave, Goal};
pub use rules::{CalibrationCounts, StackRules};

use serde::{Deserialize, Serialize};

use crate::reading;
use crate::rig::{Filter, Mount, Optics};
use crate::sky::Site;
use crate::sky::night::{Date, Place};
use crate::target::Target;
use crate::units::Degrees;

/// How alike two words must be for one to be offered for the other (Jaro-Winkler, 1 = equal).
const KEY_LIKENESS: f64 = 0.7;

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

impl Night {
    /// Reads a night from TOML; the profile's file is not opened.
    ///
    /// # Errors
    /// When the text is not TOML, has an unknown key (the nearest known one is named) or lacks one that has no
    /// default, when a number cannot be, or when two keys contradict each other.
    pub fn from_toml(text: &str) -> Result<Self, NightError> {
        let night: Self = toml::from_str(text).map_err(|error| {
            let nearest = nearest_key(error.message()).map(|nearest| format!("the nearest known key is `{nearest}`"));
            let advice = nearest.or_else(|| reading::advice(text, error.span()));
            let profile = text.contains("[[modes]]").then(|| PROFILE_GIVEN.to_owned());
            let advice = profile.or(advice);
            NightError::Syntax { advice, message: reading::in_words(&error.to_string()) }
        })?;
        night.check()?;
        Ok(night)
    }

    /// Checks what the types cannot.
    ///
    /// # Errors
    /// As [`Night::from_toml`], but for the text.
    pub fn check(&self) -> Result<(), NightError> {
        self.optics.check()?;
        self.site.check()?;
        self.target.check()?;
        self.mount.check()?;
        for filter in &self.filters {
            filter.check()?;
        }
        let impossible = |key: &str, why: &str| Err(NightError::Impossible { key: key.into(), why: why.into() });
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
    pub fn dated(&self) -> Result<Option<(Date, Place)>, NightError> {
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
    (likeness(nearest) >= KEY_LIKENESS).then(|| nearest.to_owned())
}

#[cfg(test)]
mod tests {
    use crate::units::Celsius;

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
        assert!(matches!(Night::from_toml(&both), Err(NightError::Impossible { .. })));
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
