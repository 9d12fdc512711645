//! Plans of many random nights: recomputed from their own JSON, and lived through event by event.
//!
//! Nothing here calls the planner's formulas: what a reader of the JSON would do is written out.

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::Value;
use subwell::night::Night;
use subwell::plan::{PlanError, plan};

use super::stack_proof::camera::camera;

/// Random nights of each test.
const NIGHTS: usize = 1000;
/// Sums of a few dozen doubles.
const DIGITS: f64 = 1e-9;

/// A night of which every number was drawn.
fn random_night(random: &mut Xoshiro256PlusPlus, colour: bool) -> String {
    let mut between = |low: f64, high: f64| low + (high - low) * random.random::<f64>();
    let narrow = between(0.0, 1.0) < 0.4;
    let filter = match (narrow, colour) {
        (true, true) => "dual",
        (true, false) => "h-alpha",
        (false, true) => "none",
        (false, false) => "luminance",
    };
    let (sky, target, line) = (between(17.0, 21.9), between(20.0, 22.5), between(100.0, 1500.0));
    let (sensor, ambient, cooled) = (between(-20.0, 0.0), between(-5.0, 22.0), between(0.0, 1.0) < 0.6);
    let camera =
        if cooled { format!("cooled = true\nsensor_c = {sensor}") } else { "cooled = false\nrise_c = 7.0".into() };
    let stopped = between(0.0, 1.0) < 0.3;
    format!(
        "[camera]\n{camera}\n[optics]\naperture_mm = {}\nfocal_length_mm = {}\n[site]\n\
         sky = {{ mag_per_arcsec2 = {sky} }}\nambient_c = {ambient}\nseeing_arcsec = {}\n[[filters]]\nname = \"{filter}\"\n\
         quantum_efficiency = {}\n[target]\nsurface_brightness_mag = {target}\nline_rayleigh = {line}\naltitude_deg = {}\n\
         [mount]\nlongest_sub_s = {}\nsettle_s = {}\nbetween_subs_s = {}\nlost_subs_per_hour = {}\n\
         lost_subs_stopped = {stopped}\n[calibration]\ndarks = {}\nflats = {}\n[stack]\nmost_subs = 1000000\n\
         most_gigabytes = 1000000.0\n[goal]\nsnr = {}\npatch_arcsec = {}\nclear_hours_per_night = {}\n",
        between(50.0, 250.0),
        between(200.0, 1200.0),
        between(2.0, 4.0),
        if colour { "{ R = 0.4, G = 0.5, B = 0.45 }".into() } else { between(0.5, 0.9).to_string() },
        between(30.0, 85.0),
        between(40.0, 900.0),
        between(1.0, 40.0),
        between(0.0, 8.0),
        between(0.0, 6.0),
        between(5.0, 60.0) as u32,
        between(5.0, 40.0) as u32,
        between(15.0, 60.0),
        between(2.0, 12.0),
        between(2.0, 8.0),
    )
}

/// What was drawn and what was planned for it; goals out of reach are drawn again.
fn random_plans(seed: u64, least_kept: f64, how_many: usize) -> Vec<(Night, Value)> {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let cameras = [camera(false), camera(true)];
    let mut plans = Vec::new();
    let mut out_of_reach = 0;
    while plans.len() < how_many {
        let colour = plans.len().is_multiple_of(3);
        let night = Night::from_toml(&random_night(&mut random, colour)).expect("a night");
        match plan(&night, &cameras[usize::from(colour)]) {
            Ok(planned) if (planned.filters[0].subs_kept as f64) < least_kept => {}
            Ok(planned) => plans.push((night, serde_json::to_value(&planned).expect("JSON"))),
            Err(PlanError::OutOfReach { .. }) => out_of_reach += 1,
            Err(other) => panic!("{other}"),
        }
    }
    assert!(out_of_reach < how_many, "{out_of_reach} nights out of reach");
    plans
}

fn number(value: &Value, path: &str) -> f64 {
    let found = value.pointer(path).unwrap_or_else(|| panic!("{path} in {value}"));
    found.as_f64().unwrap_or_else(|| panic!("{path} is {found}"))
}

/// Fields that may be `null` in a plan without a date for a target with continuum and line.
const MAY_BE_NULL: [&str; 21] = [
    "gain_setting",
    "hours",
    "night",
    "short_set",
    "schedule",
    "exposure_of_measured_lamp_s",
    "coldest_c",
    "warmest_c",
    "map_time_ratio",
    "darks_time_ratio",
    "longest_s",
    "given_adds_percent",
    "darks_win_below_c",
    "biases_serve_flats_up_to_s",
    "shortest_s",
    "colour",
    "faintest_rayleigh",
    "field_rotation",
    "star_saturation",
    "time_ratio",
    "creep_px_per_sub",
];

fn nulls(value: &Value, at: &str, found: &mut Vec<String>) {
    match value {
        Value::Null => found.push(at.to_owned()),
        Value::Array(items) => items.iter().for_each(|item| nulls(item, at, found)),
        Value::Object(fields) => fields.iter().for_each(|(key, item)| nulls(item, key, found)),
        Value::Number(number) => assert!(number.as_f64().is_some_and(f64::is_finite), "{at}"),
        _ => {}
    }
}

fn same(what: &str, mine: f64, theirs: f64) {
    assert!((mine - theirs).abs() <= DIGITS * theirs.abs().max(1e-12), "{what}: recomputed {mine}, plan {theirs}");
}

/// Mean overlap of a patch with itself at two random whole places of a square, along one axis: counted for a whole side,
/// between two of them in a straight line of side times overlap.
fn overlap(dither_px: f64, side: f64) -> f64 {
    let places = dither_px as i64;
    let mean = |side: f64| {
        let apart = |d: i64| (places - d.abs()) as f64 * (side - d.abs() as f64).max(0.0);
        (1 - places..places).map(apart).sum::<f64>() / (side * dither_px * dither_px)
    };
    let whole = side.floor();
    if side == whole { mean(side) } else { mean(whole) + (side - whole) * (mean(whole + 1.0) - mean(whole)) }
}

#[test]
fn a_thousand_plans_are_recomputed_from_their_own_json() {
    for (night, json) in random_plans(11, 1.0, NIGHTS) {
        let mut empty = Vec::new();
        nulls(&json, "", &mut empty);
        empty.retain(|key| !MAY_BE_NULL.contains(&key.as_str()));
        assert!(empty.is_empty(), "null: {empty:?}");
        let filter = &json["filters"][0];
        let of = |path: &str| number(filter, path);
        let (t, subs, every) = (of("/sub_s"), of("/subs_kept"), of("/dither_every_subs"));
        let mut reached: Vec<(f64, f64)> = Vec::new();
        for plane in filter["planes"].as_array().expect("planes") {
            let of = |path: &str| number(plane, path);
            let rates = ["target", "sky", "moon", "dark"].map(|name| of(&format!("/rates_e_per_s/{name}")));
            let read = of("/inputs/read_noise_e").powi(2);
            let step = of("/inputs/quantisation_e").powi(2);
            let clipped = of("/inputs/clip_factor") / subs;
            let places = (subs / every).max(1.0);
            let shared = overlap(number(filter, "/dither_px"), of("/inputs/patch_side_px")).powi(2);
            let weight = 1.0 / places + (1.0 - 1.0 / places) * shared;
            let [pattern, masters] = ["pattern_e2", "masters_e2"].map(|name| of(&format!("/inputs/{name}")) * weight);
            let averaging = clipped * (rates.iter().sum::<f64>() * t + read + step);
            let variance = averaging + of("/inputs/drift_e2") / subs + pattern + masters;
            let snr = rates[0] * t * (of("/inputs/patch_pixels") / variance).sqrt();
            let printed = of("/snr/value");
            // A side that is no whole number of pixels lies on the curve of the formula, not on the straight line.
            assert!((snr - printed).abs() <= 0.003 * printed, "SNR: recomputed {snr}, plan {printed}");
            let exact = pattern + masters == 0.0 || of("/inputs/patch_side_px").fract() == 0.0;
            if exact {
                same("SNR", snr, printed);
            }
            let shares = plane["noise_share_percent"].as_object().expect("shares");
            let total: f64 = shares.values().filter_map(Value::as_f64).sum();
            same("shares", total, 100.0);
            let temporal = [("target", rates[0] * t), ("sky", rates[1] * t), ("dark", rates[3] * t), ("read", read)];
            for (name, part) in temporal {
                let share = 100.0 * part * clipped / variance;
                let printed = number(plane, &format!("/noise_share_percent/{name}"));
                assert!((share - printed).abs() < 0.3, "{name}: recomputed {share} %, plan {printed} %");
            }
            reached.push((printed, rates[0]));
        }
        let goal = number(&json, "/goal/snr");
        let shining = reached.iter().filter(|plane| plane.1 > 0.0).map(|plane| plane.0);
        assert!(shining.fold(0.0, f64::max) >= goal * (1.0 - DIGITS), "the goal is missed");
        // The clock.
        let (losses, settle) = (of("/lost_subs_per_hour") / 3600.0, of("/settle_s"));
        let shot = (subs * (losses * t).exp() - DIGITS).ceil();
        same("subs to shoot", shot, of("/subs_to_shoot"));
        let open = if night.mount.stops_lost_subs() && losses > 0.0 { (1.0 - (-losses * t).exp()) / losses } else { t };
        let dithers = (shot / every).ceil();
        same("dithers", dithers, of("/dithers"));
        let wall = shot * (open + of("/between_subs_s")) + dithers * settle;
        assert!((wall - of("/wall_clock_s")).abs() < 1e-6 * wall, "wall clock: {wall}, {}", of("/wall_clock_s"));
        same("all filters", number(&json, "/wall_clock_s"), of("/wall_clock_s"));
        same("integration", subs * t, of("/integration_s"));
        same("gigabytes", shot * 6000.0 * 4000.0 * 2e-9, of("/gigabytes"));
        // Limits and rules.
        for (name, limit) in filter["limits_s"].as_object().expect("limits") {
            let limit = limit.as_f64().unwrap_or(f64::MAX);
            assert!(t <= limit * (1.0 + DIGITS), "{t} s is beyond {name}, {limit} s");
        }
        assert!(subs >= 15.0 && subs / every >= 15.0 * (1.0 - DIGITS));
        let [low, high] = [of("/sub_range_s/0"), of("/sub_range_s/1")];
        assert!(low <= high && of("/subs_kept_range/0") <= subs && subs <= of("/subs_kept_range/1"));
        let [low, high] = ["/wall_clock_range_s/0", "/wall_clock_range_s/1"].map(|path| number(&json, path));
        assert!(low <= wall * (1.0 + DIGITS) && wall <= high * (1.0 + DIGITS), "{wall} s is outside {low} to {high} s");
        assert!(number(filter, "/without_dither/noise_ratio") >= 1.0);
    }
}

/// Hours on the clock until so many subs are kept: spoiling events come by chance while the shutter is open, a dither
/// after so many subs.
fn lived_through(filter: &Value, stopped: bool, random: &mut Xoshiro256PlusPlus) -> f64 {
    let of = |path: &str| number(filter, path);
    let (t, losses) = (of("/sub_s"), of("/lost_subs_per_hour") / 3600.0);
    let mut clock = 0.0;
    let (mut kept, mut since_dither) = (0.0, 0.0);
    let mut next_event = if losses > 0.0 { -random.random::<f64>().ln() / losses } else { f64::INFINITY };
    while kept < of("/subs_kept") {
        if next_event >= t {
            next_event -= t;
            kept += 1.0;
            clock += t;
        } else {
            let open = if stopped { next_event } else { t };
            clock += open;
            // Events in the rest of a spoiled sub spoil nothing more.
            let mut left = open - next_event;
            next_event = -random.random::<f64>().ln() / losses;
            while next_event < left {
                left -= next_event;
                next_event = -random.random::<f64>().ln() / losses;
            }
            next_event -= left;
        }
        clock += of("/between_subs_s");
        since_dither += 1.0;
        if since_dither >= of("/dither_every_subs") {
            clock += of("/settle_s");
            since_dither = 0.0;
        }
    }
    clock
}

/// A plan rounds the subs to shoot up: of fifteen that is up to 7 % of the time, of this many less than 1 % in the mean.
const LEAST_KEPT: f64 = 30.0;

#[test]
fn a_thousand_nights_take_the_time_that_was_planned() {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(12);
    let mut ratios = Vec::new();
    for (night, json) in random_plans(13, LEAST_KEPT, NIGHTS) {
        let filter = &json["filters"][0];
        let lived = lived_through(filter, night.mount.stops_lost_subs(), &mut random);
        ratios.push((lived / number(filter, "/wall_clock_s"), night.mount.stops_lost_subs()));
    }
    for stopped in [false, true] {
        let each: Vec<f64> = ratios.iter().filter(|night| night.1 == stopped).map(|night| night.0).collect();
        let mean = each.iter().sum::<f64>() / each.len() as f64;
        println!("spoiled subs stopped: {stopped}; {} nights took {mean:.4} of the planned time", each.len());
        assert!((mean - 1.0).abs() < 0.02, "{mean}");
    }
}
