//! The report of a measurement.

use crate::camera::{CameraProfile, Mode, Plane, Provenance, SaturationCause, SaturationIs};
use crate::report::camera::{camera_line, changes_text, law_line, mode_text, plane_entries};
use crate::report::plots::{
    dark_current_figure, dark_histogram_figure, dark_map_figure, dark_profile_figure, linearity_figure,
    photon_transfer_figure, span_figure,
};
use crate::report::rounded;

use super::blocks::{caveats, figure, list, numbers, paragraph, rejected, subheading, table_of_words, unwrapped};
use super::methods::{camera_cautions, camera_methods};
use super::outline::Report;
use super::page;

/// A camera profile as one HTML file: the answer, why, pictures, numbers, doubts and cautions, methods.
#[must_use]
pub fn camera_page(profile: &CameraProfile) -> String {
    let mut body = Report::new("What the frames say of the camera", &unwrapped(&camera_line(profile)));
    body.begin("Why");
    body.push_str(&why(profile));
    body.begin("Pictures");
    body.push_str(&pictures(profile));
    body.begin("Numbers");
    for mode in &profile.modes {
        body.push_str(&paragraph(&mode_text(&profile.camera, mode)));
        for plane in &mode.planes {
            body.push_str(&subheading(&plane_name(mode, plane)));
            body.push_str(&numbers(&plane_entries(plane)));
        }
    }
    if let Some(law) = &profile.gain_law {
        body.push_str(&paragraph(&law_line(law)));
    }
    if let Some(changes) = &profile.changes {
        changes_text(changes).lines().for_each(|line| body.push_str(&paragraph(line)));
    }
    body.begin("Doubts and cautions");
    body.push_str(&caveats(&profile.caveats));
    body.push_str(&rejected(&profile.rejected));
    if profile.provenance == Provenance::Measured {
        body.push_str(&list(camera_cautions()));
    }
    body.begin("How each number was got");
    if let Some(source) = &profile.source {
        body.push_str(&paragraph(&format!("Published by: {source}")));
    }
    body.push_str(&table_of_words(&camera_methods()));
    page(&format!("{}: measured", profile.camera), &body)
}

fn plane_name(mode: &Mode, plane: &Plane) -> String {
    let colour = plane.colour.map_or_else(String::new, |colour| format!(" ({colour})"));
    format!("{}, plane {}{colour}", mode.label(), plane.plane)
}

/// What the numbers of the answer rest on, in sentences.
fn why(profile: &CameraProfile) -> String {
    let Some((mode, plane)) = profile.modes.first().and_then(|mode| Some((mode, mode.planes.first()?))) else {
        return String::new();
    };
    let mut said = Vec::new();
    if let Some(fit) = &plane.fit {
        let used = mode.photon_transfer.iter().filter(|point| point.used && point.plane == plane.plane).count();
        said.push(format!(
            "The gain is the slope at no signal of a quadratic through {used} pairs of flats, up to {} DN; they scatter about it {} times as much as chance \
             (χ² per degree of freedom), and the choice of range moves it by {} %.",
            rounded(fit.range_dn[1], 4),
            rounded(fit.chi2_per_dof.max(0.0).sqrt(), 2),
            rounded(fit.systematic_percent, 2)
        ));
    }
    said.push(match (plane.saturation_is, plane.saturation_cause) {
        (SaturationIs::AtLeast, _) => {
            "The brightest flats still behaved: saturation lies higher than what is given.".into()
        }
        (_, Some(SaturationCause::Adc)) => {
            "The converter ends before the well is full: a lower gain setting, where there is one, holds more.".into()
        }
        (_, Some(SaturationCause::Well)) => {
            "The well is full before the converter ends: a lower gain setting would hold no more.".into()
        }
        _ => "Saturation was reached.".into(),
    });
    if plane.dark_current.len() > 1 && plane.thermal.is_some() {
        said.push(format!("Dark current was seen at {} temperatures, enough for its law.", plane.dark_current.len()));
    }
    said.iter().map(|words| paragraph(words)).collect()
}

fn pictures(profile: &CameraProfile) -> String {
    let mut found: Vec<_> = span_figure("span", profile).into_iter().collect();
    for (m, mode) in profile.modes.iter().enumerate() {
        for (p, plane) in mode.planes.iter().enumerate() {
            found.extend(photon_transfer_figure(&format!("transfer-{m}-{p}"), mode, plane));
            found.extend(linearity_figure(&format!("linearity-{m}-{p}"), mode, plane));
            found.extend(dark_current_figure(&format!("dark-{m}-{p}"), mode, plane));
        }
        // The planes of one chip lie beside each other: one shows what all have.
        if let Some(plane) = mode.planes.iter().find(|plane| !plane.dark_pictures.is_empty()) {
            found.extend(dark_histogram_figure(&format!("pixels-{m}"), mode, plane));
            found.extend(dark_map_figure(&format!("map-{m}"), mode, plane));
            found.extend(dark_profile_figure(&format!("lines-{m}"), mode, plane));
        }
    }
    found.iter().map(figure).collect()
}
