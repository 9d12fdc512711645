//! Sensors of known truth, simulated and measured back. The budget is in quantiles of
//! error ÷ stated uncertainty, so it checks the uncertainties as well as the values.

use subwell::camera::{DarkCurrentSource, Mode, Plane, SaturationIs};
use subwell::caveat::Caveat;
use subwell::frames::FrameKind;
use subwell::sensor::{MeasureOptions, ModeMeasurement, StackKey};
use subwell::simulate::{SensorTruth, SimulatedSensor, frames};
use subwell::units::{Celsius, Seconds};

/// Measures the frames a sensor would write, as the program does: stack by stack.
fn measured(truth: &SensorTruth) -> (Mode, Vec<Caveat>) {
    let mut all: Vec<_> = frames(truth).collect();
    let key =
        |info: &subwell::frames::FrameInfo| StackKey { kind: info.kind, exposure: info.exposure, sensor: info.sensor };
    all.sort_by_key(|frame| key(&frame.info).order());
    let mut measurement = ModeMeasurement::new(&all[0].info, MeasureOptions::default()).unwrap();
    for frame in all {
        measurement.add(key(&frame.info), frame).unwrap();
    }
    measurement.finish().unwrap()
}

/// A sensor with twelve levels of flat pairs and, where `temperatures` are given, dark ramps.
fn sensor(keys: &str, full: f64, temperatures: &[f64]) -> SensorTruth {
    let mut text = format!("{keys}\n");
    let mut frames = |kind: &str, count: usize, exposure: f64, celsius: f64, light: f64| {
        text.push_str(&format!(
            "[[frames]]\nkind = \"{kind}\"\ncount = {count}\nexposure_s = {exposure:?}\nsensor_c = {celsius:?}\nlight_e_per_s = {light:?}\n"
        ));
    };
    let cold = temperatures.first().copied().unwrap_or(-10.0);
    frames("bias", 8, 0.0, cold, 0.0);
    for share in [0.01, 0.02, 0.04, 0.07, 0.11, 0.16, 0.22, 0.3, 0.4, 0.5, 0.6, 0.68] {
        frames("flat", 2, share, cold, full);
    }
    for &celsius in temperatures {
        for (exposure, count) in [(60.0, 4), (180.0, 4), (300.0, 4)] {
            frames("dark", count, exposure, celsius, 0.0);
        }
    }
    SensorTruth::from_toml(&text).unwrap()
}

fn caveat_codes(caveats: &[Caveat]) -> Vec<&str> {
    caveats.iter().map(|caveat| caveat.code.as_str()).collect()
}

/// The first acceptance line: a 14-bit sensor of 400 × 600 pixels and twelve levels of pairs.
#[test]
fn gain_within_half_a_percent_and_read_noise_within_one() {
    let truth = sensor(
        "width_px = 600\nheight_px = 400\ngain_e_per_adc_step = 0.8\nread_noise_e = 1.6\nfull_well_e = 12000\n\
         prnu_percent = 0.8\ndsnu_e = 0.4\nseed = 5",
        12_000.0,
        &[],
    );
    let (mode, caveats) = measured(&truth);
    let plane = &mode.planes[0];
    let (gain, noise) = (&plane.gain_e_per_dn, &plane.read_noise_e);
    println!("gain {} ± {}, read noise {} ± {}", gain.value, gain.uncertainty, noise.value, noise.uncertainty);
    assert!((gain.value.0 / 0.8 - 1.0).abs() < 0.005, "{gain:?}");
    assert!((gain.value.0 - 0.8).abs() < 3.0 * gain.uncertainty.0, "{gain:?}");
    assert!((noise.value.0 / 1.6 - 1.0).abs() < 0.01, "{noise:?}");
    assert!((noise.value.0 - 1.6).abs() < 3.0 * noise.uncertainty.0, "{noise:?}");
    assert_eq!(plane.saturation_is, SaturationIs::AtLeast);
    assert!(caveats.is_empty(), "{caveats:?}");
}

/// Sensors all over the place: gains 0.1 to 4, read noises 1 to 12 e⁻, with and without steps.
/// Bias and coverage are printed; the whole proof with its corners is a longer run.
#[test]
fn stated_uncertainties_hold_for_sixty_sensors() {
    let (mut gain_pulls, mut noise_pulls, mut gain_bias, mut noise_bias) = (vec![], vec![], vec![], vec![]);
    let (mut covered, mut rates_covered, mut rates) = (0, 0, 0);
    for number in 0..60_u32 {
        let part = |k: u32| f64::from((number * 7 + k * 13) % 40) / 39.0;
        let read = 1.0 * 12_f64.powf(part(1));
        let gain = (read / (0.8 + 3.0 * part(2))).clamp(0.1, 4.0);
        let step = [1, 1, 4][(number % 3) as usize];
        let full = (gain * 15_000.0).min(60_000.0);
        let truth = sensor(
            &format!(
                "width_px = 120\nheight_px = 100\ngain_e_per_adc_step = {gain:?}\ndn_step = {step}\noffset_dn = {}.0\n\
                 read_noise_e = {read:?}\nfull_well_e = {full:?}\nprnu_percent = 0.6\ndsnu_e = 0.5\nseed = {}\n\
                 dark_e_per_s = 0.2\ndark_at_c = 0.0\nlevel_jitter_dn = {:?}",
                400 * step,
                number + 100,
                0.1 * f64::from(step)
            ),
            full * 0.95,
            &[0.0],
        );
        let (mode, _) = measured(&truth);
        let plane = &mode.planes[0];
        let gain = gain / f64::from(step);
        gain_pulls.push((plane.gain_e_per_dn.value.0 - gain) / plane.gain_e_per_dn.uncertainty.0);
        noise_pulls.push((plane.read_noise_e.value.0 - read) / plane.read_noise_e.uncertainty.0);
        gain_bias.push(plane.gain_e_per_dn.value.0 / gain - 1.0);
        noise_bias.push(plane.read_noise_e.value.0 / read - 1.0);
        covered += usize::from(plane.gain_e_per_dn.covers(gain)) + usize::from(plane.read_noise_e.covers(read));
        let dark = SimulatedSensor::new(&truth).pattern().dark_factor.mean().unwrap_or(1.0);
        rates_covered += usize::from(plane.dark_current[0].e_per_s.covers(0.2 * f64::from(dark)));
        rates += 1;
        assert_eq!(mode.dn_step, step);
    }
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let worst = |values: &[f64]| values.iter().fold(0.0_f64, |max, value| max.max(value.abs()));
    let spread = |values: &[f64]| (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt();
    println!(
        "gain: mean error {:+.3} %, spread {:.2} σ, worst {:.2} σ",
        100.0 * mean(&gain_bias),
        spread(&gain_pulls),
        worst(&gain_pulls)
    );
    println!(
        "read noise: mean error {:+.3} %, spread {:.2} σ, worst {:.2} σ",
        100.0 * mean(&noise_bias),
        spread(&noise_pulls),
        worst(&noise_pulls)
    );
    println!(
        "95 % intervals that hold the truth: {covered} of 120 (gain, read noise), {rates_covered} of {rates} (dark current)"
    );
    // 95 % of 120 and of 60, two and a half standard deviations of the counts to the low side.
    assert!(covered >= 108, "{covered} of 120");
    assert!(rates_covered >= 53, "{rates_covered} of {rates}");
    assert!(worst(&gain_pulls) < 4.0 && worst(&noise_pulls) < 4.0);
    assert!((0.6..1.35).contains(&spread(&gain_pulls)) && (0.6..1.35).contains(&spread(&noise_pulls)));
    assert!(mean(&gain_bias).abs() < 0.01 && mean(&noise_bias).abs() < 0.01);
}

/// Both sample sets, made again with another seed and another gain.
#[test]
fn the_sample_cameras_are_measured_back_with_other_seeds_and_gains() {
    let samples = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration");
    for (set, gain) in [("cooled-mono", 0.6), ("uncooled-colour", 0.9)] {
        let text = std::fs::read_to_string(samples.join(set).join("sensor.toml")).unwrap();
        let mut truth = SensorTruth::from_toml(&text).unwrap();
        truth.seed += 1000;
        truth.gain_e_per_adc_step = subwell::units::ElectronsPerDn(gain);
        let (mode, caveats) = measured(&truth);
        let telegraph = truth.telegraph_fraction * (truth.telegraph_e.0 / 2.0).powi(2);
        let read = (truth.read_noise_e.0.powi(2) + telegraph + truth.row_noise_e.0.powi(2)).sqrt();
        for plane in &mode.planes {
            let per_dn = gain / f64::from(truth.dn_step);
            assert!(
                (plane.gain_e_per_dn.value.0 - per_dn).abs() < 3.5 * plane.gain_e_per_dn.uncertainty.0,
                "{set} {plane:?}"
            );
            assert!(plane.gain_e_per_dn.relative() < 0.05, "{set} {plane:?}");
            assert!(
                (plane.read_noise_e.value.0 / read - 1.0).abs() < 0.05,
                "{set} {} against {read}",
                plane.read_noise_e.value
            );
            assert_eq!(plane.saturation_is, SaturationIs::Reached, "{set}");
            dark_current_is_right(plane, &truth, set);
        }
        assert!(!caveat_codes(&caveats).contains(&"black-level-pinned"), "{set} {caveats:?}");
    }
}

/// Every temperature's mean rate within 3.5 uncertainties and 15 % of the simulated pixels' mean.
fn dark_current_is_right(plane: &Plane, truth: &SensorTruth, set: &str) {
    let sensor = SimulatedSensor::new(truth);
    let factor = sensor.pattern().dark_factor.mean().map_or(1.0, f64::from);
    assert!(plane.dark_current.len() >= 3, "{set}");
    for point in &plane.dark_current {
        let celsius = point.sensor_c.unwrap();
        let floor = truth.dark_floor_e_per_s.0;
        let rate = (truth.dark_rate(celsius).0 - floor) * factor + floor;
        assert_eq!(point.from, DarkCurrentSource::Mean);
        let off = (point.e_per_s.value.0 - rate).abs();
        // A plane of a colour array has its own hot pixels: its mean differs from the whole's.
        let own = if plane.colour.is_some() { 0.25 * rate } else { 0.0 };
        assert!(
            off < 3.5 * point.e_per_s.uncertainty.0 + own,
            "{set} {} at {celsius}: {:?} against {rate}",
            plane.plane,
            point.e_per_s
        );
    }
    let law = plane.thermal.as_ref().unwrap();
    assert!(
        (law.activation_ev.value - truth.activation_ev).abs() < 3.5 * law.activation_ev.uncertainty.max(0.01),
        "{set} {law:?}"
    );
}

#[test]
fn a_particle_hit_does_not_move_the_dark_current() {
    let keys = "width_px = 160\nheight_px = 120\ngain_e_per_adc_step = 0.8\nread_noise_e = 4.0\nfull_well_e = 12000\nseed = 9\n\
                dark_e_per_s = 0.3\ndark_at_c = 0.0\n";
    let clean = measured(&sensor(keys, 12_000.0, &[0.0])).0;
    let hit = measured(&sensor(&format!("{keys}cosmic_rays_per_s = 0.05\n"), 12_000.0, &[0.0])).0;
    let rate = |mode: &Mode| mode.planes[0].dark_current[0].e_per_s.value.0;
    println!("dark current {} without hits, {} with", rate(&clean), rate(&hit));
    assert!((rate(&hit) / rate(&clean) - 1.0).abs() < 0.02);
}

/// Keys shared by the sensors with one oddity each.
const PLAIN: &str = "width_px = 160\nheight_px = 120\ngain_e_per_adc_step = 1.0\noffset_dn = 250.0\nread_noise_e = 2.0\n\
                     full_well_e = 13000\ndark_at_c = 0.0\nseed = 21\n";

/// `sensor` without its bias frames, and with darks of the exposures asked for only.
fn without_bias(keys: &str, temperatures: &[f64], exposures: &[f64]) -> SensorTruth {
    let mut truth = sensor(keys, 13_000.0, temperatures);
    truth.frames.retain(|group| {
        let asked = exposures.contains(&group.exposure_s.0) || group.kind == FrameKind::Flat;
        group.kind != FrameKind::Bias && asked
    });
    truth
}

#[test]
fn darks_of_one_exposure_are_not_their_own_anchor() {
    let truth = without_bias(&format!("{PLAIN}dark_e_per_s = 0.2\n"), &[0.0], &[300.0]);
    let (mode, caveats) = measured(&truth);
    let plane = &mode.planes[0];
    assert!(plane.dark_current.is_empty(), "{:?}", plane.dark_current);
    assert!(plane.read_noise_is_upper_limit && plane.read_noise_e.value.0 > 2.0);
    assert!(caveats.iter().any(|caveat| caveat.message.contains("cannot be told from the black level")), "{caveats:?}");
}

#[test]
fn without_bias_frames_the_temperatures_are_kept_apart() {
    let truth = without_bias(&format!("{PLAIN}dark_e_per_s = 0.2\n"), &[0.0, 20.0], &[60.0, 180.0, 300.0]);
    let plane = &measured(&truth).0.planes[0];
    // 60 s at 0 °C: the level is 12 e⁻ up, the noise √(4 + 12) e⁻.
    assert!((plane.offset_dn.unwrap().value.0 - 262.0).abs() < 1.0, "{:?}", plane.offset_dn);
    assert!(plane.read_noise_e.value.0 < 4.3, "{:?}", plane.read_noise_e);
    let rate = &plane.dark_current[0].e_per_s;
    assert!(rate.covers(0.2) && rate.relative() < 0.03, "{rate:?}");
}

#[test]
fn hot_pixels_that_saturate_are_said() {
    let keys = format!("{PLAIN}dark_e_per_s = 0.5\nhot_pixel_fraction = 0.002\n");
    let truth = sensor(&keys, 13_000.0, &[0.0]);
    let (mode, caveats) = measured(&truth);
    let factor = f64::from(SimulatedSensor::new(&truth).pattern().dark_factor.mean().unwrap());
    let rate = &mode.planes[0].dark_current[0];
    // Some saturate in the shortest darks already: what is missing cannot be had back, and is said.
    assert!(rate.e_per_s.value.0 < 0.5 * factor);
    let caveat = caveats.iter().find(|caveat| caveat.code == "saturated-dark").expect("a word about it");
    assert!(caveat.message.contains("too small"), "{caveat:?}");
}

#[test]
fn telegraph_pixels_make_no_knee() {
    let keys = "width_px = 300\nheight_px = 200\ngain_e_per_adc_step = 0.5\nread_noise_e = 1.2\nfull_well_e = 8000\nseed = 4\n\
                telegraph_fraction = 0.003\ntelegraph_e = 60.0\n";
    let (mode, caveats) = measured(&sensor(keys, 8_000.0, &[]));
    let gain = &mode.planes[0].gain_e_per_dn;
    assert!(!caveat_codes(&caveats).contains(&"transfer-curve-kink"), "{caveats:?}");
    assert!((gain.value.0 / 0.5 - 1.0).abs() < 0.01 && gain.covers(0.5), "{gain:?}");
}

#[test]
fn row_noise_is_measured_and_widens_the_read_noise() {
    let keys = format!("{PLAIN}row_noise_e = 1.0\n");
    let plane = &measured(&sensor(&keys, 13_000.0, &[])).0.planes[0];
    let row = plane.row_noise_e.as_ref().expect("row noise");
    assert!((row.value.0 - 1.0).abs() < 3.0 * row.uncertainty.0.max(0.02), "{row:?}");
    assert!(plane.read_noise_e.covers(5.0_f64.sqrt()), "{:?}", plane.read_noise_e);
}

#[test]
fn a_damaged_bias_frame_is_named_and_left_out() {
    let truth = sensor(PLAIN, 13_000.0, &[]);
    let mut all: Vec<_> = frames(&truth).collect();
    for row in 0..10 {
        for column in 0..10 {
            all[2].pixels[(row, column)] = 16_383;
        }
    }
    let name = all[2].info.file.clone();
    let key =
        |info: &subwell::frames::FrameInfo| StackKey { kind: info.kind, exposure: info.exposure, sensor: info.sensor };
    let mut measurement = ModeMeasurement::new(&all[0].info, MeasureOptions::default()).unwrap();
    for frame in all {
        measurement.add(key(&frame.info), frame).unwrap();
    }
    let (mode, caveats) = measurement.finish().unwrap();
    assert!((mode.planes[0].read_noise_e.value.0 - 2.0).abs() < 0.1, "{:?}", mode.planes[0].read_noise_e);
    let caveat = caveats.iter().find(|caveat| caveat.code == "outlier-frame").expect("a word about it");
    assert!(caveat.message.contains(&name), "{caveat:?}");
}

#[test]
fn noise_below_the_step_is_an_upper_limit() {
    let truth = sensor(
        "width_px = 120\nheight_px = 100\ngain_e_per_adc_step = 6.0\nread_noise_e = 1.2\nfull_well_e = 60000\nseed = 3",
        60_000.0,
        &[],
    );
    let (mode, caveats) = measured(&truth);
    assert!(mode.planes[0].read_noise_is_upper_limit);
    assert!(mode.planes[0].read_noise_e.value.0 > 1.2);
    assert!(caveat_codes(&caveats).contains(&"quantisation-limited"));
}

#[test]
fn a_black_level_cut_at_zero_is_said() {
    let truth = sensor(
        "width_px = 120\nheight_px = 100\ngain_e_per_adc_step = 0.5\noffset_dn = 3.0\nread_noise_e = 3.0\nfull_well_e = 8000\nseed = 3",
        8_000.0,
        &[],
    );
    assert!(caveat_codes(&measured(&truth).1).contains(&"black-clipped"));
}

#[test]
fn frames_of_another_size_or_in_the_wrong_order_are_refused() {
    let truth = sensor("width_px = 64\nheight_px = 48\nseed = 1", 20_000.0, &[]);
    let all: Vec<_> = frames(&truth).collect();
    let bias = all.iter().find(|frame| frame.info.kind == FrameKind::Bias).unwrap();
    let flat = all.iter().find(|frame| frame.info.kind == FrameKind::Flat).unwrap();
    let key = |kind| StackKey { kind, exposure: Seconds(0.0), sensor: Some(Celsius(0.0)) };
    let mut measurement = ModeMeasurement::new(&bias.info, MeasureOptions::default()).unwrap();
    measurement.add(key(FrameKind::Flat), flat.clone()).unwrap();
    let error = measurement.add(key(FrameKind::Bias), bias.clone()).unwrap_err();
    assert!(error.to_string().contains("bias"), "{error}");
    let mut small = bias.clone();
    small.pixels = ndarray::Array2::zeros((10, 10));
    let error = measurement.add(key(FrameKind::Flat), small).unwrap_err();
    assert!(error.to_string().contains("10 × 10"), "{error}");
}
