//! What is in a folder, as text.

use crate::frames::Inventory;
use crate::frames::stated::Stated;

use super::{caveats_text, rejected_text, rounded, wrapped};

/// The groups of a folder, a line each, then what was left out, what is missing, and the doubts.
#[must_use]
pub fn frames_text(inventory: &Inventory) -> String {
    let mut text = String::new();
    for (mode, groups) in inventory.modes() {
        text.push_str(&format!("{mode}\n"));
        for group in groups {
            let temperature = group.temperature.map_or_else(|| "     -".into(), |celsius| format!("{:6.1}", celsius.0));
            text.push_str(&format!(
                "  {:<9} {:>4} ×  {:>8} s  {temperature} °C   by {}\n",
                group.kind.to_string(),
                group.frames.len(),
                exact(group.exposure.0),
                group.why
            ));
        }
    }
    if inventory.groups.is_empty() {
        text.push_str("no frames\n");
    }
    let stated: Vec<String> = inventory.stated.iter().map(in_words).collect();
    text.push_str(&stated_text(&stated));
    text.push_str(&rejected_text(&inventory.rejected));
    for missing in &inventory.missing {
        text.push_str(&wrapped(&format!("missing: {missing}"), 2));
    }
    text.push_str(&caveats_text(&inventory.caveats));
    text
}

/// What the files state of their own gain and noise, a line each; empty without any.
#[must_use]
pub fn stated_text(lines: &[String]) -> String {
    let mut text = String::new();
    for line in lines {
        text.push_str(&wrapped(&format!("stated by the files, not used: {line}"), 2));
    }
    text
}

fn in_words(stated: &Stated) -> String {
    let whose = stated.colour.map_or_else(|| stated.from.clone(), |colour| format!("{} of {colour}", stated.from));
    match stated.read_noise_e {
        Some(noise) => format!("{whose} {} e-/DN, {} e- read noise", rounded(stated.e_per_dn, 4), rounded(noise, 3)),
        None => format!("{whose} {} e-/DN", stated.e_per_dn),
    }
}

/// Four digits without the zeros that say nothing.
fn exact(value: f64) -> String {
    let text = rounded(value, 4);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
