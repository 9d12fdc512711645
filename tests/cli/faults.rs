//! Faults of disks and folders: each is told with the name of the file and a cure, and nothing is left half-written.
#![cfg(all(feature = "cli", unix))]

use std::ffi::{OsStr, OsString};
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use subwell::files::{Decoder, read_headers};

use crate::support::program::{PROGRAM, samples};

fn bias() -> PathBuf {
    samples().join("cooled-mono/bias")
}

fn subwell(words: &[&OsStr]) -> Output {
    Command::new(PROGRAM).args(words).output().unwrap()
}

/// The words of a measurement of a folder of bias frames into a file.
fn measuring(folder: &Path, out: &Path) -> Vec<OsString> {
    let mut words: Vec<OsString> = vec!["measure".into(), folder.into(), "--gain-e-per-dn".into(), "0.8".into()];
    words.extend(["--force".into(), "--out".into(), out.into()]);
    words
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn json(output: &Output) -> Value {
    crate::support::schemas::valid(&output.stdout)
}

/// Ends with `code`, names `file`, and says what can be done.
fn check_told(output: &Output, code: i32, file: &str) {
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{said}");
    let (error, hint) = said.split_once("hint: ").unwrap_or_else(|| panic!("no hint: {said}"));
    assert!(error.contains(file), "`{file}` is not named: {said}");
    assert!(hint.len() > 10 && !said.contains("panicked"), "{said}");
}

/// Runs the program where no file may grow beyond `blocks` of 512 bytes (of 1024 in some shells): each write beyond fails
/// as on a full disk.
fn on_a_full_disk(blocks: u32, words: &[OsString]) -> Output {
    let script = format!("ulimit -f {blocks}; exec \"$0\" \"$@\"");
    Command::new("sh").arg("-c").arg(script).arg(PROGRAM).args(words).output().unwrap()
}

fn names_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn on_a_full_disk_the_old_profile_stays_and_nothing_lies_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("camera.toml");
    fs::write(&out, "mine").unwrap();
    let full = on_a_full_disk(1, &measuring(&bias(), &out));
    check_told(&full, 2, "camera.toml");
    assert_eq!(fs::read_to_string(&out).unwrap(), "mine");
    assert_eq!(names_in(folder.path()), ["camera.toml"]);
    // With room, the same words write it: it was the disk.
    assert!(subwell(&measuring(&bias(), &out).iter().map(OsString::as_os_str).collect::<Vec<_>>()).status.success());
    assert!(fs::read_to_string(&out).unwrap().contains("gain_e_per_dn"));
}

#[test]
fn on_a_full_disk_no_half_frame_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("frames");
    let words =
        ["simulate".into(), samples().join("cooled-mono/sensor.toml").into(), "--out".into(), out.clone().into()];
    let full = on_a_full_disk(10, &words);
    check_told(&full, 2, "bias_0001.fits");
    let left: Vec<_> =
        walkdir::WalkDir::new(&out).into_iter().filter_map(Result::ok).filter(|e| e.file_type().is_file()).collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn an_answer_that_cannot_be_printed_is_no_success() {
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let run = Command::new(PROGRAM).arg("checklist").stdout(full).output().unwrap();
    assert_eq!(run.status.code(), Some(2));
    assert!(text(&run.stderr).contains("could not be written"), "{}", text(&run.stderr));
}

#[test]
fn a_gzip_frame_that_finds_no_room_to_be_unpacked_is_told_and_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    let mut frame = b"SIMPLE  =                    T".to_vec();
    frame.resize(400_000, b' ');
    std::io::Write::write_all(&mut packed, &frame).unwrap();
    fs::write(folder.path().join("a.fits.gz"), packed.finish().unwrap()).unwrap();
    let run = on_a_full_disk(100, &["frames".into(), folder.path().into(), "--json".into()]);
    let rejected = &json(&run)["rejected"][0];
    assert_eq!(rejected["file"], "a.fits.gz");
    let reason = rejected["reason"].as_str().unwrap();
    assert!(reason.contains("arge") && !reason.contains("damaged"), "the disk is at fault, not the file: {reason}");
}

/// A report or an answer beyond the limit ends in an error too, and tells of it.
#[test]
fn beyond_the_size_of_a_file_nothing_ends_by_a_signal() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["published-night.toml", "published-camera.toml"] {
        fs::copy(samples().join(name), folder.path().join(name)).unwrap();
    }
    let (night, report) = (folder.path().join("published-night.toml"), folder.path().join("report.html"));
    let words = [OsString::from("plan"), night.into(), "--report".into(), report.clone().into()];
    check_told(&on_a_full_disk(4, &words), 2, "report.html");
    assert!(!report.exists());
    let answer = fs::File::create(folder.path().join("answer.txt")).unwrap();
    let script = "ulimit -f 2; exec \"$0\" schema night";
    let run = Command::new("sh").arg("-c").arg(script).arg(PROGRAM).stdout(answer).output().unwrap();
    assert_eq!(run.status.code(), Some(2), "{:?}", run.status);
    assert!(text(&run.stderr).contains("could not be written"), "{}", text(&run.stderr));
}

/// A frame that becomes a pipe between the look at the folder and the reading: nobody will ever write to it.
#[test]
fn a_frame_that_became_a_pipe_is_not_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let sample = fs::read(bias().join("bias_0001.fits.fz")).unwrap();
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    std::io::Write::write_all(&mut packed, &sample).unwrap();
    fs::write(folder.path().join("a.fits.fz"), &sample).unwrap();
    fs::write(folder.path().join("b.fits.gz"), packed.finish().unwrap()).unwrap();
    fs::copy(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/lossless-14.dng"),
        folder.path().join("bias_c.dng"),
    )
    .unwrap();
    let set = read_headers(folder.path(), &Decoder::new(PROGRAM, 1)).unwrap();
    let frames: Vec<_> = set.inventory.frames().cloned().collect();
    assert!(frames.len() >= 2, "{:?}", set.rejected());
    for frame in frames {
        let path = folder.path().join(&frame.file);
        fs::remove_file(&path).unwrap();
        assert!(Command::new("mkfifo").arg(&path).status().unwrap().success());
        let (sender, ended) = std::sync::mpsc::channel();
        let set = set.clone();
        std::thread::spawn(move || sender.send(set.read(&frame, &Decoder::new(PROGRAM, 1)).unwrap_err().to_string()));
        // The decoder gives up on what hangs after half a minute; a refusal takes moments.
        let said = ended.recv_timeout(std::time::Duration::from_secs(300)).expect("it is waited for");
        assert!(said.contains("not a regular file"), "{said}");
    }
}

/// Folders in which nobody may write, whoever runs this.
#[test]
fn where_nothing_may_be_written_the_file_is_named() {
    let out = Path::new("/proc/camera.toml");
    let run = subwell(&measuring(&bias(), out).iter().map(OsString::as_os_str).collect::<Vec<_>>());
    check_told(&run, 2, "/proc/camera.toml");
    let missing = Path::new("/no-such-folder/camera.toml");
    let run = subwell(&measuring(&bias(), missing).iter().map(OsString::as_os_str).collect::<Vec<_>>());
    check_told(&run, 2, "/no-such-folder/camera.toml");
    let run = subwell(&["man", "/proc/man1"].map(OsStr::new));
    check_told(&run, 2, "/proc/man1");
}

/// A folder without the right to write; who runs this with all rights has to give them up for it.
#[test]
fn a_read_only_folder_is_told_and_left_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let closed = folder.path().join("closed");
    fs::create_dir(&closed).unwrap();
    fs::write(closed.join("camera.toml"), "mine").unwrap();
    for (path, mode) in
        [(closed.join("camera.toml"), 0o644), (closed.clone(), 0o555), (folder.path().to_owned(), 0o755)]
    {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    }
    let all_rights = fs::write(closed.join("try"), "").is_ok();
    // Copies, for the folders of this package may be closed to others.
    let frames = folder.path().join("frames");
    fs::create_dir(&frames).unwrap();
    for entry in fs::read_dir(bias()).unwrap().map(Result::unwrap) {
        fs::copy(entry.path(), frames.join(entry.file_name())).unwrap();
    }
    let program = folder.path().join("subwell");
    fs::copy(PROGRAM, &program).unwrap();
    let mut command = if all_rights {
        fs::remove_file(closed.join("try")).unwrap();
        let mut command = Command::new("setpriv");
        command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]).arg(&program);
        command
    } else {
        Command::new(&program)
    };
    let run = command.args(measuring(&frames, &closed.join("camera.toml"))).output().unwrap();
    check_told(&run, 2, "closed/camera.toml");
    assert_eq!(fs::read_to_string(closed.join("camera.toml")).unwrap(), "mine");
    assert_eq!(names_in(&closed), ["camera.toml"]);
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn a_file_that_vanishes_between_listing_and_reading_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let truth = subwell::files::read_sensor(&samples().join("cooled-mono/sensor.toml")).unwrap();
    let plain = folder.path().join("plain.fits");
    let frame = subwell::simulate::frames(&truth).next().unwrap();
    subwell::files::write_frame(&plain, &frame, false, false).unwrap();
    fs::copy(bias().join("bias_0001.fits.fz"), folder.path().join("packed.fits.fz")).unwrap();
    let decoder = Decoder::new(PROGRAM, 2);
    let set = read_headers(folder.path(), &decoder).unwrap();
    let frames: Vec<_> = set.inventory.frames().cloned().collect();
    assert_eq!(frames.len(), 2, "{:?}", set.rejected());
    for info in frames {
        fs::remove_file(folder.path().join(&info.file)).unwrap();
        let error = set.read(&info, &decoder).unwrap_err();
        assert!(error.to_string().contains(&info.file), "{error}");
        assert_eq!((error.code(), error.hint().is_empty()), ("unreadable", false));
    }
}

#[test]
fn an_unreadable_file_costs_only_itself() {
    let folder = tempfile::tempdir().unwrap();
    for number in 1..=8 {
        let name = format!("bias_000{number}.fits.fz");
        fs::copy(bias().join(&name), folder.path().join(&name)).unwrap();
    }
    // Regular files that give an error when they are read, whoever reads them; and links to nowhere and to themselves.
    symlink("/proc/self/mem", folder.path().join("bias_0009.fits")).unwrap();
    symlink("no-such-file", folder.path().join("bias_0010.fits")).unwrap();
    symlink("bias_0011.fits", folder.path().join("bias_0011.fits")).unwrap();
    symlink("..", folder.path().join("round")).unwrap();
    fs::create_dir(folder.path().join("in")).unwrap();
    symlink("..", folder.path().join("in/circle")).unwrap();
    let looked = json(&subwell(&[OsStr::new("frames"), folder.path().join("in/..").as_os_str(), OsStr::new("--json")]));
    assert_eq!(looked["groups"][0]["count"], 8);
    let rejected: Vec<&str> =
        looked["rejected"].as_array().unwrap().iter().map(|file| file["file"].as_str().unwrap()).collect();
    for name in ["bias_0009.fits", "bias_0010.fits", "bias_0011.fits"] {
        assert!(rejected.contains(&name), "{rejected:?}");
    }
    let measured =
        subwell(&[OsStr::new("measure"), folder.path().as_os_str(), OsStr::new("--gain-e-per-dn"), OsStr::new("1")]);
    assert!(measured.status.success(), "{}", text(&measured.stderr));
}

/// Names as people and other systems give them, and two that differ only in bytes that cannot be shown.
#[test]
fn names_with_spaces_accents_and_odd_bytes_are_read_and_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let odd = folder.path().join(OsStr::from_bytes(b"n\xffcht im M\xc3\xa4rz"));
    fs::create_dir(&odd).unwrap();
    let names: [&[u8]; 8] = [
        b"bias one.fits.fz",
        "bi\u{e4}s.fits.fz".as_bytes(),
        "bia\u{308}s.fits.fz".as_bytes(),
        b"bias\xfe.fits.fz",
        b"bias\xfd.fits.fz",
        b"bias\n.fits.fz",
        b"--bias [2].fits.fz",
        b"bias'\";$(x) .fits.fz",
    ];
    for (number, name) in names.iter().enumerate() {
        fs::copy(bias().join(format!("bias_000{}.fits.fz", number + 1)), odd.join(OsStr::from_bytes(name))).unwrap();
    }
    let out = odd.join(OsStr::from_bytes(b"c\xffm \xc3\xa9.toml"));
    let looked = json(&subwell(&[OsStr::new("frames"), odd.as_os_str(), OsStr::new("--json")]));
    assert_eq!((&looked["groups"][0]["count"], &looked["rejected"]), (&8.into(), &Value::Array(vec![])), "{looked}");
    let run = subwell(&measuring(&odd, &out).iter().map(OsString::as_os_str).collect::<Vec<_>>());
    assert!(run.status.success(), "{}", text(&run.stderr));
    // The same numbers as from files with plain names: none was read twice or left out.
    let numbers = |path: &Path| {
        let mut profile = subwell::files::read_profile(path).unwrap();
        profile.caveats.clear();
        serde_json::to_value(profile.modes).unwrap()
    };
    let plain = folder.path().join("plain.toml");
    let run = subwell(&measuring(&bias(), &plain).iter().map(OsString::as_os_str).collect::<Vec<_>>());
    assert!(run.status.success());
    assert_eq!(numbers(&out), numbers(&plain));
}

#[test]
fn a_folder_of_ten_thousand_texts_is_refused_in_a_few_lines() {
    let folder = tempfile::tempdir().unwrap();
    for number in 0..10_000 {
        fs::write(folder.path().join(format!("note {number}.txt")), "no frame\n").unwrap();
    }
    let run = subwell(&[OsStr::new("measure"), folder.path().as_os_str()]);
    check_told(&run, 1, &folder.path().display().to_string());
    assert!(text(&run.stderr).contains("10000 files"), "{}", text(&run.stderr));
    let looked = subwell(&[OsStr::new("frames"), folder.path().as_os_str()]);
    let said = text(&looked.stdout);
    assert!(
        said.lines().count() < 40 && said.contains("9990 more"),
        "{} lines: {}",
        said.lines().count(),
        &said[..400]
    );
    // Who asks for all of them gets all.
    let all = json(&subwell(&[OsStr::new("frames"), folder.path().as_os_str(), OsStr::new("--json")]));
    assert_eq!(all["rejected"].as_array().unwrap().len(), 10_000);
}
