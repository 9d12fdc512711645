//! From series to a picture.

use std::convert::Infallible;

use plotters::chart::ChartBuilder;
use plotters::coord::Shift;
use plotters::drawing::{DrawingArea, DrawingAreaErrorKind, IntoDrawingArea};
use plotters::element::{Circle, PathElement, Polygon, Rectangle, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, IntoFont, ShapeStyle, TRANSPARENT, TextStyle};

use super::axis::Axis;
use super::canvas::{Canvas, LETTER, Pen, TENTHS, TEXT};

/// Width of every picture in units: a phone's.
pub(super) const WIDTH: i32 = 360;
/// Room for the numbers of the upright axis.
const LEFT: i32 = 52;
/// The same where it has none.
const LEFT_BARE: i32 = 6;
/// Ticks, and what lies between them and the numbers.
const TICKS: i32 = 14;
/// Room at the right, for half a number.
const RIGHT: i32 = 18;
/// Room above, for the name of the upright axis.
const ABOVE: i32 = 24;
/// Room below, for numbers and the name of the level axis.
const BELOW: i32 = 43;
/// Radius of a point.
const POINT: i32 = 3;
/// Between words in one row, and between words and the edge.
const WORD_ROOM: f64 = 8.0;

/// Shades of the fields of a picture, beside none.
pub(super) const SHADES: usize = 16;

/// How a series is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    Line,
    Points,
    /// A diamond on each.
    Diamonds,
    /// A cross on each.
    Crosses,
}

/// Numbers that are drawn alike.
#[derive(Debug, Clone)]
pub(super) struct Series {
    pub(super) pen: Pen,
    pub(super) shape: Shape,
    pub(super) points: Vec<(f64, f64)>,
    /// Half lengths of upright bars on the points; empty for none.
    pub(super) sigmas: Vec<f64>,
}

impl Series {
    pub(super) fn new(pen: Pen, shape: Shape, points: Vec<(f64, f64)>) -> Self {
        Self { pen, shape, points, sigmas: Vec::new() }
    }
}

/// A line across the plot with words at its end.
#[derive(Debug, Clone)]
pub(super) struct Mark {
    pub(super) pen: Pen,
    pub(super) at: f64,
    pub(super) words: String,
}

/// A level bar with words above it.
#[derive(Debug, Clone)]
pub(super) struct Bar {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) words: String,
    /// What stands at the right end of the line of words.
    pub(super) beside: String,
}

/// A small field that is filled with so much ink.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    /// Two opposite corners.
    pub(super) corners: [(f64, f64); 2],
    /// 0 to 1.
    pub(super) ink: f64,
}

/// One pair of axes with all that stands between them.
#[derive(Debug, Clone)]
pub(super) struct Panel {
    pub(super) x: Axis,
    pub(super) y: Axis,
    pub(super) x_name: &'static str,
    pub(super) y_name: String,
    pub(super) height: i32,
    pub(super) series: Vec<Series>,
    /// A stretch of the level axis.
    pub(super) bands: Vec<(f64, f64)>,
    /// Stretches between two curves: up along one, back along the other.
    pub(super) regions: Vec<Vec<(f64, f64)>>,
    pub(super) marks: Vec<Mark>,
    pub(super) bars: Vec<Bar>,
    /// Level lines with words at their right end.
    pub(super) levels: Vec<Mark>,
    /// Fields of a picture.
    pub(super) cells: Vec<Cell>,
    /// Words above the plot, at places of the level axis.
    pub(super) labels: Vec<(f64, String)>,
}

impl Panel {
    pub(super) fn new(x: Axis, y: Axis, names: (&'static str, impl Into<String>), height: i32) -> Self {
        Self {
            x,
            y,
            x_name: names.0,
            y_name: names.1.into(),
            height,
            series: Vec::new(),
            bands: Vec::new(),
            regions: Vec::new(),
            marks: Vec::new(),
            bars: Vec::new(),
            levels: Vec::new(),
            cells: Vec::new(),
            labels: Vec::new(),
        }
    }
}

type Area<'a> = DrawingArea<Canvas<'a>, Shift>;
type Drawn = Result<(), DrawingAreaErrorKind<Infallible>>;

/// The panels one below the other, as the elements of a picture and its height in units.
pub(super) fn drawn(panels: &[Panel]) -> (String, i32) {
    let height = panels.iter().map(Panel::full_height).sum();
    let mut out = String::new();
    let area = Canvas::new(&mut out, WIDTH, height).into_drawing_area();
    let mut rest = area;
    let mut fields = String::new();
    for panel in panels {
        let (own, below) = rest.split_vertically(panel.full_height() * TENTHS);
        // The canvas cannot fail, and the library fails only with it.
        let _ = draw(&own, panel, &mut fields);
        rest = below;
    }
    drop(rest);
    out.push_str(&fields);
    (out, height)
}

fn text_style(h: HPos, v: VPos) -> TextStyle<'static> {
    let font = ("sans-serif", f64::from(TEXT * TENTHS)).into_font();
    let style = TextStyle::from(font).pos(Pos::new(h, v));
    TextStyle { color: Pen::Text.colour().to_backend_color(), ..style }
}

fn stroke(pen: Pen) -> ShapeStyle {
    pen.colour().stroke_width(1)
}

fn draw(area: &Area<'_>, panel: &Panel, fields: &mut String) -> Drawn {
    area.draw_text(&panel.y_name, &text_style(HPos::Left, VPos::Top), (2 * TENTHS, 4 * TENTHS))?;
    let above = ABOVE + panel.rows_above() * TEXT;
    let mut chart = ChartBuilder::on(area)
        .margin_top(above * TENTHS)
        .margin_right(RIGHT * TENTHS)
        .x_label_area_size(BELOW * TENTHS)
        .y_label_area_size(left_room(&panel.y) * TENTHS)
        .build_cartesian_2d(panel.x.clone(), panel.y.clone())?;
    for (from, to) in panel.bands.iter().copied() {
        let corners = [(from.max(panel.x.low()), panel.y.low()), (to.min(panel.x.high()), panel.y.high())];
        chart.plotting_area().draw(&Rectangle::new(corners, Pen::Band.colour().filled()))?;
    }
    chart
        .configure_mesh()
        .bold_line_style(stroke(Pen::Grid))
        .light_line_style(TRANSPARENT)
        .axis_style(stroke(Pen::Axis))
        .x_label_style(text_style(HPos::Center, VPos::Top))
        .y_label_style(text_style(HPos::Right, VPos::Center))
        .set_all_tick_mark_size(4 * TENTHS)
        .draw()?;
    let plot = chart.plotting_area();
    for region in &panel.regions {
        plot.draw(&Polygon::new(region.clone(), Pen::Band.colour().filled()))?;
    }
    for level in &panel.levels {
        let ends = vec![(panel.x.low(), level.at), (panel.x.high(), level.at)];
        plot.draw(&PathElement::new(ends, stroke(level.pen)))?;
        let (x, y) = plot.map_coordinate(&(panel.x.high(), level.at));
        let (left, top) = area.get_base_pixel();
        area.draw_text(&level.words, &text_style(HPos::Right, VPos::Bottom), (x - left - 3 * TENTHS, y - top))?;
    }
    let (left, top) = area.get_base_pixel();
    let placed = panel.placed();
    for (mark, place) in panel.marks.iter().zip(&placed) {
        let (x, high) = plot.map_coordinate(&(mark.at, panel.y.high()));
        let (_, low) = plot.map_coordinate(&(mark.at, panel.y.low()));
        let base = high - top - place.row * TEXT * TENTHS;
        area.draw(&PathElement::new(vec![(x - left, low - top), (x - left, base)], stroke(mark.pen)))?;
    }
    // Words last: where a line passes behind them they stay clear of it.
    for (mark, place) in panel.marks.iter().zip(&placed) {
        let (x, high) = plot.map_coordinate(&(mark.at, panel.y.high()));
        let base = high - top - (2 + place.row * TEXT) * TENTHS;
        let (side, away) = if place.leftwards { (HPos::Right, -3) } else { (HPos::Left, 3) };
        let away = if place.row == 0 { 0 } else { away * TENTHS };
        area.draw_text(&mark.words, &text_style(side, VPos::Bottom), (x - left + away, base))?;
    }
    for (i, bar) in panel.bars.iter().enumerate() {
        let row = (panel.bars.len() - i) as f64;
        let corners = [(bar.from, row - 0.80), (bar.to, row - 0.50)];
        plot.draw(&Rectangle::new(corners, Pen::Bar.colour().filled()))?;
    }
    for series in &panel.series {
        draw_series(plot, panel, series)?;
    }
    for (i, bar) in panel.bars.iter().enumerate() {
        let at = (panel.x.at(0.02), (panel.bars.len() - i) as f64 - 0.45);
        plot.draw(&Text::new(bar.words.clone(), at, text_style(HPos::Left, VPos::Bottom)))?;
        if !bar.beside.is_empty() {
            let at = (panel.x.high(), at.1);
            plot.draw(&Text::new(bar.beside.clone(), at, text_style(HPos::Right, VPos::Bottom)))?;
        }
    }
    for (at, words) in &panel.labels {
        let h = match panel.x.share(*at) {
            share if share < 0.15 => HPos::Left,
            share if share > 0.85 => HPos::Right,
            _ => HPos::Center,
        };
        let (x, y) = plot.map_coordinate(&(*at, panel.y.high()));
        let (left, top) = area.get_base_pixel();
        area.draw_text(words, &text_style(h, VPos::Bottom), (x - left, y - top - 2 * TENTHS))?;
    }
    fields.push_str(&inked(plot, &panel.cells));
    let (x, _) = plot.map_coordinate(&(panel.x.at(0.5), panel.y.low()));
    let at = (x - area.get_base_pixel().0, (panel.full_height() - 4) * TENTHS);
    area.draw_text(panel.x_name, &text_style(HPos::Center, VPos::Bottom), at)
}

/// Room for the numbers of an upright axis, with its ticks.
fn left_room(y: &Axis) -> i32 {
    let letters = y.longest_number() as f64 * LETTER * f64::from(TEXT);
    if y.is_bare() { LEFT_BARE } else { LEFT.max(letters as i32 + TICKS) }
}

type Plot<'a> = DrawingArea<Canvas<'a>, plotters::coord::cartesian::Cartesian2d<Axis, Axis>>;

/// The fields of a picture, those of one shade in one path: thousands of them stay small.
fn inked(plot: &Plot<'_>, cells: &[Cell]) -> String {
    let mut shades = vec![String::new(); SHADES + 1];
    for Cell { corners, ink } in cells {
        let [a, b] = corners.map(|corner| plot.map_coordinate(&corner));
        let unit = |tenths: i32| f64::from(tenths) / f64::from(TENTHS);
        let (x, y) = (unit(a.0.min(b.0)), unit(a.1.min(b.1)));
        let (width, height) = (unit((a.0 - b.0).abs()), unit((a.1 - b.1).abs()));
        let shade = (ink.clamp(0.0, 1.0) * SHADES as f64).round() as usize;
        shades[shade].push_str(&format!("M{x} {y}h{width}v{height}h-{width}z"));
    }
    let path = |(shade, fields): (usize, &String)| {
        let opacity = shade as f64 / SHADES as f64;
        format!("<path class=\"ink\" fill-opacity=\"{opacity:.3}\" d=\"{fields}\"/>\n")
    };
    shades.iter().enumerate().filter(|(_, fields)| !fields.is_empty()).map(path).collect()
}

fn draw_series(plot: &Plot<'_>, panel: &Panel, series: &Series) -> Drawn {
    let seen = |(x, y): &(f64, f64)| panel.x.holds(*x) && panel.y.holds(*y);
    if series.shape == Shape::Line {
        let line: Vec<_> = series.points.iter().filter(|point| seen(point)).copied().collect();
        return plot.draw(&PathElement::new(line, stroke(series.pen)));
    }
    for (i, point) in series.points.iter().enumerate().filter(|(_, point)| seen(point)) {
        if let Some(sigma) = series.sigmas.get(i) {
            let end = |y: f64| (point.0, y.clamp(panel.y.low(), panel.y.high()));
            plot.draw(&PathElement::new(vec![end(point.1 - sigma), end(point.1 + sigma)], stroke(series.pen)))?;
        }
        match series.shape {
            Shape::Diamonds => {
                let (x, y) = plot.map_coordinate(point);
                let half = 2 * POINT * TENTHS;
                // A diamond keeps its shape whatever the axes are.
                let corners = [(x, y - half), (x + half, y), (x, y + half), (x - half, y)];
                let (left, top) = plot.get_base_pixel();
                let corners = corners.map(|(x, y)| (x - left, y - top)).to_vec();
                plot.strip_coord_spec().draw(&Polygon::new(corners, series.pen.colour().filled()))?;
            }
            Shape::Crosses => {
                let (x, y) = plot.map_coordinate(point);
                let ((left, top), half) = (plot.get_base_pixel(), POINT * TENTHS * 4 / 3);
                let (x, y, plain) = (x - left, y - top, plot.strip_coord_spec());
                for slope in [-half, half] {
                    let ends = vec![(x - half, y - slope), (x + half, y + slope)];
                    plain.draw(&PathElement::new(ends, stroke(series.pen)))?;
                }
            }
            _ => plot.draw(&Circle::new(*point, POINT * TENTHS, series.pen.colour().filled()))?,
        }
    }
    Ok(())
}

/// Where the words of a mark stand above the plot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Placed {
    /// Rows above the plot.
    row: i32,
    /// Whether they end at their line, in place of beginning there.
    leftwards: bool,
}

impl Panel {
    /// Its height with the words of its marks, beyond the first row.
    fn full_height(&self) -> i32 {
        self.height + (self.rows_above() - 1).max(0) * TEXT
    }

    fn rows_above(&self) -> i32 {
        let rows = self.placed().iter().map(|place| place.row + 1).max().unwrap_or(0);
        rows.max(i32::from(!self.labels.is_empty()))
    }

    /// Words like a stair: those of the line at the right stand lowest, so that no line crosses words of a line beside it.
    fn placed(&self) -> Vec<Placed> {
        let left = f64::from(left_room(&self.y));
        let width = f64::from(WIDTH) - left - f64::from(RIGHT);
        let places: Vec<f64> = self.marks.iter().map(|mark| left + self.x.share(mark.at) * width).collect();
        let mut order: Vec<usize> = (0..places.len()).collect();
        order.sort_by(|a, b| places[*b].total_cmp(&places[*a]));
        let mut placed = vec![Placed { row: 0, leftwards: false }; places.len()];
        let mut taken: Vec<(i32, f64, f64)> = Vec::new();
        for (done, mark) in order.iter().enumerate() {
            let length = self.marks[*mark].words.chars().count() as f64 * LETTER * f64::from(TEXT) + WORD_ROOM;
            let at = places[*mark];
            let leftwards = at + length > f64::from(WIDTH);
            let (from, to) = if leftwards { ((at - length).max(0.0), at) } else { (at, at + length) };
            let above = order[..done].iter().filter(|other| (from..to).contains(&places[**other]));
            let least = above.map(|other| placed[*other].row + 1).max().unwrap_or(0);
            let free = |row: &i32| taken.iter().all(|(own, a, b)| own != row || *b <= from || *a >= to);
            let row = (least..).find(free).unwrap_or(least);
            placed[*mark] = Placed { row, leftwards };
            taken.push((row, from, to));
        }
        placed
    }
}
