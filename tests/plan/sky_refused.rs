//! Frames that hold no sky, or none of this camera: said with the file and the cure, and nothing is written.

use std::path::Path;

use serde_json::Value;
use subwell::camera::CameraProfile;
use subwell::frames::Frame;
use subwell::measure::{Frames, ReviewOptions, review_night};
use subwell::night::Night;
use subwell::report::review_text;
use subwell::review::Review;
use subwell::simulate::{SensorTruth, frames};

use crate::sky::{CAMERA, FRAMES, NIGHT, SENSOR, desk, json, light_and_dark};
use crate::support::program::subwell;

/// What `sky --write` says of a light and a dark, and whether the night file was changed.
fn asked(light: &Frame, dark: &Frame, camera: &str, exit: i32) -> (Value, bool) {
    let (folder, path) = desk(NIGHT);
    std::fs::write(folder.path().join("camera.toml"), camera).unwrap();
    let [a, b] = ["light.fits", "dark.fits"].map(|name| folder.path().join(name));
    subwell::files::write_frame(&a, light, false, true).unwrap();
    subwell::files::write_frame(&b, dark, false, true).unwrap();
    let before = std::fs::read(&path).unwrap();
    let mut command = subwell();
    command.args(["sky", "--write", "--light"]).arg(&a).arg("--dark").arg(&b).arg("--night").arg(&path);
    let answer = json(&mut command, exit);
    (answer, std::fs::read(&path).unwrap() != before)
}

fn refused(light: &Frame, dark: &Frame, camera: &str, code: &str, words: &[&str]) {
    let (error, written) = asked(light, dark, camera, 1);
    assert_eq!(error["code"], code, "{error}");
    let message = error["message"].as_str().unwrap();
    assert!(words.iter().all(|word| message.contains(word)), "{words:?}: {message}");
    assert!(!error["hint"].as_str().unwrap().is_empty() && !written, "{error}");
}

#[test]
fn frames_of_one_count_are_no_frames() {
    let (light, dark) = light_and_dark("", FRAMES);
    for count in [0, 240] {
        let mut blank = dark.clone();
        blank.pixels.fill(count);
        let words = format!("every pixel is {count} DN");
        refused(&light, &blank, CAMERA, "frames-unusable", &["dark.fits", &words]);
    }
    let mut even = light.clone();
    even.pixels.fill(900);
    refused(&even, &dark, CAMERA, "frames-unusable", &["light.fits", "every pixel is 900 DN"]);
    // One count and a speck of dust.
    let mut clipped = dark.clone();
    clipped.pixels.mapv_inplace(|count| count.saturating_sub(242));
    let (answer, _) = asked(&light, &clipped, CAMERA, 0);
    assert!(answer["caveats"].to_string().contains("black-clipped"), "{}", answer["caveats"]);
}

#[test]
fn a_light_of_another_camera_is_no_light_of_this_one() {
    let (mut light, mut dark) = light_and_dark("", FRAMES);
    let measured = CAMERA.replace("camera = \"a\"", "camera = \"Heron M\"").replace("published", "measured");
    let name = |frame: &mut Frame, camera: &str| frame.info.camera = Some(camera.into());
    name(&mut light, "Egret C");
    name(&mut dark, "Egret C");
    refused(&light, &dark, &measured, "conflicting-camera", &["light.fits", "Egret C", "the profile of Heron M"]);
    // A typed profile may be called anything.
    asked(&light, &dark, CAMERA, 0);
    name(&mut light, "Lake Heron M");
    refused(&light, &dark, &measured, "conflicting-camera", &["Lake Heron M", "its dark of Egret C"]);
    name(&mut dark, "HERON-M");
    asked(&light, &dark, &measured, 0);
}

/// A second under a dark sky: 0.02 electrons a pixel.
#[test]
fn a_sky_that_is_not_seen_is_absent_and_not_written() {
    let faint = FRAMES.replace("exposure_s = 60.0", "exposure_s = 1.0").replace("9.0", "0.02");
    let (light, dark) = light_and_dark("", &faint);
    refused(&light, &dark, CAMERA, "light-unusable", &["±", "no sky is seen"]);
}

/// Behind a filter of red light the blue pixels see nothing: the others' sky is measured all the same.
#[test]
fn a_plane_without_sky_costs_only_itself() {
    let keys = "cfa = \"RGGB\"\nlight_colour = { R = 1.0, G = 0.4, B = 0.0 }\n";
    let (light, dark) = light_and_dark(keys, FRAMES);
    let plane = |name: &str, colour: &str| {
        format!(
            "[[modes.planes]]\nplane = \"{name}\"\ncolour = \"{colour}\"\nsampling = 0.25\n\
             gain_e_per_dn = {{ value = 0.8, uncertainty = 0.008 }}\nread_noise_e = 1.6\nsaturation_e = 20000.0\n"
        )
    };
    let head = CAMERA.split("[[modes.planes]]").next().unwrap();
    let planes = [("r0c0", "R"), ("r0c1", "G"), ("r1c0", "G"), ("r1c1", "B")].map(|(name, colour)| plane(name, colour));
    let (answer, written) = asked(&light, &dark, &format!("{head}{}", planes.concat()), 0);
    let seen: Vec<&str> =
        answer["measured"]["planes"].as_array().unwrap().iter().map(|plane| plane["plane"].as_str().unwrap()).collect();
    assert!(written && seen == ["r0c0", "r0c1", "r1c0"], "{seen:?}");
    assert!(answer["caveats"].to_string().contains("sky-undetermined"), "{}", answer["caveats"]);
}

#[test]
fn a_light_that_does_not_say_its_time_is_asked_for_it() {
    let (mut light, dark) = light_and_dark("", FRAMES);
    light.info.exposure.0 = 0.0;
    refused(&light, &dark, CAMERA, "no-exposure", &["light.fits", "how long it was exposed"]);
    let (folder, path) = desk(NIGHT);
    let absent = folder.path().join("absent.fits");
    let mut command = subwell();
    command.args(["sky", "--light"]).arg(&absent).arg("--dark").arg(&absent).arg("--night").arg(&path);
    let error = json(&mut command, 2);
    assert!(error["message"].as_str().unwrap().contains("absent.fits: there is no such file"), "{error}");
    assert!(error["hint"].as_str().unwrap().contains("check the name"), "{error}");
    let bare = json(subwell().args(["plan"]).arg(Path::new("no-night.toml")), 2);
    assert!(bare["message"].as_str().unwrap().contains("no-night.toml: there is no such file"), "{bare}");
}

/// Without a night and a gain there are counts, and no electrons.
#[test]
fn no_gain_is_a_matter_of_data() {
    let (light, dark) = light_and_dark("", FRAMES);
    let folder = tempfile::tempdir().unwrap();
    let [a, b] = ["light.fits", "dark.fits"].map(|name| folder.path().join(name));
    subwell::files::write_frame(&a, &light, false, true).unwrap();
    subwell::files::write_frame(&b, &dark, false, true).unwrap();
    let error = json(subwell().args(["sky", "--light"]).arg(&a).arg("--dark").arg(&b), 1);
    assert_eq!(error["code"], "no-gain", "{error}");
}

/// Six lights and four darks against the night; `change` makes another camera of them.
fn reviewed(frames_asked: &str, camera: &str, change: impl Fn(&mut Frame)) -> Result<Review, subwell::Error> {
    let asked = frames_asked.replacen("kind = \"light\"", "kind = \"light\"\ncount = 6", 1);
    let asked = asked.replacen("kind = \"dark\"", "kind = \"dark\"\ncount = 4", 1);
    let truth = SensorTruth::from_toml(&format!("{SENSOR}offset_dn = 240\n{asked}"))?;
    let mut all: Vec<Frame> = frames(&truth).collect();
    all.iter_mut().for_each(change);
    let (night, camera) = (Night::from_toml(NIGHT)?, CameraProfile::from_toml(camera)?);
    Ok(review_night(&Frames::new(all), &night, &camera, &ReviewOptions::default())?)
}

#[test]
fn lights_of_another_camera_are_left_out_of_a_review() {
    let measured = CAMERA.replace("camera = \"a\"", "camera = \"Heron M\"").replace("published", "measured");
    let named = |name: &'static str| move |frame: &mut Frame| frame.info.camera = Some(name.into());
    let error = reviewed(FRAMES, &measured, named("Egret C")).unwrap_err().to_string();
    assert!(error.contains("Egret C") && error.contains("Heron M"), "{error}");
    assert_eq!(reviewed(FRAMES, &measured, named("heron m")).unwrap().subs.len(), 6);
}

/// Two seconds of 0.2 electrons: less than a frame's level wanders.
#[test]
fn a_sky_that_no_sub_shows_is_absent_from_the_review() {
    let faint = FRAMES.replace("exposure_s = 60.0", "exposure_s = 2.0").replace("9.0", "0.2");
    let review = reviewed(&faint, CAMERA, |_| ()).unwrap();
    assert_eq!((review.sky_e_per_s, review.sky_fainter_by_mag, &review.sky_to_write), (None, None, &None));
    assert!(review.caveats.iter().any(|caveat| caveat.code == "sky-undetermined"), "{:?}", review.caveats);
    let (json, text) = (serde_json::to_value(&review).unwrap(), review_text(&review));
    assert!(json["sky_e_per_s"].is_null() && json["subs"][0]["sky_e_per_s"].is_null(), "{json}");
    // No times in the headers: a stroke, no clock without hands; and no word without its numbers.
    assert!(text.contains("not determined") && !text.contains("--:--") && !text.contains(": ,"), "{text}");
}

#[test]
fn a_class_between_two_and_a_height_below_the_horizon_say_what_to_write() {
    for (words, part) in [
        (["sky", "--bortle", "4.5"], "whole numbers, 1 to 9"),
        (["sky", "--altitude=-3", "--mag=20"], "degrees above the horizon, 0 to 90"),
    ] {
        let output = subwell().args(words).output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(part), "{said}");
    }
    // A magnitude that was seen low is that of a darker zenith.
    let zenith = json(subwell().args(["sky", "--mag", "20", "--altitude", "30"]), 0);
    assert!(zenith["mag_per_arcsec2"]["value"].as_f64().unwrap() > 20.3, "{zenith}");
}
