//! The program under test, its samples, and the frames of real cameras.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use assert_cmd::assert::Assert;
use serde_json::Value;
use subwell::files::Decoder;

/// The program that was built for this test.
pub(crate) const PROGRAM: &str = env!("CARGO_BIN_EXE_subwell");

/// The program, to be given words.
pub(crate) fn subwell() -> Command {
    Command::new(PROGRAM)
}

/// Reads frames as the program does, with two workers.
pub(crate) fn decoder() -> Decoder {
    Decoder::new(PROGRAM, 2)
}

/// `measure --json` of a folder.
pub(crate) fn measure(folder: &Path, words: &[&str]) -> Assert {
    subwell().arg("measure").arg(folder).args(words).arg("--json").assert()
}

/// The JSON that a run printed.
#[track_caller]
pub(crate) fn json_of(run: &Assert) -> Value {
    super::schemas::valid(&run.get_output().stdout)
}

/// The folder of sample frames, cameras and nights.
pub(crate) fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration")
}

/// A folder with all that is in it.
pub(crate) fn copied(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copied(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// The frames of a real camera. They are no part of the repository: `SUBWELL_REAL` says where they lie, or they lie
/// beside it; where they are absent, this says so and the test is skipped.
pub(crate) fn real_frames(camera: &str) -> Option<PathBuf> {
    let beside = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/real");
    let folder = std::env::var_os("SUBWELL_REAL").map_or_else(beside, PathBuf::from).join(camera);
    if folder.is_dir() {
        return Some(folder);
    }
    eprintln!("SKIPPED: the real frames of {camera} are not beside the project (or in $SUBWELL_REAL)");
    None
}
