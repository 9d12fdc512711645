//! The gain and noise that the files state, held against what was measured: a cross-check, nothing more.

use crate::camera::{Mode, Plane};
use crate::caveat::Caveat;
use crate::frames::stated::Stated;

/// Programs copy a gain from a table: further off than this it is worth a word.
const OTHER_GAIN: f64 = 0.05;
/// Noise profiles are models for a kind of camera: only a larger difference says anything (judgement, no source).
const OTHER_PROFILE: f64 = 0.3;

/// A line for each statement that `mode` can be held against, and a word where they differ.
#[must_use]
pub fn held_against(stated: &[Stated], mode: &Mode) -> (Vec<String>, Vec<Caveat>) {
    let (mut lines, mut caveats) = (Vec::new(), Vec::new());
    for said in stated {
        let planes = || mode.planes.iter().filter(|plane| said.colour.is_none() || plane.colour == said.colour);
        let count = planes().count() as f64;
        if count == 0.0 {
            continue;
        }
        let gain = planes().map(|plane| plane.gain_e_per_dn.value.0).sum::<f64>() / count;
        let noise = planes().map(|plane| plane.read_noise_e.value.0).sum::<f64>() / count;
        let whose = said.colour.map_or_else(|| said.from.clone(), |colour| format!("{} of {colour}", said.from));
        let typed = planes().any(Plane::has_typed_gain);
        let how = if typed { "typed" } else { "measured" };
        let noisy = if typed { "with that " } else { "" };
        let line = match said.read_noise_e {
            Some(stated_noise) => format!(
                "{whose}: {:.3} e-/DN and {stated_noise:.2} e- read noise; {how} {gain:.3} e-/DN and {noisy}{noise:.2} e-",
                said.e_per_dn
            ),
            None => format!("{whose}: {} e-/DN; {how} {gain:.3} e-/DN", said.e_per_dn),
        };
        let off = |stated: f64, measured: f64, limit: f64| (stated / measured - 1.0).abs() > limit;
        let differs = match said.read_noise_e {
            Some(stated_noise) => off(said.e_per_dn, gain, OTHER_PROFILE) || off(stated_noise, noise, OTHER_PROFILE),
            None => off(said.e_per_dn, gain, OTHER_GAIN),
        };
        if differs {
            let message = if typed {
                format!("the files state another gain or noise than was typed, {line}: the typed gain was used")
            } else {
                format!("the files state another gain or noise than was measured, {line}: the measured one was used")
            };
            let hint = if typed {
                "measure the gain with pairs of flats: neither a typed nor a stated one is a measurement"
            } else {
                "nothing to do: what files state comes from a table for that kind of camera, or from another scale of the counts"
            };
            caveats.push(Caveat::new("stated-gain-differs", message, hint));
        }
        lines.push(line);
    }
    (lines, caveats)
}
