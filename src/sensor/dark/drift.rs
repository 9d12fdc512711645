//! Does the level of the darks wander, or their signal?

use crate::caveat::Caveat;
use crate::units::ElectronsPerDn;

use crate::sensor::dark::current::DarkCurrent;

/// A drift is said where the frames make it so many times as likely as it was, times the checks of a whole measurement. By chance a
/// Bayes factor is above `F` in no more than `1/F` of cases (A. Wald 1945, from memory; any text on likelihood ratios).
const FACTOR: f64 = 200.0;
/// Said without telling which of the two drifts, it takes less, …
const FACTOR_OF_EITHER: f64 = 15.0;
/// … but it must stand out of the frames' own scatter by so many times: what scatters by chance passes for a drift of one or two.
const TIMES_SCATTER: f64 = 5.0;
/// What is thought beforehand of one drift, and of either of two, as odds: see `levels.rs`.
const ODDS_OF_ONE: f64 = 1.0;
const ODDS_OF_EITHER: f64 = 3.0;
/// A drift of the level below this share of the dark signal does not matter …
const LEAST_SHARE: f64 = 0.02;
/// … nor one of the signal below this: about half a kelvin.
const LEAST_WARMING: f64 = 0.06;
/// A rate whose interval is wider than ± this share of it deserves a word of why …
const WIDE: f64 = 0.15;
/// … and a level that scatters by so many DN is the reason where it makes at least this share of that.
const JUMPS_DN: f64 = 1.0;
const MADE_BY_JUMPS: f64 = 0.1;

/// Whether a chance is worth these odds in each of so many checks.
fn is_sure(chance: f64, odds: f64, checks: usize) -> bool {
    chance > odds * checks.max(1) as f64 * (1.0 - chance)
}

/// The doubts about darks whose level or whose signal drifts from frame to frame, where it matters for their rate; `checks` is how
/// often a measurement asks this, for each plane at each temperature.
pub(crate) fn drift(current: &DarkCurrent, gain: ElectronsPerDn, checks: usize) -> Vec<Caveat> {
    let Some(rate) = current.from_mean.as_ref() else { return Vec::new() };
    let is_sure = |chance: f64, factor: f64| is_sure(chance, factor, checks);
    let ((of_level, range), (of_signal, share)) = (current.drift.level, current.drift.signal);
    let times = || current.exposures.iter().map(|exposure| exposure.0);
    let (shortest, longest) = (times().fold(f64::INFINITY, f64::min), times().fold(0.0, f64::max));
    let span = if longest > 1.01 * shortest { longest - shortest } else { longest };
    let error = range * gain.0 / span;
    let (of_level_counts, of_signal_counts) = (error > LEAST_SHARE * rate.value.0.abs(), share > LEAST_WARMING);
    let mut caveats = Vec::new();
    if is_sure(of_level, ODDS_OF_ONE * FACTOR) && of_level_counts {
        caveats.push(Caveat::new(
            "dark-level-drift",
            format!(
                "the level of the darks drifts by {range:.2} DN while they are taken, as much as {error:.3} e-/s would do: \
                 it was fitted, and the interval of the dark current holds what it may still do"
            ),
            "let camera and cooler settle before the darks, and mix long and short exposures",
        ));
    }
    if is_sure(of_signal, ODDS_OF_ONE * FACTOR) && of_signal_counts {
        caveats.push(Caveat::new(
            "temperature-unsettled",
            format!(
                "the dark current changes by {:.0} % while the darks are taken, and no temperature in a header tells why: {}; what \
                 is given is that of the middle",
                100.0 * share,
                if current.drift.grows {
                    "the sensor warms, or damp creeps in"
                } else {
                    "the sensor cools, or what a bright frame left behind (a residual image) fades"
                }
            ),
            "let the cooler settle for ten minutes, or the body warm up, before the darks",
        ));
    }
    let signal = share * (rate.value.0 / gain.0 * longest).abs();
    let stands_out = range.max(signal) > TIMES_SCATTER * current.drift.scatter;
    let either = stands_out && is_sure(current.drift.either, ODDS_OF_EITHER * FACTOR_OF_EITHER);
    if caveats.is_empty() && either && (of_level_counts || of_signal_counts) {
        caveats.push(Caveat::new(
            "dark-level-drift",
            "the level of the darks seems to drift while they are taken, or the sensor to warm or cool: their order does not tell \
             which, and the interval of the dark current holds both",
            "let camera and cooler settle before the darks, and mix long and short exposures",
        ));
    }
    if caveats.is_empty() {
        caveats.extend(jumps(current, gain, span));
    }
    caveats
}

/// The doubt about a rate that is uncertain because the level of the darks jumps from frame to frame.
fn jumps(current: &DarkCurrent, gain: ElectronsPerDn, span: f64) -> Option<Caveat> {
    let rate = current.from_mean.as_ref()?;
    let (low, high) = rate.interval();
    let (half, scatter) = ((high - low) / 2.0, current.drift.scatter);
    let of_jumps = scatter * gain.0 / span;
    (half > WIDE * rate.value.0 && scatter > JUMPS_DN && of_jumps > MADE_BY_JUMPS * half).then(|| {
        Caveat::new(
            "black-level-moves",
            format!(
                "the level without light jumps by {scatter:.1} DN from dark to dark, as much as {of_jumps:.3} e-/s would do over \
                 {span:.0} s: the dark current is no surer than its interval says"
            ),
            "take more darks, and longer ones: a dozen of each exposure halve what four leave open",
        )
    })
}
