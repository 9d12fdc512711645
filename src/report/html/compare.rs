//! The report of a comparison.

use crate::decide::Comparison;
use crate::report::compare::{
    PURCHASE, comparison_entries, comparison_line, noise_entries, purchase_entries, sky_text, travel_text,
};
use crate::report::plots::factors_figure;

use super::blocks::{caveats, figure, list, numbers, paragraph, subheading, table_of_words, unwrapped};
use super::methods::{compare_methods, plan_cautions};
use super::outline::Report;
use super::page;

/// Two nights side by side as one HTML file.
#[must_use]
pub fn comparison_page(answer: &Comparison) -> String {
    let mut body = Report::new("Two nights side by side", &unwrapped(&comparison_line(answer)));
    body.begin("Why");
    for text in [sky_text(answer), travel_text(answer)].iter().filter(|text| !text.is_empty()) {
        body.push_str(&paragraph(text));
    }
    body.push_str(&subheading("noise from"));
    body.push_str(&numbers(&noise_entries(answer)));
    body.begin("Pictures");
    match factors_figure("factors", answer) {
        Some(found) => body.push_str(&figure(&found)),
        None => body.push_str(&paragraph("Nothing that counts differs: there is nothing to draw.")),
    }
    body.begin("Numbers");
    body.push_str(&numbers(&comparison_entries(answer)));
    if !answer.filter_purchase.is_empty() {
        body.push_str(&subheading(PURCHASE));
        body.push_str(&numbers(&purchase_entries(answer)));
    }
    body.begin("Doubts and cautions");
    body.push_str(&caveats(&answer.caveats));
    body.push_str(&list(plan_cautions()));
    body.begin("How each number was got");
    body.push_str(&table_of_words(&compare_methods()));
    page("Two nights side by side", &body)
}
