//! The stacks of one plane, of which few are worth their numbers: those without light, and of all flats the one nearest
//! to half of saturation.

use ndarray::{Array2, ArrayView2};

use crate::frames::FrameKind;
use crate::sensor::flat::saturation::{LIT_SHARE, PILE_SHARE};
use crate::sensor::pair::sound::FEWEST_PILED;
use crate::sensor::{PairStatistics, StackKey};

use super::by_scale::{ByScale, MOST_PAIRS};
use super::stack_pattern::StackPattern;
use super::uniformity::Uniformity;

/// Frames of one stack whose levels differ by more than this are two stacks.
const SAME_LIGHT: f64 = 0.02;
/// No code is higher.
const HIGHEST_CODE: f64 = 65_535.0;

/// The stacks of one plane: one being summed, the others in short.
///
/// A stack of flats that cannot be the one nearest to half of saturation, whatever saturation turns out to be, is not put
/// into numbers, and not even summed if that is known before. Any order of the stacks gives the same one in the end;
/// with the brightest first the fewest are summed.
#[derive(Debug, Default)]
pub(crate) struct Stacks {
    current: Option<Current>,
    bounds: Bounds,
    /// The memory of the image before, kept: to allocate as much takes as long as to sum a frame.
    pub spare: Array2<u32>,
    pub done: Vec<(StackKey, Uniformity)>,
}

/// The stack that is being taken.
#[derive(Debug)]
struct Current {
    key: StackKey,
    level: f64,
    /// `None` where another stack is nearer to half of saturation.
    stack: Option<StackPattern>,
    /// No more frames of it come.
    ended: bool,
    /// Of pairs without light: how their noise falls with scale, and of how many it was seen.
    by_scale: (ByScale, u32),
}

/// What the flats so far say of saturation, in DN.
#[derive(Debug, Default)]
struct Bounds {
    /// The mean of the brightest pair: saturation is not below.
    brightest: f64,
    highest: u16,
    /// The highest code, where pixels pile up: saturation is not above.
    saturation_pileup: Option<u16>,
}

impl Bounds {
    fn take(&mut self, pair: &PairStatistics, dark: f64) {
        let level = pair.mean().0;
        self.brightest = self.brightest.max(level);
        if pair.highest > self.highest {
            (self.highest, self.saturation_pileup) = (pair.highest, None);
        }
        let lit = level - dark > LIT_SHARE * (f64::from(pair.highest) - dark);
        let piled =
            pair.share_at_highest >= PILE_SHARE && pair.share_at_highest * 2.0 * pair.count as f64 >= FEWEST_PILED;
        if pair.highest == self.highest && piled && lit {
            self.saturation_pileup = Some(self.highest);
        }
    }

    /// Where the middle between `dark` and saturation may lie.
    fn half(&self, dark: [f64; 2]) -> [f64; 2] {
        let most = self.saturation_pileup.map_or(HIGHEST_CODE, f64::from);
        [(self.brightest + dark[0]) / 2.0, (most + dark[1]) / 2.0]
    }
}

/// Whether `level` is at least as near as `other` to every number between the ends of `half`.
fn nearer(level: f64, other: f64, half: [f64; 2]) -> bool {
    half.iter().all(|half| (level - half).abs() <= (other - half).abs())
}

impl Stacks {
    /// Says how bright a pair of flats was whose frames are not to be summed.
    pub(crate) fn note(&mut self, pair: &PairStatistics) {
        let dark = self.dark(pair.mean().0);
        self.bounds.take(pair, dark[1]);
    }

    /// Takes both frames of a pair.
    pub(crate) fn push(&mut self, key: StackKey, frames: [ArrayView2<'_, u16>; 2], pair: &PairStatistics) {
        let level = pair.mean().0;
        let dark = self.dark(level);
        if key.kind == FrameKind::Flat {
            self.bounds.take(pair, dark[1]);
        }
        let goes_on =
            |own: &Current| !own.ended && own.key == key && (level - own.level).abs() <= SAME_LIGHT * own.level.abs();
        if !self.current.as_ref().is_some_and(goes_on) {
            let (half, before) = (self.bounds.half(dark), self.current.as_ref().filter(|own| own.stack.is_some()));
            let better = |(kind, own): (FrameKind, f64)| kind == FrameKind::Flat && nearer(own, level, half);
            let done = self.done.iter().map(|(key, done)| (key.kind, done.level));
            let others = done.chain(before.map(|own| (own.key.kind, own.level)));
            let in_vain = key.kind == FrameKind::Flat && others.into_iter().any(better);
            let nearest = (key.kind == FrameKind::Flat && !in_vain).then_some(level);
            self.settle(nearest);
            let stack = (!in_vain).then(|| StackPattern::in_memory_of(std::mem::take(&mut self.spare)));
            self.current = Some(Current { key, level, stack, ended: false, by_scale: (ByScale::default(), 0) });
        }
        if key.kind != FrameKind::Flat
            && let Some(Current { by_scale: (by_scale, pairs), .. }) = &mut self.current
            && *pairs < MOST_PAIRS
        {
            by_scale.add_pair(frames);
            *pairs += 1;
        }
        if let Some(Current { stack: Some(stack), level, .. }) = &mut self.current {
            stack.push_all(frames);
            *level = stack.mean().unwrap_or(*level);
        }
    }

    /// Says that no more frames of the current stack come.
    pub(crate) fn end(&mut self) {
        match &mut self.current {
            // Whether flats are worth their numbers is known when others come.
            Some(own) if own.key.kind == FrameKind::Flat => own.ended = true,
            _ => self.settle(None),
        }
    }

    /// Says that no more flats come.
    pub(crate) fn end_flats(&mut self) {
        if self.current.as_ref().is_some_and(|own| own.key.kind == FrameKind::Flat) {
            self.settle(None);
        }
    }

    /// Puts the current stack into numbers and drops its image; flats only if no other stack, nor one at the level
    /// `coming`, is nearer to half of saturation.
    pub(crate) fn settle(&mut self, coming: Option<f64>) {
        let Some(Current { key, level, stack: Some(stack), by_scale, .. }) = self.current.take() else { return };
        let is_flat = key.kind == FrameKind::Flat;
        let half = self.bounds.half(self.dark(level));
        let done = self.done.iter().filter(|(key, _)| key.kind == FrameKind::Flat).map(|(_, done)| done.level);
        if !(is_flat && done.chain(coming).any(|other| nearer(other, level, half))) {
            self.done.extend(Uniformity::new(&stack, !is_flat, by_scale.0).map(|uniformity| (key, uniformity)));
        }
        self.spare = stack.into_memory();
    }

    /// Between which levels in DN the plane is without light: those of bias and darks so far, or else anything below `level`.
    fn dark(&self, level: f64) -> [f64; 2] {
        let dark = self.done.iter().filter(|(key, _)| key.kind != FrameKind::Flat).map(|(_, stack)| stack.level);
        let ends = dark.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], own| [low.min(own), high.max(own)]);
        if ends[0] <= ends[1] { ends } else { [0.0, level] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    const SATURATION: u16 = 4000;

    fn key(kind: FrameKind, number: usize) -> StackKey {
        StackKey { kind, exposure: Seconds(number as f64), sensor: None }
    }

    /// Pairs at some levels, cut off at saturation, taken in their order after a bias pair of 100 DN.
    fn taken(levels: &[f64]) -> Stacks {
        let mut stacks = Stacks::default();
        let mut seed = 7_u32;
        let mut push = |kind, number: usize, level: f64| {
            let frames = [(); 2].map(|()| {
                Array2::from_shape_fn((40, 40), |_| {
                    let mut uniform = || {
                        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                        f64::from(seed >> 8) / f64::from(1 << 24)
                    };
                    let normal = (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
                    (level + 20.0 * normal).round().min(f64::from(SATURATION)) as u16
                })
            });
            let [a, b] = [frames[0].view(), frames[1].view()];
            stacks.push(key(kind, number), [a, b], &PairStatistics::from_frames(a, b).unwrap());
            stacks.end();
        };
        push(FrameKind::Bias, 0, 100.0);
        levels.iter().enumerate().for_each(|(number, &level)| push(FrameKind::Flat, number, level));
        stacks.settle(None);
        stacks
    }

    /// The level of the flats nearest to half, as the profile takes it, and of how many stacks it was chosen.
    fn chosen(stacks: &Stacks) -> (f64, usize) {
        let half = (f64::from(SATURATION) + 100.0) / 2.0;
        let levels = stacks.done.iter().filter(|(key, _)| key.kind == FrameKind::Flat).map(|(_, flat)| flat.level);
        let nearest = levels.clone().min_by(|a, b| (a - half).abs().total_cmp(&(b - half).abs())).unwrap();
        (nearest, levels.count())
    }

    #[test]
    fn any_order_gives_the_flats_nearest_to_half_and_the_brightest_first_the_fewest_stacks() {
        let falling: Vec<f64> = (1..=12).rev().map(|i| 100.0 + 340.0 * f64::from(i)).collect();
        let nearest = |levels: &[f64]| {
            levels.iter().copied().min_by(|a, b| (a - 2050.0).abs().total_cmp(&(b - 2050.0).abs())).unwrap()
        };
        let (level, stacks) = chosen(&taken(&falling));
        assert!((level - nearest(&falling)).abs() < 20.0 && stacks <= 2, "{level} of {stacks}");
        let rising: Vec<f64> = falling.iter().rev().copied().collect();
        let mixed: Vec<f64> = (0..12).map(|i| falling[i * 5 % 12]).collect();
        for levels in [&rising, &mixed] {
            let (level, _) = chosen(&taken(levels));
            assert!((level - nearest(&falling)).abs() < 20.0, "{level}");
        }
        // Never near saturation: half of the unknown is above them all, and the brightest is taken.
        let (level, _) = chosen(&taken(&[900.0, 700.0, 500.0, 300.0]));
        assert!((level - 900.0).abs() < 20.0, "{level}");
    }

    #[test]
    fn pairs_of_one_light_are_one_stack_and_others_are_not() {
        let mut stacks = Stacks::default();
        let frame = |level: u16| Array2::from_shape_fn((24, 24), |(i, j)| level + (i * 7 + j * 3) as u16 % 5);
        for level in [1000, 1001, 1003] {
            let frames = [frame(level), frame(level)];
            let [a, b] = [frames[0].view(), frames[1].view()];
            stacks.push(key(FrameKind::Bias, 0), [a, b], &PairStatistics::from_frames(a, b).unwrap());
        }
        let other = [frame(1500), frame(1500)];
        let [a, b] = [other[0].view(), other[1].view()];
        stacks.push(key(FrameKind::Bias, 0), [a, b], &PairStatistics::from_frames(a, b).unwrap());
        stacks.settle(None);
        assert_eq!(stacks.done.len(), 2);
    }
}
