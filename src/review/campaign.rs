//! Several nights together: what the stack has so far, what the plan wanted, and what is left.
//!
//! ```text
//! reviews of single nights ──► what is in hand, filter by filter ──► `[[goal.already]]` ──► the plan of what is left
//! ```
//!
//! Each night is judged against the best of its own lights; nights are joined as means of the same light, each weighed by its
//! own quality, so that squares of signal over noise add up. Haze that lasts a whole night is not seen within it: the same
//! stars in another night show it.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};

use crate::camera::CameraProfile;
use crate::caveat::Caveat;
use crate::document::{Format, Stamp};
use crate::night::{AlreadyHave, Night};
use crate::plan::{Plan, Schedule, plan};
use crate::sky::GivenSky;
use crate::sky::night::Date;
use crate::stats::Estimate;
use crate::units::Seconds;

use super::answer::{FilterReview, Review, SubReview};
use super::field::{Found, found};
use super::moments::written_time;

/// Passes in which hours are found that bring what was achieved: their squares of signal over noise are nearly in proportion.
const PASSES: usize = 3;
/// Light of the same stars in two nights is known better than this.
const SAME_STARS: f64 = 0.1;
/// Below this share of what was kept nothing is written: it would be no stack.
const LEAST_HOURS: f64 = 1e-3;

/// Several nights against the plan: what `review` of several folders prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Campaign {
    /// `format`, always `subwell.campaign`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// The program's version.
    pub program: String,
    /// Each night, in the order of time.
    pub nights: Vec<CampaignNight>,
    /// Each filter, over all nights.
    pub filters: Vec<CampaignFilter>,
    /// What is in hand, as `[[goal.already]]` of the night file: entries of other evenings that stood there, and one for each
    /// evening and filter that was reviewed.
    pub already: Vec<AlreadyHave>,
    /// Hours of the clock that are left; `null` where hours are asked for, or what is left cannot be planned.
    pub hours_left: Option<f64>,
    /// Nights that are left, clear ones; `null` without a date or a place.
    pub nights_left: Option<u32>,
    /// The plan of what is left, over its nights; `null` without a date or a place.
    pub schedule: Option<Schedule>,
    /// Why what is left cannot be planned; `null` where it can.
    pub no_plan: Option<String>,
    /// What the numbers rest on, of all nights.
    pub caveats: Vec<Caveat>,
}

impl Format for Campaign {
    const FORMAT: &'static str = "subwell.campaign";
}

/// One night of several.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct CampaignNight {
    /// Its folder.
    pub folder: String,
    /// Local date of its evening; `null` where no header says it.
    pub evening: Option<String>,
    /// Its lights.
    pub subs: usize,
    /// Those that are kept.
    pub subs_kept: usize,
    /// Their open shutter.
    pub hours_kept: f64,
    /// What was achieved in each filter.
    pub filters: Vec<NightFilter>,
}

/// One filter in one night.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct NightFilter {
    /// The filter.
    pub name: String,
    /// Kept lights.
    pub subs_kept: usize,
    /// Their open shutter.
    pub hours_kept: f64,
    /// Signal over noise of them, the light accounted for that this night lacked against the best one; `null` where the target
    /// shines not through the filter.
    pub achieved_snr: Option<Estimate<f64>>,
    /// Light of the same stars over that of the best night, the air at their height accounted for; `null` where no stars tell.
    pub starlight: Option<Estimate<f64>>,
}

/// One filter over several nights.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct CampaignFilter {
    /// The filter.
    pub name: String,
    /// Nights with kept lights of it.
    pub nights: usize,
    /// Kept lights.
    pub subs_kept: usize,
    /// Their open shutter.
    pub hours_kept: f64,
    /// Open shutter that the plan wants in all; `null` where it cannot be planned.
    pub planned_hours: Option<f64>,
    /// Signal over noise of all nights together, those of the night file's own `[[goal.already]]` too; `null` where the target
    /// shines not through the filter.
    pub snr: Option<Estimate<f64>>,
    /// What is asked of it; `null` where hours are asked for.
    pub goal_snr: Option<f64>,
    /// What of the goal is done, in squares of signal over noise, at most 100; `null` without both.
    pub done_percent: Option<f64>,
}

/// A night that was reviewed.
#[derive(Debug, Clone, Copy)]
pub struct Reviewed<'a> {
    /// Its folder.
    pub folder: &'a str,
    /// The night file that it was held against.
    pub night: &'a Night,
    /// What was found.
    pub review: &'a Review,
}

impl Campaign {
    /// Joins nights of one target and camera, and plans what is left by the night file of the last of them.
    ///
    /// Returns `None` without any.
    #[must_use]
    pub fn new(reviewed: &[Reviewed<'_>], camera: &CameraProfile) -> Option<Self> {
        let mut reviewed = reviewed.to_vec();
        reviewed.sort_by_key(|one| first_evening(one.review));
        let mut caveats = without_doubles(&mut reviewed);
        let last = reviewed.last()?;
        let evenings: Vec<String> = reviewed.iter().filter_map(|one| last_evening(one.review)).collect();
        let mut asked = last.night.clone();
        // What was written of these evenings before is replaced, not counted twice.
        let again = |stack: &AlreadyHave| {
            reviewed.iter().any(|one| {
                let of_filter = |filter: &FilterReview| stack.filter.as_ref() == Some(&filter.name);
                stack.evening.is_some()
                    && stack.evening == evening(one.review)
                    && one.review.filters.iter().any(of_filter)
            })
        };
        asked.goal.already.retain(|stack| !again(stack));
        let mut already = asked.goal.already.clone();
        let nights: Vec<CampaignNight> = nights_of(&reviewed);
        for (one, night) in reviewed.iter().zip(&nights) {
            let filters = one.review.filters.iter().zip(&night.filters);
            already.extend(filters.filter_map(|(filter, joined)| in_hand(one, filter, joined, &asked, camera)));
        }
        let mut from_nothing = asked.clone();
        from_nothing.goal.already.clear();
        let whole = plan(&from_nothing, camera);
        let filters = filters(&reviewed, &nights, &asked, camera, whole.as_ref().ok());
        asked.goal.already.clone_from(&already);
        if let Some(last) = evenings.last().and_then(|date| Date::parse(date).ok()) {
            asked.begin_after(last);
        }
        let left = plan(&asked, camera);
        for caveat in reviewed.iter().flat_map(|one| &one.review.caveats) {
            // One night file for several nights has the date of one of them.
            if caveat.code == "conflicting-date" {
                continue;
            }
            if !caveats.iter().any(|other| other.code == caveat.code && other.message == caveat.message) {
                caveats.push(caveat.clone());
            }
        }
        caveats.extend(other_fields(&reviewed));
        let hours = left.as_ref().ok().filter(|_| asked.goal.hours.is_none()).map(|plan| plan.wall_clock_s.0 / 3600.0);
        Some(Self {
            stamp: Stamp::new(),
            program: env!("CARGO_PKG_VERSION").into(),
            nights,
            filters,
            already,
            hours_left: hours,
            nights_left: left
                .as_ref()
                .ok()
                .and_then(|plan| plan.schedule.as_ref())
                .map(|schedule| schedule.nights.len() as u32),
            no_plan: left.as_ref().err().map(ToString::to_string),
            schedule: left.ok().and_then(|plan| plan.schedule),
            caveats,
        })
    }
}

impl Campaign {
    /// What is in hand of the evenings that were reviewed, those without a date left out: they could be counted twice.
    pub fn new_stacks(&self) -> impl Iterator<Item = &AlreadyHave> {
        let reviewed = |stack: &&AlreadyHave| {
            stack.evening.is_some() && self.nights.iter().any(|night| night.evening == stack.evening)
        };
        self.already.iter().filter(reviewed)
    }
}

impl Review {
    /// Local date of the evening that the lights are of; `None` where they are of several, or no header says it.
    #[must_use]
    pub fn evening(&self) -> Option<String> {
        first_evening(self).filter(|first| last_evening(self).as_ref() == Some(first))
    }
}

pub(super) fn evening(review: &Review) -> Option<String> {
    review.evening()
}

fn first_evening(review: &Review) -> Option<String> {
    evening_of(review.night.from.as_ref()?)
}

fn last_evening(review: &Review) -> Option<String> {
    evening_of(review.night.to.as_ref()?)
}

/// Local date of the evening of a local time.
pub(super) fn evening_of(when: &str) -> Option<String> {
    let (date, hours) = written_time(when)?;
    Some(date.at(hours, 0.0).evening(0.0))
}

/// Leaves out nights whose lights lie in another folder too.
fn without_doubles(reviewed: &mut Vec<Reviewed<'_>>) -> Vec<Caveat> {
    let mut seen = HashSet::new();
    let mut caveats = Vec::new();
    reviewed.retain(|one| {
        let light = |sub: &SubReview| {
            let sky = sub.sky_e_per_s.map(|sky| sky.value.0.to_bits());
            (sub.when.clone(), sky, sub.star_count, sub.exposure_s.0.to_bits())
        };
        let lights: Vec<_> = one.review.subs.iter().map(light).collect();
        let twice = lights.iter().filter(|light| seen.contains(*light)).count();
        let double = 2 * twice > lights.len();
        if double {
            let message = "its lights lie in another of the folders too: they are counted once";
            caveats.push(Caveat::new("duplicate-frame", message, "give each night once").about(one.folder));
        }
        seen.extend(lights);
        !double
    });
    caveats
}

/// Each night with what it achieved, the starlight held against that of the others.
fn nights_of(reviewed: &[Reviewed<'_>]) -> Vec<CampaignNight> {
    let of = |one: &Reviewed<'_>| {
        let review = one.review;
        let filters = review.filters.iter().map(|filter| {
            let starlight = starlight(reviewed, review, &filter.name);
            // Never more than the night itself says: the best night is the measure.
            let share = starlight.map_or(1.0, |share| share.value.min(1.0));
            let unsure = starlight.map_or(0.0, |share| share.relative());
            NightFilter {
                name: filter.name.clone(),
                subs_kept: filter.subs_kept,
                hours_kept: filter.hours_kept,
                achieved_snr: filter
                    .achieved_snr
                    .map(|snr| Estimate::within_factor(snr.value * share, snr.relative().hypot(unsure))),
                starlight,
            }
        });
        CampaignNight {
            folder: one.folder.to_owned(),
            evening: evening(review),
            subs: review.subs.len(),
            subs_kept: review.subs_kept,
            hours_kept: review.hours_kept,
            filters: filters.collect(),
        }
    };
    reviewed.iter().map(of).collect()
}

/// Light of a filter's stars in a night over that in the best of the nights.
///
/// ```text
/// (light / air / share) over the greatest of all nights
/// ```
///
/// `light` is that of the same stars in the night's reference light, `air` what the air at its height is to let through, and
/// `share` its starlight over the best of its own night.
fn starlight(reviewed: &[Reviewed<'_>], own: &Review, filter: &str) -> Option<Estimate<f64>> {
    let field = |review: &'_ Review| review.fields.iter().position(|field| field.filter == filter);
    let base = reviewed.iter().find_map(|one| Some(&one.review.fields[field(one.review)?]))?;
    let over_base = |review: &Review| {
        let field = &review.fields[field(review)?];
        let Found::Same { light, .. } = found(&base.light, &field.light) else { return None };
        // Strange stars agree by chance in a few places, and scatter.
        if light.relative() > SAME_STARS {
            return None;
        }
        let factor = (base.air * base.share) / (field.air * field.share);
        Some(Estimate::within_factor(light.value * factor, light.relative()))
    };
    let best = reviewed.iter().filter_map(|one| over_base(one.review)).map(|light| light.value).fold(0.0, f64::max);
    let light = over_base(own)?;
    (best > 0.0).then(|| Estimate::within_factor(light.value / best, light.relative()))
}

/// Nights whose stars are none of the others'.
fn other_fields(reviewed: &[Reviewed<'_>]) -> Vec<Caveat> {
    let strange = |one: &&Reviewed<'_>| {
        let fields = || one.review.fields.iter();
        fields().next().is_some() && fields().all(|field| starlight(reviewed, one.review, &field.filter).is_none())
    };
    let caveat = |one: &Reviewed<'_>| {
        let message = "this night shows other stars than the first: of another target it is no part of this stack";
        Caveat::new("other-field", message, "review each target by itself").about(one.folder)
    };
    reviewed.iter().filter(strange).map(caveat).collect()
}

/// What the night file says is there, in the plan's own words: signal over noise of each filter.
fn snr_in_hand(asked: &Night, camera: &CameraProfile, name: &str) -> f64 {
    let plan = plan(asked, camera).ok();
    let filter = plan.iter().flat_map(|plan: &Plan| &plan.filters).find(|filter| filter.name == name);
    filter.and_then(|filter| filter.in_hand.as_ref()).map_or(0.0, |in_hand| in_hand.snr)
}

fn filters(
    reviewed: &[Reviewed<'_>],
    nights: &[CampaignNight],
    asked: &Night,
    camera: &CameraProfile,
    whole: Option<&Plan>,
) -> Vec<CampaignFilter> {
    let mut names: Vec<&String> = Vec::new();
    for filter in reviewed.iter().flat_map(|one| &one.review.filters) {
        if !names.contains(&&filter.name) {
            names.push(&filter.name);
        }
    }
    let of = |name: &String| {
        let nights = || nights.iter().flat_map(|night| &night.filters).filter(|filter| filter.name == *name);
        let before = if asked.goal.already.is_empty() { 0.0 } else { snr_in_hand(asked, camera, name) };
        let square: f64 = nights().filter_map(|filter| filter.achieved_snr).map(|snr| snr.value.powi(2)).sum();
        // Target, optics and air are the same unknowns in all nights.
        let relative = nights().filter_map(|filter| filter.achieved_snr).map(|snr| snr.relative()).fold(0.0, f64::max);
        let snr = (square > 0.0).then(|| Estimate::within_factor((square + before * before).sqrt(), relative));
        // The night file that is planned on says what is asked for.
        let own = asked.filters.iter().find(|filter| filter.label() == *name).and_then(|filter| filter.snr);
        let goal_snr = asked.goal.hours.is_none().then(|| own.unwrap_or_else(|| asked.goal.snr()));
        let planned = whole.and_then(|plan| plan.filters.iter().find(|filter| filter.name == *name));
        CampaignFilter {
            name: name.clone(),
            nights: nights().filter(|filter| filter.subs_kept > 0).count(),
            subs_kept: nights().map(|filter| filter.subs_kept).sum(),
            hours_kept: nights().map(|filter| filter.hours_kept).sum(),
            planned_hours: planned.map(|filter| filter.integration_s.0 / 3600.0),
            snr,
            goal_snr,
            done_percent: snr.zip(goal_snr).map(|(snr, goal)| (100.0 * (snr.value / goal).powi(2)).min(100.0)),
        }
    };
    names.into_iter().map(of).collect()
}

/// A filter's stack of one night, as the night file takes it: under the sky of its kept lights, as many hours as bring what it
/// achieved. Where starlight was lost they are fewer than were kept.
fn in_hand(
    one: &Reviewed<'_>,
    filter: &FilterReview,
    joined: &NightFilter,
    asked: &Night,
    camera: &CameraProfile,
) -> Option<AlreadyHave> {
    let kept: Vec<&SubReview> = one.review.subs.iter().filter(|sub| sub.filter == filter.name && sub.keep).collect();
    let hours = filter.hours_kept;
    if hours < LEAST_HOURS || kept.is_empty() {
        return None;
    }
    let sub_s = Seconds(hours * 3600.0 / kept.len() as f64);
    let mut stack = AlreadyHave {
        hours,
        sub_s,
        sky: mean_sky(&kept, filter),
        filter: Some(filter.name.clone()),
        // Two digits behind the point are enough to write.
        dither_every_subs: filter
            .dither_positions
            .map(|places| (100.0 * kept.len() as f64 / places.max(1) as f64).round().max(100.0) / 100.0),
        evening: evening(one.review),
    };
    let achieved = joined.achieved_snr?.value;
    let mut night = asked.clone();
    for _ in 0..PASSES {
        night.goal.already = vec![stack.clone()];
        let told = snr_in_hand(&night, camera, &filter.name);
        if told <= 0.0 {
            break;
        }
        stack.hours *= (achieved / told).powi(2);
    }
    stack.hours = (stack.hours * 1e4).round() / 1e4;
    (stack.hours >= LEAST_HOURS).then_some(stack)
}

/// The mean sky of kept lights, the Moon in it; `None` where it does not stand out.
fn mean_sky(kept: &[&SubReview], filter: &FilterReview) -> Option<GivenSky> {
    let seen: Vec<(f64, Estimate<_>)> =
        kept.iter().filter_map(|sub| Some((sub.exposure_s.0, sub.sky_e_per_s?))).collect();
    let time: f64 = seen.iter().map(|(seconds, _)| seconds).sum();
    let mean = seen.iter().map(|(seconds, sky)| seconds * sky.value.0).sum::<f64>() / time;
    let relative = seen.iter().map(|(_, sky)| sky.relative()).fold(f64::MAX, f64::min);
    let e_per_s = (!seen.is_empty()).then(|| Estimate::within_factor(mean, relative))?.determined()?;
    Some(GivenSky::Measured { e_per_s, filter: filter.name.clone(), plane: Some(filter.plane.into()), altitude: None })
}
