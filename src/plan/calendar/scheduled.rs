//! From the drafts of a night's mean light to the plan over its nights.

use rayon::iter::{IntoParallelIterator, ParallelIterator};

use crate::allocation::Care;
use crate::camera::Mode;
use crate::night::{FilterConditions, Night};
use crate::noise::Stack;
use crate::plan::PlanError;
use crate::plan::draft::{Counts, FilterDraft};
use crate::sky::night::{Date, Tonight};
use crate::stats::bisect;
use crate::units::Seconds;

use super::campaign::{Aim, Campaign, Ground};
use super::chance::chances;
use super::hours::NightHours;
use super::lane::{Lane, Need};
use super::light::NightLight;
use super::listed::{Listed, Sessions, Tally, wall_clock};
use super::starts::{EVENINGS, Otherwise, Start, starts};
use super::{Calendar, DoneBy, LeftOut, MOST_NIGHTS, NAMED_CHANCES, Schedule, WhyLeftOut};

/// Times that what rounding to whole subs left is asked for again.
const AGAIN: usize = 6;
/// The light of a steady night is that of the mean, where it differs by no more than this.
const SAME_LIGHT: f64 = 1e-3;
/// A hair, so that 11.999999 subs are 12.
const ROUNDING_SLACK: f64 = 1e-6;
/// Less than this share of the Moon's light is none.
const NO_MOON: f64 = 1e-9;
/// Halvings in which the light of a steady night is found.
const HALVINGS: usize = 60;

/// A plan over nights.
pub(in crate::plan) struct Scheduled {
    pub(in crate::plan) schedule: Schedule,
    /// Each filter under the light of its own hours, with the counts of the nights.
    pub(in crate::plan) filters: Vec<(FilterConditions, FilterDraft)>,
    /// The least and the most time over the plan's own.
    pub(in crate::plan) range: [f64; 2],
}

/// A filter under the light of the first night, what it is to have, and its share of the hours where shares were given.
pub(in crate::plan) type Lanes = Vec<(FilterConditions, FilterDraft, Need, Option<f64>)>;

/// The plan over the nights; `None` where the night has no date or no place. `factors` are the least and the most that may
/// be needed, over what is.
///
/// # Errors
/// As [`crate::plan::plan`].
pub(in crate::plan) fn scheduled(
    night: &Night,
    mode: &Mode,
    lanes: Lanes,
    factors: impl Fn(&[(FilterConditions, FilterDraft)]) -> [f64; 2] + Sync,
) -> Result<Option<Scheduled>, PlanError> {
    let Some(all) = nights(night, mode)? else { return Ok(None) };
    let whole = Ground { night, mode, nights: &all };
    let ground = Ground { nights: &all[..MOST_NIGHTS as usize], ..whole };
    let lanes = of_filters(lanes);
    let (soonest, listed) = ground.worked_out(&lanes);
    let filters = settled_filters(&soonest, &listed);
    let now_s = filters.iter().map(|(_, draft)| draft.counts.wall_clock.0).sum();
    let now_s = if done(&listed) { now_s } else { f64::INFINITY };
    let asked = !listed.nights.is_empty() && night.goal.hours.is_none();
    // Where hours stand in shares, each way has needs of its own.
    let begins = if Lane::in_shares(&lanes) { &lanes } else { &soonest.lanes };
    let otherwise = || if asked { Otherwise::new(whole, &ground, begins, now_s) } else { Otherwise::default() };
    // What the nights cost where less or more is needed, how likely they are and what others would cost do not ask each other.
    let (range, (otherwise, chances)) = rayon::join(
        || ground.ratios(&soonest, factors(&filters)),
        || rayon::join(otherwise, || how_likely(&ground, &soonest, &listed)),
    );
    let last = soonest.assignment.last().unwrap_or(0);
    let schedule = schedule(&ground, last, listed, &chances, otherwise);
    Ok(Some(Scheduled { schedule, filters, range }))
}

/// The filters under the mean light of the hours that their plan takes; `None` where the night has no date or no place.
///
/// # Errors
/// As [`crate::plan::plan`].
pub(in crate::plan) fn light_of(
    night: &Night,
    mode: &Mode,
    lanes: Lanes,
) -> Result<Option<Vec<FilterConditions>>, PlanError> {
    let Some(all) = nights(night, mode)? else { return Ok(None) };
    let ground = Ground { night, mode, nights: &all[..MOST_NIGHTS as usize] };
    let (campaign, listed) = ground.worked_out(&of_filters(lanes));
    Ok(Some(settled_filters(&campaign, &listed).into_iter().map(|(conditions, _)| conditions).collect()))
}

/// The plan begun on each evening of four weeks; `None` where the night has no date or no place.
///
/// # Errors
/// As [`crate::plan::plan`].
pub(in crate::plan) fn started(
    night: &Night,
    mode: &Mode,
    lanes: Lanes,
    factors: impl Fn(&[(FilterConditions, FilterDraft)]) -> [f64; 2] + Sync,
) -> Result<Option<Vec<Start>>, PlanError> {
    let Some(all) = nights(night, mode)? else { return Ok(None) };
    let whole = Ground { night, mode, nights: &all };
    Ok(Some(starts(whole, &of_filters(lanes), &factors)))
}

/// What some evenings do.
///
/// # Errors
/// As [`crate::plan::plan`].
pub(in crate::plan) fn in_nights(
    night: &Night,
    mode: &Mode,
    lanes: Lanes,
    evenings: &[(Date, Tonight)],
) -> Result<Calendar, PlanError> {
    let light = NightLight::new(night, mode)?;
    let all: Vec<NightHours> =
        evenings.iter().map(|(date, tonight)| NightHours::of(night, &light, *date, tonight)).collect();
    let ground = Ground { night, mode, nights: &all };
    let (campaign, listed) = ground.worked_out(&of_filters(lanes));
    let finished = done(&listed);
    let blocks = || all.iter().take(1).flat_map(|first| &first.blocks);
    let offset = night.utc_offset_h();
    let ends = blocks().next().zip(blocks().last());
    let window = ends.map(|(first, last)| [first.span.from, last.span.to].map(|time| time.local(offset)));
    let widest = |[low, high]: [f64; 2], block: [f64; 2]| [low.min(block[0]), high.max(block[1])];
    Ok(Calendar {
        wall_clock: finished.then(|| Seconds(seconds_of(&campaign, &listed))),
        nights: listed.nights.len() as u32,
        done_on: listed.nights.last().filter(|_| finished).map(|night| night.date.clone()),
        done_percent: listed.nights.last().map_or(0.0, |night| night.done_percent),
        window,
        altitude_deg: blocks().map(|block| block.altitudes).reduce(widest),
    })
}

/// The nights of the plan and four weeks more.
fn nights(night: &Night, mode: &Mode) -> Result<Option<Vec<NightHours>>, PlanError> {
    let Some((first, place)) = night.dated()? else { return Ok(None) };
    let light = NightLight::new(night, mode)?;
    let dates = (0..MOST_NIGHTS + EVENINGS - 1).into_par_iter().map(|later| first.later(later));
    let all: Vec<_> = dates.map(|date| NightHours::new(night, &light, place, date)).collect();
    // The first error in the order of time, whichever core met one first.
    Ok(Some(all.into_iter().collect::<Result<_, _>>()?))
}

/// The lanes as the calendar has them.
fn of_filters(lanes: Lanes) -> Vec<Lane> {
    let lane = |(conditions, draft, need, share)| Lane { conditions, draft, need, share };
    lanes.into_iter().map(lane).collect()
}

impl Ground<'_> {
    /// The soonest campaign, in whole subs.
    pub(super) fn worked_out(&self, lanes: &[Lane]) -> (Campaign, Listed) {
        let mut short = vec![false; lanes.len()];
        loop {
            let mut campaign = self.campaign_with(lanes, Aim::Soonest, &short);
            let listed = whole_subs(self, &mut campaign);
            // Whole subs lie in other light than the hours did.
            let missed = |filter: usize| lanes[filter].is_missed(&campaign.lanes[filter], &listed.tallies[filter]);
            let more: Vec<usize> = (0..lanes.len()).filter(|filter| !short[*filter] && missed(*filter)).collect();
            if more.is_empty() {
                return (campaign, listed);
            }
            more.into_iter().for_each(|filter| short[filter] = true);
        }
    }
}

/// Seconds of the clock that the whole subs of a campaign take.
pub(super) fn seconds_of(campaign: &Campaign, listed: &Listed) -> f64 {
    campaign.lanes.iter().zip(&listed.tallies).map(|(lane, tally)| wall_clock(lane, tally).0).sum()
}

/// Whole subs. What rounding leaves, up to a sub of each session, is asked for again; filters stop as soon as they have what
/// they need.
///
/// Short sessions dither more often, and those with too few positions are left out; where what they leave cannot be had
/// elsewhere, they are taken as they are.
pub(super) fn whole_subs(ground: &Ground<'_>, campaign: &mut Campaign) -> Listed {
    if campaign.assignment.met >= 1.0 {
        let before = (campaign.assignment.clone(), campaign.needs.clone());
        for least in [Sessions::OfPositions, Sessions::OfAFewSubs] {
            let listed = in_sessions(ground, campaign, least);
            if done(&listed) {
                return listed;
            }
            (campaign.assignment, campaign.needs) = before.clone();
        }
    }
    in_sessions(ground, campaign, Sessions::AsTheyAre)
}

fn done(listed: &Listed) -> bool {
    listed.tallies.iter().all(|tally| tally.done)
}

/// The same with each night begun as early as may be, where whole subs still do then what they did.
fn begun_early(ground: &Ground<'_>, campaign: &mut Campaign, least: Sessions, listed: Listed) -> Listed {
    let early = ground.problem(&campaign.blocks, &campaign.needs, Care::Sum).begun_early(campaign.assignment.clone());
    let as_found = std::mem::replace(&mut campaign.assignment, early);
    let other = ground.listed(campaign, least);
    if done(&listed) && !done(&other) {
        campaign.assignment = as_found;
        return listed;
    }
    other
}

fn in_sessions(ground: &Ground<'_>, campaign: &mut Campaign, least: Sessions) -> Listed {
    let asked = campaign.needs.clone();
    let mut listed = ground.listed(campaign, least);
    for again in 1..=AGAIN {
        if campaign.assignment.met < 1.0 || done(&listed) {
            break;
        }
        // Part of it first, for other hours are rounded otherwise, and often to less.
        let of_rounding = |(filter, need): (usize, &f64)| {
            let (lane, tally) = (&campaign.lanes[filter], &listed.tallies[filter]);
            let missing = tally.missing(lane, asked[filter]);
            let a_shot = lane.toward_need_of_a_shot();
            if tally.done { *need } else { need + 0.25 * (again + 1) as f64 * missing + 0.5 * again as f64 * a_shot }
        };
        let needs: Vec<f64> = campaign.needs.iter().enumerate().map(of_rounding).collect();
        let found = ground.problem(&campaign.blocks, &needs, Care::Sum).soonest();
        if found.met < 1.0 {
            break;
        }
        (campaign.assignment, campaign.needs) = (found, needs);
        listed = ground.listed(campaign, least);
    }
    if campaign.assignment.met >= 1.0 && (done(&listed) || least == Sessions::AsTheyAre) {
        listed = begun_early(ground, campaign, least, listed);
    }
    campaign.needs = asked;
    for tally in &mut listed.tallies {
        tally.done |= tally.almost;
    }
    if done(&listed)
        && let Some(last) = listed.nights.last_mut()
    {
        last.done_percent = 100.0;
    }
    listed
}

/// The filters of a campaign with the counts of its nights.
pub(super) fn settled_filters(campaign: &Campaign, listed: &Listed) -> Vec<(FilterConditions, FilterDraft)> {
    campaign.lanes.iter().zip(&listed.tallies).map(|(lane, tally)| settled(lane, tally)).collect()
}

/// A filter with the counts of its nights, under the light of a steady night that brings the same.
fn settled(lane: &Lane, tally: &Tally) -> (FilterConditions, FilterDraft) {
    let mut draft = lane.draft.clone();
    let mut conditions = lane.conditions.clone();
    let before = draft.counts;
    let new = tally.shot as f64 / lane.shot_per_kept();
    let in_hand = draft.in_hand_subs();
    let kept = if tally.shot == 0 { before.kept } else { (in_hand + new + ROUNDING_SLACK) as u64 };
    draft.counts =
        Counts { kept, shot: tally.shot, dithers: tally.dithers, wall_clock: wall_clock(lane, tally), ..before };
    let Some(rates) = tally.rates.as_ref().filter(|_| kept > 0) else { return (conditions, draft) };
    let stack = Stack { subs: new.max(1.0), ..draft.stack() };
    let sub = draft.sub();
    let mut governing = draft.search.planes.iter_mut().zip(&tally.information);
    for (plane, rates) in conditions.planes.iter_mut().zip(rates) {
        plane.noise.rates = *rates;
        if !plane.governs {
            continue;
        }
        let Some(((noise, patch), information)) = governing.next() else { continue };
        let with = |moon: f64, target: f64| {
            let mut noise = plane.noise;
            noise.rates.moon = noise.rates.moon * moon;
            noise.rates.target = noise.rates.target * target;
            noise
        };
        let brings = |moon: f64, target: f64| stack.snr(&with(moon, target).sub(sub), *patch).powi(2);
        let middle = |[low, high]: [f64; 2]| f64::midpoint(low, high);
        let exactly = |found: f64| if (found - 1.0).abs() > SAME_LIGHT { found } else { 1.0 };
        // Dark hours weigh more than moonlit ones, which is as if there were less moonlight; the rest is the target's height.
        let moon = exactly(middle(bisect([0.0, 2.0], HALVINGS, |moon| brings(moon, 1.0) > *information)));
        let moon = if plane.noise.rates.moon.0 > 0.0 { moon } else { 1.0 };
        // What halving leaves of no Moon is none.
        let moon = if moon < NO_MOON { 0.0 } else { moon };
        let target = exactly(middle(bisect([0.5, 2.0], HALVINGS, |target| brings(moon, target) < *information)));
        plane.noise = with(moon, target);
        *noise = plane.noise;
    }
    draft.settle_in();
    (conditions, draft)
}

/// The chance to be done by the end of each night; empty where nothing is to be done.
fn how_likely(ground: &Ground<'_>, campaign: &Campaign, listed: &Listed) -> Vec<f64> {
    if listed.nights.is_empty() {
        return Vec::new();
    }
    let clear = |night: usize| ground.night.goal.clear_share(ground.nights[night].date.month());
    chances(&ground.problem(&campaign.blocks, &campaign.needs, Care::Sum), &campaign.assignment.prices, clear)
}

fn schedule(ground: &Ground<'_>, last: usize, listed: Listed, chances: &[f64], otherwise: Otherwise) -> Schedule {
    let goal = &ground.night.goal;
    let clear = |night: usize| goal.clear_share(ground.nights[night].date.month());
    let clear_until = |last: usize| (0..=last).map(clear).sum::<f64>() / (last + 1) as f64;
    let finished = done(&listed);
    let done_percent = listed.nights.last().map_or(if finished { 100.0 } else { 0.0 }, |night| night.done_percent);
    let mut found = Schedule {
        setup_min: goal.setup_min(),
        refocus_min_per_hour: goal.refocus_min_per_hour(),
        clear_share: clear_until(last),
        left_out: left_out(ground, &listed),
        nights: listed.nights,
        finished,
        done_percent,
        wall_clock_s: Seconds(listed.wall_clock_s),
        chance_by_last_night_percent: if finished { 100.0 } else { 0.0 },
        done_by: Vec::new(),
        least_time: otherwise.least_time,
        wait_until: otherwise.wait_until,
        wait_saves_percent: otherwise.wait_saves_percent,
        starts: None,
    };
    let Some(by_last) = chances.get(last) else { return found };
    found.chance_by_last_night_percent = 100.0 * by_last;
    for chance in NAMED_CHANCES {
        let night = chances.iter().position(|by| *by >= chance);
        found.done_by.push(DoneBy {
            chance_percent: 100.0 * chance,
            date: night.map(|night| ground.nights[night].date.to_string()),
            calendar_nights: night.map(|night| night as u32 + 1),
        });
    }
    found
}

/// Nights before the last one in which nothing is done.
fn left_out(ground: &Ground<'_>, listed: &Listed) -> Vec<LeftOut> {
    let last = listed.nights.last().map(|night| night.date.clone());
    let mut left_out = Vec::new();
    for night in ground.nights {
        let date = night.date.to_string();
        if last.as_ref().is_none_or(|last| date > *last) {
            break;
        }
        if listed.nights.iter().all(|listed| listed.date != date) {
            let why = if night.blocks.is_empty() { WhyLeftOut::NoHours } else { WhyLeftOut::NotWorthIt };
            left_out.push(LeftOut { date, why });
        }
    }
    left_out
}
