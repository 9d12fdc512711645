//! Photon transfer points as tables: written by the program, read here by name, and ECSV as astropy read it.

use std::path::PathBuf;

use assert_cmd::Command;
use serde_json::Value;

use crate::support::program::{samples, subwell};

fn frames() -> PathBuf {
    samples().join("cooled-mono")
}

fn measure(words: &[&str]) -> Command {
    let mut command = subwell();
    command.arg("measure").arg(frames()).args(words);
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
        let profile: Value = crate::support::schemas::valid(&run.get_output().stdout);
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
    let error: Value = crate::support::schemas::valid(&run.get_output().stdout);
    assert!(error["hint"].as_str().unwrap().contains(".ecsv") && !other.exists(), "{error}");
    let there = folder.path().join("points.csv");
    std::fs::write(&there, "mine").unwrap();
    measure(&["--ptc", there.to_str().unwrap()]).assert().code(2);
    assert_eq!(std::fs::read_to_string(&there).unwrap(), "mine");
    measure(&["--ptc", there.to_str().unwrap(), "--force"]).assert().success();
    assert!(std::fs::read_to_string(&there).unwrap().starts_with("mode,"));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
}

/// What astropy 8.0.2 (Python 3) said of the sample's table, `Table.read(file, format="ascii.ecsv")`: of each column its
/// name, `dtype.kind`, `unit` and `description`; `table.meta`; and the unit of `variance_dn2 / mean_dn`, which was `adu`.
const ASTROPY_COLUMNS: [(&str, char, Option<&str>, &str); 7] = [
    ("mode", 'U', None, "the camera mode"),
    ("gain_setting", 'f', None, "gain or ISO number of the driver, a label"),
    ("plane", 'U', None, "mono, or the place in the stored cell of colours"),
    ("mean_dn", 'f', Some("adu"), "mean of the pair, offset removed"),
    ("variance_dn2", 'f', Some("adu2"), "temporal variance, dark variance included"),
    ("exposure_s", 'f', Some("s"), "exposure time of each frame of the pair"),
    ("used", 'b', None, "whether the fit of the gain used it"),
];
const ASTROPY_META: [(&str, &str); 3] =
    [("camera", "Heron M"), ("program", "subwell 0.1.0"), ("content", "photon transfer")];
/// `len(table)`, `table["used"].sum()`, and the sums of `mean_dn` and `variance_dn2`.
const ASTROPY_ROWS: (usize, usize) = (12, 10);
const ASTROPY_SUMS: (f64, f64) = (61_927.558_7, 57_307.415_956_399_68);
/// The statistics of a pair may be refined one day; a column that is read wrongly is off by far more.
const SUM_TOLERANCE: f64 = 1e-3;

#[test]
fn astropy_read_the_same_table() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("points.ecsv");
    measure(&["--ptc", file.to_str().unwrap()]).assert().success();
    let table = std::fs::read_to_string(&file).unwrap();
    let header: Vec<&str> = table.lines().take_while(|line| line.starts_with('#')).collect();
    assert_eq!(header[..4], ["# %ECSV 1.0", "# ---", "# delimiter: ','", "# datatype:"]);
    for (line, (name, kind, unit, description)) in header[4..].iter().zip(ASTROPY_COLUMNS) {
        let datatype = match kind {
            'U' => "string",
            'f' => "float64",
            _ => "bool",
        };
        let unit = unit.map_or_else(String::new, |unit| format!("unit: {unit}, "));
        assert_eq!(*line, format!("# - {{name: {name}, {unit}datatype: {datatype}, description: \"{description}\"}}"));
    }
    assert_eq!(header[11], "# meta: !!omap");
    for (line, (key, value)) in header[12..].iter().zip(ASTROPY_META) {
        assert_eq!(line.replace('"', ""), format!("# - {{{key}: {value}}}"));
    }
    let rows = cells(&table);
    let sum = |column: usize| rows[1..].iter().map(|row| row[column].parse::<f64>().unwrap()).sum::<f64>();
    let used = rows[1..].iter().filter(|row| row[6] == "True").count();
    assert_eq!((rows.len() - 1, used), ASTROPY_ROWS);
    assert!((sum(3) / ASTROPY_SUMS.0 - 1.0).abs() < SUM_TOLERANCE, "{}", sum(3));
    assert!((sum(4) / ASTROPY_SUMS.1 - 1.0).abs() < SUM_TOLERANCE, "{}", sum(4));
}
