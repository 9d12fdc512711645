//! The calibration frames to take, as a page to print.

use crate::plan::{Checklist, ChecklistStep, StepKind};
use crate::units::Seconds;

use super::{duration, entry};

/// Column in which the notes stand.
const NOTES: usize = 34;

/// The list, what to beware of, and what it cannot tell.
#[must_use]
pub fn checklist_text(list: &Checklist) -> String {
    let time = duration(Seconds(list.minutes * 60.0));
    let head = format!("Calibration frames for {}, about {time} at one gain setting.", list.camera);
    let mut text = format!("{}\n", wrapped_at(&head, 0));
    let mut before = "";
    for step in &list.steps {
        match step.kind {
            StepKind::Prepare => text.push_str(&format!("- {}", wrapped_at(&step.note, 2))),
            // The same words on many lines hide the one that differs.
            _ if step.note == before => text.push_str(&format!("    {}\n", frames(step))),
            _ => text.push_str(&entry(4, &frames(step), NOTES, &step.note)),
        }
        before = &step.note;
    }
    text.push_str("\nTake care:\n");
    list.cautions.iter().for_each(|caution| text.push_str(&format!("! {}", wrapped_at(caution, 2))));
    text.push_str("\nThese frames cannot tell:\n");
    list.cannot_tell.iter().for_each(|words| text.push_str(&format!("- {}", wrapped_at(words, 2))));
    text
}

/// Text that starts at column `indent` and stays there.
fn wrapped_at(text: &str, indent: usize) -> String {
    super::wrapped_from(indent, text, indent)
}

/// `4 × dark of 300 s`.
fn frames(step: &ChecklistStep) -> String {
    let what = match step.kind {
        StepKind::Bias => "bias, shortest".to_owned(),
        StepKind::Flat => {
            format!("flat, {:.0} % of t_sat", 100.0 * step.of_saturation_time.unwrap_or_default())
        }
        _ => format!("dark of {}", step.exposure_s.map_or_else(String::new, |time| format!("{} s", time.0))),
    };
    format!("[ ] {:>2} × {what}", step.count)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{ChecklistFor, checklist};

    #[test]
    fn fits_eighty_columns_and_says_the_sun() {
        for camera in [ChecklistFor::Cooled, ChecklistFor::Uncooled, ChecklistFor::Quick] {
            let text = checklist_text(&checklist(camera));
            assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
            assert!(text.contains("Sun") && text.contains("cannot tell"));
        }
    }
}
