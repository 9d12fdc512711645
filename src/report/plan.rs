//! A plan as text: the answer in one line, then why.

use crate::camera::SaturationIs;
use crate::night::PlanNight;
use crate::plan::{FilterPlan, GainSetting, GoalKind, Plan, PlanePlan, SetBy, WithoutDither};
use crate::units::Seconds;

use super::bar::bar;
use super::calibration::calibration_text;
use super::schedule::{better_nights, clock, nights, schedule_text};
use super::short_set::short_set_text;
use super::{caveats_text, duration, entry, percent, rounded, wrapped};

/// Noise without dithers over that with them, above which it is worth more than the number.
const WORTH_A_DITHER: f64 = 1.05;

/// Hours without dithers over those with them, from which on the number says nothing.
const BEYOND_PATIENCE: f64 = 100.0;

/// Hours that the Moon may lack of a night and still be down all of it.
const ALL_OF_IT_H: f64 = 1e-6;

/// The entry that has the noise budget.
pub(super) const NOISE_FROM: &str = "noise from";
/// Those that say how long a sub is and why, and what the stack reaches.
pub(super) const SUB_LENGTH: &str = "sub length";
pub(super) const SET_BY: &str = "set by";
pub(super) const REACHED: &str = "reached";
/// What earlier stacks bring.
pub(super) const IN_HAND: &str = "in hand";

/// The answer in one line: sub length, count, dither cadence, gain, temperature.
#[must_use]
pub fn answer_line(plan: &Plan) -> String {
    let gain = plan.gain_setting.map_or_else(String::new, |gain| format!(", gain {gain}"));
    let place = format!("{gain}, sensor at {:.0} °C", plan.sensor_c.0);
    plan.filters
        .iter()
        .map(|filter| {
            if filter.subs_to_shoot == 0 {
                return format!("{}: nothing to shoot", filter_words(&filter.name));
            }
            format!(
                "{}: {} subs of {}, dither every {}{place}",
                filter_words(&filter.name),
                filter.subs_to_shoot,
                duration(filter.sub_s),
                counted(filter.dither_every_subs, "sub")
            )
        })
        .collect::<Vec<_>>()
        .join("\n")
}

/// A filter's name; a colour array alone has none.
pub(super) fn filter_words(name: &str) -> &str {
    if name == "none" { "no filter" } else { name }
}

pub(super) fn counted(count: u64, what: &str) -> String {
    if count == 1 { what.to_owned() } else { format!("{count} {what}s") }
}

/// The answer, the time that it takes, and what would take less.
pub(super) fn head_text(plan: &Plan) -> String {
    let mut text = format!("{}\n\n", answer_line(plan));
    if plan.goal.kind == GoalKind::Hours && !nothing_can_be_shot(plan) {
        text.push_str(&reached_text(plan));
    }
    if let Some(picture) = plan.goal.picture {
        text.push_str(&wrapped(picture.words(), 0));
    }
    text.push_str(&wrapped(&clock_line(plan), 0));
    for better in plan.schedule.iter().flat_map(better_nights) {
        text.push_str(&wrapped(&better, 0));
    }
    text
}

/// The whole plan: the answer, why it is so, what it costs and what would change it.
#[must_use]
pub fn plan_text(plan: &Plan) -> String {
    let mut text = head_text(plan);
    if let Some(night) = &plan.night {
        text.push_str(&night_text(night));
    }
    if let Some(schedule) = &plan.schedule {
        text.push_str(&schedule_text(schedule));
    }
    if !nothing_can_be_shot(plan) {
        plan.filters.iter().for_each(|filter| text.push_str(&filter_text(filter)));
    }
    if let Some(short) = &plan.short_set {
        text.push_str(&short_set_text(short));
    }
    text.push_str(&calibration_text(&plan.calibration));
    if plan.by_gain_setting.len() > 1 {
        text.push_str("\nat each measured gain setting\n");
        let all = &plan.by_gain_setting;
        let widest = all.iter().map(|setting| setting.name(all).chars().count()).max().unwrap_or(0);
        for setting in all {
            text.push_str(&entry(2, &setting.name(all), 18.max(widest + 4), &setting_line(plan, setting)));
        }
    }
    text.push_str(&caveats_text(&plan.caveats));
    text
}

/// Whether its nights leave no time for any sub: what its filters would reach is nothing then.
pub(super) fn nothing_can_be_shot(plan: &Plan) -> bool {
    plan.schedule.as_ref().is_some_and(|schedule| !schedule.finished && schedule.nights.is_empty())
}

/// What given hours bring, a line for each plane.
fn reached_text(plan: &Plan) -> String {
    let mut text = String::new();
    let snr = |value: f64| rounded(value, 3);
    for filter in &plan.filters {
        for plane in filter.planes.iter().filter(|plane| plane.snr.value > 0.0) {
            let (low, high) = plane.snr.interval();
            let said = format!(
                "{} of the plane {}: SNR {} (95 times in 100 between {} and {})",
                filter_words(&filter.name),
                plane.plane,
                snr(plane.snr.value),
                snr(low),
                snr(high)
            );
            text.push_str(&wrapped(&said, 2));
        }
    }
    text
}

/// What one gain setting costs, what it owes to read noise, and which stars it burns.
fn setting_line(plan: &Plan, setting: &GainSetting) -> String {
    let mut said = match plan.goal.kind {
        GoalKind::Hours => format!("SNR {}", rounded(setting.snr, 3)),
        GoalKind::Snr => duration(setting.wall_clock_s),
    };
    for filter in &setting.filters {
        let burns = filter.stars_burn_mag.map_or_else(
            || "the sky burns".to_owned(),
            |magnitude| match filter.saturation_is {
                SaturationIs::Reached => format!("stars brighter than {:.1} mag burn", magnitude.0),
                SaturationIs::AtLeast => format!("stars fainter than {:.1} mag do not burn", magnitude.0),
            },
        );
        let share = rounded(filter.read_noise_share_percent, 2);
        let name = if setting.filters.len() > 1 { format!("{} ", filter.name) } else { String::new() };
        said.push_str(&format!(
            "; {name}subs of {}, read noise {share} % of the variance, {burns}",
            duration(filter.sub_s)
        ));
    }
    said
}

/// Time on the clock, its range, nights, calibration frames and what the range comes from.
pub(super) fn clock_line(plan: &Plan) -> String {
    let [low, high] = plan.wall_clock_range_s;
    let mut nights = nights(plan.nights);
    if let Some(last) = plan.schedule.as_ref().and_then(|schedule| schedule.nights.last()) {
        nights.push_str(&format!(", {} {}", if plan.nights == 1 { "on" } else { "the last on" }, last.date));
    }
    let frames = format!("{} darks, {} flats, {} biases", plan.darks, plan.flats, plan.biases);
    let (share, source) = (plan.largest_uncertainty.share_percent, plan.largest_uncertainty.source);
    let clock = duration(plan.wall_clock_s);
    let unfinished = plan.schedule.as_ref().filter(|schedule| !schedule.finished);
    if let Some(schedule) = unfinished {
        return if schedule.nights.is_empty() {
            "nothing can be shot: in the 60 nights from the date on no time is left beside set-up".into()
        } else {
            format!(
                "the 60 nights from the date on do {:.0} % of the plan: {clock} on the clock in {nights}; {frames}.",
                schedule.done_percent.min(99.0)
            )
        };
    }
    if plan.filters.iter().all(|filter| filter.subs_to_shoot == 0) {
        return format!("nothing is left to shoot: the hours in hand reach the goal. {frames}.");
    }
    if plan.goal.kind == GoalKind::Hours {
        return format!(
            "{clock} on the clock, {nights}; {frames}. {share:.0} % of the SNR's range comes from: {source}."
        );
    }
    let (low, high) = (duration(low), duration(high));
    if low == high {
        return format!("{clock} on the clock, {nights}; {frames}.");
    }
    format!(
        "{clock} on the clock (likely {low} to {high}), {nights}; {frames}. {share:.0} % of that range comes from: {source}."
    )
}

/// The hours of the date.
fn night_text(night: &PlanNight) -> String {
    let mut text = format!("\nnight of {}\n", night.date);
    for (name, value) in night_entries(night) {
        text.push_str(&entry(2, name, 18, &value));
    }
    text
}

/// The same, each with its name.
pub(super) fn night_entries(night: &PlanNight) -> Vec<(&'static str, String)> {
    let mut entries = Vec::new();
    let mut line = |name: &'static str, value: String| entries.push((name, value));
    let sun = (night.sun_below_deg * 10.0).round() / 10.0;
    line("dark", format!("{}, {:.1} h with the Sun below {sun}°", spans(&night.dark), night.dark_hours));
    let moon = if night.moon_free_hours > night.dark_hours - ALL_OF_IT_H {
        "down all the time".into()
    } else if night.moon_free.is_empty() {
        format!("up all the time, {:.0} % lit", night.moon_illuminated_percent)
    } else {
        let free = spans(&night.moon_free);
        format!("down {free}, {:.1} h; else up, {:.0} % lit", night.moon_free_hours, night.moon_illuminated_percent)
    };
    line("Moon", moon);
    let [low, high] = night.target_altitude_deg;
    line(
        "target",
        match &night.target_up {
            Some(up) => format!(
                "up {}, {:.1} h, {low:.0} to {high:.0}° high, mean airmass {:.2}",
                spans(up),
                night.usable_hours,
                night.airmass
            ),
            None => format!("taken {high:.0}° high all the time, airmass {:.2}", night.airmass),
        },
    );
    let extra = [("moonlight", night.moon_mag_per_arcsec2), ("twilight", night.twilight_mag_per_arcsec2)];
    let extra = extra.iter().filter_map(|(name, light)| light.map(|light| format!("of it {name} {light:.1}")));
    let total = night.sky_mag_per_arcsec2.map(|sky| format!("{sky:.1} mag/arcsec2"));
    let in_electrons = || night.moon_mag_per_arcsec2.map(|_| "measured in electrons".to_owned());
    let total = total.or_else(in_electrons);
    let sky: Vec<String> = total.into_iter().chain(extra).collect();
    if !sky.is_empty() {
        line("sky, mean", sky.join(", "));
    }
    entries
}

/// Local times of the clock, the date left out.
fn spans(spans: &[[String; 2]]) -> String {
    let said: Vec<String> = spans.iter().map(|[from, to]| format!("{} to {}", clock(from), clock(to))).collect();
    said.join(" and ")
}

fn filter_text(filter: &FilterPlan) -> String {
    let mut text = format!("\n{}\n", filter_words(&filter.name));
    for (name, value) in filter_entries(filter) {
        text.push_str(&entry(2, name, 18, &value));
    }
    if !hypothetical(filter) {
        filter.planes.iter().for_each(|plane| text.push_str(&plane_text(plane)));
    }
    text
}

/// Whether what is said of its planes is of a stack that is neither there nor shot: earlier stacks reach the goal.
pub(super) fn hypothetical(filter: &FilterPlan) -> bool {
    filter.subs_to_shoot == 0 && filter.in_hand.is_some()
}

/// What is to be done through a filter and why, each with its name.
pub(super) fn filter_entries(filter: &FilterPlan) -> Vec<(&'static str, String)> {
    let mut entries = Vec::new();
    let mut line = |name: &'static str, value: String| entries.push((name, value));
    let stretch = |[low, high]: &[Seconds; 2]| format!("{} to {}", duration(*low), duration(*high));
    // Whole cadences make a saw of the costs: several stretches of lengths can be as good.
    let others: Vec<String> =
        filter.sub_stretches_s.iter().filter(|s| **s != filter.sub_range_s).map(stretch).collect();
    let also = if others.is_empty() { String::new() } else { format!(" (and so do {})", others.join(", ")) };
    let what = if filter.subs_kept_range[0] == filter.subs_kept_range[1] { "best" } else { "least time" };
    let [from, to] = filter.sub_range_s.map(duration);
    let as_good = if from == to && others.is_empty() {
        "no other costs".to_owned()
    } else {
        format!("{} cost", stretch(&filter.sub_range_s))
    };
    line(
        SUB_LENGTH,
        format!(
            "{}; {as_good} within {} % of the {what}{also}, best {}",
            duration(filter.sub_s),
            percent(filter.sub_range_within_percent),
            duration(filter.sub_optimum_s)
        ),
    );
    line(SET_BY, set_by(filter));
    let [low, high] = filter.subs_kept_range;
    let range = if low == high { String::new() } else { format!(" ({low} to {high})") };
    line(
        "subs",
        format!(
            "{} in the stack{range}, {} to shoot: about {} an hour are lost",
            filter.subs_kept,
            filter.subs_to_shoot,
            rounded(filter.lost_subs_per_hour, 2)
        ),
    );
    if let Some(had) = &filter.in_hand {
        line(
            IN_HAND,
            if filter.subs_to_shoot == 0 {
                format!("SNR {}, which is enough", rounded(had.snr, 3))
            } else {
                format!(
                    "SNR {}, new subs {}: {} together, the earlier stack weighed with {:.0} % at equal brightness",
                    rounded(had.snr, 3),
                    rounded(had.new_snr, 3),
                    rounded(had.combined_snr, 3),
                    had.weight_percent
                )
            },
        );
    }
    line(
        "dither",
        format!(
            "every {}, {} times, within ± {} px, {} settling each",
            counted(filter.dither_every_subs, "sub"),
            filter.dithers,
            filter.dither_px.div_ceil(2),
            duration(filter.settle_s)
        ),
    );
    line("limits", limits(filter));
    let rules = filter.rules_of_thumb.iter();
    let rules: Vec<_> =
        rules.map(|rule| format!("{:.0} % at {}", rule.read_noise_adds_percent, duration(rule.sub_s))).collect();
    line("rules of thumb", format!("read noise adds {} to the noise of the light", rules.join(", ")));
    line("without dither", without_dither(&filter.without_dither));
    let megabytes = filter.gigabytes * 1000.0;
    line(
        "on disk",
        if megabytes < 1000.0 { format!("{megabytes:.0} MB") } else { format!("{:.1} GB", filter.gigabytes) },
    );
    entries
}

/// What a pattern does that never moves, in words and number.
fn without_dither(without: &WithoutDither) -> String {
    let noise = without.noise_ratio;
    let mut said =
        format!("the pattern stays where it is: noise × {}", rounded(noise, if noise < 10.0 { 3 } else { 2 }));
    match without.time_ratio {
        _ if noise < WORTH_A_DITHER => {}
        Some(ratio) if ratio > BEYOND_PATIENCE => said.push_str(", and no number of subs worth shooting takes it away"),
        Some(ratio) => said.push_str(&format!(", hours × {}", rounded(ratio, 2))),
        None => said.push_str(", and no number of subs takes it away"),
    }
    if let Some(creep) = without.creep_px_per_sub {
        let creep = rounded(creep, 2);
        said.push_str(&format!("; the field creeps by up to {creep} px from sub to sub and draws it out into streaks"));
    } else if noise >= WORTH_A_DITHER {
        said.push_str("; a field that creeps draws it out into streaks");
    }
    said
}

fn set_by(filter: &FilterPlan) -> String {
    match filter.set_by {
        SetBy::WallClock => "time: longer subs lose more when one is spoiled, shorter ones wait more".into(),
        SetBy::Tracking => "the mount: it bounds the best length".into(),
        SetBy::FieldRotation => "the field's rotation: polar alignment".into(),
        SetBy::StarSaturation => "the brightest star that is to stay unburnt: it bounds the best length".into(),
        SetBy::SkySaturation => "the sky: it fills the pixel".into(),
        SetBy::Rejection => "rejection: it needs so many subs and dither positions".into(),
        SetBy::Storage => "storage: fewer, longer subs".into(),
        SetBy::Requested => "you: this length was asked for".into(),
    }
}

fn limits(filter: &FilterPlan) -> String {
    let limits = &filter.limits_s;
    let named: [(&str, Option<Seconds>); 4] = [
        ("tracking", limits.tracking),
        ("field rotation", limits.field_rotation),
        (bound(filter, "star burns", "star does not burn before"), limits.star_saturation),
        (bound(filter, "sky half fills the well", "sky does not half fill the well before"), limits.sky_saturation),
    ];
    let known: Vec<String> =
        named.iter().filter_map(|(name, limit)| limit.map(|limit| format!("{name} {}", duration(limit)))).collect();
    if known.is_empty() { "none known".into() } else { known.join(", ") }
}

/// The first words where every plane's saturation is known, the second ones where one is known as a least alone.
pub(super) fn bound(filter: &FilterPlan, known: &'static str, least: &'static str) -> &'static str {
    let reached = filter.planes.iter().all(|plane| plane.saturation_is == SaturationIs::Reached);
    if reached { known } else { least }
}

fn plane_text(plane: &PlanePlan) -> String {
    let colour = plane.colour.map_or_else(String::new, |colour| format!(" ({colour})"));
    let mut text = format!("  plane {}{colour}\n", plane.plane);
    for (name, value) in plane_entries(plane) {
        text.push_str(&entry(4, name, 20, &value));
        if name == NOISE_FROM {
            text.push_str(&entry(4, "", 20, &bar(&noise_parts(plane))));
        }
    }
    text
}

/// The noise budget: each source and its share of the stack's variance, in percent.
fn noise_parts(plane: &PlanePlan) -> Vec<(&'static str, f64)> {
    let share = &plane.noise_share_percent;
    let moon = (plane.rates_e_per_s.moon.0 > 0.0).then_some(("Moon", share.moon));
    [("sky", share.sky)]
        .into_iter()
        .chain(moon)
        .chain([("target", share.target), ("dark", share.dark), ("read", share.read + share.quantisation)])
        // What rows and areas share of the read noise, where that is seen.
        .chain((share.bands > 0.0).then_some(("bands", share.bands)))
        .chain([("pattern", share.pattern), ("calibration", share.calibration)])
        .collect()
}

/// What happens in a plane, each with its name.
pub(super) fn plane_entries(plane: &PlanePlan) -> Vec<(&'static str, String)> {
    let rates = &plane.rates_e_per_s;
    let mut entries = Vec::new();
    let mut line = |name: &'static str, value: String| entries.push((name, value));
    let rate = |rate: f64| rounded(rate, 2);
    let moonlight = if rates.moon.0 > 0.0 { format!("Moon {}, ", rate(rates.moon.0)) } else { String::new() };
    line(
        "e-/s in a pixel",
        format!("target {}, sky {}, {moonlight}dark {}", rate(rates.target.0), rate(rates.sky.0), rate(rates.dark.0)),
    );
    let shares: Vec<String> =
        noise_parts(plane).iter().map(|(name, percent)| format!("{name} {percent:.0} %")).collect();
    line(NOISE_FROM, shares.join(", "));
    let mut reached = format!("SNR {}", rounded(plane.snr.value, 3));
    if let Some(faintest) = plane.faintest_mag_per_arcsec2 {
        reached.push_str(&format!(", faintest at 3 sigma in a 10\" square {:.1} mag/arcsec2", faintest.0));
    }
    if let Some(faintest) = plane.faintest_rayleigh {
        reached.push_str(&format!(", {} R in the line", rounded(faintest.0, 2)));
    }
    line(REACHED, reached);
    line(
        "sky level",
        format!(
            "{} DN, {}{} % of the full well",
            plane.sky_level_dn,
            if plane.saturation_is == SaturationIs::AtLeast { "at most " } else { "" },
            rounded(plane.sky_share_of_full_well_percent, 2)
        ),
    );
    entries
}
