//! Does the level of the darks wander, or their signal?

use crate::caveat::Caveat;
use crate::units::ElectronsPerDn;

use crate::sensor::dark::current::DarkCurrent;

/// A drift is spoken of when it is as sure as this.
const SURE: f64 = 0.995;
/// Said without telling which of the two drifts, it takes as much as any interval here holds.
const LIKELY: f64 = 0.95;
/// A drift of the level below this share of the dark signal does not matter …
const LEAST_SHARE: f64 = 0.02;
/// … nor one of the signal below this: about half a kelvin.
const LEAST_WARMING: f64 = 0.06;

/// The doubts about darks whose level or whose signal drifts from frame to frame, where it matters for their rate.
pub(crate) fn drift(current: &DarkCurrent, gain: ElectronsPerDn) -> Vec<Caveat> {
    let Some(rate) = current.from_mean.as_ref() else { return Vec::new() };
    let ((of_level, range), (of_signal, share)) = (current.drift.level, current.drift.signal);
    let times = || current.exposures.iter().map(|exposure| exposure.0);
    let (shortest, longest) = (times().fold(f64::INFINITY, f64::min), times().fold(0.0, f64::max));
    let span = if longest > 1.01 * shortest { longest - shortest } else { longest };
    let error = range * gain.0 / span;
    let (of_level_counts, of_signal_counts) = (error > LEAST_SHARE * rate.value.0.abs(), share > LEAST_WARMING);
    let mut caveats = Vec::new();
    if of_level > SURE && of_level_counts {
        caveats.push(Caveat::new(
            "dark-level-drift",
            format!(
                "the level of the darks drifts by {range:.2} DN while they are taken, as much as {error:.3} e-/s would do: \
                 it was fitted, and the interval of the dark current holds what it may still do"
            ),
            "let camera and cooler settle before the darks, and mix long and short exposures",
        ));
    }
    if of_signal > SURE && of_signal_counts {
        caveats.push(Caveat::new(
            "temperature-unsettled",
            format!(
                "the dark current changes by {:.0} % while the darks are taken, and no temperature in a header tells why: the sensor \
                 warms or cools, damp creeps in, or what a bright frame left behind fades; what is given is that of the middle",
                100.0 * share
            ),
            "let the cooler settle for ten minutes, or the body warm up, before the darks",
        ));
    }
    if caveats.is_empty() && current.drift.either > LIKELY && (of_level_counts || of_signal_counts) {
        caveats.push(Caveat::new(
            "dark-level-drift",
            "the level of the darks seems to drift while they are taken, or the sensor to warm or cool: their order does not tell \
             which, and the interval of the dark current holds both",
            "let camera and cooler settle before the darks, and mix long and short exposures",
        ));
    }
    caveats
}
