//! A pair of flats in blocks of 8 × 8 pixels: where something moved between the frames, and where the sensor is full.

use ndarray::ArrayView2;

use crate::sensor::row_blocks::{self, each_two_rows};

/// Side of a block in pixels of the plane.
pub(super) const SIDE: usize = 8;
/// Pixels of a block.
pub(super) const PIXELS: f64 = (SIDE * SIDE) as f64;
/// Fewer blocks a side tell nothing from their neighbours.
const FEWEST: usize = 6;
/// A block's mean differs from those beside it by this many robust sigmas where something moved …
const SEED_SIGMAS: f64 = 6.0;
/// … and about such a block by as many.
const WING_SIGMAS: f64 = 3.0;
/// Or its noise's variance is this many times what its level explains: noise alone does that in less than one block of a
/// million (χ² of 56 degrees of freedom).
const SEED_VARIANCE: f64 = 2.2;
/// Where something moved for sure, fainter things did too: then so much less is asked. Noise alone makes three blocks of
/// ten thousand so loud, whose loss is nothing to the variance.
const FAINT_SIGMAS: f64 = 4.5;
const FAINT_VARIANCE: f64 = 1.75;
/// A block whose noise is one pixel's to this part was hit by a particle, or has a pixel that jumps.
const ONE_PIXEL: f64 = 0.5;
/// Blocks to either side in the same row of blocks that a block is held against.
const BESIDE: usize = 4;
/// Bright images reach further: one more block for each factor above the limit.
const REACH: f64 = 10.0;

/// Exact sums over a block of both frames.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Block {
    pub(super) sums: [u32; 2],
    pub(super) squares: [u64; 2],
    pub(super) product: u64,
    /// Products of the sums of its rows: first, second, both.
    of_rows: [u64; 3],
}

impl Block {
    fn take(&mut self, first: &[u16], second: &[u16]) {
        let (mut sums, mut squares, mut product) = ([0_u32; 2], [0_u64; 2], 0_u64);
        for (&a, &b) in first.iter().zip(second) {
            let (a, b) = (u32::from(a), u32::from(b));
            sums[0] += a;
            sums[1] += b;
            squares[0] += u64::from(a * a);
            squares[1] += u64::from(b * b);
            product += u64::from(a * b);
        }
        for frame in 0..2 {
            self.sums[frame] += sums[frame];
            self.squares[frame] += squares[frame];
        }
        self.product += product;
        let [a, b] = sums.map(u64::from);
        self.of_rows.iter_mut().zip([a * a, b * b, a * b]).for_each(|(sum, product)| *sum += product);
    }

    /// Mean of each frame in DN.
    pub(super) fn means(&self) -> [f64; 2] {
        self.sums.map(|sum| f64::from(sum) / PIXELS)
    }

    /// Mean of both frames in DN.
    pub(super) fn level(&self) -> f64 {
        (self.means()[0] + self.means()[1]) / 2.0
    }

    /// Temporal variance in DN² about the means of the block's own rows, the second frame scaled to the first.
    ///
    /// ```text
    /// r = (m0 − offset) / (m1 − offset)        σ² = Var(y0 − r y1) / (2 r)
    /// ```
    ///
    /// What drifts, flickers from row to row, or leans over more than a block adds nothing, and neither does noise
    /// common to a row. Derived here.
    pub(super) fn variance(&self, offset: f64) -> f64 {
        let [a, b] = self.means().map(|mean| mean - offset);
        let r = if b > 1.0 && (0.2..5.0).contains(&(a / b)) { a / b } else { 1.0 };
        let side = SIDE as f64;
        let within = |product: u64, rows: u64| (product as f64 - rows as f64 / side) / (PIXELS - side);
        let own = within(self.squares[0], self.of_rows[0]);
        let other = within(self.squares[1], self.of_rows[1]);
        let both = within(self.product, self.of_rows[2]);
        ((own + r * r * other - 2.0 * r * both) / (2.0 * r)).max(0.0)
    }
}

/// All whole blocks of a plane.
#[derive(Debug, Clone)]
pub(super) struct Blocks {
    pub(super) down: usize,
    pub(super) across: usize,
    pub(super) all: Vec<Block>,
    /// The temporal variance of each.
    pub(super) variances: Vec<f64>,
    /// The level without light.
    offset: f64,
}

impl Blocks {
    /// The blocks of two planes of one shape, `offset` being their level without light; `None` where there are too few.
    pub(super) fn of(first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>, offset: f64) -> Option<Self> {
        let (down, across) = (first.nrows() / SIDE, first.ncols() / SIDE);
        if down.min(across) < FEWEST {
            return None;
        }
        let of_band = |band: std::ops::Range<usize>| {
            let rows = (band.start * SIDE)..(band.end * SIDE);
            let mut blocks = vec![Block::default(); band.len() * across];
            let mut row = 0;
            each_two_rows([first, second].map(|frame| row_blocks::cut(frame, rows.clone())), |a, b| {
                let own = &mut blocks[row / SIDE * across..(row / SIDE + 1) * across];
                for (block, (a, b)) in own.iter_mut().zip(a.chunks_exact(SIDE).zip(b.chunks_exact(SIDE))) {
                    block.take(a, b);
                }
                row += 1;
            });
            let variances: Vec<f64> = blocks.iter().map(|block| block.variance(offset)).collect();
            (blocks, variances)
        };
        const BAND: usize = 32;
        let parts = (0..down).step_by(BAND).map(|top| top..(top + BAND).min(down)).collect();
        let (all, variances): (Vec<_>, Vec<_>) = row_blocks::each(parts, of_band).into_iter().unzip();
        Some(Self { down, across, all: all.concat(), variances: variances.concat(), offset })
    }

    /// Mean of the blocks' variances in DN² of frames without light.
    pub(super) fn mean_variance([first, second]: [ArrayView2<'_, u16>; 2]) -> Option<f64> {
        // Without light nothing is scaled: no offset makes the ratio of two levels another than 1 by much.
        let blocks = Self::of(first, second, f64::INFINITY)?;
        Some(blocks.variances.iter().sum::<f64>() / blocks.all.len().max(1) as f64)
    }

    /// Blocks between whose frames something moved: a star, dust, a shadow.
    ///
    /// The difference of the block's means, the second scaled to the first, less the median of those beside it in its
    /// row of blocks; or a variance that the level does not explain, unless one pixel made it. Blocks that are `full`
    /// tell nothing.
    pub(super) fn moved(&self, frames: [ArrayView2<'_, u16>; 2], full: &[bool]) -> Vec<bool> {
        let (apart, offset) = (self.apart(), self.offset);
        let telling: Vec<f64> = apart.iter().zip(full).filter(|(_, full)| !**full).map(|(apart, _)| *apart).collect();
        let Some(sigma) = robust_sigma(&telling) else { return vec![false; self.all.len()] };
        let (per_level, least) = self.usual(full);
        // Few blocks know their scatter badly; that of their pixels says what it is at least.
        let sigma = sigma.max((2.0 * per_level / PIXELS).sqrt());
        let noise = |place: usize| self.variances[place] / least.max(per_level * (self.all[place].level() - offset));
        let found = |sigmas: f64, variance: f64| {
            let mut found = vec![false; self.all.len()];
            for (place, z) in apart.iter().map(|z| z.abs() / sigma).enumerate().filter(|(place, _)| !full[*place]) {
                if z > sigmas || (noise(place) > variance && !self.one_pixel(frames, place)) {
                    let reach = 1 + (z / SEED_SIGMAS).max(1.0).log(REACH) as usize;
                    self.about(place, reach).for_each(|near| found[near] = true);
                }
            }
            found
        };
        if !found(SEED_SIGMAS, SEED_VARIANCE).contains(&true) {
            return vec![false; self.all.len()];
        }
        let mut all = found(FAINT_SIGMAS, FAINT_VARIANCE);
        let seeds = all.clone();
        for place in (0..all.len()).filter(|place| apart[*place].abs() > WING_SIGMAS * sigma) {
            all[place] = all[place] || self.about(place, 1).any(|near| seeds[near]);
        }
        all
    }

    /// Differences of the means over the root of the level, less the median beside.
    fn apart(&self) -> Vec<f64> {
        let offset = self.offset;
        let mut ratios: Vec<f64> = (self.all.iter().map(Block::means))
            .filter(|means| means[1] - offset > 1.0)
            .map(|means| (means[0] - offset) / (means[1] - offset))
            .collect();
        let ratio = median(&mut ratios).unwrap_or(1.0);
        let one = |block: &Block| {
            let [a, b] = block.means().map(|mean| mean - offset);
            (a - ratio * b) / (block.level() - offset).max(1.0).sqrt()
        };
        let of_row = |row: &[Block]| {
            let row: Vec<f64> = row.iter().map(one).collect();
            let mut apart = Vec::with_capacity(row.len());
            for (place, own) in row.iter().enumerate() {
                let left = place.saturating_sub(BESIDE).min(row.len() - 2 * BESIDE.min(row.len() / 2));
                let beside = &row[left..(left + 2 * BESIDE + 1).min(row.len())];
                let mut few = [0.0; 2 * BESIDE + 1];
                few[..beside.len()].copy_from_slice(beside);
                apart.push(own - median(&mut few[..beside.len()]).unwrap_or(0.0));
            }
            apart
        };
        row_blocks::each(self.all.chunks(self.across).collect(), of_row).concat()
    }

    /// The median of variance over level, and of the variance, of the blocks that are not `full`.
    pub(super) fn usual(&self, full: &[bool]) -> (f64, f64) {
        let levels = self.all.iter().map(|block| block.level() - self.offset);
        let all = levels.zip(&self.variances).zip(full);
        let lit: Vec<(f64, f64)> = all
            .filter(|((level, _), full)| !**full && *level > 1.0)
            .map(|((level, variance), _)| (level, *variance))
            .collect();
        let variances = lit.iter().map(|(_, variance)| *variance);
        let ratios = lit.iter().map(|(level, variance)| variance / level);
        let middle = |values: &mut Vec<f64>| median(values).unwrap_or(f64::INFINITY);
        (middle(&mut ratios.collect()), middle(&mut variances.collect()))
    }

    /// Whether one pixel makes most of what the block's frames differ by.
    fn one_pixel(&self, [first, second]: [ArrayView2<'_, u16>; 2], place: usize) -> bool {
        let (top, left) = (place / self.across * SIDE, place % self.across * SIDE);
        let middle = self.all[place].means();
        let (mut largest, mut sum) = (0.0_f64, 0.0);
        for row in top..top + SIDE {
            for column in left..left + SIDE {
                let d = f64::from(first[(row, column)]) - f64::from(second[(row, column)]) - middle[0] + middle[1];
                largest = largest.max(d * d);
                sum += d * d;
            }
        }
        largest > ONE_PIXEL * sum
    }

    /// The block and those up to `reach` from it.
    fn about(&self, place: usize, reach: usize) -> impl Iterator<Item = usize> + '_ {
        let (row, column) = (place / self.across, place % self.across);
        let rows = row.saturating_sub(reach)..(row + reach + 1).min(self.down);
        let columns = column.saturating_sub(reach)..(column + reach + 1).min(self.across);
        rows.flat_map(move |row| columns.clone().map(move |column| row * self.across + column))
    }
}

/// Half the width of the middle 68 %, which few outliers do not move.
fn robust_sigma(values: &[f64]) -> Option<f64> {
    let mut values = values.to_vec();
    let last = values.len().checked_sub(1)? as f64;
    let mut at = |share: f64| *values.select_nth_unstable_by((last * share).round() as usize, f64::total_cmp).1;
    let sigma = (at(0.8413) - at(0.1587)) / 2.0;
    (sigma > 0.0).then_some(sigma)
}

pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
