//! Pictures of a camera's darks: how many pixels have which rate, and where.

use crate::camera::{DarkCurrentPoint, DarkCurrentSource, DarkPicture, Mode, Plane};
use crate::report::Table;
use crate::report::{duration, rounded, with_uncertainty};

use super::axis::Axis;
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Cell, Mark, Panel, Series, Shape};

/// Digits in a table.
const DIGITS: usize = 4;
/// A hot pixel has more than so many times the median rate.
const HOT: f64 = 10.0;
/// A part that stands so far of the range from the middle one has all ink or none: one hot corner hides nothing else.
const WIDE: f64 = 4.0;
/// All ink stands at least this share of the middle part's rate above it, and none below: chance alone is no pattern.
const NARROW: f64 = 0.5;
/// Width of a map in units; its height follows the sensor's within these bounds.
const MAP: (f64, f64, f64) = (290.0, 60.0, 330.0);
/// Height of the axes of a map, and of a profile with its own.
const AROUND: i32 = 70;
const PROFILE: i32 = 150;

fn said(value: f64) -> String {
    rounded(value, DIGITS)
}

/// The darks whose median pixel has most electrons: what is seldom stands out of the noise there.
fn brightest(plane: &Plane) -> Option<&DarkPicture> {
    let electrons = |dark: &DarkPicture| dark.median_e_per_s.0 * dark.exposure_s.0;
    plane.dark_pictures.iter().max_by(|a, b| electrons(a).total_cmp(&electrons(b)))
}

/// The longest darks, of alike ones those that come first, the coldest: glow does not cool away.
fn longest(plane: &Plane) -> Option<&DarkPicture> {
    plane.dark_pictures.iter().rev().max_by(|a, b| a.exposure_s.0.total_cmp(&b.exposure_s.0))
}

/// The dark current at the temperature of the darks.
fn point<'a>(plane: &'a Plane, dark: &DarkPicture) -> Option<&'a DarkCurrentPoint> {
    plane.dark_current.iter().find(|point| point.sensor_c == dark.sensor_c)
}

/// Whether the camera holds the level of its darks: then a pixel's own rate is not to be seen.
fn is_pinned(plane: &Plane, dark: &DarkPicture) -> bool {
    point(plane, dark).is_some_and(|point| point.from == DarkCurrentSource::Variance)
}

/// What the darks are, in words.
fn source(plane: &Plane, dark: &DarkPicture) -> String {
    let at = dark.sensor_c.map_or_else(String::new, |celsius| format!(" at {:.0} °C", celsius.0));
    let (frames, many) = (dark.frames, if dark.frames == 1 { "dark" } else { "darks" });
    let pinned = if is_pinned(plane, dark) { "; the camera holds that level, only differences count" } else { "" };
    format!("{frames} {many} of {}{at}, their mean less the bias level{pinned}", duration(dark.exposure_s))
}

/// Pixels by their dark current, both axes logarithmic; `None` where the longest darks are not at hand, the median pixel
/// shows none, or the camera holds its dark level.
#[must_use]
pub fn dark_histogram_figure(id: &str, mode: &Mode, plane: &Plane) -> Option<Figure> {
    let dark = brightest(plane).filter(|dark| !is_pinned(plane, dark))?;
    let (first, last) = (dark.bins.first()?, dark.bins.last()?);
    let median = dark.median_e_per_s.0;
    let most = dark.bins.iter().map(|bin| bin.pixels).max()? as f64;
    let x = Axis::logarithmic([first.from_e_per_s, last.to_e_per_s.max(1.2 * HOT * median)], 1.0);
    let y = Axis::logarithmic([0.7, most], 1.4);
    // A bin without pixels stands on the axis.
    let height = |pixels: u64| (pixels as f64).max(y.low());
    let steps: Vec<(f64, f64)> = dark
        .bins
        .iter()
        .flat_map(|bin| [bin.from_e_per_s, bin.to_e_per_s].map(|rate| (rate, height(bin.pixels))))
        .collect();
    let ends = [(last.to_e_per_s, y.low()), (first.from_e_per_s, y.low())];
    let mut panel = Panel::new(x, y.clone(), ("dark current in e⁻/s per pixel", "pixels"), 250);
    panel.regions = vec![steps.iter().copied().chain(ends).collect()];
    panel.series = vec![Series::new(Pen::Curve, Shape::Line, steps)];
    panel.marks = [(median, "median"), (HOT * median, "ten times that")]
        .map(|(at, words)| Mark { pen: Pen::Floor, at, words: format!("{words} {}", rounded(at, 3)) })
        .to_vec();
    let mut rows = vec![vec!["below".into(), "–".into(), said(first.from_e_per_s), dark.pixels_below.to_string()]];
    rows.extend(
        dark.bins
            .iter()
            .map(|bin| vec!["bin".into(), said(bin.from_e_per_s), said(bin.to_e_per_s), bin.pixels.to_string()]),
    );
    let head = ["what", "from e⁻/s", "to e⁻/s", "pixels"].map(String::from).to_vec();
    let share = |pixels: u64| rounded(100.0 * pixels as f64 / dark.pixels() as f64, 2);
    // A hair below: an edge lies at ten medians, to the last digit but one.
    let beyond = dark.bins.iter().filter(|bin| bin.from_e_per_s > 0.999 * HOT * median).map(|bin| bin.pixels).sum();
    let hot = point(plane, dark)?.hot_pixel_fraction;
    let hot = hot.map_or_else(String::new, |hot| {
        format!(" {} % are hot: they also stand out of their own noise by five sigmas.", rounded(100.0 * hot, 2))
    });
    let below = match dark.pixels_below {
        0 => String::new(),
        pixels => {
            format!(" {} % have less than the axis shows: read noise widens what lies about the median.", share(pixels))
        }
    };
    let description = format!(
        "{}. The median pixel has {} e⁻/s; {} % of the {} pixels have more than {} e⁻/s, ten times that.{hot}{below}",
        source(plane, dark),
        rounded(median, 3),
        share(beyond),
        dark.pixels(),
        rounded(HOT * median, 3)
    );
    let title = format!("Pixels by their dark current, {}, plane {}", mode.label(), plane.plane);
    Some(Figure::new(id.into(), title, description, &[panel], Table { head, rows }))
}

/// Where the dark current is: the sensor in parts, each with its middle pixels; `None` where the longest darks are not at hand.
#[must_use]
pub fn dark_map_figure(id: &str, mode: &Mode, plane: &Plane) -> Option<Figure> {
    let dark = longest(plane)?;
    let parts = &dark.parts_e_per_s;
    let (down, across) = (parts.len(), parts.first()?.len());
    let [width, height] = dark.size_px.map(|side| side as f64);
    let (low, high) = shown(parts);
    let edge = |i: usize, of: usize, whole: f64| whole * i as f64 / of as f64;
    let cells = parts.iter().enumerate().flat_map(|(i, row)| {
        row.iter().enumerate().map(move |(j, rate)| Cell {
            corners: [0, 1].map(|next| (edge(j + next, across, width), edge(i + next, down, height))),
            ink: (rate - low) / (high - low),
        })
    });
    let tall = (MAP.0 * height / width).clamp(MAP.1, MAP.2) as i32;
    let (x, y) = (Axis::even([0.0, width], 0.0), Axis::even([0.0, height], 0.0).turned());
    let mut panel =
        Panel::new(x, y, ("column in px of the plane", "row in px of the plane, from the top"), tall + AROUND);
    panel.cells = cells.collect();
    let range = |i: usize, of: usize, whole: f64| {
        format!("{:.0} to {:.0}", edge(i, of, whole).floor(), (edge(i + 1, of, whole) - 1.0).floor())
    };
    let columns = (0..across).map(|j| format!("columns {}", range(j, across, width)));
    let head = std::iter::once("rows; e⁻/s".to_owned()).chain(columns).collect();
    let rows = parts.iter().enumerate();
    let rows =
        rows.map(|(i, row)| std::iter::once(range(i, down, height)).chain(row.iter().map(|v| said(*v))).collect());
    let glow = match (&plane.glow_e_per_s, &plane.glow_at) {
        (Some(rate), Some(at)) => {
            format!(" Amplifier glow: {at}, {} above the middle part.", with_uncertainty(rate))
        }
        _ => " No amplifier glow was found.".into(),
    };
    let description = format!(
        "{}. {across} by {down} parts; no ink is {} e⁻/s or less, full ink {} e⁻/s or more. Hot pixels do not count.{glow}",
        source(plane, dark),
        rounded(low, 3),
        rounded(high, 3)
    );
    let title = format!("Where the dark current is, {}, plane {}", mode.label(), plane.plane);
    let figure = Figure::new(id.into(), title, description, &[panel], Table { head, rows: rows.collect() });
    Some(figure.with_key(Pen::Ink, Shape::Line, "the more ink, the more dark current"))
}

/// The rates without ink and with all of it.
fn shown(parts: &[Vec<f64>]) -> (f64, f64) {
    let mut all: Vec<f64> = parts.iter().flatten().copied().collect();
    all.sort_unstable_by(f64::total_cmp);
    let at = |share: f64| all[((all.len() - 1) as f64 * share).round() as usize];
    let (middle, spread) = (at(0.5), (at(0.9) - at(0.1)).max(1e-12));
    let half = NARROW * middle.max(0.0);
    let low = (middle - WIDE * spread).max(at(0.0)).min(middle - half);
    (low, (middle + WIDE * spread).min(at(1.0)).max(middle + half).max(low + 1e-12))
}

/// The dark current along the columns and along the rows; `None` where the longest darks are not at hand.
#[must_use]
pub fn dark_profile_figure(id: &str, mode: &Mode, plane: &Plane) -> Option<Figure> {
    let dark = longest(plane)?;
    let [width, height] = dark.size_px.map(|side| side as f64);
    let places = |rates: &[f64], whole: f64| -> Vec<(f64, f64)> {
        let middle = |i: usize| whole * (i as f64 + 0.5) / rates.len() as f64;
        rates.iter().enumerate().map(|(i, rate)| (middle(i), *rate)).collect()
    };
    let (columns, rows) = (places(&dark.columns_e_per_s, width), places(&dark.rows_e_per_s, height));
    let y = Axis::even(columns.iter().chain(&rows).map(|point| point.1).chain([0.0]), 0.08);
    let panel = |points: &[(f64, f64)], whole: f64, name: &'static str, of: &str| {
        let names = (name, format!("{of} in e⁻/s per pixel"));
        let mut panel = Panel::new(Axis::even([0.0, whole], 0.0), y.clone(), names, PROFILE);
        panel.series = vec![Series::new(Pen::Curve, Shape::Line, points.to_vec())];
        panel
    };
    let panels = [
        panel(&columns, width, "column in px of the plane", "columns"),
        panel(&rows, height, "row in px of the plane, from the top", "rows"),
    ];
    let cell = |what: &'static str| {
        move |(place, rate): &(f64, f64)| vec![what.to_owned(), rounded(*place, DIGITS), said(*rate)]
    };
    let table = columns.iter().map(cell("columns")).chain(rows.iter().map(cell("rows"))).collect();
    let head = ["what", "middle in px", "dark current in e⁻/s"].map(String::from).to_vec();
    let spread = |points: &[(f64, f64)]| {
        let (low, high) =
            points.iter().fold((f64::MAX, f64::MIN), |(low, high), point| (low.min(point.1), high.max(point.1)));
        format!("{} to {}", rounded(low, 3), rounded(high, 3))
    };
    let description = format!(
        "{}, a few columns or rows together, hot pixels left out: columns {} e⁻/s, rows {} e⁻/s.",
        source(plane, dark),
        spread(&columns),
        spread(&rows)
    );
    let title = format!("Dark current by columns and rows, {}, plane {}", mode.label(), plane.plane);
    Some(Figure::new(id.into(), title, description, &panels, Table { head, rows: table }))
}
