//! The harness is held to misbehaviour that is known: what it does not see here it would not see in earnest.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::Duration;

use tempfile::TempDir;

use super::kills::{Saving, command};
use super::watch::{Fault, Limits, Tally};
use super::{PROGRAM, SLICE, frames, texts};

/// A stand-in that is the program itself, but does `harm` when a file with the mark is in the folder it is given.
fn stand_in(harm: &str) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("stand-in");
    let text = format!("#!/bin/sh\nif grep -rqs PLANTED \"$2\"; then {harm}; fi\nexec {PROGRAM:?} \"$@\"\n");
    fs::write(&path, text).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
    (folder, path)
}

fn found(harm: &str, limits: Limits) -> Tally {
    let (_folder, program) = stand_in(harm);
    let files = [&b"one"[..], b"two PLANTED", b"three"].map(<[u8]>::to_vec);
    frames::batch(&program, &files, "fits", limits)
}

fn check_found(harm: &str, limits: Limits, fault: Fault) {
    let tally = found(harm, limits);
    assert!(!tally.is_sound() && tally.faults.iter().all(|(seen, ..)| *seen == fault), "{harm}: {:#?}", tally.faults);
    // The culprit is found among the three and kept.
    for (_, file, _) in &tally.faults {
        assert_eq!(fs::read(file).unwrap(), b"two PLANTED", "{harm}");
        fs::remove_file(file).unwrap();
    }
}

#[test]
fn a_planted_panic_death_or_nonsense_is_found_and_its_file_named() {
    check_found("echo \"thread 'main' panicked at x\" >&2; exit 101", SLICE, Fault::Panic);
    check_found("echo \"thread '<unnamed>' panicked at x\" >&2; exit 0", SLICE, Fault::Panic);
    check_found("kill -SEGV $$", SLICE, Fault::Died);
    check_found("exit 134", SLICE, Fault::Died);
    check_found("echo '{\"format\"'; exit 0", SLICE, Fault::Nonsense);
}

#[test]
fn a_planted_hang_is_found_and_its_file_named() {
    let tally = found("exec sleep 600", Limits { patience: Duration::from_secs(2), ..SLICE });
    // On a machine under load a file without harm may take as long.
    let named = tally.faults.iter().filter(|(fault, ..)| *fault == Fault::Hang);
    let named: Vec<Vec<u8>> = named.map(|(_, file, _)| fs::read(file).unwrap()).collect();
    assert!(named.contains(&b"two PLANTED".to_vec()), "{:#?}", tally.faults);
    check_found(
        "echo '{\"format\": \"subwell.frames\", \"version\": 1, \"groups\": [], \"missing\": [], \"stated\": [], \
        \"caveats\": [], \"rejected\": [{\"file\": \"x\", \"code\": \"too-slow\", \
        \"reason\": \"the decoder did not finish it within 30 s\"}]}'; exit 0",
        SLICE,
        Fault::Hang,
    );
}

#[test]
fn planted_greed_is_found() {
    let limits = Limits { memory_kb: 1, ..SLICE };
    let tally = frames::batch(Path::new(PROGRAM), &[b"one".to_vec()], "fits", limits);
    assert!(tally.count(Fault::Memory) > 0, "{:#?}", tally.faults);
    for (_, file, _) in tally.faults.iter().filter(|(_, file, _)| !file.is_empty()) {
        fs::remove_file(file).unwrap();
    }
}

#[test]
fn a_planted_loss_of_a_file_is_found() {
    let tally = found("echo '{\"format\": \"x\", \"groups\": [], \"rejected\": []}'; exit 0", SLICE);
    assert!(tally.count(Fault::Nonsense) > 0, "{:#?}", tally.faults);
}

#[test]
fn a_planted_panic_and_hang_behind_the_library_s_door_are_found() {
    let folder = tempfile::tempdir().unwrap();
    let door = |path: &Path| match fs::read_to_string(path).unwrap().as_str() {
        "panic" => panic!("planted"),
        "hang" => {
            sleep(Duration::from_secs(600));
            true
        }
        text => text == "good",
    };
    let texts = ["good", "panic", "bad", "hang", "good"].map(|text| text.as_bytes().to_vec());
    let limits = Limits { patience: texts::SHORT, ..SLICE };
    let tally = texts::watched(&texts, &folder.path().join("x"), door, limits);
    let seen: Vec<(Fault, &str)> = tally.faults.iter().map(|(fault, file, _)| (*fault, file.as_str())).collect();
    assert_eq!(seen, [(Fault::Panic, "panic"), (Fault::Hang, "hang")]);
    assert_eq!((tally.taken, tally.refused), (2, 1));
}

/// A program that writes in place, slowly, in two halves.
#[test]
fn a_planted_half_written_file_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("camera.toml");
    let script = "sleep 0.02; printf 'first half, ' > \"$0\"; sleep 0.2; printf 'second half' >> \"$0\"; sleep 0.02";
    let words = ["-c".into(), script.into(), file.clone().into()].to_vec();
    let saving = Saving { start: command(Path::new("/bin/sh"), words), file, old: b"as it was before".to_vec() };
    let ends = saving.killed(8);
    assert!(!ends.half.is_empty() && !ends.is_sound(), "{ends:?}");
}

/// A program that leaves what it could not finish where people see it.
#[test]
fn a_planted_stray_file_in_sight_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("camera.toml");
    let script = "printf 'new' > \"$0.part\"; sleep 0.2; mv \"$0.part\" \"$0\"; sleep 0.02";
    let words = ["-c".into(), script.into(), file.clone().into()].to_vec();
    let saving = Saving { start: command(Path::new("/bin/sh"), words), file, old: b"as it was before".to_vec() };
    let ends = saving.killed(6);
    assert!(ends.half.is_empty() && !ends.wrong.is_empty(), "{ends:?}");
}
