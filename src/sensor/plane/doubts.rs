//! What the numbers of a plane rest on that may not hold: its caveats, in words.
//!
//! A doubt is raised by the size of an effect, not by its significance: with 10⁷ pixels everything is significant.

use crate::camera::{DarkCurrentPoint, Thermal};
use crate::caveat::Caveat;
use crate::stats::Estimate;
use crate::units::{Celsius, Dn, ElectronsPerDn, Seconds};

use crate::sensor::dark::current::{DarkCurrent, DarkStage};
use crate::sensor::dark::other_gain::OtherGain;
use crate::sensor::dark::read_noise::ReadNoise;
use crate::sensor::flat::transfer::{ENOUGH_LEVELS, TransferFit};
use crate::sensor::pair::sound::Sound;

/// Readings that scatter by more than this within a group of darks are unsettled.
const UNSETTLED_KELVIN: f64 = 0.7;
/// Read noise of every pixel beyond this many times the core's has a cause of its own.
const NOISY_TIMES_CORE: f64 = 1.5;
/// Read noises of two temperatures that differ by less than this share are the same for a plan.
const OTHER_NOISE: f64 = 0.05;
/// Gains of two temperatures that differ by less than this share are the same for a plan.
const OTHER_GAIN: f64 = 0.01;
/// Share of dark pixels at 0 from which on the black level is cut (EMVA 1288 Release 4.0 Linear: 0.5 %).
const CLIPPED_SHARE: f64 = 0.005;

/// A read noise known to no better than this part, for its pairs scatter, asks for more of them.
const LOOSE: f64 = 0.1;
/// A read noise that may be less than this part of what is given is half hidden by the steps.
const HALF_HIDDEN: f64 = 0.85;

/// Doubts about read noise and offset from `pairs` pairs, of whose pixels the share `at_zero` is 0;
/// `stand_in` is the exposure of long darks that stood in for missing bias frames.
pub(crate) fn of_zero(zero: &ReadNoise, pairs: usize, at_zero: f64, stand_in: Option<Seconds>) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    if pairs < 2 {
        caveats.push(Caveat::new(
            "few-frames",
            "read noise and offset rest on one pair of frames",
            "take 20 bias frames",
        ));
    }
    let (low, high) = zero.noise.interval();
    if pairs >= 2 && !zero.hidden && zero.variance_scatter > 0.0 && high - low > 2.0 * LOOSE * zero.noise.value.0 {
        caveats.push(Caveat::new(
            "few-frames",
            format!(
                "{pairs} pairs of bias frames differ in their noise by more than pixels explain, as bands, stripes or blotches make \
                 it: so few do not tell the read noise well"
            ),
            "take 20 bias frames; check cables and power supply",
        ));
    }
    if let Some(exposure) = stand_in {
        caveats.push(Caveat::new(
            "assumed-value",
            format!(
                "no bias frames: read noise is from darks of {} s and holds their thermal noise; the pixels' own levels \
                 (DSNU) are hidden under their dark current and are not given",
                exposure.0
            ),
            "take 20 bias frames: cap on, shortest exposure",
        ));
    }
    if zero.hidden {
        caveats.push(Caveat::new(
            "quantisation-limited",
            "the converter's steps hide the read noise; what is given is an upper limit",
            "measure at a higher gain setting",
        ));
    }
    if !zero.hidden
        && zero.noise.interval().0 < HALF_HIDDEN * zero.noise.value.0
        && zero.noise.value.0 < zero.step / 2.0
    {
        caveats.push(Caveat::new(
            "quantisation-limited",
            "the converter's steps hide much of the read noise: where the level lies on the edge of two steps, less noise shows as much",
            "measure at a higher gain setting",
        ));
    }
    if zero.noise.value.0 > NOISY_TIMES_CORE * zero.core.value.0 && !zero.hidden {
        caveats.push(Caveat::new(
            "noise-outliers",
            if zero.core.value.0 > 0.0 {
                format!(
                    "the read noise of every pixel is {:.1} times that of the core: many jumping pixels, or a damaged frame",
                    zero.noise.value.0 / zero.core.value.0
                )
            } else {
                "most pixels show no noise at all, and few show much: many jumping pixels, or a damaged frame".into()
            },
            "look at the bias frames, leave out damaged ones, and measure again",
        ));
    }
    if at_zero > CLIPPED_SHARE {
        caveats.push(Caveat::new(
            "black-clipped",
            format!("{:.1} % of the dark pixels are at 0: read noise and offset come out too small", 100.0 * at_zero),
            "raise the camera's offset until no dark pixel is at 0",
        ));
    }
    caveats
}

/// Rows that share more than this part of the read noise's variance are visible as bands.
const BANDED: f64 = 0.3;

/// The doubt about noise that whole rows share.
pub(crate) fn banding(zero: &ReadNoise) -> Option<Caveat> {
    let share = (zero.row.as_ref()?.value.0 / zero.noise.value.0).powi(2);
    (share > BANDED && !zero.hidden).then(|| {
        Caveat::new(
            "row-banding",
            format!(
                "{:.0} % of the read noise's variance is common to whole rows: stacks will show bands",
                100.0 * share
            ),
            "dither in more than the direction of the rows; check cables and power supply",
        )
    })
}

/// Doubts about the gain: `used` of `flats` pairs went into the fit, `spoiled` ones are saturated.
pub(crate) fn of_flats(used: usize, spoiled: usize, flats: usize, fit: &TransferFit) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    if fit.is_narrow {
        caveats.push(Caveat::new(
            "narrow-levels",
            format!(
                "all flats are of nearly one level: they agree on the gain within {:.1} %, but how the curve bends below \
                 them is not in them, and is most of its uncertainty",
                100.0 * fit.pairs_relative
            ),
            "take pairs at 8 or more levels from 1 % to 70 % of saturation, by changing the exposure or the lamp",
        ));
    }
    if used < ENOUGH_LEVELS {
        caveats.push(Caveat::new(
            "few-frames",
            format!("the gain rests on {used} {} of flats", if used == 1 { "pair" } else { "pairs" }),
            "take pairs at 8 or more levels from 1 % to 70 % of saturation",
        ));
    }
    if spoiled * 2 > flats {
        caveats.push(Caveat::new(
            "saturated-flat",
            format!("{spoiled} of {flats} flat pairs are saturated and were left out"),
            "take most flats between 1 % and 70 % of saturation",
        ));
    }
    if let Some(kink) = fit.kink {
        let (below, above) = (1.0 / kink.below, 1.0 / kink.above);
        caveats.push(Caveat::new(
            "transfer-curve-kink",
            format!(
                "the transfer curve has a knee near {:.0} DN: {below:.3} e-/DN below it, {above:.3} above; \
                     the gain's uncertainty covers both",
                kink.at.0
            ),
            "for faint targets the lower part of the curve is the one that counts",
        ));
    }
    caveats
}

/// What moved between the flats of a pair, or flickered, from so much of the variance on, is worth a word.
pub(super) const MOVED: f64 = 0.005;
const FLICKER: f64 = 0.02;

/// Doubts about flats between which something moved, or under light that flickered; `flats` are the sound pairs.
pub(crate) fn of_light<'a>(flats: impl Iterator<Item = &'a Sound> + Clone) -> Vec<Caveat> {
    let largest = |of: fn(&Sound) -> f64| flats.clone().map(of).fold(0.0, f64::max);
    let (moved, share) = (largest(Sound::sure_effect), largest(|sound| if sound.is_sure { sound.moved } else { 0.0 }));
    let mut caveats = Vec::new();
    if moved > MOVED && share > 0.0 {
        caveats.push(Caveat::new(
            "stars-in-flats",
            format!(
                "something moved between the flats of a pair, as stars over a sky flat do: up to {:.1} % of the pixels, which \
                 would make the noise {} as large; they were left out",
                100.0 * share,
                times_words(1.0 + moved)
            ),
            "nothing to do for the gain; for flat-fielding take flats of a brighter sky, or move the telescope between them",
        ));
    }
    let uneven = largest(|sound| sound.uneven);
    if uneven > FLICKER {
        caveats.push(Caveat::new(
            "flicker-in-flats",
            format!(
                "the light of the flats flickers in bands, or its distribution changes from frame to frame: up to {:.0} % was \
                 added to the noise; each place was compared with its own level",
                100.0 * uneven
            ),
            "use exposures that are long against the mains period, or a lamp that does not flicker",
        ));
    }
    caveats
}

/// Flats whose noise for their level is not the same all over the field, `unlike` being the most over the least.
pub(super) fn divided_flats(unlike: f64) -> Caveat {
    Caveat::new(
        "flats-divided",
        format!(
            "for its level the noise of the flats is {} as large in one part of the field as in another: so is that of flats \
             that were divided by a master flat or corrected for vignetting, whose gain is not that of the other frames; the \
             gain's uncertainty reaches as far",
            times_words(unlike.sqrt())
        ),
        "measure flats as the camera writes them, with every correction switched off; if the sensor is read through several \
         amplifiers, measure one part at a time with --region",
    )
}

/// `1.07 times`, `21 times`.
fn times_words(factor: f64) -> String {
    if factor < 9.95 { format!("{factor:.2} times") } else { format!("{factor:.0} times") }
}

/// Doubts about the dark current of one temperature.
pub(crate) fn of_darks(stage: &DarkStage, current: &DarkCurrent, others_tell: bool) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    if stage.sensor.is_none() {
        let (count, message) = (stage.frames.len(), "the dark current cannot be carried to another temperature");
        caveats.push(Caveat::new(
            "temperature-missing",
            if others_tell {
                format!("{count} of the darks do not say the sensor's temperature: what they give stands apart from the others")
            } else {
                format!("no dark says the sensor's temperature: {message}")
            },
            "give it with --sensor-c, or in sidecar.csv (columns file, sensor_c)",
        ));
    }
    if stage.temperature_scatter() > UNSETTLED_KELVIN {
        caveats.push(Caveat::new(
            "temperature-unsettled",
            format!("the sensor's temperature scatters by {:.1} K over the darks", stage.temperature_scatter()),
            "let the cooler settle for ten minutes, or the body warm up, before the darks",
        ));
    }
    let saturated_whole = current.saturated.is_some_and(|saturated| !saturated.left_out) && current.from_mean.is_none();
    if current.undetermined {
        caveats.push(Caveat::new(
            "dark-current-undetermined",
            "exposure time, drift of the level and temperature cannot be told apart in these darks: they give no dark current",
            "take darks at three or more exposure times, short and long in turn, four of each, with a settled sensor",
        ));
    } else if current.from_mean.is_none() && !saturated_whole {
        caveats.push(Caveat::new(
            "few-frames",
            "darks of one exposure time and no bias frames: the dark current cannot be told from the black level",
            "take 20 bias frames, or darks at three or more exposure times",
        ));
    } else if current.mean_is_weak && !current.saturated.is_some_and(|saturated| saturated.left_out) {
        caveats.push(Caveat::new(
            "few-frames",
            "darks of one exposure time only: the dark current rests on the bias level",
            "take darks at three or more exposure times",
        ));
    }
    if current.variance_is_weak && current.from_variance.is_some() {
        caveats.push(Caveat::new(
            "few-frames",
            "the dark current from the variance rests on one exposure time without bias pairs at this temperature, \
                 or on one pair",
            "take pairs of darks at two or more exposure times, and bias frames at the same temperature",
        ));
    }
    caveats.extend(current.bent.map(|bent| bent.caveat()));
    caveats.extend(current.jump.filter(|_| current.bent.is_none()).map(level_jump));
    caveats.extend(of_saturated_darks(current, saturated_whole));
    if let Some(subtracted) = &current.subtracted {
        caveats.push(Caveat::new(
            "dark-subtracted",
            format!(
                "the camera took a dark of its own off each long exposure: the level is held, and at no time the noise's \
                 variance is {:.2} times that of the bias frames; the dark current is from half the noise's growth, \
                 hot pixels are not in it",
                subtracted.times_bias
            ),
            "switch the camera's noise reduction of long exposures off: it adds the noise of a second dark to every \
             light, and takes as long again",
        ));
    } else if current.is_pinned() {
        caveats.push(Caveat::new(
            "black-level-pinned",
            "the camera holds its dark level: the dark current is taken from the noise instead",
            if current.mean_is_weak {
                "take darks at two or more exposure times: from one alone it cannot be told whether the camera took a dark \
                 off each (noise reduction of long exposures), and then the dark current comes out more than twice too large"
            } else {
                "nothing to do; many cameras with an optical black border do this"
            },
        ));
    }
    caveats
}

/// Darks whose level without time is not that of the bias frames.
fn level_jump(jump: f64) -> Caveat {
    let way = if jump > 0.0 { "above" } else { "below" };
    Caveat::new(
        "black-level-moves",
        format!(
            "without time the darks would be {:.0} DN {way} the bias frames: another firmware, offset or gain setting between them? \
             The intervals of gain and dark current count with a gain that is another too",
            jump.abs()
        ),
        "take bias frames, flats and darks with the same settings, one after the other",
    )
}

/// Darks in which pixels saturate, and what became of them.
fn of_saturated_darks(current: &DarkCurrent, saturated_whole: bool) -> Option<Caveat> {
    let saturated = current.saturated.as_ref()?;
    let (what, hint) = if saturated_whole {
        (
            "so much of their charge is lost that they give no dark current",
            "take shorter darks, or darks at a lower temperature",
        )
    } else if saturated.left_out {
        ("they were left out", "nothing to do; hot pixels still count in the shorter darks")
    } else {
        (
            "the dark current comes out too small, and its interval reaches to what they may have lost",
            "take shorter darks as well, or darks at a lower temperature",
        )
    };
    let message = format!("pixels saturate in darks of {} s and longer: {what}", saturated.from.0);
    Some(Caveat::new("saturated-dark", message, hint))
}

/// A pair of bias frames that is unlike its siblings.
pub(crate) fn outlier(files: &str) -> Caveat {
    Caveat::new(
        "outlier-frame",
        format!("one of {files} is much noisier than the other bias frames; the pair was left out"),
        "look at the two frames and remove the damaged one",
    )
}

/// Flats of one exposure that lie on no common curve.
pub(crate) fn mixed_levels() -> Caveat {
    Caveat::new(
        "mixed-levels",
        "flats of one exposure time have several levels and lie on no common curve: two gain settings, or filters, \
         under one name?",
        "measure each setting from a folder of its own",
    )
}

/// A thermal law from too few temperatures to know its floor.
pub(crate) fn no_floor(law: &Thermal) -> Caveat {
    Caveat::new(
        "assumed-value",
        format!(
            "from so few temperatures a floor of the dark current cannot be told from its slope: the activation \
             energy ({:.2} eV) is that of the sum",
            law.activation_ev.value
        ),
        "take darks at four or more temperatures to see the floor",
    )
}

/// Dark currents that do not say how they grow with the temperature.
pub(super) fn no_law(law: &Thermal) -> Caveat {
    let [cold, warm] = law.measured_c.unwrap_or([law.reference_c.0; 2]);
    Caveat::new(
        "thermal-law-undetermined",
        format!(
            "the dark currents from {cold:.1} to {warm:.1} °C are too uncertain to say how it grows with the temperature: it is \
                     carried to others with an assumed doubling"
        ),
        "take darks at two temperatures at least 10 degrees apart, so long that the dark current stands out",
    )
}

/// Rates that do not rise with the temperature.
pub(super) fn not_thermal([(cold, of_cold), (warm, of_warm)]: [(Celsius, &DarkCurrentPoint); 2]) -> Caveat {
    Caveat::new(
        "dark-not-thermal",
        format!(
            "the dark current does not rise with the temperature as a sensor's does: {:.4} e-/s at {:.1} °C, {:.4} at {:.1} °C. \
             Light leaks in, the headers' temperatures are wrong, or the most of it is a floor that cooling does not lower",
            of_cold.e_per_s.value.0, cold.0, of_warm.e_per_s.value.0, warm.0
        ),
        "take the darks again in a dark room with foil over the cap, with a sensor that has settled, and look whether the \
         temperature in the headers is the sensor's",
    )
}

/// A floor with a slope over the frame.
pub(super) fn light_leak(floor: f64, slope: f64) -> Caveat {
    Caveat::new(
        "light-leak-suspected",
        format!(
            "what cooling does not lower, {floor:.4} e-/s, differs by {slope:.4} e-/s from one side of the frame to the other, \
             and the bias frames do not: light leaks in, or an amplifier glows, and no floor of the sensor is known"
        ),
        "take the darks again in a dark room with foil over cap, viewfinder and filter drawer",
    )
}

/// Read noise that differs between the quietest and the noisiest temperature by more than three combined
/// uncertainties and 5 %.
pub(super) fn noise_with_temperature(
    (quiet, least): &(Celsius, Estimate<Dn>),
    (loud, most): &(Celsius, Estimate<Dn>),
) -> Option<Caveat> {
    let apart = most.value.0 - least.value.0;
    let seen = apart > 3.0 * least.uncertainty.0.hypot(most.uncertainty.0) && apart > OTHER_NOISE * least.value.0;
    seen.then(|| {
        Caveat::new(
            "noise-with-temperature",
            format!(
                "the read noise is {:.0} % higher at {:.1} °C than at {:.1} °C",
                100.0 * apart / least.value.0,
                loud.0,
                quiet.0
            ),
            "plan with bias frames of the lights' own temperature; `read_noise_by_temperature` has them all",
        )
    })
}

/// A typed gain differs from that of flats by more than this share.
const TYPED_APART: f64 = 0.03;

/// A typed gain that the flats contradict by more than three uncertainties and 3 %: their own, or, where they are so alike
/// that a curvature of the transfer curve is most of it, that to which they agree with each other.
pub(super) fn typed_against(typed: ElectronsPerDn, fit: &TransferFit) -> Option<Caveat> {
    let fitted = &fit.gain;
    let apart = (typed.0 - fitted.value.0).abs();
    let sure = fitted.uncertainty.0.min(fit.pairs_relative * fitted.value.0);
    (apart > 3.0 * sure && apart > TYPED_APART * fitted.value.0).then(|| {
        Caveat::new(
            "gain-doubtful",
            format!(
                "the typed gain is {} e-/DN, but the flats in the folder say {:.4} ± {:.4}, {:.0} % apart; the typed one \
                 was used",
                typed.0,
                fitted.value.0,
                fitted.uncertainty.0,
                100.0 * apart / fitted.value.0
            ),
            "measure again without --gain-e-per-dn",
        )
    })
}

/// Darks whose noise asks for another gain than the flats'.
pub(super) fn of_gain(other: &OtherGain, of_flats: ElectronsPerDn) -> Caveat {
    let (who, interval) = match other.of_biases {
        true => ("the flats", "every interval in electrons reaches"),
        false => ("the darks", "the dark current is counted with that of the darks, its interval reaches"),
    };
    Caveat::new(
        "gain-doubtful",
        format!(
            "the noise of the darks grows with their level as at {:.3} e-/DN, that of the flats says {:.3}: {who} have \
             another gain setting, or are no single raw frames; {interval} what both gains make",
            other.of_darks.value.0, of_flats.0
        ),
        "take bias frames, flats and darks with one gain setting, as the camera wrote them",
    )
}

/// Gains of two temperatures that differ by more than three combined uncertainties and 1 %.
pub(super) fn gain_with_temperature(
    (at_low, low): &(Celsius, Estimate<ElectronsPerDn>),
    (at_high, high): &(Celsius, Estimate<ElectronsPerDn>),
) -> Option<Caveat> {
    let apart = high.value.0 - low.value.0;
    let seen = apart > 3.0 * low.uncertainty.0.hypot(high.uncertainty.0) && apart > OTHER_GAIN * low.value.0;
    seen.then(|| {
        Caveat::new(
            "gain-with-temperature",
            format!(
                "flats at {:.0} °C say {:.4} e-/DN, flats at {:.0} °C {:.4}: the gain changes with the temperature",
                at_low.0, low.value.0, at_high.0, high.value.0
            ),
            "measure with flats of the lights' own temperature alone",
        )
    })
}

/// No flats, so no saturation.
pub(super) fn no_saturation() -> Caveat {
    Caveat::new(
        "assumed-value",
        "without flats saturation is not measured: the highest code of 16 bits is taken for it",
        "take flats, the last of them saturated",
    )
}
