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
mod choice;
pub(crate) mod conditions;
mod cooler;
mod course;
mod data_sheet;
mod error;
pub(crate) mod evening;
mod fast_beam;
mod filter_names;
mod gathered;
mod goal;
pub(crate) mod infrared_cut;
pub(crate) mod measured_sky;
mod picture;
mod rules;
mod whole_night;

pub use camera_choice::CameraChoice;
pub use choice::{KeysToSet, NightChoice};
pub(crate) use conditions::SensorNoise;
pub use conditions::{Conditions, FilterConditions, Limits, PlaneConditions, Spread};
pub use cooler::Cooler;
pub use course::{CourseMoment, NightCourse};
pub use error::{NightError, NoHours};
pub use evening::PlanNight;
pub use filter_names::{names_filter, usual_filter};
#[cfg(feature = "files")]
pub(crate) use gathered::is_json;
pub use gathered::{NamedError, gathered, gathered_choices, names_in, profile_of};
pub use goal::{AlreadyHave, Goal};
pub use picture::Picture;
pub use rules::{CalibrationCounts, StackRules};
pub use whole_night::{MoonOfDate, SunBelow, WholeNight, moons};

use serde::{Deserialize, Serialize};

use crate::keys::{Key, check_all, key};
use crate::reading;
use crate::rig::{Filter, Mount, Optics};
use crate::sky::night::{Date, Place};
use crate::sky::{GivenSky, Site};
use crate::target::Target;
use crate::units::{Degrees, Quantity};

use choice::MOST_CHOICES;
use filter_names::known_by_its_usual_name;

/// Rejection below so many sigmas takes the stack apart.
const LEAST_CLIP_SIGMA: f64 = 2.0;

/// More filters than anybody has; sets of them are numbers of so many bits.
const MOST_FILTERS: usize = 32;

/// An uncooled sensor colder than the air by more than this is a mistake.
const BELOW_AIR_C: f64 = 1.0;

/// Everything about one night: the whole of `night.toml`.
///
/// Whatever may be left out is an `Option` or has a method with its default; [`Night::assumed`] lists what was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    /// `[[choices]]`
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub choices: Vec<NightChoice>,
}

impl Night {
    /// Reads a night from TOML; the profile's file is not opened.
    ///
    /// # Errors
    /// When the text is not TOML, has an unknown key (the nearest known one is named) or lacks one that has no
    /// default, when a number cannot be, or when two keys contradict each other.
    pub fn from_toml(text: &str) -> Result<Self, NightError> {
        reading::from_toml::<Self>(text, reading::Written::Night).map_err(NightError::Syntax)?.made_whole()
    }

    /// The night with the names that the program knows its filters by, checked.
    fn made_whole(mut self) -> Result<Self, NightError> {
        self.filters.iter_mut().for_each(known_by_its_usual_name);
        self.name_the_filter_of_its_sky();
        self.check()?;
        Ok(self)
    }

    /// A measured sky may call its filter by another of its usual names than the night does.
    fn name_the_filter_of_its_sky(&mut self) {
        let labels: Vec<String> = self.filters.iter().map(Filter::label).collect();
        let Some(GivenSky::Measured { filter, .. }) = &mut self.site.sky else { return };
        if labels.contains(filter) {
            return;
        }
        let own = labels.into_iter().find(|label| names_filter(filter, label));
        if let Some(name) = own.or_else(|| usual_filter(filter).map(str::to_owned)) {
            *filter = name;
        }
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
        check_all(self.numbers())?;
        let clip = self.stack.clip_sigma();
        if clip > 0.0 && clip < LEAST_CLIP_SIGMA {
            let high = key!(NIGHT, "stack.clip_sigma").high;
            let why = format!("must be 0 (plain mean) or lie between {LEAST_CLIP_SIGMA} and {high}");
            return impossible("stack.clip_sigma", &why);
        }
        if self.goal.snr.is_some() && self.goal.hours.is_some() {
            return impossible("goal.hours", "stands instead of snr, not beside it");
        }
        if self.goal.clear_share.is_some() && self.goal.clear_share_by_month.is_some() {
            return impossible("goal.clear_share_by_month", "stands instead of clear_share, not beside it");
        }
        let key = key!(NIGHT, "goal.clear_share_by_month");
        check_all(self.goal.clear_share_by_month.into_iter().flatten().map(|share| (key, Some(share))))?;
        if self.goal.picture.is_some() && (self.goal.snr.is_some() || self.goal.hours.is_some()) {
            return impossible("goal.picture", "stands instead of snr and hours, not beside them");
        }
        if self.goal.pixel == Some(true) && self.goal.patch_arcsec.is_some() {
            return impossible("goal.pixel", "stands instead of patch_arcsec, not beside it");
        }
        self.dated()?;
        if let (Some(_), true) = (self.goal.hours, self.filters.iter().any(|filter| filter.snr.is_some())) {
            return impossible("filters.snr", "is a goal of its own and cannot stand beside goal.hours");
        }
        if self.filters.len() > MOST_FILTERS {
            return impossible("filters", &format!("are {}, and {MOST_FILTERS} are the most", self.filters.len()));
        }
        let labels: Vec<String> = self.filters.iter().map(Filter::label).collect();
        if let Some(twice) =
            labels.iter().enumerate().find_map(|(i, label)| labels[..i].contains(label).then_some(label))
        {
            return impossible(
                "filters",
                &format!("has `{twice}` twice: give the second another name, or leave it out"),
            );
        }
        let shares = self.filters.iter().map(|filter| filter.share.unwrap_or(1.0)).sum::<f64>();
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
        if self.choices.len() > MOST_CHOICES {
            return impossible("choices", &format!("are {}, and {MOST_CHOICES} are the most", self.choices.len()));
        }
        let names: Vec<&String> = self.choices.iter().map(|choice| &choice.name).collect();
        if let Some(twice) = names.iter().enumerate().find_map(|(i, name)| names[..i].contains(name).then_some(name)) {
            return impossible("choices", &format!("has `{twice}` twice"));
        }
        self.choices.iter().try_for_each(|choice| choice.check(self))
    }

    fn numbers(&self) -> [(&'static Key, Option<f64>); 25] {
        let Self { camera, calibration, stack, goal, .. } = self;
        let cooler = |value: fn(&Cooler) -> Option<f64>| self.cooler.as_ref().and_then(value);
        [
            (key!(NIGHT, "cooler.below_ambient_c"), cooler(|c| c.below_ambient_c)),
            (key!(NIGHT, "cooler.imaging_hours_per_year"), cooler(|c| c.imaging_hours_per_year)),
            (key!(NIGHT, "cooler.price"), cooler(|c| c.price)),
            (key!(NIGHT, "cooler.set_point_c"), cooler(|c| c.set_point_c.map(Quantity::get))),
            (key!(NIGHT, "cooler.rise_c"), cooler(|c| c.rise_c.map(Quantity::get))),
            (key!(NIGHT, "cooler.warm_up_min"), cooler(|c| c.warm_up_min)),
            (key!(NIGHT, "camera.sensor_c"), camera.sensor_c.map(Quantity::get)),
            (key!(NIGHT, "camera.rise_c"), camera.rise_c.map(Quantity::get)),
            (key!(NIGHT, "calibration.dark_mismatch_c"), calibration.dark_mismatch_c),
            (key!(NIGHT, "calibration.share_percent"), calibration.share_percent),
            (key!(NIGHT, "stack.clip_sigma"), stack.clip_sigma),
            (key!(NIGHT, "stack.min_subs"), stack.min_subs.map(f64::from)),
            (key!(NIGHT, "stack.most_subs"), stack.most_subs.map(f64::from)),
            (key!(NIGHT, "stack.most_gigabytes"), stack.most_gigabytes),
            (key!(NIGHT, "goal.snr"), goal.snr),
            (key!(NIGHT, "goal.patch_arcsec"), goal.patch_arcsec.map(Quantity::get)),
            (key!(NIGHT, "goal.hours"), goal.hours),
            (key!(NIGHT, "goal.sub_s"), goal.sub_s.map(Quantity::get)),
            (key!(NIGHT, "goal.dither_every"), goal.dither_every.map(f64::from)),
            (key!(NIGHT, "goal.clear_hours_per_night"), goal.clear_hours_per_night),
            (key!(NIGHT, "goal.clear_share"), goal.clear_share),
            (key!(NIGHT, "goal.setup_min"), goal.setup_min),
            (key!(NIGHT, "goal.refocus_min_per_hour"), goal.refocus_min_per_hour),
            (key!(NIGHT, "goal.star_mag_kept"), goal.star_mag_kept.map(Quantity::get)),
            (key!(NIGHT, "goal.already_have_h"), goal.already_have_h),
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
        let given = self.target.place().ok().flatten();
        given.or_else(|| named().map(|object| (object.ra_deg, object.dec_deg)))
    }

    /// Whether the target stays below its least altitude at this latitude on whatever date.
    pub(crate) fn never_rises(&self) -> bool {
        let (Some(latitude), Some((_, declination))) = (self.site.latitude_deg, self.position()) else { return false };
        90.0 - (latitude.0 - declination.0).abs() < evening::least_altitude(self).0
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
        assert!(!Night::from_toml(&stranger).unwrap_err().hint().contains("did you mean"));
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

    /// A night with one key set to a number, in the form that the key has.
    fn night_with(path: &str, number: f64) -> String {
        let number = number.to_string();
        let (tables, key) = path.rsplit_once('.').unwrap();
        let night = match (tables, key) {
            ("optics", "aperture_mm" | "focal_length_mm") => {
                let line = LEAST.lines().find(|line| line.starts_with(key)).unwrap();
                return LEAST.replace(line, &format!("{key} = {number}"));
            }
            ("optics", _) => return LEAST.replace("[target]", &format!("{key} = {number}\n[target]")),
            ("target", "surface_brightness_mag") => return LEAST.replace("22.0", &number),
            ("target", _) => format!("{key} = {number}"),
            ("site", "horizon[0]") => format!("[site]\nhorizon = [[{number}, 10]]"),
            ("site", "horizon[1]") => format!("[site]\nhorizon = [[10, {number}]]"),
            ("site.sky", "altitude_deg") => {
                format!("[site]\nsky = {{ mag_per_arcsec2 = 20.0, altitude_deg = {number} }}")
            }
            ("site.sky", "e_per_s") => format!("[site]\nsky = {{ e_per_s = {number}, filter = \"red\" }}"),
            ("filters.quantum_efficiency", _) => {
                let others = ["R", "G", "B"].into_iter().filter(|colour| *colour != key).map(|c| format!("{c} = 0.5"));
                let others = others.collect::<Vec<_>>().join(", ");
                format!("[[filters]]\nname = \"none\"\nquantum_efficiency = {{ {others}, {key} = {number} }}")
            }
            ("filters", _) => format!("[[filters]]\nname = \"red\"\n{key} = {number}"),
            ("choices", _) => format!("[[choices]]\nname = \"guiding\"\n{key} = {number}"),
            ("goal", "clear_share_by_month") => format!("[goal]\n{key} = [{number}{}]", ", 0.5".repeat(11)),
            ("goal.already", _) => {
                let others = [("hours", "1.0"), ("sub_s", "60.0")].into_iter().filter(|(other, _)| *other != key);
                let others = others.map(|(other, value)| format!("{other} = {value}\n")).collect::<String>();
                format!("[[goal.already]]\n{others}{key} = {number}")
            }
            (tables, key) => format!("[{tables}]\n{key} = {number}"),
        };
        format!("{LEAST}{night}\n")
    }

    #[test]
    fn every_range_of_the_table_is_kept_by_the_night_that_is_read() {
        let mut seen = 0;
        for key in crate::keys::NIGHT.iter().filter(|key| key.is_bounded()) {
            let refused = |number: f64| match Night::from_toml(&night_with(key.path, number)) {
                Err(error) => error.to_string().starts_with(&format!("`{}` is {}", key.path, reading::short(number))),
                Ok(_) => false,
            };
            let [below, above] = key.beyond();
            // A limiting magnitude has words of its own; a count below 0 and a number that fills no byte are no such numbers.
            if key.path == "site.sky.limiting_mag" {
                assert!([below, above].map(|n| Night::from_toml(&night_with(key.path, n)).is_err()) == [true, true]);
                continue;
            }
            let whole = ["bortle", "warmest_month", "min_subs", "most_subs", "dither_every"]
                .iter()
                .any(|word| key.path.contains(word));
            assert!(refused(above), "{}: {}", key.path, night_with(key.path, above));
            assert!(refused(below) || whole && below < 0.0, "{}: {}", key.path, night_with(key.path, below));
            assert!(!refused(key.low) && !refused(key.high), "{}", key.path);
            seen += 1;
        }
        assert!(seen > 60, "{seen}");
    }
}
