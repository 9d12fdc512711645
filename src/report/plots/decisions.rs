//! Pictures of decisions: the year of cooling, and the factors between two nights.

use crate::decide::{Comparison, Cooling, MonthOfCooling};
use crate::report::Table;
use crate::report::rounded;

use super::axis::{Axis, MONTHS};
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Bar, Mark, Panel, Series, Shape};

/// Digits in a table.
const DIGITS: usize = 4;
/// From this ratio on the axis is logarithmic.
const STEEP: f64 = 3.0;
/// The end of an interval is drawn as far as this factor beyond its value.
const FAR: f64 = 6.0;
/// The largest ratio that is drawn: beyond it nobody would go without cooling.
const MOST_RATIO: f64 = 20.0;

fn said(value: f64) -> String {
    rounded(value, DIGITS)
}

fn words(list: &[&str]) -> Vec<String> {
    list.iter().map(|word| (*word).to_owned()).collect()
}

/// What a band of months is drawn from: its lower and its upper end.
fn region(months: &[MonthOfCooling], ends: impl Fn(&MonthOfCooling) -> [f64; 2], y: &Axis) -> Vec<(f64, f64)> {
    let at = |month: &MonthOfCooling, end: usize| (f64::from(month.month), ends(month)[end].clamp(y.low(), y.high()));
    months.iter().map(|month| at(month, 0)).chain(months.iter().rev().map(|month| at(month, 1))).collect()
}

/// The year: dark current with and without cooling, and below it the ratio of hours with the thresholds of the verdict.
#[must_use]
pub fn cooling_year_figure(id: &str, answer: &Cooling) -> Figure {
    let ratios: Vec<(f64, f64)> = (answer.months.iter())
        .filter_map(|month| Some((f64::from(month.month), month.time_ratio?)))
        .filter(|(_, ratio)| *ratio <= MOST_RATIO)
        .collect();
    let panels = [dark_current_panel(&answer.months), ratio_panel(&ratios, answer.thresholds_time_ratio)];
    let undrawn = if ratios.len() < answer.months.len() {
        format!(" Months with a ratio above {MOST_RATIO}, or without an end, stand in the table alone.")
    } else {
        String::new()
    };
    let description = format!("Twelve months without and with cooling.{}{undrawn}", span_of(&ratios));
    let title = format!("The year of the {}, with and without cooling", answer.camera);
    Figure::new(id.into(), title, description, &panels, months_table(&answer.months))
        .with_key(Pen::Used, Shape::Points, "without cooling (dashed)")
        .with_key(Pen::Unused, Shape::Points, "cooled")
        .with_key(Pen::Band, Shape::Line, "95 % of what is known of the dark current")
        .with_key(Pen::Chosen, Shape::Diamonds, "ratio of hours for the same signal over noise")
        .with_key(Pen::Limit, Shape::Line, "where a verdict begins")
}

/// Dark current over the months, without and with cooling.
fn dark_current_panel(months: &[MonthOfCooling]) -> Panel {
    let over_year = |rate: &dyn Fn(&MonthOfCooling) -> f64| -> Vec<(f64, f64)> {
        months.iter().map(|month| (f64::from(month.month), rate(month))).collect()
    };
    let bare = over_year(&|month| month.uncooled_dark_e_per_s);
    let cooled = over_year(&|month| month.cooled_dark_e_per_s);
    let ends = |rate: f64, [low, high]: [f64; 2]| [low.max(rate / FAR), high.min(rate * FAR)];
    let shown = months.iter().flat_map(|month| {
        let bare = ends(month.uncooled_dark_e_per_s, month.uncooled_dark_interval_e_per_s);
        [bare, ends(month.cooled_dark_e_per_s, month.cooled_dark_interval_e_per_s)].concat()
    });
    let y = Axis::logarithmic(shown, 1.15);
    let names = ("month", "dark current in e⁻/s per pixel");
    let mut panel = Panel::new(Axis::months(), y.clone(), names, 240);
    panel.regions = vec![
        region(months, |month| month.uncooled_dark_interval_e_per_s, &y),
        region(months, |month| month.cooled_dark_interval_e_per_s, &y),
    ];
    panel.series = vec![
        Series::new(Pen::Second, Shape::Line, bare.clone()),
        Series::new(Pen::Used, Shape::Points, bare),
        Series::new(Pen::Curve, Shape::Line, cooled.clone()),
        Series::new(Pen::Unused, Shape::Points, cooled),
    ];
    panel
}

/// The ratio of hours over the months, with the verdicts' thresholds.
fn ratio_panel(ratios: &[(f64, f64)], thresholds: [f64; 3]) -> Panel {
    let shown = || ratios.iter().map(|point| point.1).chain(thresholds).chain([1.0]);
    let steep = shown().any(|ratio| ratio > STEEP);
    let y = if steep { Axis::logarithmic(shown(), 1.1) } else { Axis::even(shown(), 0.08) };
    let mut panel = Panel::new(Axis::months(), y, ("month", "hours without cooling ÷ with it"), 220);
    let level = |(at, verdict): (f64, &str)| Mark { pen: Pen::Limit, at, words: format!("{verdict}: from {at}") };
    panel.levels = thresholds.into_iter().zip(["marginal", "worth it", "clearly worth it"]).map(level).collect();
    panel.series.push(Series::new(Pen::Curve, Shape::Line, ratios.to_vec()));
    panel.series.push(Series::new(Pen::Chosen, Shape::Diamonds, ratios.to_vec()));
    panel
}

fn months_table(months: &[MonthOfCooling]) -> Table {
    let share = |percent: Option<f64>| percent.map_or_else(|| "–".into(), |share| format!("{share:.1}"));
    let row = |(month, name): (&MonthOfCooling, &str)| {
        vec![
            name.into(),
            format!("{:.1}", month.ambient_c),
            month.dark_hours_per_night.map_or_else(|| "?".into(), |hours| format!("{hours:.1}")),
            format!("{:.1}", month.uncooled_sensor_c),
            format!("{:.1}", month.cooled_sensor_c),
            said(month.uncooled_dark_e_per_s),
            said(month.cooled_dark_e_per_s),
            share(month.uncooled_dark_share_percent),
            share(month.cooled_dark_share_percent),
            month.time_ratio.map_or_else(|| "never".into(), said),
        ]
    };
    let head = words(&[
        "month",
        "night air in °C",
        "dark hours",
        "sensor without in °C",
        "cooled in °C",
        "dark current without in e⁻/s",
        "cooled in e⁻/s",
        "its share of the variance without in %",
        "cooled in %",
        "ratio of hours",
    ]);
    Table { head, rows: months.iter().zip(MONTHS).map(row).collect() }
}

/// Between which months the ratio of hours lies, as a sentence.
fn span_of(ratios: &[(f64, f64)]) -> String {
    let extreme = |better: fn(f64, f64) -> bool| {
        ratios.iter().copied().reduce(|best, point| if better(point.1, best.1) { point } else { best })
    };
    let name = |point: (f64, f64)| {
        format!("{} in {}", rounded(point.1, 3), MONTHS.get(point.0 as usize - 1).unwrap_or(&"the year"))
    };
    match (extreme(|a, b| a > b), extreme(|a, b| a < b)) {
        (Some(most), Some(least)) => format!(" The ratio of hours lies between {} and {}.", name(least), name(most)),
        _ => " Without cooling no number of hours is enough.".into(),
    }
}

/// Factors as bars on a logarithmic scale, each from where the one above it ends; the last is the whole.
///
/// `None` without factors.
fn chain_figure(id: &str, factors: &[(String, f64)], whole: f64, texts: [String; 2]) -> Option<Figure> {
    if factors.is_empty() || factors.iter().any(|(_, factor)| !(factor.is_finite() && *factor > 0.0)) {
        return None;
    }
    let mut at = 1.0;
    let mut bars: Vec<Bar> = factors
        .iter()
        .map(|(name, factor)| {
            let from = at;
            at *= factor;
            Bar { from, to: at, words: format!("{name} × {}", rounded(*factor, 3)), beside: String::new() }
        })
        .collect();
    bars.push(Bar { from: 1.0, to: whole, words: format!("together {}", rounded(whole, 3)), beside: String::new() });
    let x = Axis::logarithmic(bars.iter().flat_map(|bar| [bar.from, bar.to]).chain([1.0 / 1.3, 1.3]), 1.15);
    let height = 74 + 34 * bars.len() as i32;
    let y = Axis::bare(bars.len() as f64);
    let mut panel =
        Panel::new(x, y.clone(), ("ratio of hours, above 1 the second is quicker", "factor by factor"), height);
    panel.series.push(Series::new(Pen::Thumb, Shape::Line, vec![(1.0, y.low()), (1.0, y.high())]));
    let mut rows: Vec<Vec<String>> = factors
        .iter()
        .zip(&bars)
        .map(|((name, factor), bar)| vec![name.clone(), said(*factor), said(bar.from), said(bar.to)])
        .collect();
    rows.push(vec!["together".into(), said(whole), "1".into(), said(whole)]);
    panel.bars = bars;
    let head = words(&["why", "factor", "bar from", "bar to"]);
    let [title, description] = texts;
    Some(
        Figure::new(id.into(), title, description, &[panel], Table { head, rows })
            .with_key(Pen::Bar, Shape::Line, "a factor, from where the one above it ends")
            .with_key(Pen::Thumb, Shape::Line, "1: no difference"),
    )
}

/// What the ratio of hours between two nights is made of; `None` where nothing that counts differs.
#[must_use]
pub fn factors_figure(id: &str, answer: &Comparison) -> Option<Figure> {
    let factors: Vec<(String, f64)> = answer.factors.iter().map(|factor| (factor.name.clone(), factor.ratio)).collect();
    let [a, b] = &answer.names;
    let description = format!(
        "{} factors multiply to {}, the hours of {a} over those of {b}. A bar to the right speaks for {b}, one to the left for {a}.",
        factors.len(),
        rounded(answer.hours_ratio.value, 3)
    );
    chain_figure(id, &factors, answer.hours_ratio.value, ["Why the hours differ".into(), description])
}

/// What the ratio of hours between the own camera and another is made of; `None` without another camera.
#[must_use]
pub fn split_figure(id: &str, answer: &Cooling) -> Option<Figure> {
    let (against, split) = (answer.against.as_ref()?, &answer.split);
    let factors: Vec<(String, f64)> = [
        ("temperature", against.cooling_by_temperature),
        ("the sensor's own dark current", against.cooling_by_sensor),
        ("read noise", split.read_noise),
        ("quantum efficiency", split.quantum_efficiency),
        ("infrared cut", split.infrared_cut),
        ("pixel", split.pixel),
        ("colour array", split.sampling),
    ]
    .map(|(name, factor)| (name.to_owned(), factor))
    .to_vec();
    let description = format!(
        "The factors multiply to {}: the year's hours with the {} over those with the {}. A bar to the right speaks for the second.",
        rounded(against.time_ratio, 3),
        answer.camera,
        against.camera
    );
    chain_figure(id, &factors, against.time_ratio, ["What of the other camera's hours is cooling".into(), description])
}
