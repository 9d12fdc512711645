//! The targets in reach, as text and as a table for other programs.

use crate::decide::{TargetInReach, Targets};
use crate::units::Seconds;

#[cfg(feature = "report")]
use super::Table;
use super::schedule::{cell, clock};
use super::{caveats_text, duration, paragraph, rounded, wrapped};

/// So many lines are told without `--all`.
const SHORT_ROWS: usize = 25;

/// The answer in a line: how many, and what is quickest.
pub(super) fn targets_line(answer: &Targets) -> String {
    let done = answer.targets.iter().filter(|target| target.done_on.is_some()).count();
    let line = match (&answer.date, answer.targets.first()) {
        (_, None) => "no target of the list is in reach".into(),
        (Some(date), Some(first)) if done > 0 => format!(
            "{done} of {} targets can be done within {} from {date} on, the quickest is {}: {}",
            answer.targets.len() + answer.out_of_reach.len(),
            nights(answer.nights.unwrap_or(1)),
            first.name,
            duration(first.wall_clock_s)
        ),
        (Some(date), Some(first)) => format!(
            "none can be done within {} from {date} on; the quickest is {}: {}",
            nights(answer.nights.unwrap_or(1)),
            first.name,
            duration(first.wall_clock_s)
        ),
        (None, Some(first)) => format!(
            "{} of {} targets are in reach, {} in the least time: {}",
            answer.targets.len(),
            answer.targets.len() + answer.out_of_reach.len(),
            first.name,
            duration(first.wall_clock_s)
        ),
    };
    wrapped(&line, 2)
}

fn nights(count: u32) -> String {
    if count == 1 { "one night".into() } else { format!("{count} nights") }
}

/// The answer of `targets`: the first lines, or with `all` every one, and what cannot be reached.
#[must_use]
pub fn targets_text(answer: &Targets, all: bool) -> String {
    let mut text = targets_line(answer);
    let [width, height] = answer.field_arcmin;
    let frame = format!(
        "for SNR {} in the quickest of the night's filters; the frame is {:.0} by {:.0} arcmin",
        rounded(answer.snr, 3),
        width,
        height
    );
    text.push_str(&paragraph(&frame, 0));
    text.push('\n');
    let (by, up) = if answer.date.is_some() { ("done", "tonight") } else { ("", "") };
    let head = format!("  {:<18} {:>6}  {:<13} {:>6}  {:<9} {:>5}  {up}", "", "hours", "range", "frame", "filter", by);
    text.push_str(&format!("{}\n", head.trim_end()));
    let shown = if all { answer.targets.len() } else { SHORT_ROWS };
    answer.targets.iter().take(shown).for_each(|target| text.push_str(&row(target)));
    let more = answer.targets.len().saturating_sub(shown);
    if more > 0 {
        text.push_str(&format!("  ... {more} more: --all\n"));
    }
    if all {
        for (why, names) in by_reason(answer) {
            text.push_str(&paragraph(&format!("{why}: {}", names.join(", ")), 2)[1..]);
        }
    } else if !answer.out_of_reach.is_empty() {
        text.push_str(&format!("  {} are out of reach: --all says why\n", answer.out_of_reach.len()));
    }
    text.push_str(&paragraph(
        "frame: how much of the frame the target fills, above 100 % it does not fit. A catalogue's mean brightness is good to half \
         a magnitude or worse: that is most of the range.",
        0,
    ));
    text.push_str(&caveats_text(&answer.caveats));
    text
}

/// What is out of reach, for each reason.
pub(super) fn by_reason(answer: &Targets) -> Vec<(&str, Vec<&str>)> {
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for missing in &answer.out_of_reach {
        match reasons.iter_mut().find(|(why, _)| *why == missing.why) {
            Some((_, names)) => names.push(&missing.name),
            None => reasons.push((&missing.why, vec![&missing.name])),
        }
    }
    reasons
}

fn row(target: &TargetInReach) -> String {
    let hours = |time: Seconds| rounded(time.0 / 3600.0, 2);
    let [low, high] = target.wall_clock_range_s;
    let done = match (&target.done_on, target.done_percent) {
        (Some(date), _) => date.get(5..).unwrap_or(date).to_owned(),
        (None, Some(percent)) => format!("{percent:.0} %"),
        (None, None) => String::new(),
    };
    let window = target.window.as_ref().map_or_else(String::new, |[from, to]| format!("{}-{}", clock(from), clock(to)));
    let name: String = named(target).chars().take(18).collect();
    let filter: String = target.filter.chars().take(9).collect();
    let line = format!(
        "  {name:<18} {:>6}  {:<13} {:>4.0} %  {filter:<9} {done:>5}  {window}",
        hours(target.wall_clock_s),
        format!("{} to {}", hours(low), hours(high)),
        100.0 * target.share_of_field,
    );
    format!("{}\n", line.trim_end())
}

/// The shortest name, with the one in words where it has one.
fn named(target: &TargetInReach) -> String {
    let in_words = target.also.iter().find(|name| name.chars().filter(char::is_ascii_digit).count() == 0);
    match in_words {
        Some(words) if target.name.chars().count() + words.chars().count() < 18 => format!("{} {words}", target.name),
        _ => target.name.clone(),
    }
}

/// The same as comma-separated values with a row of names (RFC 4180).
#[must_use]
pub fn targets_csv(answer: &Targets) -> String {
    let mut text = String::from(
        "name,kind,long_arcmin,short_arcmin,share_of_field,filter,wall_clock_s,wall_clock_low_s,wall_clock_high_s,done_on,nights,\
         done_percent,from,to,lowest_altitude_deg,highest_altitude_deg\r\n",
    );
    for target in &answer.targets {
        let [from, to] = target.window.clone().unwrap_or_default();
        let altitudes = target.altitude_deg.map(|each| each.map(|altitude| format!("{altitude:.1}")));
        let [lowest, highest] = altitudes.unwrap_or_default();
        let [long, short] = target.size_arcmin;
        let [low, high] = target.wall_clock_range_s;
        let cells = [
            cell(&target.name),
            target.kind.clone(),
            long.to_string(),
            short.to_string(),
            format!("{:.3}", target.share_of_field),
            cell(&target.filter),
            format!("{:.0}", target.wall_clock_s.0),
            format!("{:.0}", low.0),
            format!("{:.0}", high.0),
            target.done_on.clone().unwrap_or_default(),
            target.nights.map_or_else(String::new, |nights| nights.to_string()),
            target.done_percent.map_or_else(String::new, |percent| format!("{percent:.1}")),
            from,
            to,
            lowest,
            highest,
        ];
        text.push_str(&format!("{}\r\n", cells.join(",")));
    }
    text
}

/// The rows of the page's table.
#[cfg(feature = "report")]
pub(super) fn targets_table(answer: &Targets) -> Table {
    let head = ["target", "kind", "hours", "from", "to", "fills of the frame, %", "filter", "done on"]
        .map(str::to_owned)
        .into();
    let hours = |time: Seconds| rounded(time.0 / 3600.0, 2);
    let row = |target: &TargetInReach| {
        let [low, high] = target.wall_clock_range_s;
        vec![
            named(target),
            target.kind.clone(),
            hours(target.wall_clock_s),
            hours(low),
            hours(high),
            format!("{:.0}", 100.0 * target.share_of_field),
            target.filter.clone(),
            target.done_on.clone().unwrap_or_default(),
        ]
    };
    Table { head, rows: answer.targets.iter().map(row).collect() }
}
