//! Line filters before a fast lens: how much of the line slips out of the window.

use crate::camera::Mode;
use crate::caveat::Caveat;
use crate::rig::{EFFECTIVE_INDEX, LightChain, band_shift, share_in_band};
use crate::units::Band;

use super::Night;
use super::NightError;
use super::measured_sky::chains as chains_of;

/// A smaller loss at the line is not worth a word.
const WORTH: f64 = 0.05;

/// For each line filter that a beam of this focal ratio takes light from: how much, and what helps.
pub(crate) fn shifted_bands(night: &Night, mode: &Mode) -> Result<Vec<Caveat>, NightError> {
    let colour_array = mode.planes.iter().any(|plane| plane.colour.is_some());
    let focal_ratio = night.optics.focal_length_mm.0 / night.optics.aperture_mm.0;
    let mut caveats = Vec::new();
    for filter in night.filters(colour_array) {
        let mut chains = Vec::new();
        for plane in &mode.planes {
            chains.extend(chains_of(night, mode, &filter, plane)?);
        }
        let windows = chains.iter().map(|chain: &LightChain| chain.passband);
        let narrow = windows.filter(|window| matches!(window.band, Band::Narrow(_)));
        let kept = narrow.map(|window| {
            let shift = band_shift(window.centre, focal_ratio, EFFECTIVE_INDEX);
            (share_in_band(window.width, shift), shift, window)
        });
        let Some((share, shift, window)) = kept.min_by(|a, b| a.0.total_cmp(&b.0)) else { continue };
        if 1.0 - share > WORTH {
            let message = format!(
                "at f/{focal_ratio:.1} the edge of the beam sees the {:.0} nm window at {:.0} nm moved by {:.1} nm: up to \
                 {:.0} % of the line is lost, and the plan does not count that",
                window.width.0,
                window.centre.0,
                shift.0,
                100.0 * (1.0 - share)
            );
            let hint = "a wider filter, or one that its maker centred for fast beams, keeps the line";
            caveats.push(Caveat::new("filter-shift", message, hint).about(filter.label()));
        }
    }
    Ok(caveats)
}
