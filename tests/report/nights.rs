//! Every number that a report of a plan writes is the one that `plan --json` has, for nights of all kinds.

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::Value;
use subwell::camera::CameraProfile;
use subwell::night::Night;
use subwell::plan::{plan, searches};
use subwell::report::plan_page;

use super::page::{parsed, text_of};
use super::samples;

const NIGHTS: usize = 50;
/// Entries that stand under "Why" and again under "Numbers".
const ABOVE: [&str; 3] = ["sub length", "limits", "noise from"];

fn sample(name: &str) -> String {
    std::fs::read_to_string(samples().join(name)).unwrap()
}

/// The published sample night with other sky, optics, target, mount and filters.
fn night(chance: &mut Xoshiro256PlusPlus) -> String {
    let mut text = sample("published-night.toml");
    let mut put = |from: &str, to: String| {
        assert!(text.contains(from), "{from} is no longer in the sample night");
        text = text.replacen(from, &to, 1);
    };
    let mut between = |low: f64, high: f64| (chance.random_range(low..high) * 100.0_f64).round() / 100.0;
    put("bortle = 7", format!("mag_per_arcsec2 = {:?}", between(17.0, 22.0)));
    put("focal_length_mm = 440.0", format!("focal_length_mm = {:?}", between(150.0, 1500.0)));
    put("surface_brightness_mag = 22.8", format!("surface_brightness_mag = {:?}", between(20.0, 24.0)));
    put("altitude_deg = 55.0", format!("altitude_deg = {:?}", between(25.0, 89.0)));
    put("settle_s = 20.0", format!("settle_s = {:?}", between(0.0, 60.0)));
    put("sensor_c = -10.0", format!("sensor_c = {:?}", between(-20.0, 5.0)));
    let goal = between(0.0, 1.0);
    put("snr = 8.0 ", if goal < 0.6 { format!("snr = {:?} ", between(2.0, 20.0)) } else { "hours = 4.0 ".into() });
    let filters = between(0.0, 1.0);
    if filters < 0.3 {
        put(
            "name = \"luminance\"",
            "name = \"red\"\n[[filters]]\nname = \"green\"\n[[filters]]\nname = \"blue\"".into(),
        );
    } else if filters < 0.5 {
        put("name = \"luminance\"", "name = \"h-alpha\"".into());
        put("core_surface_brightness_mag", "line_rayleigh = 40.0\ncore_surface_brightness_mag".into());
    }
    text
}

/// A number as it is written: its value, in seconds where it is a time, and half of its last digit.
fn numbers(text: &str) -> Vec<(f64, f64)> {
    let mut found = Vec::new();
    let mut rest = text;
    while let Some(start) = rest.find(|c: char| c.is_ascii_digit()) {
        let end = rest[start..].find(|c: char| !c.is_ascii_digit() && c != '.').map_or(rest.len(), |end| start + end);
        let digits = rest[start..end].trim_end_matches('.');
        let value: f64 = digits.parse().unwrap();
        let half = match digits.split_once('.') {
            Some((_, decimals)) => 0.5 * 0.1_f64.powi(decimals.len() as i32),
            // At least two digits are written of everything, and zeros behind them may stand for others.
            None => {
                let zeros = digits.len() - digits.trim_end_matches('0').len();
                0.5 * 10_f64.powi(zeros.min(digits.len().saturating_sub(2)) as i32)
            }
        };
        let unit: String = rest[end..].trim_start().chars().take_while(|c| c.is_alphanumeric()).collect();
        let seconds = match unit.as_str() {
            "min" => 60.0,
            "h" => 3600.0,
            _ => 1.0,
        };
        found.push((value * seconds, half * seconds));
        rest = &rest[end..];
    }
    found
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// The fields behind each number of an entry of a filter, in the order in which the entry writes them.
fn of_filter(name: &str, filter: &Value) -> Option<Vec<f64>> {
    let range = |key: &str| [number(&filter[key][0]), number(&filter[key][1])];
    Some(match name {
        "sub length" => {
            let [low, high] = range("sub_range_s");
            let mut all = vec![number(&filter["sub_s"]), low, high, number(&filter["sub_range_within_percent"])];
            let stretches = filter["sub_stretches_s"].as_array().unwrap().iter();
            let others = stretches.filter(|stretch| **stretch != filter["sub_range_s"]);
            all.extend(others.flat_map(|stretch| [number(&stretch[0]), number(&stretch[1])]));
            all.push(number(&filter["sub_optimum_s"]));
            all
        }
        "subs" => {
            let [low, high] = range("subs_kept_range");
            let shot = number(&filter["subs_to_shoot"]);
            // A range of no width is not told.
            let ends = if low == high { Vec::new() } else { vec![low, high] };
            let kept = [number(&filter["subs_kept"])].into_iter().chain(ends);
            kept.chain([shot, number(&filter["lost_subs_per_hour"])]).collect()
        }
        "dither" => {
            let half = (number(&filter["dither_px"]) / 2.0).ceil();
            let every = number(&filter["dither_every_subs"]);
            // "every sub" has no number.
            let every = (every > 1.0).then_some(every);
            every.into_iter().chain([number(&filter["dithers"]), half, number(&filter["settle_s"])]).collect()
        }
        "limits" => {
            let limits = &filter["limits_s"];
            let all = ["tracking", "field_rotation", "star_saturation", "sky_saturation"];
            all.iter().filter_map(|key| limits[*key].as_f64()).collect()
        }
        "rules of thumb" => {
            let rules = filter["rules_of_thumb"].as_array().unwrap().iter();
            rules.flat_map(|rule| [number(&rule["read_noise_adds_percent"]), number(&rule["sub_s"])]).collect()
        }
        "on disk" => {
            let gigabytes = number(&filter["gigabytes"]);
            vec![if gigabytes < 1.0 { 1000.0 * gigabytes } else { gigabytes }]
        }
        _ => return None,
    })
}

/// The same of a plane.
fn of_plane(name: &str, plane: &Value) -> Option<Vec<f64>> {
    let moon = number(&plane["rates_e_per_s"]["moon"]) > 0.0;
    let of = |part: &Value, keys: &[&str]| {
        keys.iter().filter(|key| moon || **key != "moon").map(|key| number(&part[*key])).collect::<Vec<f64>>()
    };
    Some(match name {
        "e-/s in a pixel" => of(&plane["rates_e_per_s"], &["target", "sky", "moon", "dark"]),
        "noise from" => {
            let share = &plane["noise_share_percent"];
            let mut all = of(share, &["sky", "moon", "target", "dark"]);
            all.push(number(&share["read"]) + number(&share["quantisation"]));
            all.extend(of(share, &["pattern", "calibration"]));
            all
        }
        "reached" => {
            let mut all = vec![number(&plane["snr"]["value"])];
            // At so many sigmas in a square of so many seconds of arc.
            all.extend(
                plane["faintest_mag_per_arcsec2"].as_f64().iter().flat_map(|faintest| [3.0, 10.0, *faintest, 2.0]),
            );
            all.extend(plane["faintest_rayleigh"].as_f64());
            all
        }
        "sky level" => vec![number(&plane["sky_level_dn"]), number(&plane["sky_share_of_full_well_percent"])],
        _ => return None,
    })
}

/// The entries of the page's lists of numbers: name and text, in their order.
fn entries(page: &str) -> Vec<(String, String)> {
    let document = parsed(page);
    let names = document.descendants().filter(|node| node.attribute("scope") == Some("row"));
    names.filter_map(|name| Some((text_of(name), text_of(name.next_sibling_element()?)))).collect()
}

#[test]
fn every_number_of_a_report_is_that_of_the_json() {
    let camera = CameraProfile::from_toml(&sample("published-camera.toml")).unwrap();
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(20_261_126);
    let (mut planned, mut compared) = (0, 0);
    while planned < NIGHTS {
        let text = night(&mut chance);
        let night = Night::from_toml(&text).unwrap();
        let (Ok(found), Ok(searches)) = (plan(&night, &camera), searches(&night, &camera)) else { continue };
        planned += 1;
        let page = plan_page(&found, &searches);
        let json = serde_json::to_value(&found).unwrap();
        let filters = json["filters"].as_array().unwrap();
        let planes: Vec<&Value> = filters.iter().flat_map(|filter| filter["planes"].as_array().unwrap()).collect();
        let written = entries(&page);
        let mut names: Vec<&str> = written.iter().map(|(name, _)| name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        for name in names {
            let expected: Vec<Vec<f64>> = filters
                .iter()
                .filter_map(|filter| of_filter(name, filter))
                .chain(planes.iter().filter_map(|plane| of_plane(name, plane)))
                .collect();
            // A short set further down has entries of the same names.
            let texts = written.iter().filter(|(own, _)| own == name).map(|(_, text)| text);
            let times = if ABOVE.contains(&name) { 2 } else { 1 };
            for (text, fields) in texts.zip(expected.iter().cycle().take(times * expected.len())) {
                let numbers = numbers(text);
                assert_eq!(numbers.len(), fields.len(), "{name}: {text} against {fields:?}\n{page}");
                for ((said, half), field) in numbers.iter().zip(fields) {
                    assert!((said - field).abs() <= half * (1.0 + 1e-9) + 1e-12, "{name}: {text}, {said} is {field}");
                    compared += 1;
                }
            }
        }
    }
    assert!(compared > 30 * NIGHTS, "{compared}");
}
