//! Results as text that fits a terminal of 80 columns, as pictures and as a page of HTML. Reads, never computes.

mod bar;
mod calendar_file;
mod calibration;
mod camera;
mod campaign;
mod checklist;
mod choices;
mod compare;
mod cooling;
mod frames;
mod harmless;
#[cfg(feature = "report")]
mod html;
mod json;
mod number;
mod plan;
mod plan_short;
#[cfg(feature = "report")]
pub mod plots;
mod points;
mod review;
mod schedule;
mod short_set;
mod sky;
mod table;
mod targets;
mod watch;

use std::collections::BTreeMap;

pub use calendar_file::schedule_icalendar;
pub use camera::{camera_line, camera_text, changes_text};
pub use campaign::campaign_text;
pub use checklist::checklist_text;
pub use choices::{choices_csv, choices_text};
pub use compare::comparison_text;
pub use cooling::{cooling_line, cooling_text};
pub use frames::{frames_text, stated_text};
pub use harmless::{acts, harmless};
#[cfg(feature = "report")]
pub use html::{camera_page, choices_page, comparison_page, cooling_page, plan_page, review_page, targets_page};
pub use json::{error_document, json_text, json_value};
pub use number::{duration, rounded, with_uncertainty};
use number::{percent, plain};
pub use plan::{answer_line, plan_text};
pub use plan_short::plan_summary;
pub use points::{photon_transfer_csv, photon_transfer_ecsv};
pub use review::review_text;
pub use schedule::{schedule_csv, starts_csv, starts_text};
pub use sky::sky_text;
pub use table::Table;
pub use targets::{targets_csv, targets_text};
pub use watch::{watch_head, watch_line, watch_summary};

use crate::caveat::{Caveat, Rejected};

/// Width of the page in columns.
const WIDTH: usize = 80;

/// Text broken into lines of at most [`WIDTH`] columns; the first starts at column `start`, the
/// others are indented.
fn wrapped_from(start: usize, text: &str, indent: usize) -> String {
    wrapped_within(WIDTH, start, text, indent)
}

/// The same in lines of at most `width` columns.
fn wrapped_within(width: usize, start: usize, text: &str, indent: usize) -> String {
    let mut out = String::new();
    let mut column = start;
    let mut first = true;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if !first && column + 1 + length > width {
            out.push('\n');
            out.push_str(&" ".repeat(indent));
            column = indent;
        } else if !first {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
        first = false;
    }
    out.push('\n');
    out
}

/// Text broken into lines; lines after the first are indented.
fn wrapped(text: &str, indent: usize) -> String {
    wrapped_from(0, text, indent)
}

/// A paragraph after an empty line, all its lines indented.
fn paragraph(text: &str, indent: usize) -> String {
    format!("\n{:indent$}{}", "", wrapped_from(indent, text, indent))
}

/// A name and its value, the value in a column of its own at `column`.
fn entry(indent: usize, name: &str, column: usize, value: &str) -> String {
    let width = column - indent;
    format!("{:indent$}{name:<width$}{}", "", wrapped_from(column, value, column))
}

/// What went wrong and what helps, for a terminal: broken at spaces into lines of at most 80 columns.
///
/// Every space of the two stays, so that the name of a file can be copied; `\n` begins a new line.
#[must_use]
pub fn failure_text(message: &str, hint: &str) -> String {
    let mut text = String::new();
    for (word, said) in [("error:", message), ("hint:", hint)] {
        if said.is_empty() {
            continue;
        }
        text.push_str(word);
        let mut column = word.len();
        for (i, line) in said.lines().enumerate() {
            if i > 0 {
                text.push_str("\n ");
                column = 1;
            }
            for part in line.split(' ') {
                let length = part.chars().count();
                if column + 1 + length > WIDTH && column > 2 {
                    text.push_str("\n  ");
                    column = 2;
                } else {
                    text.push(' ');
                    column += 1;
                }
                text.push_str(part);
                column += length;
            }
        }
        text.push('\n');
    }
    text
}

/// Caveats as a list, each with what can be done; empty without caveats.
#[must_use]
pub fn caveats_text(caveats: &[Caveat]) -> String {
    let mut text = String::new();
    for caveat in caveats {
        let about = if caveat.about.is_empty() { String::new() } else { format!(" ({})", caveat.about) };
        text.push_str(&wrapped(&format!("! {}{about} [{}]", caveat.message, caveat.code), 2));
        if !caveat.hint.is_empty() {
            text.push_str("  ");
            text.push_str(&wrapped_from(2, &format!("> {}", caveat.hint), 4));
        }
    }
    text
}

/// So many files left out for the same reason are named; of more only the count is given.
const NAMED_FOR_ONE_REASON: usize = 10;

/// Files that were left out, a line each, and of many with the same reason how many more; empty without any.
#[must_use]
pub fn rejected_text(rejected: &[Rejected]) -> String {
    let mut text = String::new();
    let mut more: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for file in rejected {
        let seen = more.entry((&file.reason, &file.code)).or_default();
        *seen += 1;
        if *seen <= NAMED_FOR_ONE_REASON {
            text.push_str(&wrapped(&format!("left out: {}: {} [{}]", file.file, file.reason, file.code), 2));
        }
    }
    for ((reason, code), seen) in more {
        if let Some(more @ 1..) = seen.checked_sub(NAMED_FOR_ONE_REASON) {
            text.push_str(&wrapped(&format!("left out: {more} more: {reason} [{code}]; --json lists them all"), 2));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_many_files_left_out_for_one_reason_ten_are_named_and_the_rest_counted() {
        let file = |number: usize, reason: &str| Rejected {
            file: format!("{number}.txt"),
            code: "not-an-image".into(),
            reason: reason.into(),
        };
        let ten: Vec<Rejected> = (0..10).map(|number| file(number, "text")).collect();
        assert_eq!(rejected_text(&ten).lines().count(), 10);
        let many: Vec<Rejected> = (0..500).map(|number| file(number, "text")).chain([file(500, "empty")]).collect();
        let said = rejected_text(&many);
        assert_eq!(said.lines().count(), 12, "{said}");
        assert!(said.contains("490 more: text") && said.contains("500.txt: empty"), "{said}");
    }

    #[test]
    fn a_failure_fits_the_terminal_and_keeps_every_word_and_space() {
        let message =
            format!("{}my  frames of October.fits: not an image {}", "many words ".repeat(9), "x".repeat(100));
        let said = failure_text(&message, "take it away\nor give another");
        let (error, hint) = said.split_once("hint:").unwrap();
        assert_eq!(hint, " take it away\n  or give another\n");
        assert!(error.lines().all(|line| line.chars().count() <= WIDTH || line.contains("xxx")), "{said}");
        assert!(error.lines().skip(1).all(|line| line.starts_with("  ")), "{said}");
        assert_eq!(error.trim_end().replace("\n  ", " "), format!("error: {message}"));
        assert_eq!(failure_text("short", ""), "error: short\n");
    }

    #[test]
    fn long_lines_are_broken_and_indented() {
        let text = wrapped(&"word ".repeat(40), 2);
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
        assert!(text.lines().nth(1).unwrap().starts_with("  word"));
    }
}
