//! What is shown where somebody watches a terminal, and not where a pipe is read.
#![cfg(all(feature = "cli", target_os = "linux"))]

use std::fs::{File, OpenOptions};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};

use crate::support::slow;

/// The width of the terminal.
const COLUMNS: u16 = 80;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration")
}

fn subwell(words: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_subwell"));
    command.args(words).stdin(Stdio::null()).stdout(Stdio::null()).env("TERM", "xterm").env("LC_ALL", "C.UTF-8");
    command
}

/// Runs a command whose stderr is a terminal of 80 columns, and gives all that was written there.
fn watched(mut command: Command) -> String {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&master).unwrap();
    unlockpt(&master).unwrap();
    let size = Winsize { ws_row: 24, ws_col: COLUMNS, ws_xpixel: 0, ws_ypixel: 0 };
    tcsetwinsize(&master, size).unwrap();
    let name = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
    let terminal = OpenOptions::new().read(true).write(true).open(name).unwrap();
    let mut child = command.stderr(Stdio::from(terminal)).spawn().unwrap();
    // The terminal ends with the last process that holds it: this one must hold it no longer.
    drop(command);
    let mut shown = Vec::new();
    let mut reader = File::from(master);
    let mut part = [0; 4096];
    // Linux ends a terminal without a writer with an error.
    while let Ok(read @ 1..) = reader.read(&mut part) {
        shown.extend_from_slice(&part[..read]);
    }
    child.wait().unwrap();
    String::from_utf8_lossy(&shown).into_owned()
}

/// The text without the codes that move and colour.
fn plain(shown: &str) -> String {
    let mut parts = shown.split('\u{1b}');
    let mut text = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let code = part.find(|sign: char| sign.is_ascii_alphabetic()).map_or(part.len(), |end| end + 1);
        text.push_str(&part[code..]);
    }
    text
}

/// The first number of each `N/46` that was shown, in order.
fn counts(text: &str, of: usize) -> Vec<usize> {
    let mark = format!("/{of} ");
    let ends = text.match_indices(&mark).map(|(at, _)| &text[..at]);
    ends.filter_map(|before| before.rsplit(|sign: char| !sign.is_ascii_digit()).next()?.parse().ok()).collect()
}

#[test]
fn slow_reads_are_watched_frame_by_frame_with_rate_and_time_left() {
    let folder = tempfile::tempdir().unwrap();
    let frames = samples().join("uncooled-colour");
    let mut command = subwell(&["measure", frames.to_str().unwrap()]);
    command.env(slow::UNDER, slow::disk(folder.path()));
    let shown = plain(&watched(command));
    let counts = counts(&shown, 46);
    let between: std::collections::BTreeSet<usize> =
        counts.iter().copied().filter(|count| (1..46).contains(count)).collect();
    assert!(between.len() >= 5, "steps shown: {counts:?}");
    assert!(counts.is_sorted(), "{counts:?}");
    assert!(shown.contains("measuring") && shown.contains("/s") && shown.contains(" left"), "{shown}");

    // Nobody watches a pipe, and `--quiet` is quiet.
    let piped = subwell(&["measure", frames.to_str().unwrap()]).stderr(Stdio::piped()).output().unwrap();
    assert_eq!(String::from_utf8_lossy(&piped.stderr), "");
    let quiet = watched(subwell(&["measure", frames.to_str().unwrap(), "--quiet"]));
    assert_eq!(quiet, "");
}

#[test]
fn errors_are_broken_into_lines_on_a_terminal_and_stay_whole_in_a_pipe() {
    let folder = tempfile::tempdir().unwrap();
    let night = folder.path().join("a night with  two spaces in its name.toml");
    std::fs::write(&night, "[camera]\nprofile = \"camera.toml\"\nsensor_temperature = -10.0\n").unwrap();
    let words = ["plan", night.to_str().unwrap()];
    let piped = subwell(&words).stderr(Stdio::piped()).output().unwrap();
    let piped = String::from_utf8(piped.stderr).unwrap();
    assert!(piped.lines().any(|line| line.chars().count() > usize::from(COLUMNS)), "too short to try: {piped}");
    let shown = plain(&watched(subwell(&words))).replace('\r', "");
    assert!(shown.lines().all(|line| line.chars().count() <= usize::from(COLUMNS)), "{shown}");
    let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(words(&shown), words(&piped));
    assert!(shown.starts_with("error: ") && shown.contains("\nhint: "), "{shown}");
}
