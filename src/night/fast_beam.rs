//! Line filters before a fast lens: how much of the line slips out of the window.

use crate::camera::Mode;
use crate::caveat::Caveat;
use crate::rig::{Beam, Detector, EFFECTIVE_INDEX, Filter, Passband, band_shift};
use crate::units::{Nanometres, Quantity};

use super::Night;
use super::NightError;

/// A smaller loss at the line is not worth a word.
const WORTH: f64 = 0.05;
/// Widths in nm in which line filters are sold (common practice, no source).
const SOLD: [f64; 6] = [3.0, 4.5, 6.0, 7.0, 12.0, 20.0];
/// A wider filter is named when it keeps this much of the line, or this much more than the one there is.
const KEPT: f64 = 0.95;

/// For each line filter that a beam of this focal ratio takes light from: how much, and what helps.
pub(crate) fn shifted_bands(night: &Night, mode: &Mode) -> Result<Vec<Caveat>, NightError> {
    let colour_array = mode.planes.iter().any(|plane| plane.colour.is_some());
    let mut caveats = Vec::new();
    for filter in night.filters(colour_array) {
        let Some(kept) = kept(night, mode, &filter)?.filter(|kept| 1.0 - kept.share > WORTH) else { continue };
        let focal_ratio = night.optics.focal_length_mm.0 / night.optics.aperture_mm.0;
        let shift = band_shift(kept.centre, focal_ratio, EFFECTIVE_INDEX);
        let lost = |share: f64| format!("{:.0}", 100.0 * (1.0 - share));
        let [low, high] = [(-kept.spread).exp(), kept.spread.exp()].map(|factor| (kept.share * factor).min(1.0));
        let range =
            if lost(high) == lost(low) { String::new() } else { format!(" ({} to {} %)", lost(high), lost(low)) };
        let message = format!(
            "at f/{focal_ratio:.1} the edge of the beam sees the {} nm window at {:.0} nm moved by {:.1} nm: {} % of the line is \
             lost{range}, and the plan counts that",
            (10.0 * kept.width.get()).round() / 10.0,
            kept.centre.0,
            shift.0,
            lost(kept.share),
        );
        caveats.push(Caveat::new("filter-shift", message, wider(night, mode, &filter, &kept)?).about(filter.label()));
    }
    Ok(caveats)
}

/// What is left of a line in the worst of a filter's windows.
struct Kept {
    share: f64,
    spread: f64,
    centre: Nanometres,
    width: Nanometres,
}

fn kept(night: &Night, mode: &Mode, filter: &Filter) -> Result<Option<Kept>, NightError> {
    let Some(pixel) = mode.pixel_um else { return Ok(None) };
    let beam = Beam::of(&night.optics);
    let mut worst: Option<Kept> = None;
    for plane in &mode.planes {
        let detector = Detector { pixel, colour: plane.colour, modified: night.camera.modified.unwrap_or(false) };
        let (in_beam, straight) = (filter.passbands_in(&detector, &beam)?, filter.passbands(&detector)?);
        for (in_beam, straight) in in_beam.into_iter().zip(&straight) {
            let Some(share) = share(&in_beam, straight) else { continue };
            if worst.as_ref().is_none_or(|worst| share < worst.share) {
                let spread = (in_beam.line_relative.powi(2) - straight.line_relative.powi(2)).max(0.0).sqrt();
                worst = Some(Kept { share, spread, centre: in_beam.centre, width: in_beam.width });
            }
        }
    }
    Ok(worst)
}

/// The line that comes through a narrow window in the beam over that in parallel light.
fn share(in_beam: &Passband, straight: &Passband) -> Option<f64> {
    let whole = straight.line_efficiency?;
    in_beam.is_narrow().then(|| in_beam.line_efficiency.unwrap_or(0.0) / whole)
}

/// The narrowest filter on sale that keeps the line, and what it would bring.
fn wider(night: &Night, mode: &Mode, filter: &Filter, now: &Kept) -> Result<String, NightError> {
    let made_for = "one that its maker centred for fast beams (give its centre_nm) keeps more of it";
    if filter.curve.is_some() {
        return Ok(format!("a wider filter, or {made_for}"));
    }
    for width in SOLD.into_iter().filter(|width| *width > now.width.0) {
        let other = Filter { width_nm: Some(Nanometres(width)), ..filter.clone() };
        let Some(other) = kept(night, mode, &other)?.filter(|other| other.share > KEPT) else { continue };
        let sky = width / now.width.0;
        return Ok(match now.share {
            0.0 => format!("a filter of {width} nm keeps {:.0} % of the line; {made_for}", 100.0 * other.share),
            share => format!(
                "a filter of {width} nm keeps {:.0} % of the line: {:.1} times as much of it, with {sky:.1} times the sky; {made_for}",
                100.0 * other.share,
                other.share / share
            ),
        });
    }
    Ok(format!("no filter for a line keeps it in this beam; {made_for}"))
}
