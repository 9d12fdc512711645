//! The morning after as text: the night in a compact timeline, what to leave out, what to do.

use crate::review::{FilterReview, Review, Sign, SubReview};

use crate::stats::Estimate;
use crate::units::ElectronsPerSecond;

use super::{caveats_text, entry, rejected_text, rounded, with_uncertainty, wrapped, wrapped_from};

/// A stretch of like subs is cut into at most so many rows.
const ROWS_OF_A_STRETCH: usize = 8;
/// Column of the values.
const VALUES: usize = 24;

/// The whole answer of `review`.
#[must_use]
pub fn review_text(review: &Review) -> String {
    let mut text = wrapped(&review_line(review), 2);
    for filter in &review.filters {
        text.push_str(&timeline(filter, review));
        text.push('\n');
        for (name, value) in filter_entries(filter) {
            text.push_str(&entry(2, name, VALUES, &value));
        }
    }
    text.push_str(&dropped(review));
    text.push_str("\nfor the next night\n");
    for advice in &review.advice {
        text.push_str("  - ");
        text.push_str(&wrapped_from(4, advice, 4));
    }
    text.push('\n');
    text.push_str(&rejected_text(&review.left_out));
    text.push_str(&caveats_text(&review.caveats));
    text
}

/// How many lights, and of when.
pub(super) fn review_line(review: &Review) -> String {
    let when = match (&review.night.from, &review.night.to) {
        (Some(from), Some(to)) => {
            let one = evenings(review.subs.iter().collect()).len() < 2;
            let to = if one { clock(Some(to.as_str())) } else { to.replace('T', " ") };
            format!(", {} to {to} local time", from.replace('T', " "))
        }
        _ => String::new(),
    };
    let lights = review.subs.len();
    format!("{lights} {} against the night file{when}", plural(lights, "light"))
}

fn plural(count: usize, word: &str) -> String {
    if count == 1 { word.to_owned() } else { format!("{word}s") }
}

/// The hour and minute of a local time.
fn clock(when: Option<&str>) -> String {
    when.and_then(|when| when.split('T').nth(1)).unwrap_or("--:--").to_owned()
}

fn timeline(filter: &FilterReview, review: &Review) -> String {
    let subs: Vec<&SubReview> = review.subs.iter().filter(|sub| sub.filter == filter.name).collect();
    let colour = subs.first().and_then(|sub| sub.planes.iter().find(|plane| plane.plane == filter.plane)?.colour);
    let plane = colour.map_or_else(|| filter.plane.to_string(), |colour| format!("{} ({colour})", filter.plane));
    let mut text = format!("\n{}, sky in plane {plane}\n\n", filter.name);
    text.push_str("  time         subs  sky e-/s  predicted  noise e-  stars  light  width px\n");
    let alike = |a: &&SubReview, b: &&SubReview| a.signs == b.signs && a.keep == b.keep;
    let evenings = evenings(subs);
    for evening in &evenings {
        if let ([_, _, ..], Some(date)) = (evenings.as_slice(), evening[0].evening()) {
            text.push_str(&format!("  evening of {date}\n"));
        }
        for stretch in evening.chunk_by(alike) {
            let rows = stretch.len().div_ceil(ROWS_OF_A_STRETCH).max(1);
            // Only what changes within a stretch is worth several rows.
            let rows = if changes(stretch) { rows } else { stretch.len() };
            for row in stretch.chunks(rows) {
                text.push_str(&line(row));
            }
        }
    }
    text
}

/// Subs evening by evening, each by time.
fn evenings(mut subs: Vec<&SubReview>) -> Vec<Vec<&SubReview>> {
    subs.sort_by_key(|sub| sub.evening());
    subs.chunk_by(|a, b| a.evening() == b.evening()).map(<[&SubReview]>::to_vec).collect()
}

/// Whether the sky or the stars change within a stretch by more than a twentieth.
fn changes(stretch: &[&SubReview]) -> bool {
    let apart = |of: fn(&SubReview) -> Option<f64>| {
        let values = || stretch.iter().filter_map(|sub| of(sub));
        values().fold(f64::MIN, f64::max) > 1.05 * values().fold(f64::MAX, f64::min)
    };
    apart(|sub| Some(sub.sky_over_quiet)) || apart(|sub| sub.starlight.map(|share| share.value))
}

fn line(row: &[&SubReview]) -> String {
    let mean = |of: &dyn Fn(&SubReview) -> Option<f64>| {
        let values: Vec<f64> = row.iter().filter_map(|sub| of(sub)).collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    let said = |value: Option<f64>, digits: usize| value.map_or_else(|| "-".into(), |value| rounded(value, digits));
    let (first, last) = (row.first(), row.last());
    let when = |sub: Option<&&SubReview>| sub.and_then(|sub| sub.when.clone());
    let time = match (when(first), when(last)) {
        (None, None) => "-".into(),
        (from, _) if row.len() == 1 => clock(from.as_deref()),
        (Some(one), None) | (None, Some(one)) => clock(Some(&one)),
        (from, to) if clock(from.as_deref()) == clock(to.as_deref()) => clock(from.as_deref()),
        (from, to) => format!("{}-{}", clock(from.as_deref()), clock(to.as_deref())),
    };
    let share = mean(&|sub| sub.starlight.map(|share| 100.0 * share.value.min(1.0)));
    let mut text = format!(
        "  {time:<11} {:>5} {:>9} {:>9} {:>9} {:>6} {:>6} {:>9}",
        row.len(),
        said(mean(&|sub| sub.sky_e_per_s.map(|sky| sky.value.0)), 3),
        said(mean(&|sub| sub.predicted_sky_e_per_s), 3),
        said(mean(&|sub| sub.noise_e.map(|noise| noise.value.0)), 3),
        mean(&|sub| Some(sub.star_count as f64)).map_or_else(|| "-".into(), |count| format!("{count:.0}")),
        share.map_or_else(|| "-".into(), |share| format!("{share:.0} %")),
        said(mean(&|sub| sub.fwhm_px.map(|width| width.value)), 2),
    );
    let signs = first.map_or(&[][..], |sub| &sub.signs);
    let mut words: Vec<&str> = signs.iter().map(|sign: &Sign| sign.word()).collect();
    if first.is_some_and(|sub| !sub.keep) {
        words.push("leave out");
    }
    text.push('\n');
    if !words.is_empty() {
        text.push_str(&format!("    ^ {}\n", words.join(", ")));
    }
    text
}

/// A sky, or that nothing was seen of it.
fn sky_words(sky: Option<&Estimate<ElectronsPerSecond>>) -> String {
    sky.map_or_else(|| "not determined".into(), with_uncertainty)
}

/// What a filter's lights come to.
pub(super) fn filter_entries(filter: &FilterReview) -> Vec<(&'static str, String)> {
    let mut entries = Vec::new();
    let mut line = |name: &'static str, value: String| entries.push((name, value));
    line(
        "quiet sky",
        format!(
            "{}, the night file says {}",
            sky_words(filter.sky_e_per_s.as_ref()),
            sky_words(filter.predicted_sky_e_per_s.as_ref())
        ),
    );
    if let Some(trend) = filter.sky_trend_percent_per_h {
        line("sky over the night", format!("{trend:+.1} % of the quiet sky in an hour"));
    }
    line("kept", format!("{} of {} subs, {:.2} h", filter.subs_kept, filter.subs, filter.hours_kept));
    if let Some(snr) = &filter.achieved_snr {
        let all = filter.snr_if_all_kept.map_or_else(String::new, |snr| format!("; with all subs {}", rounded(snr, 3)));
        let told = filter.predicted_snr.map_or_else(String::new, |snr| format!("; predicted {}", rounded(snr, 3)));
        line("signal over noise", format!("{}{all}{told}", with_uncertainty(snr)));
    }
    if filter.planes.len() > 1 {
        let plane = |plane: &crate::review::ReviewPlane| {
            let colour = plane.colour.map_or_else(String::new, |colour| format!(" ({colour})"));
            let snr =
                plane.achieved_snr.map_or_else(String::new, |snr| format!(", {} over noise", rounded(snr.value, 3)));
            format!("{}{colour} {}{snr}", plane.plane, sky_words(plane.sky_e_per_s.as_ref()))
        };
        line("planes", filter.planes.iter().map(plane).collect::<Vec<_>>().join("; "));
    }
    entries
}

/// How many subs to leave out; `None` where every one is worth keeping.
pub(super) fn dropped_line(review: &Review) -> Option<String> {
    let count = review.subs.iter().filter(|sub| !sub.keep).count();
    (count > 0).then(|| format!("leave out {count} {} ({:.2} h)", plural(count, "sub"), review.hours_dropped))
}

/// Which subs to leave out and why, like ones together.
pub(super) fn dropped_lines(review: &Review) -> Vec<String> {
    let dropped: Vec<&SubReview> = review.subs.iter().filter(|sub| !sub.keep).collect();
    let mut lines = Vec::new();
    for alike in dropped.chunk_by(|a, b| a.signs == b.signs) {
        let files: Vec<&str> = alike.iter().map(|sub| sub.file.as_str()).collect();
        let worst = alike.iter().min_by(|a, b| a.worth_percent.total_cmp(&b.worth_percent));
        let why = worst.map_or("", |sub| sub.why.as_str());
        let of = if alike.len() > 1 { "the worst of them, " } else { "" };
        lines.push(format!("{}: {of}{why}", files.join(", ")));
    }
    lines
}

fn dropped(review: &Review) -> String {
    let Some(head) = dropped_line(review) else { return String::new() };
    let lines = dropped_lines(review);
    format!("\n{head}\n") + &lines.iter().map(|line| format!("  {}", wrapped_from(2, line, 4))).collect::<String>()
}
