//! The changes that a person could make, by what each saves, as text and as a table for other programs.

use crate::decide::{Choice, Choices};
use crate::stats::Estimate;
use crate::units::Seconds;

#[cfg(feature = "report")]
use super::Table;
use super::schedule::cell;
use super::{caveats_text, duration, entry, paragraph, plain, rounded, wrapped, wrapped_within};

/// A change that moves the hours by less than this share helps nothing.
const NOTHING: f64 = 0.03;
/// Columns for what is done.
const NAME_WIDTH: usize = 40;

/// The answer in a line: what saves most.
pub(super) fn choices_line(answer: &Choices) -> String {
    let year = rounded(answer.imaging_hours_per_year, 3);
    if let Some(why) = &answer.out_of_reach {
        let first = answer.within_reach.first();
        let brought = first.map_or_else(
            || "no single change brings it within".to_owned(),
            |first| format!("{} brings it within: {}", first.name, duration(first.wall_clock_s)),
        );
        return wrapped(&format!("the goal is out of reach, and {brought}; as things are, {why}"), 2);
    }
    match answer.choices.first().filter(|choice| !helps_nothing(choice) && choice.hours_saved_per_year > 0.0) {
        Some(best) => wrapped(
            &format!("what saves most: {}, {} of {year} h in a year", best.name, hours(best.hours_saved_per_year)),
            2,
        ),
        None => format!("no single change saves anything of the {year} h in a year\n"),
    }
}

/// The whole answer of `choices`.
#[must_use]
pub fn choices_text(answer: &Choices) -> String {
    let mut text = choices_line(answer);
    let Some(wall_clock) = answer.wall_clock_s else {
        text.push_str("\nwithin reach it comes with each of these alone\n");
        for change in &answer.within_reach {
            text.push_str(&entry(2, &duration(change.wall_clock_s), 12, &change.name));
        }
        text.push_str(&caveats_text(&answer.caveats));
        return text;
    };
    text.push_str(&paragraph(
        &format!(
            "As things are the picture takes {} for SNR {} with the {}. Each change alone, for the same picture; hours of a \
             target that takes nights:",
            duration(wall_clock),
            rounded(answer.snr, 3),
            answer.camera
        ),
        0,
    ));
    text.push_str(&format!("\n{:NAME_WIDTH$}  {:>9}  {}\n", "", "quicker", "saves in a year"));
    let (idle, others): (Vec<&Choice>, Vec<&Choice>) = answer.choices.iter().partition(|choice| helps_nothing(choice));
    others.iter().for_each(|choice| text.push_str(&row(choice)));
    if !idle.is_empty() {
        let names: Vec<String> = idle.iter().map(|choice| format!("{} ({})", choice.name, percent(choice))).collect();
        text.push_str(&paragraph(&format!("helps nothing: {}", names.join("; ")), 0));
    }
    for missing in &answer.not_weighed {
        text.push_str(&paragraph(&format!("{}: {}", missing.name, missing.why), 0));
    }
    text.push_str(&roads(answer));
    if answer.choices.iter().any(|choice| choice.word == "filter") {
        let said = "Another filter shows another picture: its hours are those for the same SNR in what it passes. In a picture in \
                    colour the slowest colour sets the hours.";
        text.push_str(&paragraph(said, 0));
    }
    for choice in &answer.choices {
        if let Some(caution) = &choice.caution {
            text.push_str(&paragraph(&format!("caution, {}: {caution}", choice.name), 0));
        }
    }
    text.push_str(&caveats_text(&answer.caveats));
    text
}

fn helps_nothing(choice: &Choice) -> bool {
    (choice.hours_ratio_of_year.value - 1.0).abs() < NOTHING && choice.travel_h == 0.0
}

/// `1.3 %`: what it moves.
fn percent(choice: &Choice) -> String {
    format!("{} %", rounded(100.0 * (1.0 - 1.0 / choice.hours_ratio_of_year.value), 1))
}

fn hours(value: f64) -> String {
    rounded(value, if value.abs() < 10.0 { 2 } else { 3 })
}

/// `2.3 ×`.
fn times(ratio: &Estimate<f64>) -> String {
    let near_1 = (0.8..1.2).contains(&ratio.value) || ratio.value >= 10.0;
    format!("{} ×", rounded(ratio.value, if near_1 { 3 } else { 2 }))
}

fn row(choice: &Choice) -> String {
    let [low, high] = choice.hours_saved_interval_95;
    let saved = hours(choice.hours_saved_per_year);
    let range = if hours(low) == hours(high) { String::new() } else { format!(" ({} to {})", hours(low), hours(high)) };
    let price = choice.price.map(|price| {
        let each = choice.hours_saved_per_price.filter(|per| *per > 0.0);
        let each = each.map_or_else(String::new, |per| format!(", {} for each hour", rounded(1.0 / per, 2)));
        format!("price {}{each}", plain(price))
    });
    let road = (choice.travel_h > 0.0).then(|| format!("{} h on the road", plain(choice.travel_h)));
    let name = wrapped_within(NAME_WIDTH, 0, &choice.name, 2);
    let last = name.lines().last().unwrap_or_default();
    let mut text = name[..name.len() - last.len() - 1].to_owned();
    text.push_str(&format!("{last:NAME_WIDTH$}  {:>9}  {saved} h{range}\n", times(&choice.hours_ratio_of_year)));
    let more: Vec<String> = road.into_iter().chain(price).collect();
    if !more.is_empty() {
        text.push_str(&format!("    {}\n", more.join(", ")));
    }
    text
}

/// How long a drive may be where none is given.
fn roads(answer: &Choices) -> String {
    let site = answer.choices.iter().find(|choice| choice.word == "darker-site" && choice.travel_h == 0.0);
    let Some(road) = site.and_then(|site| site.break_even_travel_h) else { return String::new() };
    let said = format!(
        "the darker site: of a clear night of {} a drive of {}, there and back, eats what it gains; a shorter one pays",
        duration(Seconds(answer.clear_hours_per_night * 3600.0)),
        duration(Seconds(road * 3600.0))
    );
    paragraph(&said, 0)
}

/// The same as comma-separated values with a row of names (RFC 4180).
#[must_use]
pub fn choices_csv(answer: &Choices) -> String {
    let mut text = String::from(
        "word,name,hours_ratio,hours_ratio_uncertainty,wall_clock_s,hours_saved_per_year,hours_saved_low,hours_saved_high,\
         travel_h,price,hours_saved_per_price,verdict,hours_ratio_of_year\r\n",
    );
    for choice in &answer.choices {
        let [low, high] = choice.hours_saved_interval_95;
        let optional = |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value}"));
        let cells = [
            cell(&choice.word),
            cell(&choice.name),
            format!("{:.4}", choice.hours_ratio.value),
            format!("{:.4}", choice.hours_ratio.uncertainty),
            format!("{:.0}", choice.wall_clock_s.0),
            format!("{:.2}", choice.hours_saved_per_year),
            format!("{low:.2}"),
            format!("{high:.2}"),
            format!("{}", choice.travel_h),
            optional(choice.price),
            choice.hours_saved_per_price.map_or_else(String::new, |per| format!("{per:.6}")),
            choice.verdict.words().to_owned(),
            format!("{:.4}", choice.hours_ratio_of_year.value),
        ];
        text.push_str(&format!("{}\r\n", cells.join(",")));
    }
    text
}

/// The rows of the page's table.
#[cfg(feature = "report")]
pub(super) fn choices_table(answer: &Choices) -> Table {
    let head = ["change", "times quicker", "saves in a year, h", "from", "to", "verdict"].map(str::to_owned).into();
    let row = |choice: &Choice| {
        let [low, high] = choice.hours_saved_interval_95;
        vec![
            choice.name.clone(),
            super::with_uncertainty(&choice.hours_ratio_of_year),
            hours(choice.hours_saved_per_year),
            hours(low),
            hours(high),
            choice.verdict.words().to_owned(),
        ]
    };
    Table { head, rows: answer.choices.iter().map(row).collect() }
}
