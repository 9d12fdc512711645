//! The plan spread over nights: which hours, which filter, and by when it is likely done.

mod blocks;
mod chance;
mod spread;

use serde::Serialize;

use crate::camera::Mode;
use crate::caveat::Caveat;
use crate::units::Seconds;

use crate::night::Night;
use crate::night::evening::Evening;
use crate::plan::PlanError;
use crate::plan::filter_solution::FilterSolution;

use blocks::{Planned, hours_of_night};
use chance::Chances;
use spread::Work;

/// No plan is spread over more nights of the calendar.
const MOST_NIGHTS: u32 = 60;
/// Chances for which a date is named.
const NAMED_CHANCES: [f64; 2] = [0.5, 0.9];

/// `schedule` of `plan --json`: the nights that the plan takes if all of them are clear, and when it is likely done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Schedule {
    /// Set-up at the beginning of each night, in dark hours.
    pub setup_min: f64,
    /// Refocusing, filter changes and the like in each hour.
    pub refocus_min_per_hour: f64,
    /// Share of nights that are clear.
    pub clear_share: f64,
    /// The nights in which something is done, in order.
    pub nights: Vec<ScheduledNight>,
    /// Nights before the last of them in which nothing is done.
    pub left_out: Vec<LeftOut>,
    /// Whether they finish the plan.
    pub finished: bool,
    /// What of the plan they do.
    pub done_percent: f64,
    /// From the first set-up to the last sub, the days between left out.
    pub wall_clock_s: Seconds,
    /// The chance that all listed nights are clear enough, with `clear_share`: to be done by the last of them.
    pub chance_by_last_night_percent: f64,
    /// By when the plan is done with a chance of 50 and 90 %.
    pub done_by: Vec<DoneBy>,
}

/// A night in which nothing is done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LeftOut {
    /// Local date of the evening.
    pub date: String,
    /// Why.
    pub why: WhyLeftOut,
}

/// Why a night is left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhyLeftOut {
    /// It is not dark while the target is up.
    NoHours,
    /// Too few hours beside set-up, or subs worth less than a third of the plan's own: moonlight, or a low target.
    NotWorthIt,
}

/// One night of it. Times are local, as in `night`, and universal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScheduledNight {
    /// Local date of the evening.
    pub date: String,
    /// Set-up begins.
    pub starts: String,
    /// The last sub ends.
    pub ends: String,
    /// `starts` in universal time.
    pub starts_utc: String,
    /// `ends` in universal time.
    pub ends_utc: String,
    /// Hours in which it is dark and the target up.
    pub usable_hours: f64,
    /// Lit share of the Moon in the middle of them.
    pub moon_illuminated_percent: f64,
    /// What is shot, in order.
    pub sessions: Vec<Session>,
    /// What of the plan is done by the end of the night.
    pub done_percent: f64,
}

/// Subs through one filter without a break.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Session {
    /// The filter.
    pub filter: String,
    /// The first sub begins.
    pub starts: String,
    /// The last one ends.
    pub ends: String,
    /// `starts` in universal time.
    pub starts_utc: String,
    /// `ends` in universal time.
    pub ends_utc: String,
    /// Length of a sub.
    pub sub_s: Seconds,
    /// Subs to shoot.
    pub subs: u64,
    /// A dither after so many of them.
    pub dither_every_subs: u64,
    /// What one of them brings, a sub of the plan's mean conditions being 100 %.
    pub worth_percent: f64,
    /// Share of the time in which the Moon is up.
    pub moon_up_percent: f64,
    /// Lowest and highest altitude of the target.
    pub target_altitude_deg: [f64; 2],
}

/// A date and how sure it is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DoneBy {
    /// The chance.
    pub chance_percent: f64,
    /// Local date of the evening; `null` when it is not reached within 60 nights.
    pub date: Option<String>,
    /// Nights of the calendar up to it, the first one included.
    pub calendar_nights: Option<u32>,
}

/// The schedule of a plan; `None` where the night has no date or no place.
///
/// # Errors
/// As [`crate::plan::plan`].
pub(super) fn schedule(
    night: &Night,
    mode: &Mode,
    evening: &Evening,
    filters: &[FilterSolution<'_>],
) -> Result<Option<Schedule>, PlanError> {
    let Some((first, place)) = night.dated()? else { return Ok(None) };
    let planned = Planned::new(night, mode, evening, filters)?;
    let share = night.goal.clear_share();
    let (mut work, mut chances) = (Work::new(&planned), Chances::new(share));
    let mut found = Schedule {
        setup_min: night.goal.setup_min(),
        refocus_min_per_hour: night.goal.refocus_min_per_hour(),
        clear_share: share,
        nights: Vec::new(),
        left_out: Vec::new(),
        finished: work.finished(),
        done_percent: 100.0 * work.done(),
        wall_clock_s: Seconds(0.0),
        chance_by_last_night_percent: if work.finished() { 100.0 } else { 0.0 },
        done_by: Vec::new(),
    };
    let mut named = NAMED_CHANCES.into_iter().peekable();
    if found.finished {
        return Ok(Some(found));
    }
    for later in 0..MOST_NIGHTS {
        let date = first.later(later);
        let hours = hours_of_night(&planned, place, date)?;
        if let Some(hours) = &hours {
            chances.another(Work::new(&planned).share_of(hours));
        }
        if !work.finished() {
            match hours.as_ref().map(|hours| work.spend(hours, date)) {
                Some(Some(listed)) => {
                    found.wall_clock_s = found.wall_clock_s + listed.length;
                    found.nights.push(listed.night);
                    found.done_percent = 100.0 * work.done();
                    found.finished = work.finished();
                    found.chance_by_last_night_percent = 100.0 * chances.done();
                }
                Some(None) => found.left_out.push(LeftOut { date: date.to_string(), why: WhyLeftOut::NotWorthIt }),
                None => found.left_out.push(LeftOut { date: date.to_string(), why: WhyLeftOut::NoHours }),
            }
        }
        while let Some(chance) = named.next_if(|chance| chances.done() >= *chance) {
            found.done_by.push(DoneBy {
                chance_percent: 100.0 * chance,
                date: Some(date.to_string()),
                calendar_nights: Some(later + 1),
            });
        }
        if work.finished() && named.peek().is_none() {
            break;
        }
    }
    let never = |chance: f64| DoneBy { chance_percent: 100.0 * chance, date: None, calendar_nights: None };
    found.done_by.extend(named.map(never));
    Ok(Some(found))
}

impl Schedule {
    /// What is to be said of it.
    pub(super) fn caveats(&self) -> Vec<Caveat> {
        if self.finished {
            return Vec::new();
        }
        let message = format!(
            "the {MOST_NIGHTS} nights from the date on do {:.0} % of the plan even if all are clear",
            self.done_percent
        );
        let hint = "ask for a lower snr, or begin earlier in the season of the target";
        vec![Caveat::new("not-finished", message, hint).about("schedule")]
    }
}
