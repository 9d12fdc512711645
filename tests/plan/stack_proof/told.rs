//! What `noise` says of chosen stacks, those included that no plan would ask for: without dithers, with few darks.

use subwell::noise::{Calibration, Clip, LeftPattern, Patch, PlaneNoise, Rates, Stack, SubNoise};
use subwell::simulate::{FoundSnr, StackTruth};
use subwell::units::{Electrons, ElectronsPerDn, ElectronsPerSecond, Seconds};

use super::nights::{found, stacked};

/// Side of the patches that are looked at beside single pixels.
const PATCH_PX: usize = 3;
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
            "2.5 sigmas of 120 subs",
            StackTruth { target_e_per_s: rate(0.3), kept: 120, clip_sigma: Some(2.5), ..ordinary() },
        ),
        (
            "one dark in a small box",
            StackTruth {
                target_e_per_s: rate(0.2),
                sky_e_per_s: rate(0.3),
                darks: 1,
                dither_box_px: 4,
                hot_pixel_fraction: 0.0,
                ..ordinary()
            },
        ),
        (
            "2.5 sigmas of 16 subs",
            StackTruth { target_e_per_s: rate(0.3), kept: 16, clip_sigma: Some(2.5), ..ordinary() },
        ),
    ]
}

/// What the formulas say of patches of `side` × `side` pixels, for one pixel.
fn told_in_patch(noise: &PlaneNoise, stack: &Stack, sub: Seconds, side: f64) -> f64 {
    stack.snr(&noise.sub(sub), Patch::new(side * side, 1.0)) / side
}

/// A case, what is told of it, and what was found.
struct Compared {
    name: &'static str,
    noise: PlaneNoise,
    stack: Stack,
    sub: Seconds,
    pixel: FoundSnr,
    patch: FoundSnr,
}

impl Compared {
    /// Whether `snr` of one pixel is further from what was found than the proof allows.
    fn refutes(&self, snr: f64, share: f64) -> bool {
        let allowed = STANDARD_ERRORS * self.pixel.standard_error / snr + CLIP_FORMULA;
        (self.pixel.snr / snr - 1.0).abs() > share.min(allowed)
    }

    fn refutes_patch(&self) -> bool {
        let shared = told_in_patch(&self.noise, &self.stack, self.sub, PATCH_PX as f64);
        let (found, error) = (self.patch.snr / PATCH_PX as f64, self.patch.standard_error / PATCH_PX as f64);
        (found / shared - 1.0).abs() > STANDARD_ERRORS * error / shared + CLIP_FORMULA
    }

    fn row(&self) -> String {
        let snr = self.stack.snr(&self.noise.sub(self.sub), Patch::PIXEL);
        let shared = told_in_patch(&self.noise, &self.stack, self.sub, PATCH_PX as f64);
        let in_patch = self.patch.snr / PATCH_PX as f64;
        format!(
            "{} | {snr:.4} | {:.4} | {:+.2} ± {:.2} | {:+.2} | {:+.2} ± {:.2}",
            self.name,
            self.pixel.snr,
            100.0 * (self.pixel.snr / snr - 1.0),
            100.0 * self.pixel.standard_error / snr,
            100.0 * (in_patch / snr - 1.0),
            100.0 * (in_patch / shared - 1.0),
            100.0 * self.patch.standard_error / PATCH_PX as f64 / shared
        )
    }
}

fn compared(nights: u64) -> Vec<Compared> {
    let each = cases().into_iter().zip(40..);
    each.map(|((name, truth), seed)| {
        let truth = StackTruth { seed, ..truth };
        let (noise, stack) = told(&truth);
        let fields = stacked(&truth, nights);
        Compared { name, noise, stack, sub: truth.sub_s, pixel: found(&fields, 1), patch: found(&fields, PATCH_PX) }
    })
    .collect()
}

/// One term of the variance left out.
type Broken = fn(&mut SubNoise, &mut Stack, &PlaneNoise, f64);

/// Every term, each left out in turn.
const BROKEN: [(&str, Broken); 12] = [
    ("target", |sub, _, _, _| sub.target = 0.0),
    ("sky", |sub, _, _, _| sub.sky = 0.0),
    ("dark", |sub, _, _, _| sub.dark = 0.0),
    ("read", |sub, _, _, _| sub.read = 0.0),
    ("quantisation", |sub, _, _, _| sub.quantisation = 0.0),
    ("pattern of dark current", |sub, _, noise, t| sub.pattern -= (noise.left.per_second.0 * t).powi(2)),
    ("pattern of levels", |sub, _, noise, _| sub.pattern -= noise.left.offset.0.powi(2)),
    ("pattern of response", |sub, _, noise, t| {
        sub.pattern -= (noise.left.response * noise.rates.light().0 * t).powi(2);
    }),
    ("master dark", |sub, _, noise, t| {
        sub.masters = without(noise, t, |counts| (counts.darks, counts.biases) = (0, 0));
    }),
    ("master flat", |sub, _, noise, t| sub.masters = without(noise, t, |counts| counts.flats = 0)),
    ("clipping", |_, stack, _, _| stack.clip = Clip::NONE),
    ("dither box", |_, stack, _, _| stack.dither_box_px = 1e9),
];

/// The masters' variance without some of the frames.
fn without(noise: &PlaneNoise, t: f64, take_away: fn(&mut Calibration)) -> f64 {
    let mut noise = *noise;
    take_away(&mut noise.calibration);
    noise.sub(Seconds(t)).masters
}

/// Each broken formula must be refuted by at least one case, or the proof would prove nothing of that term.
fn refute_what_is_broken(compared: &[Compared], share: f64) {
    for (term, broken) in BROKEN {
        let refuted = compared.iter().filter(|case| {
            let (mut sub, mut stack) = (case.noise.sub(case.sub), case.stack);
            let signal = sub.target;
            broken(&mut sub, &mut stack, &case.noise, case.sub.0);
            case.refutes(signal / stack.variance(&sub, Patch::PIXEL).sqrt(), share)
        });
        let names: Vec<_> = refuted.map(|case| case.name).collect();
        println!("without {term}: refuted by {}", names.join("; "));
        assert!(!names.is_empty(), "no case sees {term}");
    }
}

fn check(nights: u64, share: f64) {
    println!("case | told, a pixel | found | off % | in patches, off % of a pixel's | off % of the patch's");
    let compared = compared(nights);
    let mut wrong = Vec::new();
    for case in &compared {
        println!("{}", case.row());
        let snr = case.stack.snr(&case.noise.sub(case.sub), Patch::PIXEL);
        if case.refutes(snr, share) || case.refutes_patch() {
            wrong.push(case.row());
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    refute_what_is_broken(&compared, share);
}

#[test]
fn a_stack_shows_the_snr_that_noise_tells() {
    check(8, 0.04);
}

#[test]
#[ignore = "the long run"]
fn a_stack_shows_the_snr_that_noise_tells_in_many_nights() {
    check(100, 0.03);
}
