//! Laws that every plan obeys, whatever the night.

use proptest::prelude::*;
use subwell::camera::CameraProfile;
use subwell::night::{Limits, Night, NightError};
use subwell::noise::{Calibration, Clip, LeftPattern, Patch, PlaneNoise, Rates, Stack};
use subwell::plan::{Asked, Demand, Plan, PlanError, Search, SetBy, Source, plan};
use subwell::units::{Colour, Electrons, ElectronsPerSecond, Seconds};

const MONO: &str = r#"
camera = "Sample cooled mono"
provenance = "published"
source = "made up for the tests"
[[modes]]
gain_setting = 40
pixel_um = 3.5
width_px = 5000
height_px = 3600
dn_step = 4
[[modes.planes]]
plane = "mono"
gain_e_per_dn = { value = 0.25, uncertainty = 0.002 }
offset_dn = { value = 500.0, uncertainty = 1.0 }
read_noise_e = { value = 1.5, uncertainty = 0.03 }
saturation_e = { value = 15000.0, uncertainty = 100.0 }
[[modes.planes.dark_current]]
sensor_c = -10.0
e_per_s = { value = 0.007, uncertainty = 0.0005 }
nonuniformity_percent = 40.0
[modes.planes.thermal]
activation_ev = { value = 0.62, uncertainty = 0.02 }
doubling_k_at_0_c = 7.0
reference_c = -10.0
reference_e_per_s = { value = 0.0065, uncertainty = 0.0004 }
floor_e_per_s = 0.0005
measured_c = [-20.0, 25.0]
[[modes]]
gain_setting = 0
pixel_um = 3.5
width_px = 5000
height_px = 3600
[[modes.planes]]
plane = "mono"
gain_e_per_dn = 0.8
read_noise_e = 3.5
saturation_e = 50000.0
"#;

fn colour_camera() -> String {
    let head = "camera = \"Sample colour\"\nprovenance = \"published\"\n[[modes]]\ngain_setting = 400\npixel_um = 4.3\n\
                width_px = 6000\nheight_px = 4000\n";
    let plane = |name: &str, colour: char, sampling: f64| {
        format!(
            "[[modes.planes]]\nplane = \"{name}\"\ncolour = \"{colour}\"\nsampling = {sampling}\ngain_e_per_dn = 0.6\n\
             offset_dn = 1024.0\nread_noise_e = 3.0\nsaturation_e = 9000.0\n[[modes.planes.dark_current]]\n\
             sensor_c = 15.0\ne_per_s = 0.1\nnonuniformity_percent = 60.0\n"
        )
    };
    [
        head.to_owned(),
        plane("r0c0", 'R', 0.25),
        plane("r0c1", 'G', 0.5),
        plane("r1c0", 'G', 0.5),
        plane("r1c1", 'B', 0.25),
    ]
    .concat()
}

const NIGHT: &str = r#"
[camera]
gain_setting = 40
cooled = true
sensor_c = -10.0
[optics]
aperture_mm = 76.0
focal_length_mm = 440.0
[site]
sky = { mag_per_arcsec2 = SKY }
lamps = "mixed"
[[filters]]
name = "FILTER"
quantum_efficiency = 0.80
[target]
surface_brightness_mag = TARGET
line_rayleigh = 100.0
altitude_deg = 55.0
[mount]
longest_sub_s = 300.0
settle_s = 20.0
between_subs_s = 3.0
lost_subs_per_hour = 1.0
[stack]
most_subs = 100000
most_gigabytes = 100000.0
[goal]
GOAL
clear_hours_per_night = 4.0
"#;

fn night(sky: f64, filter: &str, target: f64, goal: &str) -> Night {
    let text = NIGHT.replace("SKY", &sky.to_string()).replace("FILTER", filter);
    let text = text.replace("TARGET", &target.to_string()).replace("GOAL", goal);
    Night::from_toml(&text).expect("a night")
}

fn mono() -> CameraProfile {
    CameraProfile::from_toml(MONO).expect("a profile")
}

fn planned(sky: f64, target: f64, snr: f64) -> Plan {
    plan(&night(sky, "luminance", target, &format!("snr = {snr}")), &mono()).expect("a plan")
}

/// A search of one plane with nothing but the rules that keep it sane.
fn search(rates: Rates, read: f64, mismatch: f64, darks: u32, snr: f64, pixels: f64) -> Search {
    let noise = PlaneNoise {
        rates,
        read_noise: Electrons(read),
        quantisation: Electrons(0.3),
        left: LeftPattern { per_second: ElectronsPerSecond(mismatch), ..LeftPattern::default() },
        calibration: Calibration { darks, flats: 25, biases: 50, electrons_per_flat: Electrons(8000.0) },
        drift: ElectronsPerSecond(0.0),
    };
    Search {
        planes: vec![(noise, Patch::new(pixels, 1.0))],
        demand: Demand::Snr(snr),
        limits: Limits { tracking: Some(Seconds(600.0)), ..Limits::default() },
        between: Seconds(3.0),
        settle: Seconds(20.0),
        losses_per_s: 1.0 / 3600.0,
        stops_lost: false,
        clip: Clip::iterated(3.0).expect("a clip"),
        dither_box_px: 24.0,
        min_subs: 15.0,
        min_positions: 15.0,
        min_positions_per_night: 10.0,
        night: Seconds(4.0 * 3600.0),
        most_subs: 1e9,
        asked: Asked::default(),
    }
}

fn rates(target: f64, sky: f64, dark: f64) -> Rates {
    Rates {
        target: ElectronsPerSecond(target),
        sky: ElectronsPerSecond(sky),
        moon: ElectronsPerSecond(0.0),
        dark: ElectronsPerSecond(dark),
    }
}

/// What the search may leave on the table against a grid of 160 lengths and 120 cadences.
const SEARCH_SLACK: f64 = 0.005;

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_brute_force_search_finds_nothing_better(
        target in 0.005..0.2_f64,
        sky in 0.005..20.0_f64,
        dark in 0.0..0.3_f64,
        read in 1.0..5.0_f64,
        mismatch in 0.0..0.05_f64,
    ) {
        let search = search(rates(target, sky, dark), read, mismatch, 30, 6.0, 9.0);
        if let Ok(optimum) = search.optimum() {
            let mut best = f64::INFINITY;
            for i in 0..160 {
                let sub = Seconds(600.0_f64.powf(f64::from(i) / 159.0));
                for every in 1..=120 {
                    if let Some(chosen) = search.at(sub, f64::from(every)) {
                        best = best.min(chosen.cost);
                    }
                }
            }
            prop_assert!(optimum.least.cost <= best * (1.0 + SEARCH_SLACK), "{} {best}", optimum.least.cost);
            let stretches = search.stretches(&optimum);
            let good = optimum.least.cost * (1.0 + search.within(&optimum));
            prop_assert!(optimum.recommended.cost <= optimum.least.cost * 1.1 * (1.0 + 1e-9), "more than is promised");
            for sub in [optimum.recommended.sub, optimum.least.sub] {
                prop_assert!(stretches.iter().any(|[low, high]| *low <= sub && sub <= *high), "{sub:?} in {stretches:?}");
            }
            prop_assert!(stretches.windows(2).all(|pair| pair[0][1] < pair[1][0]), "{stretches:?}");
            // Every length of a stretch is as good as is said: the stride in which its ends are sought may hide 0.5 %.
            for [low, high] in stretches {
                for i in 0..=40 {
                    let sub = Seconds(low.0 * (high.0 / low.0).powf(f64::from(i) / 40.0));
                    let cost = search.best_at(sub).map_or(f64::INFINITY, |chosen| chosen.cost);
                    prop_assert!(cost <= good * 1.005, "{sub:?} of {low:?} to {high:?}: {cost} against {good}");
                }
            }
        }
    }

    #[test]
    fn the_stack_meets_its_goal_and_no_more(sky in 17.0..21.9_f64, target in 20.5..24.0_f64, snr in 2.0..30.0_f64) {
        let plan = planned(sky, target, snr);
        let filter = &plan.filters[0];
        let reached = filter.planes[0].snr.value;
        prop_assert!(reached >= snr * (1.0 - 1e-9), "{reached} {snr}");
        // One sub fewer would miss it, unless rejection asks for the subs.
        let kept = filter.subs_kept as f64;
        if kept > 15.0 * filter.dither_every_subs as f64 {
            prop_assert!(reached <= snr * (kept / (kept - 1.0)), "{reached} {snr} {kept}");
        }
        let shares = filter.planes[0].noise_share_percent.sum();
        prop_assert!((shares - 100.0).abs() < 1e-9, "{shares}");
    }

    #[test]
    fn the_wall_clock_follows_from_the_printed_numbers(sky in 17.0..21.9_f64, target in 20.5..24.0_f64) {
        let plan = planned(sky, target, 8.0);
        let filter = &plan.filters[0];
        let shot = filter.subs_to_shoot as f64;
        let wall = shot * (filter.sub_s.0 + filter.between_subs_s.0) + filter.dithers as f64 * filter.settle_s.0;
        prop_assert!((wall - plan.wall_clock_s.0).abs() < 1e-6);
        prop_assert_eq!(filter.dithers, filter.subs_to_shoot.div_ceil(filter.dither_every_subs));
        let lost = (filter.lost_subs_per_hour * filter.sub_s.0 / 3600.0).exp();
        prop_assert_eq!(filter.subs_to_shoot, (filter.subs_kept as f64 * lost).ceil() as u64);
        prop_assert!(filter.positions_per_night >= 10 && filter.dithers >= 15);
        let [low, high] = plan.wall_clock_range_s;
        prop_assert!(low <= plan.wall_clock_s && plan.wall_clock_s <= high);
    }

    #[test]
    fn more_light_on_the_target_never_needs_more_time(sky in 17.0..21.9_f64, target in 20.5..24.0_f64) {
        let optimum = |target: f64| least_cost(&night(sky, "luminance", target, "snr = 8"));
        prop_assert!(optimum(target - 0.3) <= optimum(target) * (1.0 + 1e-9));
    }

    #[test]
    fn a_darker_sky_is_never_slower(sky in 17.0..21.7_f64, target in 20.5..24.0_f64) {
        let optimum = |sky: f64| least_cost(&night(sky, "luminance", target, "snr = 8"));
        prop_assert!(optimum(sky + 0.2) <= optimum(sky) * (1.0 + 1e-6));
    }

    #[test]
    fn twice_the_signal_to_noise_needs_four_times_the_subs(
        sky in 0.01..20.0_f64,
        dark in 0.0..0.3_f64,
        read in 1.0..5.0_f64,
    ) {
        // A plain mean dithered at each sub in an endless box: with clipping or a small box a little more is needed.
        let mut search = search(rates(0.02, sky, dark), read, 0.01, 30, 4.0, 9.0);
        (search.clip, search.dither_box_px) = (Clip::NONE, 1e9);
        let subs = |snr: f64| search.subs_for(snr, Seconds(60.0), 1.0).expect("subs");
        prop_assert!((subs(8.0) / subs(4.0) - 4.0).abs() < 1e-9);
    }

    #[test]
    fn shares_of_any_stack_add_up(subs in 1.0..2000.0_f64, every in 1.0..20.0_f64, t in 1.0..900.0_f64) {
        let search = search(rates(0.02, 2.0, 0.1), 3.0, 0.05, 10, 4.0, 9.0);
        let stack = Stack { subs, dither_every: every, dither_box_px: 12.0, clip: search.clip };
        prop_assert!((stack.shares(&search.planes[0].0.sub(Seconds(t)), search.planes[0].1).sum() - 100.0).abs() < 1e-9);
    }
}

/// A search in which nothing binds and no masters or box add to the noise: what the plain laws are stated for.
fn unbound(rates: Rates, read: f64, mismatch: f64, snr: f64) -> Search {
    let mut search = search(rates, read, mismatch, 0, snr, 9.0);
    search.planes[0].0.calibration = Calibration { darks: 0, flats: 0, biases: 0, electrons_per_flat: Electrons(1.0) };
    Search {
        clip: Clip::NONE,
        dither_box_px: 1e9,
        min_subs: 1.0,
        min_positions: 1.0,
        min_positions_per_night: 1.0,
        night: Seconds(1e9),
        ..search
    }
}

#[test]
fn four_times_the_settling_doubles_the_subs_between_dithers() {
    let search = unbound(rates(0.02, 2.0, 0.1), 3.0, 0.002, 20.0);
    let slow = Search { settle: Seconds(4.0 * search.settle.0), ..search.clone() };
    let every = |search: &Search| search.best_at(Seconds(60.0)).expect("a cadence").dither_every;
    // By hand: √(135 e² · 20 s/((0.12 e)² · 63 s)) = 54.55.
    assert!((every(&search) - 54.55).abs() <= 1.0, "{}", every(&search));
    assert!((every(&slow) - 109.1).abs() <= 1.0, "{}", every(&slow));
}

#[test]
fn a_sky_brighter_by_a_magnitude_takes_2_51_times_the_hours_where_nothing_else_counts() {
    let hours = |sky: f64| {
        let search = unbound(rates(0.02, sky, 0.0), 0.01, 0.0, 20.0);
        let search = Search { between: Seconds(0.0), settle: Seconds(0.0), losses_per_s: 0.0, ..search };
        search.optimum().expect("an optimum").least.cost
    };
    approx::assert_relative_eq!(hours(100.0 * 10_f64.powf(0.4)) / hours(100.0), 10_f64.powf(0.4), max_relative = 1e-3);
}

#[test]
fn more_pattern_asks_for_shorter_subs_that_are_dithered_more_often() {
    let least = |mismatch: f64| {
        let least = unbound(rates(0.02, 2.0, 0.1), 3.0, mismatch, 20.0).optimum().expect("an optimum").least;
        (least.sub.0, least.sub.0 * least.dither_every)
    };
    let each = [0.002, 0.01, 0.05, 0.25].map(least);
    for pair in each.windows(2) {
        assert!(pair[1].0 <= pair[0].0 * 1.02 && pair[1].1 < pair[0].1, "{each:?}");
    }
    assert!(each[3].0 < 0.7 * each[0].0, "{each:?}");
}

/// Unrounded least wall-clock time of the night's only filter.
fn least_cost(night: &Night) -> f64 {
    let profile = mono();
    let mode = profile.mode(Some(40.0)).expect("a mode");
    let conditions = subwell::night::Conditions::new(night, mode).expect("conditions");
    let planes = conditions.filters[0].planes.iter().map(|plane| (plane.noise, plane.patch)).collect();
    let template = search(rates(0.02, 2.0, 0.1), 3.0, 0.0, 30, 8.0, 9.0);
    Search { planes, ..template }.optimum().map_or(f64::INFINITY, |optimum| optimum.least.cost)
}

#[test]
fn a_red_or_blue_plane_needs_four_times_the_hours_of_mono_and_green_twice() {
    let profile = CameraProfile::from_toml(&colour_camera()).expect("a profile");
    let text = NIGHT.replace("SKY", "19.0").replace("FILTER", "none").replace("TARGET", "22.0");
    let text = text.replace("GOAL", "snr = 8").replace("gain_setting = 40", "gain_setting = 400");
    let conditions = subwell::night::Conditions::new(&Night::from_toml(&text).expect("a night"), &profile.modes[0]);
    let conditions = conditions.expect("conditions");
    let planes = &conditions.filters[0].planes;
    let whole = planes[0].patch.pixels / 0.25;
    let equal = planes[0].noise;
    let subs = |pixels: f64| {
        let mut search = search(rates(0.02, 2.0, 0.1), 3.0, 0.0, 30, 8.0, 9.0);
        (search.clip, search.dither_box_px) = (Clip::NONE, 1e9);
        search.planes = vec![(equal, Patch::new(pixels, 1.0))];
        search.subs_for(8.0, Seconds(60.0), 1.0).expect("subs")
    };
    for (plane, times) in planes.iter().zip([4.0, 2.0, 2.0, 4.0]) {
        approx::assert_relative_eq!(subs(plane.patch.pixels) / subs(whole), times, max_relative = 1e-9);
    }
}

#[test]
fn every_colour_must_reach_the_goal_without_a_filter_and_the_better_of_green_and_blue_behind_oiii() {
    let profile = CameraProfile::from_toml(&colour_camera()).expect("a profile");
    let text = |filter: &str| {
        let text = NIGHT.replace("SKY", "19.0").replace("FILTER", filter).replace("TARGET", "21.0");
        Night::from_toml(&text.replace("GOAL", "snr = 4").replace("gain_setting = 40", "gain_setting = 400"))
            .expect("a night")
    };
    let alone = plan(&text("none"), &profile).expect("a plan");
    assert!(alone.filters[0].planes.iter().all(|plane| plane.snr.value >= 4.0 - 1e-9));
    let oiii = plan(&text("oiii"), &profile).expect("a plan");
    let snr = |colour| {
        let of = |plane: &&subwell::plan::PlanePlan| plane.colour == Some(colour);
        oiii.filters[0].planes.iter().find(of).map(|plane| plane.snr.value)
    };
    assert!(
        snr(Colour::Red).is_none() && snr(Colour::Green) >= Some(4.0 - 1e-9) && snr(Colour::Blue) < snr(Colour::Green)
    );
}

#[test]
fn hours_are_the_inverse_of_signal_to_noise() {
    let forward = planned(19.0, 22.5, 20.0);
    let hours = forward.wall_clock_s.0 / 3600.0;
    let back = plan(&night(19.0, "luminance", 22.5, &format!("hours = {hours}")), &mono()).expect("a plan");
    assert_eq!(back.goal.kind, subwell::plan::GoalKind::Hours);
    assert!(back.wall_clock_s.0 <= forward.wall_clock_s.0 * (1.0 + 1e-9));
    // Recommended lengths may cost 3 % of the time, which is 1.5 % of the ratio, and counts are whole.
    approx::assert_relative_eq!(back.filters[0].planes[0].snr.value, 20.0, max_relative = 0.02);
}

#[test]
fn a_limit_is_kept_and_named() {
    let capped = |key: &str, goal: &str| {
        let text = NIGHT.replace("longest_sub_s = 300.0", key).replace("SKY", "21.5").replace("FILTER", "h-alpha");
        let text = text.replace("TARGET", "23.0").replace("GOAL", goal);
        plan(&Night::from_toml(&text).expect("a night"), &mono()).expect("a plan")
    };
    let tracked = capped("longest_sub_s = 20.0", "snr = 8");
    assert_eq!((tracked.filters[0].set_by, tracked.filters[0].sub_s), (SetBy::Tracking, Seconds(20.0)));
    let starry = capped("", "snr = 8\nstar_mag_kept = 7.0");
    assert_eq!(starry.filters[0].set_by, SetBy::StarSaturation);
    let limit = starry.filters[0].limits_s.star_saturation.expect("a limit");
    assert!(starry.filters[0].sub_s <= limit && starry.filters[0].limits_s.tracking.is_none());
}

#[test]
fn an_easy_goal_is_set_by_rejection() {
    let easy = plan(&night(21.0, "luminance", 18.0, "snr = 3"), &mono()).expect("a plan");
    assert_eq!(easy.filters[0].set_by, SetBy::Rejection);
    assert_eq!(easy.filters[0].subs_kept, 15);
}

/// Whole subs and whole dithers end before the hours do, and one sub with its dither more would not have.
#[test]
fn given_hours_are_filled_and_never_overrun() {
    for step in 0..60_u32 {
        let hours = 0.4 * 1.06_f64.powi(step as i32);
        let sky = 17.5 + f64::from(step % 9) / 2.0;
        let Ok(plan) = plan(&night(sky, "luminance", 22.0, &format!("hours = {hours}")), &mono()) else { continue };
        let filter = &plan.filters[0];
        let (spent, given) = (plan.wall_clock_s.0, hours * 3600.0);
        let one_more = filter.sub_s.0 + filter.between_subs_s.0 + 2.0 * filter.settle_s.0;
        assert!(spent <= given * (1.0 + 1e-6) && spent > given - one_more, "{hours}: {spent} s of {given}");
        assert!(filter.subs_kept <= filter.subs_to_shoot, "{hours}");
    }
}

/// What sets a length is said as it is found by hand: without the rules the same goal takes clearly less time, or it does not.
#[test]
fn rejection_is_named_where_its_rules_cost_time() {
    let mut named = [0, 0];
    for (snr, rules) in
        (1..20).flat_map(|step| [(1.6_f64.powi(step), "min_subs = 40"), (1.6_f64.powi(step), "min_subs = 15")])
    {
        let text = NIGHT.replace("SKY", "20.0").replace("FILTER", "luminance").replace("TARGET", "22.0");
        let text = text.replace("GOAL", &format!("snr = {snr}"));
        let planned = |rules: &str| {
            plan(&Night::from_toml(&text.replace("[stack]", &format!("[stack]\n{rules}"))).unwrap(), &mono())
        };
        let Ok(with) = planned(rules) else { continue };
        let without = planned("min_subs = 1\nmin_positions = 1\nmin_positions_per_night = 1").unwrap();
        let more = with.wall_clock_s.0 / without.wall_clock_s.0;
        match with.filters[0].set_by {
            SetBy::Rejection => assert!(more > 0.99, "{snr} {more}"),
            _ => assert!(more < 1.12, "{snr} {more}"),
        }
        named[usize::from(with.filters[0].set_by == SetBy::Rejection)] += 1;
    }
    assert!(named.iter().all(|count| *count > 3), "{named:?}");
}

#[test]
fn storage_lengthens_the_subs() {
    let with = |rule: &str| {
        let text = NIGHT.replace("most_subs = 100000", rule).replace("SKY", "18.0").replace("FILTER", "luminance");
        let text = text.replace("TARGET", "24.5").replace("GOAL", "snr = 8");
        plan(&Night::from_toml(&text).expect("a night"), &mono())
    };
    let free = with("most_subs = 100000").expect("a plan");
    let shot = free.filters[0].subs_to_shoot;
    let bound = with(&format!("most_subs = {}", shot / 2)).expect("a plan");
    assert!(bound.filters[0].subs_to_shoot <= shot / 2 && bound.filters[0].sub_s > free.filters[0].sub_s);
    let tight = with("most_subs = 20").expect_err("out of reach");
    assert!(tight.is_out_of_reach() && tight.hint().contains("snr ="), "{tight}: {}", tight.hint());
}

#[test]
fn a_goal_below_the_pattern_is_refused_with_what_is_in_reach() {
    let text = NIGHT.replace("SKY", "18.0").replace("FILTER", "luminance").replace("TARGET", "27.5");
    let text = text.replace("GOAL", "snr = 500").replace("[goal]", "[calibration]\ndarks = 1\nflats = 1\n[goal]");
    let error = plan(&Night::from_toml(&text).expect("a night"), &mono()).expect_err("out of reach");
    assert!(error.to_string().contains("fixed pattern"), "{error}");
    assert!(matches!(error, PlanError::OutOfReach { .. }));
}

#[test]
fn hours_that_hold_too_few_subs_are_refused() {
    let error = plan(&night(19.0, "luminance", 22.0, "hours = 0.005"), &mono()).expect_err("too short");
    assert!(error.is_out_of_reach() && error.to_string().contains("15 subs"), "{error}");
}

#[test]
fn without_a_gain_setting_the_fastest_mode_is_taken() {
    let text = NIGHT.replace("gain_setting = 40\n", "").replace("SKY", "21.5").replace("FILTER", "oiii");
    let text = text.replace("TARGET", "22.5").replace("GOAL", "snr = 8");
    let plan = plan(&Night::from_toml(&text).expect("a night"), &mono()).expect("a plan");
    assert_eq!(plan.by_gain_setting.len(), 2);
    let least = plan.by_gain_setting.iter().min_by(|a, b| a.wall_clock_s.0.total_cmp(&b.wall_clock_s.0)).unwrap();
    assert_eq!((plan.gain_setting, plan.wall_clock_s), (least.gain_setting, least.wall_clock_s));
}

#[test]
fn the_star_that_just_burns_bounds_the_sub_that_burns_it() {
    let first = plan(&night(18.5, "luminance", 22.5, "snr = 8"), &mono()).expect("a plan");
    for setting in &first.by_gain_setting {
        let burns = setting.filters[0].stars_burn_mag.expect("a star");
        let text =
            NIGHT.replace("gain_setting = 40", &format!("gain_setting = {}", setting.gain_setting.expect("one")));
        let text = text.replace("SKY", "18.5").replace("FILTER", "luminance").replace("TARGET", "22.5");
        let text = text.replace("GOAL", &format!("snr = 8\nstar_mag_kept = {}", burns.0));
        let kept = plan(&Night::from_toml(&text).expect("a night"), &mono()).expect("a plan");
        let limit = kept.filters[0].limits_s.star_saturation.expect("a limit");
        approx::assert_relative_eq!(limit.0, setting.filters[0].sub_s.0, max_relative = 1e-9);
    }
    // The higher gain setting has less read noise and fills its well with fainter stars.
    let [high, low] = [&first.by_gain_setting[0].filters[0], &first.by_gain_setting[1].filters[0]];
    assert!(high.stars_burn_mag > low.stars_burn_mag && high.read_noise_share_percent < low.read_noise_share_percent);
}

#[test]
fn a_missing_loss_rate_is_said_aloud() {
    let text = NIGHT.replace("lost_subs_per_hour = 1.0\n", "").replace("SKY", "18.5").replace("FILTER", "luminance");
    let text = text.replace("TARGET", "22.5").replace("GOAL", "snr = 8");
    let plan = plan(&Night::from_toml(&text).expect("a night"), &mono()).expect("a plan");
    assert!(plan.caveats.iter().any(|c| c.code == "assumed-value" && c.about == "mount.lost_subs_per_hour"));
}

#[test]
fn a_bortle_class_is_the_largest_uncertainty_of_a_town() {
    let text = NIGHT.replace("{ mag_per_arcsec2 = SKY }", "{ bortle = 7 }").replace("FILTER", "luminance");
    let text = text.replace("TARGET", "22.8").replace("GOAL", "snr = 8");
    let plan = plan(&Night::from_toml(&text).expect("a night"), &mono()).expect("a plan");
    assert_eq!(plan.largest_uncertainty.source, Source::Sky);
    assert!(plan.largest_uncertainty.share_percent > 50.0);
    let [low, high] = plan.wall_clock_range_s;
    assert!(high.0 / plan.wall_clock_s.0 > 1.3 && low.0 / plan.wall_clock_s.0 < 0.8);
}

#[test]
fn filters_keep_the_shares_of_the_hours() {
    let two = "[[filters]]\nname = \"luminance\"\nshare = 0.6\n[[filters]]\nname = \"red\"\nshare = 0.4\n";
    let text = NIGHT.replace("[[filters]]\nname = \"FILTER\"\nquantum_efficiency = 0.80\n", two);
    let text = text.replace("SKY", "19.0").replace("TARGET", "22.5").replace("GOAL", "snr = 10");
    let plan = plan(&Night::from_toml(&text).expect("a night"), &mono()).expect("a plan");
    approx::assert_relative_eq!(plan.filters[0].share, 0.6, max_relative = 0.03);
    assert!(plan.filters.iter().all(|filter| filter.planes[0].snr.value >= 10.0 - 1e-9));
    let sum: f64 = plan.filters.iter().map(|filter| filter.wall_clock_s.0).sum();
    approx::assert_relative_eq!(plan.wall_clock_s.0, sum);
}

#[test]
fn the_json_has_the_promised_keys() {
    let json = serde_json::to_value(planned(18.5, 22.8, 8.0)).expect("JSON");
    let keys = |value: &serde_json::Value| value.as_object().expect("an object").keys().cloned().collect::<Vec<_>>();
    let mut top = keys(&json);
    top.sort();
    let expected = "biases by_gain_setting calibration caveats darks filters flats format gain_setting goal largest_uncertainty night \
                    nights program schedule sensor_c short_set version wall_clock_range_s wall_clock_s";
    assert_eq!(top.join(" "), expected);
    let mut filter = keys(&json["filters"][0]);
    filter.sort();
    let expected = "between_subs_s dither_every_subs dither_px dithers gigabytes integration_s limits_s \
                    lost_subs_per_hour name planes positions_per_night rules_of_thumb set_by settle_s share sky_limited_excess_percent \
                    sky_limited_s sub_optimum_s sub_range_s sub_range_within_percent sub_s sub_stretches_s subs_kept subs_kept_range subs_to_shoot wall_clock_s without_dither";
    assert_eq!(filter.join(" "), expected);
    let mut plane = keys(&json["filters"][0]["planes"][0]);
    plane.sort();
    let expected = "colour faintest_mag_per_arcsec2 faintest_rayleigh inputs noise_share_percent plane rates_e_per_s \
                    saturation_is sky_level_dn sky_share_of_full_well_percent snr";
    assert_eq!(plane.join(" "), expected);
    assert_eq!(keys(&json["filters"][0]["limits_s"]).len(), 4);
    assert_eq!(keys(&json["filters"][0]["planes"][0]["inputs"]).len(), 12);
    assert_eq!(keys(&json["filters"][0]["planes"][0]["noise_share_percent"]).len(), 9);
    assert_eq!(json["format"], "subwell.plan");
}

#[test]
fn what_an_error_says_is_in_reach_is_in_reach() {
    let with = |goal: &str| {
        let text = NIGHT.replace("most_subs = 100000", "most_subs = 200").replace("SKY", "18.5");
        let text = text.replace("FILTER", "luminance").replace("TARGET", "24.5").replace("GOAL", goal);
        plan(&Night::from_toml(&text).expect("a night"), &mono())
    };
    let hint = with("snr = 80").expect_err("out of reach").hint();
    let snr = hint.split("snr = ").nth(1).and_then(|rest| rest.split(',').next()).expect("a number");
    assert!(with(&format!("snr = {snr}")).is_ok(), "{hint}");
}

#[test]
fn more_hours_than_storage_fill_the_storage() {
    let text = NIGHT.replace("most_subs = 100000", "most_subs = 200").replace("SKY", "18.5");
    let text = text
        .replace("FILTER", "luminance")
        .replace("TARGET", "22.5")
        .replace("longest_sub_s = 300.0", "longest_sub_s = 10.0");
    let plan = plan(&Night::from_toml(&text.replace("GOAL", "hours = 9")).expect("a night"), &mono()).expect("a plan");
    assert!(plan.filters[0].subs_to_shoot <= 200 && plan.filters[0].subs_kept >= 198);
}

const DATED: &str = r#"
latitude_deg = LATITUDE
longitude_deg = 21.0
utc_offset_h = 1.0
"#;

/// A dated night at a latitude; `target` and `goal` are lines of their tables.
fn dated_night(latitude: f64, date: &str, target: &str, goal: &str) -> Result<Night, NightError> {
    let text = NIGHT.replace("SKY", "20.5").replace("FILTER", "luminance").replace("TARGET", "22.5");
    let text = text.replace("[site]", &format!("[site]{}", DATED.replace("LATITUDE", &latitude.to_string())));
    let text = text.replace("altitude_deg = 55.0", target);
    Night::from_toml(&text.replace("GOAL", &format!("snr = 15\ndate = \"{date}\"\n{goal}")))
}

fn dated(latitude: f64, date: &str, target: &str, goal: &str) -> Result<Plan, PlanError> {
    plan(&dated_night(latitude, date, target, goal)?, &mono())
}

fn subs(plan: &Plan) -> u64 {
    plan.filters[0].subs_kept
}

const FIXED: &str = "altitude_deg = 55.0";
/// A galaxy of the northern autumn sky.
const POSITION: &str = "ra_deg = 10.7\ndec_deg = 41.3";

/// A mean over samples of one and the same number.
const ROUNDING: f64 = 1e-12;

/// Subs of a minute that the night's only plane needs, not rounded.
fn subs_of_a_minute(night: &Night) -> f64 {
    let profile = mono();
    let conditions =
        subwell::night::Conditions::new(night, profile.mode(Some(40.0)).expect("a mode")).expect("conditions");
    let planes = conditions.filters[0].planes.iter().map(|plane| (plane.noise, plane.patch)).collect();
    let template = search(rates(0.02, 2.0, 0.1), 3.0, 0.0, 30, 8.0, 9.0);
    Search { planes, ..template }.subs_for(15.0, Seconds(60.0), 4.0).expect("subs")
}

#[test]
fn the_moon_never_saves_subs() {
    let dark = planned_without_a_date();
    let few = subs_of_a_minute(&night(20.5, "luminance", 22.5, "snr = 15"));
    // A month, from full Moon to full Moon.
    let mut most = 0.0_f64;
    for date in (0..30).map(|day| format!("2026-10-{:02}", day + 1)) {
        let moonlit = dated(45.0, &date, FIXED, "").expect("a plan");
        let [with, without] = [&moonlit, &dark].map(|plan| plan.filters[0].planes[0].rates_e_per_s);
        approx::assert_relative_eq!(with.sky.0, without.sky.0, max_relative = ROUNDING);
        let subs = subs_of_a_minute(&dated_night(45.0, &date, FIXED, "").expect("a night"));
        assert!(subs >= few * (1.0 - ROUNDING) && (with.moon.0 == 0.0 || subs > few), "{date}: {subs}, {few}");
        // A length is round, which may cost 3 %.
        assert!(moonlit.wall_clock_s.0 > dark.wall_clock_s.0 * 0.96, "{date}");
        most = most.max(subs / few);
    }
    assert!(most > 1.5, "{most} at full Moon");
}

fn planned_without_a_date() -> Plan {
    let text = NIGHT.replace("SKY", "20.5").replace("FILTER", "luminance").replace("TARGET", "22.5");
    plan(&Night::from_toml(&text.replace("GOAL", "snr = 15")).expect("a night"), &mono()).expect("a plan")
}

#[test]
fn a_date_at_new_moon_is_no_moon() {
    // New Moon on 2026-10-10: it sets with the Sun.
    let new = dated(45.0, "2026-10-10", FIXED, "").expect("a plan");
    let none = planned_without_a_date();
    assert_eq!((subs(&new), new.filters[0].sub_s), (subs(&none), none.filters[0].sub_s));
    let [with, without] = [&new, &none].map(|plan| plan.filters[0].planes[0].rates_e_per_s);
    // Between two airmasses the target's light is drawn as a straight line of its logarithm.
    approx::assert_relative_eq!(with.total().0, without.total().0, max_relative = 1e-5);
    assert_eq!(with.moon.0, 0.0);
    assert!(none.night.is_none() && none.caveats.iter().any(|c| c.code == "moon-not-counted"));
    assert!(new.caveats.iter().all(|c| c.code != "moon-not-counted"));
}

#[test]
fn shares_of_a_moonlit_night_add_up_and_name_the_moon() {
    let full = dated(45.0, "2026-10-26", POSITION, "").expect("a plan");
    let share = full.filters[0].planes[0].noise_share_percent;
    assert!(share.moon > 20.0 && (share.sum() - 100.0).abs() < 1e-9, "{share:?}");
    let night = full.night.expect("a night");
    assert!(night.moon_illuminated_percent > 98.0 && night.moon_free_hours < 1.0, "{night:?}");
    assert!(night.sky_mag_per_arcsec2.expect("a magnitude") < 20.0);
}

#[test]
fn usable_hours_cap_those_of_a_night() {
    let low = "ra_deg = 83.8\ndec_deg = -5.4\nmin_altitude_deg = 30";
    let plan = dated(45.0, "2026-10-26", low, "").expect("a plan");
    let night = plan.night.as_ref().expect("a night");
    assert!(night.usable_hours < night.dark_hours && night.planned_hours == night.usable_hours.min(4.0));
    assert!(night.target_altitude_deg[0] >= 30.0 && night.airmass < 2.0);
    assert_eq!(plan.nights, (plan.wall_clock_s.0 / 3600.0 / night.planned_hours).ceil() as u32);
}

#[test]
fn latitude_55_has_no_astronomical_night_on_the_june_solstice() {
    let plan = dated(55.0, "2026-06-21", FIXED, "").expect("a plan");
    let caveat = plan.caveats.iter().find(|c| c.code == "no-astronomical-night").expect("a caveat");
    assert!(caveat.message.contains("-11.6"), "{}", caveat.message);
    let night = plan.night.as_ref().expect("a night");
    assert!(night.dark_hours > 1.0 && night.dark_hours < 3.0 && night.sun_below_deg > -12.0);
    // Twilight is far brighter than the natural sky there, so it costs.
    let dark = dated(55.0, "2026-10-10", FIXED, "").expect("a plan");
    assert!(subs(&plan) > 2 * subs(&dark), "{} and {}", subs(&plan), subs(&dark));
    let error = dated(55.0, "2026-06-21", FIXED, "need_astronomical_night = true").expect_err("no night");
    assert!(error.is_out_of_reach() && error.code() == "goal-out-of-reach");
    assert!(error.to_string().contains("no astronomical night"), "{error}");
    let next = error.hint().split('"').nth(1).expect("a date").to_owned();
    assert!(dated(55.0, &next, FIXED, "need_astronomical_night = true").is_ok(), "{next}");
}

#[test]
fn latitude_50_falls_back_to_the_sun_below_12_degrees() {
    let plan = dated(50.0, "2026-06-15", FIXED, "need_astronomical_night = false").expect("a plan");
    let night = plan.night.expect("a night");
    assert_eq!(night.sun_below_deg, -12.0);
    assert!((night.dark_hours - 3.99).abs() < 0.05);
    assert!(plan.caveats.iter().any(|c| c.code == "no-astronomical-night"));
}

#[test]
fn no_darkness_and_no_target_are_errors_that_name_a_date() {
    let bright = dated(66.0, "2026-06-21", FIXED, "").expect_err("no darkness");
    assert!(bright.is_out_of_reach() && bright.to_string().contains("no darkness"), "{bright}");
    let date = bright.hint().split('"').nth(1).expect("a date").to_owned();
    assert!(dated(66.0, &date, FIXED, "").is_ok(), "{date}");
    // Orion in June.
    let orion = "ra_deg = 83.8\ndec_deg = -5.4";
    let down = dated(45.0, "2026-06-10", orion, "").expect_err("down");
    assert!(down.is_out_of_reach() && down.to_string().contains("horizon"), "{down}");
    let date = down.hint().split('"').nth(1).expect("a date").to_owned();
    assert!(dated(45.0, &date, orion, "").is_ok(), "{date}");
    let never = dated(45.0, "2026-06-10", "ra_deg = 83.8\ndec_deg = -75", "").expect_err("never up");
    assert!(never.hint().contains("no date within a year"), "{}", never.hint());
}

#[test]
fn what_is_no_date_is_refused_and_a_position_takes_two() {
    assert!(!dated(45.0, "2026-02-30", FIXED, "").expect_err("no date").is_out_of_reach());
    assert!(dated(45.0, "2026-10-10", "ra_deg = 10.0", "").is_err());
}
