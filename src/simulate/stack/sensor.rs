//! The sensor behind the field: what is fixed in it, and how a pixel is read.

use ndarray::Array2;
use rand::RngExt;
use rand_distr::{Distribution, Exp1, Poisson};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::simulate::pattern::{normal, smooth};

use super::truth::StackTruth;

/// Level of the converter far enough from 0 that nothing is lost below it; no whole number, as in a real camera.
const LEVEL_DN: f64 = 500.37;
/// Mean charge of a particle's hit (made up, as for the frames).
const MEAN_HIT_E: f64 = 1500.0;

/// One purpose of chance; each draws from its own numbers.
#[derive(Clone, Copy)]
pub(super) enum Purpose {
    Fixed,
    Masters,
    Schedule,
    Lights(usize),
    /// The rows of the lights, and of the masters.
    Rows,
}

impl Purpose {
    pub(super) fn key(self) -> [u64; 2] {
        match self {
            Self::Fixed => [101, 0],
            Self::Masters => [102, 0],
            Self::Schedule => [103, 0],
            Self::Lights(row) => [104, row as u64],
            Self::Rows => [105, 0],
        }
    }
}

/// What sets one pixel apart from another, the same in every frame of the night.
pub(super) struct FixedPattern {
    /// Response to light over the mean response.
    pub(super) response: Array2<f64>,
    /// Dark current in e⁻/s.
    pub(super) dark: Array2<f64>,
    /// Level in e⁻.
    pub(super) level: Array2<f64>,
}

impl FixedPattern {
    pub(super) fn from_truth(truth: &StackTruth, night: u64) -> Self {
        let chance = &mut truth.chance(night, Purpose::Fixed);
        let margin = truth.margin(night);
        let size = (truth.side_px + margin[0], truth.side_px + margin[1]);
        // Mean 1 and the spread asked for: the logarithm's variance is ln(1 + s²), its mean −½ of it.
        let logarithm = truth.dark_nonuniformity.powi(2).ln_1p();
        let of_pixel = |own: f64, chance: &mut Xoshiro256PlusPlus| {
            let factor = (logarithm.sqrt() * own - logarithm / 2.0).exp();
            let is_hot = chance.random::<f64>() < truth.hot_pixel_fraction;
            truth.dark_e_per_s.0 * if is_hot { truth.hot_pixel_factor } else { factor }
        };
        let dark = if truth.pattern_length_px > 0.0 {
            smooth(size, truth.pattern_length_px, chance).mapv(|own| of_pixel(own, chance))
        } else {
            Array2::from_shape_simple_fn(size, || {
                let own = normal(chance);
                of_pixel(own, chance)
            })
        };
        let response = Array2::from_shape_simple_fn(size, || (1.0 + truth.response_spread * normal(chance)).max(0.0));
        let level = Array2::from_shape_simple_fn(size, || truth.dsnu_e.0 * normal(chance));
        Self { response, dark, level }
    }
}

/// What a pixel in which `electrons` are expected reads, in electrons over the converter's level.
pub(super) fn reading(truth: &StackTruth, electrons: f64, level: f64, chance: &mut Xoshiro256PlusPlus) -> f64 {
    let held = counted(electrons, chance) + level + truth.read_noise_e.0 * normal(chance);
    let step = truth.step_e.0;
    if step > 0.0 { ((held / step + LEVEL_DN).round() - LEVEL_DN) * step } else { held }
}

/// Whole electrons where `expected` are to be expected.
fn counted(expected: f64, chance: &mut Xoshiro256PlusPlus) -> f64 {
    // Of nothing nothing comes; the distribution has no such member.
    Poisson::new(expected).map_or(0.0, |shot| shot.sample(chance))
}

/// Electrons of the particles that hit one pixel within one sub.
pub(super) fn hits(truth: &StackTruth, chance: &mut Xoshiro256PlusPlus) -> f64 {
    let expected = truth.cosmic_rays_per_s * truth.sub_s.0;
    if expected <= 0.0 {
        return 0.0;
    }
    let number = counted(expected, chance) as usize;
    (0..number)
        .map(|_| {
            MEAN_HIT_E * {
                let hit: f64 = Exp1.sample(chance);
                hit
            }
        })
        .sum()
}
