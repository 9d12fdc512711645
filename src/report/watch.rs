//! A running night as text: a line for each light, and the few words that are worth one.

use crate::review::{RunningStack, Said, WatchedSub, Word};
use crate::stats::Estimate;

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
    let sky = sub.sky_e_per_s.map_or_else(|| "unseen".to_owned(), |sky| rounded(sky.value.0, 3));
    let foretold = sub.predicted_sky_e_per_s.map_or(String::new(), |sky| format!(" ({} foretold)", rounded(sky, 3)));
    let stars = sub.fwhm_px.map_or(String::new(), |width| format!("  stars {:.1} px", width.value));
    let light = sub.starlight.map_or(String::new(), |light| format!("  light {:.0} %", 100.0 * light.value.min(1.0)));
    let stack = sub.stack.as_ref().map_or(String::new(), |stack| format!("  {}", progress(stack)));
    let adds = sub.adds_snr.filter(|_| sub.keep).map_or(String::new(), |adds| format!(", this one {adds:+.2}"));
    let mut line =
        format!("{clock}  {} {} s  sky {sky}{foretold}{stars}{light}{stack}{adds}\n", sub.filter, sub.exposure_s.0);
    if !sub.why.is_empty() {
        let fate = if sub.keep { "" } else { "better left out: " };
        line.push_str(&indented(&format!("{fate}{}", sub.why)));
    }
    line
}

/// `SNR 4.1 of 8, 2.1 h left`.
fn progress(stack: &RunningStack) -> String {
    let Some(snr) = stack.snr else { return format!("{:.2} h in the stack", stack.hours_kept) };
    let goal = stack.goal_snr.map_or(String::new(), |goal| format!(" of {goal}"));
    let left = match stack.hours_left {
        Some(left) if left <= 0.0 => ", reached".to_owned(),
        Some(left) if left < 1.5 => format!(", {:.0} min left", 60.0 * left),
        Some(left) => format!(", {left:.1} h left"),
        None => String::new(),
    };
    let Estimate { value, .. } = snr;
    format!("SNR {value:.2}{goal}{left}")
}
