//! Several nights as text: what is there, what is left, and when.

use crate::review::{Campaign, CampaignFilter, CampaignNight};

use super::schedule::{nights, schedule_text};
use super::{caveats_text, rounded, wrapped};

/// The whole answer of `review` for several nights.
#[must_use]
pub fn campaign_text(campaign: &Campaign) -> String {
    let mut text = wrapped(&headline(campaign), 2);
    text.push_str("\n  filter          nights  subs   hours  planned  SNR           goal  done\n");
    campaign.filters.iter().for_each(|filter| text.push_str(&filter_row(filter)));
    text.push_str("\n  evening     folder                subs  kept   hours  SNR, starlight\n");
    campaign.nights.iter().for_each(|night| text.push_str(&night_row(night)));
    if let Some(left) = &campaign.schedule {
        text.push_str(&schedule_text(left));
    }
    if let Some(why) = &campaign.no_plan {
        text.push('\n');
        text.push_str(&wrapped(&format!("what is left cannot be planned: {why}"), 2));
    }
    text.push('\n');
    text.push_str(&caveats_text(&campaign.caveats));
    text
}

/// What is left, and what is there.
fn headline(campaign: &Campaign) -> String {
    let hours: f64 = campaign.filters.iter().map(|filter| filter.hours_kept).sum();
    let count = campaign.nights.len();
    let there =
        format!("{hours:.1} h of open shutter kept from {count} {}", if count == 1 { "night" } else { "nights" });
    match (campaign.hours_left, campaign.nights_left) {
        (Some(left), _) if left <= 0.0 => format!("nothing is left to shoot: {there}"),
        (Some(left), Some(count)) => format!("{left:.1} h are left, in {}: {there}", nights(count)),
        (Some(left), None) => format!("{left:.1} h are left: {there}"),
        (None, _) => there,
    }
}

fn filter_row(filter: &CampaignFilter) -> String {
    let or_dash = |value: Option<String>| value.unwrap_or_else(|| "-".into());
    let snr = filter.snr.map(|snr| {
        let (low, high) = snr.interval();
        format!("{} ({}-{})", rounded(snr.value, 3), rounded(low, 2), rounded(high, 2))
    });
    format!(
        "  {:<15} {:>6} {:>5} {:>7.2} {:>8}  {:<13} {:>4} {:>5}\n",
        filter.name,
        filter.nights,
        filter.subs_kept,
        filter.hours_kept,
        or_dash(filter.planned_hours.map(|hours| format!("{hours:.2}"))),
        or_dash(snr),
        or_dash(filter.goal_snr.map(|goal| rounded(goal, 3))),
        or_dash(filter.done_percent.map(|done| format!("{done:.0} %"))),
    )
}

fn night_row(night: &CampaignNight) -> String {
    let evening = night.evening.as_deref().unwrap_or("unknown");
    let snr: Vec<String> = (night.filters.iter())
        .filter_map(|filter| {
            let light = filter.starlight.map(|share| format!(" {:.0} %", 100.0 * share.value.min(1.0)));
            Some(format!("{} {}{}", filter.name, rounded(filter.achieved_snr?.value, 3), light.unwrap_or_default()))
        })
        .collect();
    format!(
        "  {evening:<11} {:<20} {:>5} {:>5} {:>7.2}  {}\n",
        night.folder,
        night.subs,
        night.subs_kept,
        night.hours_kept,
        snr.join(", ")
    )
}
