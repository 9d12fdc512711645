//! Moonlight: Krisciunas & Schaefer 1991, PASP 103, 1033. The first row is an example that others published for these
//! equations; the rest was computed from the equations apart from this program, both airmasses at work.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::sky::night::{Horizontal, Moon, moonlight, opposition_surge, scattering_airmass};
use subwell::sky::{magnitude_of_nanolambert, nanolambert};
use subwell::units::{Degrees, Magnitudes, MagnitudesPerSquareArcsecond};

/// Four digits are printed.
const PRINTED: f64 = 2e-4;
/// Magnitudes are printed to the third decimal, some to the fourth.
const MAGNITUDE: f64 = 6e-4;
/// The dark zenith of the paper's site, nL.
const DARK_ZENITH: f64 = 79.0;

/// The law without the surge of the full Moon, as the rows have it.
fn without_surge(phase: f64, apart: f64, moon: f64, target: f64, k: f64) -> f64 {
    let light = moonlight(Degrees(phase), Degrees(apart), Degrees(moon), Degrees(target), Magnitudes(k));
    light / opposition_surge(Degrees(phase))
}

/// Phase angle, separation, zenith distances of Moon and target, extinction; nanolamberts and magnitude of the Moon.
const ROWS: [(f64, f64, f64, f64, f64, f64, f64); 9] = [
    (45.0, 50.0, 70.0, 20.0, 0.15, 389.516, 19.8548),
    (0.0, 30.0, 30.0, 0.0, 0.172, 2367.588, 17.8954),
    (0.0, 60.0, 60.0, 45.0, 0.172, 1467.18, 18.415),
    (30.0, 60.0, 60.0, 45.0, 0.172, 713.161, 19.1982),
    (60.0, 60.0, 60.0, 45.0, 0.172, 332.466, 20.0268),
    (90.0, 60.0, 60.0, 45.0, 0.172, 133.508, 21.0174),
    (120.0, 60.0, 60.0, 45.0, 0.172, 38.611, 22.3644),
    (0.0, 5.0, 60.0, 60.0, 0.172, 16468.894, 15.7895),
    (90.0, 60.0, 45.0, 15.0, 0.28, 149.451, 20.8949),
];
/// Change of the paper's own dark sky in each row, and the sky of a site of 19.5 mag.
const ON_A_DARK_SKY: [(f64, f64); 8] = [
    (-3.727, 17.672),
    (-2.957, 18.075),
    (-2.247, 18.586),
    (-1.565, 18.979),
    (-0.902, 19.260),
    (-0.346, 19.425),
    (-5.268, 15.754),
    (-1.136, 19.235),
];

#[test]
fn nine_rows_of_moonlight() {
    for (phase, apart, moon, target, k, light, magnitude) in ROWS {
        let found = without_surge(phase, apart, moon, target, k);
        assert_relative_eq!(found, light, max_relative = PRINTED);
        assert_abs_diff_eq!(magnitude_of_nanolambert(found).expect("light").0, magnitude, epsilon = MAGNITUDE);
    }
}

#[test]
fn the_change_of_a_dark_sky_and_of_a_suburban_one() {
    for ((phase, apart, moon, target, k, ..), (change, total)) in ROWS.into_iter().skip(1).zip(ON_A_DARK_SKY) {
        let light = without_surge(phase, apart, moon, target, k);
        let air = scattering_airmass(Degrees(target));
        let dark = DARK_ZENITH * 10_f64.powf(-0.4 * k * (air - 1.0)) * air;
        assert_abs_diff_eq!(-2.5 * ((light + dark) / dark).log10(), change, epsilon = MAGNITUDE);
        let site = nanolambert(MagnitudesPerSquareArcsecond(19.5));
        assert_abs_diff_eq!(magnitude_of_nanolambert(site + light).expect("light").0, total, epsilon = MAGNITUDE);
    }
}

/// Change of the dark sky at Zm = 60°, Z = 45°, k = 0.172 for separations of 5, 30, 60, 90, 120°.
#[test]
fn a_grid_of_phases_and_separations() {
    let grid = [
        (0.0, [-5.22, -3.64, -2.96, -2.64, -2.82]),
        (30.0, [-4.45, -2.89, -2.25, -1.95, -2.12]),
        (60.0, [-3.64, -2.15, -1.56, -1.31, -1.46]),
        (90.0, [-2.71, -1.36, -0.90, -0.72, -0.82]),
        (120.0, [-1.56, -0.59, -0.35, -0.26, -0.31]),
    ];
    let air = scattering_airmass(Degrees(45.0));
    let dark = DARK_ZENITH * 10_f64.powf(-0.4 * 0.172 * (air - 1.0)) * air;
    for (phase, changes) in grid {
        for (apart, change) in [5.0, 30.0, 60.0, 90.0, 120.0].into_iter().zip(changes) {
            let light = without_surge(phase, apart, 60.0, 45.0, 0.172);
            // Two decimals are printed.
            assert_abs_diff_eq!(-2.5 * ((light + dark) / dark).log10(), change, epsilon = 0.0061);
        }
    }
}

#[test]
fn the_airmass_of_scattering() {
    for (zenith, air) in [(0.0, 1.0), (30.0, 1.1471), (60.0, 1.8898), (70.0, 2.5624), (80.0, 3.8084), (85.0, 4.5984)] {
        assert_abs_diff_eq!(scattering_airmass(Degrees(zenith)), air, epsilon = 5e-5);
    }
}

/// −0.326 mag when full, −0.242 at 2°, −0.103 at 5°.
#[test]
fn the_full_moons_surge_in_magnitudes() {
    for (phase, magnitude) in [(0.0, -0.326), (2.0, -0.242), (5.0, -0.103)] {
        assert_abs_diff_eq!(-2.5 * opposition_surge(Degrees(phase)).log10(), magnitude, epsilon = MAGNITUDE);
    }
}

/// The two factors of the law, each on its own: the Moon's illuminance `I*` in footcandles and the scattering function
/// `f(ρ)`. The law's jump at 10° is the paper's.
#[test]
fn illuminance_and_scattering() {
    /// Half of the last of five printed digits.
    const DIGITS: f64 = 4.5e-5;
    let lost = |zenith: f64| 10_f64.powf(-0.4 * 0.172 * scattering_airmass(Degrees(zenith)));
    let product = |phase, apart| without_surge(phase, apart, 20.0, 50.0, 0.172) / (lost(20.0) * (1.0 - lost(50.0)));
    let full = 0.029_107;
    for (apart, scattered) in
        [(5.0, 2.9502e6), (10.0, 1.2593e6), (30.0, 6.6584e5), (60.0, 3.4477e5), (90.0, 2.5078e5), (120.0, 3.0152e5)]
    {
        assert_relative_eq!(product(0.0, apart) / full, scattered, max_relative = DIGITS);
    }
    assert_relative_eq!(product(0.0, 9.99) / full, 1.0863e6, max_relative = 2.0 * DIGITS);
    for (phase, illuminance) in
        [(0.0, 0.029_107), (30.0, 0.014_148), (60.0, 0.006_595_7), (90.0, 0.002_648_6), (120.0, 7.6599e-4)]
    {
        assert_relative_eq!(product(phase, 60.0) / 3.4477e5, illuminance, max_relative = 2.0 * DIGITS);
    }
}

/// The lit share of the disc, (1 + cos α)/2, to three decimals.
#[test]
fn lit_share_of_seven_phases() {
    for (phase, lit) in
        [(0.0, 1.0), (30.0, 0.933), (45.0, 0.854), (60.0, 0.750), (90.0, 0.500), (120.0, 0.250), (150.0, 0.067)]
    {
        let place = Horizontal { altitude: Degrees(30.0), azimuth: Degrees(180.0) };
        assert_abs_diff_eq!(Moon { place, phase_angle: Degrees(phase) }.illuminated(), lit, epsilon = MAGNITUDE);
    }
}
