//! What a measurement of a folder's frames still lacks, in words.

use std::collections::BTreeSet;

use crate::caveat::Rejected;
use crate::frames::{FrameKind, Group, names};

/// What a measurement of these groups still lacks, in words, mode by mode.
pub(super) fn missing(groups: &[Group]) -> Vec<String> {
    if groups.is_empty() {
        return vec!["no frames that can be measured: bias, flat and dark frames are needed".into()];
    }
    let modes: Vec<&[Group]> = groups.chunk_by(|a, b| a.mode == b.mode).collect();
    let several = modes.len() > 1;
    let lacks = |mode: &&[Group]| {
        let label = if several { format!(" ({})", mode[0].mode) } else { String::new() };
        missing_in_mode(mode).into_iter().map(move |words| format!("{words}{label}")).collect::<Vec<_>>()
    };
    modes.iter().flat_map(lacks).collect()
}

/// What frames were left out for want of, and how to say it.
pub(super) fn unsaid(rejected: &[Rejected]) -> Option<String> {
    let count = |code: &str| rejected.iter().filter(|file| file.code == code).count();
    let (kinds, times) = (count("unknown-kind"), count("no-exposure"));
    let files = names::files;
    let what = match (kinds, times) {
        (0, 0) => return None,
        (kinds, 0) => format!("the kind of {}", files(kinds)),
        (0, times) => format!("the exposure of {}", files(times)),
        (kinds, times) => format!("the kind of {} and the exposure of {}", files(kinds), files(times)),
    };
    Some(format!("{what}; {}", names::ADVICE))
}

fn missing_in_mode(groups: &[Group]) -> Vec<String> {
    let of_kind = |kind| groups.iter().filter(move |group| group.kind == kind);
    let count = |kind| of_kind(kind).map(|group| group.frames.len()).sum::<usize>();
    let mut lacks = Vec::new();
    match (count(FrameKind::Bias), count(FrameKind::Dark) + count(FrameKind::DarkFlat)) {
        (0, 0) => lacks.push("no bias frames and no dark frames: offset and read noise cannot be measured"),
        (0, _) => lacks.push("no bias frames: offset and read noise rest on the shortest dark frames"),
        (1, 0) => lacks.push("only one bias frame: read noise needs a pair"),
        _ => {}
    }
    if count(FrameKind::Flat) == 0 {
        lacks.push("no flat frames: the gain cannot be measured and has to be given with --gain-e-per-dn");
    } else if of_kind(FrameKind::Flat).all(|group| group.frames.len() < 2) {
        lacks.push("no flat pairs: the gain needs at least two flats of the same exposure");
    }
    let darks: Vec<&Group> = of_kind(FrameKind::Dark).collect();
    let times: BTreeSet<u64> = darks.iter().map(|group| group.exposure.0.to_bits()).collect();
    let temperatures: BTreeSet<Option<u64>> =
        darks.iter().map(|group| group.temperature.map(|temperature| temperature.0.to_bits())).collect();
    match times.len() {
        0 => lacks.push("no dark frames: the dark current cannot be measured"),
        1 => lacks.push("dark frames of one exposure only: the dark current wants at least two, far apart"),
        _ => {}
    }
    if times.len() > 1 && temperatures.len() < 2 {
        lacks.push("dark frames at one temperature only: how the dark current changes with temperature stays unknown");
    }
    lacks.into_iter().map(str::to_owned).collect()
}
