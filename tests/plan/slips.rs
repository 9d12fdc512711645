//! Slips in the files that people write: what is said of them, and what is done about it.

use std::path::PathBuf;

use subwell::Error;
use subwell::camera::CameraProfile;
use subwell::files::{read_night, read_profile, read_sensor};
use subwell::night::Night;
use subwell::plan::{Plan, PlanError, plan};
use subwell::simulate::SensorTruth;

const CAMERA: &str = "camera = \"a\"\nprovenance = \"published\"\nsource = \"invented\"\n[[modes]]\npixel_um = 3.76\n\
                      width_px = 4800\nheight_px = 3200\n[[modes.planes]]\nplane = \"mono\"\ngain_e_per_dn = 0.8\n\
                      read_noise_e = 1.6\nsaturation_e = 20000.0\n";
const NIGHT: &str = "[camera]\nprofile = \"camera.toml\"\nsensor_c = -10.0\n[optics]\naperture_mm = 80.0\n\
                     focal_length_mm = 400.0\n[site]\nsky = { bortle = 5 }\nlatitude_deg = 50.0\nlongitude_deg = 15.0\n\
                     [target]\nsurface_brightness_mag = 22.0\naltitude_deg = 50.0\n[goal]\nsnr = 5.0\n[mount]\n";

fn file(name: &str, bytes: &[u8]) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("camera.toml"), CAMERA).unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    (folder, path)
}

fn said(error: impl Into<Error>) -> (String, String) {
    let error = error.into();
    (error.to_string(), error.hint())
}

/// No name of the program's own types reaches the photographer.
fn is_in_words(message: &str) {
    for theirs in ["f64", "f32", "u8", "u16", "u32", "u64", "usize", "i64", "struct", "bool,", "map,"] {
        assert!(!message.contains(theirs), "`{theirs}` in: {message}");
    }
}

#[test]
fn wrong_kinds_of_values_are_named_in_words_in_all_three_files() {
    for (old, new) in [
        ("aperture_mm = 80.0", "aperture_mm = \"80\""),
        ("bortle = 5", "bortle = 5.5"),
        ("bortle = 5", "bortle = 300"),
        ("bortle = 5", "bortle = -1"),
        ("snr = 5.0", "snr = true"),
        ("snr = 5.0", "need_astronomical_night = 1"),
        ("snr = 5.0", "date = 20261012"),
        ("[goal]\nsnr = 5.0\n", "[stack]\nmin_subs = 1.5\n"),
        ("[goal]\nsnr = 5.0\n", "[calibration]\ndarks = -3\n"),
        ("[mount]\n", "[cooler]\nprice = []\n"),
        ("profile = \"camera.toml\"", "profile = 3"),
    ] {
        let text = NIGHT.replace(old, new);
        assert_ne!(text, NIGHT, "{old}");
        is_in_words(&said(Night::from_toml(&text).unwrap_err()).0);
    }
    for (old, new) in
        [("pixel_um = 3.76", "pixel_um = \"3.76\""), ("width_px = 4800", "width_px = 4800.5"), ("3200", "-1")]
    {
        is_in_words(&said(CameraProfile::from_toml(&CAMERA.replace(old, new)).unwrap_err()).0);
    }
    for line in
        ["width_px = 1.5", "width_px = -4", "gain_e_per_adc_step = \"x\"", "seed = -1", "frames = 3", "adc_bits = true"]
    {
        is_in_words(&said(SensorTruth::from_toml(line).unwrap_err()).0);
    }
}

#[test]
fn a_decimal_comma_is_recognised_in_all_three_files() {
    let night = Night::from_toml(&NIGHT.replace("aperture_mm = 80.0", "aperture_mm = 80,5")).unwrap_err();
    assert!(night.hint().contains("aperture_mm = 80.5"), "{}", night.hint());
    let sky = Night::from_toml(&NIGHT.replace("{ bortle = 5 }", "{ mag_per_arcsec2 = 20,5 }")).unwrap_err();
    assert!(sky.hint().contains("mag_per_arcsec2 = 20.5"), "{}", sky.hint());
    let camera = CameraProfile::from_toml(&CAMERA.replace("3.76", "3,76")).unwrap_err();
    assert!(camera.hint().contains("pixel_um = 3.76"), "{}", camera.hint());
    let sensor = SensorTruth::from_toml("read_noise_e = 1,6\n").unwrap_err();
    assert!(sensor.hint().contains("read_noise_e = 1.6"), "{}", sensor.hint());
}

#[test]
fn a_date_without_quotes_is_recognised() {
    let error = Night::from_toml(&NIGHT.replace("snr = 5.0", "date = 2026-10-12")).unwrap_err();
    assert!(error.hint().contains("date = \"2026-10-12\""), "{error}: {}", error.hint());
}

#[test]
fn text_of_another_encoding_is_recognised() {
    let utf_16 = |text: &str| -> Vec<u8> {
        [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
    };
    let (_folder, path) = file("night.toml", &utf_16(NIGHT));
    let (message, hint) = said(read_night(&path).unwrap_err());
    assert!(message.contains("UTF-16") && hint.contains("UTF-8"), "{message}: {hint}");
    // Without the mark.
    let (_folder, path) = file("camera2.toml", &utf_16(CAMERA)[2..]);
    assert!(said(read_profile(&path).unwrap_err()).0.contains("UTF-16"));
    // One byte for each letter, as before Unicode.
    let (_folder, path) = file("sensor.toml", b"camera = \"K\xfchl\"\n");
    let (message, hint) = said(read_sensor(&path).unwrap_err());
    assert!(!message.contains("UTF-16") && hint.contains("UTF-8"), "{message}: {hint}");
    let (_folder, path) = file("night.toml", NIGHT.as_bytes());
    assert!(read_night(&path).is_ok());
}

fn planned(text: &str) -> Result<Plan, PlanError> {
    plan(&Night::from_toml(text)?, &CameraProfile::from_toml(CAMERA)?)
}

fn has(plan: &Plan, code: &str, word: &str) -> bool {
    plan.caveats.iter().any(|caveat| caveat.code == code && caveat.message.contains(word))
}

#[test]
fn a_mount_of_which_nothing_is_known_is_said_to_hold_any_sub() {
    assert!(has(&planned(NIGHT).unwrap(), "assumed-value", "any length"));
    for known in ["longest_sub_s = 300.0\n", "polar_error_arcmin = 3.0\n"] {
        assert!(!has(&planned(&format!("{NIGHT}{known}")).unwrap(), "assumed-value", "any length"), "{known}");
    }
    assert!(has(&planned(&format!("{NIGHT}guided = false\n")).unwrap(), "assumed-value", "60 s"));
}

#[test]
fn an_alt_azimuth_mount_bounds_the_sub_and_a_tripod_is_not_guided() {
    let limit = |keys: &str, which: &str| {
        let plan = planned(&NIGHT.replace("[mount]\n", &format!("[mount]\n{keys}"))).unwrap();
        let limits = serde_json::to_value(plan.filters[0].limits_s).unwrap();
        limits[which].as_f64().unwrap_or_else(|| panic!("{which} in {limits}"))
    };
    // At latitude 50 and 50° of altitude the field turns by 15.0411″ at most; the corner is 2884.4 px away.
    let corner = 4800_f64.hypot(3200.0) / 2.0;
    let turn = 206_264.806 / (corner * 15.0411);
    assert!((limit("kind = \"alt-az\"\n", "field_rotation") / turn - 1.0).abs() < 1e-3);
    let error = Night::from_toml(&format!("{NIGHT}kind = \"fixed\"\nguided = true\n")).unwrap_err();
    assert!(error.to_string().contains("guided"), "{error}");
    let error = Night::from_toml(&format!("{NIGHT}kind = \"alt-az\"\npolar_error_arcmin = 3.0\n")).unwrap_err();
    assert!(error.hint().contains("equatorial"), "{}", error.hint());
}

#[test]
fn a_clock_that_does_not_belong_to_the_place_is_named() {
    let dated = NIGHT.replace("snr = 5.0", "snr = 5.0\ndate = \"2026-10-12\"");
    let with =
        |offset: &str| planned(&dated.replace("[target]", &format!("utc_offset_h = {offset}\n[target]"))).unwrap();
    assert!(!has(&with("2.0"), "conflicting-offset", "Sun"));
    assert!(has(&with("-5.0"), "conflicting-offset", "Sun"));
    // Beyond the date line 13 h is as good as −11 h.
    let far = dated.replace("longitude_deg = 15.0", "longitude_deg = -171.0");
    let far = planned(&far.replace("[target]", "utc_offset_h = 13.0\n[target]")).unwrap();
    assert!(!has(&far, "conflicting-offset", "Sun"));
}

/// The date that an error names has an hour for this target, not for some target: Orion is up in no dark hour of June,
/// and the first dark nights of the north are still too short for it.
#[test]
fn the_date_that_an_error_names_is_one_that_plans() {
    let orion = NIGHT.replace(
        "surface_brightness_mag = 22.0\naltitude_deg = 50.0",
        "surface_brightness_mag = 20.0\nra_deg = 83.8\ndec_deg = -5.4",
    );
    for latitude in ["50.0", "55.0"] {
        let with = |date: &str| {
            let text = orion.replace("latitude_deg = 50.0", &format!("latitude_deg = {latitude}"));
            let goal = format!("snr = 5.0\nneed_astronomical_night = true\ndate = \"{date}\"");
            planned(&text.replace("snr = 5.0", &goal))
        };
        let error = with("2026-06-21").expect_err("no night");
        let next = error.hint().split('"').nth(1).expect("a date").to_owned();
        let night = with(&next).unwrap_or_else(|error| panic!("{next}: {error}")).night.expect("a night");
        assert!(night.usable_hours >= 1.0, "{next}: {}", night.usable_hours);
    }
}

#[test]
fn no_hours_are_no_negative_zero() {
    // The full Moon of 26 October is up all night.
    let dated = NIGHT.replace("snr = 5.0", "snr = 5.0\ndate = \"2026-10-26\"");
    let night = planned(&dated).unwrap().night.expect("a night");
    let text = serde_json::to_string(&night).unwrap();
    assert!(!text.contains("-0.0"), "{text}");
}
