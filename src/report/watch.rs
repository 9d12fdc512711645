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
    let mut text = format!("{lights} lights found\n");
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
    let adds =
        sub.adds_snr.filter(|_| sub.keep).map_or_else(dash, |adds| format!("{:+.2}", without_sign_of_nothing(adds)));
    let (snr, left) = sub.stack.as_ref().map_or_else(|| (dash(), String::new()), |stack| (of_goal(stack), left(stack)));
    let filter: String = sub.filter.chars().take(10).collect();
    let line = format!(
        "{clock}  {filter:<10} {:>5}  {sky:>5} {foretold:>8}  {stars:>5} {light:>5}  {snr:>12} {adds:>6} {left}",
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

/// What is written as nothing has no sign.
fn without_sign_of_nothing(adds: f64) -> f64 {
    if adds.abs() < 0.005 { 0.0 } else { adds }
}

/// The heads of the columns of [`watch_line`].
#[must_use]
pub fn watch_head() -> &'static str {
    "time   filter         s    sky foretold  stars light           SNR   adds left\n"
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::Estimate;
    use crate::units::{ElectronsPerSecond, Seconds};

    /// A narrow terminal shows each light in a line, under its heads.
    #[test]
    fn a_light_is_a_line_of_eighty_columns() {
        let stack = RunningStack {
            filter: "luminance".into(),
            subs: 120,
            subs_kept: 118,
            hours_kept: 2.0,
            snr: Some(Estimate::new(109.4, 3.0)),
            snr_in_hand: None,
            goal_snr: Some(120.0),
            hours_left: Some(12.4),
        };
        let sub = WatchedSub {
            file: "light_0001.fits".into(),
            when: Some("2026-10-12T21:01".into()),
            hours_since_first: Some(1.0),
            target_altitude_deg: None,
            filter: "luminance".into(),
            exposure_s: Seconds(1200.0),
            sky_e_per_s: Some(Estimate { value: ElectronsPerSecond(0.0643), ..Estimate::new(0.0643, 0.001) }),
            predicted_sky_e_per_s: Some(0.0721),
            fwhm_px: Some(Estimate::new(12.34, 0.1)),
            predicted_fwhm_px: 3.0,
            starlight: Some(Estimate::new(1.02, 0.01)),
            signs: Vec::new(),
            keep: true,
            worth_percent: 99.0,
            adds_snr: Some(12.34),
            why: String::new(),
            stack: Some(stack),
        };
        let line = watch_line(&Said::Sub(Box::new(sub)));
        assert_eq!(line, "21:01  luminance   1200  0.0643   0.0721   12.3   100    109 of 120 +12.34 12.4 h\n");
        assert!(line.trim_end().chars().count() <= 81, "{line}");
    }
}
