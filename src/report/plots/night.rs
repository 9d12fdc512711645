//! The picture of a dated night.

use crate::night::{CourseMoment, NightCourse};
use crate::plan::Plan;
use crate::report::Table;
use crate::report::rounded;

use super::axis::{Axis, clock};
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Panel, Series, Shape};

const TIME: &str = "local time";

/// A corner-to-corner stretch of time over the whole height, for the hours that can be used.
fn hours(course: &NightCourse, x: &Axis, y: &Axis) -> Vec<Vec<(f64, f64)>> {
    let within = |at: f64| at.clamp(x.low(), x.high());
    let corners = |[from, to]: &[f64; 2]| {
        let (from, to) = (within(*from), within(*to));
        vec![(from, y.low()), (to, y.low()), (to, y.high()), (from, y.high())]
    };
    course.usable_h.iter().map(corners).collect()
}

/// Stretches of a curve where the value is known.
fn stretches(moments: &[CourseMoment], of: impl Fn(&CourseMoment) -> Option<f64>) -> Vec<Vec<(f64, f64)>> {
    let known = |moment: &CourseMoment| of(moment).is_some();
    let parts = moments.chunk_by(|a, b| known(a) == known(b));
    let curve = |part: &[CourseMoment]| part.iter().filter_map(|m| Some((m.hours, of(m)?))).collect::<Vec<_>>();
    parts.map(curve).filter(|curve| curve.len() > 1).collect()
}

/// The first night from dusk to dawn: altitude of target and Moon, and the sky at the target; `None` without a date.
#[must_use]
pub fn night_figure(id: &str, plan: &Plan) -> Option<Figure> {
    let night = plan.night.as_ref()?;
    let course = &night.course;
    if course.moments.len() < 2 {
        return None;
    }
    let x = Axis::clock(course.moments.iter().map(|moment| moment.hours), 0.0);
    let y = Axis::even([0.0, 90.0], 0.0);
    let mut above = Panel::new(x.clone(), y.clone(), (TIME, "altitude in degrees"), 220);
    above.regions = hours(course, &x, &y);
    let up = |altitude: f64| (altitude >= 0.0).then_some(altitude);
    let moon = stretches(&course.moments, |moment| up(moment.moon_deg));
    let target = stretches(&course.moments, |moment| moment.target_deg.and_then(up));
    let lines = |pen: Pen, curves: &[Vec<(f64, f64)>]| {
        curves.iter().map(|curve| Series::new(pen, Shape::Line, curve.clone())).collect::<Vec<_>>()
    };
    above.series = [lines(Pen::Curve, &target), lines(Pen::Second, &moon)].concat();
    let mut panels = if target.is_empty() && moon.is_empty() { Vec::new() } else { vec![above] };
    let sky = stretches(&course.moments, |moment| moment.sky_mag_per_arcsec2);
    if !sky.is_empty() {
        let y = Axis::even(sky.iter().flatten().map(|point| point.1), 0.1);
        let mut below =
            Panel::new(x.clone(), y.clone(), (TIME, "sky at the target in mag/arcsec², darker upwards"), 170);
        below.regions = hours(course, &x, &y);
        below.series = lines(Pen::Curve, &sky);
        panels.push(below);
    }
    if panels.is_empty() {
        return None;
    }
    let cell = |value: Option<f64>, digits: usize| value.map_or_else(|| "–".into(), |value| rounded(value, digits));
    let row = |moment: &CourseMoment| {
        vec![
            clock(moment.hours),
            cell(moment.target_deg, 3),
            cell(Some(moment.moon_deg), 3),
            cell(Some(moment.sun_deg), 3),
            cell(moment.sky_mag_per_arcsec2, 4),
        ]
    };
    let rows = course.moments.iter().map(row).collect();
    let head = [TIME, "target in °", "Moon in °", "Sun in °", "sky in mag/arcsec²"].map(String::from).to_vec();
    let target_words = if target.is_empty() { " The target has no position: its height is not drawn." } else { "" };
    let moon_words = if moon.is_empty() {
        "The Moon is down all night.".into()
    } else {
        format!("The Moon is lit to {:.0} %.", night.moon_illuminated_percent)
    };
    let description = format!(
        "The night of {} from dusk to dawn; {} h can be used. {moon_words}{target_words}",
        night.date,
        rounded(night.usable_hours, 3)
    );
    let mut figure =
        Figure::new(id.into(), "The sky through the night".into(), description, &panels, Table { head, rows });
    if !(target.is_empty() && sky.is_empty()) {
        figure = figure.with_key(Pen::Curve, Shape::Line, "the target, and the sky about it");
    }
    if !moon.is_empty() {
        figure = figure.with_key(Pen::Second, Shape::Line, "the Moon");
    }
    Some(figure.with_key(Pen::Band, Shape::Line, "hours that can be used"))
}
