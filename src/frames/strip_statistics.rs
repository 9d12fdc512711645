//! A look at a sample of a frame's pixels: enough to doubt what the frame is said to be.

use serde::{Deserialize, Serialize};

use crate::units::Dn;

/// What a strip of rows shows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StripStatistics {
    /// The mean of the strip.
    pub mean: Dn,
    /// The median of the strip.
    pub median: Dn,
    /// Robust standard deviation of the pixels: half the width that holds the middle 68.3 %.
    pub spread: Dn,
    /// Robust pixel noise: the same of the differences between pixels two columns apart, over √2, so that neither
    /// gradients nor the colours of a mosaic count. An even frame has `noise` ≈ `spread`.
    pub noise: Dn,
    /// The same in finer steps: the standard deviation of those differences over √2, without those beyond four robust
    /// sigmas. `noise` is a multiple of half a step, this is not.
    pub sigma: Dn,
    /// The highest pixel.
    pub max: u16,
    /// Share of the pixels at 0.
    pub zero_share: f64,
    /// Share of the pixels at `max`: large where the frame is saturated.
    pub top_share: f64,
    /// DN from one code to the next: more than 1 where the converter's bits are padded.
    pub step: Dn,
}

/// Differences beyond so many robust sigmas are not those of noise.
const CLIP_SIGMAS: f64 = 4.0;
/// A grid of codes holds all pixels but this share …
const OFF_GRID: f64 = 0.01;
/// … of those that are not at the commonest code, and shows in no fewer.
const FEWEST_ON_GRID: usize = 8;
/// The widest step that is looked for, 8 bits padded to 16; its halves are too.
const WIDEST_STEP: usize = 256;
/// In a normal distribution the middle half is this many standard deviations wide.
const INTERQUARTILE_SIGMAS: f64 = 1.349;

impl StripStatistics {
    /// What `strip`, whole rows of `width` pixels, shows; `None` if it is empty.
    ///
    /// # Examples
    /// ```
    /// use subwell::frames::StripStatistics;
    /// let strip_statistics = StripStatistics::from_strip(&[100, 102, 98, 100, 0, 100, 100, 100], 8).unwrap();
    /// assert_eq!((strip_statistics.median.0, strip_statistics.zero_share), (100.0, 0.125));
    /// ```
    #[must_use]
    pub fn from_strip(strip: &[u16], width: usize) -> Option<Self> {
        let max = *strip.iter().max()?;
        let share = |value: u16| strip.iter().filter(|pixel| **pixel == value).count() as f64 / strip.len() as f64;
        let mut sorted: Vec<i32> = strip.iter().map(|pixel| i32::from(*pixel)).collect();
        let mut steps: Vec<i32> = (strip.chunks(width.max(1)))
            .flat_map(|row| row.windows(3).map(|three| i32::from(three[2]) - i32::from(three[0])))
            .collect();
        let step = step_of(strip);
        let robust = if steps.is_empty() { 0.0 } else { robust_sigma(&mut steps, step) };
        let noise = robust / std::f64::consts::SQRT_2;
        Some(Self {
            mean: Dn(strip.iter().map(|pixel| f64::from(*pixel)).sum::<f64>() / strip.len() as f64),
            median: Dn(quantile(&mut sorted, 0.5)),
            spread: Dn(robust_sigma(&mut sorted, step)),
            noise: Dn(noise),
            sigma: Dn(clipped_sigma(&steps, CLIP_SIGMAS * robust.max(step)) / std::f64::consts::SQRT_2),
            max,
            zero_share: share(0),
            top_share: share(max),
            step: Dn(step),
        })
    }

    /// The noise, no less than half a step: below that it goes with the place of the level between two steps.
    #[must_use]
    pub fn noise_or_half_a_step(&self) -> f64 {
        self.noise.0.max(0.5 * self.step.0)
    }

    /// Whether the pixels scatter like noise alone: no stars, no glow, no steep gradient.
    #[must_use]
    pub fn is_even(&self) -> bool {
        self.spread.0 <= 3.0 * self.noise_or_half_a_step()
    }
}

/// The root mean square of the values up to `limit`; their mean is taken to be 0.
fn clipped_sigma(values: &[i32], limit: f64) -> f64 {
    let within = values.iter().map(|value| f64::from(*value)).filter(|value| value.abs() <= limit);
    let (count, squares) = within.fold((0_u32, 0.0), |(count, sum), value| (count + 1, sum + value * value));
    (squares / f64::from(count.max(1))).sqrt()
}

/// The widest grid of codes, of 2, 4, … 256 DN, that the pixels lie on which are not at the commonest code; 1 DN where there is
/// none, or too few of them.
fn step_of(strip: &[u16]) -> f64 {
    let mut counts = vec![0_usize; usize::from(u16::MAX) + 1];
    strip.iter().for_each(|code| counts[usize::from(*code)] += 1);
    let Some((commonest, at_it)) = counts.iter().copied().enumerate().max_by_key(|(_, count)| *count) else {
        return 1.0;
    };
    let others = strip.len() - at_it;
    if others < FEWEST_ON_GRID {
        return 1.0;
    }
    let off_grid = |step: usize| {
        let off = counts.iter().enumerate().filter(|(code, _)| code.abs_diff(commonest) % step != 0);
        off.map(|(_, count)| count).sum::<usize>()
    };
    let steps = std::iter::successors(Some(WIDEST_STEP), |step| Some(step / 2)).take_while(|step| *step > 1);
    steps.into_iter().find(|step| off_grid(*step) as f64 <= OFF_GRID * others as f64).map_or(1.0, |step| step as f64)
}

/// Of the quartiles, each spread evenly over the width of its code, `step` DN: the noise of few codes is known to a part of one.
fn robust_sigma(values: &mut [i32], step: f64) -> f64 {
    let within = |values: &mut [i32], share: f64| {
        let value = quantile(values, share) as i32;
        let (below, at) = values.iter().fold((0, 0), |(below, at), other| match other.cmp(&value) {
            std::cmp::Ordering::Less => (below + 1, at),
            std::cmp::Ordering::Equal => (below, at + 1),
            std::cmp::Ordering::Greater => (below, at),
        });
        let place = (share * values.len() as f64 - f64::from(below)) / f64::from(at.max(1));
        f64::from(value) + step * (place.clamp(0.0, 1.0) - 0.5)
    };
    let whole = quantile(values, 0.75) - quantile(values, 0.25);
    // All of one code: no noise is seen at all.
    if whole == 0.0 { 0.0 } else { (within(values, 0.75) - within(values, 0.25)) / INTERQUARTILE_SIGMAS }
}

/// The value at that share of the sorted values; `values` is not empty.
fn quantile(values: &mut [i32], share: f64) -> f64 {
    let place = ((values.len() - 1) as f64 * share).round() as usize;
    f64::from(*values.select_nth_unstable(place).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_of_a_mosaic_do_not_count_as_noise() {
        let row: Vec<u16> = (0..1000).map(|column| if column % 2 == 0 { 1000 } else { 3000 }).collect();
        let strip_statistics = StripStatistics::from_strip(&row, 1000).unwrap();
        assert_eq!(strip_statistics.noise, Dn(0.0));
        assert!(strip_statistics.spread.0 > 1000.0 && !strip_statistics.is_even());
        assert_eq!(strip_statistics.sigma, Dn(0.0));
    }

    /// Triangular noise of 0, ±1, ±2 in the shares 3, 2, 1 of 9: its variance is 4/3.
    #[test]
    fn the_finer_noise_knows_fractions_of_a_step() {
        let cell = [0, 0, 0, 1, 1, -1, -1, 2, -2];
        let at = |place: usize| (1000 + cell[place * 7919 % 9 * 5 % 9]) as u16;
        let row: Vec<u16> = (0..90_000).map(|place| at(place / 2 + 41 * (place / 2 / 9 % 9))).collect();
        let strip_statistics = StripStatistics::from_strip(&row, row.len()).unwrap();
        let steps: Vec<f64> = row.windows(3).map(|three| f64::from(three[2]) - f64::from(three[0])).collect();
        let plain = (steps.iter().map(|step| step * step).sum::<f64>() / steps.len() as f64 / 2.0).sqrt();
        assert!(
            (strip_statistics.sigma.0 - plain).abs() < 1e-9 && strip_statistics.sigma.0 > 0.3,
            "{} {plain}",
            strip_statistics.sigma.0
        );
    }

    /// Of padded codes the noise is known to a part of a step, and a stray pixel hides no grid.
    #[test]
    fn the_step_of_padded_codes_is_seen_and_their_noise_is_no_multiple_of_it() {
        // Twelve numbers of a linear congruence (Knuth's MMIX) add up to a normal one.
        let mut state = 1_u64;
        let mut uniform = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let mut code = || (160.0 + 1.2 * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0)).round() as u16 * 16;
        let mut row: Vec<u16> = (0..40_000).map(|_| code()).collect();
        row[7] = 2561;
        let strip = StripStatistics::from_strip(&row, row.len()).unwrap();
        let plain = (1.2_f64 * 1.2 + 1.0 / 12.0).sqrt() * 16.0;
        assert_eq!(strip.step, Dn(16.0));
        assert!(
            (strip.noise.0 / plain - 1.0).abs() < 0.05 && (strip.sigma.0 / plain - 1.0).abs() < 0.02,
            "{strip:?} {plain}"
        );
        // Most at one code, a few hot ones: no grid.
        let mut flat = vec![4095_u16; 2000];
        (0..4).for_each(|place| flat[place * 400] = 4095 - 16 * (place as u16 + 1));
        assert_eq!(StripStatistics::from_strip(&flat, 50).unwrap().step, Dn(1.0));
    }

    #[test]
    fn a_saturated_strip_shows() {
        let strip_statistics = StripStatistics::from_strip(&[4095; 64], 8).unwrap();
        assert_eq!((strip_statistics.max, strip_statistics.top_share, strip_statistics.mean), (4095, 1.0, Dn(4095.0)));
        assert!(StripStatistics::from_strip(&[], 8).is_none());
    }
}
