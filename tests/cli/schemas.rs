//! What the program prints against its JSON Schemas, and read back by the library; what people write against theirs.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use subwell::camera::CameraProfile;
use subwell::decide::{Comparison, Cooling, SkyAnswer};
use subwell::document::Document;
use subwell::plan::Plan;
use subwell::report::{json_text, json_value};
use subwell::review::Review;

use crate::support::schemas::{faults, valid};

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration")
}

/// What the program prints, which is of its schema.
fn printed(folder: &Path, words: &[&str], exit: i32) -> String {
    let mut command = Command::cargo_bin("subwell").unwrap();
    let run = command.current_dir(folder).args(words).arg("--json").assert().code(exit);
    let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    valid(text.as_bytes());
    text
}

/// To JSON, back, and to JSON again: the same bytes.
fn read_back<T: Serialize + DeserializeOwned>(text: &str) {
    let result: T = serde_json::from_str(text).unwrap_or_else(|error| panic!("{error}: {text}"));
    assert_eq!(json_text(&json_value(&result)), text);
    let other = text.replacen("\"format\": \"subwell.", "\"format\": \"subwell.other-", 1);
    assert!(serde_json::from_str::<T>(&other).is_err(), "another format is refused");
    let later = text.replacen("\"version\": 1", "\"version\": 2", 1);
    assert!(serde_json::from_str::<T>(&later).is_err(), "another version is refused");
}

/// The first number with a unit in its name is given another one.
fn with_a_wrong_unit(value: &mut Value) -> bool {
    match value {
        Value::Object(fields) => {
            let named = |(key, value): (&String, &Value)| (value.is_number() && key.contains('_')).then(|| key.clone());
            if let Some(key) = fields.iter().find_map(named) {
                let value = fields.remove(&key).unwrap();
                let (name, _) = key.rsplit_once('_').unwrap();
                fields.insert(format!("{name}_furlongs"), value);
                return true;
            }
            fields.values_mut().any(with_a_wrong_unit)
        }
        Value::Array(list) => list.iter_mut().any(with_a_wrong_unit),
        _ => false,
    }
}

fn refused_with_a_wrong_unit(text: &str) {
    let mut document: Value = serde_json::from_str(text).unwrap();
    assert!(with_a_wrong_unit(&mut document), "{text}");
    let found = faults(&document).unwrap();
    assert!(found.iter().any(|fault| fault.contains("furlongs")), "{found:?}");
}

/// The samples with both cameras measured.
fn measured_samples() -> (tempfile::TempDir, [String; 2]) {
    let folder = tempfile::tempdir().unwrap();
    for file in ["garden-night.toml", "garden-night-colour.toml", "published-night.toml", "published-camera.toml"] {
        std::fs::copy(samples().join(file), folder.path().join(file)).unwrap();
    }
    let night = |name: &str| std::fs::read_to_string(samples().join(name)).unwrap();
    let profile = |name: &str| {
        let night: toml::Table = toml::from_str(&night(name)).unwrap();
        night["camera"]["profile"].as_str().unwrap().to_owned()
    };
    let cameras = [("cooled-mono", "garden-night.toml"), ("uncooled-colour", "garden-night-colour.toml")];
    let documents = cameras.map(|(camera, night)| {
        let frames = samples().join(camera);
        printed(folder.path(), &["measure", frames.to_str().unwrap(), "--out", &profile(night)], 0)
    });
    (folder, documents)
}

#[test]
fn the_samples_are_of_their_schemas_and_read_back_as_they_were() {
    let (folder, cameras) = measured_samples();
    let folder = folder.path();
    for camera in &cameras {
        let profile = CameraProfile::from_json(camera).unwrap();
        assert_eq!(&json_text(&json_value(&profile)), camera);
        refused_with_a_wrong_unit(camera);
    }
    for night in ["garden-night.toml", "garden-night-colour.toml", "published-night.toml"] {
        let plan = printed(folder, &["plan", night], 0);
        read_back::<Plan>(&plan);
        refused_with_a_wrong_unit(&plan);
    }
    let cooling = printed(folder, &["cooling", "garden-night-colour.toml", "--against", "published-night.toml"], 0);
    read_back::<Cooling>(&cooling);
    refused_with_a_wrong_unit(&cooling);
    let compared = printed(folder, &["compare", "garden-night.toml", "published-night.toml"], 0);
    read_back::<Comparison>(&compared);
    refused_with_a_wrong_unit(&compared);
    let sky = printed(folder, &["sky", "--bortle", "5", "--night", "published-night.toml"], 0);
    read_back::<Document<SkyAnswer>>(&sky);
    refused_with_a_wrong_unit(&sky);
}

#[test]
fn looking_at_frames_lists_simulations_and_failures_are_of_their_schemas() {
    let folder = tempfile::tempdir().unwrap();
    let frames = samples().join("cooled-mono/flat");
    refused_with_a_wrong_unit(&printed(folder.path(), &["frames", frames.to_str().unwrap()], 0));
    for kind in ["--cooled", "--uncooled", "--quick"] {
        refused_with_a_wrong_unit(&printed(folder.path(), &["checklist", kind], 0));
    }
    let sensor = "width_px = 16\nheight_px = 16\n[[frames]]\nkind = \"bias\"\n";
    std::fs::write(folder.path().join("sensor.toml"), sensor).unwrap();
    printed(folder.path(), &["simulate", "sensor.toml", "--out", "frames"], 0);
    let error = printed(folder.path(), &["plan", "nowhere.toml"], 2);
    let mut error: Value = serde_json::from_str(&error).unwrap();
    error["hint_s"] = json!("");
    assert!(!faults(&error).unwrap().is_empty());
}

#[test]
fn a_judged_night_is_of_its_schema_and_reads_back_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let camera = "camera = \"made up\"\nprovenance = \"published\"\n[[modes]]\ngain_setting = 100\npixel_um = 3.8\n\
                  width_px = 288\nheight_px = 224\n[[modes.planes]]\nplane = \"mono\"\ngain_e_per_dn = 0.8\n\
                  offset_dn = 240.0\nread_noise_e = 1.6\nsaturation_e = 13000.0\n[[modes.planes.dark_current]]\n\
                  sensor_c = -10.0\ne_per_s = 0.0073\n";
    let night = "[camera]\nprofile = \"camera.toml\"\ngain_setting = 100\nsensor_c = -10.0\n[optics]\n\
                 aperture_mm = 80.0\nfocal_length_mm = 400.0\n[site]\nsky = { mag_per_arcsec2 = 19.0 }\n\
                 [[filters]]\nname = \"luminance\"\n[target]\nsurface_brightness_mag = 22.0\naltitude_deg = 60.0\n\
                 [goal]\nsnr = 20.0\n";
    let sensor = "width_px = 288\nheight_px = 224\ngain_e_per_adc_step = 0.8\nread_noise_e = 1.6\n\
                  full_well_e = 20000\nstars_per_frame = 50\ngain_setting = 100\n[[frames]]\nkind = \"light\"\n\
                  count = 6\nexposure_s = 60.0\nsensor_c = -10.0\nlight_e_per_s = 6.0\nfilter = \"luminance\"\n\
                  transparency = [1.0, 0.5]\nstep_px = [2, 1]\n";
    for (file, text) in [("camera.toml", camera), ("night.toml", night), ("sensor.toml", sensor)] {
        std::fs::write(folder.path().join(file), text).unwrap();
    }
    printed(folder.path(), &["simulate", "sensor.toml", "--out", "lights"], 0);
    let review = printed(folder.path(), &["review", "lights", "--night", "night.toml"], 0);
    read_back::<Review>(&review);
    refused_with_a_wrong_unit(&review);
}

fn schema(name: &str) -> Value {
    let mut command = Command::cargo_bin("subwell").unwrap();
    let run = command.args(["schema", name, "--as", "json-schema"]).assert().success();
    serde_json::from_slice(&run.get_output().stdout).unwrap()
}

#[test]
fn what_people_write_is_of_its_schema_and_slips_are_not() {
    let text = |name: &str| {
        let run = Command::cargo_bin("subwell").unwrap().args(["schema", name]).assert().success();
        String::from_utf8(run.get_output().stdout.clone()).unwrap()
    };
    let slips = [
        ("night", "settle_s", "settel_s"),
        ("night", "aperture_mm = 76.0", "aperture_mm = 0.2"),
        ("night", "bortle = 7", "bortle = 10"),
        ("camera", "read_noise_e", "read_nose_e"),
        ("sensor", "adc_bits = 14", "adc_bits = 17"),
        ("sensor", "kind = \"bias\"", "kind = \"bais\""),
    ];
    for (name, good, bad) in slips {
        let validator = jsonschema::validator_for(&schema(name)).unwrap();
        let value = |text: &str| serde_json::to_value(toml::from_str::<toml::Table>(text).unwrap()).unwrap();
        let written = text(name);
        let faults: Vec<_> = validator.iter_errors(&value(&written)).map(|error| error.to_string()).collect();
        assert!(faults.is_empty(), "{name}: {faults:?}");
        assert!(written.contains(good), "{name}: {good}");
        assert!(!validator.is_valid(&value(&written.replace(good, bad))), "{name}: {bad}");
    }
}

#[test]
fn every_schema_is_printed_and_is_one() {
    let names = [
        "camera",
        "night",
        "sensor",
        "frames",
        "measure",
        "sky",
        "plan",
        "cooling",
        "compare",
        "review",
        "checklist",
        "simulation",
        "error",
    ];
    for name in names {
        let schema = schema(name);
        assert!(jsonschema::meta::is_valid(&schema), "{name}");
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema", "{name}");
    }
    let mut command = Command::cargo_bin("subwell").unwrap();
    let run = command.args(["schema", "night", "--as", "keys"]).assert().success();
    let keys: Value = serde_json::from_slice(&run.get_output().stdout).unwrap();
    assert!(keys["keys"].as_array().unwrap().iter().any(|key| key["path"] == "goal.snr" && key["default"] == 10.0));
    let mut command = Command::cargo_bin("subwell").unwrap();
    command.args(["schema", "plan", "--as", "example"]).assert().code(2);
}
