//! One light that is not like the others leaves the others as they are.

use subwell::camera::{CameraProfile, FieldStar, MeasuredLight};
use subwell::night::Night;
use subwell::review::Review;
use subwell::units::ElectronsPerSecond;

use crate::advice::light;

const NIGHT: &str = "[camera]\ngain_setting = 100\ncooled = true\nsensor_c = -10.0\n[optics]\naperture_mm = 80.0\n\
                     focal_length_mm = 400.0\n[site]\nlatitude_deg = 45.0\nlongitude_deg = 21.0\nutc_offset_h = 0.0\n\
                     sky = { mag_per_arcsec2 = 19.0 }\nseeing_arcsec = 4.0\n[[filters]]\nname = \"luminance\"\n[target]\n\
                     surface_brightness_mag = 22.0\nra_deg = 150.0\ndec_deg = 40.0\n[goal]\nsnr = 20.0\n";

fn night_and_camera() -> (Night, CameraProfile) {
    (Night::from_toml(NIGHT).unwrap(), CameraProfile::from_toml(&crate::camera(600, 400, 1.6)).unwrap())
}

/// Stars strewn over the field by a seed, seen after a dither.
fn strewn(count: usize, seed: u64, moved: f64) -> Vec<FieldStar> {
    let mut state = seed;
    let mut next = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / (1_u64 << 24) as f64
    };
    let mut stars: Vec<FieldStar> = (0..count)
        .map(|_| FieldStar {
            x_px: 600.0 * next() + moved,
            y_px: 400.0 * next() + 0.5 * moved,
            e_per_s: ElectronsPerSecond(50.0 / (0.02 + next())),
            fwhm_px: 3.0,
            straight: true,
        })
        .collect();
    stars.sort_by(|a, b| b.e_per_s.0.total_cmp(&a.e_per_s.0));
    stars
}

fn lights(count: usize) -> Vec<MeasuredLight> {
    let one = |place: usize| {
        let plain = light(place, "L", &format!("2026-03-16T20:{:02}:00", 2 * place), 60.0, 6.0);
        MeasuredLight { stars: strewn(60, 3, 3.0 * place as f64), star_count: 60, ..plain }
    };
    (0..count).map(one).collect()
}

fn reviewed(lights: &[MeasuredLight]) -> Review {
    let (night, camera) = night_and_camera();
    Review::new(&night, &camera, lights, Vec::new(), Vec::new()).unwrap()
}

/// A frame taken on the way to another target, in the Milky Way.
#[test]
fn a_richer_field_is_nobodys_measure() {
    let mut all = lights(12);
    let alone = reviewed(&all);
    all[5] = MeasuredLight { stars: strewn(110, 77, 0.0), star_count: 110, ..all[5].clone() };
    let review = reviewed(&all);
    let kept: Vec<bool> = review.subs.iter().map(|sub| sub.keep).collect();
    assert_eq!(kept.iter().filter(|keep| !**keep).count(), 1, "{kept:?}");
    assert!(!kept[5]);
    let snr = |review: &Review| review.achieved_snr.unwrap().value;
    let less = (11.0_f64 / 12.0).sqrt();
    assert!((snr(&review) / snr(&alone) / less - 1.0).abs() < 0.01, "{} {}", snr(&review), snr(&alone));
}

/// Stars as sharp as pixels of a mosaic: no two lights show the same.
#[test]
fn lights_that_show_no_common_stars_are_not_condemned() {
    let mut all = lights(12);
    for (place, light) in all.iter_mut().enumerate() {
        light.stars = strewn(60, 1000 + place as u64, 0.0);
    }
    let review = reviewed(&all);
    assert!(review.subs.iter().all(|sub| sub.keep), "{:?}", review.subs.iter().map(|sub| &sub.why).collect::<Vec<_>>());
    assert!(review.caveats.iter().any(|caveat| caveat.code == "no-stars"), "{:?}", review.caveats);
}

/// Two targets in one folder are two fields still.
#[test]
fn a_second_target_is_another_field() {
    let mut all = lights(12);
    for light in &mut all[8..] {
        light.stars = strewn(60, 55, 0.0);
    }
    let kept: Vec<bool> = reviewed(&all).subs.iter().map(|sub| sub.keep).collect();
    assert_eq!(kept.iter().filter(|keep| **keep).count(), 8, "{kept:?}");
}

#[test]
fn one_wrong_clock_does_not_stop_the_night_from_being_followed() {
    let snr = |review: &Review| review.achieved_snr.unwrap().value;
    let usual = snr(&reviewed(&lights(16)));
    // A dead battery, a clock that is six hours early, and a light taken when the target was down.
    for wrong in ["1970-01-01T00:03:00", "2026-03-16T14:20:00", "2026-03-17T12:00:00"] {
        let mut all = lights(16);
        all[9].taken = Some(wrong.to_owned());
        let review = reviewed(&all);
        assert!((snr(&review) / usual - 1.0).abs() < 0.03, "{wrong}: {} {usual}", snr(&review));
        let followed = review.subs.iter().filter(|sub| sub.target_altitude_deg.is_some()).count();
        assert_eq!(followed, 15, "{wrong}: {:?}", review.caveats);
        assert!(review.caveats.iter().any(|caveat| caveat.code == "conflicting-time"), "{wrong}: {:?}", review.caveats);
    }
}

#[test]
fn lights_of_two_evenings_are_said() {
    let mut all = lights(16);
    for light in &mut all[8..] {
        light.taken = light.taken.as_ref().map(|taken| taken.replace("03-16", "03-18"));
    }
    let review = reviewed(&all);
    assert!(review.caveats.iter().any(|caveat| caveat.code == "several-evenings"), "{:?}", review.caveats);
}
