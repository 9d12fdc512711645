//! Whether the noise of flats follows their level alike all over the field.
//!
//! ```text
//! σ² = σ0² + K μ        (σ² − σ0²) / μ = K everywhere
//! ```
//!
//! Flats that were divided by a master flat have K over the master at each place instead: what their gain is over that of
//! frames that were not divided hangs on how the master was scaled. Derived here.

use super::blocks::{Blocks, PIXELS, SIDE};

/// Parts of the field a side.
const PARTS: usize = 4;
/// Parts with fewer blocks than these say nothing.
const FEWEST_BLOCKS: f64 = 24.0;
/// Noise without light that makes more than this share of the variance hides the rest.
const MOST_UNLIT: f64 = 0.5;
/// Noise over level that differs by less over the field is that of a sensor: charge that spreads, amplifiers that differ …
const LEAST: f64 = 0.08;
/// … and so many of the sigmas that noise allows are asked for.
const SIGMAS: f64 = 6.0;

/// Sums over the blocks of a part.
#[derive(Debug, Clone, Copy, Default)]
struct Part {
    blocks: f64,
    level: f64,
    variance: f64,
}

/// The noise of all pairs of flats, part by part.
#[derive(Debug, Clone, Default)]
pub(crate) struct FieldNoise {
    pairs: Vec<[Part; PARTS * PARTS]>,
}

impl FieldNoise {
    /// Takes a pair whose level without light is `offset`.
    pub(super) fn take(&mut self, blocks: &Blocks, left_out: &[bool], offset: f64) {
        let mut parts = [Part::default(); PARTS * PARTS];
        for (row, places) in (0..blocks.all.len()).collect::<Vec<_>>().chunks(blocks.across).enumerate() {
            for (column, &place) in places.iter().enumerate().filter(|(_, place)| !left_out[**place]) {
                let part = &mut parts[row * PARTS / blocks.down * PARTS + column * PARTS / blocks.across];
                part.blocks += 1.0;
                part.level += blocks.all[place].level() - offset;
                part.variance += blocks.variances[place];
            }
        }
        self.pairs.push(parts);
    }

    /// The most over the least noise for its level of all parts, where they differ for sure; `unlit` is the variance in DN²
    /// without light, and pairs with a mean above `most` DN of signal are not asked.
    pub(crate) fn unlike(&self, unlit: f64, most: f64) -> Option<f64> {
        let mut sums = [(0.0, 0.0, 0.0); PARTS * PARTS];
        for parts in &self.pairs {
            let enough = parts.iter().all(|part| part.blocks >= FEWEST_BLOCKS && part.level > 0.0);
            let all = parts.iter().fold(Part::default(), |all, part| Part {
                blocks: all.blocks + part.blocks,
                level: all.level + part.level,
                variance: all.variance + part.variance,
            });
            let lit = all.variance - unlit * all.blocks;
            if !enough || all.level > most * all.blocks || lit < (1.0 - MOST_UNLIT) * all.variance {
                continue;
            }
            for (sum, part) in sums.iter_mut().zip(parts) {
                let ratio = (part.variance - unlit * part.blocks) / part.level * all.level / lit;
                let relative = 2.0 / ((PIXELS - SIDE as f64) * part.blocks) * (all.variance / lit).powi(2);
                sum.0 += ratio / relative;
                sum.1 += 1.0 / relative;
                sum.2 += 1.0;
            }
        }
        if sums.iter().any(|sum| sum.2 == 0.0) {
            return None;
        }
        let means = sums.map(|(sum, weight, _)| (sum / weight, weight.recip()));
        let by_mean = |a: &&(f64, f64), b: &&(f64, f64)| a.0.total_cmp(&b.0);
        let (least, greatest) = (means.iter().min_by(by_mean)?, means.iter().max_by(by_mean)?);
        let apart = greatest.0 - least.0;
        let is_sure = least.0 > 0.0 && apart > LEAST.max(SIGMAS * (least.1 + greatest.1).sqrt());
        is_sure.then(|| greatest.0 / least.0)
    }
}
