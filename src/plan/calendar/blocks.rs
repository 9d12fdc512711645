//! The usable hours of a night in blocks, and how fast each filter fills its need in them.

use crate::camera::Mode;
use crate::night::evening::{Evening, counted, track};
use crate::night::{Conditions, FilterConditions, Night, SensorNoise};
use crate::plan::filter_solution::FilterSolution;
use crate::plan::{PlanError, Search};
use crate::sky::night::{Date, NightSample, Place, Span, Tonight, Track, hours_of};
use crate::stats::Estimate;
use crate::units::MagnitudesPerSquareArcsecond;

/// A block is at most this long.
const BLOCK_H: f64 = 0.5;
/// Moonlight with which filters are told apart: that of a half Moon, about (common practice, no source).
const SOME_MOONLIGHT: MagnitudesPerSquareArcsecond = MagnitudesPerSquareArcsecond(20.5);

/// A plan as the calendar sees it.
pub(super) struct Planned<'a> {
    pub(super) night: &'a Night,
    mode: &'a Mode,
    /// The same in every block.
    sensor: SensorNoise,
    pub(super) filters: &'a [FilterSolution<'a>],
    /// What moonlight leaves of each filter's speed: the less, the more it wants dark hours.
    pub(super) under_moon: Vec<f64>,
}

impl<'a> Planned<'a> {
    pub(super) fn new(
        night: &'a Night,
        mode: &'a Mode,
        evening: &Evening,
        filters: &'a [FilterSolution<'a>],
    ) -> Result<Self, PlanError> {
        let mut planned =
            Self { night, mode, sensor: SensorNoise::new(night, mode), filters, under_moon: vec![1.0; filters.len()] };
        if filters.len() > 1 {
            let lit = planned.speeds(&evening.with_moon(Some(Estimate::new(SOME_MOONLIGHT.0, 0.0))))?;
            let dark = planned.speeds(&evening.with_moon(None))?;
            planned.under_moon = lit.iter().zip(&dark).map(|(lit, dark)| left(*lit, *dark)).collect();
        }
        Ok(planned)
    }

    /// What a sub of each filter is worth in these conditions, in subs of the plan's own: the squares of their signal
    /// over noise add where each night's mean is weighed by its own quality. 0 where the sky would fill the pixel.
    fn speeds(&self, evening: &Evening) -> Result<Vec<f64>, PlanError> {
        let now = Conditions::with(self.night, self.mode, &self.sensor, evening)?;
        let speed = |(filter, now): (&FilterSolution<'_>, &FilterConditions)| {
            if now.limits.sky_saturation.is_some_and(|limit| limit < filter.sub) {
                return 0.0;
            }
            let governing = filter.conditions.planes.iter().zip(&now.planes).filter(|(plane, _)| plane.governs);
            let planes = governing.map(|(_, now)| (now.noise, now.patch)).collect();
            let search = Search { planes, ..filter.search.clone() };
            let kept = filter.kept.max(1.0);
            let own = filter.search.snr(filter.sub, kept, filter.every);
            if own > 0.0 { (search.snr(filter.sub, kept, filter.every) / own).powi(2) } else { 0.0 }
        };
        Ok(self.filters.iter().zip(&now.filters).map(speed).collect())
    }

    /// Whether hours were asked for, and not a signal over noise: then an hour is an hour.
    pub(super) fn by_hours(&self) -> bool {
        self.night.goal.hours.is_some()
    }
}

/// What is left of a speed.
fn left(with: f64, without: f64) -> f64 {
    if without > 0.0 { with / without } else { 1.0 }
}

/// Up to half an hour of a night.
pub(super) struct Block {
    pub(super) span: Span,
    /// What a sub of each filter is worth.
    pub(super) speeds: Vec<f64>,
    /// What the Moon leaves of that; 1 when it is down.
    pub(super) moon_leaves: Vec<f64>,
    /// Share of the block in which the Moon is up.
    pub(super) moon_up: f64,
    /// Lowest and highest altitude of the target.
    pub(super) altitudes: [f64; 2],
}

/// The usable hours of a night.
pub(super) struct Hours {
    pub(super) blocks: Vec<Block>,
    pub(super) usable_h: f64,
    pub(super) moon_illuminated: f64,
}

/// The hours of a date; `None` where it has none.
pub(super) fn hours_of_night(planned: &Planned<'_>, place: Place, date: Date) -> Result<Option<Hours>, PlanError> {
    let night = planned.night;
    let tonight = Tonight::new(place, date, night.utc_offset_h())?;
    let Some(limit) = counted(night, &tonight) else { return Ok(None) };
    let track = track(night);
    let usable = tonight.usable(limit, &track);
    let mut blocks = Vec::new();
    let mut lit = Vec::new();
    for span in usable.iter().flat_map(pieces) {
        let samples = tonight.samples(&[span], &track, night.site.extinction());
        lit.extend(samples.iter().map(|sample| sample.moon.illuminated()));
        blocks.push(block(planned, span, &samples, &track)?);
    }
    let moon_illuminated = lit.get(lit.len() / 2).copied().unwrap_or(0.0);
    Ok((!blocks.is_empty()).then_some(Hours { blocks, usable_h: hours_of(&usable), moon_illuminated }))
}

/// A span in equal pieces that are short enough.
fn pieces(span: &Span) -> Vec<Span> {
    let count = (span.hours() / BLOCK_H).ceil().max(1.0);
    let step = span.hours() / count;
    let from = |i: u32| span.from.later(step * f64::from(i));
    (0..count as u32).map(|i| Span { from: from(i), to: from(i + 1) }).collect()
}

fn block(planned: &Planned<'_>, span: Span, samples: &[NightSample], track: &Track) -> Result<Block, PlanError> {
    let evening = Evening::of_samples(planned.night, samples);
    let speeds = planned.speeds(&evening)?;
    let several = planned.filters.len() > 1;
    let moon_leaves = if several && evening.moon.is_some() {
        let dark = planned.speeds(&evening.with_moon(None))?;
        speeds.iter().zip(&dark).map(|(with, without)| left(*with, *without)).collect()
    } else {
        vec![1.0; speeds.len()]
    };
    let up = samples.iter().filter(|sample| sample.moon.place.altitude.0 > 0.0).count();
    let altitudes = || samples.iter().map(|sample| sample.target.0);
    let altitude = match track {
        Track::Altitude(altitude) => [altitude.0; 2],
        Track::Fixed { .. } => [altitudes().fold(90.0, f64::min), altitudes().fold(-90.0, f64::max)],
    };
    let moon_up = up as f64 / samples.len().max(1) as f64;
    Ok(Block { span, speeds, moon_leaves, moon_up, altitudes: altitude })
}
