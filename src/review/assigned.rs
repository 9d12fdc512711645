//! Which filter and which mode of the camera a light is of.

use super::ReviewError;
use crate::camera::{CameraProfile, MeasuredLight};
use crate::caveat::{Caveat, Rejected};
use crate::night::{Night, names_filter, usual_filter};

use super::moments::Moment;
use super::set::Entry;

/// Lights by filter, in the order of the night's filters, by time where all have one.
pub(super) struct Assigned<'a> {
    pub(super) sets: Vec<(String, Vec<Entry<'a>>)>,
    pub(super) left_out: Vec<Rejected>,
    pub(super) caveats: Vec<Caveat>,
}

pub(super) fn assigned<'a>(
    night: &Night,
    profile: &'a CameraProfile,
    lights: &'a [MeasuredLight],
    moments: &[Option<Moment>],
) -> Result<Assigned<'a>, ReviewError> {
    let colour = profile.modes.iter().flat_map(|mode| &mode.planes).any(|plane| plane.colour.is_some());
    let known: Vec<String> = night.filters(colour).iter().map(crate::rig::Filter::label).collect();
    let mut sets: Vec<(String, Vec<Entry<'a>>)> = known.iter().map(|name| (name.clone(), Vec::new())).collect();
    let (mut left_out, mut caveats) = (Vec::new(), Vec::new());
    let named = |header: &str| known.iter().position(|name| names_filter(header, name));
    let headers: Vec<Option<&str>> = lights.iter().map(|light| light.filter.as_deref()).collect();
    let one_name = headers.iter().flatten().all(|name| headers.iter().flatten().next() == Some(name));
    // A wheel's slot may have any name: where all lights share it and the night has one filter, that is meant.
    let only = (known.len() == 1 && one_name).then_some(0);
    for (light, moment) in lights.iter().zip(moments) {
        let set = match &light.filter {
            // A header that names another known filter means that one.
            Some(header) => named(header).or(only.filter(|_| usual_filter(header).is_none())),
            None => (known.len() == 1).then_some(0),
        };
        let Some(set) = set else {
            let said =
                light.filter.as_ref().map_or("says no filter".into(), |name| format!("is of the filter `{name}`"));
            let reason = format!("its header {said}; the night has {}", known.join(", "));
            left_out.push(Rejected { file: light.file.clone(), code: "conflicting-filter".into(), reason });
            continue;
        };
        let mode = profile.mode_of_frame(&light.frame_mode, night.camera.gain_setting)?;
        sets[set].1.push((light, mode, *moment));
    }
    if let (Some(name), Some(_), true) = (headers.iter().flatten().next(), only, left_out.is_empty())
        && named(name).is_none()
    {
        let message = format!("the headers call the filter `{name}`: it is taken for the night's {}", known[0]);
        caveats.push(Caveat::new("conflicting-filter", message, "name the filter of these lights under [[filters]]"));
    }
    if let Some(first) = left_out.first() {
        let message = format!(
            "{} of no filter of the night ({}): left out",
            counted(left_out.len(), ["light is", "lights are"]),
            known.join(", ")
        );
        let hint = "add their filter to the night, or name it as the headers do";
        caveats.push(Caveat::new("conflicting-filter", message, hint).about(first.file.clone()));
    }
    if let (Some(gain), true) =
        (night.camera.gain_setting, lights.iter().any(|light| light.frame_mode.gain_setting.is_some()))
    {
        let other: Vec<&MeasuredLight> =
            lights.iter().filter(|l| l.frame_mode.gain_setting.is_some_and(|g| g != gain)).collect();
        if let Some(first) = other.first() {
            let message = format!(
                "{} another gain setting than the night's {gain}, such as {}: each is read by its own mode",
                counted(other.len(), ["light has", "lights have"]),
                first.frame_mode.gain_setting.unwrap_or(gain)
            );
            caveats.push(Caveat::new("conflicting-gain", message, "nothing to do").about(first.file.clone()));
        }
    }
    sets.retain(|(_, entries)| !entries.is_empty());
    for (_, entries) in &mut sets {
        if entries.iter().all(|(.., moment)| moment.is_some()) {
            let at = |entry: &Entry<'_>| entry.2.map_or(0.0, |moment| moment.at.0);
            entries.sort_by(|a, b| at(a).total_cmp(&at(b)));
        }
    }
    Ok(Assigned { sets, left_out, caveats })
}

fn counted(count: usize, [one, more]: [&str; 2]) -> String {
    format!("{count} {}", if count == 1 { one } else { more })
}
