//! Frames that cannot be what they are said to be, and what contradicts them.

use std::collections::BTreeMap;

use super::{Inventory, Judged};
use crate::caveat::{Caveat, Rejected};
use crate::frames::group::TEMPERATURE_GAP_C;
use crate::frames::{FrameKind, ModeKey, StripStatistics, same_exposure};

/// A frame this many times its like's pixel noise above their level is lit, not read.
const LIT_SIGMAS: f64 = 20.0;
/// A flat must stand at least this many times the pixel noise above the frames without light.
const UNLIT_SIGMAS: f64 = 0.1;
/// So many frames have to agree before one may be called odd.
const LEAST_PEERS: usize = 2;
/// A longer dark of the same temperature is brighter by no less than noise and a wandering level, in DN.
const WANDER_DN: f64 = 3.0;
/// A frame of whose pixels more than this share is 0, where others' are not, was not read out whole.
const EMPTY_SHARE: f64 = 0.9;
const NOT_EMPTY_SHARE: f64 = 0.5;
/// Bias frames are of two kinds where their noises part by this factor, and by so many times their scatter.
const TWO_NOISES: f64 = 1.12;
const TIMES_SCATTER: f64 = 5.0;
/// One frame alone is of another kind beside at least so many others, from this factor on and by so many times their scatter.
const OTHERS_OF_ONE: usize = 5;
const ONE_NOISE: f64 = 1.25;
const TIMES_SCATTER_OF_ONE: f64 = 4.0;

impl Inventory {
    pub(super) fn note_contradictions(&mut self, frames: &[Judged]) {
        let mut alike: BTreeMap<(String, String), Vec<&Judged>> = BTreeMap::new();
        for frame in frames {
            if let Some((other, words)) = &frame.contradicted {
                let said = format!("the {} says {}", frame.info.why, frame.info.kind);
                alike.entry((said, format!("the {words} says {other}"))).or_default().push(frame);
            }
        }
        for ((header, place), files) in alike {
            let first = &files[0].info.file;
            let about = if files.len() == 1 { first.clone() } else { format!("{first} and {} more", files.len() - 1) };
            let message = format!("{header}, {place}: the header was believed");
            let hint = "if the header is wrong, say so in sidecar.csv (columns file, kind) beside the frames";
            self.caveats.push(Caveat::new("conflicting-kind", message, hint).about(about));
        }
    }

    /// Even frames that their headers call lights, in a set without flats: a measurement leaves them out.
    pub(super) fn note_lights(&mut self, frames: &[Judged]) {
        let is = |kind: FrameKind| frames.iter().any(|frame| frame.info.kind == kind);
        if is(FrameKind::Flat) || !(is(FrameKind::Bias) || is(FrameKind::Dark)) {
            return;
        }
        let even = |frame: &&Judged| {
            frame.info.kind == FrameKind::Light
                && frame.strip_statistics.is_some_and(|strip_statistics| strip_statistics.is_even())
        };
        let lights: Vec<&Judged> = frames.iter().filter(even).collect();
        let Some(first) = lights.first() else { return };
        let message = format!(
            "there are no flats, but {} evenly lit frames that are said to be lights ({}): a measurement leaves lights out",
            lights.len(),
            first.info.why
        );
        let hint = "if they are flats, say so in sidecar.csv beside the frames (columns file, kind)";
        self.caveats.push(Caveat::new("lights-for-flats", message, hint).about(&first.info.file));
    }

    /// Leaves out frames whose pixels cannot be those of the kind they are said to be.
    pub(super) fn veto(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
        let mut doubts: Vec<Option<String>> = frames.iter().map(|frame| frame.doubt(&frames)).collect();
        for (place, reason) in odd_biases(&frames) {
            doubts[place].get_or_insert(reason);
        }
        let mut kept = Vec::new();
        for (frame, doubt) in frames.into_iter().zip(doubts) {
            let Some(reason) = doubt else {
                kept.push(frame);
                continue;
            };
            let hint = "look at the frame; if it is right all the same, say its kind in sidecar.csv beside the frames";
            let file = frame.info.file;
            self.caveats.push(Caveat::new("conflicting-kind", format!("{reason}; it was left out"), hint).about(&file));
            self.rejected.push(Rejected { file, code: "conflicting-kind".into(), reason });
        }
        kept
    }

    /// Rows stored the other way round put each pixel's pattern on another pixel: the fewer are left out.
    pub(super) fn same_row_order(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
        let count = |mode: &ModeKey, order| {
            frames.iter().filter(|frame| frame.bottom_up == Some(order) && frame.mode == *mode).count()
        };
        let odd = |frame: &Judged| {
            let order = frame.bottom_up?;
            let (same, other) = (count(&frame.mode, order), count(&frame.mode, !order));
            (other > same || (other == same && order)).then_some(other)
        };
        let others: Vec<Option<usize>> = frames.iter().map(odd).collect();
        let mut kept = Vec::new();
        for (frame, others) in frames.into_iter().zip(others) {
            let Some(others) = others else {
                kept.push(frame);
                continue;
            };
            let reason =
                format!("its rows are stored upside down (ROWORDER) to those of {others} others of this camera");
            self.rejected.push(Rejected { file: frame.info.file, code: "row-order".into(), reason });
        }
        kept
    }
}

impl Judged {
    /// Why the pixels cannot be those of the kind that the frame is said to be, if they cannot.
    fn doubt(&self, all: &[Self]) -> Option<String> {
        let strip_statistics = self.strip_statistics.filter(|_| !self.certain)?;
        match self.info.kind {
            FrameKind::Flat => self.empty(&strip_statistics, all).or_else(|| self.unlit(&strip_statistics, all)),
            FrameKind::Bias | FrameKind::Dark | FrameKind::DarkFlat => self
                .empty(&strip_statistics, all)
                .or_else(|| self.lit(&strip_statistics, all))
                .or_else(|| self.too_bright(&strip_statistics, all)),
            FrameKind::Light => None,
        }
    }

    /// Nothing but 0, where others of its kind have a level.
    fn empty(&self, strip_statistics: &StripStatistics, all: &[Self]) -> Option<String> {
        let like = all.iter().filter(|other| self.is_of_its_mode(other) && other.info.kind == self.info.kind);
        let mut shares: Vec<f64> = like.filter_map(|other| Some(other.strip_statistics?.zero_share)).collect();
        shares.sort_by(f64::total_cmp);
        let usual = shares.get(shares.len() / 2).copied()?;
        (strip_statistics.zero_share > EMPTY_SHARE && usual < NOT_EMPTY_SHARE).then(|| {
            let share = 100.0 * strip_statistics.zero_share;
            format!(
                "{share:.0} % of its pixels are 0, where other {} frames have a level: it was not read out",
                self.info.kind
            )
        })
    }

    /// A dark that is brighter than longer ones, or than its time allows.
    fn too_bright(&self, strip_statistics: &StripStatistics, all: &[Self]) -> Option<String> {
        if self.info.kind == FrameKind::Bias {
            return None;
        }
        let (own, mean) = (self.info.exposure.0, strip_statistics.mean.0);
        let colder = |other: &Self| match (other.info.sensor, self.info.sensor) {
            (Some(other), Some(own)) => other.0 < own.0 - TEMPERATURE_GAP_C,
            _ => false,
        };
        let is_dark = |frame: &Self| matches!(frame.info.kind, FrameKind::Dark | FrameKind::DarkFlat);
        let longer = |frame: &&Self| is_dark(frame) && frame.info.exposure.0 > 1.5 * own && !colder(frame);
        if let Some((level, noise)) = self.usual(all, longer) {
            return (mean - level > LIT_SIGMAS * noise + WANDER_DN).then(|| {
                let (kind, why) = (self.info.kind, &self.info.why);
                format!(
                    "it is said to be a {kind} ({why}), but after {own} s it is at {mean:.1} DN, longer ones at {level:.1} DN: \
                     it has seen light, as a flat has"
                )
            });
        }
        // The longest of all: what shorter ones gather in its time, and a level that wanders as much.
        let (bias, _) = self.usual(all, |frame: &&Self| frame.info.kind == FrameKind::Bias)?;
        let shorter = |frame: &&Self| is_dark(frame) && frame.info.exposure.0 < own / 1.5 && !colder(frame);
        let (level, noise) = self.usual(all, shorter)?;
        let time = self.middle(all, shorter, |frame| Some(frame.info.exposure.0))?;
        let most = bias + ((level - bias).max(0.0) + WANDER_DN) * own / time.max(1e-6);
        (mean - most > LIT_SIGMAS * noise && mean - bias > 3.0 * (level - bias)).then(|| {
            let (kind, why) = (self.info.kind, &self.info.why);
            format!(
                "it is said to be a {kind} ({why}), but after {own} s it is at {mean:.1} DN, where shorter ones promise at \
                 most {most:.1} DN: it has seen light, as a flat has"
            )
        })
    }

    fn is_of_its_mode(&self, other: &Self) -> bool {
        other.mode == self.mode && other.info.file != self.info.file
    }

    fn unlit(&self, strip_statistics: &StripStatistics, all: &[Self]) -> Option<String> {
        // Darks that gather charge for longer than the flat are brighter than it.
        let bias = |frame: &&Self| frame.info.kind == FrameKind::Bias;
        let dark = |frame: &&Self| match frame.info.kind {
            FrameKind::Dark | FrameKind::DarkFlat => frame.info.exposure.0 <= self.info.exposure.0.max(1.0),
            kind => kind == FrameKind::Bias,
        };
        let (level, noise) = self.usual(all, bias).or_else(|| self.usual(all, dark))?;
        (strip_statistics.mean.0 - level < UNLIT_SIGMAS * noise).then(|| {
            let mean = strip_statistics.mean.0;
            format!(
                "it is said to be a flat ({}), but at {mean:.1} DN is as dark as the frames without light",
                self.info.why
            )
        })
    }

    fn lit(&self, strip_statistics: &StripStatistics, all: &[Self]) -> Option<String> {
        let like = |frame: &&Self| {
            let warm = match (frame.info.sensor, self.info.sensor) {
                (Some(other), Some(own)) => (other.0 - own.0).abs() > TEMPERATURE_GAP_C,
                _ => false,
            };
            // A bias frame has no time, whatever its header says of it.
            let same_time = self.info.kind == FrameKind::Bias || same_exposure(frame.info.exposure, self.info.exposure);
            // Darks of a warmer sensor are brighter, and right.
            !warm && frame.info.kind == self.info.kind && same_time
        };
        let (level, noise) = self.usual(all, like)?;
        (strip_statistics.mean.0 - level > LIT_SIGMAS * noise).then(|| {
            let (kind, why, mean) = (self.info.kind, &self.info.why, strip_statistics.mean.0);
            let how = if strip_statistics.is_even() { "evenly lit, as a flat is" } else { "far brighter than they" };
            format!(
                "it is said to be a {kind} ({why}), but at {mean:.1} DN against {level:.1} DN of its like it is {how}"
            )
        })
    }

    /// Median level and pixel noise of the other frames of this mode that `choose` takes, if they are enough.
    fn usual(&self, all: &[Self], choose: impl Fn(&&Self) -> bool) -> Option<(f64, f64)> {
        let level = self.middle(all, &choose, |frame| Some(frame.strip_statistics?.mean.0))?;
        // A frame of one code does not show its step: that of its mode.
        let strips = all.iter().filter(|frame| frame.mode == self.mode).filter_map(|frame| frame.strip_statistics);
        let step = strips.map(|strip| strip.step.0).fold(1.0, f64::max);
        let noise = self.middle(all, &choose, |frame| Some(frame.strip_statistics?.noise.0))?;
        Some((level, noise.max(0.5 * step)))
    }

    /// The middle of what `read` says of the other frames of this mode that `choose` takes, if they are enough.
    fn middle(
        &self,
        all: &[Self],
        choose: impl Fn(&&Self) -> bool,
        read: impl Fn(&Self) -> Option<f64>,
    ) -> Option<f64> {
        let others = all.iter().filter(|frame| self.is_of_its_mode(frame) && frame.strip_statistics.is_some());
        let mut values: Vec<f64> = others.filter(choose).filter_map(read).collect();
        values.sort_by(f64::total_cmp);
        // The lower of two middles: one bright frame of two must not set the level.
        let middle = values.get(values.len().saturating_sub(1) / 2).copied();
        middle.filter(|_| values.len() >= LEAST_PEERS)
    }
}

/// Bias frames of a mode whose noise is that of another gain: the places of the fewer, and why.
fn odd_biases(frames: &[Judged]) -> Vec<(usize, String)> {
    let mut modes: BTreeMap<&ModeKey, Vec<(StripStatistics, usize)>> = BTreeMap::new();
    for (place, frame) in frames.iter().enumerate().filter(|(_, frame)| frame.info.kind == FrameKind::Bias) {
        let strip = frame.strip_statistics.filter(|_| !frame.certain);
        modes.entry(&frame.mode).or_default().extend(strip.map(|strip| (strip, place)));
    }
    let mut odd = Vec::new();
    for strips in modes.into_values() {
        // A frame of one code does not show its step: that of its like.
        let step = strips.iter().map(|(strip, _)| strip.step.0).fold(1.0, f64::max);
        let noise = |strip: &StripStatistics| strip.sigma.0.max(0.5 * step);
        let mut noises: Vec<(f64, usize)> = strips.iter().map(|(strip, place)| (noise(strip), *place)).collect();
        noises.sort_by(|a, b| a.0.total_cmp(&b.0));
        let Some(split) = two_kinds(&noises.iter().map(|(noise, _)| *noise).collect::<Vec<_>>()) else { continue };
        let (quiet, loud) = noises.split_at(split);
        let middle = |part: &[(f64, usize)]| part[part.len() / 2].0;
        let (fewer, more) = if loud.len() > quiet.len() { (quiet, loud) } else { (loud, quiet) };
        let reason = format!(
            "its noise is {:.1} DN, that of {} other bias frames {:.1} DN: a dark, or of another gain setting that no header states?",
            middle(fewer),
            more.len(),
            middle(more)
        );
        odd.extend(fewer.iter().map(|(_, place)| (*place, reason.clone())));
    }
    odd
}

/// Where rising noises part into two kinds; `None` where they are of one.
fn two_kinds(noises: &[f64]) -> Option<usize> {
    let gap = |split: usize| (noises[split] / noises[split - 1]).ln();
    let split = (1..noises.len()).max_by(|a, b| gap(*a).total_cmp(&gap(*b)))?;
    let width = |part: &[f64]| (part[part.len() - 1] / part[0]).ln();
    let (low, high) = noises.split_at(split);
    let scatter = width(low).max(width(high));
    let fewer = low.len().min(high.len());
    let (factor, times) = match fewer {
        1 if noises.len() <= OTHERS_OF_ONE => return None,
        1 => (ONE_NOISE, TIMES_SCATTER_OF_ONE),
        _ => (TWO_NOISES, TIMES_SCATTER / 3.0),
    };
    (gap(split) > factor.ln() && gap(split) > times * scatter).then_some(split)
}
