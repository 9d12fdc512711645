//! Cooling, another camera, another place: what each decision must show, recomputed apart from the code that shows it.

use std::f64::consts::{LN_2, PI};

use approx::assert_relative_eq;
use rand::SeedableRng;
use rand_distr::{Distribution, Normal, Poisson};
use serde_json::Value;
use subwell::camera::CameraProfile;
use subwell::decide::{Comparison, Cooling, PurchaseTarget, Verdict};
use subwell::night::{Conditions, Night, NightError};
use subwell::noise::Rates;
use subwell::plan::PlanError;
use subwell::simulate::{StackTruth, snr_found, stacked_field};
use subwell::sky::Lamps;
use subwell::units::{Electrons, ElectronsPerDn, ElectronsPerSecond, Seconds};

use crate::support::program::{samples, subwell};

/// A camera whose dark current doubles every 6.5 K from one typed point: the law is then known to the test.
const CAMERA: &str = r#"
camera = "Sorrel M"
provenance = "published"
source = "made up for the tests"
[[modes]]
pixel_um = 3.8
width_px = 4000
height_px = 3000
dn_step = 1
[[modes.planes]]
plane = "mono"
gain_e_per_dn = { value = GAIN, uncertainty = 0.0 }
offset_dn = 500.0
read_noise_e = { value = READ, uncertainty = 0.0 }
saturation_e = { value = 15000.0, uncertainty = 0.0 }
[[modes.planes.dark_current]]
sensor_c = 0.0
e_per_s = { value = DARK, uncertainty = 0.0 }
nonuniformity_percent = 40.0
"#;
/// Doubling that the program assumes for one point.
const DOUBLING_K: f64 = 6.5;

const NIGHT: &str = r#"
[camera]
cooled = true
sensor_c = -10.0
[optics]
aperture_mm = 76.0
focal_length_mm = 440.0
[site]
latitude_deg = 45.0
longitude_deg = 21.0
utc_offset_h = 1.0
sky = { mag_per_arcsec2 = SKY }
lamps = "mixed"
extinction_mag = 0.24
[site.climate]
mean_c = MEAN
amplitude_c = 8.0
warmest_month = 7
spread_c = 3.0
[[filters]]
name = "FILTER"
quantum_efficiency = 0.8
[target]
TARGET
altitude_deg = 55.0
[mount]
longest_sub_s = 600.0
settle_s = 20.0
between_subs_s = 3.0
lost_subs_per_hour = 1.0
[calibration]
dark_mismatch_c = 0.0
[goal]
snr = 8.0
clear_hours_per_night = 4.0
[cooler]
below_ambient_c = 35.0
imaging_hours_per_year = 60.0
rise_c = 8.0
warm_up_min = 0.0
"#;

const GALAXY: &str = "surface_brightness_mag = 23.5";
const NEBULA: &str = "line_rayleigh = 30.0";

fn camera_with(dark: f64, read: f64, gain: f64) -> CameraProfile {
    let text = CAMERA.replace("DARK", &dark.to_string()).replace("READ", &read.to_string());
    CameraProfile::from_toml(&text.replace("GAIN", &gain.to_string())).unwrap()
}

fn camera() -> CameraProfile {
    camera_with(0.03, 1.5, 0.25)
}

fn night(sky: f64, filter: &str, target: &str, mean: f64) -> Night {
    Night::from_toml(&night_text(sky, filter, target, mean)).unwrap()
}

fn night_text(sky: f64, filter: &str, target: &str, mean: f64) -> String {
    let text = NIGHT.replace("SKY", &sky.to_string()).replace("FILTER", filter).replace("TARGET", target);
    text.replace("MEAN", &format!("{mean:.3}"))
}

fn cooling(night: &Night, camera: &CameraProfile) -> Cooling {
    Cooling::new(night, camera, None).unwrap()
}

fn year_ratio(night: &Night, camera: &CameraProfile) -> f64 {
    cooling(night, camera).time_ratio_year.unwrap()
}

/// The dark current of the test's camera in nights about a mean: a doubling law over a normal scatter is a log-normal.
fn dark_of_law(at_0: f64, mean_sensor_c: f64, spread: f64) -> f64 {
    let per_kelvin = LN_2 / DOUBLING_K;
    at_0 * (per_kelvin * mean_sensor_c + 0.5 * (per_kelvin * spread).powi(2)).exp()
}

#[test]
fn a_bright_city_hides_dark_current() {
    let answer = cooling(&night(17.5, "luminance", GALAXY, 9.0), &camera());
    assert!(answer.verdict <= Verdict::Marginal, "{:?}: {:?}", answer.verdict, answer.time_ratio_year);
    assert_eq!(answer.thresholds_time_ratio, [1.05, 1.2, 1.5]);
}

#[test]
fn a_line_filter_at_a_dark_site_in_warm_summers_wants_a_cooler() {
    let answer = cooling(&night(21.3, "h-alpha", NEBULA, 16.0), &camera());
    assert!(answer.verdict >= Verdict::WorthIt, "{:?}: {:?}", answer.verdict, answer.time_ratio_year);
    let july = &answer.months[6];
    assert!(july.time_ratio.unwrap() > answer.months[0].time_ratio.unwrap());
}

/// The air of each month, the sensor's temperature and the mean dark current, by the formulas written out again.
#[test]
fn the_months_follow_the_climate_and_the_law() {
    // Five points of a normal distribution against the log-normal's mean.
    const LAW: f64 = 1e-3;
    let answer = cooling(&night(20.0, "luminance", GALAXY, 14.0), &camera());
    let middle = |month: f64| (month - 0.5) * 365.25 / 12.0;
    for month in &answer.months {
        let wave = (2.0 * PI * (middle(f64::from(month.month)) - middle(7.0)) / 365.25).cos();
        // Months are not all of the same length: a day or two of the wave.
        assert!((month.ambient_c - (14.0 + 8.0 * wave)).abs() < 0.3, "{month:?}");
        assert_relative_eq!(month.uncooled_sensor_c, month.ambient_c + 8.0);
        assert_eq!(month.cooled_sensor_c, -10.0);
        let law = dark_of_law(0.03, month.ambient_c + 8.0, 3.0);
        let above = month.uncooled_dark_e_per_s / law - 1.0;
        assert!(above.abs() < LAW, "{above} in {month:?}");
        let [low, high] = month.uncooled_dark_interval_e_per_s;
        assert!(low < law && law < high);
    }
}

/// A warm night is beyond the reach of a weak cooler.
#[test]
fn a_cooler_reaches_only_so_far_below_the_air() {
    let mut weak = night(20.0, "luminance", GALAXY, 14.0);
    weak.cooler.as_mut().unwrap().below_ambient_c = Some(20.0);
    let answer = cooling(&weak, &camera());
    assert_relative_eq!(answer.months[6].cooled_sensor_c, answer.months[6].ambient_c - 20.0);
    assert_eq!(answer.months[0].cooled_sensor_c, -10.0);
    assert!(answer.time_ratio_year < cooling(&night(20.0, "luminance", GALAXY, 14.0), &camera()).time_ratio_year);
}

/// A body that warms is colder at the beginning of the night.
#[test]
fn a_body_that_warms_slowly_has_less_dark_current() {
    let mut slow = night(20.0, "luminance", GALAXY, 14.0);
    slow.cooler.as_mut().unwrap().warm_up_min = Some(30.0);
    let (slow, settled) = (cooling(&slow, &camera()), cooling(&night(20.0, "luminance", GALAXY, 14.0), &camera()));
    let ratio = slow.months[6].uncooled_dark_e_per_s / settled.months[6].uncooled_dark_e_per_s;
    // Mean over four hours of 2^(-8 K e^(-t/30 min)/6.5 K), by the midpoints of 10 000 parts.
    let mean = (0..10_000).map(|i| {
        let t = 4.0 * (f64::from(i) + 0.5) / 10_000.0;
        (-LN_2 / DOUBLING_K * 8.0 * (-t / 0.5).exp()).exp()
    });
    assert_relative_eq!(ratio, mean.sum::<f64>() / 10_000.0, max_relative = 0.01);
}

/// With read noise, quantisation, pattern and masters gone, time is what shot noise asks for.
#[test]
fn without_read_noise_the_ratio_is_that_of_the_rates() {
    const WITHIN: f64 = 0.01;
    let quiet = camera_with(0.03, 1e-4, 1e-4);
    for (sky, filter, target) in [(18.5, "luminance", GALAXY), (21.3, "h-alpha", NEBULA)] {
        let mut night = night(sky, filter, target, 14.0);
        (night.calibration.darks, night.calibration.flats, night.calibration.biases) =
            (Some(1_000_000), Some(1_000_000), Some(1_000_000));
        let answer = cooling(&night, &quiet);
        let rates = Conditions::new(&night, &quiet.modes[0]).unwrap().filters[0].planes[0].noise.rates;
        let light = (rates.target + rates.sky + rates.moon).0;
        for month in &answer.months {
            let expected = (light + month.uncooled_dark_e_per_s) / (light + month.cooled_dark_e_per_s);
            assert_relative_eq!(month.time_ratio.unwrap(), expected, max_relative = WITHIN);
        }
    }
}

/// A night of which one pixel is asked, without losses, dithers, masters or clipping: its year of cooling, and its rates.
fn weighed_in_one_pixel() -> (Cooling, Rates) {
    let text = night_text(21.3, "h-alpha", "line_rayleigh = 300.0", 14.0)
        .replace("longest_sub_s = 600.0\nsettle_s = 20.0", "longest_sub_s = 120.0\nsettle_s = 0.0")
        .replace("lost_subs_per_hour = 1.0", "lost_subs_per_hour = 0.0")
        .replace(
            "dark_mismatch_c = 0.0",
            "dark_mismatch_c = 0.0\ndarks = 1000000\nflats = 1000000\n[stack]\nclip_sigma = 0.0",
        )
        .replace("snr = 8.0", "snr = 3.0\npixel = true");
    let night = Night::from_toml(&text).unwrap();
    let camera = camera_with(0.3, 3.0, 1.0);
    let answer = cooling(&night, &camera);
    let rates = Conditions::new(&night, &camera.modes[0]).unwrap().filters[0].planes[0].noise.rates;
    (answer, rates)
}

/// One warm and one cold night of the hours that are said, pixel by pixel: both stacks reach the goal.
#[test]
fn simulated_stacks_of_the_hours_that_are_said_reach_the_same_snr() {
    // The statistical error of a ratio of two standard deviations from 30 000 pixels is 0.6 %; the pages of the trade call
    // hours alike within 4 %, and an error in time is twice one in SNR.
    const WITHIN: f64 = 0.02;
    const PIXELS: usize = 30_000;
    let (answer, rates) = weighed_in_one_pixel();
    let (target, sky) = (rates.target.0, rates.sky.0);
    let july = &answer.months[6];
    assert_relative_eq!(answer.read_noise.uncooled_sub_s.0, 120.0, max_relative = 1e-9);
    assert_relative_eq!(answer.read_noise.cooled_sub_s.0, 120.0, max_relative = 1e-9);
    let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(7);
    let mut snr = |dark: f64, seconds: f64| {
        let subs = (seconds / 123.0).round();
        // Of N subs of 120 s: the sum of their electrons is a Poisson number, that of their read noises a normal one, and
        // each sub is rounded to whole DN of one electron, whose errors add up to N/12.
        let light = Poisson::new(subs * 120.0 * (target + sky + dark)).unwrap();
        let readout = Normal::new(0.0, (subs * (9.0 + 1.0 / 12.0)).sqrt()).unwrap();
        let sums: Vec<f64> = (0..PIXELS).map(|_| light.sample(&mut random) + readout.sample(&mut random)).collect();
        let mean = sums.iter().sum::<f64>() / PIXELS as f64;
        let variance = sums.iter().map(|sum| (sum - mean).powi(2)).sum::<f64>() / (PIXELS as f64 - 1.0);
        subs * 120.0 * target / variance.sqrt()
    };
    let warm = snr(july.uncooled_dark_e_per_s, july.uncooled_wall_clock_s.unwrap());
    let cold = snr(july.cooled_dark_e_per_s, july.cooled_wall_clock_s.unwrap());
    assert!(july.time_ratio.unwrap() > 2.0);
    assert_relative_eq!(warm, 3.0, max_relative = WITHIN);
    assert_relative_eq!(cold, 3.0, max_relative = WITHIN);
    assert_relative_eq!((warm / cold).powi(2), 1.0, max_relative = 2.0 * WITHIN);
}

/// The simulator of whole stacks, pixel by pixel, on the warm and on the cold night of a July: for the hours that are said
/// both show the same SNR, so the ratio of the hours is theirs within 4 %.
#[test]
fn the_stack_simulator_confirms_the_ratio_of_a_warm_and_a_cold_night() {
    const RATIO_WITHIN: f64 = 0.04;
    let (answer, rates) = weighed_in_one_pixel();
    let july = &answer.months[6];
    let snr = |dark: f64, seconds: f64, seed: u64| {
        let truth = StackTruth {
            target_e_per_s: rates.target,
            sky_e_per_s: rates.sky,
            dark_e_per_s: ElectronsPerSecond(dark),
            read_noise_e: Electrons(3.0),
            step_e: ElectronsPerDn(1.0),
            sub_s: Seconds(120.0),
            kept: (seconds / 123.0).round() as usize,
            darks: 0,
            flats: 0,
            biases: 0,
            seed,
            ..StackTruth::default()
        };
        let fields: Vec<_> = (0..6).map(|night| stacked_field(&truth, night).unwrap()).collect();
        // Subs are whole, the hours that are said are not: SNR² grows with their number.
        snr_found(&fields, [1, 1]).unwrap().snr * (seconds / 123.0 / truth.kept as f64).sqrt()
    };
    let warm = snr(july.uncooled_dark_e_per_s, july.uncooled_wall_clock_s.unwrap(), 3);
    let cold = snr(july.cooled_dark_e_per_s, july.cooled_wall_clock_s.unwrap(), 4);
    let ratio = (warm / cold).powi(2);
    let said = july.time_ratio.unwrap();
    println!(
        "{said:.3} is said; the stacks' SNR: {:.4} warm, {:.4} cold: off by {:+.2} %",
        warm,
        cold,
        100.0 * (ratio - 1.0)
    );
    assert!(said > 2.0);
    assert_relative_eq!(ratio, 1.0, max_relative = RATIO_WITHIN);
    assert_relative_eq!(warm, 3.0, max_relative = RATIO_WITHIN);
}

/// A drive from Bortle 7 to Bortle 4, two hours there and back: worth it for the galaxy, not for the nebula behind its
/// filter, and each time with its reason.
#[test]
fn a_drive_from_bortle_7_to_bortle_4_has_two_answers() {
    let at = |class: u8, filter: &str, target: &str| {
        let text = night_text(18.5, filter, target, 9.0)
            .replace("{ mag_per_arcsec2 = 18.5 }", &format!("{{ bortle = {class} }}"));
        Night::from_toml(&text).unwrap()
    };
    let drive = |filter: &str, target: &str| compared(&at(7, filter, target), &at(4, filter, target));
    let (galaxy, nebula) = (drive("luminance", GALAXY), drive("h-alpha", NEBULA));
    let (far, near) = (galaxy.break_even_travel_h.unwrap(), nebula.break_even_travel_h.unwrap());
    println!(
        "galaxy {:.2} times, even at {far:.2} h; nebula {:.2} times, even at {near:.2} h",
        galaxy.hours_ratio.value, nebula.hours_ratio.value
    );
    assert!(galaxy.hours_ratio.value > 1.2 * nebula.hours_ratio.value && far > near);
    for answer in [&galaxy, &nebula] {
        assert_eq!(answer.factors.iter().map(|factor| factor.name.as_str()).collect::<Vec<_>>(), ["sky"]);
        assert!(subwell::report::comparison_text(answer).contains("on the road"));
    }
    // Each explained: what share of the noise the sky has under the town.
    assert!(galaxy.a.noise_share_percent.sky > nebula.a.noise_share_percent.sky);
    let texts = [&galaxy, &nebula].map(subwell::report::comparison_text);
    assert_ne!(texts[0], texts[1]);
}

/// The year from its months: hours with cooling add up, hours without are spread by darkness.
#[test]
fn the_year_is_the_hours_of_its_months() {
    let answer = cooling(&night(21.0, "h-alpha", NEBULA, 12.0), &camera());
    let dark: f64 = answer.months.iter().map(|month| month.dark_hours_per_night.unwrap()).sum();
    let with: f64 = (answer.months.iter())
        .map(|month| 60.0 * month.dark_hours_per_night.unwrap() / dark / month.time_ratio.unwrap())
        .sum();
    assert_relative_eq!(60.0 / with, answer.time_ratio_year.unwrap(), max_relative = 1e-9);
    assert_relative_eq!(60.0 - with, answer.hours_saved_per_year, max_relative = 1e-9);
    let saved = 60.0 * (1.0 - 1.0 / answer.time_ratio_year.unwrap());
    assert_relative_eq!(saved, answer.hours_saved_per_year, max_relative = 1e-9);
    // cos H = (sin a - sin phi sin delta)/(cos phi cos delta) with a = -18 degrees and the Sun of 15 June, 23.3 degrees.
    let (phi, delta) = (45.0_f64.to_radians(), 23.3_f64.to_radians());
    let cos_h = ((-18.0_f64).to_radians().sin() - phi.sin() * delta.sin()) / (phi.cos() * delta.cos());
    let june = 24.0 - 2.0 * cos_h.acos().to_degrees() / 15.0;
    assert_relative_eq!(answer.months[5].dark_hours_per_night.unwrap(), june, epsilon = 0.05);
}

#[test]
fn the_ratio_is_monotone_in_sky_bandwidth_and_temperature() {
    let falls = |ratios: Vec<f64>| assert!(ratios.windows(2).all(|pair| pair[1] < pair[0]), "{ratios:?}");
    let camera = camera();
    let skies = (0..9).map(|i| night(21.5 - 0.5 * f64::from(i), "luminance", GALAXY, 12.0));
    falls(skies.map(|night| year_ratio(&night, &camera)).collect());
    let widths = [3.0, 3.1, 5.0, 7.0, 12.0].map(|width| {
        let mut night = night(20.5, "h-alpha", NEBULA, 12.0);
        night.filters[0].width_nm = Some(subwell::units::Nanometres(width));
        year_ratio(&night, &camera)
    });
    falls(widths.to_vec());
    let means = [20.0, 16.0, 15.9, 8.0, 0.0].map(|mean| year_ratio(&night(20.5, "h-alpha", NEBULA, mean), &camera));
    falls(means.to_vec());
}

/// The sky that is named is where the verdict turns, on either side of it by a tenth of a magnitude.
#[test]
fn the_verdict_turns_at_the_sky_that_is_named() {
    let mut turned = 0;
    for (filter, target, mean) in [("luminance", GALAXY, 14.0), ("h-alpha", NEBULA, 9.0), ("luminance", GALAXY, 20.0)] {
        let named = cooling(&night(20.0, filter, target, mean), &camera()).sky_mag_where_it_pays.unwrap();
        let verdict = |sky: f64| cooling(&night(sky, filter, target, mean), &camera()).verdict;
        if named + 0.1 <= 22.0 {
            assert!(verdict(named - 0.1) <= Verdict::Marginal && verdict(named + 0.1) >= Verdict::WorthIt, "{named}");
            turned += 1;
        }
    }
    assert!(turned >= 2);
}

/// At that sky a warmer climate or a camera with more dark current turns the verdict alone.
#[test]
fn site_or_thermal_data_alone_turn_the_verdict() {
    let at = cooling(&night(20.0, "luminance", GALAXY, 14.0), &camera()).sky_mag_where_it_pays.unwrap();
    let verdict = |mean: f64, dark: f64| cooling(&night(at, "luminance", GALAXY, mean), &camera_with(dark, 1.5, 0.25));
    assert!(verdict(12.0, 0.03).verdict <= Verdict::Marginal);
    assert!(verdict(16.0, 0.03).verdict >= Verdict::WorthIt);
    assert!(verdict(14.0, 0.025).verdict <= Verdict::Marginal);
    assert!(verdict(14.0, 0.036).verdict >= Verdict::WorthIt);
}

#[test]
fn where_it_never_or_always_pays_it_says_so() {
    let never = cooling(&night(20.0, "luminance", GALAXY, 0.0), &camera_with(1e-6, 1.5, 0.25));
    assert!(never.sky_mag_where_it_pays.is_none() && never.sky_mag_why.unwrap().contains("no sky"));
    assert!(never.warmest_useful_set_point_c.is_none());
    // Many darks at the lights' own temperature: else what they leave in each sub puts the goal out of reach.
    let mut hot = night(20.0, "h-alpha", NEBULA, 20.0);
    (hot.calibration.dark_mismatch_c, hot.calibration.darks) = (Some(0.0), Some(5000));
    let always = cooling(&hot, &camera_with(100.0, 1.5, 0.25));
    assert!(always.sky_mag_where_it_pays.is_none() && always.sky_mag_why.unwrap().contains("any sky"));
}

/// By hand: the warmest month of this climate and 1.96 of its nights' spread, less the cooler's reach.
#[test]
fn the_cooler_s_reserve_is_that_of_a_night_that_few_are_warmer_than() {
    let mut warm = night(20.0, "luminance", GALAXY, 16.0);
    let climate = warm.site.climate.as_mut().unwrap();
    (climate.amplitude_c, climate.spread_c) = (Some(subwell::units::Celsius(8.0)), Some(subwell::units::Celsius(3.0)));
    warm.camera.sensor_c = Some(subwell::units::Celsius(-10.0));
    let answer = cooling(&warm, &camera());
    assert_relative_eq!(answer.warmest_night_c.0, 16.0 + 8.0 + 5.88, max_relative = 1e-9);
    assert_relative_eq!(answer.cooler_reserve_k, -10.0 - (29.88 - 35.0), max_relative = 1e-9);
    assert!(subwell::report::cooling_text(&answer).contains("gets only to -5"), "a set point out of reach is told");
}

/// The night at which it pays and the warmest useful set point, put back.
#[test]
fn the_night_and_the_set_point_that_are_named_hold() {
    let camera = camera();
    let answer = cooling(&night(21.0, "luminance", GALAXY, 14.0), &camera);
    let air = answer.night_c_where_it_pays.unwrap();
    let mut even = night(21.0, "luminance", GALAXY, air);
    let climate = even.site.climate.as_mut().unwrap();
    (climate.amplitude_c, climate.spread_c) = (Some(subwell::units::Celsius(0.0)), Some(subwell::units::Celsius(0.0)));
    assert_relative_eq!(year_ratio(&even, &camera), 1.2, max_relative = 1e-3);
    let useful = answer.warmest_useful_set_point_c.unwrap();
    let seconds = |at: f64| {
        let mut night = even.clone();
        night.camera.sensor_c = Some(subwell::units::Celsius(at));
        night.cooler.as_mut().unwrap().below_ambient_c = Some(120.0);
        cooling(&night, &camera).months[0].cooled_wall_clock_s.unwrap()
    };
    assert_relative_eq!(seconds(useful) / seconds(-40.0), 1.02, max_relative = 1e-3);
}

#[test]
fn a_price_is_told_for_each_hour() {
    let mut night = night(21.0, "h-alpha", NEBULA, 12.0);
    night.cooler.as_mut().unwrap().price = Some(900.0);
    let answer = cooling(&night, &camera());
    assert_relative_eq!(answer.price_per_hour_saved.unwrap(), 900.0 / answer.hours_saved_per_year);
}

#[test]
fn for_one_camera_only_cooling_differs_from_one() {
    let answer = cooling(&night(21.0, "h-alpha", NEBULA, 12.0), &camera());
    let split = answer.split;
    assert_eq!(split.cooling, answer.time_ratio_year);
    let others = [split.read_noise, split.quantum_efficiency, split.infrared_cut, split.pixel, split.sampling];
    assert_eq!(others, [1.0; 5]);
}

fn against(own: &Night, camera: &CameraProfile, other: &Night, of_other: &CameraProfile) -> Cooling {
    Cooling::new(own, camera, Some((other, of_other))).unwrap()
}

#[test]
fn read_noise_alone_is_no_cooling() {
    let night = night(21.0, "h-alpha", NEBULA, 12.0);
    let answer = against(&night, &camera(), &night, &camera_with(0.03, 4.0, 0.25));
    assert_eq!(answer.split.cooling, Some(1.0));
    let ratio = answer.against.as_ref().unwrap().time_ratio;
    assert!(ratio < 0.99, "{ratio}");
    assert_relative_eq!(answer.split.read_noise, ratio, max_relative = 1e-12);
}

#[test]
fn cooling_alone_is_all_of_a_set_point() {
    let cold = night(21.0, "h-alpha", NEBULA, 12.0);
    let mut warm = cold.clone();
    (warm.camera.cooled, warm.camera.sensor_c) = (Some(false), None);
    let answer = against(&warm, &camera(), &cold, &camera());
    let (split, whole) = (answer.split, answer.against.clone().unwrap());
    assert_relative_eq!(split.cooling.unwrap(), whole.time_ratio, max_relative = 1e-12);
    assert_eq!((split.read_noise, whole.cooling_by_sensor), (1.0, 1.0));
    // The year's mean dark current in one stack, against each month on its own.
    assert_relative_eq!(whole.time_ratio, answer.time_ratio_year.unwrap(), max_relative = 0.25);
}

/// A colour camera without a cooler against a monochrome one with: everything differs at once.
#[test]
fn the_factors_multiply_to_the_whole_whatever_differs() {
    let plane = |name: &str, colour: char, sampling: f64| {
        format!(
            "[[modes.planes]]\nplane = \"{name}\"\ncolour = \"{colour}\"\nsampling = {sampling}\ngain_e_per_dn = 0.6\n\
             offset_dn = 1024.0\nread_noise_e = 3.0\nsaturation_e = 9000.0\n[[modes.planes.dark_current]]\n\
             sensor_c = 15.0\ne_per_s = 0.1\nnonuniformity_percent = 60.0\n"
        )
    };
    let text = [
        "camera = \"Fallow C\"\nprovenance = \"published\"\n[[modes]]\npixel_um = 4.3\nwidth_px = 6000\nheight_px = 4000\n"
            .to_owned(),
        plane("r0c0", 'R', 0.25),
        plane("r0c1", 'G', 0.5),
        plane("r1c0", 'G', 0.5),
        plane("r1c1", 'B', 0.25),
    ];
    let colour = CameraProfile::from_toml(&text.concat()).unwrap();
    let of_colour = night_text(20.0, "none", GALAXY, 12.0)
        .replace("cooled = true\nsensor_c = -10.0", "cooled = false\nrise_c = 8.0")
        .replace("quantum_efficiency = 0.8", "quantum_efficiency = { R = 0.4, G = 0.5, B = 0.45 }");
    let of_colour = Night::from_toml(&of_colour).unwrap();
    let mono = night(20.0, "luminance", GALAXY, 12.0);
    let answer = against(&of_colour, &colour, &mono, &camera());
    let split = answer.split;
    let factors = [
        split.cooling.unwrap(),
        split.read_noise,
        split.quantum_efficiency,
        split.infrared_cut,
        split.pixel,
        split.sampling,
    ];
    let whole = answer.against.unwrap().time_ratio;
    assert_relative_eq!(factors.iter().product::<f64>(), whole, max_relative = 1e-9);
    assert!(factors.iter().all(|factor| *factor != 1.0), "{split:?}");
    assert!(split.cooling.unwrap() > 1.0 && split.quantum_efficiency > 1.0 && split.sampling > 2.0, "{split:?}");
    assert!(answer.caveats.iter().any(|caveat| caveat.code == "colours-against-fewer"));
    // The other way round every factor turns over: an order of changes has no first side.
    let back = against(&mono, &camera(), &of_colour, &colour);
    assert_relative_eq!(back.split.pixel, 1.0 / split.pixel, max_relative = 1e-6);
    assert_relative_eq!(back.split.cooling.unwrap(), 1.0 / split.cooling.unwrap(), max_relative = 1e-6);
}

#[test]
fn without_climate_or_dark_current_nothing_is_said() {
    let mut bare = night(20.0, "luminance", GALAXY, 12.0);
    bare.site.climate = None;
    let error = Cooling::new(&bare, &camera(), None).unwrap_err();
    assert!(error.hint().contains("mean_c") && error.hint().contains("spread_c"), "{}", error.hint());
    let mut blind = camera();
    blind.modes[0].planes[0].dark_current.clear();
    let error = Cooling::new(&night(20.0, "luminance", GALAXY, 12.0), &blind, None).unwrap_err();
    assert!(matches!(error, PlanError::Night(NightError::Impossible { .. })) && error.hint().contains("measure darks"));
}

fn compared(a: &Night, b: &Night) -> Comparison {
    Comparison::new((a, &camera()), (b, &camera())).unwrap()
}

fn product(answer: &Comparison) -> f64 {
    answer.factors.iter().map(|factor| factor.ratio).product()
}

#[test]
fn a_night_against_itself_is_one_for_sure() {
    let one = night(20.0, "luminance", GALAXY, 12.0);
    let answer = compared(&one, &one);
    assert_relative_eq!(answer.hours_ratio.value, 1.0);
    assert!(answer.hours_ratio.uncertainty < 1e-9 && answer.factors.is_empty());
    assert!(answer.break_even_travel_h.is_none());
}

/// From a town to the country: the galaxy follows the sky, the nebula behind its filter does not.
#[test]
fn a_drive_is_worth_more_to_a_galaxy_than_to_a_nebula() {
    let drive =
        |filter: &str, target: &str| compared(&night(18.5, filter, target, 9.0), &night(20.8, filter, target, 9.0));
    let (galaxy, nebula) = (drive("luminance", GALAXY), drive("h-alpha", NEBULA));
    for answer in [&galaxy, &nebula] {
        assert_eq!(answer.factors.len(), 1);
        assert_eq!(answer.factors[0].name, "sky");
        assert_relative_eq!(product(answer), answer.hours_ratio.value, max_relative = 1e-12);
        // Of 4 h the road takes x, and (4 - x) R is as good as 4.
        let x = answer.break_even_travel_h.unwrap();
        assert_relative_eq!((4.0 - x) * answer.hours_ratio.value, 4.0, max_relative = 1e-12);
    }
    assert!(galaxy.hours_ratio.value > 1.2 * nebula.hours_ratio.value, "{galaxy:?} {nebula:?}");
    assert!(nebula.b.noise_share_percent.sky < galaxy.b.noise_share_percent.sky);
    let text = subwell::report::comparison_text(&nebula).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("does not fall with the sky") && text.contains("on the road"), "{text}");
}

/// Two skies typed as magnitudes have one lamp and one camera: what is shared cancels.
#[test]
fn shared_inputs_cancel() {
    let a = night(18.5, "luminance", GALAXY, 9.0);
    let mut class = a.clone();
    class.site.sky = Some(subwell::sky::GivenSky::Bortle(4));
    let of_classes = compared(&a, &class);
    let of_magnitudes = compared(&a, &night(20.8, "luminance", GALAXY, 9.0));
    assert!(of_classes.hours_ratio.uncertainty > 0.2 * of_classes.hours_ratio.value);
    assert!(of_magnitudes.hours_ratio.relative() < of_classes.hours_ratio.relative());
    // Another filter of the same camera: throughput is typed for each, so it counts.
    let filtered = compared(&a, &night(18.5, "red", GALAXY, 9.0));
    assert!(filtered.hours_ratio.relative() > 0.05);
}

#[test]
fn all_factors_of_two_unlike_nights_multiply_to_the_ratio() {
    let a = night(18.5, "luminance", GALAXY, 9.0);
    let mut b = night(20.5, "green", "surface_brightness_mag = 23.0", 9.0);
    b.optics.aperture_mm = subwell::units::Millimetres(130.0);
    b.optics.focal_length_mm = subwell::units::Millimetres(650.0);
    b.mount.longest_sub_s = Some(Seconds(30.0));
    let answer = compared(&a, &b);
    let names: Vec<&str> = answer.factors.iter().map(|factor| factor.name.as_str()).collect();
    assert_eq!(names, ["sky", "target", "aperture", "sampling", "filter", "mount"]);
    assert_relative_eq!(product(&answer), answer.hours_ratio.value, max_relative = 1e-9);
    assert_relative_eq!(answer.a_wall_clock_s.0 / answer.b_wall_clock_s.0, answer.hours_ratio.value);
    // Nearly all noise is sky: hours go with one over the aperture's area.
    let aperture = answer.factors.iter().find(|factor| factor.name == "aperture").unwrap();
    assert_relative_eq!(aperture.ratio, (130.0_f64 / 76.0).powi(2), max_relative = 0.15);
}

/// Sodium lamps leave the green to a filter, white ones do not; a line filter is for nebulae.
#[test]
fn a_filter_is_weighed_by_target_and_lamps() {
    let a = night(18.5, "luminance", GALAXY, 9.0);
    let answer = compared(&a, &night(18.5, "h-alpha", GALAXY, 9.0));
    let of = |target: PurchaseTarget, lamps: Lamps| {
        let row = answer.filter_purchase.iter().find(|row| row.target == target && row.lamps == lamps);
        row.unwrap().hours_ratio.unwrap()
    };
    assert_eq!(answer.filter_purchase.len(), 8);
    for lamps in [Lamps::Sodium, Lamps::Mixed, Lamps::Led3000, Lamps::Led4000] {
        let [nebula, galaxy] = [PurchaseTarget::Nebula, PurchaseTarget::Galaxy].map(|target| of(target, lamps));
        assert!(nebula > 5.0 && galaxy < 1.0, "{:?}", answer.filter_purchase);
    }
}

#[test]
fn the_sample_night_is_answered_as_text_and_json() {
    let night = samples().join("published-night.toml");
    let run = subwell().arg("cooling").arg(&night).assert().success();
    let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    assert!(text.contains("Cooling does not lower read noise: it is 1.50 e- with and without"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let run = subwell().arg("cooling").arg(&night).args(["--json", "--strict"]).assert().code(3);
    let answer: Value = crate::support::schemas::valid(&run.get_output().stdout);
    assert_eq!(answer["format"], "subwell.cooling");
    assert_eq!(answer["months"].as_array().unwrap().len(), 12);
    assert!(
        ["not worth it", "marginal", "worth it", "clearly worth it"].contains(&answer["verdict"].as_str().unwrap())
    );
    let run = subwell().arg("compare").args([&night, &night]).arg("--json").assert().success();
    let answer: Value = crate::support::schemas::valid(&run.get_output().stdout);
    assert_eq!(answer["format"], "subwell.compare");
}

#[test]
fn what_schema_prints_is_read_and_planned() {
    let desk = tempfile::tempdir().unwrap();
    let files = [("camera", "published-camera.toml"), ("night", "night.toml"), ("sensor", "sensor.toml")];
    for (name, file) in files {
        let run = subwell().args(["schema", name]).assert().success();
        std::fs::write(desk.path().join(file), &run.get_output().stdout).unwrap();
    }
    subwell().current_dir(desk.path()).args(["plan", "night.toml"]).assert().success();
    subwell().current_dir(desk.path()).args(["simulate", "sensor.toml", "--out", "frames"]).assert().success();
}
