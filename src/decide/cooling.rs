//! Is a cooled camera worth it, month by month.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use crate::camera::{CameraProfile, Plane, PlaneName, against_warmth};
use crate::caveat::{Caveat, push_once};
use crate::document::{Format, Stamp};
use crate::units::{Celsius, Electrons, Seconds};

use super::SkyAnswer;
use super::climate::{self, Cooling as Held, Darks, dark_hours, night_air, warmest_night};
use super::hours::{Hours, Least};
use super::split::{Against, Split, against};
use super::weighed::{VERY_COLD, Way, Weighed, finite, ratio_of};
use super::{PAYS, THRESHOLDS, Verdict, crossing, losses_assumed};
use crate::night::{Conditions, Night};
use crate::plan::{OutOfReach, PlanError};

/// What a set point may cost of the time, against a far colder one, and still be cold enough.
pub const USEFUL_SHARE: f64 = 0.02;
/// The brightest and the darkest sky that are looked at: a city's centre and a sky without lamps.
const SKIES: [f64; 2] = [14.0, 22.0];
/// The coldest and the warmest night that are looked at.
const NIGHTS: [f64; 2] = [-40.0, 45.0];

/// What `cooling --json` prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Cooling {
    /// `format`, always `subwell.cooling`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// The program's version.
    pub program: String,
    /// The camera's name.
    pub camera: String,
    /// The mode's gain setting.
    pub gain_setting: Option<f64>,
    /// January to December.
    pub months: Vec<MonthOfCooling>,
    /// Hours of the year without cooling over those with it; `null` where the goal cannot be reached without.
    pub time_ratio_year: Option<f64>,
    /// 95 % interval of that by the dark current's, the thermal law's envelope included.
    pub time_ratio_year_interval_95: Option<[f64; 2]>,
    /// Hours that the camera is used in a year without cooling, as given.
    pub imaging_hours_per_year: f64,
    /// Of those, what cooling saves: hours × (1 − 1/ratio).
    pub hours_saved_per_year: f64,
    /// The night's own sky in V.
    pub sky_mag_per_arcsec2: Option<f64>,
    /// The sky at which the year's ratio is the middle threshold; under a darker one cooling pays.
    pub sky_mag_where_it_pays: Option<f64>,
    /// Why that is `null`.
    pub sky_mag_why: Option<Cow<'static, str>>,
    /// The night air above which it pays under the night's own sky.
    pub night_c_where_it_pays: Option<f64>,
    /// Why that is `null`.
    pub night_c_why: Option<Cow<'static, str>>,
    /// The warmest set point that costs less than `useful_share_percent` of the time of a far colder one.
    pub warmest_useful_set_point_c: Option<f64>,
    /// What the warmest useful set point may cost above a far colder one, in percent of the time: 2.
    pub useful_share_percent: f64,
    /// What was assumed.
    pub set_point_c: Celsius,
    /// Air of a night in the warmest month that one in forty is warmer than.
    pub warmest_night_c: Celsius,
    /// Kelvins that the cooler has left at the set point in that night; negative where it does not get there.
    pub cooler_reserve_k: f64,
    /// Price over the hours saved in one year; `null` without a price, or where nothing is saved.
    pub price_per_hour_saved: Option<f64>,
    /// Which dark current enters.
    pub dark_current: WhichDark,
    /// What cooling does not change.
    pub read_noise: ReadNoiseShare,
    /// For one camera `cooling` is the year's ratio and the others are 1; `against` another camera they are its parts.
    pub split: Split,
    /// The other camera, where one was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against: Option<Against>,
    /// From which ratio on each verdict holds.
    pub thresholds_time_ratio: [f64; 3],
    /// The answer.
    pub verdict: Verdict,
    /// What the numbers rest on.
    pub caveats: Vec<Caveat>,
}

impl Format for Cooling {
    const FORMAT: &'static str = "subwell.cooling";
}

/// One month.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct MonthOfCooling {
    /// 1 to 12.
    pub month: u32,
    /// Mean night air.
    pub ambient_c: f64,
    /// In its middle; `null` without a latitude.
    pub dark_hours_per_night: Option<f64>,
    /// Its part of the year's imaging hours.
    pub imaging_hours: f64,
    /// Without cooling, settled.
    pub uncooled_sensor_c: f64,
    /// Mean over the nights and their hours.
    pub uncooled_dark_e_per_s: f64,
    /// Its 95 % interval.
    pub uncooled_dark_interval_e_per_s: [f64; 2],
    /// Share of dark current and its pattern in the stack's variance.
    pub uncooled_dark_share_percent: Option<f64>,
    /// With cooling, as far as the cooler reaches.
    pub cooled_sensor_c: f64,
    /// Mean over the nights.
    pub cooled_dark_e_per_s: f64,
    /// Its 95 % interval.
    pub cooled_dark_interval_e_per_s: [f64; 2],
    /// Share of dark current and its pattern in the stack's variance.
    pub cooled_dark_share_percent: Option<f64>,
    /// Wall-clock seconds for the goal without cooling, before rounding.
    pub uncooled_wall_clock_s: Option<f64>,
    /// The same with it.
    pub cooled_wall_clock_s: Option<f64>,
    /// The first over the second.
    pub time_ratio: Option<f64>,
}

/// A statistic of the pixels' dark currents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum DarkStatistic {
    /// Of all pixels, hot ones included, as in the plan.
    Mean,
}

/// Which dark current enters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WhichDark {
    /// The statistic.
    pub is: DarkStatistic,
    /// The plane that the months quote.
    pub plane: PlaneName,
}

/// Read noise is the same with and without cooling: its share of the stack's variance is not.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ReadNoiseShare {
    /// Read noise at any temperature.
    pub read_noise_e: Electrons,
    /// Coldest and warmest measured, with what was measured there.
    pub measured: Option<[(Celsius, Electrons); 2]>,
    /// Share in the warmest month, uncooled.
    pub uncooled_share_percent: f64,
    /// Share in the warmest month, cooled.
    pub cooled_share_percent: f64,
    /// Sub length of the least time in the warmest month, uncooled.
    pub uncooled_sub_s: Seconds,
    /// The same cooled.
    pub cooled_sub_s: Seconds,
}

impl Cooling {
    /// Weighs cooling for a night's camera, target and climate; with `other`, against that night's camera too.
    ///
    /// The hours are those of moonless nights for the night's signal over noise, least over sub length and dither
    /// cadence, before rounding. A stack takes subs from warm and cold nights of a month alike, so the mean of their dark
    /// currents enters.
    ///
    /// # Errors
    /// When the night lacks a climate or the profile a dark current, night and camera do not fit together, or the goal
    /// cannot be reached even with cooling.
    ///
    /// # Examples
    /// ```
    /// use subwell::camera::CameraProfile;
    /// use subwell::decide::Cooling;
    /// use subwell::night::Night;
    ///
    /// let camera = CameraProfile::from_toml(r#"
    ///     camera = "from a data sheet"
    ///     provenance = "published"
    ///     [[modes]]
    ///     pixel_um = 4.4
    ///     width_px = 5200
    ///     height_px = 3500
    ///     [[modes.planes]]
    ///     plane = "mono"
    ///     gain_e_per_dn = 0.6
    ///     read_noise_e = 2.4
    ///     saturation_e = 30000.0
    ///     [[modes.planes.dark_current]]
    ///     sensor_c = 20.0
    ///     e_per_s = 0.3
    /// "#)?;
    /// let night = Night::from_toml(r#"
    ///     optics = { aperture_mm = 80.0, focal_length_mm = 480.0 }
    ///     filters = [{ name = "h-alpha", width_nm = 7.0 }]
    ///     site = { sky = { bortle = 5 }, climate = { mean_c = 9.0, amplitude_c = 10.0, warmest_month = 7 } }
    ///     target = { line_rayleigh = 60.0 }
    ///     goal = { snr = 5.0 }
    /// "#)?;
    /// let cooling = Cooling::new(&night, &camera, None)?;
    /// let ratio = cooling.time_ratio_year.unwrap_or(f64::INFINITY);
    /// println!("without cooling the same picture asks {ratio:.1} times the hours");
    /// assert!(ratio > 1.0 && cooling.months.len() == 12);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn new(
        night: &Night,
        profile: &CameraProfile,
        other: Option<(&Night, &CameraProfile)>,
    ) -> Result<Self, PlanError> {
        answerable(night, profile)?;
        let Year { weighed, ways, ratio, interval } = Year::new(night, profile)?;
        let against = other.map(|(other, camera)| against(&weighed, other, camera)).transpose()?;
        let own = SkyAnswer::of_night(&weighed.night, weighed.mode, None)?.mag_per_arcsec2.map(|m| m.value.0);
        let (sky, sky_why) = crossing(SKIES, PAYS, |sky| weighed.ratio_under(&ways, sky))?;
        let darks = [0, 1].map(|way| Darks::new(&ways[way].night, weighed.mode));
        let (air, air_why) = crossing(NIGHTS, PAYS, |air| weighed.ratio_at(&ways, &darks, Celsius(air)))?;
        let (useful, _) =
            crossing([VERY_COLD.0, NIGHTS[1]], 1.0 + USEFUL_SHARE, |at| weighed.cost_of(&ways[1], &darks[1], at))?;
        let cooler = weighed.night.cooler.clone().unwrap_or_default();
        let saved = cooler.hours() * (1.0 - 1.0 / ratio);
        let Held::Held { at: set_point_c, below_air } = ways[1].cooling else {
            return Err(missing("cooler.set_point_c", "is not there"));
        };
        let warmest = warmest_night(&weighed.night.site.climate.clone().unwrap_or_default());
        let (months, read_noise, plane) = months(&weighed, &ways, cooler.hours())?;
        let price = cooler.price.filter(|price| *price > 0.0 && saved > 0.0);
        let mut caveats = caveats(night, profile, &weighed, &ways, ratio)?;
        if let Some(caveat) = against.as_ref().and_then(|against| against.caveat.clone()) {
            caveats.insert(0, caveat);
        }
        Ok(Self {
            stamp: Stamp::new(),
            program: env!("CARGO_PKG_VERSION").into(),
            camera: profile.camera.clone(),
            gain_setting: weighed.mode.gain_setting,
            months,
            time_ratio_year: finite(ratio),
            time_ratio_year_interval_95: interval,
            imaging_hours_per_year: cooler.hours(),
            hours_saved_per_year: saved,
            sky_mag_per_arcsec2: own,
            sky_mag_where_it_pays: sky,
            sky_mag_why: sky_why.map(|low| {
                Cow::Borrowed(if low {
                    "it pays under any sky"
                } else {
                    "it pays under no sky, not even without lamps"
                })
            }),
            night_c_where_it_pays: air,
            night_c_why: air_why.map(|low| {
                Cow::Borrowed(if low { "it pays in the coldest night" } else { "it pays not even in nights of 45 °C" })
            }),
            warmest_useful_set_point_c: useful,
            useful_share_percent: 100.0 * USEFUL_SHARE,
            set_point_c,
            warmest_night_c: warmest,
            cooler_reserve_k: set_point_c.0 - (warmest.0 - below_air),
            price_per_hour_saved: price.map(|price| price / saved),
            dark_current: WhichDark { is: DarkStatistic::Mean, plane },
            read_noise,
            split: against.as_ref().map_or(Split::of_cooling(ratio), |against| against.split),
            against: against.map(|against| against.against),
            thresholds_time_ratio: THRESHOLDS,
            verdict: Verdict::from_interval(ratio, interval),
            caveats,
        })
    }
}

/// A camera without and with its cooler through a year.
struct Year<'a> {
    weighed: Weighed<'a>,
    ways: [Way; 2],
    /// Hours without over hours with it.
    ratio: f64,
    interval: Option<[f64; 2]>,
}

impl<'a> Year<'a> {
    fn new(night: &Night, profile: &'a CameraProfile) -> Result<Self, PlanError> {
        let weighed = Weighed::new(night, profile)?;
        let ways = [weighed.way(false), weighed.way(true)];
        let ratio = weighed.ratio(&ways)?;
        let interval = weighed.interval(&ways, ratio)?;
        Ok(Self { weighed, ways, ratio, interval })
    }
}

/// The year's hours without cooling over those with it, and its 95 % interval, as [`Cooling`] has them.
pub(super) fn ratio_of_the_year(night: &Night, profile: &CameraProfile) -> Result<(f64, Option<[f64; 2]>), PlanError> {
    answerable(night, profile)?;
    let year = Year::new(night, profile)?;
    Ok((year.ratio, year.interval))
}

fn missing(key: &str, why: &str) -> PlanError {
    PlanError::impossible(key, why)
}

/// Without a climate there is no year, without a dark current nothing to cool.
fn answerable(night: &Night, profile: &CameraProfile) -> Result<(), PlanError> {
    if night.site.climate.is_none() {
        return Err(missing("site.climate", "is missing: cooling is weighed month by month"));
    }
    let known = |plane: &Plane| plane.thermal.is_some() || !plane.dark_current.is_empty();
    if !profile.modes.iter().flat_map(|mode| &mode.planes).all(known) {
        let why = "is missing in the camera profile: without it nothing can be said of cooling";
        return Err(missing("dark_current", why));
    }
    let falls = |plane: &Plane| against_warmth(&plane.dark_current, plane.thermal.as_ref()).is_some();
    if profile.modes.iter().flat_map(|mode| &mode.planes).any(falls) {
        let why = "does not rise with the temperature in the camera profile as a sensor's does: nothing can be said of cooling \
                   before it is known why";
        return Err(missing("dark_current", why));
    }
    Ok(())
}

/// The months, what the warmest says of read noise, and the plane that is quoted.
fn months(
    weighed: &Weighed,
    ways: &[Way; 2],
    year_hours: f64,
) -> Result<(Vec<MonthOfCooling>, ReadNoiseShare, PlaneName), PlanError> {
    let climate = weighed.night.site.climate.clone().unwrap_or_default();
    let dark = dark_hours(&weighed.night)?;
    let conditions = Conditions::new(&weighed.night, weighed.mode)?;
    let governing = conditions.filters.iter().flat_map(|filter| &filter.planes).find(|plane| plane.governs);
    let quoted = governing
        .and_then(|governing| weighed.mode.planes.iter().position(|plane| plane.plane == governing.plane))
        .unwrap_or(0);
    let shares = |found: &Option<Hours>| {
        let filter = found.as_ref().and_then(|hours| hours.filters.first());
        let both = |filter: &Least| {
            let shares = filter.shares()?;
            Some(((shares.dark + shares.pattern, shares.read + shares.bands + shares.quantisation), filter.sub()))
        };
        filter.and_then(both)
    };
    let mut months = Vec::new();
    let plane = &weighed.mode.planes[quoted];
    let mut read_noise = ReadNoiseShare {
        read_noise_e: plane.read_noise_e.value,
        measured: measured_ends(plane),
        uncooled_share_percent: 0.0,
        cooled_share_percent: 0.0,
        uncooled_sub_s: Seconds(0.0),
        cooled_sub_s: Seconds(0.0),
    };
    for month in 0..12 {
        let air = night_air(&climate, month as u32 + 1);
        let times = weighed.times(ways, month)?;
        let [without, with] = [shares(&times[0]), shares(&times[1])];
        if month as u32 + 1 == climate.warmest_month() {
            let read = |share: &Option<((f64, f64), Seconds)>| share.map_or((0.0, Seconds(0.0)), |(s, t)| (s.1, t));
            (read_noise.uncooled_share_percent, read_noise.uncooled_sub_s) = read(&without);
            (read_noise.cooled_share_percent, read_noise.cooled_sub_s) = read(&with);
        }
        let [warm, cold] = [&ways[0], &ways[1]].map(|way| (way.cooling.sensor(air), way.months[month][quoted]));
        let seconds = |found: &Option<Hours>| found.as_ref().map(|hours| hours.seconds);
        months.push(MonthOfCooling {
            month: month as u32 + 1,
            ambient_c: air.0,
            dark_hours_per_night: dark.map(|hours| hours[month]),
            imaging_hours: year_hours * weighed.weights[month],
            uncooled_sensor_c: warm.0.0,
            uncooled_dark_e_per_s: warm.1.rate,
            uncooled_dark_interval_e_per_s: warm.1.interval,
            uncooled_dark_share_percent: without.map(|(share, _)| share.0),
            cooled_sensor_c: cold.0.0,
            cooled_dark_e_per_s: cold.1.rate,
            cooled_dark_interval_e_per_s: cold.1.interval,
            cooled_dark_share_percent: with.map(|(share, _)| share.0),
            uncooled_wall_clock_s: seconds(&times[0]),
            cooled_wall_clock_s: seconds(&times[1]),
            time_ratio: finite(ratio_of(&times)),
        });
    }
    if months.iter().all(|month| month.cooled_wall_clock_s.is_none()) {
        let reach = OutOfReach::Endless;
        let filter = conditions.filters.first().map_or_else(String::new, |filter| filter.name.clone());
        return Err(PlanError::OutOfReach { filter, reach });
    }
    Ok((months, read_noise, plane.plane))
}

/// Read noise at the coldest and the warmest temperature where it was measured at two or more.
fn measured_ends(plane: &Plane) -> Option<[(Celsius, Electrons); 2]> {
    let mut points: Vec<(Celsius, Electrons)> = (plane.read_noise_by_temperature.iter())
        .filter_map(|point| Some((point.sensor_c?, point.read_noise_e.value)))
        .collect();
    points.sort_by(|a, b| a.0.0.total_cmp(&b.0.0));
    match points.as_slice() {
        [first, .., last] => Some([*first, *last]),
        _ => None,
    }
}

fn caveats(
    night: &Night,
    profile: &CameraProfile,
    weighed: &Weighed,
    ways: &[Way; 2],
    ratio: f64,
) -> Result<Vec<Caveat>, PlanError> {
    let mut caveats = Vec::from_iter(losses_assumed(night));
    let assumed = climate::assumed(&weighed.night);
    if !assumed.is_empty() {
        let message = format!("taken for keys that were left out: {}", assumed.join(", "));
        let hint = "write the keys that you know under [site.climate] and [cooler]";
        caveats.push(Caveat::new("assumed-value", message, hint).about("cooler"));
    }
    if weighed.night.site.latitude_deg.is_none() {
        let message = "no latitude is given: all months are taken to have the same dark hours";
        caveats.push(Caveat::new("assumed-value", message, "give latitude_deg under [site]").about("site"));
    }
    if !ratio.is_finite() {
        let message =
            "without cooling the pattern of the dark current never averages out: no number of hours is enough";
        let hint = "take darks at the temperature of the lights; dark_mismatch_c under [calibration] says how well";
        caveats.push(Caveat::new("out-of-reach-uncooled", message, hint));
    }
    // The warmest and the coldest sensor of the year say what the law is carried beyond.
    let climate = weighed.night.site.climate.clone().unwrap_or_default();
    for way in ways {
        for air in [climate.mean() + climate.amplitude(), climate.mean() - climate.amplitude()] {
            let mut night = way.night.clone();
            night.camera.sensor_c = Some(way.cooling.sensor(air));
            for caveat in Conditions::new(&night, weighed.mode)?.caveats {
                let known =
                    caveats.iter().any(|known: &Caveat| known.code == caveat.code && known.message == caveat.message);
                if caveat.code != "moon-not-counted" && !known {
                    caveats.push(caveat);
                }
            }
        }
    }
    // What the camera is said to be at has no part in this: both temperatures are computed.
    let of_night = night.caveats().into_iter().filter(|caveat| caveat.code != "not-yet-used");
    for caveat in of_night.chain(profile.caveats.iter().cloned()) {
        push_once(&mut caveats, caveat);
    }
    Ok(caveats)
}
