//! A campaign as nights and sessions of whole subs.

use crate::noise::Rates;
use crate::sky::night::{Span, Utc};
use crate::units::Seconds;

use super::campaign::{Campaign, Ground, mean_of};
use super::lane::{Lane, Need};
use super::{ScheduledNight, Session};
use crate::allocation::Portion;

const SECONDS: f64 = 3600.0;
const MINUTES: f64 = 60.0;
/// Fewer subs than these are never worth a change of the filter, where it has more.
const LEAST_SUBS: f64 = 2.5;
/// No session has less than this share of a filter's subs, if that is less than the positions of a night.
const OF_ALL_SUBS: f64 = 1.0 / 6.0;
/// A need that is met but for this is met.
const ALMOST: f64 = 0.98;
/// Hours that are to stand in a share are there but for this.
const ALMOST_ITS_SHARE: f64 = 0.95;
/// What two sessions of one filter lie apart at least.
const A_FEW_MINUTES: f64 = 15.0;
/// A hair, so that 12.000000001 subs are 12.
const ROUNDING_SLACK: f64 = 1e-6;

/// Subs of one filter under one light.
#[derive(Debug, Clone)]
struct Shot {
    subs: f64,
    night: usize,
    block: usize,
    /// What one of them brings.
    worth: f64,
}

/// What one filter has in the end.
#[derive(Debug, Clone, Default)]
pub(super) struct Tally {
    /// Subs that are shot.
    pub(super) shot: u64,
    pub(super) dithers: u64,
    /// Seconds of the clock that they take, dithers included.
    spent_s: f64,
    /// Squared signal over noise of each governing plane.
    pub(super) information: Vec<f64>,
    /// The mean light of its subs.
    pub(super) rates: Option<Vec<Rates>>,
    /// Whether it has what it needs.
    pub(super) done: bool,
    /// Whether no more than a part of one sub is missing.
    pub(super) almost: bool,
    shots: Vec<Shot>,
}

/// The nights of a campaign.
pub(super) struct Listed {
    pub(super) nights: Vec<ScheduledNight>,
    pub(super) tallies: Vec<Tally>,
    pub(super) wall_clock_s: f64,
}

/// What a session must have at least, where its filter has many in all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sessions {
    /// As many subs as a night needs dither positions.
    OfPositions,
    /// A few subs, dithered as often as the positions ask for.
    OfAFewSubs,
    /// A few subs, dithered as seldom as in a long session.
    AsTheyAre,
}

struct Clerk<'a> {
    ground: Ground<'a>,
    campaign: &'a Campaign,
    least: Sessions,
    tallies: Vec<Tally>,
}

impl Ground<'_> {
    /// The nights of a campaign in whole subs. Filters stop as soon as they have what they need.
    pub(super) fn listed(&self, campaign: &Campaign, least: Sessions) -> Listed {
        let planes = |lane: &Lane| Tally {
            information: vec![0.0; lane.search().planes.len()],
            done: lane.need == Need::Nothing,
            ..Tally::default()
        };
        let tallies = campaign.lanes.iter().map(planes).collect();
        let mut clerk = Clerk { ground: *self, campaign, least, tallies };
        let (mut nights, mut wall_clock_s) = (Vec::new(), 0.0);
        for portions in campaign.assignment.portions.chunk_by(|a, b| a.slot.night == b.slot.night) {
            if let Some((night, length)) = clerk.night(portions) {
                nights.push(night);
                wall_clock_s += length;
            }
        }
        clerk.finish();
        for (lane, tally) in campaign.lanes.iter().zip(&clerk.tallies) {
            relative(&mut nights, lane, tally);
        }
        Listed { nights, tallies: clerk.tallies, wall_clock_s }
    }

    fn span(&self, portion: &Portion) -> Span {
        let block = &self.nights[portion.slot.night].blocks[portion.slot.block];
        let from = block.span.from.later(portion.slot.after_h);
        Span { from, to: from.later(portion.slot.hours) }
    }

    /// A few minutes between two portions of a filter are shot too.
    fn together(&self, a: &Portion, b: &Portion) -> bool {
        a.filter == b.filter && self.span(b).from.hours_since(self.span(a).to) * MINUTES < A_FEW_MINUTES
    }
}

impl Clerk<'_> {
    fn night(&mut self, portions: &[Portion]) -> Option<(ScheduledNight, f64)> {
        let ground = self.ground;
        let hours = &self.ground.nights[portions[0].slot.night];
        let offset = self.ground.night.utc_offset_h();
        let starts = ground.span(&portions[0]).from.later(-self.ground.setup_h());
        let mut sessions: Vec<Session> = Vec::new();
        let mut ends: Option<Utc> = None;
        let portions = self.without_crumbs(portions);
        for portions in portions.chunk_by(|a, b| ground.together(a, b)) {
            if let Some((session, end)) = self.session(portions, ends) {
                sessions.push(session);
                ends = Some(end);
            }
        }
        let ends = ends?;
        let night = ScheduledNight {
            date: hours.date.to_string(),
            starts: starts.local(offset),
            ends: ends.local(offset),
            starts_utc: universal(starts),
            ends_utc: universal(ends),
            usable_hours: hours.usable_h,
            moon_illuminated_percent: 100.0 * hours.moon_illuminated,
            sessions,
            done_percent: 100.0 * self.done(),
        };
        Some((night, ends.hours_since(starts) * SECONDS))
    }

    /// The portions of a night without those that are too short to change the filter for: their time goes to the filters beside
    /// them, and what they lack is asked for again.
    fn without_crumbs(&self, portions: &[Portion]) -> Vec<Portion> {
        let hours = |portions: &[Portion]| portions.iter().map(|portion| portion.slot.hours).sum::<f64>();
        let sub_h = |filter: usize| self.campaign.lanes[filter].pace() / SECONDS;
        // Half a sub is none, and fewer than a night's positions are not worth it where the filter has many elsewhere.
        let worth_it = |run: &&[Portion]| {
            let filter = run[0].filter;
            let all = self.campaign.assignment.hours_with(filter);
            let positions = self.campaign.lanes[filter].search().min_positions_per_night;
            let least = if self.least == Sessions::OfPositions { positions } else { LEAST_SUBS };
            let few = (OF_ALL_SUBS * all / sub_h(filter)).min(least).max(0.5);
            hours(run) >= few * sub_h(filter)
        };
        let without = |portions: &[Portion], keep: &dyn Fn(&&[Portion]) -> bool| -> Vec<Portion> {
            portions.chunk_by(|a, b| a.filter == b.filter).filter(keep).flatten().copied().collect()
        };
        let half = without(portions, &|run| hours(run) >= 0.5 * sub_h(run[0].filter));
        let found = without(&half, &worth_it);
        if found.is_empty() { half } else { found }
    }

    /// What of all needs is met, in the worth that each has in the plan.
    fn done(&self) -> f64 {
        let worth = self.campaign.needs.iter().zip(&self.campaign.assignment.prices).map(|(need, price)| need * price);
        let met =
            self.tallies.iter().zip(&self.campaign.needs).zip(&self.campaign.lanes).map(|((tally, need), lane)| {
                match lane.need {
                    _ if tally.done => 1.0,
                    Need::Hours(hours) => (tally.spent_s / SECONDS / lane.filled(hours)).min(1.0),
                    _ => (tally.least() / need).min(1.0),
                }
            });
        let (all, done) =
            worth.zip(met).fold((0.0, 0.0), |(all, done), (worth, met)| (all + worth, done + worth * met));
        if all > 0.0 { (done / all).min(1.0) } else { 1.0 }
    }

    /// The portions of one filter in a row as whole subs; begins where the one before ended if they touch.
    fn session(&mut self, portions: &[Portion], before: Option<Utc>) -> Option<(Session, Utc)> {
        let (first, last) = (portions.first()?, portions.last()?);
        let filter = first.filter;
        let (ground, lane) = (self.ground, &self.campaign.lanes[filter]);
        if self.tallies[filter].done {
            return None;
        }
        let (planned, to) = (ground.span(first).from, ground.span(last).to);
        // What the filter before left of its last sub is not waited for.
        let touching = before.filter(|end| planned.hours_since(*end) * SECONDS < lane.pace() + MINUTES);
        let from = touching.unwrap_or(planned);
        let pace_h = |every: f64| lane.pace_at(every) / SECONDS / ground.busy();
        let whole_subs = |every: f64| (to.hours_since(from) / pace_h(every) + ROUNDING_SLACK).floor();
        // A short session dithers more often, for a night's own positions.
        let least_of_a_session = self.least;
        let cadence = |subs: f64| match least_of_a_session {
            Sessions::OfPositions | Sessions::OfAFewSubs => lane.every_of_session(subs),
            Sessions::AsTheyAre => lane.every(),
        };
        let often = cadence(whole_subs(lane.every()));
        let (pace_of_slot, there) = (pace_h(often), whole_subs(often));
        let mut taken = 0.0;
        let mut shots: Vec<Shot> = Vec::new();
        let mut up = 0.0;
        let mut altitudes = [90.0_f64, -90.0];
        let night = first.slot.night;
        // Each block that the session goes through gives its own light.
        for (block, block_hours) in ground.nights[night].blocks.iter().enumerate() {
            let begins = (block_hours.span.from.hours_since(from) / pace_of_slot).max(taken);
            let end = (block_hours.span.to.hours_since(from) / pace_of_slot).min(there);
            if end <= begins {
                continue;
            }
            if self.tallies[filter].done {
                break;
            }
            let (subs, worth) = self.credit(filter, (night, block), end - taken, [taken, there], often);
            taken += subs;
            up += block_hours.moon_up * subs;
            altitudes = [altitudes[0].min(block_hours.altitudes[0]), altitudes[1].max(block_hours.altitudes[1])];
            shots.push(Shot { subs, night, block, worth });
        }
        let subs = (taken - ROUNDING_SLACK).ceil();
        if subs < 1.0 {
            return None;
        }
        let worth_percent = shots.iter().map(|shot| shot.subs * shot.worth).sum::<f64>() / taken;
        let tally = &mut self.tallies[filter];
        // Where the need ends before the slot does.
        let fits = |every: &f64| subs * pace_h(*every) <= to.hours_since(from) + ROUNDING_SLACK;
        let every = Some(cadence(subs)).filter(fits).unwrap_or(often);
        let dithers = (subs / every).ceil();
        tally.shot += subs as u64;
        tally.dithers += dithers as u64;
        tally.spent_s += subs * lane.pace_at(every);
        tally.shots.extend(shots);
        let ends = from.later(subs * pace_h(every));
        let offset = self.ground.night.utc_offset_h();
        let session = Session {
            filter: lane.conditions.name.clone(),
            starts: from.local(offset),
            ends: ends.local(offset),
            starts_utc: universal(from),
            ends_utc: universal(ends),
            sub_s: lane.draft.sub(),
            subs: subs as u64,
            dither_every_subs: every as u64,
            dithers: dithers as u64,
            // Made relative to the mean once all are known.
            worth_percent,
            moon_up_percent: 100.0 * up / taken,
            target_altitude_deg: altitudes,
        };
        Some((session, ends))
    }

    /// Subs of a block credited to a filter in a session of this cadence, at most so many: fewer where they are enough, rounded
    /// up to a whole sub of the session; and what one of them brings.
    fn credit(
        &mut self,
        filter: usize,
        (night, block): (usize, usize),
        most: f64,
        [before, there]: [f64; 2],
        every: f64,
    ) -> (f64, f64) {
        let lane = &self.campaign.lanes[filter];
        let gained = lane.information(&self.ground.nights[night].blocks[block].rates[filter]);
        let tally = &mut self.tallies[filter];
        let shot = tally.shot as f64 + before;
        let wanted = match lane.need {
            Need::Nothing => 0.0,
            Need::Information(needed) => {
                let of_plane = |(had, gained): (&f64, &f64)| {
                    if *had >= needed { 0.0 } else { (needed - had) / gained }
                };
                let enough = tally.information.iter().zip(&gained).map(of_plane).fold(0.0, f64::max);
                // So many that whole subs are kept.
                let per_kept = lane.shot_per_kept();
                let kept = ((shot + enough) / per_kept).max(lane.least_kept());
                (kept - ROUNDING_SLACK).ceil() * per_kept - shot
            }
            Need::Hours(hours) => {
                let left_s = lane.filled(hours) * SECONDS - tally.spent_s;
                let most = lane.search().most_subs.floor() - tally.shot as f64;
                (left_s / lane.pace_at(every) + ROUNDING_SLACK).floor().min(most) - before
            }
        };
        let mut subs = most;
        if wanted <= most + 1.0 {
            // The last one is a whole one.
            let whole = (before + wanted - ROUNDING_SLACK).ceil().min(there) - before;
            if whole <= most + ROUNDING_SLACK && before + wanted <= there + ROUNDING_SLACK {
                subs = whole.clamp(0.0, most);
                tally.done = subs + ROUNDING_SLACK >= wanted;
            }
        }
        for (had, gained) in tally.information.iter_mut().zip(&gained) {
            *had += gained * subs;
        }
        (subs, least(&gained))
    }

    fn finish(&mut self) {
        for (filter, tally) in self.tallies.iter_mut().enumerate() {
            let lane = &self.campaign.lanes[filter];
            // What is missing of one sub is not worth an evening.
            if let Need::Information(needed) = lane.need {
                let kept = tally.shot as f64 / lane.shot_per_kept();
                let had = tally.least();
                tally.almost = tally.shot > 0
                    && had + lane.information_of_a_shot() >= needed
                    && had >= needed * ALMOST
                    && kept + 1.0 >= lane.least_kept();
            }
            if let (Need::Hours(hours), Some(_)) = (lane.need, lane.share) {
                tally.almost = tally.spent_s / SECONDS >= lane.filled(hours) * ALMOST_ITS_SHARE;
            }
            let light = |shot: &Shot| &self.ground.nights[shot.night].blocks[shot.block].rates[filter][..];
            tally.rates = mean_of(tally.shots.iter().map(|shot| (shot.subs, light(shot))));
        }
    }
}

impl Tally {
    /// Information in the plane that has least.
    pub(super) fn least(&self) -> f64 {
        least(&self.information)
    }

    /// What is missing of a need, in its own unit.
    pub(super) fn missing(&self, lane: &Lane, need: f64) -> f64 {
        let missing = match lane.need {
            _ if self.done => 0.0,
            Need::Nothing => 0.0,
            Need::Information(_) => {
                let kept = self.shot as f64 / lane.shot_per_kept();
                (need - self.least()).max((lane.least_kept() - kept) * lane.information_of_a_sub())
            }
            Need::Hours(hours) => lane.filled(hours) - self.spent_s / SECONDS,
        };
        missing.max(0.0)
    }
}

/// The worth of a filter's subs over that of their mean.
fn relative(nights: &mut [ScheduledNight], lane: &Lane, tally: &Tally) {
    let sessions = || nights.iter().flat_map(|night| &night.sessions);
    let own = sessions().filter(|session| session.filter == lane.conditions.name);
    let mean = own.map(|session| session.subs as f64 * session.worth_percent).sum::<f64>() / tally.shot.max(1) as f64;
    let sessions = nights.iter_mut().flat_map(|night| &mut night.sessions);
    for session in sessions.filter(|session| session.filter == lane.conditions.name) {
        session.worth_percent = if mean > 0.0 { 100.0 * session.worth_percent / mean } else { 0.0 };
    }
}

fn least(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::INFINITY, f64::min)
}

fn universal(at: Utc) -> String {
    format!("{}Z", at.local(0.0))
}

/// Seconds of the clock that a filter's subs and dithers take.
pub(super) fn wall_clock(lane: &Lane, tally: &Tally) -> Seconds {
    lane.search().clock(lane.draft.sub(), tally.shot as f64, tally.dithers as f64)
}
