//! Sensors whose levels misbehave: held, drifting, jumping, bent, saturated, of two temperatures.

use subwell::camera::{DarkCurrentSource, Plane};
use subwell::caveat::Caveat;
use subwell::frames::{Frame, FrameInfo, FrameKind};
use subwell::sensor::{MeasureOptions, StackKey};
use subwell::simulate::{SensorTruth, SimulatedSensor, frames};
use subwell::units::Celsius;

use crate::support::measured::{by_stacks, group};

const PLAIN: &str = "width_px = 240\nheight_px = 180\ngain_e_per_adc_step = 0.8\noffset_dn = 250.0\nread_noise_e = 2.4\n\
                     full_well_e = 12000\nprnu_percent = 0.6\ndsnu_e = 0.5\ndark_at_c = 0.0\nseed = 31\n";
const LEVELS: [f64; 9] = [0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.45, 0.6, 0.68];

/// Frames of a sensor of `keys`: bias, pairs of flats whose second frame has `drift` times the light of the first, darks.
fn sensor(keys: &str, levels: &[f64], drift: f64) -> SensorTruth {
    let mut text = format!("{PLAIN}{keys}\n");
    let mut add = |kind: &str, count: usize, exposure: f64, light: f64| {
        text.push_str(&group(kind, count, exposure, 0.0, light));
    };
    add("bias", 8, 0.0, 0.0);
    for &share in levels {
        add("flat", 1, share, 12_000.0);
        add("flat", 1, share, 12_000.0 * drift);
    }
    for exposure in [60.0, 180.0, 300.0] {
        add("dark", 4, exposure, 0.0);
    }
    SensorTruth::from_toml(&text).unwrap()
}

fn measured(all: Vec<Frame>) -> (Plane, Vec<Caveat>) {
    let celsius = |info: &FrameInfo| info.sensor.map(|c| Celsius((c.0 / 5.0).round() * 5.0));
    let key = |info: &FrameInfo| StackKey { kind: info.kind, exposure: info.exposure, sensor: celsius(info) };
    let (mut mode, caveats) = by_stacks(all, MeasureOptions::default(), key).unwrap();
    (mode.planes.remove(0), caveats)
}

#[track_caller]
fn assert_said(caveats: &[Caveat], code: &str) {
    assert!(caveats.iter().any(|caveat| caveat.code == code), "{code} is not among {caveats:?}");
}

/// The camera takes the mean of its masked pixels off each dark, so the level stays where it is; the noise does not.
#[test]
fn a_held_black_level_is_seen_also_with_one_percent_of_hot_pixels() {
    // Hot pixels of 1 to 10 e⁻/s: none of them is full after 300 s.
    for (ordinary, hot) in [(0.2, ""), (0.02, "hot_pixel_fraction = 0.01\n")] {
        let truth = sensor(&format!("dark_e_per_s = {ordinary:?}\n{hot}"), &LEVELS, 1.0);
        let mut all: Vec<Frame> = frames(&truth).collect();
        for frame in all.iter_mut().filter(|frame| frame.info.kind == FrameKind::Dark) {
            let mean = frame.pixels.iter().map(|&y| f64::from(y)).sum::<f64>() / frame.pixels.len() as f64;
            let taken_off = (mean - 250.0).round() as u16;
            frame.pixels.mapv_inplace(|y| y.saturating_sub(taken_off));
        }
        let (plane, caveats) = measured(all);
        assert_said(&caveats, "black-level-pinned");
        let dark = &plane.dark_current[0];
        let truth = ordinary * f64::from(SimulatedSensor::new(&truth).pattern().dark_factor.mean().unwrap());
        println!("held level, `{}`: {:?} for {truth:.4}", hot.trim(), dark.e_per_s);
        assert_eq!(dark.from, DarkCurrentSource::Variance);
        assert!(dark.e_per_s.covers(truth) && dark.e_per_s.relative() < 0.1, "{:?}", dark.e_per_s);
    }
}

#[test]
fn a_lamp_that_drifts_within_the_pairs_behind_vignetting_leaves_the_gain() {
    let (plane, caveats) = measured(frames(&sensor("vignetting_percent = 40.0", &LEVELS, 1.02)).collect());
    assert_said(&caveats, "pair-level-drift");
    let gain = &plane.gain_e_per_dn;
    assert!(gain.covers(0.8) && gain.relative() < 0.01, "{gain:?}");
}

#[test]
fn jumping_pixels_are_told_from_the_core() {
    let (plane, caveats) =
        measured(frames(&sensor("telegraph_fraction = 0.03\ntelegraph_e = 60.0", &LEVELS, 1.0)).collect());
    assert_said(&caveats, "noise-outliers");
    let core = plane.read_noise_core_e.unwrap().value.0;
    assert!((core / 2.4 - 1.0).abs() < 0.1 && plane.read_noise_e.value.0 > 1.5 * core, "{core}");
}

/// From 3000 DN on the converter counts 8 % faster: a knee of mean and noise.
#[test]
fn a_knee_of_the_transfer_curve_is_said_and_priced_in() {
    let mut all: Vec<Frame> = frames(&sensor("", &LEVELS, 1.0)).collect();
    for frame in &mut all {
        frame
            .pixels
            .mapv_inplace(|y| if y > 3000 { 3000 + ((f64::from(y) - 3000.0) * 1.08).round() as u16 } else { y });
    }
    let (plane, caveats) = measured(all);
    assert_said(&caveats, "transfer-curve-kink");
    assert!(plane.gain_e_per_dn.covers(0.8), "{:?}", plane.gain_e_per_dn);
}

#[test]
fn flats_that_are_mostly_saturated_are_said() {
    let (_, caveats) = measured(frames(&sensor("", &[0.1, 0.3, 0.5, 1.6, 1.8, 2.0, 2.5], 1.0)).collect());
    assert_said(&caveats, "saturated-flat");
}

#[test]
fn flats_that_are_all_too_dark_give_a_gain_as_uncertain_as_it_is() {
    let (plane, _) = measured(frames(&sensor("", &[0.0002, 0.0004, 0.0006, 0.001], 1.0)).collect());
    let gain = &plane.gain_e_per_dn;
    assert!(gain.covers(0.8) && gain.relative() > 0.01, "{gain:?}");
}

#[test]
fn a_read_noise_that_grows_with_the_temperature_is_said() {
    let cold = sensor("", &LEVELS, 1.0);
    let mut warm = SensorTruth { seed: 32, ..cold.clone() };
    warm.read_noise_e.0 = 2.8;
    warm.frames.retain(|group| group.kind == FrameKind::Bias);
    warm.frames.iter_mut().for_each(|group| group.sensor_c = Some(Celsius(20.0)));
    let (plane, caveats) = measured(frames(&cold).chain(frames(&warm)).collect());
    assert_said(&caveats, "noise-with-temperature");
    assert_eq!(plane.read_noise_by_temperature.len(), 2);
}

#[test]
fn a_gain_that_changes_with_the_temperature_is_said() {
    let cold = sensor("", &LEVELS, 1.0);
    let mut warm = SensorTruth { seed: 33, ..cold.clone() };
    warm.gain_e_per_adc_step.0 = 0.84;
    warm.frames.retain(|group| group.kind == FrameKind::Flat);
    warm.frames.iter_mut().for_each(|group| group.sensor_c = Some(Celsius(20.0)));
    assert_said(&measured(frames(&cold).chain(frames(&warm)).collect()).1, "gain-with-temperature");
    let mut alike = warm.clone();
    alike.gain_e_per_adc_step.0 = 0.8;
    let (_, caveats) = measured(frames(&cold).chain(frames(&alike)).collect());
    assert!(!caveats.iter().any(|caveat| caveat.code == "gain-with-temperature"), "{caveats:?}");
}

#[test]
fn a_temperature_that_does_not_settle_is_said() {
    let (_, caveats) =
        measured(frames(&sensor("dark_e_per_s = 0.2\ntemperature_jitter_c = 1.0", &LEVELS, 1.0)).collect());
    assert_said(&caveats, "temperature-unsettled");
}

/// Between the levels of two colours there are no codes: that is no lossy curve.
#[test]
fn colours_of_unlike_brightness_leave_no_codes_out() {
    let truth = sensor("cfa = \"RGGB\"\nlight_colour = { R = 0.5, G = 1.0, B = 0.3 }", &LEVELS, 1.0);
    let (plane, caveats) = measured(frames(&truth).collect());
    assert!(!caveats.iter().any(|caveat| ["lossy-raw", "digital-gain"].contains(&caveat.code.as_str())), "{caveats:?}");
    assert!(plane.gain_e_per_dn.covers(0.8), "{:?}", plane.gain_e_per_dn);
}

/// Just above the well the few pixels that are not full yet are no stars, and the noise that is left is no measure of light.
#[test]
fn flats_just_above_the_well_neither_move_nor_flicker() {
    // The last of 12,000 e⁻: of pixels that scatter by 1 %, one of thousands is not full.
    for above in [1.02, 1.035, 1.06] {
        let levels = [&LEVELS[..], &[0.8, 0.92, above]].concat();
        let truth = SensorTruth { prnu_percent: 1.0, ..sensor("", &levels, 1.0) };
        let (plane, caveats) = measured(frames(&truth).collect());
        assert!(
            caveats.iter().all(|caveat| !["stars-in-flats", "flicker-in-flats"].contains(&caveat.code.as_str())),
            "{above}: {caveats:?}"
        );
        let prnu = plane.prnu_percent.unwrap_or_else(|| panic!("{above}: no PRNU"));
        println!("{above}: {prnu:?}");
        assert!(prnu.covers(1.0), "{above}: {prnu:?}");
        assert!(plane.gain_e_per_dn.covers(0.8), "{above}: {:?}", plane.gain_e_per_dn);
    }
}

/// A master flat at 1 in its middle makes flats of another gain than that of biases and darks, the more the darker a corner was.
#[test]
fn flats_that_were_divided_by_a_master_flat_are_said_and_reach_the_truth() {
    for fall in [0.25, 0.45] {
        let mut all: Vec<Frame> = frames(&sensor("", &LEVELS, 1.0)).collect();
        for frame in all.iter_mut().filter(|frame| frame.info.kind == FrameKind::Flat) {
            let (rows, columns) = frame.pixels.dim();
            let from_middle = |place: usize, side: usize| (2.0 * place as f64 / side as f64 - 1.0).powi(2);
            for ((row, column), y) in frame.pixels.indexed_iter_mut() {
                let master = 1.0 - fall * (from_middle(row, rows) + from_middle(column, columns)) / 2.0;
                *y = (250.0 + (f64::from(*y) - 250.0) / master).round() as u16;
            }
        }
        let (plane, caveats) = measured(all);
        assert_said(&caveats, "flats-divided");
        let gain = &plane.gain_e_per_dn;
        println!("{fall}: {gain:?}");
        assert!(gain.covers(0.8) && plane.read_noise_e.covers(2.4), "{fall}: {gain:?} {:?}", plane.read_noise_e);
    }
    // Light that falls off towards the corners is another matter.
    let (_, caveats) = measured(frames(&sensor("vignetting_percent = 45.0", &LEVELS, 1.0)).collect());
    assert!(caveats.iter().all(|caveat| caveat.code != "flats-divided"), "{caveats:?}");
}
