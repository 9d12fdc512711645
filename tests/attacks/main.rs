//! Attacks on what people give the program, and on its life: changed files of every kind, and kills at any moment.
//!
//! `cargo test` runs a slice. The whole, with its counts:
//! `cargo test --release --test attacks -- --ignored --nocapture --test-threads 1`; with `--release`, for it holds each file
//! to five seconds, and on a machine that does nothing else.
//!
//! The whole changes 20,000 files and requests (FITS, gzip, tiles, camera raw; night, camera, sensor, JSON, sidecar;
//! requests to the page, whole and as bodies under a correct head) and kills 400 processes. Its last run: 4688 taken,
//! 15,312 refused, 61 decoding processes lost with their one file; no panic, no dead program, no hang of five seconds,
//! 3.3 s and 12 MB at most. 200 kills of `measure --out`: 129 times the old profile, 102 the new one; 200 of the page
//! while it saves: 71 times the old night, 228 the new one; never anything else, and what is left beside them is
//! hidden.
//!
//! A thousand random folders are measured and planned with (`accepted.rs`), as many at once as there are processors: seven
//! minutes of one processor, a tenth of a second for a run. The last time 665 of them were measured and 626 planned.
#![cfg(all(feature = "cli", feature = "page", feature = "raw", unix))]

mod accepted;
mod finding;
mod folders;
mod frames;
mod habits;
mod kills;
mod mutate;
mod planted;
mod requests;
mod saves;
mod shown;
mod sound;
#[path = "../support/mod.rs"]
mod support;
mod texts;
mod watch;
#[allow(dead_code, reason = "each of its users takes what it needs")]
#[path = "../support/hostile/mod.rs"]
mod whole_frames;

use std::path::Path;
use std::time::Duration;

use folders::Folder;
use support::program::PROGRAM;
use watch::{Limits, Tally};

/// A slice must pass on a machine that is slow or busy; the whole holds each file to five seconds.
const SLICE: Limits = Limits { patience: Duration::from_secs(120), memory_kb: 400_000 };
const WHOLE: Limits = Limits { patience: Duration::from_secs(5), memory_kb: 400_000 };

/// Each family of files takes its share of `total` mutations.
fn mutations(total: usize, limits: Limits) -> Tally {
    let program = Path::new(PROGRAM);
    let share = |percent: usize| total * percent / 100;
    let mut all = Tally::default();
    for (family, percent) in frames::FAMILIES.iter().zip([20, 12, 16, 12]) {
        all.add(frames::attacked(program, family, share(percent), limits));
    }
    for (family, percent) in texts::FAMILIES.iter().zip([12, 6, 6, 4, 4]) {
        all.add(texts::attacked(family, share(percent), limits));
    }
    all.add(texts::attacked(&requests::FAMILY, share(8), limits));
    all.print("all");
    all
}

#[test]
fn changed_files_of_every_kind_cost_only_themselves() {
    let all = mutations(500, SLICE);
    assert!(all.is_sound(), "{:#?}", all.faults);
    assert_eq!(all.files, 500);
    // A mutator that leaves all files whole, or none, attacks nothing.
    assert!(all.taken > 20 && all.refused > 100, "{} taken, {} refused", all.taken, all.refused);
}

#[test]
fn a_kill_leaves_the_old_profile_or_the_new_one() {
    let end = kills::killed_while_measuring(Path::new(PROGRAM), 16);
    assert!(end.is_sound(), "{end:?}");
    assert_eq!(end.kills, 16);
}

#[test]
fn a_kill_leaves_the_old_night_or_the_new_one() {
    let end = kills::killed_while_the_page_saves(Path::new(PROGRAM), 16);
    assert!(end.is_sound(), "{end:?}");
    assert_eq!(end.kills, 16);
}

#[test]
fn what_is_measured_in_random_folders_is_planned_with() {
    let outcome = accepted::tried(Folder::drawn, 0..80);
    outcome.print();
    assert!(outcome.failures.is_empty(), "{:#?}", outcome.failures);
    // Folders that are all taken, or all refused, try nothing.
    assert!(outcome.measured > 15 && outcome.measured < 75, "{} measured", outcome.measured);
}

#[test]
#[ignore = "the whole: some minutes"]
fn a_thousand_random_folders() {
    let outcome = accepted::tried(Folder::drawn, 0..1000);
    outcome.print();
    assert!(outcome.failures.is_empty(), "{:#?}", outcome.failures);
}

#[test]
fn what_is_measured_in_folders_of_several_habits_is_planned_with() {
    let outcome = accepted::tried(habits::drawn, 0..40);
    outcome.print();
    assert!(outcome.failures.is_empty(), "{:#?}", outcome.failures);
    assert!(outcome.measured > 8 && outcome.measured < 38, "{} measured", outcome.measured);
}

#[test]
#[ignore = "the whole: some minutes"]
fn a_thousand_folders_of_several_habits() {
    let outcome = accepted::tried(habits::drawn, 0..1000);
    outcome.print();
    assert!(outcome.failures.is_empty(), "{:#?}", outcome.failures);
}

/// With `SECOND=1` a folder of the second kind: `FOLDER=34 cargo test --test attacks a_folder_to_look_at -- --ignored --nocapture` writes that folder to stay.
#[test]
#[ignore = "writes a folder that stays"]
fn a_folder_to_look_at() {
    if let Some(seed) = std::env::var("FOLDER").ok().and_then(|seed| seed.parse().ok()) {
        let second = std::env::var("SECOND").is_ok();
        accepted::kept(if second { habits::drawn } else { Folder::drawn }, seed);
    }
}

#[test]
#[ignore = "the whole: some minutes"]
fn twenty_thousand_mutations() {
    let all = mutations(20_000, WHOLE);
    assert!(all.is_sound(), "{:#?}", all.faults);
    assert_eq!(all.files, 20_000);
}

#[test]
#[ignore = "the whole: some minutes"]
fn two_hundred_kills() {
    let end = kills::killed_while_measuring(Path::new(PROGRAM), 200);
    assert!(end.is_sound() && end.kills == 200, "{end:?}");
    // Kills that never meet a file half-way prove nothing about files half-way.
    assert!(end.strays > 0, "{end:?}");
}

#[test]
#[ignore = "the whole: some minutes"]
fn two_hundred_kills_of_the_page() {
    let end = kills::killed_while_the_page_saves(Path::new(PROGRAM), 200);
    assert!(end.is_sound() && end.kills == 200, "{end:?}");
    assert!(end.old > 0 && end.new > 0, "{end:?}");
}
