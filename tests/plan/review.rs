//! `subwell review` on made-up nights whose clouds, moonlight and dew are known.

use std::path::Path;

use serde_json::Value;
use subwell::camera::{CameraProfile, PlaneName};
use subwell::frames::FrameKind;
use subwell::night::Night;
use subwell::report::review_text;
use subwell::review::{Review, Sign};
use subwell::sensor::{DarkMaster, LightMeter};
use subwell::simulate::{SensorTruth, frames};
use subwell::units::Colour;

use crate::support::program::subwell;

/// The quiet sky of every night in e-/s, in a pixel that sees all of it.
const SKY: f64 = 6.0;
const SKY_WITHIN: f64 = 0.03;

const SENSOR: &str = "width_px = 288\nheight_px = 224\ngain_e_per_adc_step = 0.8\nread_noise_e = 1.6\noffset_dn = 240\n\
                      prnu_percent = 0.5\ndsnu_e = 0.4\ndark_e_per_s = 0.02\nhot_pixel_fraction = 0.0003\n\
                      full_well_e = 20000\nstars_per_frame = 50\nsky_gradient_percent = 6.0\ngain_setting = 100\n\
                      level_jitter_dn = 0.2\nstart = \"2026-03-16T19:30:00\"\n";
const COLOUR: &str = "cfa = \"RGGB\"\nlight_colour = { R = 0.7, G = 1.0, B = 0.6 }\n";
const NIGHT: &str = "[camera]\nprofile = \"camera.toml\"\ngain_setting = 100\ncooled = true\nsensor_c = -10.0\n[optics]\n\
                     aperture_mm = 80.0\nfocal_length_mm = 400.0\n[site]\nsky = { mag_per_arcsec2 = 19.0 }\nSITE\
                     seeing_arcsec = 4.0\n[[filters]]\nname = \"FILTER\"\n[target]\n\
                     surface_brightness_mag = 22.0\naltitude_deg = 60.0\n[goal]\nsnr = 20.0\n";

fn camera(colour: bool) -> String {
    let plane = |name: &str, colour: &str| {
        format!(
            "[[modes.planes]]\nplane = \"{name}\"\n{colour}gain_e_per_dn = {{ value = 0.8, uncertainty = 0.008 }}\n\
             offset_dn = {{ value = 240.0, uncertainty = 0.1 }}\nread_noise_e = {{ value = 1.6, uncertainty = 0.02 }}\n\
             saturation_e = 13000.0\n[[modes.planes.dark_current]]\nsensor_c = -10.0\n\
             e_per_s = {{ value = 0.0073, uncertainty = 0.0003 }}\n"
        )
    };
    let planes = if colour {
        [("r0c0", "R"), ("r0c1", "G"), ("r1c0", "G"), ("r1c1", "B")]
            .map(|(name, colour)| plane(name, &format!("colour = \"{colour}\"\nsampling = 0.25\n")))
            .concat()
    } else {
        plane("mono", "")
    };
    format!(
        "camera = \"made up\"\nprovenance = \"published\"\nsource = \"invented\"\n[[modes]]\ngain_setting = 100\n\
         pixel_um = 3.8\nwidth_px = 288\nheight_px = 224\n{planes}"
    )
}

fn night_text(site: &str, colour: bool) -> String {
    NIGHT.replace("SITE", site).replace("FILTER", if colour { "none" } else { "luminance" })
}

/// A stretch of lights: how many, and the keys that say what happens to them.
struct Stretch {
    count: usize,
    keys: &'static str,
    /// Whether it is to be named: its stars, sky or widths differ from the quiet ones by about a tenth at least (at 4 % one
    /// of the two changes of dew).
    affected: bool,
}

const fn stretch(count: usize, keys: &'static str, affected: bool) -> Stretch {
    Stretch { count, keys, affected }
}

fn sensor(seed: u64, colour: bool, stretches: &[Stretch]) -> String {
    let light = |stretch: &Stretch| {
        format!(
            "[[frames]]\nkind = \"light\"\ncount = {}\nexposure_s = 60.0\nsensor_c = -10.0\nlight_e_per_s = {SKY:?}\n\
             step_px = [2, 1]\n{}\n",
            stretch.count, stretch.keys
        )
    };
    let lights: String = stretches.iter().map(light).collect();
    format!(
        "seed = {seed}\n{}{SENSOR}{lights}[[frames]]\nkind = \"dark\"\ncount = 6\nexposure_s = 60.0\nsensor_c = -10.0\n",
        if colour { COLOUR } else { "" }
    )
}

/// The review of a made-up night, as the program makes it but without files.
fn reviewed(seed: u64, colour: bool, stretches: &[Stretch]) -> Review {
    let truth = SensorTruth::from_toml(&sensor(seed, colour, stretches)).unwrap();
    let profile = CameraProfile::from_toml(&camera(colour)).unwrap();
    let night = Night::from_toml(&night_text("", colour)).unwrap();
    let mut dark = DarkMaster::new(truth.width_px, truth.height_px);
    frames(&truth).filter(|frame| frame.info.kind == FrameKind::Dark).for_each(|frame| dark.add(&frame).unwrap());
    let mut meter = LightMeter::new(&profile.modes[0]);
    let lights: Vec<_> = frames(&truth)
        .filter(|frame| frame.info.kind == FrameKind::Light)
        .map(|frame| meter.measure(&frame, &dark).unwrap())
        .collect();
    Review::new(&night, &profile, &lights, Vec::new(), Vec::new()).unwrap()
}

/// Nine tenths of the affected subs are named with one of these signs, none of the others is, and the sky of the others
/// is the true one.
fn check(what: &str, review: &Review, stretches: &[Stretch], expected: &[Sign]) {
    let affected: Vec<bool> = stretches.iter().flat_map(|s| std::iter::repeat_n(s.affected, s.count)).collect();
    assert_eq!(review.subs.len(), affected.len());
    let (mut named, mut wanted, mut worst) = (0, 0, 0.0_f64);
    for sub in &review.subs {
        let value = |estimate: Option<subwell::stats::Estimate<f64>>| estimate.map_or(0.0, |estimate| estimate.value);
        println!(
            "{what} {}: {:?} keep {} sky {:.3} light {:.3} width {:.2} stars {}",
            sub.file,
            sub.signs,
            sub.keep,
            sub.sky_over_quiet,
            value(sub.starlight),
            value(sub.fwhm_px),
            sub.star_count
        );
    }
    for (sub, affected) in review.subs.iter().zip(&affected) {
        if *affected {
            wanted += 1;
            named += usize::from(sub.signs.iter().any(|sign| expected.contains(sign)));
            assert!(!sub.why.is_empty() || sub.signs.is_empty());
        } else {
            assert!(sub.signs.is_empty() && sub.keep && sub.why.is_empty(), "{what}: {sub:?}");
            for plane in &sub.planes {
                let truth = match plane.colour {
                    Some(Colour::Red) => 0.7 * SKY,
                    Some(Colour::Blue) => 0.6 * SKY,
                    _ => SKY,
                };
                let off = plane.sky_e_per_s.unwrap().value.0 / truth - 1.0;
                worst = if off.abs() > worst.abs() { off } else { worst };
                assert!(off.abs() < SKY_WITHIN, "{what}: {} {off}", plane.plane);
            }
        }
    }
    println!("{what}: {named} of {wanted} named, the others' sky within {:+.2} %", 100.0 * worst);
    assert!(named as f64 >= 0.9 * f64::from(wanted), "{what}: {named} of {wanted}");
}

/// Every case on a monochrome and on a colour sensor, with another seed each.
fn on_both(what: &str, stretches: &[Stretch], expected: &[Sign]) -> Vec<Review> {
    [(11, false), (12, true)]
        .map(|(seed, colour)| {
            let review = reviewed(seed, colour, stretches);
            check(what, &review, stretches, expected);
            review
        })
        .into()
}

#[test]
fn on_clean_nights_nothing_is_named() {
    for seed in 1..=4 {
        let stretches = [stretch(16, "", false)];
        let review = reviewed(seed, seed % 2 == 0, &stretches);
        check("clean", &review, &stretches, &[]);
        assert_eq!((review.subs_dropped, review.hours_dropped), (0, 0.0));
        assert!(review.advice[0].starts_with("Keep all"), "{:?}", review.advice);
        assert_eq!(review.snr_if_all_kept.unwrap(), review.achieved_snr.unwrap().value);
    }
}

#[test]
fn a_cloud_is_named_and_its_thick_part_left_out() {
    let stretches = [
        stretch(8, "", false),
        stretch(5, "transparency = [0.85, 0.15]\nsky_factor = [1.05, 1.4]", true),
        stretch(4, "transparency = [0.2, 0.85]\nsky_factor = [1.4, 1.05]", true),
        stretch(7, "", false),
    ];
    for review in on_both("a cloud", &stretches, &[Sign::Cloud]) {
        let kept = |at: usize| review.subs[at].keep;
        assert!(
            kept(8) && !kept(12) && !kept(13) && kept(16),
            "{:?}",
            review.subs.iter().map(|s| s.keep).collect::<Vec<_>>()
        );
        // The share of the light is that of the truth.
        for (at, truth) in [(8, 0.85), (10, 0.5), (16, 0.85)] {
            let share = review.subs[at].starlight.unwrap().value;
            assert!((share / truth - 1.0).abs() < 0.06, "{at}: {share}");
        }
        // Leaving out what is dropped makes the stack better, and it is said by how much.
        assert!(review.achieved_snr.unwrap().value > review.snr_if_all_kept.unwrap());
        assert!(review.advice[0].starts_with("Leave out"), "{}", review.advice[0]);
    }
}

/// A cloud over the country darkens the sky: it is no quiet sky.
#[test]
fn a_dark_cloud_is_no_quiet_sky() {
    let stretches = [stretch(10, "", false), stretch(8, "transparency = 0.4\nsky_factor = 0.7", true)];
    on_both("a dark cloud", &stretches, &[Sign::Cloud]);
}

#[test]
fn a_rising_moon_is_told_from_cloud() {
    let stretches = [stretch(10, "", false), stretch(14, "sky_factor = [1.12, 3.0]", true)];
    for review in on_both("a rising Moon", &stretches, &[Sign::Moon, Sign::BrightSky]) {
        assert!(review.subs.iter().all(|sub| !sub.signs.contains(&Sign::Cloud)));
        let first = &review.subs[10];
        assert!(first.keep && first.worth_percent > 80.0, "{first:?}");
        assert!(review.effective_hours < 0.9 * (review.hours_kept + review.hours_dropped));
    }
}

#[test]
fn growing_dew_is_told_from_cloud_and_moon() {
    let stretches =
        [stretch(10, "", false), stretch(10, "star_width_factor = [1.12, 1.9]\ntransparency = [0.96, 0.55]", true)];
    for review in on_both("dew", &stretches, &[Sign::Dew]) {
        let last = review.subs.last().unwrap();
        assert!(last.fwhm_px.unwrap().value > 1.5 * review.subs[0].fwhm_px.unwrap().value);
        assert!(review.advice.iter().any(|advice| advice.contains("low-voltage")), "{:?}", review.advice);
    }
}

#[test]
fn a_nebula_over_two_fifths_of_the_field_is_named_and_kept() {
    let stretches = [stretch(8, "", false), stretch(8, "nebula_fraction = 0.4", true)];
    for review in on_both("a nebula", &stretches, &[Sign::Nebula]) {
        assert!(review.subs.iter().all(|sub| sub.keep));
    }
}

#[test]
fn the_noise_of_a_sub_is_measured_and_foretold() {
    let review = reviewed(5, false, &[stretch(6, "", false)]);
    // Poisson of 60 s of 6.0073 e-/s, 1.6 e- of read noise, one step of 0.8 e- in quantisation.
    let truth = (60.0 * (SKY + 0.0073) + 1.6 * 1.6 + 0.64 / 12.0_f64).sqrt();
    for sub in &review.subs {
        let noise = sub.noise_e.unwrap().value.0;
        assert!((noise / truth - 1.0).abs() < 0.03, "{noise} {truth}");
        assert!((sub.fwhm_px.unwrap().value / 3.0 - 1.0).abs() < 0.12, "{:?}", sub.fwhm_px);
    }
    // The dither is seen: two to the right, one down.
    assert_eq!(review.filters[0].dither_positions, Some(6));
    let moved = |at: usize| review.subs[at].moved_px.unwrap();
    assert!((moved(5)[0] - moved(0)[0] - 10.0).abs() < 0.3 && (moved(5)[1] - moved(0)[1] - 5.0).abs() < 0.3);
}

/// SNR of the mean of N like subs, written out here from the plan's own rates.
#[test]
fn the_achieved_snr_is_that_of_the_ccd_equation() {
    let review = reviewed(6, false, &[stretch(12, "", false)]);
    let night = Night::from_toml(&night_text("", false)).unwrap();
    let profile = CameraProfile::from_toml(&camera(false)).unwrap();
    let conditions = subwell::night::Conditions::new(&night, &profile.modes[0]).unwrap();
    let plane = &conditions.filters[0].planes[0];
    let target = plane.noise.rates.target.0;
    let sky = review.sky_e_per_s.unwrap().value.0;
    let sub = 60.0 * (target + sky + 0.0073) + 1.6 * 1.6 + 0.64 / 12.0;
    let snr = 60.0 * target * (12.0 * plane.patch.pixels / sub).sqrt();
    let achieved = review.achieved_snr.unwrap().value;
    // Masters, clipping and the starlight's own scatter take a little.
    assert!((0.93..=1.005).contains(&(achieved / snr)), "{achieved} {snr}");
}

#[test]
fn a_few_lights_and_lights_without_stars_are_answered() {
    for count in 1..=3 {
        let review = reviewed(7, false, &[stretch(count, "", false)]);
        assert_eq!(review.subs_kept, count);
        assert!(review.caveats.iter().any(|caveat| caveat.code == "few-lights"));
        assert!(review_text(&review).lines().all(|line| line.chars().count() <= 80), "{}", review_text(&review));
    }
    let truth = sensor(8, false, &[stretch(5, "", false)]).replace("stars_per_frame = 50", "stars_per_frame = 0");
    let truth = SensorTruth::from_toml(&truth).unwrap();
    let profile = CameraProfile::from_toml(&camera(false)).unwrap();
    let night = Night::from_toml(&night_text("", false)).unwrap();
    let dark = DarkMaster::of_levels(288, 224, &[(PlaneName::Mono, subwell::units::Dn(240.5))]);
    let mut meter = LightMeter::new(&profile.modes[0]);
    let lights: Vec<_> = frames(&truth).take(5).map(|frame| meter.measure(&frame, &dark).unwrap()).collect();
    let review = Review::new(&night, &profile, &lights, Vec::new(), Vec::new()).unwrap();
    assert_eq!(review.subs_kept, 5);
    assert!(review.caveats.iter().any(|caveat| caveat.code == "no-stars"));
    assert!(review.subs.iter().all(|sub| sub.fwhm_px.is_none() && sub.starlight.is_none() && sub.signs.is_empty()));
}

/// Rows do not run from one evening into the next, and the head names both dates.
#[test]
fn several_evenings_are_told_apart() {
    let mut review = reviewed(9, false, &[stretch(6, "", false)]);
    let times =
        ["12T22:58", "12T23:59", "13T01:10", "13T20:30", "13T21:31", "14T00:20"].map(|end| format!("2026-10-{end}"));
    for (sub, when) in review.subs.iter_mut().zip(&times) {
        sub.when = Some(when.clone());
    }
    (review.night.from, review.night.to) = (times.first().cloned(), times.last().cloned());
    let text = review_text(&review);
    assert!(text.contains("2026-10-12 22:58 to 2026-10-14 00:20 local time"), "{text}");
    let at = |words: &str| text.find(words).unwrap_or_else(|| panic!("{words}: {text}"));
    let order = ["evening of 2026-10-12", "22:58", "01:10", "evening of 2026-10-13", "20:30", "00:20 "];
    let timeline = text.find("evening of").unwrap();
    let places =
        order.map(
            |words| {
                if words.contains("evening") { at(words) } else { timeline + text[timeline..].find(words).unwrap() }
            },
        );
    assert!(places.is_sorted(), "{places:?} {text}");
}

/// A night on the disk, its lights and darks beside each other.
fn desk(sensor: &str, night: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    write("camera.toml", &camera(false));
    write("night.toml", night);
    write("sensor.toml", sensor);
    let simulate = |out: &Path| {
        subwell()
            .args(["-q", "simulate"])
            .arg(folder.path().join("sensor.toml"))
            .arg("--out")
            .arg(out)
            .assert()
            .success();
    };
    simulate(&folder.path().join("lights"));
    folder
}

fn run(folder: &Path, dir: &str, more: &[&str], exit: i32) -> String {
    let run = subwell()
        .args(["-q", "review"])
        .arg(folder.join(dir))
        .arg("--night")
        .arg(folder.join("night.toml"))
        .args(more)
        .assert()
        .code(exit);
    let output = run.get_output();
    String::from_utf8_lossy(if exit == 0 || more.contains(&"--json") { &output.stdout } else { &output.stderr })
        .into_owned()
}

/// Over this place the Moon of 7 March 2026, four days after full, rises late in the evening (the almanac's own proof stands
/// in `tests/published/astropy_night.rs`).
const PLACE: &str = "latitude_deg = 45.0\nlongitude_deg = 21.0\nutc_offset_h = 1.0\n";

/// Every light is in the timeline's table as in the JSON, kept ones as circles and the others as crosses.
fn the_report_shows_every_sub(folder: &Path, json: &Value) {
    let file = folder.join("review.html");
    let words = ["--report", file.to_str().unwrap()];
    run(folder, "lights", &words, 0);
    let page = std::fs::read_to_string(&file).unwrap();
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..roxmltree::ParsingOptions::default() };
    let document = roxmltree::Document::parse_with_options(&page, options).unwrap();
    let title = document.descendants().find(|node| node.attribute("id") == Some("night-0-t")).unwrap();
    let figure = title.ancestors().find(|node| node.has_tag_name("figure")).unwrap();
    let body = figure.descendants().find(|node| node.has_tag_name("tbody")).unwrap();
    let rows: Vec<Vec<&str>> = body
        .children()
        .filter(|node| node.has_tag_name("tr"))
        .map(|row| {
            row.children().filter(|cell| cell.has_tag_name("td")).map(|cell| cell.text().unwrap_or_default()).collect()
        })
        .collect();
    let subs = json["subs"].as_array().unwrap();
    assert_eq!(rows.len(), subs.len());
    for (row, sub) in rows.iter().zip(subs) {
        assert_eq!(row[0] == "kept", sub["keep"].as_bool().unwrap());
        assert_eq!(row[1], sub["when"].as_str().unwrap().split('T').nth(1).unwrap());
        let sky = sub["sky_e_per_s"]["value"].as_f64().unwrap();
        assert!((row[2].parse::<f64>().unwrap() / sky - 1.0).abs() < 1e-3, "{} {sky}", row[2]);
        assert_eq!(row[8], sub["file"].as_str().unwrap());
    }
    let kept = subs.iter().filter(|sub| sub["keep"] == true).count();
    let picture = figure.children().find(|node| node.has_tag_name("svg")).unwrap();
    let of = |tag: &str, class: &str| {
        picture.descendants().filter(|node| node.has_tag_name(tag) && node.attribute("class") == Some(class)).count()
    };
    // Three panels: sky, width, starlight; a cross is two lines.
    assert_eq!(of("circle", "used"), 3 * kept);
    assert_eq!(of("polyline", "dropped"), 3 * 2 * (subs.len() - kept));
    assert!(page.len() < 2_000_000);
    // Not over a file that is there.
    run(folder, "lights", &words, 2);
    std::fs::remove_file(file).unwrap();
}

#[test]
fn the_program_reviews_a_folder_and_writes_the_sky_back() {
    let sensor = sensor(21, false, &[stretch(8, "", false), stretch(3, "transparency = 0.1", true)]);
    let folder = desk(&sensor, &night_text(PLACE, false));
    let text = run(folder.path(), "lights", &[], 0);
    println!("{text}");
    for words in ["quiet sky", "leave out 3 subs", "for the next night", "Sub length", "cloud"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let json: Value = crate::support::schemas::valid(run(folder.path(), "lights", &["--json"], 0).as_bytes());
    assert_eq!(json["format"], "subwell.review");
    for key in ["subs", "sky_e_per_s", "predicted_sky_e_per_s", "achieved_snr", "advice", "caveats"] {
        assert!(!json[key].is_null(), "{key}");
    }
    for key in
        ["file", "sky_e_per_s", "noise_e", "fwhm_px", "keep", "why", "when", "predicted_sky_e_per_s", "star_count"]
    {
        assert!(!json["subs"][0][key].is_null(), "{key}");
    }
    assert_eq!(json["subs"][0]["when"], "2026-03-16T20:31");
    assert!(!json["caveats"].to_string().contains("dark-from-profile"), "{}", json["caveats"]);
    the_report_shows_every_sub(folder.path(), &json);
    let text = run(folder.path(), "lights", &["--write"], 0);
    assert!(text.contains("written to"), "{text}");
    let night = std::fs::read_to_string(folder.path().join("night.toml")).unwrap();
    assert!(night.contains("e_per_s = { value = 6.") || night.contains("e_per_s = { value = 5.9"), "{night}");
    // Read again, the file's sky is the measured one.
    let json: Value = crate::support::schemas::valid(run(folder.path(), "lights", &["--json"], 0).as_bytes());
    assert!(json["sky_fainter_by_mag"]["value"].as_f64().unwrap().abs() < 0.05, "{}", json["sky_fainter_by_mag"]);

    // Without the darks the camera profile stands in, and it is said.
    std::fs::rename(folder.path().join("lights/light"), folder.path().join("alone")).unwrap();
    let json: Value = crate::support::schemas::valid(run(folder.path(), "alone", &["--json"], 0).as_bytes());
    assert!(json["caveats"].to_string().contains("dark-from-profile"));
    let sky = json["sky_e_per_s"]["value"].as_f64().unwrap();
    assert!((sky / SKY - 1.0).abs() < SKY_WITHIN, "{sky}");

    // Folders without lights are named with the cure.
    let error = run(folder.path(), "lights", &[], 1);
    assert!(error.contains("no lights") && error.contains("hint"), "{error}");
    std::fs::create_dir(folder.path().join("empty")).unwrap();
    let error = run(folder.path(), "empty", &["--json"], 1);
    assert!(error.contains("nothing-to-review"), "{error}");
}

#[test]
fn the_moon_of_the_evening_is_followed() {
    let sensor = sensor(22, false, &[stretch(6, "", false), stretch(10, "sky_factor = [1.2, 2.4]", true)])
        .replace("exposure_s = 60.0", "exposure_s = 300.0")
        .replace("2026-03-16T19:30:00", "2026-03-07T21:00:00")
        .replace("light_e_per_s = 6.0", "light_e_per_s = 2.0");
    let folder = desk(&sensor, &night_text(PLACE, false).replace("19.0 }", "20.6 }"));
    let json: Value = crate::support::schemas::valid(run(folder.path(), "lights", &["--json"], 0).as_bytes());
    let subs = json["subs"].as_array().unwrap();
    let moon = |at: usize| subs[at]["moon_altitude_deg"].as_f64().unwrap();
    let told = |at: usize| subs[at]["predicted_sky_e_per_s"].as_f64().unwrap();
    println!("{} {} {} {}", moon(0), moon(15), told(0), told(15));
    assert!(moon(0) < 0.0 && moon(15) > 3.0, "{} {}", moon(0), moon(15));
    assert!(told(15) > 1.1 * told(0));
    assert!(subs[15]["signs"].to_string().contains("moon"), "{}", subs[15]);
    assert!(json["advice"].to_string().contains("Moon"), "{}", json["advice"]);
}

#[test]
fn strangers_among_the_lights_are_caveats() {
    let more = "[[frames]]\nkind = \"light\"\ncount = 1\nexposure_s = 30.0\nsensor_c = -10.0\nlight_e_per_s = 6.0\n\
                [[frames]]\nkind = \"light\"\ncount = 1\nexposure_s = 60.0\nsensor_c = -10.0\nlight_e_per_s = 6.0\n\
                filter = \"Ha\"\n[[frames]]\nkind = \"flat\"\ncount = 1\nexposure_s = 1.0\nlight_e_per_s = 5000.0\n";
    let sensor = format!("{}{more}", sensor(23, false, &[stretch(5, "filter = \"L\"", false)]));
    let folder = desk(&sensor, &night_text("", false));
    let json: Value = crate::support::schemas::valid(run(folder.path(), "lights", &["--json"], 0).as_bytes());
    let codes = json["caveats"].to_string();
    for code in ["several-exposures", "conflicting-filter"] {
        assert!(codes.contains(code), "{code}: {codes}");
    }
    assert_eq!(json["left_out"].as_array().unwrap().len(), 1, "{}", json["left_out"]);
    // Another gain than the profile knows: every light is left out, and it is said why.
    let folder = desk(&sensor.replace("gain_setting = 100", "gain_setting = 7"), &night_text("", false));
    let error = run(folder.path(), "lights", &[], 1);
    assert!(error.contains("gain"), "{error}");
    // No dates at all.
    let json: Value = crate::support::schemas::valid(run(folder.path(), "nowhere", &["--json"], 2).as_bytes());
    assert_eq!(json["format"], "subwell.error");
}
