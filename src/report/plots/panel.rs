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
/// Room at the right, for half a number or a letter.
const RIGHT: i32 = 18;
/// Room above, for the name of the upright axis.
const ABOVE: i32 = 24;
/// Room below, for numbers and the name of the level axis.
const BELOW: i32 = 43;
/// Radius of a point.
const POINT: i32 = 3;
/// Letters of neighbouring marks stand in rows when closer than this.
const LETTER_ROOM: f64 = 15.0;

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

/// A line across the plot with a letter at its end.
#[derive(Debug, Clone)]
pub(super) struct Mark {
    pub(super) pen: Pen,
    pub(super) at: f64,
    pub(super) letter: String,
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
    /// Level lines with a letter at their right end.
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
    let height = panels.iter().map(|panel| panel.height).sum();
    let mut out = String::new();
    let area = Canvas::new(&mut out, WIDTH, height).into_drawing_area();
    let mut rest = area;
    let mut fields = String::new();
    for panel in panels {
        let (own, below) = rest.split_vertically(panel.height * TENTHS);
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
    let rows = letter_rows(panel);
    let lines = rows.iter().map(|row| row + 1).max().unwrap_or(0).max(i32::from(!panel.labels.is_empty()));
    let above = ABOVE + lines * TEXT;
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
        area.draw_text(&level.letter, &text_style(HPos::Left, VPos::Center), (x - left + 3 * TENTHS, y - top))?;
    }
    for (mark, row) in panel.marks.iter().zip(rows) {
        let ends = vec![(mark.at, panel.y.low()), (mark.at, panel.y.high())];
        plot.draw(&PathElement::new(ends, stroke(mark.pen)))?;
        let (x, y) = plot.map_coordinate(&(mark.at, panel.y.high()));
        let (left, top) = area.get_base_pixel();
        let at = (x - left, y - top - (2 + row * TEXT) * TENTHS);
        area.draw_text(&mark.letter, &text_style(HPos::Center, VPos::Bottom), at)?;
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
    let at = (x - area.get_base_pixel().0, (panel.height - 4) * TENTHS);
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

/// The row of each mark's letter above the plot: 0, or one higher than the neighbour that is too close.
fn letter_rows(panel: &Panel) -> Vec<i32> {
    let width = f64::from(WIDTH - LEFT - RIGHT);
    let places: Vec<f64> = panel.marks.iter().map(|mark| panel.x.share(mark.at) * width).collect();
    let mut rows: Vec<i32> = Vec::new();
    for (i, place) in places.iter().enumerate() {
        let taken = |row: i32| (0..i).any(|j| rows[j] == row && (places[j] - place).abs() < LETTER_ROOM);
        let row = (0..).find(|row| !taken(*row)).unwrap_or(0);
        rows.push(row);
    }
    rows
}
