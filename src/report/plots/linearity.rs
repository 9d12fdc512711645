//! The picture of a plane's linearity.

use crate::camera::{Mode, Plane, TransferPoint};
use crate::report::Table;
use crate::report::rounded;
use crate::stats::polynomial_fit;

use super::axis::Axis;
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Panel, Series, Shape};

/// Digits in a table.
const DIGITS: usize = 5;
/// The part of the range that the standard's line is fitted in.
const RANGE: [f64; 2] = [0.05, 0.95];

/// How far the levels of the flats lie off a straight line over the exposure time, against the level; `None` where the
/// profile has no linearity error: the light then was no steady one.
///
/// The line is that of EMVA 1288 Release 4.0 Linear, equations 58 to 63: fitted with weights 1/y² between 5 and 95 % of
/// saturation.
#[must_use]
pub fn linearity_figure(id: &str, mode: &Mode, plane: &Plane) -> Option<Figure> {
    let error = plane.linearity_error_percent?;
    let full = plane.saturation_e.value.0 / plane.gain_e_per_dn.value.0;
    let within = |point: &&TransferPoint| {
        point.plane == plane.plane && (RANGE[0] * full..=RANGE[1] * full).contains(&point.mean_dn.0)
    };
    let points: Vec<(f64, f64)> =
        mode.photon_transfer.iter().filter(within).map(|point| (point.exposure_s.0, point.mean_dn.0)).collect();
    let (times, levels): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let weights: Vec<f64> = levels.iter().map(|level| level.powi(-2)).collect();
    if points.len() < 3 {
        return None;
    }
    let line = polynomial_fit(&times, &levels, &weights, 1)?;
    let off: Vec<(f64, f64)> =
        points.iter().map(|(time, level)| (*level, 100.0 * (level / line.at(*time) - 1.0))).collect();
    let x = Axis::logarithmic(levels.iter().copied(), 1.3);
    let y = Axis::even(off.iter().map(|point| point.1).chain([-0.5, 0.5]), 0.15);
    let names = ("signal in DN, offset removed", "% off a line over exposure time");
    let mut panel = Panel::new(x.clone(), y, names, 190);
    panel.series = vec![
        Series::new(Pen::Curve, Shape::Line, vec![(x.low(), 0.0), (x.high(), 0.0)]),
        Series::new(Pen::Used, Shape::Points, off.clone()),
    ];
    let row = |((time, level), off): (&(f64, f64), &(f64, f64))| {
        vec!["flat".into(), rounded(*level, DIGITS), rounded(off.1, 3), rounded(*time, DIGITS)]
    };
    let rows = points.iter().zip(&off).map(row).collect();
    let head = ["what", "signal in DN", "off the line in %", "exposure in s"].map(String::from).to_vec();
    let description = format!(
        "{} pairs of flats between 5 and 95 % of saturation; on average their level lies {} % off the straight line.",
        points.len(),
        rounded(error, 2)
    );
    let title = format!("Linearity, {}, plane {}", mode.label(), plane.plane);
    Some(
        Figure::new(id.into(), title, description, &[panel], Table { head, rows })
            .with_key(Pen::Used, Shape::Points, "a pair of flats")
            .with_key(Pen::Curve, Shape::Line, "the straight line"),
    )
}
