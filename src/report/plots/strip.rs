//! A drawing of a faint thing under a growing stack.

use crate::report::Table;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::plan::{FilterPlan, Search};
use crate::report::{duration, rounded};

use super::axis::Axis;
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Cell, Panel, Shape};

/// Fields along the strip and across it; each is one patch of the goal.
const ALONG: usize = 84;
const ACROSS: usize = 17;
/// Fields from the middle at which the lane has its brightness no longer.
const LANE: usize = 2;
/// The same noise in every report.
const SEED: u64 = 1;
/// What has no ink and what has all of it, in brightnesses of the target.
const SHOWN: (f64, f64) = (-1.5, 2.5);
/// Digits in a table.
const DIGITS: usize = 4;
/// Height of the strip with its axis.
const HEIGHT: i32 = 196;

/// A lane of the target's brightness on an empty sky, drawn with the noise that the plan's stack has after as many subs as
/// stand below: signal over noise in a patch is that of the plan; `None` without subs.
#[must_use]
pub fn strip_figure(id: &str, filter: &FilterPlan, search: &Search) -> Option<Figure> {
    let (sub, every, subs) = (filter.sub_s, filter.dither_every_subs as f64, filter.subs_kept as f64);
    let snr = |subs: f64| search.snr(sub, subs, every);
    let sound = |snr: f64| snr.is_finite() && snr > 0.0;
    if filter.subs_kept < 2 || !sound(snr(1.0)) || !sound(snr(subs)) {
        return None;
    }
    let x = Axis::logarithmic([1.0, subs], 1.0);
    let edge = |column: usize| x.at(column as f64 / ALONG as f64);
    // The first column has one sub and the last one all of them, to the last digit.
    let counts: Vec<f64> = (0..ALONG).map(|column| x.at(column as f64 / (ALONG - 1) as f64)).collect();
    let y = Axis::bare(ACROSS as f64);
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let mut cells = Vec::with_capacity(ALONG * ACROSS);
    for (column, count) in counts.iter().enumerate() {
        let noise = 1.0 / snr(*count);
        for row in 0..ACROSS {
            let lane = if row.abs_diff(ACROSS / 2) < LANE { 1.0 } else { 0.0 };
            let chance: f64 = StandardNormal.sample(&mut rng);
            let ink = (lane + noise * chance - SHOWN.0) / (SHOWN.1 - SHOWN.0);
            let corners = [(edge(column), row as f64), (edge(column + 1), (row + 1) as f64)];
            cells.push(Cell { corners, ink });
        }
    }
    let some = subs.sqrt().round();
    let shown: Vec<f64> = if some > 1.0 && some < subs { vec![1.0, some, subs] } else { vec![1.0, subs] };
    let mut panel = Panel::new(x, y, ("subs in the stack", "SNR of the lane in a patch"), HEIGHT);
    panel.cells = cells;
    panel.labels = shown.iter().map(|count| (*count, format!("SNR {}", rounded(snr(*count), 3)))).collect();
    let row = |what: &str, count: f64| {
        let (snr, hours) = (snr(count), count * sub.0 / 3600.0);
        vec![
            what.into(),
            rounded(count, DIGITS),
            rounded(snr, DIGITS),
            rounded(1.0 / snr, DIGITS),
            rounded(hours, DIGITS),
        ]
    };
    let rows = shown.iter().map(|count| row("label", *count)).chain(counts.iter().map(|count| row("column", *count)));
    let head = ["what", "subs", "SNR in the patch", "noise over the lane's light", "hours of open shutter"];
    let table = Table { head: head.map(String::from).to_vec(), rows: rows.collect() };
    let description = format!(
        "A drawing, not a photograph: chance with the plan's own SNR, from one sub of {} at the left to the {} of the stack at \
         the right. A lane as bright as the target runs along the middle, and every small field is one patch of the goal. After \
         one sub the SNR of the lane is {}, in the whole stack {}.",
        duration(sub),
        filter.subs_kept,
        rounded(snr(1.0), 3),
        rounded(snr(subs), 3)
    );
    let title = format!("A faint lane from one sub to the whole stack, filter {}", filter.name);
    let figure = Figure::new(id.into(), title, description, &[panel], table);
    Some(figure.with_key(
        Pen::Ink,
        Shape::Line,
        "the more ink, the more light; above and below the lane there is sky alone",
    ))
}
