//! The usable hours of each night in blocks, and what falls on the sensor in them.

use std::convert::Infallible;

use crate::night::Night;
use crate::night::evening::{counted, track};
use crate::noise::Rates;
use crate::plan::PlanError;
use crate::sky::night::{Date, Lately, NightSample, Place, Span, Tonight, Track, Utc, hours_of};
use crate::units::{Degrees, Magnitudes};

use super::light::NightLight;

/// A block is at most this long.
const BLOCK_H: f64 = 0.5;
/// And not cut shorter than this.
const LEAST_MIN: f64 = 3.0;
const MINUTES: f64 = 60.0;

/// Up to half an hour of a night.
pub(super) struct BlockHours {
    pub(super) span: Span,
    /// Mean rates of each plane of each filter.
    pub(super) rates: Vec<Vec<Rates>>,
    /// Share of the block in which the Moon is up.
    pub(super) moon_up: f64,
    /// Lowest and highest altitude of the target.
    pub(super) altitudes: [f64; 2],
}

/// The usable hours of a night; no blocks where it has none.
pub(super) struct NightHours {
    pub(super) date: Date,
    pub(super) blocks: Vec<BlockHours>,
    pub(super) usable_h: f64,
    pub(super) moon_illuminated: f64,
}

impl NightHours {
    pub(super) fn new(night: &Night, light: &NightLight, place: Place, date: Date) -> Result<Self, PlanError> {
        Ok(Self::of(night, light, date, &Tonight::new(place, date, night.utc_offset_h())?))
    }

    /// The usable hours of a night whose Sun and Moon are known.
    pub(super) fn of(night: &Night, light: &NightLight, date: Date, tonight: &Tonight) -> Self {
        let mut found = Self { date, blocks: Vec::new(), usable_h: 0.0, moon_illuminated: 0.0 };
        let Some(limit) = counted(night, tonight) else { return found };
        let track = track(night);
        let (of, extinction) = (tonight.place_and_time(), night.site.extinction());
        let key = Course { of, limit, track: track.clone(), extinction };
        let seen = match SEEN.get(key, |key| Ok::<_, Infallible>(Seen::of(tonight, key))) {
            Ok(seen) => seen,
            Err(never) => match never {},
        };
        let block = |(span, samples): &(Span, Vec<NightSample>)| BlockHours::new(light, *span, samples, &track);
        found.blocks = seen.pieces.iter().map(block).collect();
        found.moon_illuminated = seen.moon_illuminated;
        found.usable_h = seen.usable_h;
        found
    }
}

/// What the sky of a night over a target hangs on; the camera and the goal have no part in it.
#[derive(Debug, PartialEq)]
struct Course {
    of: (Place, Utc),
    limit: Degrees,
    track: Track,
    extinction: Magnitudes,
}

/// The usable hours of a night in pieces, with what the sky is like in each.
struct Seen {
    pieces: Vec<(Span, Vec<NightSample>)>,
    usable_h: f64,
    /// In the middle of them.
    moon_illuminated: f64,
}

/// The nights of a season for two targets.
static SEEN: Lately<Course, Seen> = Lately::new(256);

impl Seen {
    fn of(tonight: &Tonight, Course { limit, track, extinction, .. }: &Course) -> Self {
        let usable = tonight.usable(*limit, track);
        // Moonlight comes and goes at once: a block has it or has it not.
        let edges: Vec<Utc> = tonight.moon_free(*limit).iter().flat_map(|span| [span.from, span.to]).collect();
        let spans = usable.iter().flat_map(|span| cut(*span, &edges)).flat_map(|span| pieces(&span));
        let pieces: Vec<(Span, Vec<NightSample>)> =
            spans.map(|span| (span, tonight.samples(&[span], track, *extinction))).collect();
        let samples: Vec<&NightSample> = pieces.iter().flat_map(|(_, samples)| samples).collect();
        let moon_illuminated = samples.get(samples.len() / 2).map_or(0.0, |sample| sample.moon.illuminated());
        Self { pieces, usable_h: hours_of(&usable), moon_illuminated }
    }
}

impl BlockHours {
    fn new(light: &NightLight, span: Span, samples: &[NightSample], track: &Track) -> Self {
        let up = samples.iter().filter(|sample| sample.moon.place.altitude.0 > 0.0).count();
        let altitudes = || samples.iter().map(|sample| sample.target.0);
        let altitudes = match track {
            Track::Altitude(altitude) => [altitude.0; 2],
            Track::Fixed { .. } => [altitudes().fold(90.0, f64::min), altitudes().fold(-90.0, f64::max)],
        };
        let moon_up = up as f64 / samples.len().max(1) as f64;
        Self { span, rates: light.rates(samples), moon_up, altitudes }
    }
}

/// A span cut where an edge lies well inside.
fn cut(span: Span, edges: &[Utc]) -> Vec<Span> {
    let inside = |edge: &&Utc| {
        edge.hours_since(span.from) * MINUTES > LEAST_MIN && span.to.hours_since(**edge) * MINUTES > LEAST_MIN
    };
    let mut edges: Vec<Utc> = edges.iter().filter(inside).copied().collect();
    edges.sort_by(|a, b| a.0.total_cmp(&b.0));
    let ends = edges.iter().copied().chain([span.to]);
    let mut from = span.from;
    ends.map(|to| Span { from: std::mem::replace(&mut from, to), to }).collect()
}

/// A span in equal pieces that are short enough.
fn pieces(span: &Span) -> Vec<Span> {
    let count = (span.hours() / BLOCK_H).ceil().max(1.0);
    let step = span.hours() / count;
    let from = |i: u32| span.from.later(step * f64::from(i));
    (0..count as u32).map(|i| Span { from: from(i), to: from(i + 1) }).collect()
}
