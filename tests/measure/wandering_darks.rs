//! Darks as cameras take them: levels that wander, particles, a cooler that is not quite steady.

use subwell::frames::Frame;
use subwell::sensor::{MeasureOptions, ModeMeasurement, StackKey};
use subwell::simulate::{SensorTruth, SimulatedSensor, frames};
use subwell::units::Celsius;

const SENSORS: u64 = 60;

fn truth(seed: u64) -> SensorTruth {
    let rate = 0.05 * 1.06_f64.powf(seed as f64);
    let mut text = format!(
        "width_px = 120\nheight_px = 90\ngain_e_per_adc_step = 1.0\noffset_dn = 300.0\nread_noise_e = 3.0\n\
         full_well_e = 30000\ndsnu_e = 0.5\ndark_e_per_s = {rate:?}\ndark_at_c = -5.0\ndark_nonuniformity = 0.3\n\
         level_jitter_dn = 0.3\ntemperature_jitter_c = 0.2\ncosmic_rays_per_s = 0.01\nseed = {seed}\n"
    );
    let mut add = |kind: &str, count: usize, exposure: f64, light: f64| {
        text.push_str(&format!(
            "[[frames]]\nkind = \"{kind}\"\ncount = {count}\nexposure_s = {exposure:?}\nsensor_c = -5.0\nlight_e_per_s = {light:?}\n"
        ));
    };
    add("bias", 8, 0.0, 0.0);
    for share in [0.05, 0.15, 0.3, 0.5, 0.65] {
        add("flat", 2, share, 30_000.0);
    }
    for exposure in [60.0, 180.0, 300.0] {
        add("dark", 6, exposure, 0.0);
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
        let key = |frame: &Frame| StackKey {
            kind: frame.info.kind,
            exposure: frame.info.exposure,
            sensor: Some(Celsius(-5.0)),
        };
        let mut all: Vec<Frame> = frames(&truth).collect();
        all.sort_by_key(|frame| key(frame).order());
        let mut measurement = ModeMeasurement::new(&all[0].info, MeasureOptions::default()).unwrap();
        for frame in all {
            measurement.add(key(&frame), frame).unwrap();
        }
        let dark = measurement.finish().unwrap().0.planes.remove(0).dark_current.remove(0);
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
