//! Frames that no sensor read, and darks that are cut off at 0.

use crate::caveat::Caveat;
use crate::frames::Frame;

use crate::sensor::MeasureError;

/// A dark with a larger share of its pixels at 0 is cut off there.
const CLIPPED_SHARE: f64 = 0.1;

/// Refuses a frame of one count alone: whatever wrote it, it was no sensor.
pub(super) fn not_blank(frame: &Frame) -> Result<(), MeasureError> {
    let first = frame.pixels.first().copied().unwrap_or_default();
    if frame.pixels.iter().any(|count| *count != first) {
        return Ok(());
    }
    Err(MeasureError::Blank { file: frame.info.file.clone(), count: first })
}

/// A dark that is cut off at 0 has a mean above its true level, and the light has not.
pub(super) fn clipped_dark(light: &Frame, dark: &Frame) -> Option<Caveat> {
    let zeros =
        |frame: &Frame| frame.pixels.iter().filter(|count| **count == 0).count() as f64 / frame.pixels.len() as f64;
    let share = zeros(dark);
    (share > CLIPPED_SHARE && zeros(light) < share / 2.0).then(|| {
        let message = format!("{:.0} % of the dark's pixels are 0: its level is lower than its mean", 100.0 * share);
        Caveat::new("black-clipped", message, "raise the camera's offset, and take light and dark again")
            .about(&dark.info.file)
    })
}
