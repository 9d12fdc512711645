//! Looking for frames: links that fan out, files that unpack to much, names that another format goes by.

use std::fs;
use std::io::Write;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use super::PROGRAM;

/// A folder that is looked through takes far less, one that is looked through two million times far more.
const PATIENCE: Duration = Duration::from_secs(120);

/// A header of FITS, and `rows` rows of `columns` numbers of 32 bits, which the C library reads.
fn frame(columns: usize, rows: usize) -> Vec<u8> {
    let cards = [
        "SIMPLE  =                    T".to_owned(),
        "BITPIX  =                   32".into(),
        "NAXIS   =                    2".into(),
        format!("NAXIS1  = {columns:>20}"),
        format!("NAXIS2  = {rows:>20}"),
        "IMAGETYP= 'Dark Frame'".into(),
        "EXPTIME =                 60.0".into(),
        "CCD-TEMP=                -10.0".into(),
        "END".into(),
    ];
    let mut bytes: Vec<u8> = cards.iter().flat_map(|card| format!("{card:<80}").into_bytes()).collect();
    bytes.resize(2880, b' ');
    bytes.extend((0..columns * rows).flat_map(|place| (1000 + (place % 7) as i32).to_be_bytes()));
    bytes.resize(bytes.len().next_multiple_of(2880), 0);
    bytes
}

/// `frames --json` of a folder; the program is ended when it takes longer than anybody waits.
fn frames(folder: &Path, temporary: &Path, watch: impl Fn()) -> Output {
    let mut command = Command::new(PROGRAM);
    command.args(["frames", "--json"]).arg(folder).env("TMPDIR", temporary);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let start = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if start.elapsed() > PATIENCE {
            child.kill().unwrap();
            panic!("it never ends: {:?}", child.wait_with_output().unwrap().status);
        }
        watch();
        std::thread::sleep(Duration::from_millis(2));
    }
    child.wait_with_output().unwrap()
}

fn files(output: &Output) -> Vec<String> {
    let seen: Value = serde_json::from_slice(&output.stdout).unwrap();
    let groups = seen["groups"].as_array().unwrap();
    let files = groups.iter().flat_map(|group| group["files"].as_array().unwrap().clone());
    files.map(|file| file.as_str().unwrap().to_owned()).collect()
}

/// 22 folders, in each two links to the next: two million ways to the last.
#[test]
fn links_that_fan_out_lead_to_each_folder_once() {
    let place = tempfile::tempdir().unwrap();
    let folder = |number: usize| place.path().join(format!("folder-{number:02}"));
    for number in 0..22 {
        fs::create_dir(folder(number)).unwrap();
        fs::write(folder(number).join("dark.fits"), frame(16, 16 + number)).unwrap();
    }
    for number in 0..21 {
        for name in ["a", "b"] {
            symlink(folder(number + 1), folder(number).join(name)).unwrap();
        }
    }
    let seen = files(&frames(&folder(0), place.path(), || ()));
    assert_eq!(seen.len(), 22, "{seen:?}");
    // Links beside the folders themselves: each file by its real name.
    let seen = files(&frames(place.path(), place.path(), || ()));
    assert!(seen.len() == 22 && seen.iter().all(|file| file.matches('/').count() == 1), "{seen:?}");
}

/// What a gzip file unpacks to has no name on the disk, so that nothing is left of it however the program ends.
#[test]
#[cfg(target_os = "linux")]
fn what_is_unpacked_has_no_name_on_the_disk() {
    let (folder, temporary) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let packed = fs::File::create(folder.path().join("dark.fits.gz")).unwrap();
    let mut packed = flate2::write::GzEncoder::new(packed, flate2::Compression::fast());
    packed.write_all(&frame(64, 64)).unwrap();
    // Behind the image nothing but noughts: they take some moments to unpack.
    let noughts = vec![0_u8; 2880 * 100];
    (0..150).for_each(|_| packed.write_all(&noughts).unwrap());
    packed.finish().unwrap();
    // Seen is that it is unpacked there, and that it has no name; a machine that looks away too long looks again.
    let unpacked = std::cell::Cell::new(false);
    let nothing_there = || {
        unpacked.set(unpacked.get() || somebody_holds_a_file_of(temporary.path()));
        let names: Vec<_> = fs::read_dir(temporary.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert!(names.is_empty(), "{names:?}");
    };
    for _ in 0..50 {
        let output = frames(folder.path(), temporary.path(), nothing_there);
        assert_eq!(files(&output), ["dark.fits.gz"]);
        if unpacked.get() {
            return;
        }
    }
    panic!("it was never seen to be unpacked");
}

/// Whether a process has a file open that lies, or lay, in a folder.
#[cfg(target_os = "linux")]
fn somebody_holds_a_file_of(folder: &Path) -> bool {
    let entries = |path: std::path::PathBuf| fs::read_dir(path).into_iter().flatten().filter_map(Result::ok);
    let processes = entries("/proc".into()).filter(|entry| entry.file_name().to_string_lossy().parse::<u32>().is_ok());
    processes
        .flat_map(|process| entries(process.path().join("fd")))
        .any(|file| fs::read_link(file.path()).is_ok_and(|path| path.starts_with(folder)))
}

/// The C library takes this ending for another format's.
#[test]
fn a_frame_is_read_as_what_it_is_whatever_its_name() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["imh.imh", "dark.fits", "x[1].imh"] {
        fs::write(folder.path().join(name), frame(16, 16 + name.len())).unwrap();
    }
    let mut seen = files(&frames(folder.path(), folder.path(), || ()));
    seen.sort();
    assert_eq!(seen, ["dark.fits", "imh.imh", "x[1].imh"]);
}
