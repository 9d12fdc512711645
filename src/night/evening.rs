//! What the date makes of a night: which hours can be used, through how much air, under how much Moon.
//!
//! Light is averaged, not magnitudes, over samples of at most ten minutes of the usable hours. Where only an altitude
//! is known, the Moon's light is the mean over all directions not within 30° of it.

use serde::{Deserialize, Serialize};

use crate::caveat::Caveat;
use crate::sky::night::{
    ASTRONOMICAL, DEFAULT_LEAST_ALTITUDE, Date, Horizon, MOONLIGHT_UNCERTAINTY, NAUTICAL, NightSample, Place, Span,
    TWILIGHT_UNCERTAINTY, Tonight, Track, hours_of,
};
use crate::sky::{Brightening, GivenSky, NATURAL_SKY, airmass, magnitude_of_nanolambert, transmission};
use crate::stats::Estimate;
use crate::units::{Degrees, MAGNITUDES_PER_LOGARITHM, Magnitudes, MagnitudesPerSquareArcsecond};

use super::NightError;
use super::course::NightCourse;
use super::{Night, NoHours};

/// A Sun that stays above this all night leaves no darkness to plan with: the sky has 17th magnitude (common practice, no
/// source).
const LEAST_DARKNESS: Degrees = Degrees(-9.0);
/// Where the Sun does not even reach −12°, the hours in which it is so near to its lowest stand are taken.
const DARKEST_WITHIN: Degrees = Degrees(1.0);
/// A night is worth a date when it has this many hours.
const WORTH_H: f64 = 1.0;
/// Days in which a better date is looked for.
const LOOK_AHEAD_DAYS: u32 = 366;
/// Clocks go no more than the first behind and the second before the Sun's time, in hours, but in a few odd corners: India's
/// east is an hour behind, China's west three before, Alaska in summer a little more.
const USUAL_OFFSETS_H: [f64; 2] = [-1.5, 3.4];

/// Targets are photographed about this low and about this high, one standard deviation to each side of the usual altitude
/// (common practice, no source).
const USUAL_STANDS: [Degrees; 2] = [Degrees(35.0), Degrees(70.0)];

/// The hours of a dated night: `night` of `plan --json`. Times are local, spans are pairs of beginning and end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PlanNight {
    /// Local date of the evening.
    pub date: String,
    /// Local time minus universal time.
    pub utc_offset_h: f64,
    /// The Sun's lowest altitude.
    pub lowest_sun_deg: f64,
    /// The Sun's altitude below which an hour counts as dark: −18, or a higher one where the night gets no darker.
    pub sun_below_deg: f64,
    /// When it is dark.
    pub dark: Vec<[String; 2]>,
    /// Length of `dark`.
    pub dark_hours: f64,
    /// When it is dark and the Moon is down.
    pub moon_free: Vec<[String; 2]>,
    /// Length of `moon_free`.
    pub moon_free_hours: f64,
    /// When it is dark and the target stands above the horizon; `null` where the target has no position.
    pub target_up: Option<Vec<[String; 2]>>,
    /// Hours that can be used: `target_up`, or all of `dark`.
    pub usable_hours: f64,
    /// Hours of a night that the plan fills: the usable ones, at most `clear_hours_per_night`.
    pub planned_hours: f64,
    /// Lowest and highest altitude of the target in the usable hours.
    pub target_altitude_deg: [f64; 2],
    /// The target's mean airmass in them.
    pub airmass: f64,
    /// Lit share of the Moon in the middle of them.
    pub moon_illuminated_percent: f64,
    /// Mean moonlight at the target in V; `null` when the Moon is down all the time.
    pub moon_mag_per_arcsec2: Option<f64>,
    /// Mean twilight in V; `null` without any.
    pub twilight_mag_per_arcsec2: Option<f64>,
    /// Mean sky at the target in V with both; `null` where the sky was measured in electrons.
    pub sky_mag_per_arcsec2: Option<f64>,
    /// From dusk to dawn, for a picture.
    #[serde(skip)]
    pub course: NightCourse,
}

/// What all modes and filters share: the air and the extra light, averaged over the usable hours.
pub(crate) struct Evening {
    /// Hours and airmass of each sample.
    air: Vec<(f64, f64)>,
    /// Moonlight in V.
    pub(crate) moon: Option<Estimate<MagnitudesPerSquareArcsecond>>,
    /// Twilight in V.
    pub(crate) twilight: Option<Estimate<MagnitudesPerSquareArcsecond>>,
    /// The sky at the target over that at the zenith.
    pub(crate) brightening: Brightening,
    /// Where nobody said how high the target stands: what it could be as well, a low and a high stand.
    pub(crate) elsewhere: Option<[Stand; 2]>,
    /// Hours of a night that can be planned with.
    pub(crate) clear_hours: f64,
    pub(crate) night: Option<PlanNight>,
    pub(crate) caveats: Vec<Caveat>,
}

impl Evening {
    /// The evening of a night; without a date or a place the Moon is down and the night dark.
    ///
    /// # Errors
    /// When the date is none, the night has no darkness, or the target does not rise above the horizon in it.
    pub(crate) fn new(night: &Night) -> Result<Self, NightError> {
        match night.dated()? {
            Some((date, place)) => Self::dated(night, date, place),
            None => Ok(Self { caveats: vec![moon_not_counted(night)], ..Self::undated(night)? }),
        }
    }

    /// One moment of a dated night.
    pub(crate) fn at(night: &Night, sample: &NightSample) -> Self {
        let light = |magnitude: Option<MagnitudesPerSquareArcsecond>, relative: f64| {
            magnitude.map(|m| Estimate::new(m.0, relative * MAGNITUDES_PER_LOGARITHM))
        };
        let twilight =
            (sample.twilight > 0.0).then(|| NATURAL_SKY - MagnitudesPerSquareArcsecond(2.5 * sample.twilight.log10()));
        Self {
            air: vec![(1.0, sample.airmass)],
            moon: light(magnitude_of_nanolambert(sample.moon_nanolambert), MOONLIGHT_UNCERTAINTY),
            twilight: light(twilight, TWILIGHT_UNCERTAINTY),
            brightening: sample.brightening,
            elsewhere: elsewhere(night),
            clear_hours: night.goal.clear_hours(),
            night: None,
            caveats: Vec::new(),
        }
    }

    /// A night without date: the Moon down, the target at its usual altitude.
    pub(crate) fn undated(night: &Night) -> Result<Self, NightError> {
        let altitude = night.target.altitude();
        Ok(Self::made_up(night, airmass(altitude)?, Brightening::at(altitude, night.site.extinction())))
    }

    fn dated(night: &Night, date: Date, place: Place) -> Result<Self, NightError> {
        let offset = night.utc_offset_h();
        let tonight = Tonight::new(place, date, offset)?;
        let limit = darkness(night, date, place, &tonight)?;
        let track = track(night);
        let usable = tonight.usable(limit, &track);
        if usable.is_empty() {
            return Err(target_down(night, date, place, &tonight, limit, &track));
        }
        let samples = tonight.samples(&usable, &track, night.site.extinction());
        let mut evening = Self::of_samples(night, &samples);
        let summary = evening.summary(night, date, &tonight, limit, &usable, &samples);
        evening.caveats = dated_caveats(night, &summary);
        evening.night = Some(summary);
        Ok(evening)
    }

    /// The mean of some hours of a night, with nothing said of them.
    pub(crate) fn of_samples(night: &Night, samples: &[NightSample]) -> Self {
        let hours: f64 = samples.iter().map(|s| s.hours).sum();
        let mean = |of: fn(&NightSample) -> f64| samples.iter().map(|s| s.hours * of(s)).sum::<f64>() / hours;
        let light = |magnitude: Option<MagnitudesPerSquareArcsecond>, relative: f64| {
            magnitude.map(|m| Estimate::new(m.0, relative * MAGNITUDES_PER_LOGARITHM))
        };
        let moon = light(magnitude_of_nanolambert(mean(|s| s.moon_nanolambert)), MOONLIGHT_UNCERTAINTY);
        let twilight = mean(|s| s.twilight);
        let twilight = (twilight > 0.0).then(|| NATURAL_SKY - MagnitudesPerSquareArcsecond(2.5 * twilight.log10()));
        Self {
            air: samples.iter().map(|s| (s.hours, s.airmass)).collect(),
            moon,
            twilight: light(twilight, TWILIGHT_UNCERTAINTY),
            brightening: Brightening::mean(&samples.iter().map(|s| (s.hours, s.brightening)).collect::<Vec<_>>()),
            elsewhere: elsewhere(night),
            clear_hours: night.goal.clear_hours().min(hours),
            night: None,
            caveats: Vec::new(),
        }
    }

    /// The same evening without moonlight, all else kept.
    pub(crate) fn in_the_dark(&self) -> Self {
        self.lit_by(None)
    }

    /// The same evening with other moonlight, all else kept.
    pub(crate) fn lit_by(&self, moon: Option<Estimate<MagnitudesPerSquareArcsecond>>) -> Self {
        Self { night: self.night.clone(), caveats: self.caveats.clone(), ..self.with_moon(moon) }
    }

    /// The same evening with as many clear hours as a night asks for, if it has them.
    pub(crate) fn with_clear_hours_of(&self, night: &Night) -> Self {
        let usable = self.night.as_ref().map_or(f64::INFINITY, |summary| summary.usable_hours);
        Self {
            clear_hours: night.goal.clear_hours().min(usable),
            night: self.night.clone(),
            ..self.with_moon(self.moon)
        }
    }

    /// An evening that no night has: so much air, so much brighter a sky, neither Moon nor twilight.
    pub(crate) fn made_up(night: &Night, airmass: f64, brightening: Brightening) -> Self {
        Self {
            air: vec![(1.0, airmass)],
            moon: None,
            twilight: None,
            brightening,
            elsewhere: elsewhere(night),
            clear_hours: night.goal.clear_hours(),
            night: None,
            caveats: Vec::new(),
        }
    }

    /// The same hours with twilight.
    pub(crate) fn with_twilight(self, twilight: MagnitudesPerSquareArcsecond) -> Self {
        Self { twilight: Some(Estimate::new(twilight.0, 0.0)), ..self }
    }

    /// The same hours with other moonlight, with nothing said of them.
    pub(crate) fn with_moon(&self, moon: Option<Estimate<MagnitudesPerSquareArcsecond>>) -> Self {
        Self { air: self.air.clone(), moon, night: None, caveats: Vec::new(), ..*self }
    }

    /// The same hours with the target at another height.
    pub(crate) fn with_stand(&self, stand: Stand) -> Self {
        let (air, brightening) = (vec![(1.0, stand.airmass)], stand.brightening);
        Self { air, brightening, elsewhere: None, night: None, caveats: Vec::new(), ..*self }
    }

    /// Mean share of a star's light that arrives.
    pub(crate) fn transmission(&self, extinction: Magnitudes) -> f64 {
        let hours: f64 = self.air.iter().map(|(hours, _)| hours).sum();
        self.air.iter().map(|(hours, airmass)| hours * transmission(extinction, *airmass)).sum::<f64>() / hours
    }

    /// The least air: when a star burns soonest.
    pub(crate) fn least_airmass(&self) -> f64 {
        self.air.iter().map(|(_, airmass)| *airmass).fold(f64::MAX, f64::min)
    }

    fn summary(
        &self,
        night: &Night,
        date: Date,
        tonight: &Tonight,
        limit: Degrees,
        usable: &[Span],
        samples: &[NightSample],
    ) -> PlanNight {
        let offset = night.utc_offset_h();
        let written = |spans: &[Span]| spans.iter().map(|s| [s.from.local(offset), s.to.local(offset)]).collect();
        let (dark, moon_free, hours) = (tonight.dark(limit), tonight.moon_free(limit), hours_of(usable));
        let altitudes = || samples.iter().map(|s| s.target.0);
        let zenith = match night.site.sky() {
            GivenSky::Measured { .. } => None,
            _ => night.site.zenith_sky().ok().map(|(zenith, _)| zenith),
        };
        let flux = |zenith: MagnitudesPerSquareArcsecond| {
            samples.iter().map(|s| s.hours * 10_f64.powf(-0.4 * s.sky(zenith).0)).sum::<f64>() / hours
        };
        let extinction = night.site.extinction();
        PlanNight {
            course: NightCourse::new(
                tonight,
                date,
                offset,
                usable,
                &track(night),
                zenith.map(|zenith| zenith.value),
                extinction,
            ),
            date: date.to_string(),
            utc_offset_h: offset,
            lowest_sun_deg: tonight.lowest_sun().0,
            sun_below_deg: limit.0,
            dark: written(&dark),
            dark_hours: hours_of(&dark),
            moon_free: written(&moon_free),
            moon_free_hours: hours_of(&moon_free),
            target_up: night.position().map(|_| written(usable)),
            usable_hours: hours,
            planned_hours: self.clear_hours,
            target_altitude_deg: [altitudes().fold(90.0, f64::min), altitudes().fold(-90.0, f64::max)],
            airmass: self.air.iter().map(|(hours, airmass)| hours * airmass).sum::<f64>() / hours,
            moon_illuminated_percent: 100.0 * samples.get(samples.len() / 2).map_or(0.0, |s| s.moon.illuminated()),
            moon_mag_per_arcsec2: self.moon.map(|moon| moon.value.0),
            twilight_mag_per_arcsec2: self.twilight.map(|twilight| twilight.value.0),
            sky_mag_per_arcsec2: zenith.map(|zenith| -2.5 * flux(zenith.value).log10()),
        }
    }
}

/// What a target's height above the horizon does to its light and to the sky before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stand {
    airmass: f64,
    pub(crate) brightening: Brightening,
}

/// The stands that a target may have as well; `None` where its place or its altitude is known.
fn elsewhere(night: &Night) -> Option<[Stand; 2]> {
    let placed = matches!(night.dated(), Ok(Some(_))) && night.position().is_some();
    let stand = |altitude| {
        let brightening = Brightening::at(altitude, night.site.extinction());
        Some(Stand { airmass: airmass(altitude).ok()?, brightening })
    };
    if placed || night.target.altitude_deg.is_some() {
        return None;
    }
    Some([stand(USUAL_STANDS[0])?, stand(USUAL_STANDS[1])?])
}

/// How the target moves: by its position, or at the altitude that was given.
pub(crate) fn track(night: &Night) -> Track {
    match night.position() {
        Some((right_ascension, declination)) => {
            let points = night.site.horizon.clone().unwrap_or_default();
            Track::Fixed { right_ascension, declination, horizon: Horizon::new(&points, least_altitude(night)) }
        }
        None => Track::Altitude(night.target.altitude()),
    }
}

/// What the target must stand above wherever it is: as chosen, else nothing beside a horizon list, else the default.
pub(crate) fn least_altitude(night: &Night) -> Degrees {
    let beside = if night.site.horizon.is_some() { Degrees(0.0) } else { DEFAULT_LEAST_ALTITUDE };
    night.target.min_altitude_deg.unwrap_or(beside)
}

/// The Sun's altitude below which the night counts as dark: the strictest that leaves an hour, so that the first
/// minutes below a limit do not cost the hours above it; `None` where it is not dark at all.
pub(crate) fn darkest(tonight: &Tonight) -> Option<Degrees> {
    let lowest = tonight.lowest_sun();
    let worth = |limit: &Degrees| hours_of(&tonight.dark(*limit)) >= WORTH_H;
    let reached = [ASTRONOMICAL, NAUTICAL].into_iter().find(worth);
    reached.or_else(|| (lowest < LEAST_DARKNESS).then(|| lowest + DARKEST_WITHIN))
}

/// [`darkest`], or astronomical darkness alone where that is needed; `None` where the plan has no hour of it.
pub(crate) fn counted(night: &Night, tonight: &Tonight) -> Option<Degrees> {
    let needed = night.goal.need_astronomical_night == Some(true);
    if needed && !tonight.dark(ASTRONOMICAL).is_empty() {
        return Some(ASTRONOMICAL);
    }
    darkest(tonight).filter(|limit| !needed || *limit <= ASTRONOMICAL)
}

fn darkness(night: &Night, date: Date, place: Place, tonight: &Tonight) -> Result<Degrees, NightError> {
    if let Some(limit) = counted(night, tonight) {
        return Ok(limit);
    }
    let (name, lowest_deg, next) = (date.to_string(), tonight.lowest_sun().0, next_date(night, date, place));
    Err(match darkest(tonight) {
        Some(limit) => {
            let hours = hours_of(&tonight.dark(limit));
            NoHours::NotAstronomical { date: name, lowest_deg, hours, limit_deg: limit.0, next }.into()
        }
        None => NoHours::NotDark { date: name, lowest_deg, next }.into(),
    })
}

fn target_down(
    night: &Night,
    date: Date,
    place: Place,
    tonight: &Tonight,
    limit: Degrees,
    track: &Track,
) -> NightError {
    let next = next_date(night, date, place);
    let highest_deg = tonight.highest(limit, track).map_or(-90.0, |altitude| altitude.0);
    let declination = night.position().map_or(0.0, |(_, declination)| declination.0);
    let culmination_deg = 90.0 - (place.latitude.0 - declination).abs();
    NoHours::TargetDown { date: date.to_string(), highest_deg, culmination_deg, next }.into()
}

/// The first later date that has an hour for this night's target, computed as its plan would.
fn next_date(night: &Night, date: Date, place: Place) -> Option<String> {
    let track = track(night);
    let good = |later: &Date| {
        let tonight = Tonight::new(place, *later, night.utc_offset_h()).ok()?;
        let limit = counted(night, &tonight)?;
        Some(hours_of(&tonight.usable(limit, &track)) >= WORTH_H)
    };
    let mut later = (1..=LOOK_AHEAD_DAYS).map(|days| date.later(days));
    later.find(|later| good(later) == Some(true)).map(|date| date.to_string())
}

fn moon_not_counted(night: &Night) -> Caveat {
    let (what, hint) = if night.goal.date.is_some() {
        ("no place", "give latitude_deg and longitude_deg under [site]")
    } else {
        ("no date", "give date under [goal], and latitude_deg and longitude_deg under [site]")
    };
    let message = format!("{what} is given: the Moon is taken as down and the night as dark");
    Caveat::new("moon-not-counted", message, hint)
}

fn dated_caveats(night: &Night, summary: &PlanNight) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    if summary.sun_below_deg > ASTRONOMICAL.0 {
        let message = format!(
            "no hour of astronomical night on {}: the Sun goes no lower than {:.1}°; planned with the {:.1} h below {:.1}°, \
             twilight counted",
            summary.date, summary.lowest_sun_deg, summary.dark_hours, summary.sun_below_deg
        );
        caveats.push(Caveat::new("no-astronomical-night", message, "a later date has a darker sky").about("goal.date"));
    }
    caveats.extend(offset_caveat(night));
    if let (Some(given), Some(_)) = (night.target.altitude_deg, night.position()) {
        let [low, high] = summary.target_altitude_deg;
        let message = format!(
            "altitude_deg = {} is not used: by its position the target stands {low:.0}° to {high:.0}° high",
            given.0
        );
        caveats.push(Caveat::new("altitude-not-used", message, "leave out altitude_deg").about("target.altitude_deg"));
    }
    caveats
}

/// A clock that does not belong to the longitude: one of the two may have the wrong sign.
fn offset_caveat(night: &Night) -> Option<Caveat> {
    let (offset, longitude) = (night.site.utc_offset_h?, night.site.longitude_deg?);
    let [behind, before] = USUAL_OFFSETS_H;
    let by_sun = |longitude: f64| ((longitude + 180.0).rem_euclid(360.0) - 180.0) / 15.0;
    let apart = |longitude: f64| (offset - by_sun(longitude) + 12.0).rem_euclid(24.0) - 12.0;
    let is_usual = |longitude: f64| (behind..=before).contains(&apart(longitude));
    (!is_usual(longitude.0)).then(|| {
        let message = format!(
            "utc_offset_h = {offset} is {:.0} h from the Sun's time at longitude_deg = {} (east is positive)",
            apart(longitude.0).abs(),
            longitude.0
        );
        let swapped = night.site.latitude_deg.is_some_and(|latitude| is_usual(latitude.0));
        let hint = if swapped && longitude.0.abs() <= 90.0 {
            "check the signs of both, west of Greenwich they are negative; latitude and longitude may be swapped"
        } else {
            "check the signs of both; west of Greenwich they are negative"
        };
        Caveat::new("conflicting-offset", message, hint).about("site.utc_offset_h")
    })
}
