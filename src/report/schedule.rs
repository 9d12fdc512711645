//! The nights of a plan: as text, and as a table for other programs.

use crate::plan::{Plan, Schedule, ScheduledNight, Session, Start, WhyLeftOut};

#[cfg(feature = "report")]
use super::Table;
use super::harmless::cell_text;
use super::{duration, paragraph, plain, rounded};
use crate::units::Seconds;

/// Head of the nights.
const HEAD: &str = "\nnights, if all are clear\n\
                    \x20 evening     local time   filter       subs    worth   Moon   target   done\n";
/// Heads of the table's columns.
const COLUMNS: &str = "night,filter,starts,ends,starts_utc,ends_utc,sub_s,subs,dither_every_subs,worth_percent,\
                       moon_up_percent,moon_illuminated_percent,lowest_altitude_deg,highest_altitude_deg,done_percent";

/// Rows of the nights that a short text has; of more, the first and the last ones.
const SHORT_ROWS: usize = 10;

/// A line for each session.
fn rows(schedule: &Schedule) -> Vec<String> {
    let of_night = |night: &ScheduledNight| {
        let count = night.sessions.len();
        let row_of = |(i, session)| row(night, session, i == 0, i + 1 == count);
        night.sessions.iter().enumerate().map(row_of).collect::<Vec<_>>()
    };
    schedule.nights.iter().flat_map(of_night).collect()
}

/// The nights on one screen.
pub(super) fn short_schedule_text(schedule: &Schedule) -> String {
    if schedule.nights.is_empty() {
        return String::new();
    }
    let rows = rows(schedule);
    let mut text = String::from(HEAD);
    if rows.len() <= SHORT_ROWS {
        text.push_str(&rows.concat());
    } else {
        let (first, last) = rows.split_at(SHORT_ROWS - 2);
        text.push_str(&first.concat());
        text.push_str(&format!("  ... {} more lines ...\n{}", last.len() - 1, last[last.len() - 1]));
    }
    text.push_str(&paragraph(&clouds(schedule), 2)[1..]);
    text
}

/// The nights, a line for each filter, and by when they are likely done.
pub(super) fn schedule_text(schedule: &Schedule) -> String {
    if schedule.nights.is_empty() {
        return String::new();
    }
    let mut text = String::from(HEAD);
    text.push_str(&rows(schedule).concat());
    for (why, word) in [
        (WhyLeftOut::NoHours, "not dark while the target is up"),
        (WhyLeftOut::NotWorthIt, "the others reach the goal as soon, in less time"),
    ] {
        let dates: Vec<&str> = schedule.left_out.iter().filter(|n| n.why == why).map(|n| n.date.as_str()).collect();
        if let (Some(first), Some(last)) = (dates.first(), dates.last()) {
            let nights = if dates.len() == 1 {
                format!("{first} is left out")
            } else {
                format!("{} nights from {first} to {last} are left out", dates.len())
            };
            text.push_str(&paragraph(&format!("{nights}: {word}"), 2)[1..]);
        }
    }
    text.push_str(
        &paragraph(
            "worth: what a sub brings there, the filter's mean sub being 100 %; Moon: how much of the time it is up",
            2,
        )[1..],
    );
    text.push_str(&paragraph(&clouds(schedule), 2)[1..]);
    text
}

fn row(night: &ScheduledNight, session: &Session, first: bool, last: bool) -> String {
    let date = if first { night.date.as_str() } else { "" };
    let moon = if session.moon_up_percent > 0.0 { format!("{:.0} %", session.moon_up_percent) } else { "no".into() };
    let done = if last { format!("{:.0} %", night.done_percent) } else { String::new() };
    let filter: String = session.filter.chars().take(10).collect();
    let [low, high] = session.target_altitude_deg;
    let line = format!(
        "  {date:<10}  {}-{}  {filter:<10}  {:>5}  {:>5} %  {moon:>5}  {:>7}  {done:>5}",
        clock(&session.starts),
        clock(&session.ends),
        session.subs,
        rounded(session.worth_percent, if session.worth_percent < 100.0 { 2 } else { 3 }),
        format!("{low:.0}-{high:.0}°"),
    );
    format!("{}\n", line.trim_end())
}

/// The nights as a table.
#[cfg(feature = "report")]
pub(super) fn schedule_table(schedule: &Schedule) -> Table {
    let head =
        ["evening", "from", "to", "filter", "subs", "worth, %", "Moon up, %", "done, %"].map(str::to_owned).into();
    let row = |night: &ScheduledNight, session: &Session| {
        vec![
            night.date.clone(),
            clock(&session.starts),
            clock(&session.ends),
            session.filter.clone(),
            session.subs.to_string(),
            format!("{:.0}", session.worth_percent),
            format!("{:.0}", session.moon_up_percent),
            format!("{:.0}", night.done_percent),
        ]
    };
    let rows_of = |night: &ScheduledNight| night.sessions.iter().map(|session| row(night, session)).collect::<Vec<_>>();
    Table { head, rows: schedule.nights.iter().flat_map(rows_of).collect() }
}

/// A local time without its date.
pub(super) fn clock(time: &str) -> String {
    time.split_once('T').map_or_else(|| time.to_owned(), |(_, clock)| clock.to_owned())
}

/// What clouds make of it.
pub(super) fn clouds(schedule: &Schedule) -> String {
    let share = plain(100.0 * schedule.clear_share);
    let by = |done: &crate::plan::DoneBy| {
        let how_often = match done.chance_percent {
            chance if (chance - 50.0).abs() < 1.0 => "half the time".to_owned(),
            chance if (chance - 90.0).abs() < 1.0 => "nine times in ten".to_owned(),
            chance => format!("{} times in a hundred", plain(chance)),
        };
        match (&done.date, done.calendar_nights) {
            (Some(date), Some(1)) => format!("{how_often} on {date}"),
            (Some(date), _) => format!("{how_often} by {date}"),
            _ => format!("{how_often} not within two months"),
        }
    };
    let never = schedule.done_by.iter().all(|done| done.date.is_none());
    let likely: Vec<String> = if never && !schedule.done_by.is_empty() {
        vec!["not within two months, not even half the time".into()]
    } else {
        schedule.done_by.iter().map(by).collect()
    };
    format!(
        "with {share} % of nights clear it is done {}; each night begins with {} min of set-up, {} min of each hour go to \
         refocusing",
        likely.join(", "),
        plain(schedule.setup_min),
        plain(schedule.refocus_min_per_hour),
    )
}

/// So many nights, in words.
pub(super) fn nights(count: u32) -> String {
    if count == 1 { "one night".into() } else { format!("{count} nights") }
}

/// What another beginning or better nights would save, each a sentence.
pub(super) fn better_nights(schedule: &Schedule) -> Vec<String> {
    let mut said = Vec::new();
    if let (Some(start), Some(saves)) = (&schedule.wait_until, schedule.wait_saves_percent)
        && let (Some(time), Some(done)) = (start.wall_clock_s, &start.done_on)
    {
        let saves = if schedule.finished { format!(", which saves {saves:.0} % of the time") } else { String::new() };
        said.push(format!(
            "wait until {}{saves}: {} in {}, done on {done}",
            start.date,
            duration(time),
            nights(start.nights)
        ));
    }
    if let Some(least) = &schedule.least_time {
        said.push(format!(
            "least time: {} in {}, {} to {}, which saves {:.0} %",
            duration(least.wall_clock_s),
            nights(least.nights),
            least.begins_on,
            least.done_on,
            least.saves_percent
        ));
    }
    said
}

/// The plan begun on each evening, a line each.
#[must_use]
pub fn starts_text(starts: &[Start]) -> String {
    let mut text = String::from("\nbegun on      on the clock  likely              nights  done on\n");
    for start in starts {
        let (time, done) = match (start.wall_clock_s, &start.done_on) {
            (Some(time), Some(done)) => (duration(time), done.clone()),
            _ => ("-".into(), "not within two months".into()),
        };
        let likely = start.wall_clock_range_s.map(|range| range.map(duration).join(" to ")).unwrap_or_default();
        text.push_str(&format!("  {}  {time:>12}  {likely:<18}  {:>6}  {done}\n", start.date, start.nights));
    }
    text
}

/// The same as comma-separated values with a row of names (RFC 4180).
#[must_use]
pub fn starts_csv(starts: &[Start]) -> String {
    let mut text = String::from("begun_on,wall_clock_s,nights,done_on,wall_clock_low_s,wall_clock_high_s\r\n");
    for start in starts {
        let seconds = |time: Option<Seconds>| time.map_or_else(String::new, |time| format!("{:.0}", time.0));
        let time = seconds(start.wall_clock_s);
        let [low, high] = [0, 1].map(|end| seconds(start.wall_clock_range_s.map(|range| range[end])));
        let done = start.done_on.clone().unwrap_or_default();
        text.push_str(&format!("{},{time},{},{done},{low},{high}\r\n", start.date, start.nights));
    }
    text
}

/// The schedule as comma-separated values with a row of names (RFC 4180), a line for each night and filter; `None` where
/// the plan has no dates.
#[must_use]
pub fn schedule_csv(plan: &Plan) -> Option<String> {
    let schedule = plan.schedule.as_ref()?;
    let mut text = format!("{COLUMNS}\r\n");
    for night in &schedule.nights {
        for session in &night.sessions {
            let [low, high] = session.target_altitude_deg;
            let cells = [
                night.date.clone(),
                cell(&session.filter),
                session.starts.clone(),
                session.ends.clone(),
                session.starts_utc.clone(),
                session.ends_utc.clone(),
                session.sub_s.0.to_string(),
                session.subs.to_string(),
                session.dither_every_subs.to_string(),
                format!("{:.1}", session.worth_percent),
                format!("{:.0}", session.moon_up_percent),
                format!("{:.0}", night.moon_illuminated_percent),
                format!("{low:.1}"),
                format!("{high:.1}"),
                format!("{:.1}", night.done_percent),
            ];
            text.push_str(&cells.join(","));
            text.push_str("\r\n");
        }
    }
    Some(text)
}

/// A word as a cell: quoted where it must be, and never one that a spreadsheet takes for a formula.
pub(super) fn cell(word: &str) -> String {
    let word = cell_text(word);
    if word.contains([',', '"']) { format!("\"{}\"", word.replace('"', "\"\"")) } else { word }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_a_table_are_quoted_where_they_must_be() {
        let cells = [("red", "red"), ("a,b", "\"a,b\""), ("6\" filter", "\"6\"\" filter\""), ("=1+1", "'=1+1")];
        for (word, written) in cells {
            assert_eq!(cell(word), written);
        }
    }
}
