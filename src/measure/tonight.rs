//! Darks and flats that were taken beside tonight's lights: whether they fit, in a sentence.

use crate::camera::{CameraProfile, Mode};
use crate::files::FrameSet;
use crate::frames::{FrameInfo, FrameKind, Group, Inventory, same_exposure};
use crate::night::Night;
use crate::sensor::frame_mode;
use crate::stats::median;
use crate::units::Celsius;

use super::lights::SAME_TEMPERATURE_K;

/// Flats are good between these shares of saturation (common practice, no source).
const GOOD_FLATS: [f64; 2] = [0.15, 0.7];

/// What a group is known by, so that it is said once, and the sentence; `None` for kinds of which nothing is to be said.
pub(super) fn calibration_word(
    group: &Group,
    inventory: &Inventory,
    camera: &CameraProfile,
    night: &Night,
    frames: &FrameSet,
) -> Option<(String, String)> {
    let first = group.frames.first()?;
    let lights = || inventory.frames().filter(|info| info.kind == FrameKind::Light);
    let like = lights().filter(|light| light.gain_setting == first.gain_setting);
    let (key, text) = match group.kind {
        FrameKind::Dark => {
            let of_length: Vec<&FrameInfo> = like.filter(|l| same_exposure(l.exposure, first.exposure)).collect();
            // Before the first light nothing can be compared.
            lights().next()?;
            let (key, fits) = darks_fit(group, &of_length);
            (key, format!("darks of {} s: {fits}", first.exposure.0))
        }
        FrameKind::Flat => {
            let mode = camera.mode_of_frame(&frame_mode(first), night.camera.gain_setting).ok()?;
            let share = fullness(group, mode, frames)?;
            let of = first.filter.as_ref().map_or(String::new(), |filter| format!(" through {filter}"));
            let (key, verdict) = match share {
                share if share < GOOD_FLATS[0] => {
                    ("dim", "dim: take them brighter, or their noise comes into the stack")
                }
                share if share > GOOD_FLATS[1] => {
                    ("bright", "too bright: the sensor may answer no longer straight there")
                }
                _ => ("good", "good"),
            };
            (
                key.into(),
                format!("flats{of} of {} s: {:.0} % of saturation, {verdict}", first.exposure.0, 100.0 * share),
            )
        }
        FrameKind::Bias | FrameKind::DarkFlat | FrameKind::Light => return None,
    };
    let filter = first.filter.as_deref().unwrap_or_default();
    Some((format!("{:?} {} {filter} {key}", group.kind, first.exposure.0), text))
}

/// Whether the darks fit the lights of their length, by the temperature.
fn darks_fit(group: &Group, lights: &[&FrameInfo]) -> (String, String) {
    if lights.is_empty() {
        return ("none".into(), "no light of tonight has their length and gain".into());
    }
    let of_lights = median(lights.iter().filter_map(|light| light.sensor).map(|sensor| sensor.0));
    let Some((Celsius(dark), light)) = group.sensor.zip(of_lights) else {
        return (
            "unknown".into(),
            "their headers, or the lights', give no temperature, so nobody knows whether they fit".into(),
        );
    };
    let off = dark - light;
    if off.abs() <= SAME_TEMPERATURE_K {
        return ("fit".into(), format!("they fit the lights, {dark:.1} against {light:.1} °C"));
    }
    let how = if off > 0.0 { "warmer" } else { "colder" };
    let text =
        format!("they were {:.1} °C {how} than the lights ({dark:.1} against {light:.1} °C): take others", off.abs());
    (how.into(), text)
}

/// How full the flats are, as a share of the saturation of the plane that is full first.
fn fullness(group: &Group, mode: &Mode, frames: &FrameSet) -> Option<f64> {
    let level = median(group.frames.iter().filter_map(|info| frames.level(info)).map(|level| level.0))?;
    let share = |plane: &crate::camera::Plane| {
        let offset = plane.offset_dn?.value.0;
        Some((level - offset) * plane.gain_e_per_dn.value.0 / plane.saturation_e.value.0)
    };
    mode.planes.iter().filter_map(share).max_by(f64::total_cmp)
}
