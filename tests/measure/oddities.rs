//! Sensors that misbehave, one oddity each, at strengths that occur: each is caught, and a clean sensor is not.

mod flats;
mod flats_mixed;
mod means;
mod other_gain;
mod world;

use subwell::camera::Mode;
use subwell::caveat::Caveat;
use subwell::frames::{Frame, FrameKind};
use subwell::sensor::{MeasureError, MeasureOptions};
use subwell::simulate::{SensorTruth, frames};
use subwell::units::{ElectronsPerSecond, Seconds};

use crate::support::measured::{by_stacks, group, key};

fn of_frames(all: Vec<Frame>) -> Result<(Mode, Vec<Caveat>), MeasureError> {
    by_stacks(all, MeasureOptions::default(), key)
}

/// Measures a sensor of `keys`, its oddity in one line, with eight bias frames, twelve pairs of flats up to `full`
/// electrons, and darks of three exposures at 0 degC.
fn sensor(keys: &str, oddity: &str, full: f64) -> SensorTruth {
    let mut text = format!("{keys}\noddity = {{ {oddity} }}\n");
    let mut add = |kind: &str, count: usize, exposure: f64, light: f64| {
        text.push_str(&group(kind, count, exposure, 0.0, light));
    };
    add("bias", 8, 0.0, 0.0);
    for share in [0.01, 0.02, 0.04, 0.07, 0.11, 0.16, 0.22, 0.3, 0.4, 0.5, 0.6, 0.68] {
        add("flat", 2, share, full);
    }
    for exposure in [60.0, 180.0, 300.0] {
        add("dark", 4, exposure, 0.0);
    }
    SensorTruth::from_toml(&text).unwrap()
}

fn measured(truth: &SensorTruth) -> (Mode, Vec<Caveat>) {
    of_frames(frames(truth).collect()).unwrap()
}

fn codes(caveats: &[Caveat]) -> Vec<&str> {
    caveats.iter().map(|caveat| caveat.code.as_str()).collect()
}

#[track_caller]
fn assert_said(caveats: &[Caveat], code: &str) {
    let said = caveats.iter().find(|caveat| caveat.code == code);
    println!("{}", said.map_or("", |caveat| &caveat.message));
    assert!(said.is_some(), "{code} is not among {caveats:?}");
}

/// An ordinary camera: 0.8 e⁻/DN, 2.4 e⁻ read noise, a little of everything.
const PLAIN: &str = "width_px = 300\nheight_px = 240\ngain_e_per_adc_step = 0.8\noffset_dn = 250.0\nread_noise_e = 2.4\n\
                     full_well_e = 12000\nprnu_percent = 0.6\ndsnu_e = 0.5\ndark_e_per_s = 0.1\ndark_at_c = 0.0\n\
                     level_jitter_dn = 0.1\nhot_pixel_fraction = 0.0003\nseed = 77\n";
const FULL: f64 = 12_000.0;

#[test]
fn a_plain_sensor_raises_nothing() {
    let (_, caveats) = measured(&sensor(PLAIN, "", FULL));
    assert!(caveats.is_empty(), "{caveats:?}");
}

#[test]
fn noise_shared_by_neighbours_is_counted_into_the_gain() {
    for (coupling, array) in [(0.005, "none"), (0.01, "none"), (0.02, "none"), (0.02, "RGGB")] {
        let keys = format!("{PLAIN}cfa = \"{array}\"\n");
        let (mode, caveats) = measured(&sensor(&keys, &format!("neighbour_coupling = {coupling}"), FULL));
        assert_said(&caveats, "neighbour-correlation");
        for plane in &mode.planes {
            let gain = &plane.gain_e_per_dn;
            println!("coupling {coupling} {array}: {} ± {} e-/DN, true 0.8", gain.value, gain.uncertainty);
            // Without the neighbours it would be 8 α too high.
            assert!((gain.value.0 - 0.8).abs() < 3.0 * gain.uncertainty.0, "{gain:?}");
            assert!(gain.relative() < 0.06, "{gain:?}");
        }
    }
}

#[test]
fn filters_in_the_camera_are_seen() {
    for filter in ["capped", "median"] {
        for array in ["none", "RGGB"] {
            let keys = format!("{PLAIN}cfa = \"{array}\"\n");
            let (_, caveats) = measured(&sensor(&keys, &format!("raw_filter = \"{filter}\""), FULL));
            assert_said(&caveats, "filtered-raw");
        }
    }
}

#[test]
fn a_digital_gain_is_seen_and_a_padded_step_is_not_taken_for_one() {
    let (_, caveats) = measured(&sensor(PLAIN, "digital_gain = 1.0837", FULL));
    assert_said(&caveats, "digital-gain");
    let missing = caveats.iter().find(|caveat| caveat.code == "digital-gain").unwrap();
    // 1 − 1/1.0837 is 7.7 %.
    assert!(missing.message.starts_with("7.7 %") || missing.message.starts_with("7.8 %"), "{missing:?}");
    let (mode, caveats) = measured(&sensor(&format!("{PLAIN}dn_step = 4\n"), "", FULL));
    assert_eq!((mode.dn_step, codes(&caveats)), (4, vec!["dn-step"]));
}

#[test]
fn a_lossy_tone_curve_is_left_out_of_the_gain_or_refused() {
    // Codes a whole sigma apart: even the dimmest flats, at 120 e⁻, have gaps.
    let truth = sensor(PLAIN, "lossy_sigmas = 1.0", FULL);
    match of_frames(frames(&truth).collect()) {
        Err(error @ MeasureError::Unusable { .. }) => assert!(error.to_string().contains("lossy"), "{error}"),
        other => panic!("{:?}", other.map(|(_, caveats)| caveats)),
    }
    // Codes 0.1 sigma apart at 4 e⁻/DN and at least one: only from 1600 DN on is that two.
    let keys = PLAIN
        .replace("gain_e_per_adc_step = 0.8", "gain_e_per_adc_step = 4.0")
        .replace("read_noise_e = 2.4", "read_noise_e = 6.0");
    let keys = keys.replace("full_well_e = 12000", "full_well_e = 40000");
    let (mode, caveats) = measured(&sensor(&keys, "lossy_sigmas = 0.1", 40_000.0));
    assert_said(&caveats, "lossy-raw");
    let used = mode.photon_transfer.iter().filter(|point| point.used).count();
    let gain = &mode.planes[0].gain_e_per_dn;
    println!("{used} of {} levels used, gain {} ± {}", mode.photon_transfer.len(), gain.value, gain.uncertainty);
    assert!(used < mode.photon_transfer.len() && gain.covers(4.0), "{gain:?}");
}

#[test]
fn averaged_darks_are_off_the_grid_of_the_others() {
    let (_, caveats) = measured(&sensor(&format!("{PLAIN}dn_step = 4\n"), "averaged_darks = 8", FULL));
    assert_said(&caveats, "averaged-frames");
}

#[test]
fn a_clipped_black_level_is_recovered_or_refused() {
    // 3 DN of read noise, the level at 0.5, 1.5 and 6 DN: 50 %, 37 % and 3.3 % at 0; the pixels' pattern is small.
    for offset in [0.0, 1.0, 6.0] {
        let keys = PLAIN.replace("offset_dn = 250.0", &format!("offset_dn = {offset:?}"));
        let keys =
            keys.replace("level_jitter_dn = 0.1", "level_jitter_dn = 0.0").replace("dsnu_e = 0.5", "dsnu_e = 0.2");
        let (mode, caveats) = measured(&sensor(&keys, "", FULL));
        assert_said(&caveats, "black-clipped");
        let (noise, level) = (&mode.planes[0].read_noise_e, mode.planes[0].offset_dn.unwrap());
        println!(
            "offset {offset}: read noise {} ± {}, level {} ± {}",
            noise.value, noise.uncertainty, level.value, level.uncertainty
        );
        assert!((noise.value.0 - 2.4).abs() < 2.0 * noise.uncertainty.0 && noise.relative() < 0.1, "{noise:?}");
        assert!((level.value.0 - offset).abs() < 2.0 * level.uncertainty.0, "{level:?}");
        assert!(!mode.planes[0].read_noise_is_upper_limit);
    }
    let patterned = PLAIN.replace("offset_dn = 250.0", "offset_dn = 2.0").replace("dsnu_e = 0.5", "dsnu_e = 3.0");
    let plane = &measured(&sensor(&patterned, "", FULL)).0.planes[0];
    assert!(plane.read_noise_is_upper_limit && plane.read_noise_e.value.0 > 2.4, "{:?}", plane.read_noise_e);
    let buried =
        PLAIN.replace("offset_dn = 250.0", "offset_dn = 0.0").replace("read_noise_e = 2.4", "read_noise_e = 0.3");
    let error = of_frames(frames(&sensor(&buried, "", FULL)).collect()).unwrap_err();
    assert!(matches!(error, MeasureError::Unusable { .. }), "{error}");
}

#[test]
fn flats_with_their_dark_taken_off_keep_their_own_level() {
    for (pedestal, light_changed) in [(0.0, false), (60.0, false), (0.0, true)] {
        let mut truth = sensor(PLAIN, &format!("flat_pedestal_dn = {pedestal:?}"), FULL);
        if light_changed {
            // One exposure time, the lamp dimmed instead.
            for group in truth.frames.iter_mut().filter(|group| group.kind == FrameKind::Flat) {
                group.light_e_per_s = ElectronsPerSecond(FULL * group.exposure_s.0);
                group.exposure_s = Seconds(1.0);
            }
        }
        let (mode, caveats) = measured(&truth);
        assert_said(&caveats, "flat-pedestal");
        let (gain, noise) = (&mode.planes[0].gain_e_per_dn, &mode.planes[0].read_noise_e);
        println!("pedestal {pedestal}: gain {} ± {}", gain.value, gain.uncertainty);
        assert!((gain.value.0 - 0.8).abs() < 3.0 * gain.uncertainty.0 && gain.relative() < 0.05, "{gain:?}");
        assert!((noise.value.0 / 2.4 - 1.0).abs() < 0.05, "{noise:?}");
    }
}

#[test]
fn a_frame_under_another_name_counts_once() {
    let mut all: Vec<Frame> = frames(&sensor(PLAIN, "", FULL)).collect();
    let mut copy = all[0].clone();
    copy.info.file = "dark/copy.fits".into();
    copy.info.kind = FrameKind::Dark;
    copy.info.exposure = Seconds(60.0);
    all.push(copy);
    let (mode, caveats) = of_frames(all).unwrap();
    assert_said(&caveats, "duplicate-frame");
    assert_eq!((mode.frames.bias, mode.frames.dark), (8, 12));
}

#[test]
fn frames_of_the_wrong_kind_are_said() {
    // A pair of flats among the darks.
    let mut all: Vec<Frame> = frames(&sensor(PLAIN, "", FULL)).collect();
    let flats = all.iter_mut().filter(|frame| frame.info.kind == FrameKind::Flat).skip(14).take(2);
    flats.for_each(|frame| frame.info.kind = FrameKind::Dark);
    assert_said(&of_frames(all).unwrap().1, "conflicting-kind");
    // Lights among the flats.
    let mut truth = sensor(&format!("{PLAIN}stars_per_frame = 300\n"), "", FULL);
    for group in truth.frames.iter_mut().filter(|group| group.kind == FrameKind::Flat).skip(4).take(2) {
        group.kind = FrameKind::Light;
    }
    let mut all: Vec<Frame> = frames(&truth).collect();
    all.iter_mut()
        .filter(|frame| frame.info.kind == FrameKind::Light)
        .for_each(|frame| frame.info.kind = FrameKind::Flat);
    assert_said(&of_frames(all).unwrap().1, "conflicting-kind");
}

#[test]
fn a_level_that_drifts_is_said_where_it_matters() {
    let truth = sensor(PLAIN, "level_drift_dn = 12.0", FULL);
    assert_said(&measured(&truth).1, "dark-level-drift");
}

#[test]
fn rows_that_dominate_the_noise_are_said() {
    let (_, caveats) = measured(&sensor(&format!("{PLAIN}row_noise_e = 2.4\n"), "", FULL));
    assert_said(&caveats, "row-banding");
    assert!(!codes(&caveats).contains(&"neighbour-correlation"), "{caveats:?}");
}

/// Small sensors of many kinds without any oddity: no code is raised.
#[test]
fn clean_sensors_raise_no_code() {
    let raised = raised_by_clean_sensors(0..24);
    assert!(raised.is_empty(), "{raised:?}");
}

/// The whole proof: of 200 clean sensors no more than two raise the same code.
#[test]
#[ignore = "takes two minutes; the ordinary test does a part of it"]
fn two_hundred_clean_sensors_raise_no_code_more_than_twice() {
    let raised = raised_by_clean_sensors(0..200);
    assert!(raised.values().all(|count| *count <= 2), "{raised:?}");
}

fn raised_by_clean_sensors(numbers: std::ops::Range<u32>) -> std::collections::BTreeMap<String, u32> {
    let of = numbers.len();
    let mut raised = std::collections::BTreeMap::new();
    for number in numbers {
        let part = |k: u32| f64::from((number * 7 + k * 13) % 40) / 39.0;
        let read = 1.0 * 12_f64.powf(part(1));
        let gain = (read / (0.8 + 3.0 * part(2))).clamp(0.1, 4.0);
        let step = [1, 1, 4][(number % 3) as usize];
        let full = (gain * 15_000.0).min(60_000.0);
        let array = ["none", "none", "RGGB"][(number / 3 % 3) as usize];
        let keys = format!(
            "width_px = 120\nheight_px = 100\ngain_e_per_adc_step = {gain:?}\ndn_step = {step}\noffset_dn = {}.0\n\
             read_noise_e = {read:?}\nfull_well_e = {full:?}\nprnu_percent = 0.6\ndsnu_e = 0.5\nseed = {}\n\
             dark_e_per_s = {:?}\ndark_at_c = 0.0\nlevel_jitter_dn = {:?}\nvignetting_percent = {:?}\ncfa = \"{array}\"\n\
             hot_pixel_fraction = {:?}",
            400 * step,
            number + 1000,
            0.02 * f64::from(number % 10),
            0.1 * f64::from(step),
            f64::from(number % 4) * 12.0,
            if number % 5 == 0 { 0.0005 } else { 0.0 },
        );
        let (_, caveats) = measured(&sensor(&keys, "", full * 0.95));
        let mut of_this: Vec<&str> = codes(&caveats).into_iter().filter(|code| *code != "dn-step").collect();
        of_this.sort_unstable();
        of_this.dedup();
        for code in of_this {
            *raised.entry(code.to_owned()).or_insert(0) += 1;
        }
        for caveat in caveats.iter().filter(|caveat| caveat.code != "dn-step") {
            println!("sensor {number}: {} {} {}", caveat.code, caveat.about, caveat.message);
        }
    }
    println!("codes raised by {of} clean sensors: {raised:?}");
    raised
}
