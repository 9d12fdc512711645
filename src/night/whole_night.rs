//! A dated night from sunset to sunrise, minute by minute, for a picture.

use serde::Serialize;

use crate::sky::GivenSky;
use crate::sky::night::{ASTRONOMICAL, Almanac, Date, NAUTICAL, Place, Span, Tonight, Track, Utc};
use crate::units::Degrees;

use super::evening::{counted, track};
use super::{Night, NightError};

/// The Sun's centre at sunset: refraction and its own half width (common practice, no source).
const SUNSET: Degrees = Degrees(-0.833);
/// The Sun's centre at the end of civil twilight.
const CIVIL: Degrees = Degrees(-6.0);
const MINUTES: f64 = 60.0;
const DAY_H: f64 = 24.0;

/// What stands where in a night. Hours are local ones after the midnight before the evening: 25 is one in the morning. Altitudes
/// are rounded to a hundredth of a degree, magnitudes to a hundredth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WholeNight {
    /// Local date of the evening.
    pub date: String,
    /// Local time minus universal time.
    pub utc_offset_h: f64,
    /// The first minute of the lists, as an hour; one entry follows for each minute.
    pub begins_h: f64,
    /// The Sun's altitude below which an hour counts as dark; `null` where none does.
    pub sun_below_deg: Option<f64>,
    /// When the Sun is lower than each of these.
    pub sun_below: Vec<SunBelow>,
    /// The Sun's altitude.
    pub sun_deg: Vec<f64>,
    /// The Moon's altitude.
    pub moon_deg: Vec<f64>,
    /// When the Moon is up.
    pub moon_up_h: Vec<[f64; 2]>,
    /// Lit share of the Moon in the middle of the night.
    pub moon_illuminated_percent: f64,
    /// Whether that share grows.
    pub moon_waxing: bool,
    /// The target's altitude; `null` where it has no position.
    pub target_deg: Option<Vec<f64>>,
    /// The target's direction at each minute, from north through east.
    pub target_azimuth_deg: Option<Vec<f64>>,
    /// What the target must stand above in its direction at that minute; `null` where it has no position.
    pub horizon_deg: Option<Vec<f64>>,
    /// When it is dark and the target stands above that; `null` where no hour counts as dark.
    pub usable_h: Option<Vec<[f64; 2]>>,
    /// The altitude that is taken for a target without position.
    pub altitude_deg: Option<f64>,
    /// The sky at the target in V, Moon and twilight included; `null` where the sky was measured in electrons, and while the
    /// target is below the mathematical horizon.
    pub sky_mag_per_arcsec2: Option<Vec<Option<f64>>>,
}

/// When the Sun is low.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SunBelow {
    /// Lower than this.
    pub sun_deg: f64,
    /// Pairs of beginning and end.
    pub spans_h: Vec<[f64; 2]>,
}

fn hundredth(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

impl WholeNight {
    /// The night of the goal's date; `None` without a date or a place.
    ///
    /// # Errors
    /// When the date is none that the ephemeris reaches.
    pub fn new(night: &Night) -> Result<Option<Self>, NightError> {
        let Some((date, place)) = night.dated()? else { return Ok(None) };
        let offset = night.utc_offset_h();
        let tonight = Tonight::new(place, date, offset)?;
        let midnight = date.at(0.0, offset);
        let hours = |spans: &[Span]| -> Vec<[f64; 2]> {
            spans.iter().map(|span| [span.from, span.to].map(|at| at.hours_since(midnight))).collect()
        };
        let track = track(night);
        let night_time = tonight.dark(SUNSET);
        let whole = Span { from: midnight.later(DAY_H / 2.0), to: midnight.later(1.5 * DAY_H) };
        let from = night_time.first().map_or(whole.from, |span| span.from);
        let to = night_time.last().map_or(whole.to, |span| span.to);
        let begins = (from.hours_since(midnight) * MINUTES).floor() as i64;
        let ends = (to.hours_since(midnight) * MINUTES).ceil() as i64;
        let minutes: Vec<Utc> = (begins..=ends).map(|minute| midnight.later(minute as f64 / MINUTES)).collect();
        let extinction = night.site.extinction();
        let moments: Vec<_> = minutes.iter().map(|at| tonight.moment(*at, &track, extinction)).collect();
        let (target_azimuth_deg, horizon_deg): (Option<Vec<f64>>, Option<Vec<f64>>) = match &track {
            Track::Fixed { right_ascension, declination, horizon } => {
                let direction = |at: &Utc| tonight.almanac().fixed(*right_ascension, *declination, *at).azimuth;
                let beneath = |at: &Degrees| (hundredth(at.0), hundredth(horizon.altitude(*at).0));
                let (azimuths, horizon) = minutes.iter().map(direction).map(|at| beneath(&at)).unzip();
                (Some(azimuths), Some(horizon))
            }
            Track::Altitude(_) => (None, None),
        };
        let zenith = match night.site.sky() {
            GivenSky::Measured { .. } => None,
            _ => night.site.zenith_sky().ok().map(|(zenith, _)| zenith.value),
        };
        let positioned = horizon_deg.is_some();
        let limit = counted(night, &tonight);
        let lit = |at: Utc| tonight.almanac().moon(at).illuminated();
        let middle = from.later(to.hours_since(from) / 2.0);
        let mut limits = vec![SUNSET, CIVIL, NAUTICAL, ASTRONOMICAL];
        limits.extend(limit.filter(|limit| !limits.contains(limit)));
        Ok(Some(Self {
            date: date.to_string(),
            utc_offset_h: offset,
            begins_h: begins as f64 / MINUTES,
            sun_below_deg: limit.map(|limit| limit.0),
            sun_below: limits
                .into_iter()
                .map(|limit| SunBelow { sun_deg: limit.0, spans_h: hours(&tonight.dark(limit)) })
                .collect(),
            sun_deg: moments.iter().map(|moment| hundredth(moment.sun.0)).collect(),
            moon_deg: moments.iter().map(|moment| hundredth(moment.moon.place.altitude.0)).collect(),
            moon_up_h: without(&hours(&tonight.dark(Degrees(90.0))), &hours(&tonight.moon_free(Degrees(90.0)))),
            moon_illuminated_percent: 100.0 * lit(middle),
            moon_waxing: lit(middle.later(1.0)) > lit(middle),
            target_deg: positioned.then(|| moments.iter().map(|moment| hundredth(moment.target.0)).collect()),
            target_azimuth_deg,
            horizon_deg,
            usable_h: limit.map(|limit| hours(&tonight.usable(limit, &track))),
            altitude_deg: (!positioned).then(|| night.target.altitude().0),
            sky_mag_per_arcsec2: zenith.map(|zenith| {
                let seen =
                    moments.iter().map(|moment| (!positioned || moment.target.0 > 0.0).then(|| moment.sky(zenith).0));
                seen.map(|sky| sky.filter(|sky| sky.is_finite()).map(hundredth)).collect()
            }),
        }))
    }
}

/// The Moon at a local midnight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MoonOfDate {
    /// Local date of the evening before.
    pub date: String,
    /// Lit share.
    pub illuminated_percent: f64,
    /// Whether that share grows.
    pub waxing: bool,
}

/// The Moon of so many evenings from a date on, each at the midnight that follows.
///
/// # Errors
/// When the date is none that the ephemeris reaches.
pub fn moons(night: &Night, from: &str, evenings: u32) -> Result<Vec<MoonOfDate>, NightError> {
    let place = Place {
        latitude: night.site.latitude_deg.unwrap_or(Degrees(0.0)),
        longitude: night.site.longitude_deg.unwrap_or(Degrees(0.0)),
        height: night.site.height(),
    };
    let first = Date::parse(from)?;
    let of = |days: u32| {
        let date = first.later(days);
        let midnight = date.at(DAY_H, night.utc_offset_h());
        let almanac = Almanac::about(place, midnight)?;
        let [lit, soon] = [0.0, 1.0].map(|hours| almanac.moon(midnight.later(hours)).illuminated());
        Ok(MoonOfDate { date: date.to_string(), illuminated_percent: 100.0 * lit, waxing: soon > lit })
    };
    (0..evenings).map(of).collect()
}

/// What is left of spans without others that lie in them, both in order.
fn without(all: &[[f64; 2]], taken: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut left = Vec::new();
    for &[from, to] in all {
        let mut begun = from;
        for &[begins, ends] in taken.iter().filter(|[begins, ends]| *ends > from && *begins < to) {
            if begins > begun {
                left.push([begun, begins]);
            }
            begun = begun.max(ends);
        }
        if begun < to {
            left.push([begun, to]);
        }
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    fn night(target: &str) -> WholeNight {
        let text = format!(
            "optics = {{ aperture_mm = 76.0, focal_length_mm = 440.0 }}\n\
             site = {{ latitude_deg = 45.0, longitude_deg = 21.0, utc_offset_h = 1.0, sky = {{ bortle = 7 }}, horizon = [[0, 15], [90, 25], [180, 20], [270, 30]] }}\n\
             goal = {{ snr = 8.0, date = \"2026-10-19\" }}\n[target]\n{target}\n"
        );
        WholeNight::new(&Night::from_toml(&text).unwrap()).unwrap().unwrap()
    }

    #[test]
    fn a_night_has_a_minute_for_each_entry_and_spans_that_agree_with_them() {
        let whole = night("name = \"M33\"");
        let [from, to] = whole.sun_below[0].spans_h[0];
        assert!((to - from) * 60.0 - (whole.sun_deg.len() as f64) < 3.0);
        let at = |hour: f64| ((hour - whole.begins_h) * 60.0).round() as usize;
        for [from, to] in whole.usable_h.clone().unwrap() {
            let middle = at(f64::midpoint(from, to));
            assert!(whole.sun_deg[middle] < -18.0);
            assert!(whole.target_deg.as_ref().unwrap()[middle] > whole.horizon_deg.as_ref().unwrap()[middle]);
        }
        for (minute, altitude) in whole.moon_deg.iter().enumerate().filter(|(_, altitude)| altitude.abs() > 0.5) {
            let hour = whole.begins_h + minute as f64 / 60.0;
            let up = whole.moon_up_h.iter().any(|[from, to]| (*from..*to).contains(&hour));
            assert_eq!(up, *altitude > 0.0, "{hour}");
        }
        // Ten days after the new Moon of 10 October 2026.
        assert!(whole.moon_waxing && (40.0..75.0).contains(&whole.moon_illuminated_percent));
        assert!(whole.sky_mag_per_arcsec2.unwrap().iter().flatten().all(|sky| *sky < 18.6));
    }

    #[test]
    fn a_target_without_position_has_an_altitude_and_no_curve() {
        let whole = night("surface_brightness_mag = 22.8\naltitude_deg = 55.0");
        assert_eq!((whole.altitude_deg, whole.target_deg, whole.horizon_deg), (Some(55.0), None, None));
    }

    #[test]
    fn the_moon_grows_to_the_full_one_and_wanes_after_it() {
        let text = "optics = { aperture_mm = 76.0, focal_length_mm = 440.0 }\n[target]\nname = \"M33\"\n";
        let october = moons(&Night::from_toml(text).unwrap(), "2026-10-01", 31).unwrap();
        // New on 10 October 2026, full on the 26th (any almanac).
        assert!(october[9].illuminated_percent < 1.0 && october[24].illuminated_percent > 99.0);
        assert!(!october[5].waxing && october[15].waxing && !october[28].waxing);
        assert_eq!(october[30].date, "2026-10-31");
    }

    #[test]
    fn spans_are_taken_out_of_spans() {
        assert_eq!(without(&[[0.0, 10.0]], &[[2.0, 3.0], [8.0, 10.0]]), [[0.0, 2.0], [3.0, 8.0]]);
        assert_eq!(without(&[[0.0, 1.0], [2.0, 3.0]], &[[0.0, 1.0]]), [[2.0, 3.0]]);
        assert!(without(&[], &[[0.0, 1.0]]).is_empty());
    }
}
