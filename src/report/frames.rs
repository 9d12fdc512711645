//! What is in a folder, as text.

use crate::frames::Inventory;

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
    text.push_str(&rejected_text(&inventory.rejected));
    for missing in &inventory.missing {
        text.push_str(&wrapped(&format!("missing: {missing}"), 2));
    }
    text.push_str(&caveats_text(&inventory.caveats));
    text
}

/// Four digits without the zeros that say nothing.
fn exact(value: f64) -> String {
    let text = rounded(value, 4);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
