//! Darks as cameras take them: levels that wander, particles, a cooler that is not quite steady.

use subwell::camera::{DarkCurrentPoint, Plane};
use subwell::caveat::Caveat;
use subwell::frames::{Frame, FrameInfo};
use subwell::sensor::{MeasureOptions, ModeMeasurement, StackKey};
use subwell::simulate::{SensorTruth, SimulatedSensor, frames};
use subwell::units::Celsius;

use crate::support::measured::{by_stacks, group, key};

const SENSORS: u64 = 60;

fn truth(seed: u64) -> SensorTruth {
    let rate = 0.05 * 1.06_f64.powf(seed as f64);
    let mut text = format!(
        "width_px = 120\nheight_px = 90\ngain_e_per_adc_step = 1.0\noffset_dn = 300.0\nread_noise_e = 3.0\n\
         full_well_e = 30000\ndsnu_e = 0.5\ndark_e_per_s = {rate:?}\ndark_at_c = -5.0\ndark_nonuniformity = 0.3\n\
         level_jitter_dn = 0.3\ntemperature_jitter_c = 0.2\ncosmic_rays_per_s = 0.01\nseed = {seed}\n"
    );
    let mut add = |kind: &str, count: usize, exposure: f64, light: f64| {
        text.push_str(&group(kind, count, exposure, -5.0, light));
    };
    add("bias", 8, 0.0, 0.0);
    for share in [0.05, 0.15, 0.3, 0.5, 0.65] {
        add("flat", 2, share, 30_000.0);
    }
    // There and back, as the checklists ask: in rising order nothing tells a drift from charge, and the interval says so.
    for (count, exposure) in [(3, 60.0), (3, 180.0), (6, 300.0), (3, 180.0), (3, 60.0)] {
        add("dark", count, exposure, 0.0);
    }
    SensorTruth::from_toml(&text).unwrap()
}

#[test]
fn the_dark_rate_covers_and_is_no_wider_than_it_must_be() {
    let (mut covered, mut squares, mut widths) = (0, 0.0, Vec::new());
    for seed in 1..=SENSORS {
        let truth = truth(seed);
        let rate = truth.dark_e_per_s.0 * f64::from(SimulatedSensor::new(&truth).pattern().dark_factor.mean().unwrap());
        // The group's temperature, not the frame's, is what a stack is kept under.
        let key = |info: &FrameInfo| StackKey { sensor: Some(Celsius(-5.0)), ..key(info) };
        let (mut mode, _) = by_stacks(frames(&truth).collect(), MeasureOptions::default(), key).unwrap();
        let dark = mode.planes.remove(0).dark_current.remove(0);
        let (low, high) = dark.e_per_s.interval();
        covered += usize::from(dark.e_per_s.covers(rate));
        // In units of what makes this rate uncertain: the level's wander, and the temperature's on the longest darks.
        let scale = (0.3 / 300.0_f64).hypot(0.02 * rate);
        squares += ((dark.e_per_s.value.0 - rate) / scale).powi(2);
        widths.push((high - low) / scale);
        println!(
            "rate {rate:.3} error {:+.2} half {:.2} stat {:?}",
            (dark.e_per_s.value.0 - rate) / scale,
            (high - low) / 2.0 / scale,
            dark.e_per_s.statistical.map(|s| s.0 / scale)
        );
    }
    let must = 2.0 * 1.96 * (squares / SENSORS as f64).sqrt();
    let wide = widths.iter().sum::<f64>() / SENSORS as f64;
    println!(
        "{covered} of {SENSORS} intervals hold the truth; they are {:.2} times as wide as they must be",
        wide / must
    );
    assert!(covered * 10 >= SENSORS as usize * 9, "{covered}");
    assert!(wide <= 1.5 * must, "{wide} against {must}");
}

/// A plain sensor with these numbers of its own, and darks: count, exposure, temperature.
fn sensor(own: &str, darks: &[(usize, f64, f64)]) -> SensorTruth {
    let mut text = format!("width_px = 160\nheight_px = 120\noffset_dn = 300.37\n{own}\n");
    let mut add = |kind: &str, count: usize, exposure: f64, light: f64, celsius: f64| {
        text.push_str(&format!(
            "[[frames]]\nkind = \"{kind}\"\ncount = {count}\nexposure_s = {exposure:?}\nsensor_c = {celsius:?}\nlight_e_per_s = {light:?}\n"
        ));
    };
    add("bias", 8, 0.0, 0.0, darks[0].2);
    for share in [0.05, 0.15, 0.3, 0.5, 0.65] {
        add("flat", 2, share, 8_000.0, darks[0].2);
    }
    darks.iter().for_each(|&(count, exposure, celsius)| add("dark", count, exposure, 0.0, celsius));
    SensorTruth::from_toml(&text).unwrap()
}

/// What the program makes of it, the frames grouped by these temperatures.
fn measured(truth: &SensorTruth, group: impl Fn(f64) -> f64) -> (Plane, Vec<Caveat>) {
    let key = |frame: &Frame| StackKey {
        kind: frame.info.kind,
        exposure: frame.info.exposure,
        sensor: frame.info.sensor.map(|celsius| Celsius(group(celsius.0))),
    };
    let mut all: Vec<Frame> = frames(truth).collect();
    all.sort_by_key(|frame| key(frame).order());
    let mut measurement = ModeMeasurement::new(&all[0].info, MeasureOptions::default()).unwrap();
    for frame in all {
        measurement.add(key(&frame), frame).unwrap();
    }
    let (mut mode, caveats) = measurement.finish().unwrap();
    (mode.planes.remove(0), caveats)
}

fn has(caveats: &[Caveat], code: &str) -> bool {
    caveats.iter().any(|caveat| caveat.code == code)
}

const PLAIN: &str = "gain_e_per_adc_step = 1.0\nread_noise_e = 3.0\nfull_well_e = 8000\ndsnu_e = 0.5\nlevel_jitter_dn = 0.2\ndark_e_per_s = 0.06\n\
                     dark_at_c = 10.0\n";

/// Exposures that each have their own temperature: the nights', or a header's a tenth off.
#[test]
fn exposures_at_temperatures_of_their_own_are_joined_by_the_law() {
    let nights: [&[(usize, f64, f64)]; 4] = [
        &[(5, 60.0, 9.0), (8, 90.0, 11.0), (12, 60.0, 17.0)],
        &[(5, 30.0, 12.0), (5, 300.0, 12.1)],
        &[(3, 30.0, 12.0), (3, 120.0, 12.01), (3, 300.0, 12.3)],
        &[(1, 30.0, 9.1), (1, 60.0, 9.5), (1, 120.0, 10.2), (1, 200.0, 10.5), (1, 300.0, 10.9)],
    ];
    for darks in nights {
        for seed in 1..=5 {
            let truth = sensor(&format!("{PLAIN}seed = {seed}"), darks);
            let near: Vec<f64> = darks.iter().map(|dark| dark.2).filter(|celsius| *celsius < 15.0).collect();
            let frames: f64 = darks.iter().filter(|dark| dark.2 < 15.0).map(|dark| dark.0 as f64).sum();
            let mean =
                darks.iter().filter(|dark| dark.2 < 15.0).map(|dark| dark.0 as f64 * dark.2).sum::<f64>() / frames;
            let (plane, _) = measured(&truth, |celsius| if near.contains(&celsius) { mean } else { celsius });
            assert!(!plane.dark_current.is_empty(), "{darks:?}");
            for DarkCurrentPoint { sensor_c, e_per_s, .. } in &plane.dark_current {
                let true_rate = truth.dark_rate(sensor_c.unwrap()).0;
                println!(
                    "{sensor_c:?} {true_rate:.4} {:.4} ± {:.4} {:?}",
                    e_per_s.value.0,
                    e_per_s.uncertainty.0,
                    e_per_s.interval()
                );
                assert!(
                    e_per_s.covers(true_rate) && e_per_s.uncertainty.0 < true_rate,
                    "{darks:?}: {e_per_s:?} for {true_rate}"
                );
            }
        }
    }
}

#[test]
fn darks_that_are_saturated_give_no_dark_current() {
    let own = "gain_e_per_adc_step = 1.0\nread_noise_e = 3.0\nfull_well_e = 6000\ndark_e_per_s = 150.0\ndark_at_c = 20.0\ndark_nonuniformity = 0.3\n";
    let (plane, caveats) = measured(&sensor(own, &[(4, 60.0, 20.0), (4, 300.0, 20.0)]), |celsius| celsius);
    assert!(plane.dark_current.is_empty() && plane.thermal.is_none(), "{:?}", plane.dark_current);
    assert!(has(&caveats, "saturated-dark"), "{caveats:?}");
}

/// A noise that the converter's steps hide says nothing of the level, and the level little of the charge.
#[test]
fn noise_of_a_third_of_a_step_leaves_the_dark_current_uncertain_and_nothing_pinned() {
    let mut held = 0;
    for seed in 1..=12 {
        let rate = 0.004 * 1.3_f64.powi(seed);
        let own = format!(
            "gain_e_per_adc_step = 3.0\nread_noise_e = 0.9\nfull_well_e = 20000\ndark_e_per_s = {rate}\ndark_at_c = 0.0\nseed = {seed}\n"
        );
        let (plane, caveats) =
            measured(&sensor(&own, &[(4, 60.0, 0.0), (4, 180.0, 0.0), (4, 300.0, 0.0)]), |celsius| celsius);
        assert!(!has(&caveats, "black-level-pinned"), "{caveats:?}");
        let point = &plane.dark_current[0];
        println!("{rate:.4}: {:.4} {:?}", point.e_per_s.value.0, point.e_per_s.interval());
        held += usize::from(point.e_per_s.covers(rate));
    }
    assert!(held >= 11, "{held} of 12");
}
