//! The picture of a reviewed night.

use crate::report::Table;
use crate::report::rounded;
use crate::review::{FilterReview, Review, SubReview};
use crate::sky::night::Date;

use super::axis::{Axis, clock};
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Panel, Series, Shape};

/// Digits in a table.
const DIGITS: usize = 4;
/// Lights over more hours than this are no one night: they stand in their order instead.
const LONGEST_NIGHT_H: f64 = 20.0;
/// A sky so many times the middle one is drawn in its logarithm.
const STEEP: f64 = 8.0;

/// A time as the review writes it, `2026-03-14T21:05`: its date and its hour.
fn date_and_hour(when: &str) -> Option<(Date, f64)> {
    let (date, time) = when.split_once('T')?;
    let mut parts = time.splitn(3, ':').map(str::parse::<f64>);
    let (hour, minute) = (parts.next()?.ok()?, parts.next()?.ok()?);
    Some((Date::parse(date).ok()?, hour + minute / 60.0))
}

/// Hours after the midnight before the first light; `None` where a time is missing or they are not of one night.
fn hours(times: &[Option<&str>]) -> Option<Vec<f64>> {
    let moments: Vec<(Date, f64)> = times.iter().map(|when| date_and_hour((*when)?)).collect::<Option<_>>()?;
    let first = moments.iter().map(|(date, _)| date.at(0.0, 0.0)).min_by(|a, b| a.0.total_cmp(&b.0))?;
    let hours: Vec<f64> = moments.iter().map(|(date, hour)| date.at(*hour, 0.0).hours_since(first)).collect();
    let (low, high) = hours.iter().fold((f64::MAX, f64::MIN), |(low, high), h| (low.min(*h), high.max(*h)));
    (high - low <= LONGEST_NIGHT_H).then_some(hours)
}

/// The time axis of the lights and where each stands on it.
struct Course<'a> {
    subs: Vec<&'a SubReview>,
    places: Vec<f64>,
    axis: Axis,
    name: &'static str,
    clocked: bool,
}

impl<'a> Course<'a> {
    fn new(subs: Vec<&'a SubReview>) -> Self {
        match hours(&subs.iter().map(|sub| sub.when.as_deref()).collect::<Vec<_>>()) {
            Some(places) => {
                let axis = Axis::clock(places.iter().copied(), 0.04);
                Self { subs, places, axis, name: "local time of the middle of a sub", clocked: true }
            }
            None => {
                let places: Vec<f64> = (1..=subs.len()).map(|i| i as f64).collect();
                let axis = Axis::even(places.iter().copied(), 0.04);
                Self { subs, places, axis, name: "sub, in the order they were taken", clocked: false }
            }
        }
    }

    fn values(&self, of: &dyn Fn(&SubReview) -> Option<f64>) -> Vec<(f64, f64, bool)> {
        let subs = self.places.iter().zip(&self.subs);
        subs.filter_map(|(place, sub)| Some((*place, of(sub)?, sub.keep))).filter(|v| v.1.is_finite()).collect()
    }

    /// One panel: a value of each sub, kept and dropped ones by their shape, and what was predicted.
    fn panel(
        &self,
        y_name: String,
        value: &dyn Fn(&SubReview) -> Option<f64>,
        predicted: &dyn Fn(&SubReview) -> Option<f64>,
    ) -> Option<Panel> {
        let (values, predicted) = (self.values(value), self.values(predicted));
        if values.is_empty() {
            return None;
        }
        let all = || values.iter().chain(&predicted).map(|point| point.1);
        let (low, high) = all().fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)));
        let y = if low > 0.0 && high > STEEP * low {
            Axis::logarithmic(all(), 1.3)
        } else {
            Axis::even(all().chain([0.0]), 0.08).from(0.0)
        };
        let mut panel = Panel::new(self.axis.clone(), y, (self.name, y_name), 180);
        let points = |kept: bool| values.iter().filter(|v| v.2 == kept).map(|v| (v.0, v.1)).collect::<Vec<_>>();
        panel.series = vec![
            Series::new(Pen::Curve, Shape::Line, predicted.iter().map(|v| (v.0, v.1)).collect()),
            Series::new(Pen::Used, Shape::Points, points(true)),
            Series::new(Pen::Dropped, Shape::Crosses, points(false)),
        ];
        Some(panel)
    }
}

/// The night of a filter, sub by sub: sky, stars' width and stars' light, measured and predicted; `None` without lights.
#[must_use]
pub fn timeline_figure(id: &str, review: &Review, filter: &FilterReview) -> Option<Figure> {
    let subs: Vec<&SubReview> = review.subs.iter().filter(|sub| sub.filter == filter.name).collect();
    if subs.is_empty() {
        return None;
    }
    let course = Course::new(subs);
    let share = |sub: &SubReview| sub.starlight.map(|light| 100.0 * light.value);
    let panels: Vec<Panel> = [
        course.panel(
            format!("sky in e⁻/s per pixel, plane {}", filter.plane),
            &|sub| sub.sky_e_per_s.map(|sky| sky.value.0),
            &|sub| sub.predicted_sky_e_per_s,
        ),
        course.panel("width of the stars in pixels".into(), &|sub| sub.fwhm_px.map(|width| width.value), &|sub| {
            Some(sub.predicted_fwhm_px)
        }),
        course.panel("light of the stars in % of the best".into(), &share, &|sub| share(sub).map(|_| 100.0)),
    ]
    .into_iter()
    .flatten()
    .collect();
    let cell = |value: Option<f64>| value.map_or_else(|| "–".into(), |value| rounded(value, DIGITS));
    let rows = course
        .subs
        .iter()
        .zip(&course.places)
        .map(|(sub, place)| {
            let signs: Vec<&str> = sub.signs.iter().map(|sign| sign.word()).collect();
            vec![
                if sub.keep { "kept" } else { "left out" }.into(),
                if course.clocked { clock(*place) } else { format!("{place}") },
                cell(sub.sky_e_per_s.map(|sky| sky.value.0)),
                cell(sub.predicted_sky_e_per_s),
                cell(sub.fwhm_px.map(|width| width.value)),
                cell(Some(sub.predicted_fwhm_px)),
                cell(share(sub)),
                signs.join(", "),
                sub.file.clone(),
            ]
        })
        .collect();
    let first = if course.clocked { "local time" } else { "sub" };
    let head = [
        "sub is",
        first,
        "sky in e⁻/s",
        "predicted",
        "star width in px",
        "predicted",
        "starlight in %",
        "signs",
        "file",
    ];
    let head = head.map(String::from).to_vec();
    let description = format!(
        "{} subs, {} kept. The quiet sky is {} e⁻/s, predicted {}.",
        filter.subs,
        filter.subs_kept,
        filter.sky_e_per_s.map_or_else(|| "not determined, in".into(), |sky| rounded(sky.value.0, 3)),
        filter.predicted_sky_e_per_s.map_or_else(|| "nothing".into(), |sky| rounded(sky.value.0, 3))
    );
    let title = format!("The night sub by sub, filter {}", filter.name);
    let mut figure = Figure::new(id.into(), title, description, &panels, Table { head, rows }).with_key(
        Pen::Used,
        Shape::Points,
        "a sub that is kept",
    );
    if filter.subs_kept < filter.subs {
        figure = figure.with_key(Pen::Dropped, Shape::Crosses, "a sub to leave out");
    }
    Some(figure.with_key(Pen::Curve, Shape::Line, "predicted by the night file; of starlight, the best subs"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_go_on_over_midnight_and_the_end_of_a_month() {
        let found = hours(&[Some("2024-02-29T23:30"), Some("2024-03-01T01:00")]).unwrap();
        approx::assert_relative_eq!(found[0], 23.5, epsilon = 1e-6);
        approx::assert_relative_eq!(found[1], 25.0, epsilon = 1e-6);
        assert_eq!(hours(&[Some("2026-03-14T23:30"), None]), None);
        assert_eq!(hours(&[Some("2026-03-14")]), None);
        assert_eq!(hours(&[Some("2026-03-14T20:30"), Some("2026-03-15T20:30")]), None, "two nights");
    }
}
