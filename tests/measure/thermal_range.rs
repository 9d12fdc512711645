//! The dark current carried beyond the measured temperatures: truths of two laws and a floor, fitted and asked
//! 15 °C outside.

use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use subwell::camera::{CameraProfile, DarkCurrentPoint, DarkCurrentSource};
use subwell::noise::dark_current;
use subwell::sensor::thermal_law;
use subwell::stats::Estimate;
use subwell::units::Celsius;

/// A made-up camera to put the points into.
const PROFILE: &str = r#"
camera = "two laws and a floor"
provenance = "published"
source = "made up"
[[modes]]
width_px = 10
height_px = 10
[[modes.planes]]
plane = "mono"
gain_e_per_dn = 1.0
read_noise_e = 1.0
saturation_e = 10000.0
"#;

/// What is true: shares of the two laws at 0 °C and a floor, in e⁻/s, written anew with the constants of
/// Rajkanan, Singh & Shewchun 1979 so that nothing is shared with the program.
struct Truth {
    depletion: f64,
    diffusion: f64,
    floor: f64,
}

impl Truth {
    fn at(&self, celsius: f64) -> f64 {
        let (t, zero) = (celsius + 273.15, 273.15);
        let gap = |t: f64| (1.1557 - 7.021e-4 * t * t / (1108.0 + t)) / (8.617_333e-5 * t);
        let law = |power: f64, share: f64| (t / zero).powf(power) * (share * (gap(zero) - gap(t))).exp();
        self.depletion * law(1.5, 0.5) + self.diffusion * law(3.0, 1.0) + self.floor
    }
}

#[test]
fn fifteen_degrees_beyond_the_interval_covers_and_spans_no_more_than_three() {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(7);
    let (mut covered, mut asked, mut widest, mut spans) = (0, 0, 0.0_f64, Vec::new());
    for _ in 0..300 {
        let share = 0.15 + 0.7 * rng.random::<f64>();
        let mut truth = Truth { depletion: 0.2 * share, diffusion: 0.2 * (1.0 - share), floor: 0.0 };
        let coldest = -10.0 + 10.0 * rng.random::<f64>();
        truth.floor = 0.5 * rng.random::<f64>() * truth.at(coldest);
        let points: Vec<DarkCurrentPoint> = (0..6)
            .map(|k| {
                let celsius = coldest + 5.0 * f64::from(k);
                let chance: f64 = StandardNormal.sample(&mut rng);
                let rate = truth.at(celsius);
                DarkCurrentPoint {
                    sensor_c: Some(Celsius(celsius)),
                    e_per_s: Estimate::new(rate * (1.0 + 0.01 * chance), 0.01 * rate),
                    median_e_per_s: None,
                    from: DarkCurrentSource::Mean,
                    other_e_per_s: None,
                    nonuniformity_percent: None,
                    hot_pixel_fraction: None,
                    exposures_s: vec![],
                }
            })
            .collect();
        let mut plane = CameraProfile::from_toml(PROFILE).unwrap().modes.remove(0).planes.remove(0);
        plane.thermal = thermal_law(&points, 0.0);
        plane.dark_current = points;
        for celsius in [coldest - 15.0, coldest + 25.0 + 15.0] {
            let rate = dark_current(&plane, Celsius(celsius)).rate;
            let (low, high) = rate.interval();
            asked += 1;
            covered += usize::from(rate.covers(truth.at(celsius)));
            widest = widest.max(high / low);
            spans.push(high / low);
        }
    }
    spans.sort_by(f64::total_cmp);
    println!("covered {covered} of {asked}, span median {:.2}, widest {widest:.2}", spans[spans.len() / 2]);
    // 95 % of 600, three standard deviations of that count to the low side.
    assert!(covered * 1000 >= asked * 923, "{covered} of {asked}");
    assert!(widest <= 3.0, "{widest}");
}
