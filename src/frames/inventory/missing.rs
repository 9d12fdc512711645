//! What a measurement of a folder's frames still lacks, in words.

use std::collections::BTreeSet;

use crate::caveat::Rejected;
use crate::frames::names::kind_in_path;
use crate::frames::{FrameKind, Group, names};

/// What a measurement of these groups still lacks, in words, mode by mode; `rejected` are the files left out.
pub(super) fn missing(groups: &[Group], rejected: &[Rejected]) -> Vec<String> {
    if groups.is_empty() {
        let left_out = match rejected.len() {
            0 => String::new(),
            count => format!(" ({} left out, see below)", names::files(count)),
        };
        return vec![format!("no frames that can be measured{left_out}: bias, flat and dark frames are needed")];
    }
    let modes: Vec<&[Group]> = groups.chunk_by(|a, b| a.mode == b.mode).collect();
    let several = modes.len() > 1;
    let lacks = |mode: &&[Group]| {
        let label = if several { format!(" ({})", mode[0].mode) } else { String::new() };
        missing_in_mode(mode, rejected).into_iter().map(move |words| format!("{words}{label}")).collect::<Vec<_>>()
    };
    modes.iter().flat_map(lacks).collect()
}

/// What frames were left out for want of, and how to say it.
pub(super) fn unsaid(rejected: &[Rejected]) -> Option<String> {
    let count = |code: &str| rejected.iter().filter(|file| file.code == code).count();
    let asked = [("kind", "unknown-kind"), ("exposure", "no-exposure"), ("gain setting or ISO", "unknown-gain")];
    let what: Vec<String> = (asked.iter())
        .filter(|(_, code)| count(code) > 0)
        .map(|(what, code)| format!("the {what} of {}", names::files(count(code))))
        .collect();
    (!what.is_empty()).then(|| format!("{}; {}", what.join(" and "), names::ADVICE))
}

/// Files that a folder or name calls by this word, among those that lack something.
fn left_out(rejected: &[Rejected], kind: FrameKind) -> Option<String> {
    let asked = ["no-exposure", "unknown-gain", "conflicting-kind"];
    let of_kind = |file: &&Rejected| asked.contains(&file.code.as_str()) && kind_in_path(&file.file) == Some(kind);
    let count = rejected.iter().filter(of_kind).count();
    (count > 0).then(|| format!("{} left out, for which see the list of rejected files", names::files(count)))
}

fn missing_in_mode(groups: &[Group], rejected: &[Rejected]) -> Vec<String> {
    let of_kind = |kind| groups.iter().filter(move |group| group.kind == kind);
    let count = |kind| of_kind(kind).map(|group| group.frames.len()).sum::<usize>();
    let mut lacks: Vec<String> = Vec::new();
    match (count(FrameKind::Bias), count(FrameKind::Dark) + count(FrameKind::DarkFlat)) {
        (0, 0) => lacks.push("no bias frames and no dark frames: offset and read noise cannot be measured".into()),
        (0, _) => lacks.push("no bias frames: offset and read noise rest on the shortest dark frames".into()),
        (1, 0) => lacks.push("only one bias frame: read noise needs a pair".into()),
        _ => {}
    }
    if count(FrameKind::Flat) == 0 {
        let why = left_out(rejected, FrameKind::Flat).map_or_else(String::new, |words| format!(" ({words})"));
        lacks
            .push(format!("no flat frames{why}: the gain cannot be measured and has to be given with --gain-e-per-dn"));
    } else if of_kind(FrameKind::Flat).all(|group| group.frames.len() < 2) {
        lacks.push("no flat pairs: the gain needs at least two flats of the same exposure".into());
    }
    let darks: Vec<&Group> = of_kind(FrameKind::Dark).collect();
    let times: BTreeSet<u64> = darks.iter().map(|group| group.exposure.0.to_bits()).collect();
    let temperatures: BTreeSet<Option<u64>> =
        darks.iter().map(|group| group.temperature.map(|temperature| temperature.0.to_bits())).collect();
    match times.len() {
        0 => {
            let why = left_out(rejected, FrameKind::Dark).map_or_else(String::new, |words| format!(" ({words})"));
            lacks.push(format!("no dark frames{why}: the dark current cannot be measured"));
        }
        1 => lacks.push("dark frames of one exposure only: the dark current needs at least two, far apart".into()),
        _ => {}
    }
    if times.len() > 1 && temperatures.len() < 2 {
        let words = "dark frames at one temperature only: how the dark current changes with temperature stays unknown";
        lacks.push(words.into());
    }
    lacks
}
