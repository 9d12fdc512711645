//! Pictures of a plan.

use crate::plan::{Demand, FilterPlan, Search};
use crate::report::Table;
use crate::report::plan::bound;
use crate::report::{duration, percent, rounded};
use crate::units::Seconds;

use super::axis::Axis;
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Mark, Panel, Series, Shape};

/// Points of a drawn curve.
const CURVE_POINTS: usize = 160;
/// Digits in a table.
const DIGITS: usize = 4;
/// Costs beyond this many times the least are not shown: nobody would pay them.
const WORST: f64 = 3.0;
/// A saw of whole cadences is shown where it leaves the smooth curve by more than this.
const SAW: f64 = 0.02;
/// The place of the sky in the range that another rule asks for.
const THIRD: f64 = 1.0 / 3.0;

fn said(value: f64) -> String {
    rounded(value, DIGITS)
}

/// An upright line of the picture of lengths.
struct Upright {
    pen: Pen,
    sub: f64,
    /// As it stands in the table.
    words: String,
    /// As it stands on its line.
    short: String,
}

/// Sub length against what it costs: wall time where a signal over noise is asked for, else the signal over noise of the
/// hours; each length at its best dither cadence, nothing rounded. The diamond has a whole cadence and lies a hair above.
#[must_use]
pub fn wall_time_figure(id: &str, filter: &FilterPlan, search: &Search) -> Figure {
    let asked = matches!(search.demand, Demand::Snr(_));
    let value = |cost: f64| if asked { cost / 3600.0 } else { cost.powf(-0.5) };
    let uprights = uprights(filter);
    let longest = uprights.iter().map(|upright| upright.sub).fold(search.longest(), f64::max);
    let wide = Axis::logarithmic([1.0_f64.min(search.longest() / 2.0), longest], 1.0);
    let curve: Vec<(f64, f64)> = (0..=CURVE_POINTS)
        .map(|i| wide.at(i as f64 / CURVE_POINTS as f64))
        .filter(|sub| *sub <= search.longest() * (1.0 + 1e-9))
        .filter_map(|sub| Some((sub, value(search.smooth_cost(Seconds(sub))?))))
        .collect();
    let whole: Vec<(f64, f64)> =
        curve.iter().filter_map(|(sub, _)| Some((*sub, value(search.best_at(Seconds(*sub))?.cost)))).collect();
    let chosen = search.best_at(filter.sub_s).map(|chosen| (chosen.sub.0, value(chosen.cost)));
    let least = curve.iter().chain(&chosen).map(|point| point.1).fold(f64::MAX, f64::min);
    let affordable = curve.iter().chain(&chosen).map(|point| point.1).filter(|hours| *hours <= WORST * least);
    let (y, y_name) = if asked {
        (Axis::even(affordable, 0.08), "hours on the clock")
    } else {
        let snr = curve.iter().map(|point| point.1).chain([0.0]);
        (Axis::even(snr, 0.08).from(0.0), "SNR in the hours given")
    };
    let shown: Vec<f64> = curve.iter().filter(|point| y.holds(point.1)).map(|point| point.0).collect();
    let marks = uprights.iter().map(|upright| upright.sub).filter(|sub| *sub > 0.0);
    let x = Axis::logarithmic(shown.iter().copied().chain(marks), 1.25);
    let [low, high] = filter.sub_range_s.map(|sub| sub.0);
    let mut panel = Panel::new(x, y, ("length of a sub in s", y_name), 260);
    panel.bands = filter.sub_stretches_s.iter().map(|[from, to]| (from.0, to.0)).collect();
    let said_short = |upright: &Upright| format!("{} {}", upright.short, duration(Seconds(upright.sub)));
    panel.marks =
        uprights.iter().map(|upright| Mark { pen: upright.pen, at: upright.sub, words: said_short(upright) }).collect();
    panel.series.push(Series::new(Pen::Curve, Shape::Line, curve.clone()));
    // Where few subs are enough, whole cadences cost visibly more than the smooth curve, and the range is theirs.
    let saw = whole.len() < curve.len() || whole.iter().zip(&curve).any(|(w, c)| (w.1 / c.1 - 1.0).abs() > SAW);
    if saw {
        panel.series.push(Series::new(Pen::Third, Shape::Line, whole.clone()));
    }
    panel.series.push(Series::new(Pen::Chosen, Shape::Diamonds, chosen.into_iter().collect()));
    let mut rows: Vec<Vec<String>> =
        chosen.iter().map(|point| vec!["chosen".into(), said(point.0), said(point.1)]).collect();
    let within = format!("within {} %", percent(filter.sub_range_within_percent));
    rows.extend(
        panel
            .bands
            .iter()
            .map(|(low, high)| vec![within.clone(), format!("{} to {}", said(*low), said(*high)), "–".into()]),
    );
    rows.extend(uprights.iter().map(|upright| vec![upright.words.clone(), said(upright.sub), "–".into()]));
    rows.extend(curve.iter().map(|point| vec!["curve".into(), said(point.0), said(point.1)]));
    if saw {
        rows.extend(whole.iter().map(|point| vec!["whole cadence".into(), said(point.0), said(point.1)]));
    }
    let cost = if asked { "hours on the clock" } else { "SNR" };
    let head = ["what", "sub in s", cost].map(String::from).to_vec();
    let description = format!(
        "The plan takes {}. Lengths from {} to {} cost at most {} % more than the best; shorter ones lose time between subs, longer ones lose \
         more when one is spoiled.",
        duration(filter.sub_s),
        duration(Seconds(low)),
        duration(Seconds(high)),
        percent(filter.sub_range_within_percent)
    );
    let title = format!("What the length of a sub costs, filter {}", filter.name);
    let mut figure = Figure::new(id.into(), title, description, &[panel], Table { head, rows })
        .with_key(Pen::Curve, Shape::Line, "each length at its best dither cadence, nothing rounded")
        .with_key(Pen::Chosen, Shape::Diamonds, format!("the plan: {}", duration(filter.sub_s)))
        .with_key(Pen::Band, Shape::Line, format!("{within} of the best"))
        .with_key(Pen::Limit, Shape::Line, "a limit of the length")
        .with_key(Pen::Thumb, Shape::Line, "a rule of thumb, for comparison");
    if saw {
        figure =
            figure.with_key(Pen::Third, Shape::Line, "with a whole number of subs between dithers, as it will be done");
    }
    figure
}

/// Limits and rules of thumb, the shortest first.
fn uprights(filter: &FilterPlan) -> Vec<Upright> {
    let limits = &filter.limits_s;
    let limits = [
        ("the mount's longest sub", "mount", limits.tracking),
        ("the field turns", "field turns", limits.field_rotation),
        (
            bound(filter, "a star burns", "no star burns before"),
            bound(filter, "star burns", "no star burns before"),
            limits.star_saturation,
        ),
        (
            bound(filter, "the sky half fills the well", "the sky does not half fill the well before"),
            bound(filter, "sky half fills", "sky not half full before"),
            limits.sky_saturation,
        ),
    ];
    let mut found: Vec<Upright> = limits
        .into_iter()
        .filter_map(|(words, short, sub)| {
            Some(Upright { pen: Pen::Limit, sub: sub?.0, words: words.into(), short: short.into() })
        })
        .collect();
    found.extend(filter.rules_of_thumb.iter().map(|rule| Upright {
        pen: Pen::Thumb,
        sub: rule.sub_s.0,
        words: format!("read noise adds {} % to the noise", rule.read_noise_adds_percent),
        short: format!("read noise +{} %", rule.read_noise_adds_percent),
    }));
    let fill = filter.planes.iter().map(|plane| plane.sky_share_of_full_well_percent / 100.0).fold(0.0, f64::max);
    if fill > 0.0 {
        let words = "the raw sky stands at a third of the range".into();
        found.push(Upright {
            pen: Pen::Thumb,
            sub: filter.sub_s.0 * THIRD / fill,
            words,
            short: "sky at a third".into(),
        });
    }
    found.retain(|upright| upright.sub.is_finite() && upright.sub > 0.0);
    found.sort_by(|a, b| a.sub.total_cmp(&b.sub));
    found
}

/// Signal over noise against hours on the clock, at the plan's sub length and cadence, of the plane that is worst off.
#[must_use]
pub fn snr_figure(id: &str, filter: &FilterPlan, search: &Search) -> Option<Figure> {
    let (sub, every) = (filter.sub_s, filter.dither_every_subs as f64);
    let seconds_per_sub = search.wall_clock(sub, 1.0, every);
    let planned = filter.subs_kept as f64 * seconds_per_sub / 3600.0;
    if !(planned.is_finite() && planned > 0.0) {
        return None;
    }
    let at = |hours: f64| (hours, search.snr(sub, hours * 3600.0 / seconds_per_sub, every));
    let end = 2.5 * planned;
    // The first hours rise steeply: equal steps of the root.
    let curve: Vec<(f64, f64)> = (1..=CURVE_POINTS / 2)
        .map(|i| at(end * (i as f64 / (CURVE_POINTS / 2) as f64).powi(2)))
        .filter(|point| point.1.is_finite() && point.0 * 3600.0 >= seconds_per_sub)
        .collect();
    let chosen = at(planned);
    let x = Axis::even([0.0, end], 0.0);
    let y = Axis::even(curve.iter().map(|point| point.1).chain([0.0, chosen.1]), 0.08).from(0.0);
    let names = ("hours on the clock, losses included", "SNR in the patch");
    let mut panel = Panel::new(x, y, names, 230);
    panel.series.push(Series::new(Pen::Curve, Shape::Line, curve.clone()));
    panel.series.push(Series::new(Pen::Chosen, Shape::Diamonds, vec![chosen]));
    let mut rows = vec![vec!["the plan".into(), said(chosen.0), said(chosen.1)]];
    rows.extend(curve.iter().map(|point| vec!["curve".into(), said(point.0), said(point.1)]));
    let head = ["what", "hours on the clock", "SNR"].map(String::from).to_vec();
    let (half, twice) = (at(planned / 2.0).1, at(planned * 2.0).1);
    let description = format!(
        "SNR {} after {} hours; half the hours give {}, twice the hours {}.",
        rounded(chosen.1, 3),
        rounded(planned, 3),
        rounded(half, 3),
        rounded(twice, 3)
    );
    let title = format!("What more hours bring, filter {}", filter.name);
    Some(
        Figure::new(id.into(), title, description, &[panel], Table { head, rows })
            .with_key(Pen::Curve, Shape::Line, format!("subs of {}", duration(sub)))
            .with_key(Pen::Chosen, Shape::Diamonds, "the plan, hours in hand included"),
    )
}
