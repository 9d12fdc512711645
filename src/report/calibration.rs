//! The calibration frames that a plan wants, as text.

use crate::camera::SaturationIs;
use crate::plan::{BetterWay, CalibrationAdvice, DarkLibrary, DarksOrMap, FilterCalibration, FlatLevel, FrameCount};

use super::{duration, entry, plain, rounded, wrapped};

/// What to take and why, filter by filter.
pub(super) fn calibration_text(advice: &CalibrationAdvice) -> String {
    let mut text = format!(
        "\n{}",
        wrapped(
            &format!(
                "calibration frames, so that all masters add less than {} % to the hours",
                plain(advice.share_percent)
            ),
            2
        )
    );
    for (i, filter) in advice.filters.iter().enumerate() {
        text.push_str(&format!("  {}, lights of {}\n", filter.name, duration(filter.sub_s)));
        // Levels belong to the sensor: said once where all filters see the same planes.
        let said = i > 0 && filter.flat_level == advice.filters[0].flat_level;
        let entries = calibration_entries(filter).into_iter();
        for (name, value) in entries.filter(|(name, _)| !(said && name.starts_with("flat "))) {
            text.push_str(&entry(4, name, 20, &value));
        }
    }
    text
}

/// The same for one filter, each with its name.
pub(super) fn calibration_entries(filter: &FilterCalibration) -> Vec<(&'static str, String)> {
    let zero = match filter.biases_serve_flats_up_to_s {
        Some(longest) if longest.0 < 3600.0 => {
            format!("; they serve flats up to {}, longer ones want dark flats", duration(longest))
        }
        _ => "; they serve flats of any length".into(),
    };
    let mut entries = vec![
        ("darks", count(&filter.darks)),
        ("flats", count(&filter.flats)),
        ("biases", count(&filter.biases) + &zero),
    ];
    entries.extend(flat_entries(&filter.flat_level));
    entries.push(("darks or a map", darks_or_map(&filter.darks_or_map)));
    entries.push(("other darks", library(&filter.dark_library)));
    entries
}

fn count(frames: &FrameCount) -> String {
    let asks = if frames.for_noise < 1.0 { "less than 1".into() } else { rounded(frames.for_noise, 3) };
    let given = match frames.given_adds_percent {
        Some(adds) => format!("; your {} add {} %", frames.given, percent(adds)),
        None => "; you have none".into(),
    };
    let rejection = if f64::from(frames.for_rejection) > frames.for_noise {
        format!(", rejection for {}", frames.for_rejection)
    } else {
        String::new()
    };
    format!("{}: noise asks for {asks}{rejection}{given}", frames.count)
}

fn percent(value: f64) -> String {
    if value < 0.01 { "less than 0.01".into() } else { rounded(value, 2) }
}

fn flat_entries(level: &FlatLevel) -> Vec<(&'static str, String)> {
    let mut entries = Vec::new();
    for plane in &level.planes {
        let colour = plane.colour.map_or_else(String::new, |colour| format!(" in {} ({colour})", plane.plane));
        entries.push((
            "flat level",
            format!(
                "{} DN{colour}, {}{:.0} % of saturation; {} to {} DN will do ({} to {} e-)",
                plane.aim_dn,
                if plane.saturation_is == SaturationIs::AtLeast { "at most " } else { "" },
                level.aim_percent_of_saturation,
                plane.from_dn,
                plane.to_dn,
                rounded(plane.from_e.0, 2),
                rounded(plane.to_e.0, 3)
            ),
        ));
    }
    if let Some(exposure) = level.exposure_of_measured_lamp_s {
        entries.push((
            "flat exposure",
            format!(
                "{} with the lamp and filter of the measured flats ({} to {})",
                duration(exposure.aim_s),
                duration(exposure.from_s),
                duration(exposure.to_s)
            ),
        ));
    }
    entries
}

fn darks_or_map(found: &DarksOrMap) -> String {
    let hours = |ratio: Option<f64>| ratio.map_or_else(|| "never enough".into(), |ratio| format!("{ratio:.3}"));
    let better = match found.better {
        BetterWay::Darks => "take darks",
        BetterWay::BadPixelMap => "the map does better",
        BetterWay::Alike => "alike",
    };
    let below = found.darks_win_below_c.map_or_else(String::new, |below| {
        if below > 0.0 {
            format!("; darks leave less as long as they stray less than {} °C", rounded(below, 2))
        } else {
            "; so few darks bring more noise than they take away".into()
        }
    });
    format!(
        "{better}: hours are {} times those without thermal pattern with darks that stray {} °C, {} with a bad-pixel map \
         and dithering{below}",
        hours(found.darks_time_ratio),
        plain(found.dark_mismatch_c),
        hours(found.map_time_ratio)
    )
}

fn library(library: &DarkLibrary) -> String {
    // Never −0.
    let celsius = |value: f64| format!("{:.0} °C", value.round() + 0.0);
    let warm = match (library.coldest_c, library.warmest_c) {
        (_, None) => "of any temperature near this".to_owned(),
        (None, Some(warmest)) => format!("of up to {}", celsius(warmest.0)),
        (Some(coldest), Some(warmest)) => format!("of {} to {}", celsius(coldest.0), celsius(warmest.0)),
    };
    let long = match (library.shortest_s, library.longest_s) {
        (_, None) => "of any length".to_owned(),
        (None, Some(longest)) => format!("of up to {}", duration(longest)),
        (Some(shortest), Some(longest)) => format!("of {} to {}", duration(shortest), duration(longest)),
    };
    format!("{warm} at the lights' length, or {long} at {}, cost less than that share", celsius(library.lights_c.0))
}
