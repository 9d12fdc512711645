//! Fourteen headers in as many dialects, written into FITS files and read from a folder as the program does;
//! and what is said where headers are silent, or say what nobody should believe.
//!
//! The fixtures in `tests/data/headers/` are invented; which keywords and ways of writing occur is common practice, no source.
#![cfg(feature = "cli")]

use std::fs;
use std::path::Path;

use subwell::files::{FrameSet, read_headers, write_simulation};
use subwell::frames::header::not_raw;
use subwell::frames::{Cards, CfaPattern, FrameKind, Inventory, Seen};
use subwell::simulate::SensorTruth;
use subwell::units::Celsius;

use crate::support::measured::group;
use crate::support::program::{decoder, subwell};

/// A FITS file of 12 × 10 pixels with these lines in its header.
fn fits(lines: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    let structure = ["SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 12", "NAXIS2  = 10", "BZERO   = 32768"];
    for line in structure.into_iter().chain(lines.lines()).chain(["END"]) {
        bytes.extend(format!("{line:<80}").into_bytes());
    }
    bytes.resize(bytes.len().next_multiple_of(2880), b' ');
    bytes.extend((0..120_i16).flat_map(|count| (-32_000 + count * 7 % 13).to_be_bytes()));
    bytes.resize(bytes.len().next_multiple_of(2880), 0);
    bytes
}

/// Each fixture under the name of a folder that says as much as that photographer's folders did.
const PLACES: [(&str, &str); 14] = [
    ("01-capitals", "a"),
    ("02-milliseconds", "a"),
    ("03-microseconds", "a"),
    ("04-kelvin", "a"),
    ("05-decimal-commas", "a"),
    ("06-dial", "DARKS"),
    ("07-lower-case", "a"),
    ("08-kind-as-target", "a"),
    ("09-set-point-only", "a"),
    ("10-nothing", "flats 0.4s"),
    ("11-flat-as-light", "Flats"),
    ("12-dark-as-bias", "Dark"),
    ("13-stacked", "a"),
    ("14-calibrated", "a"),
];

fn folder() -> (tempfile::TempDir, FrameSet) {
    let folder = tempfile::tempdir().unwrap();
    for (name, place) in PLACES {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/headers").join(format!("{name}.txt"));
        let lines = fs::read_to_string(file).unwrap();
        let to = folder.path().join(place);
        fs::create_dir_all(&to).unwrap();
        fs::write(to.join(format!("{name}.fits")), fits(&lines)).unwrap();
    }
    let set = read_headers(folder.path(), &decoder()).unwrap();
    (folder, set)
}

#[test]
fn every_dialect_is_sorted_by_kind_time_temperature_setting_and_binning() {
    let (_folder, set) = folder();
    use FrameKind::{Bias, Dark, DarkFlat, Flat, Light};
    /// Kind, seconds, °C, gain setting, binning.
    type Said = (FrameKind, f64, Option<f64>, Option<f64>, [u32; 2]);
    let expected: [(&str, Said); 12] = [
        ("01", (Bias, 1e-4, Some(-9.94), Some(120.0), [1, 1])),
        ("02", (Dark, 120.0, Some(-20.4), Some(200.0), [2, 2])),
        ("03", (Flat, 0.25, Some(14.5), Some(0.0), [1, 1])),
        ("04", (Dark, 120.0, Some(-15.0), None, [1, 1])),
        ("05", (Bias, 0.00978, Some(-9.8), Some(100.0), [1, 2])),
        ("06", (Dark, 30.0, None, Some(1600.0), [1, 1])),
        ("07", (Flat, 1.5, Some(-4.5), Some(27.0), [1, 1])),
        ("08", (Bias, 0.0, Some(-15.0), Some(4.0), [1, 2])),
        ("09", (DarkFlat, 2.5, Some(-5.0), Some(300.0), [1, 1])),
        ("10", (Flat, 0.4, None, None, [1, 1])),
        ("11", (Light, 0.5, Some(-10.0), Some(120.0), [1, 1])),
        // No bias is exposed for five minutes: folder and time agree against the header.
        ("12", (Dark, 300.0, Some(-10.0), Some(120.0), [1, 1])),
    ];
    let frames: Vec<_> = set.inventory.frames().collect();
    assert_eq!(frames.len(), expected.len(), "{:?}", set.rejected());
    for (number, (kind, seconds, celsius, gain, binning)) in expected {
        let inside = |file: &str| file.rsplit('/').next().is_some_and(|name| name.starts_with(number));
        let frame = frames.iter().find(|frame| inside(&frame.file)).unwrap_or_else(|| panic!("{number}"));
        assert_eq!((frame.kind, frame.gain_setting, frame.binning), (kind, gain, binning), "{number}");
        assert!((frame.exposure.0 - seconds).abs() < 1e-12, "{number}: {}", frame.exposure.0);
        let near = |(a, b): (Celsius, f64)| (a.0 - b).abs() < 1e-9;
        assert!(frame.sensor.is_some() == celsius.is_some() && frame.sensor.zip(celsius).is_none_or(near), "{number}");
        assert_eq!(frame.taken.is_some(), number != "10", "{number}");
    }
    let one = |number: &str| frames.iter().find(|frame| frame.file.contains(number)).unwrap();
    assert_eq!(one("03-").cfa, Some(CfaPattern::Grbg));
    // Rows from the bottom up, an even number of them.
    assert_eq!(one("06-").cfa, Some(CfaPattern::Gbrg));
    assert_eq!(one("07-").filter.as_deref(), Some("Ha 7nm"));
    assert_eq!(
        (one("01-").readout_mode.as_deref(), one("07-").readout_mode.as_deref()),
        (Some("Low Noise"), Some("Fast"))
    );
    assert_eq!((one("01-").offset_setting, one("09-").offset_setting), (Some(30.0), Some(8.0)));
    assert_eq!(
        (one("08-").camera.as_deref(), one("09-").camera.as_deref()),
        (Some("Made-up head"), Some("Made-up 50"))
    );
}

#[test]
fn what_contradicts_itself_is_reported_and_what_is_no_single_frame_is_refused() {
    let (_folder, set) = folder();
    let about = |code: &str| {
        let of = set.inventory.caveats.iter().filter(|caveat| caveat.code == code);
        of.map(|caveat| caveat.about.as_str()).collect::<Vec<_>>()
    };
    let mut conflicts = about("conflicting-kind");
    conflicts.sort_unstable();
    assert_eq!(conflicts, ["Dark/12-dark-as-bias.fits", "Flats/11-flat-as-light.fits"]);
    let refused: Vec<(&str, &str)> =
        set.rejected().iter().map(|rejected| (rejected.file.as_str(), rejected.code.as_str())).collect();
    assert_eq!(refused, [("a/13-stacked.fits", "not-raw"), ("a/14-calibrated.fits", "not-raw")]);
    // A set point without a reading is taken, with a word.
    assert!(about("assumed-value").iter().any(|mode| mode.contains("Made-up 50")));
}

/// A small camera, measurable from its frames; the driver's offset number is 3.99 for a purpose.
const SENSOR: &str = "width_px = 96\nheight_px = 80\ngain_e_per_adc_step = 0.8\nread_noise_e = 2.0\nfull_well_e = 9000\n\
    gain_setting = 120\noffset_setting = 3.99\ncamera = \"Made-up 26 MM\"\n\
    [[frames]]\nkind = \"bias\"\ncount = 4\nsensor_c = -10.0\n";

fn simulated() -> tempfile::TempDir {
    let mut text = SENSOR.to_owned();
    for share in [0.05, 0.1, 0.2, 0.4, 0.6] {
        let light = 9000.0 * share / 2.0;
        text.push_str(&group("flat", 2, 2.0, -10.0, light));
    }
    let folder = tempfile::tempdir().unwrap();
    let truth = SensorTruth::from_toml(&text).unwrap();
    write_simulation(&truth, folder.path(), false, false, &mut |_, _| {}).unwrap();
    folder
}

/// Changes a keyword in every header below a folder.
fn rename(folder: &Path, from: &str, to: &str) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rename(&path, from, to);
            continue;
        }
        let mut bytes = fs::read(&path).unwrap();
        let (from, to) = (format!("{from:<8}="), format!("{to:<8}="));
        let at = bytes.windows(9).position(|window| window == from.as_bytes()).unwrap();
        bytes[at..at + 9].copy_from_slice(to.as_bytes());
        fs::write(&path, bytes).unwrap();
    }
}

/// Stdout and stderr.
fn run(words: &[&str], folder: &Path) -> (String, String) {
    let run = subwell().args(words).arg(folder).assert();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).split_whitespace().collect::<Vec<_>>().join(" ");
    (text(&run.get_output().stdout), text(&run.get_output().stderr))
}

#[test]
fn flats_without_an_exposure_are_paired_by_their_levels() {
    let folder = simulated();
    rename(&folder.path().join("flat"), "EXPTIME", "NOTHING");
    let (found, said) = run(&["measure"], folder.path());
    assert!(found.contains("e⁻/DN") || found.contains("e-/DN"), "{found}{said}");
    assert!(found.contains("nothing says how long 10 flats were exposed"), "{found}");
    assert!(found.contains("sidecar.csv"), "{found}");
    // The name says it as well.
    fs::rename(folder.path().join("flat"), folder.path().join("flat 2s")).unwrap();
    let (named, said) = run(&["measure"], folder.path());
    assert!(named.contains("e⁻/DN") || named.contains("e-/DN"), "{named}{said}");
    assert!(!named.contains("flats-without-exposure"), "{named}");
}

#[test]
fn a_folder_without_headers_gets_advice_and_names_are_read() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["img_1.fits", "img_2.fits"] {
        fs::write(folder.path().join(name), fits("")).unwrap();
    }
    for (said, what) in [(run(&["frames"], folder.path()).0, "frames"), (run(&["measure"], folder.path()).1, "measure")]
    {
        assert!(said.contains("dark_60s_-10C_001.fits") && said.contains("sidecar.csv"), "{what}: {said}");
    }
    let dark = folder.path().join("darks/dark_60s_-10C_1.fits");
    fs::create_dir_all(dark.parent().unwrap()).unwrap();
    fs::rename(folder.path().join("img_1.fits"), dark).unwrap();
    let (json, _) = run(&["frames", "--json"], folder.path());
    let document: serde_json::Value = crate::support::schemas::valid(json.as_bytes());
    let group = &document["groups"][0];
    assert_eq!(
        (&group["kind"], &group["exposure_s"], &group["sensor_c"]),
        (&"dark".into(), &60.0.into(), &(-10.0).into())
    );
    assert!(json.contains("names of files or folders"), "{json}");
}

#[test]
fn a_typed_temperature_that_is_not_used_is_said() {
    let folder = simulated();
    let (said, _) = run(&["measure", "--sensor-c", "30"], folder.path());
    assert!(said.contains("sensor-c-not-used") && said.contains("-10.0 °C"), "{said}");
    rename(folder.path(), "CCD-TEMP", "NOTHING");
    let (said, _) = run(&["measure", "--sensor-c", "30"], folder.path());
    assert!(!said.contains("sensor-c-not-used"), "{said}");
}

#[test]
fn a_gain_in_electrons_is_shown_and_not_believed() {
    let folder = simulated();
    rename(folder.path(), "OFFSET", "EGAIN");
    let (said, _) = run(&["frames"], folder.path());
    assert!(said.contains("stated by the files, not used: EGAIN 3.99 e-/DN"), "{said}");
    let (said, _) = run(&["measure"], folder.path());
    assert!(
        said.contains("EGAIN: 3.99 e-/DN; measured 0.8") || said.contains("EGAIN: 3.99 e-/DN; measured 0.79"),
        "{said}"
    );
    assert!(said.contains("stated-gain-differs"), "{said}");
}

#[test]
fn self_heating_is_told_where_headers_give_the_air() {
    let dark = |number: i32, air: &str| {
        let lines =
            format!("IMAGETYP= 'Dark'\nEXPTIME = 120\nCCD-TEMP= 20.5\n{air}DATE-OBS= '2026-01-02T20:{number:02}:00'");
        Seen {
            file: format!("{number}.fits"),
            cards: Cards::from_lines(&lines),
            width: 10,
            height: 10,
            strip_statistics: None,
        }
    };
    let said = |air: &str| {
        let inventory = Inventory::new((0..6).map(|number| dark(number, air)).collect(), &[], "", Vec::new());
        inventory.caveats.into_iter().find(|caveat| caveat.code == "self-heating")
    };
    let caveat = said("AMBTEMP = 12.3\n").unwrap();
    assert!(caveat.message.contains("8.2 ± 0.5 K") && caveat.hint.contains("rise_c = 8.2"), "{caveat:?}");
    for air in ["", "AMBTEMP = -273.15\n", "AMBTEMP = 12.3\nSET-TEMP= 20.5\n"] {
        assert_eq!(said(air), None, "{air}");
    }
}

#[test]
fn overscan_that_is_named_by_itself_is_refused() {
    let reason = |card: &str| not_raw(&Cards::from_lines(&format!("NAXIS1  = 2148\nNAXIS2  = 2048\n{card}")));
    assert!(reason("BIASSEC = '[2101:2148,1:2048]'").is_some_and(|reason| reason.contains("overscan")));
    assert_eq!(reason("BIASSEC = '[0:0,0:0]'"), None);
}

/// One light given by itself is read as with its folder: the folder's name says its time, the table beside it the rest.
#[test]
fn one_file_by_itself_is_read_like_its_folder() {
    let folder = tempfile::tempdir().unwrap();
    let lights = folder.path().join("lights 60s iso800");
    fs::create_dir_all(&lights).unwrap();
    for name in ["img_1.fits", "img_2.fits"] {
        fs::write(lights.join(name), fits("INSTRUME= 'Made-up 26'")).unwrap();
    }
    fs::write(lights.join("sidecar.csv"), "file,sensor_c\nimg_1.fits,4.5\nimg_*,5.5\nother.fits,1\n").unwrap();
    let decoder = decoder();
    for (name, celsius) in [("img_1.fits", 4.5), ("img_2.fits", 5.5)] {
        let info = subwell::files::read_one(&lights.join(name), &decoder).unwrap().info;
        assert_eq!((info.kind, info.exposure.0, info.gain_setting), (FrameKind::Light, 60.0, Some(800.0)), "{name}");
        assert_eq!(info.sensor, Some(Celsius(celsius)));
    }
    let whole = read_headers(folder.path(), &decoder).unwrap();
    assert!(whole.inventory.frames().all(|info| (info.exposure.0, info.gain_setting) == (60.0, Some(800.0))));
}
