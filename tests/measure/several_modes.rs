//! One folder with several gains, temperatures and binnings gives one profile with a mode for each, nothing mixed; and
//! such a profile held against an older one.

use std::path::Path;

use serde_json::Value;
use subwell::camera::{CameraProfile, GainLawKind};
use subwell::files::{read_profile, write_frame};
use subwell::simulate::{SensorTruth, frames};

use crate::support::measured::group;
use crate::support::program::{json_of, measure};

/// What is true of one mode.
#[derive(Clone, Copy)]
struct Truth {
    setting: f64,
    binning: u32,
    gain: f64,
    read_noise: f64,
    cold: f64,
}

/// Three gains a decibel law apart with a quieter sensor from 100 on, and one of them binned.
const MODES: [Truth; 4] = [
    Truth { setting: 0.0, binning: 1, gain: 2.0, read_noise: 5.0, cold: -10.0 },
    Truth { setting: 60.0, binning: 1, gain: 1.002_374_5, read_noise: 4.6, cold: -10.0 },
    Truth { setting: 120.0, binning: 1, gain: 0.502_377_3, read_noise: 1.6, cold: -5.0 },
    Truth { setting: 120.0, binning: 2, gain: 0.7, read_noise: 2.5, cold: -10.0 },
];

fn sensor(mode: Truth, seed: u64) -> SensorTruth {
    let side = 128 / mode.binning;
    let full = mode.gain * 12_000.0;
    let mut text = format!(
        "width_px = {side}\nheight_px = {side}\ngain_e_per_adc_step = {:?}\noffset_dn = 300.0\nread_noise_e = {:?}\n\
         full_well_e = {full:?}\nprnu_percent = 0.6\ndsnu_e = 0.5\ndark_e_per_s = {:?}\ndark_at_c = 0.0\ndark_nonuniformity = 0.5\npixel_um = 3.5\n\
         set_point = true\ngain_setting = {:?}\nseed = {seed}\n",
        mode.gain,
        mode.read_noise,
        // Warm darks are far above cold ones of the same exposure, and not lit.
        0.5 * f64::from(mode.binning.pow(2)),
        mode.setting
    );
    let mut add = |kind: &str, count: usize, exposure: f64, celsius: f64, light: f64| {
        text.push_str(&group(kind, count, exposure, celsius, light));
    };
    add("bias", 8, 0.0, mode.cold, 0.0);
    for share in [0.02, 0.05, 0.1, 0.2, 0.3, 0.45, 0.6, 0.7, 1.3] {
        add("flat", 2, share, mode.cold, full);
    }
    for celsius in [mode.cold, mode.cold + 15.0] {
        for exposure in [30.0, 120.0, 300.0] {
            add("dark", 2, exposure, celsius, 0.0);
        }
    }
    SensorTruth::from_toml(&text).unwrap()
}

/// Writes the frames of all modes into one folder, their names in no order that would help.
fn write_tree(folder: &Path, modes: &[Truth], seed: u64) {
    for (number, &mode) in modes.iter().enumerate() {
        for (order, mut frame) in frames(&sensor(mode, seed + number as u64)).enumerate() {
            frame.info.binning = [mode.binning; 2];
            let name = format!("{}_{order:03}_{number}.fits", frame.info.kind);
            write_frame(&folder.join(name), &frame, false, false).unwrap();
        }
    }
}

fn printed(folder: &Path, words: &[&str]) -> Value {
    json_of(&measure(folder, words).success())
}

fn profile(document: &Value) -> CameraProfile {
    CameraProfile::from_json(&document.to_string()).unwrap()
}

#[test]
fn each_mode_of_a_folder_is_measured_for_itself_and_held_against_an_older_profile() {
    let folder = tempfile::tempdir().unwrap();
    let frames = folder.path().join("all");
    write_tree(&frames, &MODES, 50);
    let old = folder.path().join("old.toml");
    let measured = profile(&printed(&frames, &["--out", old.to_str().unwrap()]));
    assert_eq!(measured.modes.len(), MODES.len());
    for truth in MODES {
        let alike = |mode: &&subwell::camera::Mode| {
            mode.gain_setting == Some(truth.setting) && mode.binning == [truth.binning; 2]
        };
        let mode = measured.modes.iter().find(alike).unwrap();
        let plane = &mode.planes[0];
        let near = |name: &str, value: f64, uncertainty: f64, true_value: f64| {
            println!("{}: {name} {value:.4} ± {uncertainty:.4}, true {true_value:.4}", mode.label());
            assert!((value - true_value).abs() < 4.0 * uncertainty && uncertainty < 0.1 * true_value, "{name}");
        };
        near("gain", plane.gain_e_per_dn.value.0, plane.gain_e_per_dn.uncertainty.0, truth.gain);
        near("read noise", plane.read_noise_e.value.0, plane.read_noise_e.uncertainty.0, truth.read_noise);
        assert_eq!((mode.frames.bias, mode.frames.flat, mode.frames.dark), (8, 18, 12));
        let temperatures: Vec<f64> = plane.dark_current.iter().map(|point| point.sensor_c.unwrap().0.round()).collect();
        assert_eq!(temperatures, [truth.cold, truth.cold + 15.0], "{}", mode.label());
        let warm = plane.dark_current[1].e_per_s;
        let rate = sensor(truth, 1).dark_rate(plane.dark_current[1].sensor_c.unwrap()).0;
        near("dark current", warm.value.0, warm.uncertainty.0, rate);
    }
    let law = measured.gain_law.as_ref().unwrap();
    println!("{law:?}");
    assert_eq!((law.law, law.step_at), (GainLawKind::Decibel, Some(120.0)));
    assert!(law.slope.covers(0.005), "{law:?}");
    assert_eq!(read_profile(&old).unwrap(), measured, "the law is read back as it was written");

    // The same modes again, one of them with twice the read noise, and one gone.
    let newer = folder.path().join("newer");
    let ill = Truth { read_noise: 2.0 * MODES[1].read_noise, ..MODES[1] };
    // Other frames of another day: one such pair in twenty says something by chance, this one does not.
    write_tree(&newer, &[MODES[0], ill, MODES[2]], 70);
    let document = printed(&newer, &["--against", old.to_str().unwrap()]);
    let changes = document["changes"].as_array().unwrap();
    println!("{changes:#?}");
    assert!(changes.iter().any(|change| change["quantity"] == "read_noise_e" && change["worse"] == true));
    for change in changes {
        assert!(change["mode"].as_str().unwrap().starts_with("gain 60,"), "only the ill mode changed: {change}");
        for key in ["plane", "before", "now", "sigmas", "ratio"] {
            assert!(change.get(key).is_some(), "{key}");
        }
    }
    let codes: Vec<&str> =
        document["caveats"].as_array().unwrap().iter().map(|caveat| caveat["code"].as_str().unwrap()).collect();
    assert!(codes.contains(&"changed") && codes.contains(&"no-counterpart"), "{codes:?}");
    // A profile held against itself says nothing.
    let same = printed(&frames, &["--against", old.to_str().unwrap()]);
    assert_eq!(same["changes"], serde_json::json!([]));
}

/// Modes that are alike but for their binning have names of which a night takes a part.
#[test]
fn a_night_names_a_mode_by_words_of_its_name() {
    let plane = "[[modes.planes]]\nplane = \"mono\"\ngain_e_per_dn = { value = 0.8, uncertainty = 0.01 }\n\
                 read_noise_e = { value = 2.0, uncertainty = 0.1 }\nsaturation_e = { value = 9000.0, uncertainty = 10.0 }\n";
    let mode = |words: &str| format!("[[modes]]\ngain_setting = 100.0\n{words}\n{plane}");
    let text = format!(
        "camera = \"a\"\nprovenance = \"measured\"\n{}{}",
        mode("width_px = 1000\nheight_px = 800"),
        mode("width_px = 500\nheight_px = 400\nbinning = [2, 2]")
    );
    let profile = CameraProfile::from_toml(&text).unwrap();
    let whole = profile.modes[1].label();
    let width = |gain, words| profile.named_mode(gain, words).map(|mode| mode.map(|mode| mode.width_px));
    assert_eq!(width(None, None), Ok(None));
    assert_eq!(width(Some(100.0), Some("binned 2x2")), Ok(Some(500)));
    assert_eq!(width(None, Some("1000x800")), Ok(Some(1000)));
    assert_eq!(width(None, Some(whole.as_str())), Ok(Some(500)));
    for (gain, words) in [(Some(100.0), None), (None, Some("gain 100")), (None, Some("binned 3x3"))] {
        let error = width(gain, words).unwrap_err();
        assert!(error.hint().contains("mode"), "{error}: {}", error.hint());
    }
}

/// Modes of one gain, binned and not: the plan weighs both, and calls each by what tells them apart.
#[test]
fn a_plan_tells_modes_of_one_gain_apart() {
    use subwell::night::Night;
    let plane = "[[modes.planes]]\nplane = \"mono\"\ngain_e_per_dn = { value = 0.8, uncertainty = 0.01 }\n\
                 read_noise_e = { value = 2.0, uncertainty = 0.1 }\nsaturation_e = { value = 9000.0, uncertainty = 10.0 }\n";
    let mode = |words: &str| format!("[[modes]]\ngain_setting = 100.0\n{words}\n{plane}");
    let text = format!(
        "camera = \"a\"\nprovenance = \"measured\"\n{}{}",
        mode("pixel_um = 3.8\nwidth_px = 1000\nheight_px = 800"),
        mode("pixel_um = 7.6\nwidth_px = 500\nheight_px = 400\nbinning = [2, 2]")
    );
    let profile = CameraProfile::from_toml(&text).unwrap();
    let sample = include_str!("../../sample-calibration/garden-night.toml");
    let lines = |mode: &str| {
        let kept = sample.lines().filter(|line| !line.starts_with("gain_setting"));
        kept.map(|line| if line == "[camera]" { format!("{line}\n{mode}") } else { line.to_owned() })
            .collect::<Vec<_>>()
            .join("\n")
    };
    let plan = |mode: &str| subwell::plan::plan(&Night::from_toml(&lines(mode)).unwrap(), &profile);
    let both = plan("").unwrap();
    let names: Vec<String> = both.by_gain_setting.iter().map(|setting| setting.name(&both.by_gain_setting)).collect();
    assert_eq!(names, ["gain 100, 1000x800", "gain 100, binned 2x2, 500x400"]);
    assert!(subwell::report::plan_text(&both).contains("  gain 100, binned 2x2, 500x400  "));
    let error = plan("gain_setting = 100.0").unwrap_err().to_string();
    assert!(error.contains("gain 100, 1000x800; gain 100, binned 2x2, 500x400"), "{error}");
    assert!(plan("mode = \"binned 2x2\"").is_ok());
}
