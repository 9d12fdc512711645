//! Frames of several gains that nothing tells apart: asked about, never averaged.

use std::collections::BTreeSet;

use super::{Inventory, Judged};
use crate::caveat::{Caveat, Rejected};
use crate::frames::{FrameKind, ModeKey, StripStatistics};

/// The noise of bias frames of one gain differs less than this from frame to frame.
const NOISE_GAP: f64 = 1.12;
/// Flats of one level and one gain have noise above the bias's that differs less than this.
const SLOPE_GAP: f64 = 1.5;
/// Flats within this share of each other's signal are of one level: what is printed on the pixels counts the same in both.
const LEVEL_SHARE: f64 = 1.15;
/// A flat with a larger share of its pixels at the highest code is cut off.
const MOST_CUT: f64 = 0.01;
/// Fewer frames that agree are a freak.
const LEAST: usize = 2;

impl Inventory {
    /// Gives frames that name no gain that of all others of their camera, or leaves them out where it could be several.
    pub(super) fn ask_for_gains(&mut self, mut frames: Vec<Judged>) -> Vec<Judged> {
        self.note_other_words(&frames);
        let mut silent: Vec<ModeKey> =
            (frames.iter().filter(|frame| frame.mode.gain_setting.is_none())).map(|frame| frame.mode.clone()).collect();
        silent.sort();
        silent.dedup();
        for mode in silent {
            let named = gains_beside(&frames, &mode);
            let of_mode: Vec<&Judged> = frames.iter().filter(|frame| frame.mode == mode).collect();
            let why = match (named.as_slice(), mixture(&of_mode)) {
                (_, Some(why)) => why,
                ([], None) => continue,
                ([gain], None) => {
                    self.note_taken_gain(*gain, of_mode.len(), &mode);
                    for frame in frames.iter_mut().filter(|frame| frame.mode == mode) {
                        frame.info.gain_setting = Some(*gain);
                        frame.mode = ModeKey::from_info(&frame.info);
                        frame.stated.iter_mut().for_each(|said| said.mode = frame.mode.clone());
                    }
                    continue;
                }
                (several, None) => format!("other frames of this camera have {}", in_words(several)),
            };
            let (asked, kept): (Vec<Judged>, Vec<Judged>) = frames.into_iter().partition(|frame| frame.mode == mode);
            frames = kept;
            for frame in asked {
                let reason = format!("neither header, name nor folder says its gain or ISO, and {why}");
                self.rejected.push(Rejected { file: frame.info.file, code: "unknown-gain".into(), reason });
            }
        }
        frames
    }

    fn note_taken_gain(&mut self, gain: f64, count: usize, mode: &ModeKey) {
        let message = format!(
            "{} without a gain or ISO number: {gain}, which all other frames of this camera name, was taken",
            if count == 1 { "1 frame".into() } else { format!("{count} frames") }
        );
        let hint = "if that is wrong, write sidecar.csv (columns file, gain_setting) beside the frames";
        self.caveats.push(Caveat::new("assumed-value", message, hint).about(mode.to_string()));
    }

    /// Names with another gain, time or temperature than the header.
    pub(super) fn note_other_words(&mut self, frames: &[Judged]) {
        let gains = |frame: &Judged| Some((frame.info.gain_setting?, frame.other_gain?));
        let times = |frame: &Judged| Some((frame.info.exposure.0, frame.other_time?.0));
        let sensors = |frame: &Judged| Some((frame.info.sensor?.0, frame.other_sensor?.0));
        self.note_other("conflicting-gain", ["gain or ISO", "", "gain_setting"], frames, gains);
        self.note_other("conflicting-exposure", ["the exposure is", " s", "exposure_s"], frames, times);
        self.note_other("conflicting-temperature", ["the sensor has", " °C", "sensor_c"], frames, sensors);
    }

    /// `words` are what the number is, its unit, and its column in the sidecar; `both` gives header and name.
    fn note_other(
        &mut self,
        code: &str,
        [what, unit, column]: [&str; 3],
        frames: &[Judged],
        both: impl Fn(&Judged) -> Option<(f64, f64)>,
    ) {
        let mut differ = frames.iter().filter_map(|frame| Some((frame, both(frame)?)));
        let Some((first, (header, named))) = differ.next() else { return };
        let more = differ.count();
        let about = if more == 0 { first.info.file.clone() } else { format!("{} and {more} more", first.info.file) };
        let message = format!("the header says {what} {header}{unit}, the name {named}{unit}: the header was believed");
        let hint = format!("if the header is wrong, say so in sidecar.csv (columns file, {column}) beside the frames");
        self.caveats.push(Caveat::new(code, message, hint).about(about));
    }
}

/// The gains that frames name which are alike in all else.
fn gains_beside(frames: &[Judged], mode: &ModeKey) -> Vec<f64> {
    let like = |other: &ModeKey| {
        let without = ModeKey { gain_setting: None, offset_setting: mode.offset_setting, ..other.clone() };
        without == *mode
    };
    let mut gains: Vec<f64> =
        frames.iter().filter(|frame| like(&frame.mode)).filter_map(|frame| frame.mode.gain_setting).collect();
    gains.sort_by(f64::total_cmp);
    gains.dedup();
    gains
}

fn in_words(gains: &[f64]) -> String {
    gains.iter().map(f64::to_string).collect::<Vec<_>>().join(", ")
}

/// What shows that frames of one name are of several gains.
fn mixture(frames: &[&Judged]) -> Option<String> {
    noises_apart(frames).or_else(|| flats_apart(frames))
}

/// Bias frames in two or more camps by their noise, each of several frames.
fn noises_apart(frames: &[&Judged]) -> Option<String> {
    let biases = frames.iter().filter(|frame| frame.info.kind == FrameKind::Bias);
    let strips: Vec<StripStatistics> = biases.filter_map(|frame| frame.strip_statistics).collect();
    // Below half a step the noise that is seen goes with the place of the level between two steps.
    let least = 0.5 * strips.iter().map(|strip| strip.step.0).fold(1.0, f64::max);
    let mut noises: Vec<f64> = strips.iter().map(|strip| strip.sigma.0.max(least)).collect();
    noises.sort_by(f64::total_cmp);
    let camps: Vec<&[f64]> = noises.chunk_by(|a, b| b / a <= NOISE_GAP).collect();
    if camps.len() < 2 || camps.iter().any(|camp| camp.len() < LEAST) {
        return None;
    }
    let middles: Vec<String> = camps.iter().map(|camp| format!("{:.1}", camp[camp.len() / 2])).collect();
    Some(format!("the noise of the bias frames, {} DN, is that of several", middles.join(" and ")))
}

/// Flats of one level whose noise is that of several gains.
fn flats_apart(frames: &[&Judged]) -> Option<String> {
    let glances = |kind: FrameKind| {
        frames.iter().filter(move |frame| frame.info.kind == kind).filter_map(|frame| frame.strip_statistics)
    };
    let dark = glances(FrameKind::Bias).chain(glances(FrameKind::Dark)).min_by(|a, b| a.mean.0.total_cmp(&b.mean.0))?;
    let variance = dark.sigma.0.powi(2).max(0.1);
    let mut flats: Vec<(f64, f64)> = glances(FrameKind::Flat)
        .filter(|strip| strip.top_share < MOST_CUT)
        .map(|strip| (strip.mean.0 - dark.mean.0, strip.sigma.0.powi(2) - dark.sigma.0.powi(2)))
        .filter(|(signal, above)| *signal > 0.0 && *above > variance)
        .collect();
    flats.sort_by(|a, b| a.0.total_cmp(&b.0));
    let apart = apart(&flats.iter().map(|(signal, above)| (*signal, above / signal)).collect::<Vec<_>>());
    let (low, high) = apart.iter().fold((f64::MAX, 0.0_f64), |(low, high), (_, s)| (low.min(*s), high.max(*s)));
    let (quiet, noisy): (Vec<_>, Vec<_>) = apart.iter().partition(|(_, slope)| *slope < (low * high).sqrt());
    let dimmest = quiet.iter().map(|(signal, _)| *signal).fold(f64::MAX, f64::min);
    let brightest = noisy.iter().map(|(signal, _)| *signal).fold(0.0, f64::max);
    // One flat with a fault differs from all others of its level, two gains differ in pairs; and where all that are quiet
    // are brighter than the others, the well is full.
    (quiet.len() >= LEAST && noisy.len() >= LEAST && dimmest < brightest)
        .then(|| format!("flats of one level have {:.1} times as much noise as others", (high / low).sqrt()))
}

/// Of signals in rising order and the noise per signal of each, those that disagree with another of their level.
fn apart(flats: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let near = |a: usize, b: usize| flats[b].0 / flats[a].0 <= LEVEL_SHARE;
    // The slopes of one level; those above 0 are in the order of their bits.
    let mut level: BTreeSet<(u64, usize)> = BTreeSet::new();
    let slope = |found: Option<&(u64, usize)>| found.map_or(f64::NAN, |(bits, _)| f64::from_bits(*bits));
    let (mut start, mut end) = (0, 0);
    let mut apart = Vec::new();
    for (place, &(signal, own)) in flats.iter().enumerate() {
        while end < flats.len() && near(place, end) {
            level.insert((flats[end].1.to_bits(), end));
            end += 1;
        }
        while !near(start, place) {
            level.remove(&(flats[start].1.to_bits(), start));
            start += 1;
        }
        let (least, most) = (slope(level.first()), slope(level.last()));
        if (own / least).max(most / own) > SLOPE_GAP {
            apart.push((signal, own));
        }
    }
    apart
}

#[cfg(test)]
mod tests {
    use crate::frames::{Cards, Inventory, Seen, StripStatistics};
    use crate::units::Dn;

    /// Bias frames of noise 3 DN and flats of these levels and variances.
    fn left_out(flats: &[(f64, f64)]) -> usize {
        let seen = |file: String, level: f64, variance: f64| {
            let (mean, sigma) = (Dn(level), Dn(variance.sqrt()));
            let strip = StripStatistics {
                mean,
                median: mean,
                spread: sigma,
                noise: sigma,
                sigma,
                max: 60_000,
                zero_share: 0.0,
                top_share: 0.0,
                step: Dn(1.0),
            };
            let cards = Cards::from_lines("EXPTIME = 1");
            Seen { file, cards, width: 8, height: 8, strip_statistics: Some(strip) }
        };
        let mut all: Vec<Seen> = (0..3).map(|number| seen(format!("bias/{number}.fits"), 500.0, 9.0)).collect();
        for (number, (level, variance)) in flats.iter().enumerate() {
            all.push(seen(format!("flats/{number}.fits"), 500.0 + level, 9.0 + variance));
        }
        let inventory = Inventory::new(all, &[], "", Vec::new());
        inventory.rejected.iter().filter(|file| file.code == "unknown-gain").count()
    }

    #[test]
    fn two_gains_at_one_level_are_several_a_full_well_and_a_faulty_flat_are_not() {
        let pairs = |flats: &[(f64, f64)]| flats.iter().flat_map(|flat| [*flat, *flat]).collect::<Vec<_>>();
        assert_eq!(left_out(&pairs(&[(1000.0, 500.0), (2000.0, 1000.0), (1050.0, 2100.0), (2050.0, 4100.0)])), 11);
        assert_eq!(left_out(&pairs(&[(1000.0, 500.0), (9000.0, 4500.0), (10_000.0, 900.0)])), 0);
        assert_eq!(left_out(&[(1000.0, 500.0), (1000.0, 500.0), (1000.0, 1500.0), (4000.0, 2000.0)]), 0);
        // What is printed on the pixels grows with the square of the level.
        let printed = |level: f64| (level, 0.5 * level + (0.01 * level).powi(2));
        assert_eq!(left_out(&pairs(&[1e3, 3e3, 1e4, 2e4, 2.2e4, 4e4].map(printed))), 0);
    }
}
