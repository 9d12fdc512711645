//! The plan spread over nights: which hours, which filter, in which subs, and by when it is likely done.
//!
//! Half-hour blocks of each evening are valued by the whole noise model with their own Moon, height and twilight
//! ([`light`], [`lane`]). [`allocation`](crate::allocation) shares them out, [`campaign`] finds the subs that suit each filter's own hours, and
//! [`listed`] makes whole subs of it. What the plan says in its head is the sum over these nights.

mod campaign;
mod chance;
mod hours;
mod lane;
mod light;
mod listed;
mod scheduled;
mod shares;
mod starts;

use serde::{Deserialize, Serialize};

use crate::caveat::Caveat;
use crate::units::Seconds;

pub(in crate::plan) use lane::Need;
pub(in crate::plan) use scheduled::{Lanes, Scheduled, in_nights, light_of, scheduled, started};
pub use starts::{LeastTime, Start};

/// No plan is spread over more nights of the calendar.
const MOST_NIGHTS: u32 = 60;
/// Chances for which a date is named.
const NAMED_CHANCES: [f64; 2] = [0.5, 0.9];

/// `schedule` of `plan --json`: the nights that the plan takes if all of them are clear, and when it is likely done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Schedule {
    /// Set-up at the beginning of each night, in dark hours.
    pub setup_min: f64,
    /// Refocusing, filter changes and the like in each hour.
    pub refocus_min_per_hour: f64,
    /// Share of nights that are clear, in the mean until the last one.
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
    /// The same picture in the least time, where that saves more than a fifth: later, and in better nights.
    #[serde(default)]
    pub least_time: Option<LeastTime>,
    /// The evening to begin on rather than tonight, where that saves more than a fifth of the time.
    #[serde(default)]
    pub wait_until: Option<Start>,
    /// What of the time it saves.
    #[serde(default)]
    pub wait_saves_percent: Option<f64>,
    /// The plan begun on each evening of four weeks, where that was asked for ([`starts`](crate::plan::starts)).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub starts: Option<Vec<Start>>,
}

/// What a number of nights does.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Calendar {
    /// Time on the clock, where they finish it.
    pub(crate) wall_clock: Option<Seconds>,
    /// Nights that are used.
    pub(crate) nights: u32,
    /// The last of them, where they finish it.
    pub(crate) done_on: Option<String>,
    /// What of it they do.
    pub(crate) done_percent: f64,
    /// From when to when the first night can be used, local time; `None` where it cannot.
    pub(crate) window: Option<[String; 2]>,
    /// Lowest and highest altitude of the target in it.
    pub(crate) altitude_deg: Option<[f64; 2]>,
}

/// A night in which nothing is done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LeftOut {
    /// Local date of the evening.
    pub date: String,
    /// Why.
    pub why: WhyLeftOut,
}

/// Why a night is left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum WhyLeftOut {
    /// It is not dark while the target is up.
    NoHours,
    /// The other nights reach the goal as soon, and in less time.
    NotWorthIt,
}

/// One night of it. Times are local, as in `night`, and universal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
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
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    /// Dithers, the first position included.
    #[serde(default)]
    pub dithers: u64,
    /// What one of them brings, a sub in the mean light of all subs of the filter being 100 %.
    pub worth_percent: f64,
    /// Share of the time in which the Moon is up.
    pub moon_up_percent: f64,
    /// Lowest and highest altitude of the target.
    pub target_altitude_deg: [f64; 2],
}

/// A date and how sure it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct DoneBy {
    /// The chance.
    pub chance_percent: f64,
    /// Local date of the evening; `null` when it is not reached within 60 nights.
    pub date: Option<String>,
    /// Nights of the calendar up to it, the first one included.
    pub calendar_nights: Option<u32>,
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
