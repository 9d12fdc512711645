//! A plan on one screen: the answer, why, the nights, and the three doubts that matter most.

use crate::caveat::{Caveat, CaveatCode};
use crate::plan::{FilterPlan, Plan, PlanePlan};

use super::plan::{IN_HAND, NOISE_FROM, REACHED, SET_BY, SUB_LENGTH};
use super::plan::{filter_entries, filter_words, head_text, hypothetical, nothing_can_be_shot, plane_entries};
use super::schedule::short_schedule_text;
use super::{caveats_text, entry};

/// So many doubts are told.
const DOUBTS: usize = 3;

/// The plan in about forty lines; [`plan_text`](super::plan_text) says all.
#[must_use]
pub fn plan_summary(plan: &Plan) -> String {
    let mut text = head_text(plan);
    if !nothing_can_be_shot(plan) {
        plan.filters.iter().for_each(|filter| text.push_str(&filter_text(filter)));
    }
    if let Some(schedule) = &plan.schedule {
        text.push_str(&short_schedule_text(schedule));
    }
    text.push_str(&doubts(&plan.caveats));
    text.push_str("\n--all says more: all nights, limits, dither, calibration, gain settings, doubts\n");
    text
}

fn filter_text(filter: &FilterPlan) -> String {
    let mut text = format!("\n{}\n", filter_words(&filter.name));
    for (name, value) in filter_entries(filter) {
        if [SUB_LENGTH, SET_BY, IN_HAND].contains(&name) {
            text.push_str(&entry(2, name, 18, &value));
        }
    }
    if hypothetical(filter) {
        return text;
    }
    let new = if filter.in_hand.is_some() { "new subs " } else { "" };
    let alone = filter.planes.len() == 1;
    let worst = |a: &&PlanePlan, b: &&PlanePlan| a.snr.value.total_cmp(&b.snr.value);
    let shown = filter.planes.iter().filter(|plane| plane.snr.value > 0.0).min_by(worst);
    for plane in &filter.planes {
        let entries = plane_entries(plane);
        let of = |wanted: &str| entries.iter().find(|(name, _)| *name == wanted).map(|(_, value)| value.clone());
        let named = |what: &str| if alone { what.to_owned() } else { format!("{what} {}", plane.plane) };
        if shown.is_some_and(|shown| shown.plane == plane.plane) {
            text.push_str(&entry(2, &named(NOISE_FROM), 18, &of(NOISE_FROM).unwrap_or_default()));
        }
        text.push_str(&entry(2, &named(REACHED), 18, &format!("{new}{}", of(REACHED).unwrap_or_default())));
    }
    text
}

/// The doubts that matter most, those of one meaning told once.
fn doubts(caveats: &[Caveat]) -> String {
    let mut told: Vec<Caveat> = Vec::new();
    for caveat in caveats {
        match told.iter_mut().find(|known| known.message == caveat.message) {
            Some(known) if known.about != caveat.about => known.about = String::new(),
            Some(_) => {}
            None => told.push(caveat.clone()),
        }
    }
    told.sort_by_key(weight);
    let more = told.len().saturating_sub(DOUBTS);
    told.truncate(DOUBTS);
    let mut text = caveats_text(&told);
    if !text.is_empty() {
        text.insert(0, '\n');
    }
    if more > 0 {
        text.push_str(&format!("  and {more} more\n"));
    }
    text
}

/// The less the more it matters: what was found, then what moves the length most, then what was assumed.
fn weight(caveat: &Caveat) -> u8 {
    let assumed = caveat.code == CaveatCode::AssumedValue;
    match (assumed, caveat.about.as_str()) {
        (false, _) if caveat.code == CaveatCode::MoonNotCounted => 2,
        (false, _) => 0,
        (true, "mount.lost_subs_per_hour") => 1,
        (true, _) => 3,
    }
}
