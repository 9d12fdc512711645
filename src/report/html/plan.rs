//! The report of a plan.

use crate::plan::{Plan, Search};
use crate::report::Table;
use crate::report::calibration::calibration_entries;
use crate::report::duration;
use crate::report::plan::{
    NOISE_FROM, answer_line, clock_line, filter_entries, hypothetical, night_entries, plane_entries,
};
use crate::report::plots::{
    night_figure, settings_figure, snr_figure, starts_figure, strip_figure, sub_noise_figure, wall_time_figure,
};
use crate::report::schedule::{better_nights, clouds, schedule_table};
use crate::report::short_set;

use super::blocks::{caveats, figure, list, numbers, paragraph, subheading, table, table_of_words};
use super::methods::{plan_cautions, plan_methods};
use super::outline::Report;
use super::page;

/// A plan as one HTML file: the answer, why, pictures, numbers, doubts and cautions, methods.
///
/// `searches` are those of [`crate::plan::searches`] for the same night and camera; without them there are no pictures.
#[must_use]
pub fn plan_page(plan: &Plan, searches: &[Search]) -> String {
    let date = plan.night.as_ref().map_or_else(String::new, |night| format!(", night of {}", night.date));
    let mut body = Report::new(&format!("The plan{date}"), &answer_line(plan));
    body.begin("Why");
    body.push_str(&paragraph(&clock_line(plan)));
    body.push_str(&plan.goal.picture.map_or_else(String::new, |picture| paragraph(picture.words())));
    for filter in &plan.filters {
        let why: Vec<_> = filter_entries(filter)
            .into_iter()
            .filter(|(name, _)| ["sub length", "set by", "limits"].contains(name))
            .chain(filter.planes.iter().flat_map(plane_entries).filter(|(name, _)| *name == NOISE_FROM))
            .collect();
        body.push_str(&subheading(&filter.name));
        body.push_str(&numbers(&why));
    }
    body.begin("Pictures");
    for (i, (filter, search)) in plan.filters.iter().zip(searches).enumerate() {
        body.push_str(&figure(&wall_time_figure(&format!("length-{i}"), filter, search)));
        body.push_str(&snr_figure(&format!("hours-{i}"), filter, search).iter().map(figure).collect::<String>());
        body.push_str(&strip_figure(&format!("strip-{i}"), filter, search).iter().map(figure).collect::<String>());
        body.push_str(&sub_noise_figure(&format!("noise-{i}"), filter, search).iter().map(figure).collect::<String>());
    }
    body.push_str(&settings_figure("settings", plan).iter().map(figure).collect::<String>());
    body.push_str(&night_figure("night", plan).iter().map(figure).collect::<String>());
    let starts = plan.schedule.as_ref().and_then(|schedule| schedule.starts.as_deref());
    body.push_str(&starts.and_then(|starts| starts_figure("starts", starts)).iter().map(figure).collect::<String>());
    body.begin("Numbers");
    body.push_str(&all_numbers(plan));
    body.begin("Doubts and cautions");
    body.push_str(&caveats(&plan.caveats));
    body.push_str(&list(plan_cautions()));
    body.begin("How each number was got");
    body.push_str(&table_of_words(&plan_methods()));
    page(&format!("Plan{date}"), &body)
}

fn all_numbers(plan: &Plan) -> String {
    let mut text = String::new();
    if let Some(night) = &plan.night {
        text.push_str(&subheading(&format!("night of {}", night.date)));
        text.push_str(&numbers(&night_entries(night)));
    }
    if let Some(schedule) = &plan.schedule {
        text.push_str(&subheading("nights, if all are clear"));
        text.push_str(&table(&schedule_table(schedule)));
        for better in better_nights(schedule) {
            text.push_str(&paragraph(&better));
        }
        text.push_str(&paragraph(&clouds(schedule)));
    }
    for filter in &plan.filters {
        text.push_str(&subheading(&filter.name));
        text.push_str(&numbers(&filter_entries(filter)));
        for plane in filter.planes.iter().filter(|_| !hypothetical(filter)) {
            let colour = plane.colour.map_or_else(String::new, |colour| format!(" ({colour})"));
            text.push_str(&subheading(&format!("{}, plane {}{colour}", filter.name, plane.plane)));
            text.push_str(&numbers(&plane_entries(plane)));
        }
    }
    for set in plan.short_set.iter().flat_map(|short| &short.sets) {
        text.push_str(&subheading(&format!("short set for the {}, {}", short_set::word(set), set.name)));
        text.push_str(&numbers(&short_set::entries(set)));
        for plane in &set.planes {
            let colour = plane.colour.map_or_else(String::new, |colour| format!(" ({colour})"));
            text.push_str(&subheading(&format!("where the two sets of plane {}{colour} are joined", plane.plane)));
            text.push_str(&numbers(&short_set::blend_entries(plane)));
        }
    }
    for filter in &plan.calibration.filters {
        text.push_str(&subheading(&format!("calibration frames, {}", filter.name)));
        text.push_str(&numbers(&calibration_entries(filter)));
    }
    if plan.by_gain_setting.len() > 1 {
        let all = &plan.by_gain_setting;
        let rows = all.iter().map(|setting| vec![setting.name(all), duration(setting.wall_clock_s)]).collect();
        text.push_str(&subheading("time at each measured gain setting"));
        text.push_str(&table(&Table { head: vec!["gain setting".into(), "time on the clock".into()], rows }));
    }
    text
}
