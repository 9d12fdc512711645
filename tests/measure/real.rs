//! Frames of two real cameras, beside the project but never in it. Where they are absent
//! these tests say so and pass. The values were measured independently with numpy from the
//! same frames, by EMVA 1288's formulas.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;

/// The folder of one camera's frames, if it is there.
fn frames(camera: &str) -> Option<PathBuf> {
    let root = std::env::var_os("SUBWELL_REAL")
        .map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/real"), PathBuf::from);
    let folder = root.join(camera);
    if folder.is_dir() {
        return Some(folder);
    }
    eprintln!("SKIPPED: the real frames of {camera} are not beside the project (or in $SUBWELL_REAL)");
    None
}

fn measured(folder: &Path, words: &[&str]) -> Value {
    let run =
        Command::cargo_bin("subwell").unwrap().arg("measure").arg(folder).args(words).arg("--json").assert().success();
    serde_json::from_slice(&run.get_output().stdout).unwrap()
}

fn number(value: &Value, pointer: &str) -> f64 {
    value.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("{pointer} in {value}"))
}

fn codes(profile: &Value) -> Vec<&str> {
    profile["caveats"].as_array().unwrap().iter().map(|caveat| caveat["code"].as_str().unwrap()).collect()
}

#[test]
fn a_cmos_ramp_with_a_knee() {
    let Some(folder) = frames("cmos-ramp") else { return };
    let profile = measured(&folder, &[]);
    let plane = &profile["modes"][0]["planes"][0];
    let gain = number(plane, "/gain_e_per_dn/value");
    assert!((2.34..=2.51).contains(&gain), "gain {gain}");
    assert!(number(plane, "/gain_e_per_dn/uncertainty") >= 0.02 * gain, "the knee is not priced in");
    assert!(codes(&profile).contains(&"transfer-curve-kink"), "{:?}", codes(&profile));
    let noise = number(plane, "/read_noise_dn/value");
    assert!((noise - 0.838).abs() <= 0.006, "read noise {noise} DN");
    let core = number(plane, "/read_noise_core_e/value") / gain;
    assert!((core - 0.819).abs() <= 0.008, "core {core} DN");
    assert_eq!(plane["saturation_is"], "at-least");
    // The straight line of EMVA 1288 over the whole frames of this camera: 2.37 e⁻/DN, spread 5 %.
    assert!((number(plane, "/fit/emva_gain_e_per_dn") / 2.37 - 1.0).abs() < 0.01);
    // Two levels of one exposure time are two pairs, no error.
    assert_eq!(profile["modes"][0]["photon_transfer"].as_array().unwrap().len(), 21);
}

/// The gain of two parts of the ramp: they agree within two combined uncertainties and 0.8 %.
#[test]
fn parts_of_a_cmos_ramp_agree() {
    let Some(folder) = frames("cmos-ramp") else { return };
    let agree = |a: &Value, b: &Value, what: &str| {
        let gain = |profile: &Value, field: &str| number(profile, &format!("/modes/0/planes/0/gain_e_per_dn/{field}"));
        let (first, second) = (gain(a, "value"), gain(b, "value"));
        let sigma = gain(a, "uncertainty").hypot(gain(b, "uncertainty"));
        println!("{what}: {first:.4} and {second:.4} e-/DN, combined uncertainty {sigma:.4}");
        assert!((first - second).abs() <= 2.0 * sigma && (first / second - 1.0).abs() < 0.008, "{what}");
    };
    agree(
        &measured(&folder, &["--region", "0,0,256,512"]),
        &measured(&folder, &["--region", "256,0,256,512"]),
        "halves",
    );
    // Even against odd levels: the names hold the exposure in microseconds.
    let microseconds = |name: &str| name.split('_').find_map(|part| part.strip_suffix("us")?.parse::<u64>().ok());
    let names = |kind: &str| -> Vec<String> {
        let entries = std::fs::read_dir(folder.join(kind)).unwrap();
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
    };
    let mut times: Vec<u64> = names("flat").iter().filter_map(|name| microseconds(name)).collect();
    times.sort_unstable();
    times.dedup();
    let [even, odd] = [0, 1].map(|parity| {
        let part = tempfile::tempdir().unwrap();
        for kind in ["flat", "dark"] {
            std::fs::create_dir(part.path().join(kind)).unwrap();
            for name in names(kind) {
                let place = times.iter().position(|&time| Some(time) == microseconds(&name));
                if place.is_none_or(|place| place % 2 == parity) {
                    std::fs::copy(folder.join(kind).join(&name), part.path().join(kind).join(&name)).unwrap();
                }
            }
        }
        measured(part.path(), &[])
    });
    agree(&even, &odd, "even and odd levels");
}

#[test]
fn a_cooled_ccd_without_flats() {
    let Some(folder) = frames("ccd-darks") else { return };
    let profile = measured(&folder, &["--gain-e-per-dn", "2.06"]);
    let plane = &profile["modes"][0]["planes"][0];
    let noise = number(plane, "/read_noise_e/value");
    assert!((noise / (6.70 * 2.06) - 1.0).abs() < 0.02, "read noise {noise}");
    assert_eq!(number(&profile, "/modes/0/reference_sensor_c"), -5.0);
    let (cold, mild) = (&plane["dark_current"][0], &plane["dark_current"][1]);
    assert_eq!((number(cold, "/sensor_c"), number(mild, "/sensor_c")), (-5.0, 0.0));
    let median = number(cold, "/median_e_per_s/value");
    assert!((0.68..=0.75).contains(&median), "median pixel {median}");
    let median = number(mild, "/median_e_per_s/value");
    assert!((1.27..=1.38).contains(&median), "median pixel {median}");
    assert_eq!((&cold["from"], &mild["from"]), (&Value::from("mean"), &Value::from("mean")));
    let (mean, variance) = (number(cold, "/e_per_s/value"), number(cold, "/other_e_per_s/value"));
    assert!((variance / mean - 1.0).abs() < 0.05, "from mean {mean}, from variance {variance}");
    assert!((mean - 0.90).abs() < 0.03, "mean pixel {mean}");
    let uncertainty = number(cold, "/e_per_s/uncertainty");
    assert!((0.0015..=0.03).contains(&uncertainty), "{uncertainty}");
    assert!(!codes(&profile).contains(&"black-level-pinned"));
    let few = profile["caveats"].as_array().unwrap().iter().find(|caveat| caveat["code"] == "few-frames").unwrap();
    assert!(few["about"].as_str().unwrap().contains("at 0.0"), "{few}");
}
