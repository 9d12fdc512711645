//! The corners of the space of sensors in which the stated uncertainties must hold.

use rand::{Rng, RngExt};

use crate::sensor::Design;

/// Sensors of the same design: the laws are worked out once.
const DRAWS: usize = 25;

/// A corner: its name, whether its sensors are clean (no wander that the bound does not know of), and its designs.
pub(crate) struct Corner {
    pub(crate) name: &'static str,
    pub(crate) clean: bool,
    /// How many sensors share a design.
    pub(crate) draws: usize,
    design: fn(&mut dyn Rng) -> Design,
}

impl Corner {
    pub(crate) fn design(&self, rng: &mut impl Rng) -> Design {
        (self.design)(rng)
    }
}

/// A number between `low` and `high`, its logarithm uniform.
fn spread(rng: &mut dyn Rng, low: f64, high: f64) -> f64 {
    low * (high / low).powf(rng.random::<f64>())
}

/// A gain in e⁻ per step for a read noise that is `low` to `high` steps, within 0.02 to 5 e⁻ per step.
fn gain_for(rng: &mut dyn Rng, read: f64, low: f64, high: f64) -> f64 {
    let steps = spread(rng, low, high);
    (read / steps).clamp(0.02, 5.0)
}

fn levels(count: usize, first: f64, last: f64) -> Vec<f64> {
    (0..count).map(|k| first * (last / first).powf(k as f64 / (count - 1) as f64)).collect()
}

/// Anywhere among the admissible sensors, 10⁴ to 10⁶ pixels.
fn anywhere(rng: &mut dyn Rng) -> Design {
    let read = spread(rng, 0.8, 15.0);
    let gain = gain_for(rng, read, 0.8, 40.0);
    let pixels = spread(rng, 1e4, 1e6) as u64;
    let most = (gain * 65_000.0).min(150_000.0);
    let well = spread(rng, 3_000.0, 150_000.0).min(most).max(most.min(3_000.0));
    let dark = spread(rng, 0.005, 2.0);
    Design {
        gain,
        step: if well / gain < 16_000.0 && rng.random::<bool>() { 4 } else { 1 },
        read,
        offset: 200.0 + rng.random::<f64>(),
        well,
        curvature_sigmas: 3.0 * rng.random::<f64>(),
        curvature_at_well: None,
        pixels,
        bias_pairs: rng.random_range(3..=12),
        levels: levels(rng.random_range(6..=16), 0.01, 0.68),
        jitter_dn: spread(rng, 0.001, 0.1),
        dark,
        exposures: vec![(30.0, 4), (120.0, 4), (300.0, 4)],
        kelvin: 0.0,
        told: true,
    }
}

/// All corners.
pub(crate) const CORNERS: [Corner; 14] = [
    Corner { name: "anywhere", clean: true, draws: DRAWS, design: anywhere },
    Corner { name: "10³ pixels", clean: true, draws: DRAWS, design: |rng| Design { pixels: 1_000, ..anywhere(rng) } },
    Corner { name: "4000 pixels", clean: true, draws: DRAWS, design: |rng| Design { pixels: 4_000, ..anywhere(rng) } },
    Corner {
        name: "10⁶ pixels",
        clean: true,
        draws: DRAWS,
        design: |rng| Design { pixels: 1_000_000, ..anywhere(rng) },
    },
    Corner {
        name: "10⁷ pixels",
        clean: true,
        draws: DRAWS,
        design: |rng| Design { pixels: 10_000_000, ..anywhere(rng) },
    },
    Corner {
        name: "read noise 0.7–1 step",
        clean: true,
        draws: DRAWS,
        design: |rng| {
            let design = anywhere(rng);
            let gain = gain_for(rng, design.read, 0.7, 1.0);
            Design {
                gain,
                read: design.read.min(5.0 * 0.99),
                well: design.well.min(gain * 65_000.0),
                step: 1,
                ..design
            }
        },
    },
    Corner {
        name: "read noise 0.5–0.7 step",
        clean: false,
        draws: DRAWS,
        design: |rng| {
            let read = spread(rng, 0.8, 2.4);
            let gain = gain_for(rng, read, 0.5, 0.7);
            let design = anywhere(rng);
            Design { gain, read, well: design.well.min(gain * 65_000.0), jitter_dn: 0.001, step: 1, ..design }
        },
    },
    Corner {
        name: "gain 0.05–0.1 e⁻/DN",
        clean: true,
        draws: DRAWS,
        design: |rng| {
            let gain = spread(rng, 0.05, 0.1);
            Design { gain, read: spread(rng, 0.8, 3.0), well: gain * 64_000.0, step: 1, ..anywhere(rng) }
        },
    },
    Corner {
        name: "curvature 3–6 σ",
        clean: true,
        draws: DRAWS,
        design: |rng| Design { curvature_sigmas: 3.0 + 3.0 * rng.random::<f64>(), ..anywhere(rng) },
    },
    Corner {
        name: "two frames of each",
        clean: true,
        draws: DRAWS,
        design: |rng| Design {
            bias_pairs: 1,
            levels: levels(rng.random_range(3..=4), 0.05, 0.65),
            exposures: vec![(60.0, 2), (300.0, 2)],
            ..anywhere(rng)
        },
    },
    Corner {
        name: "fifty frames of each",
        clean: true,
        draws: DRAWS,
        design: |rng| Design {
            bias_pairs: 25,
            levels: levels(25, 0.005, 0.69),
            exposures: vec![(10.0, 10), (60.0, 10), (120.0, 10), (300.0, 10), (600.0, 10)],
            ..anywhere(rng)
        },
    },
    Corner {
        name: "15 e⁻ and a small well",
        clean: true,
        draws: DRAWS,
        design: |rng| Design { read: 15.0, gain: spread(rng, 0.3, 2.0), well: 3_000.0, step: 1, ..anywhere(rng) },
    },
    Corner {
        name: "one or two levels",
        clean: false,
        // The curvature, which the frames do not show, is drawn for each: many sensors of few curvatures would prove little.
        draws: 1,
        design: |rng| {
            let levels = if rng.random::<bool>() { vec![0.5] } else { vec![0.1, 0.5] };
            let normal: f64 = rand_distr::Distribution::sample(&rand_distr::StandardNormal, rng);
            // 3.8 % at half of saturation: what is known of sensors beforehand (see `transfer_fit`).
            Design { levels, curvature_at_well: Some(0.076 * normal), ..anywhere(rng) }
        },
    },
    Corner {
        name: "darks that wander",
        clean: false,
        draws: DRAWS,
        design: |rng| {
            let exposures = vec![(60.0, 6), (180.0, 6), (300.0, 6)];
            Design { jitter_dn: 0.3, kelvin: 0.2, told: rng.random::<bool>(), exposures, ..anywhere(rng) }
        },
    },
];
