//! The report of the morning after.

use crate::report::plots::timeline_figure;
use crate::report::review::{dropped_line, dropped_lines, filter_entries, review_line};
use crate::review::Review;

use super::blocks::{caveats, figure, list, numbers, paragraph, rejected, subheading, table_of_words};
use super::methods::{plan_cautions, review_methods};
use super::outline::Report;
use super::page;

/// Last night's lights against the plan as one HTML file.
#[must_use]
pub fn review_page(review: &Review) -> String {
    let left_out = dropped_line(review).unwrap_or_else(|| "every sub is worth keeping".into());
    let mut body = Report::new("The morning after", &format!("{}: {left_out}", review_line(review)));
    body.begin("Why");
    let why = dropped_lines(review);
    if why.is_empty() {
        body.push_str(&paragraph("No sub makes the stack worse than it is without it."));
    } else {
        body.push_str(&list(&why.iter().map(String::as_str).collect::<Vec<_>>()));
    }
    body.push_str(&subheading("for the next night"));
    body.push_str(&list(&review.advice.iter().map(String::as_str).collect::<Vec<_>>()));
    body.begin("Pictures");
    for (i, filter) in review.filters.iter().enumerate() {
        body.push_str(&timeline_figure(&format!("night-{i}"), review, filter).iter().map(figure).collect::<String>());
    }
    body.begin("Numbers");
    for filter in &review.filters {
        body.push_str(&subheading(&filter.name));
        body.push_str(&numbers(&filter_entries(filter)));
    }
    body.begin("Doubts and cautions");
    body.push_str(&caveats(&review.caveats));
    body.push_str(&rejected(&review.left_out));
    body.push_str(&list(plan_cautions()));
    body.begin("How each number was got");
    body.push_str(&table_of_words(&review_methods()));
    page("The morning after", &body)
}
