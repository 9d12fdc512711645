//! One meaning of a sky's brightness: of the zenith, unless it says how high it was measured. The same sky, told in each way,
//! is the same plan and the same comparison.

use subwell::camera::CameraProfile;
use subwell::decide::Comparison;
use subwell::night::{Conditions, Night};
use subwell::plan::plan;
use subwell::sky::Brightening;
use subwell::units::{Degrees, Magnitudes, MagnitudesPerSquareArcsecond};

const ZENITH: f64 = 19.4;
const EXTINCTION: f64 = 0.24;

fn camera(read_noise_e: f64) -> CameraProfile {
    CameraProfile::from_toml(&format!(
        "camera = \"a\"\nprovenance = \"published\"\n[[modes]]\npixel_um = 3.5\nwidth_px = 100\nheight_px = 100\n\
         [[modes.planes]]\nplane = \"mono\"\ngain_e_per_dn = 1.0\nread_noise_e = {read_noise_e}\nsaturation_e = 20000.0\n"
    ))
    .expect("a camera")
}

/// A night under this sky, with these keys of the target; `date` makes it a dated one.
fn night(sky: &str, filter: &str, target: &str, date: &str) -> Night {
    Night::from_toml(&format!(
        "[camera]\ncooled = true\nsensor_c = -10.0\n[optics]\naperture_mm = 76.0\nfocal_length_mm = 440.0\n[site]\n\
         latitude_deg = 45.0\nlongitude_deg = 21.0\nsky = {sky}\nextinction_mag = {EXTINCTION}\n[[filters]]\n\
         name = \"{filter}\"\n[target]\nsurface_brightness_mag = 22.5\n{target}\n[goal]\nsnr = 8.0\n{date}"
    ))
    .expect("a night")
}

/// How the sky goes into the first plane: rate and relative spread.
fn sky_of(night: &Night) -> (f64, f64) {
    let conditions = Conditions::new(night, &camera(2.0).modes[0]).expect("conditions");
    let plane = &conditions.filters[0].planes[0];
    (plane.noise.rates.sky.0, plane.spread.sky)
}

fn seen_at(altitude: f64) -> f64 {
    let towards = Brightening::at(Degrees(altitude), Magnitudes(EXTINCTION));
    towards.of_zenith(MagnitudesPerSquareArcsecond(ZENITH)).0
}

fn of_zenith() -> String {
    format!("{{ mag_per_arcsec2 = {ZENITH} }}")
}

fn magnitude_at(altitude: f64) -> String {
    format!("{{ mag_per_arcsec2 = {}, altitude_deg = {altitude} }}", seen_at(altitude))
}

/// What a light of the field at this height would show through luminance.
fn rate_at(altitude: f64) -> f64 {
    sky_of(&night(&of_zenith(), "luminance", &format!("altitude_deg = {altitude}"), "")).0
}

fn electrons_at(altitude: f64) -> String {
    let rate = rate_at(altitude);
    format!(
        "{{ e_per_s = {{ value = {rate}, uncertainty = {} }}, filter = \"luminance\", altitude_deg = {altitude} }}",
        0.01 * rate
    )
}

const PLACED: &str = "ra_deg = 60.0\ndec_deg = 30.0";
const DATE: &str = "date = \"2026-11-10\"\n";

#[test]
fn a_sky_that_was_measured_low_is_that_of_the_zenith_it_came_from() {
    for filter in ["luminance", "blue", "h-alpha"] {
        for (target, date) in
            [("altitude_deg = 35.0", ""), ("altitude_deg = 70.0", ""), ("altitude_deg = 90.0", ""), (PLACED, DATE)]
        {
            let sky = |told: &str| sky_of(&night(told, filter, target, date));
            let (known, spread) = sky(&of_zenith());
            for told in [magnitude_at(30.0), magnitude_at(90.0), electrons_at(30.0), electrons_at(62.0)] {
                let (found, spread_found) = sky(&told);
                println!("{filter} {target} {told}: {found:.5} of {known:.5}; {spread_found:.3}, {spread:.3}");
                approx::assert_relative_eq!(found, known, max_relative = 1e-6);
                assert!(spread_found.is_finite() && spread_found > 0.0);
            }
        }
    }
    // Measured where the target stands, nothing of the direction is unknown.
    let (_, there) = sky_of(&night(&magnitude_at(35.0), "luminance", "altitude_deg = 35.0", ""));
    let (_, from_zenith) = sky_of(&night(&of_zenith(), "luminance", "altitude_deg = 35.0", ""));
    assert!(there < 0.8 * from_zenith, "{there} of {from_zenith}");
}

#[test]
fn a_measured_rate_without_a_height_is_that_of_the_target_wherever_it_stands() {
    for target in ["altitude_deg = 35.0", "altitude_deg = 80.0"] {
        let (rate, spread) = sky_of(&night("{ e_per_s = 3.3, filter = \"luminance\" }", "luminance", target, ""));
        assert_eq!(rate, 3.3);
        approx::assert_relative_eq!(spread, 0.1);
    }
    // Through another filter: the same sky in the same direction.
    let told = format!("{{ e_per_s = {}, filter = \"luminance\" }}", rate_at(35.0));
    let (found, _) = sky_of(&night(&told, "blue", "altitude_deg = 35.0", ""));
    let (known, _) = sky_of(&night(&of_zenith(), "blue", "altitude_deg = 35.0", ""));
    approx::assert_relative_eq!(found, known, max_relative = 1e-6);
}

#[test]
fn plan_and_comparison_take_the_same_sky_in_every_way_of_telling_it() {
    for (target, date) in [("altitude_deg = 40.0", ""), (PLACED, DATE)] {
        let with = |told: &str| night(told, "luminance", target, date);
        let hours = |told: &str| plan(&with(told), &camera(2.0)).expect("a plan").wall_clock_s.0;
        let ratio = |told: &str| {
            let (a, b) = (camera(2.0), camera(6.0));
            let mut other = with(told);
            other.optics.focal_length_mm.0 = 300.0;
            Comparison::new((&with(told), &a), (&other, &b)).expect("a comparison").hours_ratio.value
        };
        let (known_hours, known_ratio) = (hours(&of_zenith()), ratio(&of_zenith()));
        let (_, at_target) = (sky_of(&with(&of_zenith())), sky_of(&with(&of_zenith())).0);
        let without = format!("{{ e_per_s = {at_target}, filter = \"luminance\" }}");
        for told in [magnitude_at(30.0), electrons_at(30.0), electrons_at(75.0)] {
            approx::assert_relative_eq!(hours(&told), known_hours, max_relative = 1e-6);
        }
        approx::assert_relative_eq!(ratio(&magnitude_at(30.0)), known_ratio, max_relative = 1e-6);
        // Where the target moves, a sky without a height is the same in all hours, and other hours are chosen.
        if date.is_empty() {
            approx::assert_relative_eq!(hours(&without), known_hours, max_relative = 1e-6);
        }
        // A rate belongs to a camera: beside another one it becomes a brightness, and the answer is the same.
        let (a, b) = (camera(2.0), camera(6.0));
        for told in [electrons_at(30.0), electrons_at(75.0), without] {
            let mut other = with(&of_zenith());
            other.optics.focal_length_mm.0 = 300.0;
            let found = Comparison::new((&with(&told), &a), (&other, &b)).expect("a comparison").hours_ratio.value;
            approx::assert_relative_eq!(found, known_ratio, max_relative = 1e-6);
        }
    }
}

#[test]
fn a_height_beside_a_sky_that_has_none_is_refused() {
    let refused = |sky: &str| {
        let text = format!(
            "[optics]\naperture_mm = 76.0\nfocal_length_mm = 440.0\n[site]\nsky = {sky}\n[target]\n\
             surface_brightness_mag = 22.5\n"
        );
        Night::from_toml(&text).err().map(|error| error.to_string())
    };
    for sky in ["{ bortle = 5, altitude_deg = 60 }", "{ limiting_mag = 5.5, altitude_deg = 60 }"] {
        let error = refused(sky).expect("an error");
        assert!(error.contains("altitude_deg"), "{error}");
    }
    for sky in ["{ mag_per_arcsec2 = 20.0, altitude_deg = 91 }", "{ mag_per_arcsec2 = 20.0, altitude_deg = -1 }"] {
        let error = refused(sky).expect("an error");
        assert!(error.contains("site.sky.altitude_deg"), "{error}");
    }
    assert_eq!(refused("{ mag_per_arcsec2 = 20.0, altitude_deg = 0 }"), None);
}

#[test]
fn a_night_beside_itself_takes_the_same_and_lengths_are_no_doubt_of_the_glass() {
    let camera = camera(2.0);
    let one = night(&of_zenith(), "luminance", "altitude_deg = 50.0", "");
    let same = Comparison::new((&one, &camera), (&one, &camera)).expect("a comparison");
    let text = subwell::report::comparison_text(&same);
    assert!(text.starts_with("the first night and the second night take the same hours\n"), "{text}");
    assert!(!text.contains("95 times in 100"), "{text}");
    // The same sky, glass and sensor behind another focal length: what is unknown of them is unknown of both.
    let mut shorter = one.clone();
    shorter.optics.focal_length_mm.0 = 330.0;
    let ratio = Comparison::new((&one, &camera), (&shorter, &camera)).expect("a comparison").hours_ratio;
    println!("{ratio:?}");
    assert!(ratio.relative() < 0.03, "{ratio:?}");
}

#[test]
fn a_target_in_the_haze_of_the_horizon_is_told_so() {
    let low = night(&of_zenith(), "luminance", "altitude_deg = 1.0", "");
    let error = plan(&low, &camera(2.0)).expect_err("no goal is reached there");
    let (message, hint) = (error.to_string(), error.hint());
    assert!(message.contains("1 degrees high") && hint.contains("higher"), "{message}\n{hint}");
}
