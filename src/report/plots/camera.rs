//! Pictures of a camera.

use crate::camera::{CameraProfile, Mode, Plane, SaturationIs, TransferPoint};
use crate::noise::DarkRates;
use crate::report::Table;
use crate::report::{rounded, with_uncertainty};
use crate::units::Celsius;

use super::axis::Axis;
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Bar, Panel, Series, Shape};

/// Points of a drawn curve.
const CURVE_POINTS: usize = 60;
/// Digits in a table: more than the eye takes from the picture.
const DIGITS: usize = 5;
/// Kelvins beyond the measured temperatures to which the law is drawn.
const BEYOND_K: f64 = 5.0;
/// From so far beyond them on it counts as extrapolated (a little more than the margin of [`DarkRates`]).
const STEP_OUT_K: f64 = 0.6;
/// The ends of the law's interval are drawn as far as this factor beyond it.
const FAR: f64 = 4.0;
/// Points of each stretch of the law.
const LAW_POINTS: usize = 30;

fn words(list: &[&str]) -> Vec<String> {
    list.iter().map(|word| (*word).to_owned()).collect()
}

fn said(value: f64) -> String {
    rounded(value, DIGITS)
}

/// The fitted variance in DN² at a level in DN.
///
/// ```text
/// V(μ) = V0 + μ/g + a μ²,   V0 = read² + step²/12
/// ```
///
/// `g` is the gain in e⁻/DN, `a` the curvature; `None` without a fit. `V0` is that of the bias frames, which the fit itself
/// may miss by their uncertainty.
fn fitted(mode: &Mode, plane: &Plane, level: f64) -> Option<f64> {
    let curvature = plane.fit.as_ref()?.quadratic_per_e.as_ref()?.value;
    let read = plane.read_noise_dn.as_ref().map_or(0.0, |noise| noise.value.0);
    let dark = read.powi(2) + f64::from(mode.dn_step).powi(2) / 12.0;
    Some(dark + level / plane.gain_e_per_dn.value.0 + curvature * level * level)
}

/// The photon transfer curve of one plane, both axes logarithmic, with the residuals below; `None` without points.
#[must_use]
pub fn photon_transfer_figure(id: &str, mode: &Mode, plane: &Plane) -> Option<Figure> {
    let points: Vec<&TransferPoint> = mode
        .photon_transfer
        .iter()
        .filter(|point| point.plane == plane.plane && point.mean_dn.0 > 0.0 && point.variance_dn2 > 0.0)
        .collect();
    if points.is_empty() {
        return None;
    }
    let x = Axis::logarithmic(points.iter().map(|point| point.mean_dn.0), 1.6);
    let fit = |level: f64| fitted(mode, plane, level).filter(|variance| *variance > 0.0);
    let y = Axis::logarithmic(points.iter().map(|point| point.variance_dn2), 1.8);
    let end = plane.fit.as_ref().map_or(x.high(), |fit| fit.range_dn[1]);
    let stretch = Axis::logarithmic([x.low(), end.min(x.high())], 1.0);
    let curve: Vec<(f64, f64)> = (0..=CURVE_POINTS)
        .map(|i| stretch.at(i as f64 / CURVE_POINTS as f64))
        .filter_map(|level| Some((level, fit(level)?)))
        .collect();
    let off = |point: &TransferPoint| {
        fit(point.mean_dn.0).map(|fitted| (point.mean_dn.0, 100.0 * (point.variance_dn2 / fitted - 1.0)))
    };
    let points_used = |used: bool| points.iter().filter(move |point| point.used == used);
    let place = |point: &&&TransferPoint| (point.mean_dn.0, point.variance_dn2);
    let mut above = Panel::new(x.clone(), y, ("signal in DN, offset removed", "variance in DN²"), 270);
    above.series = vec![
        Series::new(Pen::Curve, Shape::Line, curve.clone()),
        Series::new(Pen::Unused, Shape::Points, points_used(false).map(|point| place(&point)).collect()),
        Series::new(Pen::Used, Shape::Points, points_used(true).map(|point| place(&point)).collect()),
    ];
    let mut panels = vec![above];
    let residuals: Vec<(f64, f64)> = points_used(true).filter_map(|point| off(point)).collect();
    if !residuals.is_empty() {
        let y = Axis::even(residuals.iter().map(|residual| residual.1).chain([-0.5, 0.5]), 0.15);
        let mut below = Panel::new(x.clone(), y, ("signal in DN, offset removed", "used points, % off the curve"), 150);
        below.series = vec![
            Series::new(Pen::Curve, Shape::Line, vec![(x.low(), 0.0), (x.high(), 0.0)]),
            Series::new(Pen::Used, Shape::Points, residuals),
        ];
        panels.push(below);
    }
    let mut rows: Vec<Vec<String>> = points
        .iter()
        .map(|point| {
            let off = off(point).map_or_else(|| "–".into(), |off| rounded(off.1, 3));
            let used = if point.used { "used" } else { "not used" };
            vec![used.into(), said(point.mean_dn.0), said(point.variance_dn2), off]
        })
        .collect();
    rows.extend(curve.iter().map(|(level, variance)| vec!["curve".into(), said(*level), said(*variance), "0".into()]));
    let head = words(&["point", "signal in DN", "variance in DN²", "off the curve in %"]);
    let title = format!("Photon transfer, {}, plane {}", mode.label(), plane.plane);
    let description = format!(
        "Variance against signal for {} pairs of flats, {} of them used by the fit. The slope at small signal gives the gain, {}.",
        points.len(),
        points_used(true).count(),
        with_uncertainty(&plane.gain_e_per_dn)
    );
    let mut figure = Figure::new(id.into(), title, description, &panels, Table { head, rows }).with_key(
        Pen::Used,
        Shape::Points,
        "a pair of flats, used by the fit",
    );
    if points_used(false).count() > 0 {
        let words = "a pair that the fit left out: too near to saturation, or doubtful";
        figure = figure.with_key(Pen::Unused, Shape::Points, words);
    }
    if !curve.is_empty() {
        figure = figure.with_key(Pen::Curve, Shape::Line, "the fit, a quadratic, as far as it was used");
    }
    Some(figure)
}

/// The law of a dark current at a temperature, with its 95 % interval.
struct LawAt {
    celsius: f64,
    rate: f64,
    low: f64,
    high: f64,
}

fn law_between(plane: &Plane, from: f64, to: f64) -> Vec<LawAt> {
    let rates = DarkRates::new(plane);
    let at = |i: usize| {
        let celsius = from + (to - from) * i as f64 / LAW_POINTS as f64;
        let rate = rates.at(Celsius(celsius)).rate;
        let (low, high) = rate.interval();
        // A rate is known to a factor, not to a difference: as beyond the measured temperatures.
        LawAt { celsius, rate: rate.value.0, low: low.max(rate.value.0.powi(2) / high), high }
    };
    (0..=LAW_POINTS).map(at).collect()
}

/// Dark current of one plane against temperature, with its law, the law's 95 % interval and the floor; `None` with fewer
/// than two temperatures.
#[must_use]
pub fn dark_current_figure(id: &str, mode: &Mode, plane: &Plane) -> Option<Figure> {
    let points: Vec<(f64, f64, f64)> = plane
        .dark_current
        .iter()
        .filter_map(|point| Some((point.sensor_c?.0, point.e_per_s.value.0, point.e_per_s.uncertainty.0)))
        .collect();
    if points.len() < 2 {
        return None;
    }
    let ends = Axis::even(points.iter().map(|point| point.0), 0.0);
    let x = Axis::even([ends.low() - BEYOND_K, ends.high() + BEYOND_K], 0.0);
    let law = plane.thermal.as_ref();
    let stretches: [Vec<LawAt>; 3] = match law {
        // The law and what lies beyond it are two statements: no line joins them.
        Some(_) => [
            law_between(plane, x.low(), ends.low() - STEP_OUT_K),
            law_between(plane, ends.low(), ends.high()),
            law_between(plane, ends.high() + STEP_OUT_K, x.high()),
        ],
        None => Default::default(),
    };
    let shown = points.iter().flat_map(|point| [point.1, point.1 + point.2]);
    let law_ends = |at: &LawAt| [at.rate, at.low.max(at.rate / FAR), at.high.min(at.rate * FAR)];
    let y = Axis::logarithmic(shown.chain(stretches.iter().flatten().flat_map(law_ends)), 1.2);
    let names = ("sensor temperature in °C", "dark current in e⁻/s per pixel");
    let mut panel = Panel::new(x.clone(), y.clone(), names, 270);
    let within = |rate: f64| rate.clamp(y.low(), y.high());
    for (stretch, pen) in stretches.iter().zip([Pen::Third, Pen::Curve, Pen::Third]).filter(|(s, _)| !s.is_empty()) {
        let up = stretch.iter().map(|at| (at.celsius, within(at.low)));
        let back = stretch.iter().rev().map(|at| (at.celsius, within(at.high)));
        panel.regions.push(up.chain(back).collect());
        let line = stretch.iter().map(|at| (at.celsius, at.rate)).collect();
        panel.series.push(Series::new(pen, Shape::Line, line));
    }
    let floor = law.map(|law| law.floor_e_per_s.0).filter(|floor| *floor > 0.0);
    if let Some(floor) = floor {
        panel.series.push(Series::new(Pen::Floor, Shape::Line, vec![(x.low(), floor), (x.high(), floor)]));
    }
    let mut measured = Series::new(Pen::Used, Shape::Points, points.iter().map(|point| (point.0, point.1)).collect());
    measured.sigmas = points.iter().map(|point| point.2).collect();
    panel.series.push(measured);
    let mut rows: Vec<Vec<String>> = points
        .iter()
        .map(|(celsius, rate, sigma)| {
            let ends = format!("{} to {}", said(rate - sigma), said(rate + sigma));
            vec!["measured".into(), rounded(*celsius, 4), said(*rate), format!("{ends} (one sigma)")]
        })
        .collect();
    rows.extend(floor.map(|floor| vec!["floor".into(), "all".into(), said(floor), "–".into()]));
    for (stretch, what) in stretches.iter().zip(["extrapolated", "law", "extrapolated"]) {
        rows.extend(stretch.iter().map(|at| {
            let range = format!("{} to {}", said(at.low), said(at.high));
            vec![what.into(), rounded(at.celsius, 4), said(at.rate), range]
        }));
    }
    let head = words(&["what", "sensor in °C", "dark current in e⁻/s", "range, of the law 95 %"]);
    let title = format!("Dark current against temperature, {}, plane {}", mode.label(), plane.plane);
    let doubling =
        law.map_or_else(String::new, |law| format!(" The law doubles every {:.1} K at 0 °C.", law.doubling_k_at_0_c));
    let description =
        format!("{} temperatures from {:.0} to {:.0} °C.{doubling} ", points.len(), ends.low(), ends.high());
    let mut figure = Figure::new(id.into(), title, description, &[panel], Table { head, rows }).with_key(
        Pen::Used,
        Shape::Points,
        "measured, the bar is one standard uncertainty",
    );
    if law.is_some() {
        figure = figure.with_key(Pen::Curve, Shape::Line, "the law that plans use").with_key(
            Pen::Band,
            Shape::Line,
            "its 95 % interval",
        );
        figure = figure.with_key(Pen::Third, Shape::Line, "beyond the measured temperatures, a statement of its own");
    }
    if floor.is_some() {
        figure = figure.with_key(Pen::Floor, Shape::Line, "the floor, which cooling does not lower");
    }
    Some(figure)
}

/// One bar for each gain setting and colour plane, from read noise to saturation in electrons.
#[must_use]
pub fn span_figure(id: &str, profile: &CameraProfile) -> Option<Figure> {
    let spans: Vec<(String, &Plane)> = profile
        .modes
        .iter()
        .flat_map(|mode| {
            let gain = mode.gain_setting.map_or_else(|| mode.label(), |gain| format!("gain {gain}"));
            mode.planes.iter().filter(|plane| plane.read_noise_e.value.0 > 0.0).map(move |plane| {
                let colour = plane.colour.map_or_else(String::new, |colour| format!(", {} ({colour})", plane.plane));
                (format!("{gain}{colour}"), plane)
            })
        })
        .collect();
    if spans.is_empty() {
        return None;
    }
    let ends = spans.iter().flat_map(|(_, plane)| [plane.read_noise_e.value.0, plane.saturation_e.value.0]);
    let x = Axis::logarithmic(ends, 2.0);
    let height = 74 + 34 * spans.len() as i32;
    let names = ("electrons in one pixel", "from read noise to saturation");
    let mut panel = Panel::new(x, Axis::bare(spans.len() as f64), names, height);
    panel.bars = spans
        .iter()
        .map(|(gain, plane)| Bar {
            from: plane.read_noise_e.value.0,
            to: plane.saturation_e.value.0,
            words: format!("{gain}: {}", span_words(plane)),
            beside: String::new(),
        })
        .collect();
    let rows = spans
        .iter()
        .map(|(gain, plane)| {
            let (read, full) = (plane.read_noise_e.value.0, plane.saturation_e.value.0);
            vec![gain.clone(), plane.plane.to_string(), said(read), said(full), rounded(full / read, 4)]
        })
        .collect();
    let head = words(&["setting", "plane", "read noise in e⁻", "saturation in e⁻", "ratio"]);
    let description = String::from(
        "A bar for each gain setting and plane on a logarithmic scale of electrons: its left end is the read noise, its right end saturation.",
    );
    Some(Figure::new(id.into(), "What a pixel spans".into(), description, &[panel], Table { head, rows }))
}

fn span_words(plane: &Plane) -> String {
    let least = if plane.saturation_is == SaturationIs::AtLeast { "at least " } else { "" };
    let most = if plane.read_noise_is_upper_limit { "at most " } else { "" };
    let (read, full) = (plane.read_noise_e.value.0, plane.saturation_e.value.0);
    format!("{most}{} to {least}{} e⁻", rounded(read, 3), rounded(full, 3))
}
