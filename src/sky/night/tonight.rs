//! The hours of one night, and what the sky is like in them.

use crate::sky::scales::{NATURAL_SKY, magnitude_of_nanolambert};
use crate::sky::{Brightening, SkyError, airmass};
use crate::stats::bisect;
use crate::units::{Degrees, Magnitudes, MagnitudesPerSquareArcsecond};

use super::moonlight::{moonlight_scattered, moonlight_that_scatters};
use super::{
    Almanac, Date, Horizon, Horizontal, Lately, Moon, Place, Span, Utc, moonlight, separation, twilight_brightening,
};

/// The Sun's altitude below which the night is dark.
pub const ASTRONOMICAL: Degrees = Degrees(-18.0);
/// The Sun's altitude below which the night is dark enough where it gets no darker.
pub const NAUTICAL: Degrees = Degrees(-12.0);

/// Hours of the day in which a night is looked for, evenly about the Sun's lowest stand.
const WINDOW_H: f64 = 24.0;
/// Between two looks: what is shorter can be missed.
const LOOK_H: f64 = 1.0 / 6.0;
/// Halvings of an interval of 10 minutes: a tenth of a second is left.
const HALVINGS: usize = 13;
/// Between two samples, at most.
const SAMPLE_H: f64 = 1.0 / 6.0;
/// Directions over which the Moon's light is averaged where a target's azimuth is not known.
const DIRECTIONS: u32 = 18;
/// Nobody photographs nearer to the Moon than this (common practice, no source).
const NEAREST_TO_MOON: Degrees = Degrees(30.0);

/// How the target moves through the night.
#[derive(Debug, Clone, PartialEq)]
pub enum Track {
    /// As the sky turns, above a horizon.
    Fixed {
        /// Right ascension, J2000.
        right_ascension: Degrees,
        /// Declination, J2000.
        declination: Degrees,
        /// What it must stand above.
        horizon: Horizon,
    },
    /// At this altitude all night, in an unknown direction.
    Altitude(Degrees),
}

/// One moment of a night.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NightSample {
    /// When.
    pub at: Utc,
    /// How many hours it stands for.
    pub hours: f64,
    /// The Sun's altitude.
    pub sun: Degrees,
    /// The Moon.
    pub moon: Moon,
    /// The target's altitude.
    pub target: Degrees,
    /// The target's airmass.
    pub airmass: f64,
    /// Moonlight at the target in nanolamberts.
    pub moon_nanolambert: f64,
    /// Twilight in units of the natural dark sky.
    pub twilight: f64,
    /// The sky at the target over that at the zenith.
    pub brightening: Brightening,
}

impl NightSample {
    /// The sky at the target, the Moon and twilight included, where the zenith without both has this magnitude.
    ///
    /// Of lamps only the height above the horizon counts ([`Brightening::at`]): where the towns lie is not known.
    #[must_use]
    pub fn sky(&self, zenith: MagnitudesPerSquareArcsecond) -> MagnitudesPerSquareArcsecond {
        let flux = |magnitude: MagnitudesPerSquareArcsecond| 10_f64.powf(-0.4 * magnitude.0);
        let moon = magnitude_of_nanolambert(self.moon_nanolambert).map_or(0.0, flux);
        let night = flux(self.brightening.of_zenith(zenith));
        let total = night + flux(NATURAL_SKY) * self.twilight + moon;
        MagnitudesPerSquareArcsecond(-2.5 * total.log10())
    }
}

/// Nights of a season, and as many of another place.
static NIGHTS: Lately<(Place, Utc), Tonight> = Lately::new(256);

/// The night that begins in the evening of a date.
#[derive(Debug, Clone)]
pub struct Tonight {
    almanac: Almanac,
    from: Utc,
    to: Utc,
    /// The Sun's altitude at each of the looks.
    suns: Vec<f64>,
}

impl Tonight {
    /// The night of a local date, half a day before and after the Sun's lowest stand that lies nearest to midnight.
    ///
    /// # Errors
    /// When the ephemeris does not reach the date.
    pub fn new(place: Place, date: Date, utc_offset_h: f64) -> Result<Self, SkyError> {
        let midnight = date.at(24.0, utc_offset_h);
        // Mean local midnights lie at −longitude/15 h of universal time; which of them is nearest?
        let local = -place.longitude.0 / 360.0;
        let middle = Utc((midnight.0 - local).round() + local);
        let night = NIGHTS.get((place, middle), |(place, middle)| Self::about(*place, *middle))?;
        Ok(night.as_ref().clone())
    }

    fn about(place: Place, middle: Utc) -> Result<Self, SkyError> {
        let almanac = Almanac::about(place, middle)?;
        let half = WINDOW_H / 2.0;
        let (from, to) = (middle.later(-half), middle.later(half));
        let suns = looks(from).map(|at| almanac.sun(at).altitude.0).collect();
        Ok(Self { almanac, from, to, suns })
    }

    /// Where and when it begins, which no other night shares with it.
    pub(crate) fn place_and_time(&self) -> (Place, Utc) {
        (self.almanac.place(), self.from)
    }

    /// Where things stand that night.
    #[must_use]
    pub fn almanac(&self) -> &Almanac {
        &self.almanac
    }

    /// The hours in which the Sun's centre stands below `limit`, without refraction.
    #[must_use]
    pub fn dark(&self, limit: Degrees) -> Vec<Span> {
        self.spans(limit, |_| f64::MAX)
    }

    /// The hours of [`Tonight::dark`] in which the Moon's centre is below the horizon.
    #[must_use]
    pub fn moon_free(&self, limit: Degrees) -> Vec<Span> {
        self.spans(limit, |at| -self.almanac.moon(at).place.altitude.0)
    }

    /// The hours of [`Tonight::dark`] in which the target stands high enough; at a fixed altitude it always does.
    #[must_use]
    pub fn usable(&self, limit: Degrees, track: &Track) -> Vec<Span> {
        self.spans(limit, |at| self.clearance(track, at))
    }

    /// The Sun's lowest altitude.
    #[must_use]
    pub fn lowest_sun(&self) -> Degrees {
        Degrees(self.suns.iter().copied().fold(90.0, f64::min))
    }

    /// The target's highest altitude in the hours of [`Tonight::dark`]; `None` without any.
    #[must_use]
    pub fn highest(&self, limit: Degrees, track: &Track) -> Option<Degrees> {
        let dark = looks(self.from).zip(&self.suns).filter(|(_, sun)| **sun < limit.0);
        dark.map(|(at, _)| altitude_of(self.target(track, at))).max_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// The night in samples of at most ten minutes, each in the middle of the time it stands for.
    ///
    /// `extinction` is that in V, which lets the Moon's light through and scatters it.
    #[must_use]
    pub fn samples(&self, spans: &[Span], track: &Track, extinction: Magnitudes) -> Vec<NightSample> {
        let mut samples = Vec::new();
        for span in spans {
            let count = (span.hours() / SAMPLE_H).ceil().max(1.0);
            let hours = span.hours() / count;
            let middles = (0..count as u32).map(|i| span.from.later(hours * (f64::from(i) + 0.5)));
            samples.extend(middles.map(|at| self.sample(at, hours, track, extinction)));
        }
        samples
    }

    /// One moment alone; `hours` of it are 0.
    #[must_use]
    pub fn moment(&self, at: Utc, track: &Track, extinction: Magnitudes) -> NightSample {
        self.sample(at, 0.0, track, extinction)
    }

    fn sample(&self, at: Utc, hours: f64, track: &Track, extinction: Magnitudes) -> NightSample {
        let (sun, moon) = (self.almanac.sun(at).altitude, self.almanac.moon(at));
        let target = self.target(track, at);
        let altitude = altitude_of(target);
        NightSample {
            at,
            hours,
            sun,
            moon,
            target: altitude,
            airmass: airmass(Degrees(altitude.0.clamp(0.0, 90.0))).unwrap_or(1.0),
            moon_nanolambert: match target {
                Ok(place) => moonlight_at(&moon, place, extinction),
                Err(altitude) => moonlight_around(&moon, altitude, extinction),
            },
            twilight: 10_f64.powf(0.4 * twilight_brightening(sun).0) - 1.0,
            brightening: Brightening::at(altitude, extinction),
        }
    }

    /// Where the target stands, or only how high.
    fn target(&self, track: &Track, at: Utc) -> Result<Horizontal, Degrees> {
        match track {
            Track::Fixed { right_ascension, declination, .. } => {
                Ok(self.almanac.fixed(*right_ascension, *declination, at))
            }
            Track::Altitude(altitude) => Err(*altitude),
        }
    }

    fn clearance(&self, track: &Track, at: Utc) -> f64 {
        match (track, self.target(track, at)) {
            (Track::Fixed { horizon, .. }, Ok(place)) => horizon.clearance(place),
            _ => f64::MAX,
        }
    }

    /// The spans in which the Sun stands below `limit` and `height` is above 0; what is shorter than ten minutes can be
    /// missed.
    fn spans(&self, limit: Degrees, height: impl Fn(Utc) -> f64) -> Vec<Span> {
        let good = |at: Utc, sun: f64| sun < limit.0 && height(at) > 0.0;
        let crossing = |below: Utc, above: Utc| {
            let dark = |at: f64| good(Utc(at), self.almanac.sun(Utc(at)).altitude.0);
            Utc(bisect([above.0, below.0], HALVINGS, dark)[0])
        };
        let (mut spans, mut begun, mut last) = (Vec::new(), None, self.from);
        for (at, sun) in looks(self.from).zip(&self.suns) {
            match (begun, good(at, *sun)) {
                (None, true) => begun = Some(if at == self.from { at } else { crossing(last, at) }),
                (Some(from), false) => {
                    spans.push(Span { from, to: crossing(at, last) });
                    begun = None;
                }
                _ => {}
            }
            last = at;
        }
        spans.extend(begun.map(|from| Span { from, to: self.to }));
        spans
    }
}

/// The moments at which a night that begins then is looked at.
fn looks(from: Utc) -> impl Iterator<Item = Utc> {
    let count = (WINDOW_H / LOOK_H).round() as u32;
    (0..=count).map(move |i| from.later(f64::from(i) * LOOK_H))
}

fn altitude_of(target: Result<Horizontal, Degrees>) -> Degrees {
    target.map_or_else(|altitude| altitude, |place| place.altitude)
}

fn moonlight_at(moon: &Moon, target: Horizontal, extinction: Magnitudes) -> f64 {
    let zenith = |place: Horizontal| Degrees(90.0) - place.altitude;
    moonlight(moon.phase_angle, separation(moon.place, target), zenith(moon.place), zenith(target), extinction)
}

/// The mean over all directions at this altitude that are not near the Moon.
fn moonlight_around(moon: &Moon, altitude: Degrees, extinction: Magnitudes) -> f64 {
    if moon.place.altitude.0 <= 0.0 {
        return 0.0;
    }
    let step = 360.0 / f64::from(DIRECTIONS);
    let directions = (0..DIRECTIONS).map(|i| Horizontal { altitude, azimuth: Degrees(step * (f64::from(i) + 0.5)) });
    let apart: Vec<Degrees> = directions.map(|place| separation(moon.place, place)).collect();
    let away: Vec<Degrees> = apart.iter().copied().filter(|apart| *apart >= NEAREST_TO_MOON).collect();
    let counted = if away.is_empty() { &apart } else { &away };
    let mean = counted.iter().map(|apart| moonlight_scattered(*apart)).sum::<f64>() / counted.len() as f64;
    let zenith = |altitude: Degrees| Degrees(90.0) - altitude;
    mean * moonlight_that_scatters(moon.phase_angle, zenith(moon.place.altitude), zenith(altitude), extinction)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sky::night::hours_of;
    use crate::units::Metres;

    fn tonight(latitude: f64, longitude: f64, date: &str, offset: f64) -> Tonight {
        let place = Place { latitude: Degrees(latitude), longitude: Degrees(longitude), height: Metres(0.0) };
        Tonight::new(place, Date::parse(date).unwrap(), offset).unwrap()
    }

    #[test]
    fn the_night_is_that_of_the_dates_evening_wherever_the_place() {
        for (longitude, offset) in [(0.0, 0.0), (21.0, 2.0), (-120.0, -8.0), (175.0, 13.0), (180.0, -12.0), (21.0, 0.0)]
        {
            let dark = tonight(45.0, longitude, "2026-10-12", offset).dark(ASTRONOMICAL);
            assert_eq!(dark.len(), 1);
            let evening = dark[0].from.local(offset);
            assert!(evening.starts_with("2026-10-12T"), "{longitude}: {evening}");
            assert!(dark[0].to.local(offset).starts_with("2026-10-13T"));
        }
    }

    #[test]
    fn the_pole_has_a_night_of_the_whole_day_and_one_of_none() {
        let winter = tonight(89.0, 0.0, "2026-12-21", 0.0).dark(ASTRONOMICAL);
        approx::assert_abs_diff_eq!(hours_of(&winter), 24.0, epsilon = 1e-9);
        assert!(tonight(89.0, 0.0, "2026-06-21", 0.0).dark(NAUTICAL).is_empty());
    }

    #[test]
    fn hours_are_parts_of_each_other() {
        let night = tonight(45.0, 21.0, "2026-10-20", 2.0);
        let horizon = Horizon::new(&[], Degrees(30.0));
        let track = Track::Fixed { right_ascension: Degrees(83.8), declination: Degrees(-5.4), horizon };
        let (dark, free, usable) =
            (night.dark(ASTRONOMICAL), night.moon_free(ASTRONOMICAL), night.usable(ASTRONOMICAL, &track));
        assert!(hours_of(&free) < hours_of(&dark) && hours_of(&usable) < hours_of(&dark) && !usable.is_empty());
        let all = night.usable(ASTRONOMICAL, &Track::Altitude(Degrees(40.0)));
        assert_eq!(all, dark);
        let samples = night.samples(&usable, &track, Magnitudes(0.2));
        approx::assert_abs_diff_eq!(samples.iter().map(|s| s.hours).sum::<f64>(), hours_of(&usable), epsilon = 1e-9);
        assert!(samples.iter().all(|s| s.target.0 > 30.0 && s.sun.0 < -18.0 && s.airmass < 2.0 && s.twilight == 0.0));
    }

    #[test]
    fn a_moon_makes_the_sky_brighter_and_none_leaves_it() {
        let night = tonight(45.0, 21.0, "2026-10-26", 2.0);
        let samples = night.samples(&night.dark(ASTRONOMICAL), &Track::Altitude(Degrees(50.0)), Magnitudes(0.2));
        let sky = MagnitudesPerSquareArcsecond(21.0);
        for sample in samples {
            let up = sample.moon.place.altitude.0 > 0.0;
            assert_eq!(up, sample.moon_nanolambert > 0.0);
            if up {
                assert!(sample.sky(sky) < sky);
            } else {
                approx::assert_abs_diff_eq!(sample.sky(sky).0, 21.0, epsilon = 1e-9);
            }
        }
    }
}
