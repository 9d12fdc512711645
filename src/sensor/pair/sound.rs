//! The sound part of a pair of flats: without what moved between the frames, and without what is saturated.

use ndarray::ArrayView2;

use crate::sensor::row_blocks::{self, each_two_rows};
use crate::stats::Histogram;
use crate::units::Dn;

use super::blocks::{Block, Blocks, PIXELS, SIDE, median};
use super::field::FieldNoise;
use super::{PairStatistics, PairSums};

/// Side of the blocks in pixels.
pub(crate) const SIDE_OF_BLOCK: usize = SIDE;
/// Pixels at the highest code of a bright frame that are a pile, not noise …
pub(crate) const FEWEST_PILED: f64 = 30.0;
/// … where the noise is so many steps wide.
const WIDE_NOISE: f64 = 3.0;
/// … or so many pixels are there that it is no tail of a noise.
const NO_TAIL: f64 = 0.2;
/// A flat with a pile at the top has a mean above this share of the range.
pub(crate) const LIT_SHARE: f64 = 0.3;
/// Blocks nearer than this share to the ceiling are left out, and so are those within so many sigmas of it.
const BELOW_CEILING: f64 = 0.9;
const CEILING_SIGMAS: f64 = 6.0;
/// Blocks are put into so many classes of rising level to see where the noise collapses, of so many blocks at least.
const CLASSES: usize = 24;
const FEWEST_OF_A_CLASS: usize = 12;
/// Fewer classes show nothing.
const FEWEST_CLASSES: usize = 4;
/// A class whose noise is below this share of what dimmer ones promise is full.
const COLLAPSED: f64 = 0.6;
/// The field must span this much, or no class is dimmer than another.
const LEAST_SPAN: f64 = 1.1;
/// Of what moved so much may be left unseen in one pair by chance, and so much in all alike where all images are faint …
const UNSEEN: f64 = 0.1;
const UNSEEN_OF_FAINT: f64 = 0.5;
/// … and of the variance no more than so much for each part of the blocks that it was seen in, and up to so many times more where
/// the images hardly change their blocks: then many are just too faint to be seen, of bright images few are (judgement, no source).
const UNSEEN_OF_BLOCKS: f64 = 0.015;
const MORE_OF_FAINT: f64 = 4.0;
const MOST_UNSEEN: f64 = 0.004;
/// Frames whose levels differ by more than this factor hold different patterns and shot noise: each place is held against
/// its own level …
const UNLIKE: f64 = 1.1;
/// … and by more than this, they are no pair.
const NO_PAIR: f64 = 2.0;
/// At least this share of the blocks must be left.
const LEAST_LEFT: f64 = 0.08;
/// Noise between rows and blocks counts from this share of the variance on: what neighbours share makes up to 1 % …
const LEAST_UNEVEN: f64 = 0.015;
/// … what moved from this …
const LEAST_EFFECT: f64 = 0.003;
/// … and from so many of the sigmas that noise allows: an eighth of the freedom lies between rows of blocks.
const EFFECT_SIGMAS: f64 = 6.0;

/// What was left out of a pair of flats, and what the rest says.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sound {
    /// Temporal variance in DN² about the means of rows within blocks, with that of whole rows without light.
    pub(super) variance: f64,
    /// Share of the blocks between whose frames something moved.
    pub(crate) moved: f64,
    /// By how much the variance would be larger with them, relatively.
    pub(crate) moved_effect: f64,
    /// Whether that is more than so many blocks are louder by chance.
    pub(crate) is_sure: bool,
    /// Share of the blocks that are saturated, or nearly.
    pub(crate) saturated: f64,
    /// By how much the variance over the whole plane exceeds that within blocks, relatively: light that flickers in
    /// bands, or a field that changes.
    pub(crate) uneven: f64,
    /// The level at which a part of the plane is full, in DN, where no code says it.
    pub(crate) full: Option<f64>,
}

impl Sound {
    /// By how much the variance would be larger with what moved, where that is sure.
    pub(crate) fn sure_effect(&self) -> f64 {
        if self.is_sure { self.moved_effect } else { 0.0 }
    }

    /// Whether the blocks that moved, of `blocks` in all, are louder than so many blocks are by chance, and it counts.
    fn moved_matters(&self, blocks: usize) -> bool {
        let of_block = 2.0 / (PIXELS - SIDE as f64);
        let by_chance = self.moved * (of_block / (self.moved * blocks as f64).max(1.0)).sqrt();
        self.moved_effect > LEAST_EFFECT.max(EFFECT_SIGMAS * by_chance)
    }
}

/// What brighter flats said of where the sensor stops.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Ceiling {
    /// The code at which pixels pile up.
    code: Option<u16>,
    /// The level in DN at which the noise collapses.
    level: Option<f64>,
}

impl Ceiling {
    /// Learns from one more pair.
    pub(crate) fn take(&mut self, pair: &PairStatistics, offset: f64) {
        self.code = self.code.max(pair.piled_code(offset));
        let full = pair.sound.as_ref().and_then(|sound| sound.full);
        self.level = self.level.into_iter().chain(full).reduce(f64::max);
    }
}

/// What frames without light said of a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Unlit {
    /// Their level in DN.
    pub(crate) offset: f64,
    /// The variance in DN² that rows within blocks do not show: of whole rows, and of waves.
    pub(crate) of_rows: f64,
    /// The part of the variance that is left about the means of rows within blocks: 1 but for smoothed frames.
    pub(crate) about_rows: f64,
    /// Whether neighbours share their noise: then blocks differ by more than their pixels allow, though nothing moved.
    pub(crate) is_smoothed: bool,
}

/// The blocks of a plane that are left out.
#[derive(Debug, Clone)]
pub(crate) struct LeftOut {
    across: usize,
    blocks: Vec<bool>,
}

impl LeftOut {
    /// Whether a pixel of the plane is.
    pub(crate) fn has(&self, row: usize, column: usize) -> bool {
        let (row, column) = (row / SIDE, column / SIDE);
        column < self.across && self.blocks.get(row * self.across + column).copied().unwrap_or(false)
    }
}

impl PairStatistics {
    /// A pair of flats without what moved between the frames and without what is saturated, and where that is; the pair
    /// itself where nothing is to be left out. `field` learns how its noise lies over the field.
    pub(crate) fn sound_part(
        self,
        frames: [ArrayView2<'_, u16>; 2],
        unlit: &Unlit,
        known: &Ceiling,
        field: &mut FieldNoise,
    ) -> (Self, Option<LeftOut>) {
        let offset = unlit.offset;
        let lit = self.mean().0 - offset > super::sound_level(&self);
        if !lit {
            return (self, None);
        }
        let Some(blocks) = Blocks::of(frames[0], frames[1], offset) else { return (self, None) };
        let (saturated, full) = self.saturated(&blocks, offset, known);
        let moved = if unlit.is_smoothed { vec![false; blocks.all.len()] } else { blocks.moved(frames, &saturated) };
        let (sound, left_out) = self.left(&blocks, unlit, &saturated, &moved);
        let Some(mut sound) = sound else { return (self, None) };
        if !unlit.is_smoothed {
            field.take(&blocks, &left_out, offset);
        }
        // What is too little to be said is left out all the same: in dim flats it would be in the noise unseen.
        sound.is_sure = sound.moved_matters(blocks.all.len());
        let is_needed = sound.saturated > 0.0
            || sound.moved > 0.0
            || self.ratio(offset).is_some_and(|ratio| ratio.max(1.0 / ratio) > UNLIKE)
            || sound.uneven
                > LEAST_UNEVEN.max(EFFECT_SIGMAS * (2.0 / (PIXELS * SIDE as f64 * blocks.all.len() as f64)).sqrt());
        if !is_needed {
            return (self, None);
        }
        let pair = self.over(frames, &blocks, &left_out, Sound { full, ..sound });
        pair.map_or((self, None), |pair| (pair, Some(LeftOut { across: blocks.across, blocks: left_out })))
    }

    /// Whether its numbers are those of a part of the plane, for the rest is saturated.
    pub(crate) fn is_partial(&self) -> bool {
        self.sound.as_ref().is_some_and(|sound| sound.saturated > 0.0)
    }

    /// The signal of the first frame over that of the second, `offset` being the level without light; `None` where they are
    /// no pair.
    pub(crate) fn ratio(&self, offset: f64) -> Option<f64> {
        let [first, second] = self.means.map(|mean| mean - offset);
        let ratio = first / second;
        let dim = first.min(second) < super::sound_level(self);
        if dim { Some(1.0) } else { Some(ratio).filter(|ratio| (1.0 / NO_PAIR..NO_PAIR).contains(ratio)) }
    }

    /// What of that which moved may still be in the variance, relatively, images too faint to be seen one by one: in this pair
    /// by chance, and in all alike.
    pub(crate) fn unseen_rest(&self) -> [f64; 2] {
        let moved = self.sound.as_ref().filter(|sound| sound.moved > 0.0);
        moved.map_or([0.0; 2], |sound| {
            let effect = sound.moved_effect.max(0.0);
            let faintness = 1.0 / (1.0 + effect / sound.moved);
            let of_blocks = UNSEEN_OF_BLOCKS * sound.moved * (1.0 + MORE_OF_FAINT * faintness);
            let in_all = (UNSEEN_OF_FAINT * effect).min(of_blocks).min(2.0 * MOST_UNSEEN);
            [(UNSEEN * effect).min(MOST_UNSEEN), in_all]
        })
    }

    /// The code at which the pair is cut off, if it is.
    pub(crate) fn piled_code(&self, offset: f64) -> Option<u16> {
        let piled = self.share_at_highest * 2.0 * self.count as f64 >= FEWEST_PILED;
        let no_noise = self.core_variance.sqrt() > WIDE_NOISE * self.step || self.share_at_highest > NO_TAIL;
        let lit = self.mean().0 - offset > LIT_SHARE * (f64::from(self.highest) - offset);
        (piled && no_noise && lit).then_some(self.highest)
    }

    /// Blocks that are full or nearly, and the level of the full ones where no code says it.
    fn saturated(&self, blocks: &Blocks, offset: f64, known: &Ceiling) -> (Vec<bool>, Option<f64>) {
        let code = known.code.filter(|code| self.highest >= *code).or(self.piled_code(offset)).map(f64::from);
        let full = if code.is_none() { full_level(blocks, offset) } else { None };
        let share = |level: f64| offset + BELOW_CEILING * (level - offset);
        let above = |limit: f64| -> Vec<bool> {
            blocks.all.iter().map(|block| block.means().into_iter().fold(0.0, f64::max) > limit).collect()
        };
        let limit = full.or(known.level).map_or(f64::INFINITY, share);
        let Some(code) = code else { return (above(limit), full) };
        let (per_level, _) = blocks.usual(&above(share(code)));
        let noise = if per_level.is_finite() { (per_level * (code - offset)).max(0.0).sqrt() } else { 0.0 };
        (above(limit.min(share(code)).min(code - CEILING_SIGMAS * noise)), full)
    }

    /// What the blocks that are left say, and which are left out.
    fn left(&self, blocks: &Blocks, unlit: &Unlit, saturated: &[bool], moved: &[bool]) -> (Option<Sound>, Vec<bool>) {
        let Unlit { offset, of_rows, about_rows, .. } = *unlit;
        let all = blocks.all.len() as f64;
        let mean_variance = |chosen: &dyn Fn(usize) -> bool| {
            let own = blocks.variances.iter().enumerate().filter(|(place, _)| chosen(*place));
            let (sum, count) = own.fold((0.0, 0.0), |(sum, n), (_, variance)| (sum + variance, n + 1.0));
            (sum / f64::max(count, 1.0) / about_rows + of_rows, count)
        };
        let (with, unsaturated) = mean_variance(&|place| !saturated[place]);
        let (variance, left) = mean_variance(&|place| !saturated[place] && !moved[place]);
        let left_out: Vec<bool> = saturated.iter().zip(moved).map(|(a, b)| *a || *b).collect();
        if left < LEAST_LEFT * all || variance <= 0.0 {
            return (None, left_out);
        }
        let whole = self.scaled_variance(Dn(offset), self.event_limit);
        let sound = Sound {
            variance,
            moved: (unsaturated - left) / all,
            moved_effect: with / variance - 1.0,
            is_sure: false,
            saturated: 1.0 - unsaturated / all,
            uneven: if unsaturated < all { 0.0 } else { (whole - with) / variance },
            full: None,
        };
        (Some(sound), left_out)
    }

    /// The statistics over the blocks that are not left out.
    fn over(
        &self,
        [first, second]: [ArrayView2<'_, u16>; 2],
        blocks: &Blocks,
        left_out: &[bool],
        sound: Sound,
    ) -> Option<Self> {
        let differences = differences([first, second], blocks, left_out);
        let mut total = [0.0; 2];
        let mut products = [0.0; 3];
        let mut count = 0.0;
        for (block, _) in blocks.all.iter().zip(left_out).filter(|(_, left_out)| !**left_out) {
            add(block, &mut total, &mut products);
            count += PIXELS;
        }
        let means = total.map(|sum| sum / count);
        let spatial = [(0, 0, 0), (1, 1, 1), (2, 0, 1)]
            .map(|(k, a, b): (usize, usize, usize)| (products[k] - count * means[a] * means[b]) / (count - 1.0));
        let sums = PairSums {
            rows: blocks.down * SIDE,
            means,
            spatial,
            row_variance: 0.0,
            highest: self.highest,
            share_at_highest: self.share_at_highest,
            share_at_zero: self.share_at_zero,
        };
        let mut pair = Self::from_sums(&sums, &differences)?;
        // What is left of the step's grid after the shift is a step of 1.
        pair.step = self.step;
        pair.count = (count * (1.0 - 1.0 / SIDE as f64)) as u64;
        pair.lowest = self.lowest;
        pair.sound = Some(sound);
        Some(pair)
    }
}

/// The differences of the pixels of the blocks that are not left out, each less that of its block's levels.
fn differences(frames: [ArrayView2<'_, u16>; 2], blocks: &Blocks, left_out: &[bool]) -> Histogram {
    let empty = || Histogram::new(-131_070, 131_070);
    let rows = blocks.down * SIDE;
    let of_band = |band: std::ops::Range<usize>, counts: &mut Histogram| {
        let mut row = band.start;
        each_two_rows(frames.map(|frame| row_blocks::cut(frame, band.clone())), |first, second| {
            let places = (row / SIDE * blocks.across)..(row / SIDE + 1) * blocks.across;
            row += 1;
            let pixels = first.chunks_exact(SIDE).zip(second.chunks_exact(SIDE));
            for (place, (first, second)) in places.zip(pixels).filter(|(place, _)| !left_out[*place]) {
                let means = blocks.all[place].means();
                let shift = (means[0] - means[1]).round() as i32;
                counts.push_all(first.iter().zip(second).map(|(a, b)| i32::from(*a) - i32::from(*b) - shift));
            }
        });
    };
    let (_, counts) = row_blocks::of_rows_with(rows, empty, of_band);
    counts.into_iter().reduce(Histogram::with).unwrap_or_else(empty)
}

fn add(block: &Block, total: &mut [f64; 2], products: &mut [f64; 3]) {
    for frame in 0..2 {
        total[frame] += f64::from(block.sums[frame]);
        products[frame] += block.squares[frame] as f64;
    }
    products[2] += block.product as f64;
}

/// Whether the levels of the `size` brightest blocks are far enough above those of the dimmest; puts them into another order.
fn spans(blocks: &mut [(f64, f64)], size: usize) -> bool {
    let by_level = |a: &(f64, f64), b: &(f64, f64)| a.0.total_cmp(&b.0);
    let mean = |class: &[(f64, f64)]| class.iter().map(|(level, _)| level).sum::<f64>() / class.len() as f64;
    let (left_over, bright) = (blocks.len() % size, blocks.len() - size);
    blocks.select_nth_unstable_by(left_over + size, by_level);
    let dimmest = &mut blocks[..left_over + size];
    dimmest.select_nth_unstable_by(left_over, by_level);
    let dim = mean(&dimmest[left_over..]);
    blocks.select_nth_unstable_by(bright, by_level);
    mean(&blocks[bright..]) >= LEAST_SPAN * dim
}

/// The level at which the brightest part of a field is full: its noise has collapsed, that of dimmer parts has not.
///
/// Blocks are classed by their level, and the variance of the brightest class is held against the greatest. `None` where
/// it has not collapsed, or the field is even.
fn full_level(blocks: &Blocks, offset: f64) -> Option<f64> {
    let mut order: Vec<(f64, f64)> =
        blocks.all.iter().zip(&blocks.variances).map(|(block, variance)| (block.level() - offset, *variance)).collect();
    let size = order.len().div_ceil(CLASSES).max(FEWEST_OF_A_CLASS);
    // An even field, as most are, is known by its ends.
    if order.len() < FEWEST_CLASSES * size || !spans(&mut order, size) {
        return None;
    }
    order.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    // Those that are left over go with the dimmest.
    let order = &order[order.len() % size..];
    let classes: Vec<(f64, f64)> = order
        .chunks(size)
        .filter_map(|class| {
            let level = class.iter().map(|(level, _)| level).sum::<f64>() / class.len() as f64;
            let variance = median(&mut class.iter().map(|(_, variance)| *variance).collect::<Vec<_>>())?;
            Some((level, variance))
        })
        .collect();
    let brightest = classes.last()?;
    let greatest = classes.iter().map(|class| class.1).fold(0.0, f64::max);
    (brightest.1 < COLLAPSED * greatest).then_some(brightest.0 + offset)
}
