//! Which hours of a night are taken, and what is shot in them.

use crate::plan::filter_solution::FilterSolution;
use crate::sky::night::{Date, Span, Utc};
use crate::units::Seconds;

use super::blocks::{Block, Hours, Planned};
use super::{ScheduledNight, Session};

/// Filters that the Moon hurts alike to this are taken in the order of the night file.
const MOONLESS_WITHIN: f64 = 0.1;
/// A night that has less than this left after set-up is left out.
const WORTH_H: f64 = 0.25;
/// A night whose subs bring less than this share of the plan's own is left out: its hours are better spent asleep or on
/// another target (common practice, no source).
const WORTH_GOING_OUT: f64 = 1.0 / 3.0;
const SECONDS: f64 = 3600.0;
const MINUTES: f64 = 60.0;
/// What no further night is begun for, in subs.
const LEFT_OVER: f64 = 0.5;
/// A hair, so that 12.000000001 subs are 12.
const ROUNDING_SLACK: f64 = 1e-6;

/// What of the plan is done, filter by filter, in subs of the plan's own conditions.
pub(super) struct Work<'a> {
    planned: &'a Planned<'a>,
    done: Vec<f64>,
}

/// A night as it is listed, and how long it takes.
pub(super) struct Listed {
    pub(super) night: ScheduledNight,
    pub(super) length: Seconds,
}

/// Some time with one filter.
struct Piece {
    filter: usize,
    span: Span,
    subs: f64,
    /// In subs of the plan's own conditions.
    worth: f64,
    /// What a sub is worth as far as its signal over noise goes.
    speed: f64,
    moon_up: f64,
    altitudes: [f64; 2],
}

impl<'a> Work<'a> {
    pub(super) fn new(planned: &'a Planned<'a>) -> Self {
        Self { planned, done: vec![0.0; planned.filters.len()] }
    }

    fn filters(&self) -> &'a [FilterSolution<'a>] {
        self.planned.filters
    }

    fn open(&self, filter: usize) -> bool {
        self.done[filter] < self.filters()[filter].shot as f64 - LEFT_OVER
    }

    pub(super) fn finished(&self) -> bool {
        (0..self.done.len()).all(|filter| !self.open(filter))
    }

    /// What is done as a share of the plan's time.
    pub(super) fn done(&self) -> f64 {
        if self.finished() {
            return 1.0;
        }
        let progress = || self.filters().iter().zip(&self.done);
        let all: f64 = progress().map(|(filter, _)| filter.shot as f64 * pace(filter)).sum();
        let done: f64 = progress().map(|(filter, done)| done.min(filter.shot as f64) * pace(filter)).sum();
        if all > 0.0 { done / all } else { 1.0 }
    }

    /// What of the plan a clear night does when nothing is done yet; may be more than 1. Exact for one filter: with several
    /// the night's hours go to those that suit it, whatever is still to be done.
    pub(super) fn share_of(&self, hours: &Hours) -> f64 {
        let all: f64 = self.filters().iter().map(|filter| filter.shot as f64 * pace(filter)).sum();
        let pieces = Self { planned: self.planned, done: vec![f64::MIN; self.done.len()] }.pieces(hours).1;
        if !self.worth_it(&pieces) {
            return 0.0;
        }
        pieces.iter().map(|piece| piece.worth * pace(&self.filters()[piece.filter])).sum::<f64>()
            / all.max(ROUNDING_SLACK)
    }

    /// Whether a night is worth going out: its subs bring a third of what the plan's own would.
    fn worth_it(&self, pieces: &[Piece]) -> bool {
        let time = |piece: &Piece| piece.subs * pace(&self.filters()[piece.filter]);
        let all: f64 = pieces.iter().map(time).sum();
        pieces.iter().map(|piece| piece.speed * time(piece)).sum::<f64>() >= WORTH_GOING_OUT * all
    }

    /// Shoots what is left in a night's best hours; `None` where nothing worth it remains after set-up.
    pub(super) fn spend(&mut self, hours: &Hours, date: Date) -> Option<Listed> {
        let (starts, pieces) = self.pieces(hours);
        let offset = self.planned.night.utc_offset_h();
        if !self.worth_it(&pieces) {
            return None;
        }
        let sessions: Vec<Session> = runs(&pieces).into_iter().filter_map(|run| self.session(run, offset)).collect();
        let ends = pieces.last().filter(|_| !sessions.is_empty())?.span.to;
        let night = ScheduledNight {
            date: date.to_string(),
            starts: starts.local(offset),
            ends: ends.local(offset),
            starts_utc: universal(starts),
            ends_utc: universal(ends),
            usable_hours: hours.usable_h,
            moon_illuminated_percent: 100.0 * hours.moon_illuminated,
            sessions,
            done_percent: 100.0 * self.done(),
        };
        Some(Listed { night, length: Seconds(ends.hours_since(starts) * SECONDS) })
    }

    /// When set-up begins, and what is shot after it.
    fn pieces(&self, hours: &Hours) -> (Utc, Vec<Piece>) {
        let goal = &self.planned.night.goal;
        let setup_h = goal.setup_min() / MINUTES;
        let wanted_h = (setup_h + goal.clear_hours()).min(hours.blocks.iter().map(|block| block.span.hours()).sum());
        let blocks = best_stretch(&hours.blocks, wanted_h, &|block| self.value(block));
        let starts = blocks.first().map_or(Utc(0.0), |(_, span)| span.from);
        if wanted_h - setup_h < WORTH_H {
            return (starts, Vec::new());
        }
        let mut scratch = Self { planned: self.planned, done: self.done.clone() };
        let (mut setup, mut pieces) = (setup_h, Vec::new());
        for (block, span) in blocks {
            let lost = setup.min(span.hours());
            setup -= lost;
            let mut from = span.from.later(lost);
            while span.to.hours_since(from) * SECONDS > 1.0
                && let Some(piece) = scratch.shoot(block, Span { from, to: span.to })
            {
                from = piece.span.to;
                pieces.push(piece);
            }
        }
        (starts, pieces)
    }

    /// What half an hour is worth to the filter that gains most of it.
    fn value(&self, block: &Block) -> f64 {
        let speeds = block.speeds.iter().enumerate().filter(|(filter, _)| self.open(*filter));
        speeds.map(|(_, speed)| *speed).fold(0.0, f64::max)
    }

    /// The filter for a block: under the Moon the open one that it hurts least, else the one that it would hurt most.
    fn filter_for(&self, block: &Block) -> Option<usize> {
        let open: Vec<usize> = (0..self.done.len()).filter(|f| self.open(*f) && block.speeds[*f] > 0.0).collect();
        let moonlit = open.iter().any(|filter| block.moon_leaves[*filter] < 1.0 - MOONLESS_WITHIN);
        let fitness = |filter: usize| {
            if moonlit { block.moon_leaves[filter] } else { 1.0 / self.planned.under_moon[filter].max(ROUNDING_SLACK) }
        };
        let best = open.iter().map(|filter| fitness(*filter)).fold(0.0, f64::max);
        open.into_iter().find(|filter| fitness(*filter) >= best * (1.0 - MOONLESS_WITHIN))
    }

    /// One filter's part of a span, until it is done or the span ends.
    fn shoot(&mut self, block: &Block, span: Span) -> Option<Piece> {
        let filter = self.filter_for(block)?;
        let settled = &self.filters()[filter];
        let worth = if self.planned.by_hours() { 1.0 } else { block.speeds[filter] };
        let busy = 1.0 - self.planned.night.goal.refocus_min_per_hour() / MINUTES;
        let there = span.hours() * SECONDS * busy / pace(settled);
        let left = (settled.shot as f64 - self.done[filter]) / worth;
        let subs = there.min(left);
        self.done[filter] += subs * worth;
        let to = if left < there { span.from.later(subs * pace(settled) / busy / SECONDS) } else { span.to };
        let (moon_up, altitudes) = (block.moon_up, block.altitudes);
        Some(Piece {
            filter,
            span: Span { from: span.from, to },
            subs,
            worth: subs * worth,
            speed: block.speeds[filter],
            moon_up,
            altitudes,
        })
    }

    /// The pieces of one filter in a row as whole subs.
    fn session(&mut self, run: &[Piece], offset: f64) -> Option<Session> {
        let (first, last) = (run.first()?, run.last()?);
        let settled = &self.filters()[first.filter];
        let (subs, worth) = (run.iter().map(|p| p.subs).sum::<f64>(), run.iter().map(|p| p.worth).sum::<f64>());
        let left = settled.shot as f64 - self.done[first.filter];
        // The last ones are rounded up to finish, others down to fit.
        let whole = if worth >= left * (1.0 - ROUNDING_SLACK) {
            (subs - ROUNDING_SLACK).ceil()
        } else {
            (subs + ROUNDING_SLACK).floor()
        };
        if whole < 1.0 {
            return None;
        }
        self.done[first.filter] += worth * whole / subs;
        let hours = run.iter().map(|piece| piece.span.hours()).sum::<f64>();
        let up = run.iter().map(|piece| piece.span.hours() * piece.moon_up).sum::<f64>();
        Some(Session {
            filter: settled.conditions.name.clone(),
            starts: first.span.from.local(offset),
            ends: last.span.to.local(offset),
            starts_utc: universal(first.span.from),
            ends_utc: universal(last.span.to),
            sub_s: settled.sub,
            subs: whole as u64,
            dither_every_subs: settled.every as u64,
            worth_percent: 100.0 * worth / subs,
            moon_up_percent: 100.0 * up / hours,
            target_altitude_deg: [
                run.iter().map(|piece| piece.altitudes[0]).fold(90.0, f64::min),
                run.iter().map(|piece| piece.altitudes[1]).fold(-90.0, f64::max),
            ],
        })
    }
}

/// Seconds of the clock for one sub.
fn pace(filter: &FilterSolution<'_>) -> f64 {
    filter.sub.0 + filter.search.between.0 + filter.search.settle.0 / filter.every
}

fn universal(at: Utc) -> String {
    format!("{}Z", at.local(0.0))
}

/// Pieces of one filter that follow upon each other.
fn runs(pieces: &[Piece]) -> Vec<&[Piece]> {
    // Less than a minute between two pieces is none.
    let together = |a: &Piece, b: &Piece| a.filter == b.filter && b.span.from.hours_since(a.span.to) * MINUTES < 1.0;
    pieces.chunk_by(together).collect()
}

/// The blocks in a row of `wanted` hours whose value is greatest, the last one cut; the earliest of several.
fn best_stretch<'b>(blocks: &'b [Block], wanted_h: f64, value: &impl Fn(&Block) -> f64) -> Vec<(&'b Block, Span)> {
    let stretch = |first: usize| {
        let (mut left, mut taken) = (wanted_h, Vec::new());
        for block in &blocks[first..] {
            let hours = block.span.hours().min(left);
            if hours * SECONDS < 1.0 {
                break;
            }
            left -= hours;
            let to = if hours < block.span.hours() { block.span.from.later(hours) } else { block.span.to };
            taken.push((block, Span { from: block.span.from, to }));
        }
        (left * SECONDS < 1.0 || first == 0).then_some(taken)
    };
    let worth = |taken: &[(&Block, Span)]| taken.iter().map(|(block, span)| value(block) * span.hours()).sum::<f64>();
    let mut best: (f64, Vec<(&Block, Span)>) = (f64::MIN, Vec::new());
    for taken in (0..blocks.len()).map_while(stretch) {
        let found = worth(&taken);
        if found > best.0 * (1.0 + ROUNDING_SLACK) || best.1.is_empty() {
            best = (found, taken);
        }
    }
    best.1
}
