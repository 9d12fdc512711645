//! The nights of a plan as an iCalendar file (RFC 5545).

use crate::plan::{Plan, ScheduledNight};

use super::schedule::clock;
use super::{acts, duration};

/// A line holds at most so many octets, its end not counted (RFC 5545, 3.1).
const OCTETS: usize = 75;

/// A calendar with an event for each night of the schedule, times in universal time; `None` where the plan has no dates.
///
/// The same plan gives the same file: names and time stamps come from the plan's dates and contents, never from a clock.
/// Where the place is it does not say.
///
/// # Source
/// RFC 5545 (B. Desruisseaux 2009), from memory; read back by an independent library, see `tests/plan/nights.rs`.
#[must_use]
pub fn schedule_icalendar(plan: &Plan, target: &str) -> Option<String> {
    let schedule = plan.schedule.as_ref().filter(|schedule| !schedule.nights.is_empty())?;
    let stamp = schedule.nights.first().map_or_else(String::new, |first| first.date.replace('-', ""));
    let mut lines = vec![
        "BEGIN:VCALENDAR".to_owned(),
        "VERSION:2.0".into(),
        format!("PRODID:-//subwell//plan {}//EN", plan.program),
        "CALSCALE:GREGORIAN".into(),
        "METHOD:PUBLISH".into(),
    ];
    for night in &schedule.nights {
        let summary = format!("{target}: {}", sessions_line(night));
        let description = description(night, schedule.setup_min);
        lines.push("BEGIN:VEVENT".into());
        lines.push(format!("UID:{}-{:016x}@subwell.invalid", night.date.replace('-', ""), fingerprint(&summary)));
        lines.push(format!("DTSTAMP:{stamp}T000000Z"));
        lines.push(format!("DTSTART:{}", stamped(&night.starts_utc)));
        lines.push(format!("DTEND:{}", stamped(&night.ends_utc)));
        lines.push(format!("SUMMARY:{}", escaped(&summary)));
        lines.push(format!("DESCRIPTION:{}", escaped(&description)));
        lines.push("STATUS:TENTATIVE".into());
        lines.push("END:VEVENT".into());
    }
    lines.push("END:VCALENDAR".into());
    Some(lines.iter().map(|line| folded(line)).collect())
}

fn sessions_line(night: &ScheduledNight) -> String {
    let each = night.sessions.iter().map(|s| format!("{} {} × {}", s.filter, s.subs, duration(s.sub_s)));
    each.collect::<Vec<_>>().join(", ")
}

fn description(night: &ScheduledNight, setup_min: f64) -> String {
    let mut lines = vec![format!("set up at {} local time, {setup_min} min", clock(&night.starts))];
    for session in &night.sessions {
        let moon = if session.moon_up_percent > 0.0 { "Moon up" } else { "Moon down" };
        lines.push(format!(
            "{} to {}: {}, {} subs of {}, dither every {}, {moon}",
            clock(&session.starts),
            clock(&session.ends),
            session.filter,
            session.subs,
            duration(session.sub_s),
            session.dither_every_subs
        ));
    }
    lines.push(format!(
        "Moon {:.0} % lit; {:.0} % of the plan done after this night",
        night.moon_illuminated_percent, night.done_percent
    ));
    lines.join("\n")
}

/// `2026-10-12T18:44Z` as `20261012T184400Z`.
fn stamped(utc: &str) -> String {
    let digits: String = utc.chars().filter(|c| !['-', ':', 'Z'].contains(c)).collect();
    format!("{digits}00Z")
}

/// Text as RFC 5545, 3.3.11 wants it; signs that act, such as other line ends, are left out.
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '\\' => out.push_str("\\\\"),
            ';' => out.push_str("\\;"),
            ',' => out.push_str("\\,"),
            '\n' => out.push_str("\\n"),
            c if acts(c) => {}
            c => out.push(c),
        }
    }
    out
}

/// A line broken after at most 75 octets, never within a character, and ended.
fn folded(line: &str) -> String {
    let (mut out, mut octets) = (String::new(), 0);
    for c in line.chars() {
        if octets + c.len_utf8() > OCTETS {
            out.push_str("\r\n ");
            octets = 1;
        }
        out.push(c);
        octets += c.len_utf8();
    }
    out.push_str("\r\n");
    out
}

/// A number that tells one text from another: FNV-1a of 64 bits (Fowler, Noll & Vo; constants from memory).
fn fingerprint(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_folded_between_characters() {
        let text = "DESCRIPTION:".to_owned() + &"ü×".repeat(60);
        let folded = folded(&text);
        assert!(folded.split("\r\n").all(|line| line.len() <= OCTETS) && folded.ends_with("\r\n"));
        assert_eq!(folded.replace("\r\n ", ""), text + "\r\n");
    }

    #[test]
    fn marks_of_the_format_are_escaped() {
        assert_eq!(escaped("a,b;c\\d\ne\r\u{7}\u{2028}f"), "a\\,b\\;c\\\\d\\nef");
    }

    #[test]
    fn the_fingerprint_is_the_published_one() {
        // FNV-1a test vectors of the hash's authors, from memory: "" and "a".
        assert_eq!((fingerprint(""), fingerprint("a")), (0xcbf2_9ce4_8422_2325, 0xaf63_dc4c_8601_ec8c));
    }
}
