//! The reports of what to choose: changes, and targets.

use crate::decide::{Choices, Targets, WithinReach};
use crate::report::choices::choices_line;
use crate::report::duration;
use crate::report::plots::{choices_figure, targets_figure};
use crate::report::targets::{by_reason, targets_line};

use super::blocks::{caveats, figure, list, numbers, paragraph, table_of_words, unwrapped};
use super::methods::{choices_methods, plan_cautions};
use super::outline::Report;
use super::page;

/// The single changes by what they save, as one HTML file.
#[must_use]
pub fn choices_page(answer: &Choices) -> String {
    let mut body = Report::new("What to change", &unwrapped(&choices_line(answer)));
    body.begin("Pictures");
    match choices_figure("choices", answer) {
        Some(found) => body.push_str(&figure(&found)),
        None if answer.within_reach.is_empty() => body.push_str(&paragraph("No change could be weighed.")),
        None => {
            let row = |change: &WithinReach| (change.name.clone(), duration(change.wall_clock_s));
            body.begin("Within reach it comes with each of these alone");
            body.push_str(&numbers(&answer.within_reach.iter().map(row).collect::<Vec<_>>()));
        }
    }
    let cautions = answer.choices.iter().filter_map(|choice| Some((&choice.name, choice.caution.as_ref()?)));
    for (name, caution) in cautions {
        body.push_str(&paragraph(&format!("Caution, {name}: {caution}.")));
    }
    for missing in &answer.not_weighed {
        body.push_str(&paragraph(&format!("{}: {}.", missing.name, missing.why)));
    }
    ending(&mut body, &answer.caveats);
    page("What to change", &body)
}

/// The targets in reach, as one HTML file.
#[must_use]
pub fn targets_page(answer: &Targets) -> String {
    let mut body = Report::new("Targets in reach", &unwrapped(&targets_line(answer)));
    body.begin("Pictures");
    match targets_figure("targets", answer) {
        Some(found) => body.push_str(&figure(&found)),
        None => body.push_str(&paragraph("No target of the list is in reach.")),
    }
    if !answer.out_of_reach.is_empty() {
        body.begin("Out of reach");
        for (why, names) in by_reason(answer) {
            body.push_str(&paragraph(&format!("{why}: {}.", names.join(", "))));
        }
    }
    ending(&mut body, &answer.caveats);
    page("Targets in reach", &body)
}

fn ending(body: &mut Report, doubts: &[crate::caveat::Caveat]) {
    body.begin("Doubts and cautions");
    body.push_str(&caveats(doubts));
    body.push_str(&list(plan_cautions()));
    body.begin("How each number was got");
    body.push_str(&table_of_words(&choices_methods()));
}
