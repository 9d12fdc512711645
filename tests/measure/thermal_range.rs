//! The dark current carried beyond the measured temperatures: truths of two laws and a floor, fitted and asked
//! 15 °C outside.

use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use subwell::camera::{CameraProfile, DarkCurrentPoint, DarkCurrentSource, Plane};
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

/// A sensor whose two sources have any energies, in e⁻/s at 0 °C.
struct AnySources {
    amplitudes: [f64; 2],
    energies: [f64; 2],
    floor: f64,
}

impl AnySources {
    fn at(&self, celsius: f64) -> f64 {
        let (t, zero) = (celsius + 273.15, 273.15);
        let of = |energy: f64| (t / zero).powf(1.5) * (energy / 8.617_333e-5 * (1.0 / zero - 1.0 / t)).exp();
        self.amplitudes[0] * of(self.energies[0]) + self.amplitudes[1] * of(self.energies[1]) + self.floor
    }
}

fn measured_at(temperatures: &[f64], truth: impl Fn(f64) -> f64, relative: f64, rng: &mut Xoshiro256PlusPlus) -> Plane {
    let point = |&celsius: &f64| {
        let chance: f64 = StandardNormal.sample(rng);
        let rate = truth(celsius);
        DarkCurrentPoint {
            sensor_c: Some(Celsius(celsius)),
            e_per_s: Estimate::new(rate * (1.0 + relative * chance), relative * rate),
            median_e_per_s: None,
            from: DarkCurrentSource::Mean,
            other_e_per_s: None,
            nonuniformity_percent: None,
            hot_pixel_fraction: None,
            exposures_s: vec![],
        }
    };
    let points: Vec<DarkCurrentPoint> = temperatures.iter().map(point).collect();
    let mut plane = CameraProfile::from_toml(PROFILE).unwrap().modes.remove(0).planes.remove(0);
    plane.thermal = thermal_law(&points, 0.0);
    plane.dark_current = points;
    plane
}

#[test]
fn sources_of_any_energy_are_held_twelve_degrees_outside() {
    for (relative, temperatures) in [
        (0.01, vec![-15.0, -5.0, 5.0, 15.0]),
        (0.003, vec![-15.0, -5.0, 5.0, 15.0]),
        (0.01, (0..7).map(|k| 5.0 * f64::from(k) - 15.0).collect()),
    ] {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(18);
        let (mut held, mut asked, mut spans) = (0, 0, Vec::new());
        for _ in 0..100 {
            let mut energy = || 0.50 + 0.65 * rng.random::<f64>();
            let energies = [energy(), energy()];
            let share = rng.random::<f64>();
            let mut truth = AnySources { amplitudes: [0.1 * share, 0.1 * (1.0 - share)], energies, floor: 0.0 };
            truth.floor = 0.5 * rng.random::<f64>() * truth.at(-15.0);
            let plane = measured_at(&temperatures, |celsius| truth.at(celsius), relative, &mut rng);
            for celsius in [-27.0, 27.0] {
                let rate = dark_current(&plane, Celsius(celsius)).rate;
                let (low, high) = rate.interval();
                asked += 1;
                held += usize::from(rate.covers(truth.at(celsius)));
                spans.push(high / low);
                assert!(low > 0.0 && low <= rate.value.0 && rate.value.0 <= high, "{rate:?}");
            }
        }
        spans.sort_by(f64::total_cmp);
        let widest = spans[spans.len() - 1];
        println!(
            "± {relative} at {}: held {held} of {asked}, span median {:.2}, widest {widest:.2}",
            temperatures.len(),
            spans[spans.len() / 2]
        );
        assert!(held * 10 >= asked * 9, "{held} of {asked}");
        assert!(widest <= 3.0, "{widest}");
    }
}

/// An ordinary estimate below 0, and one of no temperature: what is used is not negative, what is kept is.
#[test]
fn no_negative_dark_current_is_used() {
    let mut plane = CameraProfile::from_toml(PROFILE).unwrap().modes.remove(0).planes.remove(0);
    for sensor_c in [Some(Celsius(-10.0)), None] {
        let point = DarkCurrentPoint {
            sensor_c,
            e_per_s: Estimate::new(-0.0002, 0.0005),
            median_e_per_s: None,
            from: DarkCurrentSource::Mean,
            other_e_per_s: None,
            nonuniformity_percent: None,
            hot_pixel_fraction: None,
            exposures_s: vec![],
        };
        plane.dark_current = vec![point];
        for celsius in [-25.0, -10.0, 5.0, 25.0] {
            let dark = dark_current(&plane, Celsius(celsius));
            let (low, high) = dark.rate.interval();
            assert!(
                dark.rate.value.0 > 0.0 && dark.rate_per_kelvin.0 > 0.0 && low >= 0.0 && high > dark.rate.value.0,
                "{dark:?}"
            );
        }
        assert_eq!(plane.dark_current[0].e_per_s.value.0, -0.0002);
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
