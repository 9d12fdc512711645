//! Sub length and dither cadence against values solved outside of this program.
//!
//! The tables were derived from the CCD equation and solved numerically with scipy (brentq on the derivative, a grid
//! for the joint optimum); the printed digits set the tolerances.

use approx::assert_abs_diff_eq;
use subwell::noise::{Calibration, LeftPattern, PlaneNoise, Rates};
use subwell::plan::{best_cadence, best_sub, efficiency};
use subwell::units::{Electrons, ElectronsPerSecond, Seconds};

/// Half of the last digit of the optimum lengths, and of the efficiencies.
const LENGTH_DIGITS: f64 = 6e-4;
const EFFICIENCY_DIGITS: f64 = 6e-4;

/// F in e-/s, R in e-, overhead in s, 1/λ in s; then the optimum, its efficiency, and the efficiency at the length
/// where read noise adds 5 %, relative to the optimum's.
const TABLE: [[f64; 7]; 6] = [
    [2.0, 3.0, 4.0, 3600.0, 172.809, 0.908, 0.905],
    [2.0, 3.0, 15.0, 3600.0, 258.775, 0.865, 0.772],
    [0.05, 1.5, 10.0, 7200.0, 610.405, 0.842, 0.991],
    [0.05, 1.5, 10.0, 1200.0, 238.643, 0.662, 0.929],
    [20.0, 3.0, 3.0, 600.0, 44.191, 0.861, 0.621],
    [0.01, 3.0, 20.0, 1800.0, 925.502, 0.297, 0.023],
];

fn noise(rate: f64, read: f64) -> PlaneNoise {
    PlaneNoise {
        rates: Rates { sky: ElectronsPerSecond(rate), ..Rates::default() },
        read_noise: Electrons(read),
        quantisation: Electrons(0.0),
        left: LeftPattern::default(),
        calibration: Calibration { darks: 0, flats: 0, biases: 0, electrons_per_flat: Electrons(1.0) },
        drift: ElectronsPerSecond(0.0),
    }
}

#[test]
fn the_best_sub_length_and_what_it_reaches() {
    for [rate, read, overhead, mean_time, best, reached, swamped] in TABLE {
        let (tau, overhead) = (Seconds(read * read / rate), Seconds(overhead));
        let sub = best_sub(tau, overhead, 1.0 / mean_time).expect("losses bound the sub");
        assert_abs_diff_eq!(sub.0, best, epsilon = LENGTH_DIGITS);
        let at = |sub| efficiency(sub, tau, overhead, 1.0 / mean_time);
        assert_abs_diff_eq!(at(sub), reached, epsilon = EFFICIENCY_DIGITS);
        let limited = noise(rate, read).sky_limited(0.05);
        assert_abs_diff_eq!(at(limited) / at(sub), swamped, epsilon = EFFICIENCY_DIGITS);
    }
}

#[test]
fn the_best_sub_length_solves_the_cubic() {
    for [rate, read, overhead, mean_time, ..] in TABLE {
        let (tau, loss) = (read * read / rate, 1.0 / mean_time);
        let t = best_sub(Seconds(tau), Seconds(overhead), loss).expect("losses bound the sub").0;
        let terms = [
            loss * t * t * t,
            loss * (tau + overhead) * t * t,
            (loss * tau * overhead - tau - overhead) * t,
            -2.0 * tau * overhead,
        ];
        let size: f64 = terms.iter().map(|term| term.abs()).sum();
        assert_abs_diff_eq!(terms.iter().sum::<f64>() / size, 0.0, epsilon = 1e-12);
    }
}

#[test]
fn without_losses_longer_is_always_better() {
    assert_eq!(best_sub(Seconds(4.5), Seconds(4.0), 0.0), None);
    let at = |t| efficiency(Seconds(t), Seconds(4.5), Seconds(4.0), 0.0);
    assert!(at(100.0) < at(200.0) && at(200.0) < at(2000.0));
}

#[test]
fn read_noise_adds_five_percent_at_the_sky_limited_length() {
    // τ = 4.5 s times 9.756.
    assert_abs_diff_eq!(noise(2.0, 3.0).sky_limited(0.05).0, 43.90, epsilon = 5e-3);
    for (excess, factor) in [(0.01, 49.75), (0.02, 24.75), (0.03, 16.42), (0.10, 4.762), (0.20, 2.273)] {
        assert_abs_diff_eq!(noise(1.0, 1.0).sky_limited(excess).0, factor, epsilon = 5e-3);
    }
}

#[test]
fn the_dither_cadence_of_least_variance_per_time() {
    // F = 2, R = 3, 60 s, readout 4 s, dither 20 s, pattern of 0.02 and 0.1 e-/s.
    for (pattern, cadence) in [(0.02_f64, 5.291), (0.1, 1.058)] {
        let fixed = (pattern * 60.0).powi(2);
        let best = best_cadence(2.0 * 60.0 + 9.0, fixed, Seconds(20.0), Seconds(64.0));
        assert_abs_diff_eq!(best, cadence, epsilon = 6e-4);
    }
}
