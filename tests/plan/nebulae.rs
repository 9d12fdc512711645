//! Targets by name: every nebula plans, the range says how little one number says of it, and colours count.

use serde_json::Value;
use subwell::camera::CameraProfile;
use subwell::night::Night;
use subwell::plan::{Plan, Source, plan};
use subwell::target::objects;

const CAMERA: &str = "camera = \"Sample cooled mono\"\nprovenance = \"published\"\nsource = \"made up for the tests\"\n\
                      [[modes]]\npixel_um = 3.5\nwidth_px = 5000\nheight_px = 3600\n[[modes.planes]]\nplane = \"mono\"\n\
                      gain_e_per_dn = 0.25\noffset_dn = 500.0\nread_noise_e = 1.5\nsaturation_e = 15000.0\n";

fn planned(filters: &[&str], target: &str, goal: &str) -> Plan {
    let filters: String = filters.iter().map(|name| format!("[[filters]]\nname = \"{name}\"\n")).collect();
    let text = format!(
        "[camera]\nsensor_c = -10.0\n[optics]\naperture_mm = 76.0\nfocal_length_mm = 440.0\n[site]\n\
         sky = {{ mag_per_arcsec2 = 20.5 }}\n{filters}[target]\n{target}\n[mount]\nlongest_sub_s = 300.0\n[goal]\n{goal}\n"
    );
    let night = Night::from_toml(&text).unwrap_or_else(|error| panic!("{target}: {error}"));
    plan(&night, &CameraProfile::from_toml(CAMERA).expect("a profile"))
        .unwrap_or_else(|error| panic!("{target}: {error}"))
}

fn number(plan: &Plan, path: &str) -> f64 {
    let plan: Value = serde_json::to_value(plan).expect("a document");
    plan.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("{path}"))
}

fn target_rate(filters: &[&str], target: &str, filter: usize) -> f64 {
    let plan = planned(filters, target, "hours = 6.0");
    number(&plan, &format!("/filters/{filter}/planes/0/rates_e_per_s/target"))
}

#[test]
fn every_nebula_plans_by_name_and_its_range_is_wide_and_says_why() {
    let mut seen = 0;
    for object in objects() {
        let Some(lines) = object.lines else { continue };
        for name in [object.names[0], object.names[object.names.len() - 1]] {
            let target = format!("name = \"{name}\"\naltitude_deg = 55.0");
            let plan = planned(&["h-alpha", "oiii"], &target, "hours = 6.0");
            let why = plan.caveats.iter().find(|caveat| caveat.code == "catalogue-brightness");
            let why = why.unwrap_or_else(|| panic!("{name} has no caveat"));
            assert!(why.message.contains(&format!("factor of {}", lines.factor)), "{}", why.message);
            for (filter, factor) in [(0, lines.factor), (1, lines.factor.ln().hypot(lines.ratio_factor.ln()).exp())] {
                let at = |key: &str| number(&plan, &format!("/filters/{filter}/planes/0/snr/{key}"));
                // One standard uncertainty of the signal is at least that of the line, a little less for bright ones, whose
                // own noise counts.
                assert!(
                    at("uncertainty") / at("value") > 0.4 * factor.ln(),
                    "{name}: {}",
                    at("uncertainty") / at("value")
                );
            }
        }
        seen += 1;
    }
    assert!(seen >= 85, "{seen}");
}

#[test]
fn a_typed_line_wins_and_a_nebula_shines_through_wide_filters_too() {
    let by_name = target_rate(&["h-alpha"], "name = \"Rosette Nebula\"\naltitude_deg = 55.0", 0);
    let typed = target_rate(&["h-alpha"], "name = \"Rosette Nebula\"\nline_rayleigh = 65.0\naltitude_deg = 55.0", 0);
    // 650 R of Hα in the catalogue; the [N II] pair beside it, 0.3 of it, passes a filter of 6 nm too.
    assert!((1.2..1.32).contains(&(by_name / typed / 10.0)), "{}", by_name / typed);
    let rate = |filter: usize| {
        target_rate(&["red", "green", "blue", "luminance"], "name = \"M 27\"\naltitude_deg = 55.0", filter)
    };
    assert!(rate(0) > 0.0 && rate(1) > 0.0 && rate(2) > 0.0 && rate(3) > rate(1));
}

/// The disc of the Dumbbell in V, 7.4 mag over 8.0 by 5.7 arcmin (the size from memory), is 20.2 mag/arcsec²: as much light
/// through a luminance filter as its lines, within the half magnitude by which catalogues differ.
#[test]
fn the_lines_of_a_planetary_are_its_light_in_v() {
    let lines = target_rate(&["luminance"], "name = \"M 27\"\naltitude_deg = 55.0", 0);
    let in_v = target_rate(&["luminance"], "surface_brightness_mag = 20.18\nb_minus_v = 0.3\naltitude_deg = 55.0", 0);
    let magnitudes = 2.5 * (lines / in_v).log10();
    assert!(magnitudes.abs() < 0.6, "{magnitudes}");
}

#[test]
fn a_sun_like_spectrum_gives_a_fifth_less_in_blue() {
    let rate = |colour: &str| {
        target_rate(&["blue"], &format!("surface_brightness_mag = 22.0\n{colour}\naltitude_deg = 55.0"), 0)
    };
    // A black body of this B−V has as many photons per nm in blue as in V, within two percent (7700 K).
    let sun = rate("b_minus_v = 0.65");
    assert!((0.78..0.86).contains(&(sun / rate("b_minus_v = 0.27"))), "{}", sun / rate("b_minus_v = 0.27"));
    assert!((rate("") / sun - 1.0).abs() < 1e-9 && (rate("colour = \"spiral\"") / sun - 1.0).abs() < 1e-9);
    assert!(rate("colour = \"elliptical\"") < 0.9 * sun && rate("colour = \"reflection\"") > 1.2 * sun);
    let galaxy = |name: &str, magnitude: f64| {
        let by_name = target_rate(&["blue"], &format!("name = \"{name}\"\naltitude_deg = 55.0"), 0);
        by_name / (rate("b_minus_v = 0.65") * 10_f64.powf(-0.4 * (magnitude - 22.0)))
    };
    // M33 is a spiral.
    assert!((galaxy("M33", 22.81) - 1.0).abs() < 0.01, "{}", galaxy("M33", 22.81));
}

#[test]
fn a_place_may_be_written_in_hours_or_with_minutes() {
    let dated = "date = \"2026-10-10\"\nsnr = 3.0";
    let at = |place: &str| {
        let text = format!("surface_brightness_mag = 22.0\n{place}");
        let plan = planned_at(&text, dated);
        number(&plan, "/night/airmass")
    };
    let degrees = at("ra_deg = 314.7\ndec_deg = 44.5289");
    for place in [
        "ra_h = 20.98\ndec_deg = 44.5289",
        "ra = \"20h 58m 48s\"\ndec = \"+44 31 44\"",
        "ra = \"20:58:48\"\ndec = \"44.5289\"",
    ] {
        assert!((at(place) / degrees - 1.0).abs() < 1e-4, "{place}");
    }
}

fn planned_at(target: &str, goal: &str) -> Plan {
    let text = format!(
        "[optics]\naperture_mm = 76.0\nfocal_length_mm = 440.0\n[site]\nlatitude_deg = 45.0\nlongitude_deg = 0.0\n\
         utc_offset_h = 0.0\n[[filters]]\nname = \"luminance\"\n[target]\n{target}\n[goal]\n{goal}\n"
    );
    let night = Night::from_toml(&text).unwrap_or_else(|error| panic!("{target}: {error}"));
    plan(&night, &CameraProfile::from_toml(CAMERA).expect("a profile")).expect("a plan")
}

/// A mirror of 200 mm at f/2 with 41 % of it in shadow: the plan has the line that is left, and says what a wider filter brings.
#[test]
fn a_fast_beam_is_planned_with_what_it_leaves_of_the_line() {
    let planned = |width: f64, optics: &str| {
        let text = format!(
            "[optics]\n{optics}\n[site]\nsky = {{ mag_per_arcsec2 = 20.5 }}\n[[filters]]\nname = \"h-alpha\"\nwidth_nm = {width}\n\
             [target]\nline_rayleigh = 100.0\naltitude_deg = 55.0\n[goal]\nhours = 4.0\n"
        );
        let night = Night::from_toml(&text).expect("a night");
        plan(&night, &CameraProfile::from_toml(CAMERA).expect("a profile")).expect("a plan")
    };
    let rate_and_caveat = |width: f64, optics: &str| {
        let plan = planned(width, optics);
        let caveat = plan.caveats.iter().find(|caveat| caveat.code == "filter-shift").cloned();
        (number(&plan, "/filters/0/planes/0/rates_e_per_s/target"), caveat)
    };
    let fast = "aperture_mm = 200.0\nfocal_length_mm = 400.0\nobstruction_mm = 82.0";
    let (narrow, caveat) = rate_and_caveat(3.0, fast);
    let (wide, none) = rate_and_caveat(12.0, fast);
    // Half of 3 nm is reached where tan² θ = 0.01859 (n = 2); the pupil begins at (0.41/4)² and ends at (1/4)².
    assert!((narrow / wide / ((0.01859 - 0.01051) / (0.0625 - 0.01051)) - 1.0).abs() < 0.03, "{}", narrow / wide);
    let caveat = caveat.expect("a caveat");
    assert!(caveat.message.contains("84 % of the line is lost") && caveat.hint.contains("12 nm"), "{caveat:?}");
    assert!(none.is_none());
    let slow = "aperture_mm = 80.0\nfocal_length_mm = 480.0";
    assert!(rate_and_caveat(3.0, slow).1.is_none());
    // The range is that of what the beam leaves, and is told as the beam's; a beam that takes nothing is no source of any.
    assert_eq!(planned(3.0, fast).largest_uncertainty.source, Source::Beam);
    assert!(planned(3.0, fast).largest_uncertainty.share_percent > 50.0);
    assert_ne!(planned(3.0, slow).largest_uncertainty.source, Source::Beam);
}
