//! What a plan says beside the lights: the short set for what burns, and the calibration frames.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::camera::CameraProfile;
use subwell::night::Night;
use subwell::noise::dark_current;
use subwell::plan::{BetterWay, Burns, FilterCalibration, Plan, plan};
use subwell::units::{Celsius, Seconds};

const CAMERA: &str = r#"
camera = "Sample mono"
provenance = "published"
source = "made up for the tests"
[[modes]]
pixel_um = 3.5
width_px = 5000
height_px = 3600
[[modes.planes]]
plane = "mono"
gain_e_per_dn = 0.25
offset_dn = 500.0
read_noise_e = 2.0
saturation_e = 15000.0
[[modes.planes.dark_current]]
sensor_c = -10.0
e_per_s = 0.02
nonuniformity_percent = 50.0
[modes.planes.thermal]
activation_ev = 0.62
doubling_k_at_0_c = 7.0
reference_c = -10.0
reference_e_per_s = 0.019
floor_e_per_s = 0.001
measured_c = [-20.0, 25.0]
"#;

/// One pixel is asked for, so that what places hit twice cost is the same for every reader.
const NIGHT: &str = r#"
[camera]
sensor_c = SENSOR
[optics]
aperture_mm = 76.0
focal_length_mm = 440.0
[site]
sky = { mag_per_arcsec2 = 21.0 }
[[filters]]
name = "luminance"
[target]
surface_brightness_mag = 23.0
altitude_deg = 55.0
TARGET
[mount]
longest_sub_s = 300.0
lost_subs_per_hour = 1.0
[stack]
most_subs = 100000
most_gigabytes = 100000.0
[calibration]
CALIBRATION
[goal]
pixel = true
GOAL
"#;

fn planned(sensor: f64, target: &str, calibration: &str, goal: &str) -> Plan {
    let text = NIGHT.replace("SENSOR", &sensor.to_string()).replace("TARGET", target);
    let night = Night::from_toml(&text.replace("CALIBRATION", calibration).replace("GOAL", goal)).expect("a night");
    plan(&night, &CameraProfile::from_toml(CAMERA).expect("a profile")).expect("a plan")
}

fn advice(plan: &Plan) -> &FilterCalibration {
    &plan.calibration.filters[0]
}

const WELL: f64 = 15_000.0;
const READ2: f64 = 4.0 + 0.25 * 0.25 / 12.0;

#[test]
fn a_core_that_burns_gets_subs_that_keep_it() {
    let plan = planned(-10.0, "core_surface_brightness_mag = 10.0", "", "snr = 2.0");
    let (filter, set) = (&plan.filters[0], &plan.short_set.as_ref().expect("a short set").sets[0]);
    let rates = filter.planes[0].rates_e_per_s;
    // The core is as many times brighter as its magnitude says.
    let core = rates.target.0 * 10_f64.powf(0.4 * (23.0 - 10.0));
    let background = rates.sky.0 + rates.dark.0;
    let blend = &set.planes[0];
    assert_eq!((set.burns, set.needed), (Burns::Core, true));
    assert_relative_eq!(blend.brightest_e_per_s.0, core + background, max_relative = 1e-9);
    assert_relative_eq!(set.burns_after_s.0, 0.8 * WELL / (core + background), max_relative = 1e-9);
    let (short, long) = (set.sub_s.expect("a length").0, filter.sub_s.0);
    assert!(short <= set.burns_after_s.0 && set.burns_after_s.0 < long && set.long_sub_s.0 == long);
    // The bright end is where a pixel of the long subs is filled to four fifths.
    assert_relative_eq!(blend.blend_e[1], 0.8 * WELL, max_relative = 1e-9);
    assert_eq!(blend.blend_dn[1], (500.0 + 0.8 * WELL / 0.25) as u64);
    let seam = 0.8 * WELL / long - background;
    let [faint, bright] = blend.blend_mag_per_arcsec2.expect("magnitudes").map(|m| m.0);
    assert_relative_eq!(bright, 23.0 - 2.5 * (seam / rates.target.0).log10(), max_relative = 1e-9);
    assert_relative_eq!(blend.overlap_mag, faint - bright, max_relative = 1e-9);
    // The CCD equation, masters, pattern and clipping left out, which cost a few per cent.
    let kept = set.subs_kept as f64;
    let snr = |light: f64| light * short * kept.sqrt() / ((light + background) * short + READ2).sqrt();
    assert_relative_eq!(blend.snr_in_a_pixel, snr(core), max_relative = 0.05);
    assert_relative_eq!(blend.snr_at_the_seam, snr(seam), max_relative = 0.05);
    let at_faint = rates.target.0 * 10_f64.powf(0.4 * (23.0 - faint));
    assert_relative_eq!(snr(at_faint), 10.0, max_relative = 0.05);
    assert!(blend.snr_at_the_seam >= 50.0 && blend.blend_mag_per_arcsec2.is_some() && blend.blend_star_mag.is_none());
    let dithers = (set.subs_to_shoot as f64 / set.dither_every_subs as f64).ceil();
    assert_relative_eq!(set.wall_clock_s.0, set.subs_to_shoot as f64 * (short + 3.0) + dithers * 20.0);
}

#[test]
fn so_few_short_subs_as_the_seam_allows() {
    // A very bright core: many subs of a fraction of a second, as many as noise at the seam asks for.
    let plan = planned(-10.0, "core_surface_brightness_mag = 5.0", "", "snr = 2.0");
    let set = &plan.short_set.as_ref().expect("a short set").sets[0];
    let blend = &set.planes[0];
    assert!(set.sub_s.expect("a length").0 < 1.0 && set.subs_kept > 15);
    // One fewer would not do: the signal over noise grows as the root of the count.
    let fewer = blend.snr_at_the_seam * ((set.subs_kept - 1) as f64 / set.subs_kept as f64).sqrt();
    assert!(fewer < 50.0 && blend.snr_at_the_seam >= 50.0, "{} of {}", blend.snr_at_the_seam, set.subs_kept);
}

#[test]
fn a_core_that_does_not_burn_needs_nothing() {
    let plan = planned(-10.0, "core_surface_brightness_mag = 20.0", "", "snr = 2.0");
    let short = plan.short_set.as_ref().expect("an answer");
    let set = &short.sets[0];
    assert!(!set.needed && set.sub_s.is_none() && set.planes.is_empty() && set.burns_after_s > set.long_sub_s);
    assert_eq!(short.wall_clock_s, Seconds(0.0));
    assert_eq!(planned(-10.0, "", "", "snr = 2.0").short_set, None);
}

#[test]
fn a_star_that_shortens_the_subs_may_have_short_ones_of_its_own() {
    let free = planned(-10.0, "", "", "snr = 10.0");
    let bound = planned(-10.0, "", "", "snr = 10.0\nstar_mag_kept = 8.0");
    let set = &bound.short_set.as_ref().expect("a short set").sets[0];
    let instead = set.instead.expect("a longer set");
    assert_eq!((set.burns, instead.long_sub_s), (Burns::Star, free.filters[0].sub_s));
    assert_relative_eq!(instead.long_wall_clock_s.0, free.wall_clock_s.0, max_relative = 0.02);
    let with = instead.long_wall_clock_s.0 + set.wall_clock_s.0;
    assert_relative_eq!(instead.with_short_set_s.0, with, max_relative = 1e-12);
    assert_relative_eq!(instead.saves_s.0, bound.wall_clock_s.0 - with, max_relative = 1e-9);
    assert!(instead.saves_s.0 > 0.0 && set.sub_s.expect("a length") <= set.burns_after_s);
    // The long subs burn stars that are fainter by as much as they are longer, nearly: the sky fills the pixel too.
    let [_, bright] = set.planes[0].blend_star_mag.expect("magnitudes").map(|m| m.0);
    assert!(bright > 8.0, "{bright}");
    let filled = |magnitude: f64, sub: f64| {
        let star = 0.8 * WELL / set.burns_after_s.0 - background(&bound);
        (star * 10_f64.powf(0.4 * (8.0 - magnitude)) + background(&bound)) * sub
    };
    assert_relative_eq!(filled(bright, instead.long_sub_s.0), 0.8 * WELL, max_relative = 1e-9);
}

fn background(plan: &Plan) -> f64 {
    let rates = plan.filters[0].planes[0].rates_e_per_s;
    rates.sky.0 + rates.dark.0
}

/// Variance of one pixel of the stack without masters, and what a fixed pattern is multiplied by: `sensor.md` §6.
fn stack(plan: &Plan) -> (f64, f64) {
    let filter = &plan.filters[0];
    let (plane, subs) = (&filter.planes[0], filter.subs_kept as f64);
    let (rates, inputs, t) = (plane.rates_e_per_s, plane.inputs, filter.sub_s.0);
    let positions = (subs / filter.dither_every_subs as f64).max(1.0);
    let weight = 1.0 / positions + (1.0 - 1.0 / positions) / f64::from(filter.dither_px).powi(2);
    let shot = (rates.target.0 + rates.sky.0 + rates.dark.0) * t + READ2;
    (inputs.clip_factor * shot / subs + inputs.drift_e2 / subs + inputs.pattern_e2 * weight, weight)
}

#[test]
fn frames_add_to_the_stack_what_the_master_formulas_say() {
    let plan = planned(-10.0, "", "darks = 12\nflats = 13\nbiases = 14", "snr = 4.0");
    let (filter, found) = (&plan.filters[0], advice(&plan));
    let (rates, t) = (filter.planes[0].rates_e_per_s, filter.sub_s.0);
    let (variance, weight) = stack(&plan);
    let percent = |master: f64| 100.0 * master * weight / variance;
    let light = (rates.target.0 + rates.sky.0) * t;
    let flat = 0.5 * WELL;
    // (D t + R²)/N_d, (S t)²/(N_f F), and the zero of the flats (S t)² R²/(N_b F²): Janesick's and the sheet's forms.
    let darks = percent((rates.dark.0 * t + READ2) / 12.0);
    let flats = percent(light * light / (13.0 * flat));
    let biases = percent(light * light * READ2 / (14.0 * flat * flat));
    assert_relative_eq!(found.darks.given_adds_percent.expect("darks"), darks, max_relative = 1e-6);
    assert_relative_eq!(found.flats.given_adds_percent.expect("flats"), flats, max_relative = 1e-6);
    assert_relative_eq!(found.biases.given_adds_percent.expect("biases"), biases, max_relative = 1e-6);
    // A third of 5 % each.
    assert_relative_eq!(found.darks.for_noise, darks * 12.0 / (5.0 / 3.0), max_relative = 1e-6);
    assert_eq!([found.darks.for_rejection, found.darks.given], [11, 12]);
}

#[test]
fn with_the_frames_that_are_advised_masters_add_no_more_than_the_share() {
    for share in [1.0, 5.0, 20.0] {
        let key = format!("share_percent = {share}");
        let found = planned(-10.0, "", &key, "snr = 4.0");
        let frames = advice(&found);
        let counts = format!("{key}\ndarks = {}\nflats = {}", frames.darks.count, frames.flats.count);
        let plan = planned(-10.0, "", &counts, "snr = 4.0");
        let masters = plan.filters[0].planes[0].noise_share_percent.calibration;
        assert!(masters / (100.0 - masters) * 100.0 <= share, "{masters} of {share}");
        assert!(frames.darks.adds_percent <= share / 3.0 && frames.flats.adds_percent <= share / 3.0);
        assert_eq!(plan.calibration.share_percent, share);
    }
}

#[test]
fn flats_are_bright_enough_and_straight() {
    let plan = planned(-10.0, "", "", "snr = 4.0");
    let level = &advice(&plan).flat_level.planes[0];
    assert_relative_eq!(level.from_e.0, 20.0 * READ2, max_relative = 1e-9);
    assert_relative_eq!(level.aim_e.0, 7500.0);
    assert_relative_eq!(level.to_e.0, 10_500.0);
    assert_eq!([level.aim_dn, level.to_dn], [30_500, 42_500]);
    assert_eq!(advice(&plan).flat_level.exposure_of_measured_lamp_s, None, "the profile has no flats");
}

#[test]
fn the_lamp_of_the_measured_flats_sets_the_exposure() {
    let point = |mean: f64, exposure: f64| {
        format!(
            "[[modes.photon_transfer]]\nplane = \"mono\"\nmean_dn = {mean}\nvariance_dn2 = 100.0\nexposure_s = {exposure}\nused = true\n"
        )
    };
    let night =
        NIGHT.replace("SENSOR", "-10.0").replace("TARGET", "").replace("CALIBRATION", "").replace("GOAL", "snr = 4.0");
    let with = |points: &[(f64, f64)]| {
        let points: String = points.iter().map(|(mean, exposure)| point(*mean, *exposure)).collect();
        let camera = CAMERA.replace("[[modes.planes]]", &format!("{points}[[modes.planes]]"));
        let plan =
            plan(&Night::from_toml(&night).expect("a night"), &CameraProfile::from_toml(&camera).expect("a profile"));
        advice(&plan.expect("a plan")).flat_level.exposure_of_measured_lamp_s
    };
    // 5000 DN/s are 1250 e-/s: half of 15000 e- after 6 s, 70 % after 8.4 s.
    let exposure = with(&[(5000.0, 1.0), (10_010.0, 2.0), (20_000.0, 4.0)]).expect("one lamp");
    assert_relative_eq!(exposure.aim_s.0, 6.0, max_relative = 0.002);
    assert_relative_eq!(exposure.to_s.0, 8.4, max_relative = 0.002);
    assert_relative_eq!(exposure.from_s.0, 20.0 * READ2 / 1250.0, max_relative = 0.002);
    assert_eq!(with(&[(5000.0, 1.0), (20_000.0, 2.0)]), None, "two lamps");
}

#[test]
fn darks_and_a_map_are_alike_where_the_break_even_says() {
    let goal = "snr = 4.0";
    let warm = |mismatch: f64| planned(20.0, "", &format!("dark_mismatch_c = {mismatch}"), goal);
    let found = advice(&warm(2.0)).darks_or_map;
    let below = found.darks_win_below_c.expect("dark current");
    assert!(below > 5.0 && below < 15.0, "{below}");
    assert_eq!(found.better, BetterWay::Darks);
    // The break-even is that of the plan's sub length, which the mismatch moves a little.
    let below =
        (0..4).fold(below, |below, _| advice(&warm(below)).darks_or_map.darks_win_below_c.expect("a break-even"));
    // At the break-even both leave the same pattern, so that the hours are the same.
    let even = advice(&warm(below)).darks_or_map;
    let ratio = even.darks_time_ratio.expect("darks") / even.map_time_ratio.expect("a map");
    assert_abs_diff_eq!(ratio, 1.0, epsilon = 2e-3);
    let far = advice(&warm(2.0 * below)).darks_or_map;
    assert_eq!(far.better, BetterWay::BadPixelMap);
    // A cooled sensor under this sky hardly shows its pattern.
    assert!(advice(&planned(-20.0, "", "", goal)).darks_or_map.map_time_ratio.expect("a map") < 1.2);
}

#[test]
fn darks_of_a_library_serve_up_to_the_share() {
    let plan = planned(10.0, "", "share_percent = 3", "snr = 4.0");
    let (found, filter) = (advice(&plan).dark_library, &plan.filters[0]);
    let profile = CameraProfile::from_toml(CAMERA).expect("a profile");
    let rate = |celsius: f64| dark_current(&profile.modes[0].planes[0], Celsius(celsius)).rate.value.0;
    let (variance, weight) = stack(&plan);
    let added = |pattern: f64| 100.0 * pattern * pattern * weight / variance;
    let (coldest, warmest) = (found.coldest_c.expect("cold").0, found.warmest_c.expect("warm").0);
    let longest = found.longest_s.expect("long").0;
    assert!(coldest < 10.0 && 10.0 < warmest && longest > filter.sub_s.0);
    let uneven = 0.5;
    for (celsius, further) in [(coldest, -0.01), (warmest, 0.01)] {
        let share = |celsius: f64| added((rate(celsius) - rate(10.0)).abs() * uneven * filter.sub_s.0);
        // Temperatures are told to a hundredth of a kelvin: the next one lies beyond the share.
        let step = share(celsius + further) - share(celsius);
        assert!((share(celsius) - 3.0).abs() <= step && step < 0.05, "{} {step}", share(celsius));
    }
    let pattern = rate(10.0) * uneven * (longest - filter.sub_s.0);
    assert_relative_eq!(added(pattern), 3.0, max_relative = 1e-6);
}

/// The same night with an earlier stack in hand.
fn with_hours(already: &str, snr: f64) -> Plan {
    planned(-10.0, "", "darks = 5000\nflats = 5000\nbiases = 5000", &format!("snr = {snr}\n{already}"))
}

#[test]
fn hours_under_the_same_sky_in_the_same_subs_are_hours_less() {
    let plain = with_hours("", 20.0);
    let filter = &plain.filters[0];
    // Half of the plan in hand, in its own subs: half is left, and both together reach the goal.
    let hours = filter.integration_s.0 / 3600.0 / 2.0;
    let (sub, every) = (filter.sub_s.0, filter.dither_every_subs);
    let had = format!("[[goal.already]]\nhours = {hours}\nsub_s = {sub}\ndither_every_subs = {every}");
    let rest = with_hours(&had, 20.0);
    let in_hand = rest.filters[0].in_hand.expect("something in hand");
    assert_abs_diff_eq!(in_hand.snr, 20.0 / 2.0_f64.sqrt(), epsilon = 0.3);
    assert_abs_diff_eq!(in_hand.weight_percent, 50.0, epsilon = 2.0);
    assert!(in_hand.combined_snr >= 20.0 && in_hand.combined_snr < 20.3);
    assert_relative_eq!(rest.wall_clock_s.0, plain.wall_clock_s.0 / 2.0, max_relative = 0.05);
    assert_eq!(plain.filters[0].in_hand, None);
}

#[test]
fn hours_under_a_brighter_sky_or_in_shorter_subs_are_worth_less() {
    let snr = |more: &str, sub: f64| {
        let had = format!("[[goal.already]]\nhours = 1.0\nsub_s = {sub}\ndither_every_subs = 1\n{more}");
        with_hours(&had, 20.0).filters[0].in_hand.expect("something in hand").snr
    };
    let dark = snr("", 120.0);
    // Three magnitudes of sky are a factor of 15.8 in its variance: nearly 3.98 in signal over noise.
    let bright = snr("sky = { mag_per_arcsec2 = 18.0 }", 120.0);
    assert!((3.4..3.99).contains(&(dark / bright)), "{}", dark / bright);
    // Read noise 60 times an hour against 1800 times, by the CCD equation; the masters' part is small.
    let plan = with_hours("", 20.0);
    let rates = plan.filters[0].planes[0].rates_e_per_s;
    let sub = |t: f64| ((rates.target.0 + rates.sky.0 + rates.dark.0) * t + READ2) / t;
    assert_relative_eq!(dark / snr("", 2.0), (sub(2.0) / sub(120.0)).sqrt(), max_relative = 0.05);
    let both = with_hours(
        "[[goal.already]]\nhours = 1.0\nsub_s = 120.0\ndither_every_subs = 1\n[[goal.already]]\nhours = 1.0\nsub_s = 120.0\n\
         sky = { mag_per_arcsec2 = 18.0 }\ndither_every_subs = 1",
        20.0,
    );
    assert_relative_eq!(both.filters[0].in_hand.expect("both").snr, dark.hypot(bright), max_relative = 1e-9);
}

#[test]
fn a_goal_that_is_reached_leaves_nothing_to_shoot() {
    let plan = with_hours("[[goal.already]]\nhours = 300.0\nsub_s = 120.0", 2.0);
    assert_eq!((plan.filters[0].subs_to_shoot, plan.wall_clock_s), (0, Seconds(0.0)));
    assert!(plan.caveats.iter().any(|caveat| caveat.code == "goal-reached"));
}

#[test]
fn earlier_stacks_that_cannot_be_are_refused() {
    for (stack, word) in [
        ("hours = -1.0\nsub_s = 60.0", "goal.already.hours"),
        ("hours = 1.0\nsub_s = 0.0", "goal.already.sub_s"),
        ("hours = 1.0\nsub_s = 60.0\nfilter = \"oiii\"", "luminance"),
        ("hours = 1.0", "sub_s"),
        ("hours = 1.0\nsub_s = 60.0\nsky = { mag_per_arcsec2 = 99.0 }", "99"),
    ] {
        let text = NIGHT.replace("SENSOR", "-10.0").replace("TARGET", "").replace("CALIBRATION", "");
        let night = Night::from_toml(&text.replace("GOAL", &format!("snr = 5.0\n[[goal.already]]\n{stack}")));
        let error = night.expect_err(stack);
        assert!(error.to_string().contains(word), "{error}");
    }
}
