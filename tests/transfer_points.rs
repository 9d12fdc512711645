//! Photon transfer points as tables: written by the program, read here by name, and ECSV as astropy read it.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration/cooled-mono")
}

fn measure(words: &[&str]) -> Command {
    let mut command = Command::cargo_bin("subwell").unwrap();
    command.arg("measure").arg(samples()).args(words);
    command
}

/// The lines of a table without its header of comments, in cells without their quotes; the sample's texts hold no comma
/// but in the mode, whose cell is the first and quoted.
fn cells(table: &str) -> Vec<Vec<String>> {
    let lines = table.lines().filter(|line| !line.starts_with('#'));
    lines
        .map(|line| match line.strip_prefix('"').and_then(|rest| rest.split_once("\",")) {
            Some((mode, rest)) => {
                std::iter::once(mode).chain(rest.split(',')).map(|cell| cell.trim_matches('"').to_owned()).collect()
            }
            None => line.split(',').map(str::to_owned).collect(),
        })
        .collect()
}

#[test]
fn both_tables_hold_the_points_of_the_profile() {
    let folder = tempfile::tempdir().unwrap();
    for (ending, truth) in [("csv", ["false", "true"]), ("ecsv", ["False", "True"])] {
        let file = folder.path().join(format!("points.{ending}"));
        let run = measure(&["--ptc", file.to_str().unwrap(), "--json"]).assert().success();
        let profile: Value = serde_json::from_slice(&run.get_output().stdout).unwrap();
        let rows = cells(&std::fs::read_to_string(&file).unwrap());
        assert_eq!(rows[0].join(" "), "mode gain_setting plane mean_dn variance_dn2 exposure_s used");
        let points = profile["modes"][0]["photon_transfer"].as_array().unwrap();
        assert_eq!(rows.len(), points.len() + 1);
        for (row, point) in rows[1..].iter().zip(points) {
            assert_eq!(row[1].parse::<f64>().unwrap(), profile["modes"][0]["gain_setting"].as_f64().unwrap());
            assert_eq!(row[2], point["plane"].as_str().unwrap());
            for (cell, key) in row[3..6].iter().zip(["mean_dn", "variance_dn2", "exposure_s"]) {
                assert_eq!(cell.parse::<f64>().unwrap(), point[key].as_f64().unwrap(), "{key}");
            }
            assert_eq!(row[6], truth[usize::from(point["used"].as_bool().unwrap())]);
        }
    }
}

#[test]
fn other_endings_and_files_that_are_there_are_refused_before_the_work() {
    let folder = tempfile::tempdir().unwrap();
    let other = folder.path().join("points.txt");
    let run = measure(&["--ptc", other.to_str().unwrap(), "--json"]).assert().code(2);
    let error: Value = serde_json::from_slice(&run.get_output().stdout).unwrap();
    assert!(error["hint"].as_str().unwrap().contains(".ecsv") && !other.exists(), "{error}");
    let there = folder.path().join("points.csv");
    std::fs::write(&there, "mine").unwrap();
    measure(&["--ptc", there.to_str().unwrap()]).assert().code(2);
    assert_eq!(std::fs::read_to_string(&there).unwrap(), "mine");
    measure(&["--ptc", there.to_str().unwrap(), "--force"]).assert().success();
    assert!(std::fs::read_to_string(&there).unwrap().starts_with("mode,"));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
}
