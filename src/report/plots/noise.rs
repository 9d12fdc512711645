//! The picture of what a sub's noise is made of.

use crate::noise::{Patch, PlaneNoise, SubNoise};
use crate::plan::{FilterPlan, Search};
use crate::report::Table;
use crate::report::{duration, rounded};
use crate::units::Seconds;

use super::axis::Axis;
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Mark, Panel, Series, Shape};

/// Points of a drawn curve.
const CURVE_POINTS: usize = 40;
/// Digits in a table.
const DIGITS: usize = 4;
/// The part of the noise below which a part is no longer drawn.
const SMALLEST: f64 = 0.02;

/// One part of the noise: its name, its pen, its variance.
type Part = (&'static str, Pen, fn(&SubNoise) -> f64);

const PARTS: [Part; 5] = [
    ("all together", Pen::Curve, SubNoise::temporal),
    ("sky and Moon", Pen::Second, |noise| noise.sky + noise.moon),
    ("read noise and rounding", Pen::Third, |noise| noise.read + noise.quantisation),
    ("dark current", Pen::Limit, |noise| noise.dark),
    ("the target's own light", Pen::Thumb, |noise| noise.target),
];

/// The noise of a pixel of one sub against the sub's length, with its parts, in the plane that is worst off; `None` without
/// a plane.
#[must_use]
pub fn sub_noise_figure(id: &str, filter: &FilterPlan, search: &Search) -> Option<Figure> {
    let snr = |(noise, patch): &(PlaneNoise, Patch)| {
        let sub = noise.sub(filter.sub_s);
        sub.target * (patch.pixels / sub.temporal()).sqrt()
    };
    let (noise, _) = search.planes.iter().min_by(|a, b| snr(a).total_cmp(&snr(b)))?;
    let longest = search.longest().max(4.0 * filter.sub_s.0).clamp(2.0, 7200.0);
    let x = Axis::logarithmic([1.0_f64.min(filter.sub_s.0 / 4.0), longest], 1.0);
    let lengths: Vec<f64> = (0..=CURVE_POINTS).map(|i| x.at(i as f64 / CURVE_POINTS as f64)).collect();
    let subs: Vec<SubNoise> = lengths.iter().map(|length| noise.sub(Seconds(*length))).collect();
    let all = || subs.iter().map(|sub| sub.temporal().sqrt());
    let least = all().fold(f64::MAX, f64::min);
    let part = |of: fn(&SubNoise) -> f64| -> Vec<(f64, f64)> {
        let curve = lengths.iter().zip(&subs).map(|(length, sub)| (*length, of(sub).sqrt()));
        curve.filter(|point| point.1 > SMALLEST * least && point.1.is_finite()).collect()
    };
    let curves: Vec<(&Part, Vec<(f64, f64)>)> = PARTS.iter().map(|each| (each, part(each.2))).collect();
    let y = Axis::logarithmic(curves.iter().flat_map(|(_, curve)| curve.iter().map(|point| point.1)), 1.15);
    let names = ("length of a sub in s", "noise of a pixel of one sub in e⁻");
    let mut panel = Panel::new(x, y, names, 250);
    panel.marks =
        vec![Mark { pen: Pen::Floor, at: filter.sub_s.0, words: format!("the plan {}", duration(filter.sub_s)) }];
    panel.series =
        curves.iter().rev().map(|((_, pen, _), curve)| Series::new(*pen, Shape::Line, curve.clone())).collect();
    let row = |(length, sub): (&f64, &SubNoise)| {
        let values = PARTS.iter().map(|(_, _, of)| rounded(of(sub).sqrt(), DIGITS));
        [rounded(*length, DIGITS)].into_iter().chain(values).collect()
    };
    let rows = lengths.iter().zip(&subs).map(row).collect();
    let head =
        ["sub in s".to_owned()].into_iter().chain(PARTS.iter().map(|(name, ..)| format!("{name} in e⁻"))).collect();
    let planned = noise.sub(filter.sub_s);
    let read = planned.read + planned.quantisation;
    let excess = 100.0 * ((planned.temporal() / (planned.temporal() - read).max(f64::MIN_POSITIVE)).sqrt() - 1.0);
    let description = format!(
        "In a sub of {} a pixel scatters by {} e⁻, and read noise adds {} % to what it would scatter by without. Noises add by their squares.",
        duration(filter.sub_s),
        rounded(planned.temporal().sqrt(), 3),
        rounded(excess, 2)
    );
    let title = format!("What the noise of a sub is made of, filter {}", filter.name);
    let mut figure = Figure::new(id.into(), title, description, &[panel], Table { head, rows });
    for ((name, pen, _), _) in curves.iter().filter(|(_, curve)| !curve.is_empty()) {
        figure = figure.with_key(*pen, Shape::Line, *name);
    }
    Some(figure)
}
