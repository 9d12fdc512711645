//! Pictures of what to choose: changes by the hours they save, targets by the hours they take, evenings to begin on.

use crate::decide::{Choices, Targets};
use crate::plan::Start;
use crate::report::Table;
use crate::report::choices::choices_table;
use crate::report::rounded;
use crate::report::targets::targets_table;

use super::axis::Axis;
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Bar, Panel, Series, Shape};

/// So many bars are drawn; the table has all.
const MOST_BARS: usize = 24;
/// Height of a bar with its words, and what is above and below them.
const BAR: i32 = 34;
const AROUND: i32 = 74;
const SECONDS: f64 = 3600.0;
/// Signs above a bar.
const MOST_SIGNS: usize = 44;

/// What each change saves in a year, the largest first; `None` where there are none.
#[must_use]
pub fn choices_figure(id: &str, answer: &Choices) -> Option<Figure> {
    let shown = || answer.choices.iter().take(MOST_BARS);
    let bars: Vec<Bar> = shown()
        .map(|choice| Bar {
            from: 0.0,
            to: choice.hours_saved_per_year,
            words: in_short(&choice.name, &format!("{} h", rounded(choice.hours_saved_per_year, 2))),
            beside: String::new(),
        })
        .collect();
    let x = Axis::even(bars.iter().map(|bar| bar.to).chain([0.0, answer.imaging_hours_per_year]), 0.02);
    let description = format!(
        "Of {} h in a year, what each change alone saves for the same pictures. A bar to the left costs hours.",
        rounded(answer.imaging_hours_per_year, 3)
    );
    let title = "What each change saves in a year".to_owned();
    barred(id, [title, description], (x, "hours saved in a year"), bars, choices_table(answer))
}

/// What the targets take, the quickest first; `None` where none is in reach.
#[must_use]
pub fn targets_figure(id: &str, answer: &Targets) -> Option<Figure> {
    let shown = || answer.targets.iter().take(MOST_BARS);
    let hours = |seconds: f64| seconds / SECONDS;
    let bars: Vec<Bar> = shown()
        .map(|target| Bar {
            from: hours(target.wall_clock_range_s[0].0),
            to: hours(target.wall_clock_range_s[1].0),
            words: in_short(
                &target.name,
                &format!("{} h, {}", rounded(hours(target.wall_clock_s.0), 2), target.filter),
            ),
            beside: String::new(),
        })
        .collect();
    let x = Axis::logarithmic(bars.iter().flat_map(|bar| [bar.from, bar.to]), 1.1);
    let description = format!(
        "Hours for SNR {} in the quickest filter, as ranges; the {} quickest of {} targets.",
        rounded(answer.snr, 3),
        bars.len(),
        answer.targets.len()
    );
    barred(id, ["Targets by the hours they take".into(), description], (x, "hours"), bars, targets_table(answer))
}

/// A name, cut off where it leaves no room for the number behind it.
fn in_short(name: &str, number: &str) -> String {
    let room = MOST_SIGNS.saturating_sub(number.chars().count());
    let cut: String = name.chars().take(room).collect();
    let name = if cut.len() < name.len() { format!("{}…", cut.trim_end()) } else { cut };
    format!("{number}: {name}")
}

fn barred(
    id: &str,
    [title, description]: [String; 2],
    (x, name): (Axis, &'static str),
    bars: Vec<Bar>,
    table: Table,
) -> Option<Figure> {
    if bars.is_empty() {
        return None;
    }
    let height = AROUND + BAR * bars.len() as i32;
    let mut panel = Panel::new(x, Axis::bare(bars.len() as f64), (name, ""), height);
    panel.bars = bars;
    Some(Figure::new(id.into(), title, description, &[panel], table))
}

/// What the plan takes when it is begun on each evening of four weeks; `None` where none of them finishes it.
#[must_use]
pub fn starts_figure(id: &str, starts: &[Start]) -> Option<Figure> {
    let evenings = starts.iter().enumerate();
    let hours: Vec<(f64, f64)> =
        evenings.filter_map(|(evening, start)| Some((evening as f64, start.wall_clock_s?.0 / SECONDS))).collect();
    let least = hours.iter().copied().reduce(|best, point| if point.1 < best.1 { point } else { best })?;
    let begun = |evening: f64| starts.get(evening as usize).map_or("", |start| start.date.as_str());
    let x = Axis::even([0.0, starts.len() as f64 - 1.0], 0.02);
    let y = Axis::even(hours.iter().map(|point| point.1).chain([0.0]), 0.05);
    let mut panel = Panel::new(x, y, ("evenings from the first one on", "hours on the clock"), 240);
    panel.series = vec![
        Series::new(Pen::Curve, Shape::Line, hours.clone()),
        Series::new(Pen::Used, Shape::Points, hours.clone()),
        Series::new(Pen::Chosen, Shape::Diamonds, vec![least]),
    ];
    let description = format!(
        "The same plan begun on each evening from {} on: it takes least when begun on {}, {} h.",
        begun(0.0),
        begun(least.0),
        rounded(least.1, 3)
    );
    let row = |start: &Start| {
        let hours = start.wall_clock_s.map_or_else(|| "–".into(), |time| rounded(time.0 / SECONDS, 3));
        vec![start.date.clone(), hours, start.nights.to_string(), start.done_on.clone().unwrap_or_else(|| "–".into())]
    };
    let head = ["begun on", "hours", "nights", "done on"].map(str::to_owned).into();
    let table = Table { head, rows: starts.iter().map(row).collect() };
    let figure = Figure::new(id.into(), "When to begin".into(), description, &[panel], table)
        .with_key(Pen::Used, Shape::Points, "begun on this evening")
        .with_key(Pen::Chosen, Shape::Diamonds, "the least time");
    Some(figure)
}
