//! A camera profile as text.

use crate::camera::{CameraProfile, Change, GainLaw, GainLawKind, Mode, Plane, SaturationCause, SaturationIs};
use crate::stats::Estimate;
use crate::units::Quantity;

use super::{caveats_text, entry, rejected_text, rounded, with_uncertainty, wrapped};

/// The camera in short: gain, read noise, saturation, dark current of its first plane.
#[must_use]
pub fn camera_line(profile: &CameraProfile) -> String {
    let Some((mode, plane)) = profile.modes.first().and_then(|mode| Some((mode, mode.planes.first()?))) else {
        return wrapped(&profile.camera, 2);
    };
    let dark = plane.dark_current.first().map_or_else(String::new, |point| {
        let temperature = point.sensor_c.map_or_else(String::new, |celsius| format!(" at {:.0} °C", celsius.0));
        format!(", dark current {} e-/s{temperature}", rounded(point.e_per_s.value.0, 2))
    });
    let line = format!(
        "{}{}: {} e-/DN, read noise {} e-, saturation {} e-{dark}",
        profile.camera,
        mode.gain_setting.map_or_else(String::new, |gain| format!(", gain {gain}")),
        rounded(plane.gain_e_per_dn.value.0, 3),
        rounded(plane.read_noise_e.value.0, 3),
        rounded(plane.saturation_e.value.0, 3),
    );
    wrapped(&line, 2)
}

/// Everything of a profile that a photographer reads: each mode, each plane, the doubts.
#[must_use]
pub fn camera_text(profile: &CameraProfile) -> String {
    let mut text = String::new();
    for mode in &profile.modes {
        text.push_str(&mode_text(&profile.camera, mode));
        for plane in &mode.planes {
            text.push_str(&plane_text(plane));
        }
    }
    if let Some(law) = &profile.gain_law {
        text.push_str(&wrapped(&law_line(law), 2));
    }
    if let Some(changes) = &profile.changes {
        text.push_str(&changes_text(changes));
    }
    text.push_str(&rejected_text(&profile.rejected));
    text.push_str(&caveats_text(&profile.caveats));
    text
}

/// How the gain follows the setting, in one sentence.
pub(super) fn law_line(law: &GainLaw) -> String {
    let slope = with_uncertainty(&law.slope);
    let off = format!("off by at most {} %", rounded(law.deviation_percent, 2));
    let said = match law.law {
        GainLawKind::Decibel => {
            format!("gain follows its setting at 0.1 dB a step, {off} (log10 K by {slope} a step, the law says 0.005)")
        }
        GainLawKind::Iso => {
            format!("gain is proportional to its setting, {off} (log10 K by {slope} a decade, the law says 1)")
        }
        GainLawKind::None => {
            format!("gain follows neither 0.1 dB steps nor ISO numbers: log10 K by {slope} a step, {off}")
        }
    };
    let step = law.step_at.map_or_else(String::new, |at| {
        format!("; from {at} on the sensor is in another state (second conversion gain)")
    });
    format!("{said}{step}")
}

/// What changed since another profile, a line each.
#[must_use]
pub fn changes_text(changes: &[Change]) -> String {
    if changes.is_empty() {
        return "since the other profile: nothing changed by more than it is uncertain\n".into();
    }
    let mut text = String::from("since the other profile:\n");
    for change in changes {
        let temperature = change.sensor_c.map_or_else(String::new, |celsius| format!(" at {:.0} °C", celsius.0));
        let times = change.ratio.map_or_else(String::new, |ratio| format!("{} times, ", rounded(ratio, 3)));
        let line = format!(
            "{}, plane {}: {}{temperature} {}, was {}: {times}{:.0} sigmas",
            change.mode,
            change.plane,
            change.quantity,
            with_uncertainty(&change.now),
            with_uncertainty(&change.before),
            change.sigmas
        );
        text.push_str(&format!("  {}", super::wrapped_from(2, &line, 4)));
    }
    text
}

pub(super) fn mode_text(camera: &str, mode: &Mode) -> String {
    let gain = mode.gain_setting.map_or_else(String::new, |gain| format!(", gain {gain}"));
    let counts = mode.frames;
    let temperature =
        mode.reference_sensor_c.map_or_else(String::new, |celsius| format!(", sensor at {:.1} °C", celsius.0));
    let line = format!(
        "{camera}{gain}: {} × {} pixels, {} bias, {} flat, {} dark frames{temperature}",
        mode.width_px, mode.height_px, counts.bias, counts.flat, counts.dark
    );
    wrapped(&line, 2)
}

/// The parts of a non-uniformity; one within two of its uncertainties of 0 is not seen.
fn parts_text<Q: Quantity>(parts: [&Option<Estimate<Q>>; 3]) -> String {
    let (mut seen, mut unseen) = (Vec::new(), Vec::new());
    for (name, part) in ["rows", "columns", "pixels"].into_iter().zip(parts) {
        match part.as_ref().filter(|part| part.value.get() > 2.0 * part.uncertainty.get()) {
            Some(part) => seen.push(format!("{name} {}", rounded(part.value.get(), 2))),
            None => unseen.push(name),
        }
    }
    if !unseen.is_empty() {
        seen.push(format!("no {} seen", unseen.join(" or ")));
    }
    format!(" ({})", seen.join(", "))
}

fn plane_text(plane: &Plane) -> String {
    let colour = plane.colour.map_or_else(String::new, |colour| format!(" ({colour})"));
    let mut text = format!("  plane {}{colour}\n", plane.plane);
    for (name, value) in plane_entries(plane) {
        text.push_str(&entry(4, name, 18, &value));
    }
    text
}

/// The numbers of a plane, each with its name.
pub(super) fn plane_entries(plane: &Plane) -> Vec<(&'static str, String)> {
    let mut lines = vec![("gain", with_uncertainty(&plane.gain_e_per_dn))];
    // A limit has no uncertainty to either side.
    let noise = if plane.read_noise_is_upper_limit {
        format!("at most {} e-", rounded(plane.read_noise_e.value.0, 2))
    } else {
        with_uncertainty(&plane.read_noise_e)
    };
    let core = plane.read_noise_core_e.map_or_else(String::new, |core| format!(", core {}", rounded(core.value.0, 3)));
    lines.push(("read noise", format!("{noise}{core}")));
    if let Some(offset) = &plane.offset_dn {
        lines.push(("offset", with_uncertainty(offset)));
    }
    let least = if plane.saturation_is == SaturationIs::AtLeast { "at least " } else { "" };
    let cause = match plane.saturation_cause {
        Some(SaturationCause::Adc) => ", the converter ends",
        Some(SaturationCause::Well) => ", the well is full",
        None => "",
    };
    lines.push(("saturation", format!("{least}{}{cause}", with_uncertainty(&plane.saturation_e))));
    if let (Some(decibels), Some(stops)) = (plane.dynamic_range_db, plane.dynamic_range_stops) {
        lines.push(("dynamic range", format!("{decibels:.1} dB, {stops:.1} stops (EMVA 1288 style)")));
    }
    if let Some(error) = plane.linearity_error_percent {
        lines.push(("linearity", format!("off by {} % on average (EMVA 1288 style)", rounded(error, 2))));
    }
    if let Some(decibels) = plane.snr_max_db {
        let threshold = plane
            .absolute_threshold_e
            .map_or_else(String::new, |threshold| format!(", SNR 1 at {} e-", rounded(threshold.0, 3)));
        lines.push(("best SNR", format!("{decibels:.1} dB{threshold} (EMVA 1288 style)")));
    }
    if let Some(dsnu) = &plane.dsnu_e {
        let parts = parts_text([&plane.dsnu_row_e, &plane.dsnu_column_e, &plane.dsnu_pixel_e]);
        lines.push(("DSNU", format!("{}{parts}", with_uncertainty(dsnu))));
    }
    if let Some(prnu) = &plane.prnu_percent {
        let parts = parts_text([&plane.prnu_row_percent, &plane.prnu_column_percent, &plane.prnu_pixel_percent]);
        lines.push(("PRNU", format!("{} %{parts}", with_uncertainty(prnu))));
    }
    for point in &plane.dark_current {
        let temperature = point.sensor_c.map_or_else(|| "unknown".into(), |celsius| format!("{:.1} °C", celsius.0));
        let median = point
            .median_e_per_s
            .map_or_else(String::new, |median| format!(", median pixel {}", rounded(median.value.0, 2)));
        lines.push(("dark current", format!("{temperature}: {}{median}", with_uncertainty(&point.e_per_s))));
    }
    if let Some(law) = &plane.thermal {
        lines.push((
            "",
            format!(
                "doubles every {:.1} K at 0 °C (activation energy {} eV)",
                law.doubling_k_at_0_c,
                with_uncertainty(&law.activation_ev)
            ),
        ));
    }
    lines
}
