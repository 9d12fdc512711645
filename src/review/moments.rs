//! When each light was taken: what headers say, in whose time.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::ReviewError;
use crate::camera::MeasuredLight;
use crate::caveat::Caveat;
use crate::night::Night;
use crate::night::evening::track;
use crate::sky::night::{Date, NightSample, Place, Tonight, Utc};

/// The Sun above this and nobody takes lights.
const DAYLIGHT_DEG: f64 = -5.0;
/// One light in so many may have a clock of its own.
const ODD_SHARE: usize = 8;
/// Endings of files whose headers give universal time, as the FITS standard asks; a camera's own files give its clock's.
const UNIVERSAL: [&str; 6] = ["fits", "fit", "fts", "gz", "fz", "fits.fz"];

/// The time that headers give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Clock {
    /// Universal time.
    Universal,
    /// That of the camera's clock.
    Local,
}

/// The moments of all lights, in the order of the lights.
pub(super) struct Moments {
    /// The middle of each exposure, and what stood where; `None` where the header has no time.
    pub(super) of: Vec<Option<Moment>>,
    /// What the times were taken for.
    pub(super) clock: Clock,
    pub(super) caveats: Vec<Caveat>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    pub(super) at: Utc,
    /// What the sky is like then; `None` without a place, or where the times do not fit the place.
    pub(super) sample: Option<NightSample>,
}

/// `2026-03-01T20:05:11.5`, a space instead of the T, or colons in the date; `None` for a date alone.
pub(super) fn written_time(text: &str) -> Option<(Date, f64)> {
    let text = text.trim().trim_end_matches('Z');
    let (date, time) = text.split_once('T').or_else(|| text.split_once(' '))?;
    let date = Date::parse(&date.replace(':', "-")).ok()?;
    let mut parts = time.trim().splitn(3, ':').map(|part| part.parse::<f64>().ok());
    let (hour, minute, second) = (parts.next()??, parts.next()??, parts.next().unwrap_or(Some(0.0))?);
    let real = (0.0..24.0).contains(&hour) && (0.0..60.0).contains(&minute) && (0.0..61.0).contains(&second);
    real.then_some((date, hour + minute / 60.0 + second / 3600.0))
}

/// Whether so many lights are the odd ones out.
fn few(odd: usize, all: usize) -> bool {
    odd * ODD_SHARE <= all
}

fn counted(lights: usize) -> String {
    if lights == 1 { "one light".into() } else { format!("{lights} lights") }
}

fn gives_universal(file: &str) -> bool {
    let ending = file.rsplit('.').next().unwrap_or_default().to_lowercase();
    UNIVERSAL.contains(&ending.as_str())
}

/// The nights of a place, each computed once.
struct Nights {
    place: Place,
    offset_h: f64,
    known: BTreeMap<String, Tonight>,
}

impl Nights {
    fn tonight(&mut self, at: Utc) -> Option<&Tonight> {
        let date = at.evening(self.offset_h);
        if !self.known.contains_key(&date) {
            let tonight = Tonight::new(self.place, Date::parse(&date).ok()?, self.offset_h).ok()?;
            self.known.insert(date.clone(), tonight);
        }
        self.known.get(&date)
    }
}

/// The night that a moment lies in, at the place of a night file; `None` where that has none.
pub(super) fn night_of(night: &Night, at: Utc) -> Option<Tonight> {
    let (latitude, longitude) = night.site.latitude_deg.zip(night.site.longitude_deg)?;
    let place = Place { latitude, longitude, height: night.site.height() };
    let mut nights = Nights { place, offset_h: night.utc_offset_h(), known: BTreeMap::new() };
    nights.tonight(at).cloned()
}

impl Moments {
    pub(super) fn new(night: &Night, lights: &[MeasuredLight]) -> Result<Self, ReviewError> {
        let offset_h = night.utc_offset_h();
        let universal = lights.iter().filter(|light| gives_universal(&light.file)).count() * 2 >= lights.len();
        let middle = |light: &MeasuredLight, clock: Clock| {
            let (date, hours) = written_time(light.taken.as_deref()?)?;
            let ahead = if clock == Clock::Local { offset_h } else { 0.0 };
            Some(date.at(hours, ahead).later(light.exposure_s.0 / 7200.0))
        };
        let named = if universal { Clock::Universal } else { Clock::Local };
        let mut placed = Self { of: vec![None; lights.len()], clock: named, caveats: Vec::new() };
        let place = night.site.latitude_deg.zip(night.site.longitude_deg);
        let place = place.map(|(latitude, longitude)| Place { latitude, longitude, height: night.site.height() });
        let plain = |clock: Clock| -> Vec<Option<Moment>> {
            lights.iter().map(|light| middle(light, clock).map(|at| Moment { at, sample: None })).collect()
        };
        placed.of = plain(named);
        placed.without_odd_ones(offset_h);
        if placed.of.iter().all(Option::is_none) {
            let message = "no light says when it was taken: the Moon and the target's height are not followed";
            let hint = "let the capture program write DATE-OBS with the time";
            placed.caveats.push(Caveat::new("time-missing", message, hint));
            return Ok(placed);
        }
        let Some(place) = place else {
            let message = "the night has no place: the Moon and the target's height are not followed";
            let hint = "give latitude_deg and longitude_deg under [site]";
            placed.caveats.push(Caveat::new("moon-not-counted", message, hint));
            return Ok(placed);
        };
        let mut nights = Nights { place, offset_h, known: BTreeMap::new() };
        let mut in_daylight = |clock: Clock| {
            let times: Vec<Utc> = lights.iter().filter_map(|light| middle(light, clock)).collect();
            let mut day = |at: &Utc| nights.tonight(*at).is_none_or(|n| n.almanac().sun(*at).altitude.0 > DAYLIGHT_DEG);
            times.iter().filter(|at| day(at)).count()
        };
        let other = if named == Clock::Universal { Clock::Local } else { Clock::Universal };
        let by_day = in_daylight(named);
        if by_day > 0 && in_daylight(other) == 0 {
            placed.clock = other;
            placed.of = plain(other);
            placed.without_odd_ones(offset_h);
            let word = if other == Clock::Local { "local" } else { "universal" };
            let message =
                format!("by the headers' time the Sun was up in {}; it is taken as {word} time", counted(by_day));
            let hint = "check the clock of the camera or the computer, and utc_offset_h";
            placed.caveats.push(Caveat::new("conflicting-time", message, hint));
        } else if by_day > 0 && few(by_day, lights.len()) {
            // A clock that was set in the middle of the night is no reason not to follow the others.
            for moment in &mut placed.of {
                let mut day =
                    |at: Utc| nights.tonight(at).is_none_or(|n| n.almanac().sun(at).altitude.0 > DAYLIGHT_DEG);
                *moment = moment.filter(|moment| !day(moment.at));
            }
            let message =
                format!("by the headers' time the Sun was up in {}: they are followed by no clock", counted(by_day));
            placed.caveats.push(Caveat::new(
                "conflicting-time",
                message,
                "check the clock of the camera or the computer",
            ));
        } else if by_day > 0 {
            let message = format!(
                "the Sun is up at the night's place in {}: times and place do not fit, so the Moon and the \
                 target's height are not followed",
                counted(by_day)
            );
            let hint = "check latitude_deg, longitude_deg (east is positive) and utc_offset_h, and the clock";
            placed.caveats.push(Caveat::new("conflicting-time", message, hint));
            return Ok(placed);
        }
        placed.sampled(night, &mut nights);
        placed.note_date(night, offset_h);
        Ok(placed)
    }

    /// A light or two of quite another date than the rest have a clock of their own, and are followed by none; lights of several
    /// evenings are said.
    fn without_odd_ones(&mut self, offset_h: f64) {
        let evening = |moment: &Moment| moment.at.evening(offset_h);
        let mut evenings: BTreeMap<String, usize> = BTreeMap::new();
        for moment in self.of.iter().flatten() {
            *evenings.entry(evening(moment)).or_insert(0) += 1;
        }
        let lights = self.of.len();
        let odd: BTreeMap<String, usize> = evenings
            .iter()
            .filter(|(_, count)| few(**count, lights))
            .map(|(date, count)| (date.clone(), *count))
            .collect();
        let count: usize = odd.values().sum();
        // Many evenings with a light or two each are no clock's fault.
        if count > 0 && few(count, lights) {
            for moment in &mut self.of {
                *moment = moment.filter(|moment| !odd.contains_key(&evening(moment)));
            }
            evenings.retain(|date, _| !odd.contains_key(date));
            let dates: Vec<&str> = odd.keys().map(String::as_str).collect();
            let message = format!(
                "{} of another evening than the rest by their headers ({}): they are followed by no clock",
                counted(count),
                dates.join(", ")
            );
            let hint = "check the clock of the camera or the computer, or leave them out";
            self.caveats.push(Caveat::new("conflicting-time", message, hint));
        }
        if let (true, Some(first), Some(last)) = (evenings.len() > 1, evenings.keys().next(), evenings.keys().last()) {
            let message = format!(
                "lights of {} evenings lie together, {first} to {last}: they are taken as one night",
                evenings.len()
            );
            let hint = "give each evening a folder of its own, and review them together";
            self.caveats.push(Caveat::new("several-evenings", message, hint));
        }
    }

    fn sampled(&mut self, night: &Night, nights: &mut Nights) {
        let (track, extinction) = (track(night), night.site.extinction());
        for moment in self.of.iter_mut().flatten() {
            moment.sample = nights.tonight(moment.at).map(|n| n.moment(moment.at, &track, extinction));
        }
        let below = |moment: &&Moment| moment.sample.is_some_and(|sample| sample.target.0 < 0.0);
        let down = self.of.iter().flatten().filter(below).count();
        if down > 0 && few(down, self.of.len()) {
            let message =
                format!("the night's target stands below the horizon in {}: they are not followed", counted(down));
            let hint = "leave them out, or check the clock";
            self.caveats.push(Caveat::new("conflicting-target", message, hint));
            let sample = |moment: &Moment| moment.sample.filter(|sample| sample.target.0 >= 0.0);
            self.of.iter_mut().flatten().for_each(|moment| moment.sample = sample(moment));
        } else if down > 0 {
            let message = format!(
                "the night's target stands below the horizon in {}: they are of another target or another \
                 place, so the Moon and the target's height are not followed",
                counted(down)
            );
            let hint = "give the target of these lights under [target], and check the site and the clock";
            self.caveats.push(Caveat::new("conflicting-target", message, hint));
            self.of.iter_mut().flatten().for_each(|moment| moment.sample = None);
        }
    }

    /// Whether the goal's date is that of the lights.
    fn note_date(&mut self, night: &Night, offset_h: f64) {
        let Some(planned) = &night.goal.date else { return };
        let evenings: Vec<String> = self.of.iter().flatten().map(|moment| moment.at.evening(offset_h)).collect();
        if let Some(first) = evenings.first().filter(|_| !evenings.iter().any(|date| date == planned)) {
            let message =
                format!("the night is planned for {planned}, the lights are of {first}: their date is followed");
            self.caveats.push(Caveat::new("conflicting-date", message, "nothing to do").about("goal.date"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_in_the_ways_headers_write_them() {
        let hours = |text: &str| written_time(text).map(|(_, hours)| hours);
        assert_eq!(hours("2026-03-01T20:30:00"), Some(20.5));
        assert_eq!(hours("2026-03-01T20:30:36.0Z"), Some(20.51));
        assert_eq!(hours("2026:03:01 06:15:00"), Some(6.25));
        for none in
            ["", "2026-03-01", "20:30:00", "2026-03-01T25:00:00", "2026-13-01T20:00:00", "T", "2026-03-01T-1:00"]
        {
            assert_eq!(hours(none), None, "{none}");
        }
    }
}
