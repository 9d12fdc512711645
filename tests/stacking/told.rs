//! What `noise` says of chosen stacks, those included that no plan would ask for: without dithers, with few darks.

use subwell::noise::{Calibration, Clip, LeftPattern, PlaneNoise, Rates, Stack};
use subwell::simulate::StackTruth;
use subwell::units::{Electrons, ElectronsPerDn, ElectronsPerSecond, Seconds};

use super::nights::{found, stacked, weight_in_patch};

/// Most by which found and told may differ.
const AGREES_WITHIN: f64 = 0.04;
/// Standard errors of the simulation beyond which there is a fault: of two dozen comparisons one in a few hundred runs.
const STANDARD_ERRORS: f64 = 3.5;
/// What clipping does beyond the formula of its cost, as the tests of that formula allow: 3 % of the variance.
const CLIP_FORMULA: f64 = 0.015;

/// What the program's own code says of a truth.
fn told(truth: &StackTruth) -> (PlaneNoise, Stack) {
    let unevenness = truth.dark_e_per_s.0 * truth.dark_nonuniformity;
    let noise = PlaneNoise {
        rates: Rates {
            target: truth.target_e_per_s,
            sky: truth.sky_e_per_s,
            dark: truth.dark_e_per_s,
            ..Rates::default()
        },
        read_noise: truth.read_noise_e,
        quantisation: PlaneNoise::quantisation_of_step(Electrons(truth.step_e.0)),
        left: LeftPattern {
            per_second: ElectronsPerSecond(if truth.darks == 0 {
                unevenness
            } else {
                unevenness * truth.dark_mismatch
            }),
            offset: if truth.darks + truth.biases == 0 { truth.dsnu_e } else { Electrons(0.0) },
            response: if truth.flats == 0 { truth.response_spread } else { 0.0 },
        },
        calibration: Calibration {
            darks: truth.darks as u32,
            flats: truth.flats as u32,
            biases: truth.biases as u32,
            electrons_per_flat: truth.flat_e,
        },
        drift: ElectronsPerSecond(0.0),
    };
    let stack = Stack {
        subs: truth.kept as f64,
        dither_every: if truth.dither_box_px > 1 { truth.dither_every as f64 } else { truth.kept as f64 },
        dither_box_px: truth.dither_box_px as f64,
        clip: truth.clip_sigma.map_or(Clip::NONE, |sigmas| Clip::iterated(sigmas).expect("2 sigmas or more")),
    };
    (noise, stack)
}

/// Everything a sensor and a night have that the formulas know of.
fn ordinary() -> StackTruth {
    StackTruth {
        side_px: 64,
        dark_nonuniformity: 0.4,
        hot_pixel_fraction: 2e-4,
        step_e: ElectronsPerDn(1.0),
        dsnu_e: Electrons(1.0),
        response_spread: 0.006,
        // One particle a minute on 1 cm², a few of these pixels each.
        cosmic_rays_per_s: 1e-8,
        losses_per_s: 1.0 / 3600.0,
        clip_sigma: Some(3.0),
        ..StackTruth::default()
    }
}

fn cases() -> Vec<(&'static str, StackTruth)> {
    let rate = ElectronsPerSecond;
    vec![
        (
            "bright sky, broad band",
            StackTruth {
                target_e_per_s: rate(1.5),
                sky_e_per_s: rate(20.0),
                sub_s: Seconds(20.0),
                kept: 60,
                dither_every: 4,
                ..ordinary()
            },
        ),
        (
            "dark sky, narrow band",
            StackTruth {
                target_e_per_s: rate(0.02),
                sky_e_per_s: rate(0.03),
                sub_s: Seconds(300.0),
                kept: 20,
                ..ordinary()
            },
        ),
        ("no dither", StackTruth { target_e_per_s: rate(0.3), dither_box_px: 1, ..ordinary() }),
        (
            "no dither, no darks",
            StackTruth {
                target_e_per_s: rate(0.3),
                dark_e_per_s: rate(0.05),
                // What is hot and never moves is never rejected: no noise of the formulas.
                hot_pixel_fraction: 0.0,
                dither_box_px: 1,
                darks: 0,
                ..ordinary()
            },
        ),
        (
            "few darks",
            StackTruth { target_e_per_s: rate(0.2), sky_e_per_s: rate(0.3), darks: 4, dither_every: 4, ..ordinary() },
        ),
        (
            "few flats",
            StackTruth {
                target_e_per_s: rate(1.0),
                sky_e_per_s: rate(40.0),
                flats: 3,
                dither_every: 8,
                flat_e: Electrons(8000.0),
                ..ordinary()
            },
        ),
        (
            "no flats",
            StackTruth { target_e_per_s: rate(1.0), sky_e_per_s: rate(10.0), flats: 0, dither_every: 5, ..ordinary() },
        ),
        (
            "no darks and biases",
            StackTruth {
                target_e_per_s: rate(0.2),
                sky_e_per_s: rate(0.3),
                darks: 0,
                biases: 0,
                flats: 0,
                dither_every: 4,
                dark_e_per_s: rate(0.05),
                ..ordinary()
            },
        ),
        (
            "darks too warm",
            StackTruth {
                target_e_per_s: rate(0.3),
                dark_e_per_s: rate(0.5),
                dark_mismatch: 0.3,
                // 20 places: fewer than 1 + 3² would leave the hot pixels in.
                dither_every: 2,
                ..ordinary()
            },
        ),
        (
            "short subs, read noise",
            StackTruth {
                target_e_per_s: rate(0.3),
                sky_e_per_s: rate(0.1),
                read_noise_e: Electrons(3.0),
                sub_s: Seconds(5.0),
                kept: 120,
                dither_every: 10,
                ..ordinary()
            },
        ),
        (
            "coarse steps",
            StackTruth { target_e_per_s: rate(0.2), sky_e_per_s: rate(0.2), step_e: ElectronsPerDn(5.0), ..ordinary() },
        ),
        (
            "2.5 sigmas of 16 subs",
            StackTruth { target_e_per_s: rate(0.3), kept: 16, clip_sigma: Some(2.5), ..ordinary() },
        ),
    ]
}

/// What the formulas say of patches of `side` × `side` pixels, for one pixel, when neighbours share the pattern.
fn told_in_patch(noise: &PlaneNoise, stack: &Stack, sub: Seconds, side: f64) -> f64 {
    let sub = noise.sub(sub);
    let shared = if stack.dither_box_px > 1.0 {
        weight_in_patch(stack.positions(), stack.dither_box_px, side)
    } else {
        stack.fixed_weight()
    };
    let variance = stack.variance(&sub) + sub.fixed() * (shared - stack.fixed_weight());
    sub.target / variance.sqrt()
}

fn check(nights: u64, share: f64) {
    let mut wrong = Vec::new();
    println!("case | told | found, a pixel | off % | in patches of 3 px | off % | sharing the pattern, off %");
    for (i, (name, truth)) in cases().into_iter().enumerate() {
        let truth = StackTruth { seed: 40 + i as u64, ..truth };
        let (noise, stack) = told(&truth);
        let snr = stack.snr(&noise.sub(truth.sub_s), 1.0);
        let shared = told_in_patch(&noise, &stack, truth.sub_s, 3.0);
        let fields = stacked(&truth, nights);
        let (pixel, patch) = (found(&fields, 1), found(&fields, 3));
        let (of_pixel, of_patch) = (pixel.snr / snr - 1.0, patch.snr / 3.0 / shared - 1.0);
        println!(
            "{name} | {snr:.4} | {:.4} ± {:.4} | {:+.2} | {:.4} ± {:.4} | {:+.2} | {:+.2}",
            pixel.snr,
            pixel.standard_error,
            100.0 * of_pixel,
            patch.snr / 3.0,
            patch.standard_error / 3.0,
            100.0 * (patch.snr / 3.0 / snr - 1.0),
            100.0 * of_patch
        );
        let allowed = |error: f64| STANDARD_ERRORS * error + CLIP_FORMULA;
        let (pixel_error, patch_error) = (pixel.standard_error / snr, patch.standard_error / 3.0 / shared);
        if of_pixel.abs() > share.min(allowed(pixel_error)) || of_patch.abs() > allowed(patch_error) {
            wrong.push(format!("{name}: told {snr:.4} and {shared:.4}, found {pixel:?} and {patch:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_stack_shows_the_snr_that_noise_tells() {
    check(8, AGREES_WITHIN);
}

#[test]
#[ignore = "the long run"]
fn a_stack_shows_the_snr_that_noise_tells_in_many_nights() {
    check(100, 0.03);
}
