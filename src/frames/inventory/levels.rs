//! Black and white levels that camera raw files state, held against what the frames show; and flats without a time.

use std::collections::BTreeMap;

use super::{Inventory, Judged};
use crate::caveat::{Caveat, Rejected, push_once};
use crate::frames::{FrameKind, Group, ModeKey};

/// Stated levels are whole numbers of a table: what differs by less than this says nothing.
const ROUNDED_DN: f64 = 1.5;
/// A black level wanders from frame to frame; so many standard deviations of that are chance.
const WANDER_SIGMAS: f64 = 3.0;
/// So many pixels at one code are a pile, where the sensor or its converter stops.
const PILE_SHARE: f64 = 0.01;
/// Flats whose levels differ by less than this share are of one level.
const SAME_LEVEL: f64 = 0.03;

impl Inventory {
    /// A word where the levels that the files state are not those of their pixels.
    pub(super) fn note_stated_levels(&mut self, frames: &[Judged]) {
        let mut modes: BTreeMap<&ModeKey, Vec<&Judged>> = BTreeMap::new();
        for frame in frames.iter().filter(|frame| frame.raw_file) {
            modes.entry(&frame.mode).or_default().push(frame);
        }
        for (mode, frames) in modes {
            let caveats = [black(&frames), white(&frames)];
            self.caveats.extend(caveats.into_iter().flatten().map(|caveat| caveat.about(mode.to_string())));
        }
    }

    /// A word where the pixel's size is a rough one.
    pub(super) fn note_rough_pixels(&mut self, frames: &[Judged]) {
        for frame in frames.iter().filter(|frame| frame.rough_pixel) {
            let Some(side) = frame.info.pixel else { continue };
            let message = format!(
                "the pixel of {:.2} µm is computed from what the files say of the picture's resolution; such figures may be a few percent off",
                side.0
            );
            let hint = "give the maker's figure with --pixel-um, or in sidecar.csv (columns file, pixel_um)";
            let about = frame.info.camera.clone().unwrap_or_default();
            push_once(&mut self.caveats, Caveat::new("pixel-size-rough", message, hint).about(about));
        }
    }

    /// Cameras with a dial state an ISO number; files without one may be of several.
    pub(super) fn note_missing_gains(&mut self, frames: &[Judged]) {
        for frame in frames.iter().filter(|frame| frame.raw_file && frame.info.gain_setting.is_none()) {
            let message = "the camera's raw files do not say their ISO number: all were taken to be of one";
            let hint = "if they are of several, keep each in a folder that names it (iso800), or write sidecar.csv (columns file, iso)";
            push_once(&mut self.caveats, Caveat::new("gain-missing", message, hint).about(frame.mode.to_string()));
        }
    }

    /// A word where the files own up to a compression that may lose counts, and their camera has no other.
    pub(super) fn note_losses(&mut self, frames: &[Judged]) {
        for (frame, how) in frames.iter().filter_map(|frame| Some((frame, frame.loses.as_ref()?))) {
            let message =
                format!("the camera stores its counts in {how}, which may round them where neighbours differ much");
            let hint = "read noise and dark frames suffer least; take the gain from flats of an even field";
            push_once(&mut self.caveats, Caveat::new("lossy-compression", message, hint).about(frame.mode.to_string()));
        }
    }

    /// A word where a fraction in the names was taken for the exposure.
    pub(super) fn note_dial_times(&mut self, frames: &[Judged]) {
        let Some(first) = frames.iter().find(|frame| frame.dial_time) else { return };
        let count = frames.iter().filter(|frame| frame.dial_time).count();
        let message = format!(
            "no header gives the exposure: the fraction in the names was taken, such as 1/{:.0} s ({count} frames)",
            1.0 / first.info.exposure.0
        );
        let hint = "if those are counters, write sidecar.csv (columns file, exposure_s) beside the frames";
        self.caveats.push(Caveat::new("assumed-value", message, hint).about(&first.info.file));
    }

    /// Flats without an exposure are paired by their levels; those without a partner are left out.
    pub(super) fn pair_by_level(&mut self, groups: Vec<Group>, frames: &BTreeMap<String, f64>) -> Vec<Group> {
        let mut paired = 0;
        let mut all = Vec::new();
        for group in groups {
            let timeless =
                group.kind == FrameKind::Flat && group.frames.iter().all(|frame| frames.contains_key(&frame.file));
            if !timeless {
                all.push(group);
                continue;
            }
            for level in levels(group, frames) {
                if let [alone] = level.frames.as_slice() {
                    let reason =
                        "neither header nor name says how long it was exposed, and no other flat has its level";
                    let file = alone.file.clone();
                    self.rejected.push(Rejected { file, code: "no-exposure".into(), reason: reason.into() });
                    continue;
                }
                paired += level.frames.len();
                all.push(level);
            }
        }
        if paired > 0 {
            let message = format!(
                "nothing says how long {paired} flats were exposed: they were paired by their levels, and count as 0 s"
            );
            let hint =
                "the gain does not need the time; for the linearity write sidecar.csv (columns file, exposure_s)";
            self.caveats.push(Caveat::new("flats-without-exposure", message, hint));
        }
        all
    }
}

/// The flats of a group, those of each level together.
fn levels(group: Group, known: &BTreeMap<String, f64>) -> Vec<Group> {
    let level = |file: &str| known.get(file).copied().unwrap_or_default();
    let mut frames = group.frames.clone();
    frames.sort_by(|a, b| level(&a.file).total_cmp(&level(&b.file)));
    let runs = frames.chunk_by(|a, b| level(&b.file) <= level(&a.file).abs() * (1.0 + SAME_LEVEL));
    runs.map(|run| Group { frames: run.to_vec(), ..group.clone() }).collect()
}

/// The black level that is stated, against the masked border and the darkest frames.
fn black(frames: &[&Judged]) -> Option<Caveat> {
    let stated = frames.iter().find_map(|frame| frame.stated_levels[0])?.0;
    let unlit = || frames.iter().filter(|frame| matches!(frame.info.kind, FrameKind::Bias | FrameKind::DarkFlat));
    let border: Vec<f64> = frames.iter().filter_map(|frame| frame.masked).map(|level| level.0).collect();
    let darkest: Vec<f64> = unlit().filter_map(|frame| frame.strip_statistics).map(|strip| strip.mean.0).collect();
    let seen = [("the masked border", border), ("the frames without light", darkest)];
    let differ: Vec<String> = (seen.iter())
        .filter_map(|(what, levels)| {
            let (mean, scatter) = mean_and_scatter(levels)?;
            let off = (mean - stated).abs() > ROUNDED_DN + WANDER_SIGMAS * scatter;
            off.then(|| format!("{what} {mean:.1} DN"))
        })
        .collect();
    if differ.is_empty() {
        return None;
    }
    let message = format!(
        "the files state a black level of {stated} DN, {} show{}: what was measured is used",
        differ.join(" and "),
        if differ.len() == 1 && differ[0].contains("border") { "s" } else { "" }
    );
    Some(Caveat::new("black-level-differs", message, "nothing to do: what is stated comes from a table"))
}

fn mean_and_scatter(levels: &[f64]) -> Option<(f64, f64)> {
    let count = levels.len() as f64;
    let mean = levels.iter().sum::<f64>() / count;
    let scatter = (levels.iter().map(|level| (level - mean).powi(2)).sum::<f64>() / count).sqrt();
    (count > 0.0).then_some((mean, scatter))
}

/// The white level that is stated, against the codes of the brightest frame.
fn white(frames: &[&Judged]) -> Option<Caveat> {
    let stated = frames.iter().find_map(|frame| frame.stated_levels[1])?.0;
    let flats =
        frames.iter().filter(|frame| frame.info.kind == FrameKind::Flat).filter_map(|frame| frame.strip_statistics);
    let brightest = flats.max_by_key(|strip| strip.max)?;
    let highest = f64::from(brightest.max);
    let piled = brightest.top_share >= PILE_SHARE;
    // Below the stated level nothing speaks against it unless the pixels pile up there.
    if (highest - stated).abs() <= ROUNDED_DN || (highest < stated && !piled) {
        return None;
    }
    let what = if piled {
        format!("the flats pile up at {highest} DN ({:.0} % of the pixels of one)", 100.0 * brightest.top_share)
    } else {
        format!("the flats reach {highest} DN")
    };
    let message = format!("the files state a white level of {stated} DN, {what}: the frames were believed");
    Some(Caveat::new("white-level-differs", message, "nothing to do: what is stated comes from a table"))
}
