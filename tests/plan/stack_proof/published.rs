//! The simulator itself against numbers that were simulated elsewhere: variances of stacks, of dithers, of clipping.

use subwell::simulate::{StackTruth, snr_found};
use subwell::units::{Electrons, ElectronsPerSecond, Seconds};

use super::nights::{found, stacked};

/// Standard errors by which two simulations may differ: one in a few thousand does.
const STANDARD_ERRORS: f64 = 3.5;

/// Sky 2 and dark 0.3 e⁻/s, read noise 3 e⁻, 40 subs of 60 s, 20 darks, 25 flats of 20 000 e⁻.
fn worked() -> StackTruth {
    StackTruth {
        target_e_per_s: ElectronsPerSecond(0.0),
        sky_e_per_s: ElectronsPerSecond(2.0),
        dark_e_per_s: ElectronsPerSecond(0.3),
        read_noise_e: Electrons(3.0),
        sub_s: Seconds(60.0),
        kept: 40,
        darks: 20,
        flats: 25,
        dither_box_px: 200,
        side_px: 64,
        ..StackTruth::default()
    }
}

/// A pattern alone: levels of 10 e⁻ and no light; the noise of reading is a thousandth of it.
fn pattern_alone() -> StackTruth {
    StackTruth {
        sky_e_per_s: ElectronsPerSecond(0.0),
        dark_e_per_s: ElectronsPerSecond(0.0),
        read_noise_e: Electrons(0.01),
        dsnu_e: Electrons(10.0),
        darks: 0,
        flats: 0,
        biases: 0,
        kept: 60,
        side_px: 48,
        ..worked()
    }
}

/// Variance of a pixel of the stack, 3.721 ± 0.007 dithered each sub and 5.062 ± 0.005 without: another simulation of the
/// same night (numpy); by hand 3.710 and 5.054.
#[test]
fn variance_of_a_worked_stack() {
    for (box_px, other, error, by_hand) in [(200, 3.721, 0.007, 3.710), (1, 5.062, 0.005, 5.054)] {
        let here = found(&stacked(&StackTruth { dither_box_px: box_px, ..worked() }, 16), 1);
        println!("box {box_px}: {:.4} ± {:.4}, elsewhere {other} ± {error}", here.variance_e2, here.variance_error_e2);
        let allowed = STANDARD_ERRORS * here.variance_error_e2.hypot(error);
        assert!((here.variance_e2 - other).abs() < allowed, "{here:?} for {other}");
        assert!((here.variance_e2 - by_hand).abs() < STANDARD_ERRORS * here.variance_error_e2 + 0.002, "{here:?}");
    }
}

/// What a pattern's variance is multiplied by: 60 subs in boxes of 3, 5 and 10 px, then a dither after every 1, 2, 4, 10
/// subs in a wide box (another simulation, numpy).
#[test]
fn places_average_a_pattern() {
    let boxes = [(3, 1, 0.127), (5, 1, 0.055), (10, 1, 0.0262)];
    let cadences = [(200, 1, 0.0168), (200, 2, 0.0331), (200, 4, 0.0667), (200, 10, 0.1663)];
    for (box_px, every, other) in boxes.into_iter().chain(cadences) {
        let truth = StackTruth { dither_box_px: box_px, dither_every: every, ..pattern_alone() };
        let here = found(&stacked(&truth, 24), 1);
        let (weight, error) = (here.variance_e2 / 100.0, here.variance_error_e2 / 100.0);
        println!("box {box_px}, every {every}: {weight:.4} ± {error:.4}, elsewhere {other}");
        // The numbers of elsewhere are given to 1 %; one night of 48 px shares a little of its pattern's mean.
        assert!((weight - other).abs() < STANDARD_ERRORS * error + 0.015 * other, "{weight} ± {error} for {other}");
    }
}

/// Variance of a clipped mean over that of the mean of N clean subs, 4 million pixels a cell (another simulation, numpy).
#[test]
fn clipping_costs_what_it_costs_elsewhere() {
    const ELSEWHERE: [(f64, usize, f64); 9] = [
        (2.0, 15, 1.270),
        (2.0, 30, 1.471),
        (2.0, 60, 1.709),
        (2.5, 15, 1.037),
        (2.5, 30, 1.073),
        (2.5, 60, 1.109),
        (3.0, 15, 1.005),
        (3.0, 30, 1.010),
        (3.0, 60, 1.016),
    ];
    for (sigmas, kept, other) in ELSEWHERE {
        let read_alone = StackTruth { dsnu_e: Electrons(0.0), read_noise_e: Electrons(1.0), ..pattern_alone() };
        let here = found(&stacked(&StackTruth { clip_sigma: Some(sigmas), kept, ..read_alone }, 12), 1);
        let (cost, error) = (here.variance_e2 * kept as f64, here.variance_error_e2 * kept as f64);
        println!("{sigmas} sigmas of {kept}: {cost:.3} ± {error:.3}, elsewhere {other}");
        assert!((cost - other).abs() < STANDARD_ERRORS * error + 0.003, "{cost} ± {error} for {other}");
    }
}

/// A field that creeps v px a sub over a pattern, never dithered: the variance falls, but neighbours along the way share
/// it, and means of 8 px along the way gain little: streaks. Another simulation (numpy), 60 subs.
#[test]
fn a_creeping_field_draws_streaks() {
    const ELSEWHERE: [(f64, f64, f64); 5] =
        [(0.0, 0.996, 0.125), (0.05, 0.281, 0.39), (0.1, 0.151, 0.61), (0.2, 0.080, 0.81), (1.0, 0.0167, 0.96)];
    for (v, variance, of_eight) in ELSEWHERE {
        let truth = StackTruth { dither_box_px: 1, drift_px_per_sub: [0.0, v], side_px: 96, ..pattern_alone() };
        let fields = stacked(&truth, 16);
        let one = found(&fields, 1);
        let eight = snr_found(&fields, [1, 8]).expect("patches enough");
        let kept = eight.variance_e2 / 8.0 / one.variance_e2;
        println!(
            "{v} px a sub: {:.4} ± {:.4} ({variance}), of eight {kept:.3} ({of_eight})",
            one.variance_e2 / 100.0,
            one.variance_error_e2 / 100.0
        );
        let error = STANDARD_ERRORS * one.variance_error_e2 / 100.0;
        assert!((one.variance_e2 / 100.0 - variance).abs() < error + 0.02 * variance, "{v}: {one:?}");
        assert!((kept - of_eight).abs() < 0.03, "{v}: {kept}");
    }
}
