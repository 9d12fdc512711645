//! The program as people and scripts use it: words, files, exit codes, JSON.

use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

use crate::support::program::{PROGRAM, samples, subwell};

fn json(command: &mut Command, exit: i32) -> Value {
    let run = command.arg("--json").assert().code(exit);
    let output = run.get_output();
    crate::support::schemas::valid(&output.stdout)
}

fn number(value: &Value, pointer: &str) -> f64 {
    value.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("no number at {pointer}"))
}

/// A folder with the cooled sample camera measured and the sample night beside it.
fn prepared_night() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    subwell()
        .arg("measure")
        .arg(samples().join("cooled-mono"))
        .arg("--out")
        .arg(folder.path().join("camera.toml"))
        .assert()
        .success();
    std::fs::copy(samples().join("garden-night.toml"), folder.path().join("garden-night.toml")).unwrap();
    folder
}

#[test]
fn the_demo_says_the_answer_in_one_line() {
    let run = subwell().arg("demo").assert().success();
    let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    let last = text.lines().last().unwrap();
    for word in ["subs of", "dither every", "gain", "sensor at"] {
        assert!(last.contains(word), "`{word}` is not in: {last}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

#[test]
fn the_plan_of_the_sample_night_adds_up() {
    let folder = prepared_night();
    let plan = json(subwell().arg("plan").arg(folder.path().join("garden-night.toml")), 0);
    assert_eq!(plan["format"], "subwell.plan");
    let filter = &plan["filters"][0];
    let plane = &filter["planes"][0];
    let shares: f64 = plane["noise_share_percent"].as_object().unwrap().values().map(|v| v.as_f64().unwrap()).sum();
    assert!((shares - 100.0).abs() < 1e-6, "{shares}");
    // SNR at (t, N, k) is the goal within the rounding of N: one sub more or less.
    let (snr, kept) = (number(plane, "/snr/value"), number(filter, "/subs_kept"));
    assert!(snr >= 8.0 - 1e-9 && snr <= 8.0 * ((kept + 1.0) / kept).sqrt() + 0.01, "{snr} with {kept} subs");
    assert!(number(filter, "/positions_per_night") >= 10.0);
    let wall = number(filter, "/subs_to_shoot") * (number(filter, "/sub_s") + number(filter, "/between_subs_s"))
        + number(filter, "/dithers") * number(filter, "/settle_s");
    assert!((wall / number(&plan, "/wall_clock_s") - 1.0).abs() < 0.01, "{wall}");
}

/// A sky half a class brighter stretches every filter: shares of the hours do not make them surer.
#[test]
fn shares_of_filters_do_not_narrow_the_range() {
    let folder = prepared_night();
    let night = folder.path().join("garden-night.toml");
    let range = |text: &str| {
        std::fs::write(&night, text).unwrap();
        let plan = json(subwell().arg("plan").arg(&night), 0);
        let high = number(&plan, "/wall_clock_range_s/1") / number(&plan, "/wall_clock_s");
        let kept = &plan["filters"][0];
        (high, number(kept, "/subs_kept_range/1") / number(kept, "/subs_kept"))
    };
    let alone = std::fs::read_to_string(&night).unwrap();
    let second = "[[filters]]\nname = \"green\"\nshare = 0.5\nquantum_efficiency = 0.7\n\n[target]";
    let shared = alone.replace("share = 1.0", "share = 0.5").replacen("[target]", second, 1);
    let ((one, _), (two, kept)) = (range(&alone), range(&shared));
    assert!(one > 1.3 && two > 0.9 * one && kept > 0.9 * two, "{one} {two} {kept}");
}

#[test]
fn a_profile_is_never_overwritten_without_force() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("camera.toml");
    std::fs::write(&out, "mine").unwrap();
    let measure = || {
        let mut command = subwell();
        command.arg("measure").arg(samples().join("cooled-mono")).arg("--out").arg(&out);
        command
    };
    let error = json(&mut measure(), 2);
    assert!(error["message"].as_str().unwrap().contains("camera.toml"), "{error}");
    assert_eq!(std::fs::read_to_string(&out).unwrap(), "mine");
    measure().arg("--force").assert().success();
    let written = std::fs::read_to_string(&out).unwrap();
    assert!(written.contains("gain_e_per_dn"));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
}

#[test]
fn a_profile_says_the_same_as_toml_as_json_and_when_read_back() {
    let folder = tempfile::tempdir().unwrap();
    let (toml, json_file) = (folder.path().join("camera.toml"), folder.path().join("camera.json"));
    for out in [&toml, &json_file] {
        subwell().arg("measure").arg(samples().join("cooled-mono")).arg("--out").arg(out).assert().success();
    }
    let read = |path: &Path| subwell::files::read_profile(path).unwrap();
    assert_eq!(read(&toml), read(&json_file));
    assert_eq!(
        serde_json::to_value(read(&toml)).unwrap(),
        json(subwell().arg("measure").arg(samples().join("cooled-mono")), 0)
    );
}

#[test]
fn a_profile_typed_from_a_data_sheet_plans_a_night() {
    let folder = prepared_night();
    let sheet = r#"
camera = "Plover 62"
provenance = "published"
source = "an invented data sheet"
[[modes]]
gain_setting = 100
pixel_um = 3.8
width_px = 4000
height_px = 3000
[[modes.planes]]
plane = "mono"
gain_e_per_dn = 0.8
read_noise_e = 1.6
saturation_e = 14000.0
[[modes.planes.dark_current]]
sensor_c = 0.0
e_per_s = 0.02
"#;
    std::fs::write(folder.path().join("camera.toml"), sheet).unwrap();
    let plan = json(subwell().arg("plan").arg(folder.path().join("garden-night.toml")), 0);
    assert_eq!(number(&plan, "/gain_setting"), 100.0);
}

#[test]
fn bad_files_among_good_ones_are_named_and_the_rest_is_measured() {
    let folder = tempfile::tempdir().unwrap();
    copy_folder(&samples().join("cooled-mono"), folder.path());
    let good = std::fs::read(samples().join("cooled-mono/dark/dark_0001.fits.fz")).unwrap();
    std::fs::write(folder.path().join("dark/notes.txt"), "clear, no moon").unwrap();
    std::fs::write(folder.path().join("dark/empty.fits"), "").unwrap();
    let plain = tempfile::tempdir().unwrap();
    let truth = "width_px = 200\nheight_px = 150\n[[frames]]\nkind = \"dark\"\nexposure_s = 60.0\nsensor_c = -10.0\n";
    std::fs::write(plain.path().join("sensor.toml"), truth).unwrap();
    subwell()
        .arg("simulate")
        .arg(plain.path().join("sensor.toml"))
        .arg("--out")
        .arg(plain.path().join("out"))
        .assert()
        .success();
    let whole = std::fs::read(plain.path().join("out/dark/dark_0001.fits")).unwrap();
    std::fs::write(folder.path().join("dark/cut.fits"), &whole[..whole.len() / 2]).unwrap();
    let mut damaged = good.clone();
    // The compressed image's table header starts in the second block: break its sizes and some of its data.
    let at = damaged.windows(8).position(|window| window == b"ZNAXIS1 ").unwrap();
    damaged[at + 10..at + 30].copy_from_slice(b"          -999999999");
    std::fs::write(folder.path().join("dark/damaged.fits.fz"), damaged).unwrap();
    let header_end = whole.windows(8).position(|window| window == b"IMAGETYP").unwrap();
    let mut master = whole.clone();
    master[header_end..header_end + 80].copy_from_slice(format!("{:<80}", "IMAGETYP= 'Master Dark'").as_bytes());
    std::fs::write(folder.path().join("dark/master.fits"), master).unwrap();
    let profile = json(subwell().arg("measure").arg(folder.path()), 0);
    let rejected: Vec<(&str, &str)> = profile["rejected"]
        .as_array()
        .unwrap()
        .iter()
        .map(|file| (file["file"].as_str().unwrap(), file["reason"].as_str().unwrap()))
        .collect();
    for name in ["notes.txt", "empty.fits", "cut.fits", "damaged.fits.fz", "master.fits"] {
        let found = rejected.iter().find(|(file, _)| file.ends_with(name));
        assert!(found.is_some_and(|(_, reason)| reason.len() > 10), "{name} in {rejected:?}");
    }
    assert_eq!(rejected.len(), 5, "{rejected:?}");
    let clean = json(subwell().arg("measure").arg(samples().join("cooled-mono")), 0);
    assert_eq!(profile["modes"], clean["modes"], "the good frames say the same as without the bad ones");
}

fn copy_folder(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy_folder(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn every_failure_is_one_json_document_with_a_hint() {
    let empty = tempfile::tempdir().unwrap();
    let night = empty.path().join("night.toml");
    std::fs::write(&night, "[optics]\naperture_mm = 76.0\nfocal_lenght_mm = 440.0\n").unwrap();
    let (folder, night_file) = (empty.path().to_str().unwrap(), night.to_str().unwrap());
    let cases: [(&[&str], i32); 5] = [
        (&["measure", folder], 1),
        (&["measure", "no-such-folder"], 2),
        (&["plan", night_file], 2),
        (&["mesure", "x"], 2),
        (&["measure", "x", "--gain-e-per-dn", "-2"], 2),
    ];
    for (words, exit) in cases {
        let error = json(subwell().args(words), exit);
        assert_eq!(error["format"], "subwell.error", "{error}");
        for key in ["code", "message", "hint"] {
            assert!(!error[key].as_str().unwrap().is_empty(), "{key} in {error}");
        }
    }
    let text = subwell().arg("plan").arg(&night).assert().code(2);
    let stderr = String::from_utf8(text.get_output().stderr.clone()).unwrap();
    assert!(stderr.contains("focal_length_mm") && stderr.contains("night.toml"), "{stderr}");
}

#[test]
fn frames_of_two_cameras_make_no_profile() {
    let error = json(subwell().arg("measure").arg(samples()), 1);
    let message = error["message"].as_str().unwrap();
    assert!(message.contains("Heron M") && message.contains("Fallow C"), "{message}");
}

#[test]
fn a_colour_camera_whose_headers_name_no_colours_is_suspected() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(samples().join("uncooled-colour/sensor.toml")).unwrap();
    // The same array, but nothing in the headers says so: BAYERPAT is blanked in every frame.
    std::fs::write(folder.path().join("sensor.toml"), text).unwrap();
    let out = folder.path().join("out");
    subwell().arg("simulate").arg(folder.path().join("sensor.toml")).arg("--out").arg(&out).assert().success();
    for kind in ["bias", "flat", "dark"] {
        for entry in std::fs::read_dir(out.join(kind)).unwrap() {
            let path = entry.unwrap().path();
            let mut bytes = std::fs::read(&path).unwrap();
            let at = bytes.windows(8).position(|card| card == b"BAYERPAT").unwrap();
            bytes[at..at + 80].copy_from_slice(format!("{:<80}", "COMMENT").as_bytes());
            std::fs::write(&path, bytes).unwrap();
        }
    }
    let caveats = |words: &[&str]| {
        let profile = json(subwell().arg("measure").arg(&out).args(words), 0);
        profile["caveats"].as_array().unwrap().iter().any(|caveat| caveat["code"] == "colour-array-suspected")
    };
    assert!(caveats(&[]) && !caveats(&["--cfa", "RGGB"]));
}

#[test]
fn a_slip_of_the_count_does_not_fill_the_disk() {
    let folder = tempfile::tempdir().unwrap();
    let sensor = folder.path().join("sensor.toml");
    std::fs::write(&sensor, "width_px = 3000\nheight_px = 2000\n[[frames]]\nkind = \"bias\"\ncount = 10000\n").unwrap();
    let out = folder.path().join("out");
    let error = json(subwell().arg("simulate").arg(&sensor).arg("--out").arg(&out), 2);
    assert!(error["message"].as_str().unwrap().contains("gigabytes") && !out.exists(), "{error}");
}

#[cfg(unix)]
#[test]
fn only_plain_files_are_read_as_text_or_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let error = json(subwell().args(["plan", "/dev/zero"]), 2);
    assert!(error["message"].as_str().unwrap().contains("/dev/zero"), "{error}");
    let link = folder.path().join("link.toml");
    std::os::unix::fs::symlink(folder.path().join("target.toml"), &link).unwrap();
    for out in [link, folder.path().join("camera.fits")] {
        let error =
            json(subwell().arg("measure").arg(samples().join("cooled-mono")).arg("--force").arg("--out").arg(&out), 2);
        assert!(error["message"].as_str().unwrap().contains(out.to_str().unwrap()), "{error}");
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn strict_turns_caveats_into_exit_code_three() {
    let folder = prepared_night();
    subwell().arg("plan").arg(folder.path().join("garden-night.toml")).arg("--strict").assert().code(3);
}

#[test]
fn a_folder_is_described_without_measuring_it() {
    let frames = json(subwell().arg("frames").arg(samples().join("cooled-mono")), 0);
    assert_eq!(frames["format"], "subwell.frames");
    let kinds: std::collections::BTreeSet<&str> =
        frames["groups"].as_array().unwrap().iter().map(|group| group["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds.into_iter().collect::<Vec<_>>(), ["bias", "dark", "flat"]);
    assert!(frames["missing"].as_array().unwrap().is_empty());
}

#[test]
fn simulated_frames_come_out_the_same_with_the_same_seed() {
    let folder = tempfile::tempdir().unwrap();
    let sensor = folder.path().join("sensor.toml");
    std::fs::write(
        &sensor,
        "width_px = 32\nheight_px = 16\nread_noise_e = 3.0\n[[frames]]\nkind = \"bias\"\ncount = 2\n",
    )
    .unwrap();
    let mut written = Vec::new();
    for name in ["a", "b"] {
        let out = folder.path().join(name);
        subwell().arg("simulate").arg(&sensor).arg("--out").arg(&out).assert().success();
        written.push(std::fs::read(out.join("bias/bias_0001.fits")).unwrap());
    }
    assert!(!written[0].is_empty() && written[0] == written[1]);
}

#[cfg(unix)]
#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let script = format!(
        "'{PROGRAM}' measure '{}' --json | head -c 10; test ${{PIPESTATUS[0]}} -eq 0",
        samples().join("cooled-mono").display()
    );
    let status = std::process::Command::new("bash").args(["-c", &script]).output().unwrap();
    assert!(status.status.success(), "{}", String::from_utf8_lossy(&status.stderr));
    assert!(!String::from_utf8_lossy(&status.stderr).contains("panicked"));
}
