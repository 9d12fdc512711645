//! What the filter in front of a stock camera's sensor takes of the red lines, and what its removal would gain.

use crate::camera::Mode;
use crate::caveat::Caveat;
use crate::rig::{Detector, LightChain};
use crate::units::Colour;

use super::Night;
use super::NightError;

/// A gain smaller than this is not worth a word.
const WORTH: f64 = 1.2;

/// The loss of an unmodified colour camera at the line that this night is after; `None` where there is none to lose.
pub(crate) fn infrared_cut_caveat(night: &Night, mode: &Mode) -> Result<Option<Caveat>, NightError> {
    let (Some(pixel), false) = (mode.pixel_um, night.camera.modified.unwrap_or(false)) else { return Ok(None) };
    let after_a_line = night.target.brightness().is_ok_and(|brightness| brightness.has_lines());
    if mode.planes.iter().all(|plane| plane.colour != Some(Colour::Red)) {
        return Ok(None);
    }
    for filter in night.filters(true) {
        let chains = |modified| {
            let detector = Detector { pixel, colour: Some(Colour::Red), modified };
            LightChain::through(&night.optics, &filter, &detector)
        };
        for (stock, open) in chains(false)?.iter().zip(&chains(true)?) {
            let (Some(with), Some(without)) = (stock.passband.line_efficiency, open.passband.line_efficiency) else {
                continue;
            };
            let wanted = after_a_line || stock.passband.is_narrow();
            if wanted && without / with > WORTH {
                return Ok(Some(caveat(&filter.label(), stock.passband.centre.0, without / with)));
            }
        }
    }
    Ok(None)
}

fn caveat(filter: &str, centre: f64, gain: f64) -> Caveat {
    let line = if centre > 664.0 { "[S II]" } else { "H-alpha" };
    let message = format!(
        "the filter that a stock camera has before its sensor takes most of {line}: without it the red pixels would see \
         {gain:.1} times as much (2.5 to 4 times from camera to camera; 3.5 to 6 at [S II])"
    );
    let hint = "write modified = true under [camera] if it is gone. Leave its removal to a service: an opened camera's \
                flash capacitor can hold some 300 V for days, without a battery too; warranty, focus and dust seal suffer";
    Caveat::new("stock-infrared-cut", message, hint).about(filter)
}
