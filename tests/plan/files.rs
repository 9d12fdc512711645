//! The files that `subwell plan` writes, as scripts use it.

use assert_cmd::Command;
use serde_json::Value;

use crate::support::program::{samples, subwell};

const NIGHT: &str = "[camera]\nprofile = \"camera.toml\"\n[optics]\naperture_mm = 76.0\nfocal_length_mm = 440.0\n[site]\n\
                     latitude_deg = 45.1234\nlongitude_deg = 21.4321\nsky = { bortle = 6 }\n[target]\n\
                     surface_brightness_mag = 23.0\nra_deg = 23.5\ndec_deg = 30.7\n[goal]\nsnr = 5.0\nDATE\n";

fn folder(date: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::copy(samples().join("published-camera.toml"), folder.path().join("camera.toml")).expect("a camera");
    std::fs::write(folder.path().join("night.toml"), NIGHT.replace("DATE", date)).expect("a night");
    folder
}

fn plan(folder: &tempfile::TempDir, words: &[&str]) -> Command {
    let mut command = subwell();
    command.current_dir(folder.path()).args(["plan", "night.toml"]).args(words);
    command
}

#[test]
fn calendar_and_table_are_written_once_and_never_over_a_file() {
    let folder = folder("date = \"2026-10-12\"");
    let words = ["--calendar", "nights.ics", "--csv", "nights.csv"];
    plan(&folder, &words).assert().code(0);
    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).expect("a file");
    let (calendar, table) = (read("nights.ics"), read("nights.csv"));
    assert!(calendar.starts_with("BEGIN:VCALENDAR\r\n") && table.starts_with("night,filter,"));
    for place in ["45.1", "21.4"] {
        assert!(!calendar.contains(place) && !table.contains(place), "the place stays at home");
    }
    for one in [&words[..2], &words[2..]] {
        plan(&folder, one).assert().code(2);
    }
    plan(&folder, &[&words[..], &["--force"]].concat()).assert().code(0);
    assert_eq!((calendar, table), (read("nights.ics"), read("nights.csv")), "the same plan, the same files");
}

#[test]
fn wrong_endings_and_missing_dates_are_told_before_anything_is_written() {
    let dated = folder("date = \"2026-10-12\"");
    plan(&dated, &["--calendar", "nights.txt"]).assert().code(2);
    plan(&dated, &["--csv", "nights.xls", "--calendar", "nights.ics"]).assert().code(2);
    assert!(!dated.path().join("nights.ics").exists());
    let undated = folder("");
    let output = plan(&undated, &["--calendar", "nights.ics", "--json"]).assert().code(1).get_output().stdout.clone();
    let error: Value = crate::support::schemas::valid(&output);
    assert_eq!((&error["format"], &error["code"]), (&"subwell.error".into(), &"no-nights".into()));
    assert!(!undated.path().join("nights.ics").exists());
}
