//! Colour cameras without a cooler: their shutter times, their warming bodies, and what their computers do to darks.
//!
//! All cameras are invented and simulated; the frames go through the program, as a photographer's do.
#![cfg(feature = "cli")]

use std::path::Path;

use serde_json::Value;
use subwell::files::{write_frame, write_simulation};
use subwell::frames::{Frame, FrameKind};
use subwell::simulate::{SensorTruth, SimulatedSensor, frames};

use crate::support::dng::Dng;
use crate::support::measured::group;
use crate::support::program::{json_of, measure};

/// 0.6 e⁻/DN at ISO 800, a level of 1024 DN, 0.2 e⁻/s at 20 °C.
const CAMERA: &str = "camera = \"Invented Three\"\nwidth_px = 320\nheight_px = 240\ncfa = \"RGGB\"\nadc_bits = 14\n\
    gain_e_per_adc_step = 0.6\noffset_dn = 1024.0\nread_noise_e = 3.0\nfull_well_e = 8800\nprnu_percent = 0.6\ndsnu_e = 0.5\n\
    dark_e_per_s = 0.2\ndark_at_c = 20.0\ndark_nonuniformity = 0.1\nhot_pixel_fraction = 0.00005\n\
    light_colour = { R = 0.7, G = 1.0, B = 0.6 }\ngain_setting = 800\npixel_um = 4.3\n";
const DARK_RATE: f64 = 0.2;
const FULL_E: f64 = 8800.0;

/// Bias frames and pairs of flats of the camera at 20 °C.
fn lit(seed: u64) -> String {
    let mut text = format!("{CAMERA}seed = {seed}\n{}", group("bias", 8, 0.0, 20.0, 0.0));
    for share in [0.02, 0.05, 0.1, 0.2, 0.3, 0.45, 0.6, 0.68] {
        text.push_str(&group("flat", 2, share, 20.0, FULL_E));
    }
    text
}

/// The mean rate of all pixels at 20 °C.
fn true_rate(truth: &SensorTruth) -> f64 {
    DARK_RATE * f64::from(SimulatedSensor::new(truth).pattern().dark_factor.mean().unwrap())
}

fn measured(folder: &Path) -> Value {
    json_of(&measure(folder, &[]))
}

fn written(all: Vec<Frame>) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for frame in all {
        write_frame(&folder.path().join(&frame.info.file), &frame, false, false).unwrap();
    }
    folder
}

#[track_caller]
fn caveat<'a>(profile: &'a Value, code: &str) -> &'a str {
    let all = profile["caveats"].as_array().unwrap_or_else(|| panic!("{profile}"));
    let found = all.iter().find(|caveat| caveat["code"] == code).unwrap_or_else(|| panic!("{code}: {all:?}"));
    found["message"].as_str().unwrap()
}

fn says(profile: &Value, code: &str) -> bool {
    profile["caveats"].as_array().unwrap().iter().any(|caveat| caveat["code"] == code)
}

/// All four planes give the dark current of the temperature within 8 %, and from what the others say.
#[track_caller]
fn check_rate(profile: &Value, celsius: f64, truth: f64, from: &str) {
    let planes = profile["modes"][0]["planes"].as_array().unwrap_or_else(|| panic!("{profile}"));
    assert_eq!(planes.len(), 4);
    for plane in planes {
        let points = plane["dark_current"].as_array().unwrap();
        let at = |point: &&Value| point["sensor_c"].as_f64().is_some_and(|at| (at - celsius).abs() < 1.0);
        let point = points.iter().find(at).unwrap_or_else(|| panic!("{points:?}"));
        let rate = point["e_per_s"]["value"].as_f64().unwrap();
        println!(
            "{} {:+.1} % ({from}, ± {})",
            plane["plane"],
            100.0 * (rate / truth - 1.0),
            point["e_per_s"]["uncertainty"]
        );
        assert_eq!(point["from"], from);
        assert!((rate / truth - 1.0).abs() < 0.08, "{rate} for {truth}");
    }
}

/// The camera takes the mean of its masked pixels off each dark: the level stays, the noise does not.
#[test]
fn a_held_black_level_leaves_the_dark_current() {
    let mut text = lit(41);
    for exposure in [30.0, 120.0, 300.0] {
        text.push_str(&group("dark", 4, exposure, 20.0, 0.0));
    }
    let truth = SensorTruth::from_toml(&text).unwrap();
    let mut all: Vec<Frame> = frames(&truth).collect();
    for frame in all.iter_mut().filter(|frame| frame.info.kind == FrameKind::Dark) {
        let mean = frame.pixels.iter().map(|&y| f64::from(y)).sum::<f64>() / frame.pixels.len() as f64;
        frame.pixels.mapv_inplace(|y| y.saturating_sub((mean - 1024.0).round() as u16));
    }
    let profile = measured(written(all).path());
    assert!(caveat(&profile, "black-level-pinned").contains("holds its dark level"));
    assert!(!says(&profile, "dark-subtracted"));
    check_rate(&profile, 20.0, true_rate(&truth), "variance");
}

fn subtracted_truth(exposures: &[f64]) -> SensorTruth {
    let mut text = lit(42);
    for exposure in exposures {
        text.push_str(&group("dark", 8, *exposure, 20.0, 0.0));
    }
    SensorTruth::from_toml(&text).unwrap()
}

/// The camera takes a second dark after each long one and stores the difference on its black level.
fn subtracted(truth: &SensorTruth) -> Vec<Frame> {
    let (mut all, mut second) = (Vec::new(), None);
    for mut frame in frames(truth) {
        if frame.info.kind != FrameKind::Dark {
            all.push(frame);
            continue;
        }
        let Some(taken_off): Option<Frame> = second.take() else {
            second = Some(frame);
            continue;
        };
        frame.pixels.zip_mut_with(&taken_off.pixels, |y, &dark| *y = (*y + 1024).saturating_sub(dark));
        all.push(frame);
    }
    all
}

/// One exposure time cannot tell a subtraction from a held level: the hint says so.
#[test]
fn one_exposure_of_subtracted_darks_is_not_said_to_be_fine() {
    let profile = measured(written(subtracted(&subtracted_truth(&[300.0]))).path());
    let all = profile["caveats"].as_array().unwrap();
    let pinned = all.iter().find(|caveat| caveat["code"] == "black-level-pinned").unwrap();
    assert!(pinned["hint"].as_str().unwrap().contains("two or more exposure times"), "{pinned}");
}

#[test]
fn a_dark_taken_off_in_the_camera_is_named_and_leaves_the_dark_current() {
    let truth = subtracted_truth(&[30.0, 120.0, 300.0]);
    let profile = measured(written(subtracted(&truth)).path());
    println!("{}", caveat(&profile, "dark-subtracted"));
    assert!(!says(&profile, "black-level-pinned"));
    check_rate(&profile, 20.0, true_rate(&truth), "variance");
    let plane = &profile["modes"][0]["planes"][0];
    assert!((plane["read_noise_e"]["value"].as_f64().unwrap() / 3.0 - 1.0).abs() < 0.02);
    assert!(plane["dark_current"][0]["hot_pixel_fraction"].is_null());
}

/// From 100 s on the camera cuts off what stands out of its neighbours, to please; shorter frames are left alone.
#[test]
fn a_filter_of_long_exposures_alone_is_named_with_them() {
    let mut text = lit(45);
    for exposure in [30.0, 120.0, 300.0] {
        text.push_str(&group("dark", 4, exposure, 20.0, 0.0));
    }
    let truth = SensorTruth::from_toml(&text).unwrap();
    let mut all: Vec<Frame> = frames(&truth).collect();
    for frame in all.iter_mut().filter(|frame| frame.info.exposure.0 > 100.0) {
        let plain = frame.pixels.clone();
        for ((row, column), count) in frame.pixels.indexed_iter_mut() {
            let around = (0..9).filter(|k| *k != 4).filter_map(|k: usize| {
                let (r, c) = ((row + k / 3 * 2).checked_sub(2)?, (column + k % 3 * 2).checked_sub(2)?);
                plain.get((r, c)).copied()
            });
            *count = (*count).min(around.max().unwrap_or(*count));
        }
    }
    let profile = measured(written(all).path());
    let said = caveat(&profile, "filtered-raw");
    println!("{said}");
    assert!(said.contains("dark frames of 300 s") && said.ends_with("; the dark current cannot be trusted"), "{said}");
}

/// 12 °C in the evening, 20 °C after the fifth long frame.
#[test]
fn a_warm_up_of_eight_degrees_is_found_and_leaves_the_dark_current() {
    let mut text = lit(43);
    for celsius in [12.0, 15.0, 17.0, 18.0, 18.9] {
        text.push_str(&group("dark", 1, 300.0, celsius, 0.0));
    }
    for exposure in [300.0, 120.0, 30.0] {
        text.push_str(&group("dark", 4, exposure, 20.0, 0.0));
    }
    let truth = SensorTruth::from_toml(&text).unwrap();
    let folder = tempfile::tempdir().unwrap();
    write_simulation(&truth, folder.path(), false, false, &mut |_, _| {}).unwrap();
    let profile = measured(folder.path());
    println!("{}", caveat(&profile, "temperature-unsettled"));
    assert!(caveat(&profile, "temperature-unsettled").contains("from 12 to 20 °C"));
    let left_out: Vec<&str> =
        profile["rejected"].as_array().unwrap().iter().filter_map(|rejected| rejected["file"].as_str()).collect();
    assert_eq!(left_out, (1..=5).map(|number| format!("dark/dark_000{number}.fits")).collect::<Vec<_>>());
    check_rate(&profile, 20.0, true_rate(&truth), "mean");
    // Whole degrees, none left over from the cold ones.
    assert_eq!(profile["modes"][0]["planes"][0]["dark_current"].as_array().unwrap().len(), 1);
}

/// The settings between whole stops of some cameras are made by a multiplication after the converter, by 5/4.
#[test]
fn a_third_of_a_stop_made_by_multiplication_is_named() {
    let truth = SensorTruth::from_toml(&lit(46).replace("seed", "oddity = { digital_gain = 1.25 }\nseed")).unwrap();
    let profile = measured(written(frames(&truth).collect()).path());
    let said = caveat(&profile, "digital-gain");
    println!("{said}");
    assert_eq!(profile["modes"][0]["gain_setting"], 800.0);
    // One code of five is never used.
    assert!(said.starts_with("20.") || said.starts_with("19."), "{said}");
}

/// Names of the dial, and the exponents of two behind them.
const DIAL: [((u32, u32), f64); 13] = [
    ((1, 60), -6.0),
    ((1, 15), -4.0),
    ((1, 4), -2.0),
    ((1, 2), -1.0),
    ((1, 1), 0.0),
    ((2, 1), 1.0),
    ((4, 1), 2.0),
    ((5, 1), 7.0 / 3.0),
    ((6, 1), 8.0 / 3.0),
    ((8, 1), 3.0),
    ((10, 1), 10.0 / 3.0),
    ((13, 1), 11.0 / 3.0),
    ((15, 1), 4.0),
];
const DIAL_DARKS: [((u32, u32), f64); 3] = [((8, 1), 3.0), ((15, 1), 4.0), ((30, 1), 5.0)];

/// A ladder of raw files whose times are the dial's names and whose light is that of the powers of two.
fn ladder(folder: &Path) -> SensorTruth {
    let at = |exponent: f64| f64::exp2(exponent);
    let text =
        CAMERA.replace("dark_e_per_s = 0.2", "dark_e_per_s = 4.0").replace("full_well_e = 8800", "full_well_e = 60000");
    let mut text = format!("{text}seed = 44\n{}", group("bias", 8, 0.0, 20.0, 0.0));
    let mut names = vec![(1, 4096); 8];
    for (name, exponent) in DIAL {
        text.push_str(&group("flat", 2, at(exponent), 20.0, 0.97 * FULL_E / 16.0));
        names.extend([name; 2]);
    }
    for (name, exponent) in DIAL_DARKS {
        text.push_str(&group("dark", 4, at(exponent), 20.0, 0.0));
        names.extend([name; 4]);
    }
    let truth = SensorTruth::from_toml(&text).unwrap();
    let mut second = 0;
    for (number, (frame, name)) in frames(&truth).zip(names).enumerate() {
        let (rows, columns) = frame.pixels.dim();
        let mut dng = Dng::new(columns, rows, frame.pixels.iter().copied().collect());
        (dng.exposure, dng.air_c) = (name, Some(20));
        let (hours, minutes, seconds) = (second / 3600, second / 60 % 60, second % 60);
        dng.date = format!("2026:01:02 {:02}:{minutes:02}:{seconds:02}", 12 + hours);
        second += frame.info.exposure.0 as u32 + 1;
        let path = folder.join(frame.info.kind.to_string()).join(format!("IMG_{number:04}.DNG"));
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, dng.bytes()).unwrap();
    }
    truth
}

#[test]
fn a_ladder_of_nominal_times_is_linear() {
    let folder = tempfile::tempdir().unwrap();
    let truth = ladder(folder.path());
    let rate = 20.0 * true_rate(&truth);
    let worst = |profile: &Value| {
        let planes = profile["modes"][0]["planes"].as_array().unwrap_or_else(|| panic!("{profile}")).clone();
        let line = planes.iter().map(|plane| plane["linearity_error_percent"].as_f64().unwrap()).fold(0.0, f64::max);
        let off = |plane: &Value| (plane["dark_current"][0]["e_per_s"]["value"].as_f64().unwrap() / rate - 1.0).abs();
        (line, 100.0 * planes.iter().map(off).fold(0.0, f64::max))
    };
    let by_rungs = measured(folder.path());
    let (line, dark) = worst(&by_rungs);
    println!(
        "true times: linear within {line:.2} %, dark current within {dark:.2} %; {}",
        caveat(&by_rungs, "nominal-times")
    );
    assert!(line < 1.0 && dark < 2.0, "{line} {dark}");
    // The names themselves, said to be true, bend the line: what the test would miss otherwise.
    let mut rows = String::from("file,exposure_s\n");
    let named = DIAL.iter().flat_map(|row| [*row; 2]).chain(DIAL_DARKS.iter().flat_map(|row| [*row; 4]));
    for (number, ((above, below), _)) in named.enumerate().map(|(at, row)| (at + 8, row)) {
        let kind = if number < 8 + 2 * DIAL.len() { "flat" } else { "dark" };
        rows.push_str(&format!("{kind}/IMG_{number:04}.DNG,{}\n", f64::from(above) / f64::from(below)));
    }
    std::fs::write(folder.path().join("sidecar.csv"), rows).unwrap();
    let (line, dark) = worst(&measured(folder.path()));
    println!("by the names: linear within {line:.2} %, dark current within {dark:.2} %");
    assert!(line > 1.0 && dark > 2.0, "{line} {dark}");
}
