//! A running night as text: a line for each light, and the few words that are worth one.

use crate::review::{RunningStack, Said, WatchedSub, Word};

use super::{rounded, wrapped_from};

/// Where the words begin, under the numbers of the lights.
const WORDS: usize = 7;

/// One thing that is said, as a line.
#[must_use]
pub fn watch_line(said: &Said) -> String {
    match said {
        Said::Sub(sub) => line_of_sub(sub),
        Said::LeftOut(file) => indented(&format!("{} is left out: {}", file.file, file.reason)),
        Said::Word(Word { text, .. }) => format!("  * {}", wrapped_from(4, text, 4)),
    }
}

/// How far the stacks are that a watch begins with.
#[must_use]
pub fn watch_summary(lights: usize, stacks: &[RunningStack]) -> String {
    let mut text = format!("{lights} lights are there already\n");
    for stack in stacks {
        text.push_str(&indented(&format!(
            "{}: {} of {} subs kept, {}",
            stack.filter,
            stack.subs_kept,
            stack.subs,
            progress(stack)
        )));
    }
    text
}

fn indented(text: &str) -> String {
    format!("{}{}", " ".repeat(WORDS), wrapped_from(WORDS, text, WORDS))
}

fn line_of_sub(sub: &WatchedSub) -> String {
    let clock = sub.when.as_ref().and_then(|when| when.split('T').nth(1)).unwrap_or("--:--");
    let dash = || "-".to_owned();
    let sky = sub.sky_e_per_s.map_or_else(dash, |sky| rounded(sky.value.0, 3));
    let foretold = sub.predicted_sky_e_per_s.map_or_else(dash, |sky| rounded(sky, 3));
    let stars = sub.fwhm_px.map_or_else(dash, |width| format!("{:.1}", width.value));
    let light = sub.starlight.map_or_else(dash, |light| format!("{:.0}", 100.0 * light.value.min(1.0)));
    let adds = sub.adds_snr.filter(|_| sub.keep).map_or_else(dash, |adds| format!("{adds:+.2}"));
    let (snr, left) = sub.stack.as_ref().map_or_else(|| (dash(), String::new()), |stack| (of_goal(stack), left(stack)));
    let filter: String = sub.filter.chars().take(10).collect();
    let line = format!(
        "{clock}  {filter:<10} {:>5}  {sky:>5} {foretold:>8}  {stars:>5} {light:>5}  {snr:>13} {adds:>6}  {left}",
        rounded(sub.exposure_s.0, 3)
    );
    let mut line = format!("{}\n", line.trim_end());
    if !sub.why.is_empty() {
        let fate = if sub.keep { "" } else { "better left out: " };
        let name = if sub.keep { String::new() } else { format!(" ({})", sub.file) };
        line.push_str(&indented(&format!("{fate}{}{name}", sub.why)));
    }
    line
}

/// The heads of the columns of [`watch_line`].
#[must_use]
pub fn watch_head() -> &'static str {
    "time   filter       s     sky foretold  px wide light        SNR       adds  left\n"
}

fn of_goal(stack: &RunningStack) -> String {
    let Some(snr) = stack.snr else { return format!("{:.2} h", stack.hours_kept) };
    let goal = stack.goal_snr.map_or(String::new(), |goal| format!(" of {}", rounded(goal, 3)));
    format!("{}{goal}", rounded(snr.value, 3))
}

fn left(stack: &RunningStack) -> String {
    match stack.hours_left {
        Some(left) if left <= 0.0 => "reached".to_owned(),
        Some(left) if left < 1.5 => format!("{:.0} min", (60.0 * left).max(1.0)),
        Some(left) => format!("{left:.1} h"),
        None => String::new(),
    }
}

/// `SNR 4.1 of 8, 2.1 h left`.
fn progress(stack: &RunningStack) -> String {
    let left = match left(stack) {
        left if left.is_empty() || left == "reached" => left,
        left => format!("{left} left"),
    };
    let snr = if stack.snr.is_some() {
        format!("SNR {}", of_goal(stack))
    } else {
        format!("{} in the stack", of_goal(stack))
    };
    if left.is_empty() { snr } else { format!("{snr}, {left}") }
}
