//! The report on cooling.

use crate::decide::Cooling;
use crate::report::cooling::{
    against_entries, against_head, cooling_line, read_noise_text, where_entries, year_entries,
};
use crate::report::plots::{cooling_year_figure, split_figure};

use super::blocks::{caveats, figure, list, numbers, paragraph, subheading, table_of_words, unwrapped};
use super::methods::{cooling_cautions, cooling_methods};
use super::outline::Report;
use super::page;

/// Whether a cooled camera is worth it as one HTML file.
#[must_use]
pub fn cooling_page(answer: &Cooling) -> String {
    let mut body = Report::new("Is cooling worth it?", &unwrapped(&cooling_line(answer)));
    body.begin("Why");
    body.push_str(&numbers(&where_entries(answer)));
    body.push_str(&paragraph(&read_noise_text(answer)));
    body.begin("Pictures");
    body.push_str(&figure(&cooling_year_figure("year", answer)));
    body.push_str(&split_figure("split", answer).iter().map(figure).collect::<String>());
    body.begin("Numbers");
    body.push_str(&numbers(&year_entries(answer)));
    body.push_str(&paragraph("The months stand in the table of the year's picture."));
    if let Some(against) = &answer.against {
        body.push_str(&subheading(&against_head(answer, against)));
        body.push_str(&numbers(&against_entries(answer, against)));
    }
    body.begin("Doubts and cautions");
    body.push_str(&caveats(&answer.caveats));
    body.push_str(&list(cooling_cautions()));
    body.begin("How each number was got");
    body.push_str(&table_of_words(&cooling_methods()));
    page(&format!("Cooling the {}", answer.camera), &body)
}
