//! Several nights of one target: what is in hand, written into the night file, and the plan of what is left.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::support::program::subwell;
use crate::support::schemas::valid;

const NIGHT: &str = "# my own words\n[camera]\nprofile = \"camera.toml\"\ngain_setting = 100\ncooled = true\nsensor_c = -10.0\n[optics]\n\
                     aperture_mm = 80.0\nfocal_length_mm = 400.0\n[site]\nlatitude_deg = 45.0\nlongitude_deg = 21.0\n\
                     utc_offset_h = 1.0\nsky = { mag_per_arcsec2 = 19.0 }\nseeing_arcsec = 4.0\n[[filters]]\n\
                     name = \"luminance\"\n[target]\nsurface_brightness_mag = 22.0\nra_deg = 150.0\ndec_deg = 40.0\n[goal]\n\
                     snr = 60.0 # deep\ndate = \"2026-03-16\"\n";

fn sensor(evening: &str, seed: u32, keys: &str) -> String {
    format!(
        "width_px = 200\nheight_px = 150\ngain_e_per_adc_step = 0.8\nread_noise_e = 1.6\noffset_dn = 240\ndark_e_per_s = 0.02\n\
         full_well_e = 20000\nstars_per_frame = 40\ngain_setting = 100\nlevel_jitter_dn = 0.2\nstart = \"{evening}T19:30:00\"\n\
         seed = {seed}\n[[frames]]\nkind = \"light\"\ncount = 20\nexposure_s = 60.0\nsensor_c = -10.0\nlight_e_per_s = 6.0\n\
         step_px = [1, 1]\nfilter = \"L\"\n{keys}\n[[frames]]\nkind = \"dark\"\ncount = 4\nexposure_s = 60.0\nsensor_c = -10.0\n"
    )
}

fn desk() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("camera.toml", &crate::camera(200, 150, 1.6));
    write("night.toml", NIGHT);
    let nights = [("first", "2026-03-16", ""), ("second", "2026-03-18", "transparency = 0.8\nsky_factor = 1.5")];
    // The same seed has the same stars.
    for (name, evening, keys) in nights {
        write("sensor.toml", &sensor(evening, 1, keys));
        let simulate = subwell()
            .args(["-q", "simulate"])
            .arg(folder.path().join("sensor.toml"))
            .arg("--out")
            .arg(folder.path().join(name))
            .assert();
        simulate.success();
    }
    folder
}

fn json(folder: &Path, words: &[&str], exit: i32) -> Value {
    valid(&subwell().current_dir(folder).arg("-q").args(words).arg("--json").assert().code(exit).get_output().stdout)
}

#[test]
fn nights_are_joined_and_what_is_left_is_planned() {
    let folder = desk();
    let one = |name: &str| {
        json(folder.path(), &["review", name, "--night", "night.toml"], 0)["achieved_snr"]["value"].as_f64().unwrap()
    };
    let (first, second) = (one("first"), one("second"));
    assert!(second < first);
    // In any order.
    let both = json(folder.path(), &["review", "second", "first", "--night", "night.toml"], 0);
    assert_eq!(both["format"], "subwell.campaign");
    let evenings: Vec<&str> =
        both["nights"].as_array().unwrap().iter().map(|night| night["evening"].as_str().unwrap()).collect();
    assert_eq!(evenings, ["2026-03-16", "2026-03-18"]);
    // The haze of the second night lasted all night: the first one's stars show it.
    let light = both["nights"][1]["filters"][0]["starlight"]["value"].as_f64().unwrap();
    assert!((light / 0.8 - 1.0).abs() < 0.03, "{light}");
    let joined = both["filters"][0]["snr"]["value"].as_f64().unwrap();
    assert!((joined - first.hypot(light * second)).abs() < 1e-9 * joined, "{joined} {first} {second}");
    let done = both["filters"][0]["done_percent"].as_f64().unwrap();
    assert!((done - 100.0 * (joined / 60.0_f64).powi(2)).abs() < 1e-9);
    // What is left begins after the last evening, and lacks what is there.
    let nights = both["schedule"]["nights"].as_array().unwrap();
    assert!(nights[0]["date"].as_str().unwrap() > "2026-03-18");
    let whole = json(folder.path(), &["plan", "night.toml"], 0)["wall_clock_s"].as_f64().unwrap() / 3600.0;
    let left = both["hours_left"].as_f64().unwrap();
    assert!(left < whole && left > 0.0, "{left} {whole}");
    // The plan counts what is written as what was achieved.
    json(folder.path(), &["review", "first", "second", "--night", "night.toml", "--write-already"], 0);
    let text = fs::read_to_string(folder.path().join("night.toml")).unwrap();
    assert!(text.contains("# my own words") && text.contains("snr = 60.0 # deep"), "{text}");
    assert_eq!(text.matches("[[goal.already]]").count(), 2, "{text}");
    let planned = json(folder.path(), &["plan", "night.toml"], 0);
    let in_hand = planned["filters"][0]["in_hand"]["snr"].as_f64().unwrap();
    assert!((in_hand / joined - 1.0).abs() < 2e-3, "{in_hand} {joined}");
    // Written again it is not counted twice, nor by who reads both.
    json(folder.path(), &["review", "first", "second", "--night", "night.toml", "--write-already"], 0);
    json(folder.path(), &["review", "second", "--night", "night.toml", "--write-already"], 0);
    assert_eq!(fs::read_to_string(folder.path().join("night.toml")).unwrap().matches("[[goal.already]]").count(), 2);
    let again = json(folder.path(), &["review", "first", "second", "--night", "night.toml"], 0);
    assert!((again["filters"][0]["snr"]["value"].as_f64().unwrap() / joined - 1.0).abs() < 1e-9);
    // A folder that is given twice is one night.
    let campaign = json(folder.path(), &["review", "second", "second", "--night", "night.toml"], 0);
    assert_eq!(campaign["nights"].as_array().unwrap().len(), 1);
    assert!(campaign["caveats"].to_string().contains("duplicate-frame"), "{}", campaign["caveats"]);
    // Who watches an evening that is written already does not count it twice.
    let run = subwell()
        .current_dir(folder.path())
        .args([
            "-q",
            "watch",
            "second",
            "--night",
            "night.toml",
            "--json",
            "--settle-s",
            "0.05",
            "--end-after",
            "0.001",
        ])
        .assert();
    let text = String::from_utf8(run.success().get_output().stdout.clone()).unwrap();
    let lines = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let subs: Vec<Value> = lines.filter(|line| line["kind"] == "sub").collect();
    // They came together: the last one says how far the stack is.
    let sub = subs.last().unwrap();
    assert!(subs.len() > 1 && subs.iter().filter(|sub| sub["stack"].is_null()).count() == subs.len() - 1);
    let in_hand = sub["stack"]["snr_in_hand"].as_f64().unwrap();
    assert!((in_hand / first - 1.0).abs() < 5e-3, "{in_hand} {first}");
}

/// Lights of two evenings in one folder: the review is told and the sky is written; why the hours are not, is said.
#[test]
fn hours_of_several_evenings_are_not_counted_and_the_rest_is_done() {
    let folder = desk();
    fs::create_dir(folder.path().join("both")).unwrap();
    for name in ["first", "second"] {
        fs::rename(folder.path().join(name), folder.path().join("both").join(name)).unwrap();
    }
    let words = ["-q", "review", "both", "--night", "night.toml", "--write", "--write-already"];
    let run = subwell().current_dir(folder.path()).args(words).assert().success();
    let (out, told) = (&run.get_output().stdout, &run.get_output().stderr);
    let [out, told] = [out, told].map(|bytes| String::from_utf8_lossy(bytes).into_owned());
    assert!(out.contains("40 lights against the night file") && out.contains("sky written to night.toml"), "{out}");
    for word in ["`both`", "2026-03-16", "2026-03-18", "not counted"] {
        assert!(told.contains(word), "{word}: {told}");
    }
    let text = fs::read_to_string(folder.path().join("night.toml")).unwrap();
    assert!(text.contains("e_per_s") && !text.contains("already"), "{text}");
}

/// Each filter of an evening has an entry of its own, whatever folder it was reviewed from; `[goal]` in one line takes them too.
#[test]
fn filters_of_an_evening_are_written_beside_each_other() {
    let folder = desk();
    let two = NIGHT
        .replace("[target]", "[[filters]]\nname = \"h-alpha\"\n[target]")
        .replace("surface_brightness_mag = 22.0", "surface_brightness_mag = 22.0\nline_rayleigh = 100.0");
    let (before, _) = two.split_once("[goal]").unwrap();
    fs::write(folder.path().join("night.toml"), format!("goal = {{ snr = 60.0, date = \"2026-03-16\" }}\n{before}"))
        .unwrap();
    fs::write(
        folder.path().join("sensor.toml"),
        sensor("2026-03-16", 1, "").replace("filter = \"L\"", "filter = \"Ha\""),
    )
    .unwrap();
    subwell().current_dir(folder.path()).args(["-q", "simulate", "sensor.toml", "--out", "narrow"]).assert().success();
    json(folder.path(), &["review", "first", "--night", "night.toml", "--write-already"], 0);
    json(folder.path(), &["review", "narrow", "--night", "night.toml", "--write-already"], 0);
    let text = fs::read_to_string(folder.path().join("night.toml")).unwrap();
    assert_eq!(text.matches("[[goal.already]]").count(), 2, "{text}");
    assert!(text.contains("filter = \"luminance\"") && text.contains("filter = \"h-alpha\""), "{text}");
}

/// A copy of a light is the same light.
#[test]
fn a_light_that_lies_there_twice_is_one() {
    let folder = desk();
    let light = folder.path().join("first/light/light_0003.fits");
    fs::copy(&light, folder.path().join("first/light/light_0003 (copy).fits")).unwrap();
    let review = json(folder.path(), &["review", "first", "--night", "night.toml"], 0);
    assert_eq!(review["subs"].as_array().unwrap().len(), 20);
    assert!(review["left_out"].to_string().contains("duplicate-frame"), "{}", review["left_out"]);
}

#[test]
fn words_of_a_campaign_that_do_not_fit_are_refused() {
    let folder = desk();
    let code = |words: &[&str]| json(folder.path(), words, 2)["code"].as_str().unwrap().to_owned();
    assert_eq!(code(&["review", "first", "second", "--night", "night.toml", "--write"]), "usage");
    assert_eq!(code(&["review", "first", "--night", "night.toml", "--night", "night.toml"]), "usage");
    let text = subwell()
        .current_dir(folder.path())
        .args(["-q", "review", "first", "second", "--night", "night.toml"])
        .assert()
        .success();
    let text = String::from_utf8(text.get_output().stdout.clone()).unwrap();
    println!("{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 90), "{text}");
    assert!(text.contains("h are left, in"), "{text}");
}
