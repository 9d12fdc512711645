//! The sky: measured on simulated lights of known sky, and derived factor by factor as scripts see it.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;
use subwell::camera::PlaneName;
use subwell::frames::Frame;
use subwell::rig::{Detector, Filter, LightChain, Optics};
use subwell::sensor::{BackgroundOptions, background, star_flux};
use subwell::simulate::{SensorTruth, frames};
use subwell::sky::{Lamps, photon_density};
use subwell::stats::Estimate;
use subwell::units::{Band, Colour, ElectronsPerDn, Micrometres, Millimetres, Nanometres};

use crate::support::program::subwell;

/// The sky of every simulated light in e-/s.
const SKY: f64 = 9.0;
/// What a sky rate may be off by: the promise of the measurement.
const TWO_PERCENT: f64 = 0.02;

pub(crate) const SENSOR: &str = "width_px = 480\nheight_px = 320\ngain_e_per_adc_step = 0.8\nread_noise_e = 1.6\n\
                      prnu_percent = 0.6\ndsnu_e = 0.5\ndark_e_per_s = 0.02\nhot_pixel_fraction = 0.0005\n\
                      full_well_e = 20000\n";
pub(crate) const FRAMES: &str = "[[frames]]\nkind = \"light\"\nexposure_s = 60.0\nsensor_c = -10.0\nlight_e_per_s = 9.0\n\
                      [[frames]]\nkind = \"dark\"\nexposure_s = 60.0\nsensor_c = -10.0\n";

pub(crate) fn light_and_dark(keys: &str, frames_asked: &str) -> (Frame, Frame) {
    let truth = SensorTruth::from_toml(&format!("{SENSOR}{keys}{frames_asked}")).unwrap();
    let mut frames = frames(&truth);
    (frames.next().unwrap(), frames.next().unwrap())
}

fn measured(keys: &str) -> subwell::camera::Background {
    let (light, dark) = light_and_dark(keys, FRAMES);
    let options = BackgroundOptions { gain: Some(ElectronsPerDn(0.8)), ..BackgroundOptions::default() };
    background(&light, &dark, options).unwrap()
}

fn has(measured: &subwell::camera::Background, code: &str) -> bool {
    measured.caveats.iter().any(|caveat| caveat.code == code)
}

#[test]
fn the_sky_of_a_light_is_measured_within_two_percent() {
    for keys in [
        "",
        "stars_per_frame = 600\n",
        "sky_gradient_percent = 15.0\nstars_per_frame = 300\n",
        "sky_gradient_percent = 10.0\nstars_per_frame = 300\nvignetting_percent = 15.0\n",
        "nebula_fraction = 0.15\nstars_per_frame = 300\n",
    ] {
        let measured = measured(keys);
        let rate = measured.planes[0].e_per_s;
        println!("{keys:?}: {:.3} ± {:.3}, {:?}", rate.value.0, rate.uncertainty.0, measured.planes[0]);
        assert!((rate.value.0 / SKY - 1.0).abs() < TWO_PERCENT, "{keys}: {}", rate.value.0);
        assert!(rate.covers(SKY), "{keys}");
    }
}

#[test]
fn a_field_of_two_fifths_nebula_is_flagged_and_a_clean_one_is_not() {
    assert!(has(&measured("nebula_fraction = 0.4\nstars_per_frame = 300\n"), "nebula-in-frame"));
    for clean in ["", "stars_per_frame = 300\n", "sky_gradient_percent = 15.0\nstars_per_frame = 300\n"] {
        assert!(!has(&measured(clean), "nebula-in-frame"), "{clean}");
    }
}

#[test]
fn the_colours_of_an_array_are_measured_each_for_itself() {
    let measured = measured("cfa = \"RGGB\"\nlight_colour = { R = 0.5, G = 1.0, B = 0.7 }\nstars_per_frame = 200\n");
    for plane in &measured.planes {
        let share = match plane.colour {
            Some(Colour::Red) => 0.5,
            Some(Colour::Blue) => 0.7,
            _ => 1.0,
        };
        assert!((plane.e_per_s.value.0 / (SKY * share) - 1.0).abs() < TWO_PERCENT, "{plane:?}");
    }
}

#[test]
fn frames_that_do_not_belong_together_are_named() {
    let options = BackgroundOptions { gain: Some(ElectronsPerDn(0.8)), ..BackgroundOptions::default() };
    let warm = FRAMES.replacen("sensor_c = -10.0", "sensor_c = -4.0", 1);
    let (light, dark) = light_and_dark("", &warm);
    assert!(has(&background(&light, &dark, options).unwrap(), "dark-mismatch"));
    assert!(!has(&measured(""), "dark-mismatch"));
    // Swapped, the light is darker than the dark.
    assert!(background(&dark, &light, options).is_err());
}

/// Lamp factors of the trade's bands from the spectra of CIE 15:2018, computed apart from this program; 6 % because the
/// natural part of a bright sky is another light.
#[test]
fn sodium_and_led_differ_through_blue_and_h_alpha_by_their_spectra() {
    let light = |lamps, band: &Band| {
        photon_density(&Estimate::new(17.0, 0.0), lamps, band).value.0 / (9955.0 * 10_f64.powf(-6.8))
    };
    let array = Filter { name: Some("none".into()), ..Filter::default() };
    let detector = Detector { pixel: Micrometres(4.0), colour: Some(Colour::Blue), modified: false };
    let blue_pixels = array.passbands(&detector).unwrap().swap_remove(0).band;
    for (lamps, blue, array_blue, h_alpha) in [(Lamps::Sodium, 0.13, 0.17, 0.45), (Lamps::Led4000, 0.43, 0.57, 0.70)] {
        for (band, factor) in [
            (Band::window(Nanometres(450.0), Nanometres(108.0)), blue),
            (blue_pixels.clone(), array_blue),
            (Band::line(Nanometres(656.3)), h_alpha),
        ] {
            let found = light(lamps, &band);
            assert!((found / factor - 1.0).abs() < 0.06, "{lamps:?} {} nm: {found}", band.centre().0);
        }
    }
}

/// Medians of 43 stock cameras (an open set of measured sensitivities): red 0.26 of its peak at H-alpha, green 0.76 at
/// [O III]; without the infrared cut 0.75, which gains 2.5 to 4.
#[test]
fn a_stock_camera_sees_a_quarter_of_h_alpha_through_a_dual_band_filter() {
    let optics = Optics {
        aperture_mm: Millimetres(80.0),
        focal_length_mm: Millimetres(400.0),
        obstruction_mm: None,
        transmission: Some(1.0),
        throughput_ratio: None,
    };
    let dual = Filter { name: Some("dual".into()), transmission: Some(1.0), ..Filter::default() };
    let efficiency = |colour, modified| {
        let detector = Detector { pixel: Micrometres(4.0), colour: Some(colour), modified };
        LightChain::through(&optics, &dual, &detector).unwrap()[0].passband.line_efficiency.unwrap()
    };
    // Half at the green peak, red at 0.55 of that.
    assert!((efficiency(Colour::Red, false) - 0.5 * 0.55 * 0.26).abs() < 1e-9);
    assert!((efficiency(Colour::Green, false) - 0.5 * 0.76).abs() < 1e-9);
    let gain = efficiency(Colour::Red, true) / efficiency(Colour::Red, false);
    assert!((2.5..4.0).contains(&gain), "{gain}");
}

pub(crate) fn json(command: &mut Command, exit: i32) -> Value {
    let run = command.arg("--json").assert().code(exit);
    let output = run.get_output();
    crate::support::schemas::valid(&output.stdout)
}

fn number(value: &Value, pointer: &str) -> f64 {
    value.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("no number at {pointer} of {value}"))
}

pub(crate) const CAMERA: &str = "camera = \"a\"\nprovenance = \"published\"\nsource = \"invented\"\n[[modes]]\npixel_um = 3.76\n\
                      width_px = 480\nheight_px = 320\n[[modes.planes]]\nplane = \"mono\"\n\
                      gain_e_per_dn = { value = 0.8, uncertainty = 0.008 }\nread_noise_e = 1.6\nsaturation_e = 20000.0\n";
pub(crate) const NIGHT: &str = "# my night\n[camera]\nprofile = \"camera.toml\"\n[optics]\naperture_mm = 80.0\nfocal_length_mm = 400.0\n\
                     obstruction_mm = 20.0\ntransmission = 0.9\n[site]\nsky = { bortle = 7 } # a guess\nlamps = \"mixed\"\n\
                     [[filters]]\nname = \"luminance\"\ntransmission = 0.9\nwidth_nm = 300.0\nquantum_efficiency = 0.8\n\
                     [target]\nname = \"M33\"\n[goal]\nsnr = 5.0\n";

pub(crate) fn desk(night: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("camera.toml"), CAMERA).unwrap();
    let path = folder.path().join("night.toml");
    std::fs::write(&path, night).unwrap();
    (folder, path)
}

fn sky_of(night: &str) -> Value {
    let (_folder, path) = desk(night);
    json(subwell().args(["sky", "--night"]).arg(&path), 0)
}

fn factor(sky: &Value, name: &str) -> f64 {
    let factors = sky["planes"][0]["windows"][0]["factors"].as_array().unwrap();
    number(factors.iter().find(|factor| factor["name"] == name).unwrap(), "/value")
}

#[test]
fn one_input_changes_its_factor_and_the_rate_by_the_ratio() {
    let before = sky_of(NIGHT);
    let product: f64 =
        before["planes"][0]["windows"][0]["factors"].as_array().unwrap().iter().map(|f| number(f, "/value")).product();
    let rate = number(&before, "/planes/0/e_per_s/value");
    assert!((product / rate - 1.0).abs() < 1e-9);
    let f400 = |f: f64| (400.0 / f) * (400.0 / f);
    for (old, new, name, ratio) in [
        ("aperture_mm = 80.0", "aperture_mm = 100.0", "aperture", 1.5625),
        ("obstruction_mm = 20.0", "obstruction_mm = 40.0", "obstruction", 0.75 / 0.9375),
        ("focal_length_mm = 400.0", "focal_length_mm = 500.0", "plate scale", f400(500.0)),
        ("transmission = 0.9\n[site]", "transmission = 0.6\n[site]", "optics", 0.6 / 0.9),
        ("transmission = 0.9\nwidth", "transmission = 0.45\nwidth", "filter", 0.5),
        ("width_nm = 300.0", "width_nm = 150.0", "band", 0.5),
        ("quantum_efficiency = 0.8", "quantum_efficiency = 0.6", "quantum efficiency", 0.75),
    ] {
        let after = sky_of(&NIGHT.replace(old, new));
        let changed = factor(&after, name) / factor(&before, name);
        assert!((changed / ratio - 1.0).abs() < 1e-9, "{name}: {changed} and not {ratio}");
        let also = if name == "aperture" { 0.96 / 0.9375 } else { 1.0 };
        let rates = number(&after, "/planes/0/e_per_s/value") / rate;
        assert!((rates / (ratio * also) - 1.0).abs() < 1e-9, "{name}: {rates}");
    }
    let (folder, path) = desk(NIGHT);
    std::fs::write(folder.path().join("camera.toml"), CAMERA.replace("3.76", "7.52")).unwrap();
    let coarse = json(subwell().args(["sky", "--night"]).arg(&path), 0);
    assert!((factor(&coarse, "plate scale") / factor(&before, "plate scale") - 4.0).abs() < 1e-9);
    assert!((number(&coarse, "/planes/0/e_per_s/value") / rate - 4.0).abs() < 1e-9);
    // Two magnitudes of sky: the factor is exact, the spectrum moves with the natural part.
    let bright = sky_of(&NIGHT.replace("{ bortle = 7 }", "{ mag_per_arcsec2 = 16.5 }"));
    assert!((factor(&bright, "sky") / factor(&before, "sky") / 10_f64.powf(0.8) - 1.0).abs() < 1e-9);
    let sodium = sky_of(&NIGHT.replace("mixed", "sodium"));
    let spectrum = factor(&sodium, "sky spectrum") / factor(&before, "sky spectrum");
    assert!((number(&sodium, "/planes/0/e_per_s/value") / rate / spectrum - 1.0).abs() < 1e-9);
    assert!((spectrum / (0.76 / 0.80) - 1.0).abs() < 0.01, "{spectrum}");
}

/// What the mono filters' factors are for three lamps (spectra of CIE 15:2018 and of laboratory lamps, integrated apart
/// from this program): blue of 395 to 505 nm, and a line filter at H-alpha; low and high of what the spectra give.
#[test]
fn lamps_through_a_blue_and_an_h_alpha_filter() {
    let rows = [
        ("sodium", "blue", 0.12, 0.14),
        ("led-3000", "blue", 0.26, 0.28),
        ("led-4000", "blue", 0.42, 0.44),
        ("sodium", "h-alpha", 0.41, 0.49),
        ("led-3000", "h-alpha", 0.95, 1.11),
        ("led-4000", "h-alpha", 0.65, 0.77),
    ];
    for (lamps, filter, low, high) in rows {
        // A sky so bright that the natural light in it is one percent.
        let night = NIGHT
            .replace("{ bortle = 7 }", "{ mag_per_arcsec2 = 16.0 }")
            .replace("mixed", lamps)
            .replace("name = \"luminance\"\ntransmission = 0.9\nwidth_nm = 300.0", &format!("name = \"{filter}\""));
        let found = factor(&sky_of(&night), "sky spectrum");
        assert!((low..=high).contains(&found), "{lamps} through {filter}: {found}");
    }
}

/// What the sky's chain does not have and the target's does: the air. The ratio is that of 10^(−0.4 k X).
#[test]
fn extinction_dims_the_target_and_not_the_sky() {
    let night = NIGHT.replace("[[filters]]", "extinction_mag = 0.2\n[[filters]]");
    let night = night.replace("name = \"M33\"", "surface_brightness_mag = 22.0\naltitude_deg = 30.0");
    let rates = |night: &str| {
        let (_folder, path) = desk(night);
        let plan = json(subwell().arg("plan").arg(&path), 0);
        let rate = |which: &str| number(&plan, &format!("/filters/0/planes/0/rates_e_per_s/{which}"));
        (rate("target"), rate("sky"))
    };
    let before = rates(&night);
    // At 30° the air is 1.9943 (Kasten & Young 1989), at 60° 1.1540; extinction at the filter's 550 nm is V's within 2 %.
    let hazy = rates(&night.replace("extinction_mag = 0.2", "extinction_mag = 0.5"));
    let high = rates(&night.replace("altitude_deg = 30.0", "altitude_deg = 60.0"));
    assert!((hazy.0 / before.0 / 10_f64.powf(-0.4 * 0.3 * 1.9943) - 1.0).abs() < 0.02, "{}", hazy.0 / before.0);
    assert!((high.0 / before.0 / 10_f64.powf(0.4 * 0.2 * 0.8403) - 1.0).abs() < 0.01, "{}", high.0 / before.0);
    // Only the natural twentieth of this sky knows of extinction; the lamps brighten by 0.6 mag for each air of scattering,
    // 1.8898 at 30° and 1.1471 at 60°.
    assert!((hazy.1 / before.1 - 1.0).abs() < 0.02, "{}", hazy.1 / before.1);
    assert!((before.1 / high.1 / 10_f64.powf(0.4 * 0.6 * 0.7427) - 1.0).abs() < 0.02, "{}", before.1 / high.1);
    let faint = rates(&night.replace("= 22.0", "= 24.5"));
    assert!((faint.0 / before.0 - 0.1).abs() < 1e-9, "{}", faint.0 / before.0);
}

/// Five stars with the wings of the simulator's (Moffat, β = 3, 3 pixels wide), drawn into a simulated light: electrons
/// per second, column, row.
const STARS: [(f64, f64, f64); 5] =
    [(900.0, 61.3, 80.7), (600.0, 401.0, 60.2), (450.0, 240.5, 161.5), (1300.0, 90.8, 270.0), (300.0, 380.4, 250.9)];

fn with_stars(mut light: Frame) -> Frame {
    let alpha = 3.0 / (2.0 * (2_f64.powf(1.0 / 3.0) - 1.0).sqrt());
    for (rate, x, y) in STARS {
        let peak = rate * 60.0 / 0.8 * 2.0 / (std::f64::consts::PI * alpha * alpha);
        for ((row, column), value) in light.pixels.indexed_iter_mut() {
            let square = (row as f64 + 1.0 - y).powi(2) + (column as f64 + 1.0 - x).powi(2);
            *value += (peak * (1.0 + square / (alpha * alpha)).powi(-3)).round() as u16;
        }
    }
    light
}

#[test]
fn catalogue_stars_say_what_the_telescope_makes_of_their_light() {
    let (light, dark) = light_and_dark("", FRAMES);
    let light = with_stars(light);
    let (folder, path) = desk(NIGHT);
    let file = |name: &str, frame: &Frame| {
        let file = folder.path().join(name);
        subwell::files::write_frame(&file, frame, false, false).unwrap();
        file
    };
    let (light, dark) = (file("light.fits", &light), file("dark.fits", &dark));
    // The telescope as it is typed: 0.9 of optics, 0.9 of filter, 0.8 of sensor, over 300 nm and 47.12 cm²; 0.2 mag of
    // air (to 2 %, at the filter's 550 nm) at 60°.
    let one = 9955.0 * 300.0 * std::f64::consts::PI / 4.0 * (64.0 - 4.0) * 0.9 * 0.9 * 0.8;
    let night = NIGHT.replace("[[filters]]", "extinction_mag = 0.2\n[[filters]]");
    std::fs::write(&path, night).unwrap();
    let asked = |fainter: f64, more: &[&str]| {
        let mut command = subwell();
        command.args(["sky", "--altitude", "60"]).args(more).arg("--light").arg(&light).arg("--dark").arg(&dark);
        command.arg("--night").arg(&path);
        for (rate, x, y) in STARS {
            let magnitude = 2.5 * (one / rate).log10() - 0.2 * 1.1540 + fainter;
            command.arg("--star").arg(format!("{},{},{magnitude}", x + 2.0, y - 1.5));
        }
        json(&mut command, 0)
    };
    let sky = asked(0.0, &[]);
    println!("{}", sky["stars"]);
    // 1.5 % of wings and 2 % of air.
    assert!((number(&sky, "/stars/0/throughput/value") / 0.648 - 1.0).abs() < 0.03, "{}", sky["stars"]);
    assert!((number(&sky, "/stars/0/typed_throughput") - 0.648).abs() < 1e-9);
    let spread = number(&sky, "/stars/0/zero_point_mag/uncertainty");
    assert!((0.08..0.15).contains(&spread), "{spread}");
    assert!(!sky["caveats"].to_string().contains("throughput-differs"), "{}", sky["caveats"]);
    // Stars that are really a magnitude brighter: the telescope makes 40 % of what it is said to.
    let cloudy = asked(-1.0, &[]);
    let ratio = number(&cloudy, "/stars/0/throughput/value") / number(&sky, "/stars/0/throughput/value");
    assert!((ratio - 10_f64.powf(-0.4)).abs() < 1e-9, "{ratio}");
    assert!(cloudy["caveats"].to_string().contains("throughput-differs"), "{}", cloudy["caveats"]);
    // Written into the night it stands for the telescope from then on, with the stars' own uncertainty.
    asked(-1.0, &["--write"]);
    let written = std::fs::read_to_string(&path).unwrap();
    assert!(written.contains("throughput_ratio = { value = 0.39"), "{written}");
    let again = asked(-1.0, &[]);
    let (typed, found) = ("/stars/0/typed_throughput", "/stars/0/throughput/value");
    assert!((number(&again, typed) / number(&cloudy, found) - 1.0).abs() < 1e-4);
    assert!(!again["caveats"].to_string().contains("throughput-differs"), "{}", again["caveats"]);
    let night = subwell::night::Night::from_toml(&written).unwrap();
    let spread = night.optics.throughput_ratio.unwrap().relative();
    assert!((spread - number(&cloudy, "/stars/0/throughput/uncertainty") / number(&cloudy, found)).abs() < 1e-3);
}

#[test]
fn what_is_no_single_star_is_not_measured() {
    let (light, dark) = light_and_dark("", FRAMES);
    let light = with_stars(light);
    let mode = subwell::camera::CameraProfile::from_toml(CAMERA).unwrap().modes.remove(0);
    let flux = |x: f64, y: f64| star_flux(&light, &dark, &mode, PlaneName::Mono, x, y);
    let (rate, x, y) = STARS[0];
    let star = flux(x + 3.0, y - 2.0).unwrap();
    assert!((star.x_px - x).abs() < 0.1 && (star.y_px - y).abs() < 0.1, "{star:?}");
    // Three widths hold all but a percent of these wings.
    assert!((star.e_per_s.value.0 / rate - 0.99).abs() < 0.02, "{star:?}");
    for (x, y) in [(x + 14.0, y), (150.0, 200.0), (3.0, 3.0), (0.0, 50.0), (1e300, 5.0), (f64::NAN, 5.0)] {
        assert!(flux(x, y).is_err(), "{x}, {y}: {:?}", flux(x, y));
    }
    let small = subwell::camera::CameraProfile::from_toml(&CAMERA.replace("20000.0", "3000.0")).unwrap();
    let full = star_flux(&light, &dark, &small.modes[0], PlaneName::Mono, x, y).unwrap_err();
    assert!(full.contains("fainter star"), "{full}");
    assert!(star_flux(&light, &dark, &small.modes[0], PlaneName::R0c0, x, y).is_err());
}

#[test]
fn a_stock_cameras_loss_at_h_alpha_is_said_with_its_caution() {
    let colours = ["R", "G", "G", "B"].iter().zip(["r0c0", "r0c1", "r1c0", "r1c1"]);
    let planes: String = colours
        .map(|(colour, plane)| {
            format!(
                "[[modes.planes]]\nplane = \"{plane}\"\ncolour = \"{colour}\"\nsampling = {}\ngain_e_per_dn = 0.8\n\
                 read_noise_e = 1.6\nsaturation_e = 20000.0\n",
                if *colour == "G" { 0.5 } else { 0.25 }
            )
        })
        .collect();
    let camera = format!("{}{planes}", CAMERA.split("[[modes.planes]]").next().unwrap());
    let caveats = |night: &str| {
        let (folder, path) = desk(night);
        std::fs::write(folder.path().join("camera.toml"), &camera).unwrap();
        json(subwell().args(["sky", "--night"]).arg(&path), 0)["caveats"].to_string()
    };
    let dual = NIGHT.replace("name = \"luminance\"\ntransmission = 0.9\nwidth_nm = 300.0", "name = \"dual\"");
    let said = caveats(&dual);
    // 0.75 over 0.26.
    assert!(said.contains("stock-infrared-cut") && said.contains("2.9 times") && said.contains("300 V"), "{said}");
    assert!(!caveats(&dual.replace("[camera]", "[camera]\nmodified = true")).contains("stock-infrared-cut"));
    let broad = NIGHT.replace("name = \"luminance\"\ntransmission = 0.9\nwidth_nm = 300.0", "name = \"none\"");
    assert!(!caveats(&broad).contains("stock-infrared-cut"), "a galaxy is not after a line");
}

#[test]
fn a_flat_is_no_light() {
    let (folder, path) = desk(NIGHT);
    let sensor = folder.path().join("sensor.toml");
    let flat = FRAMES.replacen(
        "kind = \"light\"\nexposure_s = 60.0\nsensor_c = -10.0\nlight_e_per_s = 9.0",
        "kind = \"flat\"\nexposure_s = 2.0\nsensor_c = -10.0\nlight_e_per_s = 5000.0",
        1,
    );
    std::fs::write(&sensor, format!("{SENSOR}{flat}")).unwrap();
    let out = folder.path().join("frames");
    subwell().arg("simulate").arg(&sensor).arg("--out").arg(&out).assert().success();
    let error = json(
        subwell()
            .args(["sky", "--light"])
            .arg(out.join("flat/flat_0001.fits"))
            .arg("--dark")
            .arg(out.join("dark/dark_0001.fits"))
            .arg("--night")
            .arg(&path),
        1,
    );
    assert_eq!(error["code"], "light-unusable");
    assert!(error["message"].as_str().unwrap().contains("flat"), "{error}");
}

/// A light through one filter says nothing of the sky behind another; a slot's own name means the night's only filter.
#[test]
fn a_light_of_another_filter_is_refused_and_an_unknown_name_is_said() {
    let (folder, path) = desk(NIGHT);
    let (mut light, dark) = light_and_dark("", FRAMES);
    let [a, b] = ["light.fits", "dark.fits"].map(|name| folder.path().join(name));
    subwell::files::write_frame(&b, &dark, false, true).unwrap();
    let mut sky = |header: &str, more: &[&str], exit: i32| {
        light.info.filter = Some(header.into());
        subwell::files::write_frame(&a, &light, false, true).unwrap();
        let mut command = subwell();
        command.args(["sky", "--write"]).args(more).arg("--light").arg(&a).arg("--dark").arg(&b);
        json(command.arg("--night").arg(&path), exit)
    };
    let before = std::fs::read(&path).unwrap();
    let error = sky("Red", &[], 1);
    let message = error["message"].as_str().unwrap();
    assert!(message.contains("`Red`") && message.contains("luminance"), "{message}");
    assert_eq!((error["code"].as_str(), std::fs::read(&path).unwrap()), (Some("conflicting-filter"), before));
    let own = sky("L", &[], 0);
    assert!(!own["caveats"].to_string().contains("conflicting-filter"), "{}", own["caveats"]);
    assert!(sky("Slot 3", &[], 0)["caveats"].to_string().contains("`Slot 3`"));
    assert!(!sky("Red", &["--filter", "luminance"], 0)["caveats"].to_string().contains("conflicting-filter"));
}

/// Counts of another gain setting are other electrons: nothing is measured with the gain of another mode.
#[test]
fn a_light_of_another_gain_setting_is_refused_with_both_named() {
    let (folder, path) = desk(&NIGHT.replace("[camera]", "[camera]\ngain_setting = 100"));
    let mode = |gain: &str, e_per_dn: &str| {
        let (_, mode) = CAMERA.split_once("[[modes]]").unwrap();
        format!("[[modes]]\ngain_setting = {gain}{mode}").replace("value = 0.8", &format!("value = {e_per_dn}"))
    };
    let profile = format!("{}{}{}", CAMERA.split_once("[[modes]]").unwrap().0, mode("100", "0.8"), mode("200", "0.2"));
    std::fs::write(folder.path().join("camera.toml"), profile).unwrap();
    let (mut light, mut dark) = light_and_dark("", FRAMES);
    let mut sky = |gain: f64, dark_gain: f64, more: &[&str], exit: i32| {
        (light.info.gain_setting, dark.info.gain_setting) = (Some(gain), Some(dark_gain));
        let [a, b] = ["light.fits", "dark.fits"].map(|name| folder.path().join(name));
        subwell::files::write_frame(&a, &light, false, true).unwrap();
        subwell::files::write_frame(&b, &dark, false, true).unwrap();
        let mut command = subwell();
        command.args(["sky", "--write"]).args(more).arg("--light").arg(&a).arg("--dark").arg(&b);
        json(command.arg("--night").arg(&path), exit)
    };
    let before = std::fs::read(&path).unwrap();
    let error = sky(400.0, 400.0, &[], 1);
    let message = error["message"].as_str().unwrap();
    assert!(["gain 400", "gain 100", "gain 200"].iter().all(|setting| message.contains(setting)), "{message}");
    let error = sky(100.0, 200.0, &[], 1);
    let message = error["message"].as_str().unwrap();
    assert!(message.contains("gain 200") && message.contains("gain 100"), "{message}");
    assert_eq!(std::fs::read(&path).unwrap(), before, "nothing was written");
    // A mode that the profile holds is read with its own gain, whatever the night plans with.
    let own = number(&sky(100.0, 100.0, &[], 0), "/planes/0/e_per_s/value");
    let other = number(&sky(200.0, 200.0, &[], 0), "/planes/0/e_per_s/value");
    assert!((own / other / 4.0 - 1.0).abs() < 1e-6, "{own} {other}");
    // Who gives the gain knows the mode.
    let typed = number(&sky(400.0, 400.0, &["--gain-e-per-dn", "0.4"], 0), "/planes/0/e_per_s/value");
    assert!((own / typed / 2.0 - 1.0).abs() < 1e-6, "{own} {typed}");
}

#[test]
fn a_sky_measured_through_a_stranger_is_refused_with_the_nights_filters() {
    let through =
        |filter: &str| NIGHT.replace("{ bortle = 7 }", &format!("{{ e_per_s = 3.3, filter = \"{filter}\" }}"));
    let (_folder, path) = desk(&through("my old one"));
    let error = json(subwell().arg("plan").arg(&path), 2);
    assert!(error["message"].as_str().unwrap().contains("`luminance`"), "{error}");
    // A known name brings its usual numbers, and says so.
    let sky = sky_of(&through("red"));
    assert!(sky["caveats"].to_string().contains("not among the night's filters"), "{}", sky["caveats"]);
}

#[test]
fn a_darker_sky_saves_hours_but_fewer_than_its_magnitudes_say() {
    let (_folder, path) = desk(&NIGHT.replace("snr = 5.0", "snr = 30.0"));
    let sky = json(subwell().args(["sky", "--bortle", "7", "--against-bortle", "4", "--night"]).arg(&path), 0);
    let (hours, plain) = (number(&sky, "/against/hours_ratio/value"), number(&sky, "/against/sky_ratio/value"));
    // 18.5 and 20.9 mag/arcsec2.
    assert!((plain - 10_f64.powf(0.4 * 2.4)).abs() < 1e-9);
    assert!(hours > 3.0 && hours < plain, "{hours} of {plain}");
    // Two classes of ± 0.4 mag.
    assert!((number(&sky, "/against/sky_ratio/uncertainty") / plain / 0.521 - 1.0).abs() < 0.01);
    assert!(number(&sky, "/against/hours_ratio/uncertainty") > 0.2 * hours);
}

#[test]
fn a_measured_sky_is_written_and_the_plan_uses_it() {
    let (folder, path) = desk(NIGHT);
    let sensor = folder.path().join("sensor.toml");
    std::fs::write(&sensor, format!("{SENSOR}stars_per_frame = 200\n{FRAMES}")).unwrap();
    // An editor of another system ends its lines otherwise.
    std::fs::write(&path, NIGHT.replace('\n', "\r\n")).unwrap();
    let out = folder.path().join("frames");
    subwell().arg("simulate").arg(&sensor).arg("--out").arg(&out).assert().success();
    let frame = |name: &str| out.join(name);
    let sky = json(
        subwell()
            .args(["sky", "--write", "--light"])
            .arg(frame("light/light_0001.fits"))
            .arg("--dark")
            .arg(frame("dark/dark_0001.fits"))
            .arg("--night")
            .arg(&path),
        0,
    );
    assert!((number(&sky, "/planes/0/e_per_s/value") / SKY - 1.0).abs() < TWO_PERCENT);
    assert!(number(&sky, "/mag_per_arcsec2/uncertainty") < 0.3);
    let text = std::fs::read_to_string(&path).unwrap();
    assert_eq!(text.matches('\n').count(), text.matches("\r\n").count(), "{text:?}");
    let text = text.replace("\r\n", "\n");
    assert!(text.starts_with("# my night\n") && text.contains("# a guess") && text.contains("filter = \"luminance\""));
    assert!(!text.contains("bortle"), "{text}");
    let plan = json(subwell().arg("plan").arg(&path), 0);
    let planned = number(&plan, "/filters/0/planes/0/rates_e_per_s/sky");
    assert!((planned / number(&sky, "/planes/0/e_per_s/value") - 1.0).abs() < 1e-3, "{planned}");
    // The magnitude that belongs to the rate gives the rate back through the chain.
    let chain = number(&sky, "/planes/0/windows/0/e_per_s");
    assert!((chain / number(&sky, "/planes/0/e_per_s/value") - 1.0).abs() < 1e-6, "{chain}");
}

#[test]
fn every_scale_is_answered_and_its_json_is_the_contracts() {
    for (words, magnitude) in [
        (["--bortle", "4"], 20.9),
        (["--mag", "19.0"], 19.0),
        (["--limiting-mag", "5.0"], 19.302),
        (["--meter", "18.0"], 17.854),
    ] {
        let sky = json(subwell().arg("sky").args(words), 0);
        assert_eq!((sky["format"].as_str(), sky["version"].as_u64()), (Some("subwell.sky"), Some(1)));
        assert!((number(&sky, "/mag_per_arcsec2/value") - magnitude).abs() < 1e-3, "{sky}");
        for key in ["bortle", "limiting_mag", "candela_per_m2", "artificial_ratio", "planes", "caveats"] {
            assert!(sky.get(key).is_some(), "{key}");
        }
    }
    json(subwell().arg("sky"), 2);
    json(subwell().args(["sky", "--limiting-mag", "7.6"]), 2);
    json(subwell().args(["sky", "--bortle", "4", "--mag", "20"]), 2);
}

#[test]
fn a_filter_curve_beside_the_night_is_read() {
    let (folder, path) = desk(&NIGHT.replace("transmission = 0.9\nwidth_nm = 300.0", "curve = \"mine.csv\""));
    let points = "nm,T\n399.99,0\n400,0.9\n700,0.9\n700.01,0\n";
    std::fs::write(folder.path().join("mine.csv"), points).unwrap();
    let drawn = json(subwell().args(["sky", "--night"]).arg(&path), 0);
    let named = number(&sky_of(NIGHT), "/planes/0/e_per_s/value");
    // Steps of 0.1 nm.
    assert!((number(&drawn, "/planes/0/e_per_s/value") / named - 1.0).abs() < 1e-3);
    std::fs::write(folder.path().join("mine.csv"), "nm,T\n500,0.9\n400,0.9\n").unwrap();
    let error = json(subwell().args(["sky", "--night"]).arg(&path), 2);
    assert!(error["message"].as_str().unwrap().contains("line 3"), "{error}");
    assert!(Path::new(&path).exists());
}
