//! Exact histograms of integers, and what clipping does to a variance.

use super::{normal_density, normal_share_below};

/// Steps between codes that are looked for: 15 bits padded to 16, …, 8 bits padded to 16.
const STEPS: [u32; 8] = [256, 128, 64, 32, 16, 8, 4, 2];
/// Share of the pixels that must lie on a step's grid: a stray pixel does not decide.
const ON_GRID: f64 = 0.999;
/// Fewer different values show no grid.
const FEWEST_ON_GRID: u32 = 3;

/// The interquartile range of a normal distribution in standard deviations.
pub const INTERQUARTILE_SIGMAS: f64 = 1.348_979_500_392_163_3;

/// Counts of integers in a fixed range.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Histogram {
    lowest: i32,
    bins: Vec<u32>,
    total: u64,
}

impl Histogram {
    /// An empty histogram over `lowest..=highest`.
    #[must_use]
    pub fn new(lowest: i32, highest: i32) -> Self {
        let bins = usize::try_from(i64::from(highest) - i64::from(lowest) + 1).unwrap_or(0);
        Self { lowest, bins: vec![0; bins], total: 0 }
    }

    /// Counts `value`, which must lie in the range.
    pub fn push(&mut self, value: i32) {
        self.bins[(value - self.lowest) as usize] += 1;
        self.total += 1;
    }

    /// Counts many values, which must lie in the range: quicker than one by one.
    pub fn push_all(&mut self, values: impl Iterator<Item = i32>) {
        let (lowest, bins) = (self.lowest, self.bins.as_mut_slice());
        // Kept in a register, which a field of `self` beside the bins is not.
        let mut count = 0;
        values.for_each(|value| {
            bins[(value - lowest) as usize] += 1;
            count += 1;
        });
        self.total += count;
    }

    /// Counts codes, which must lie in the ranges, in turn in several histograms: where neighbours are often of one code,
    /// a count need not wait for the one before it.
    pub fn push_in_turn<const BANKS: usize>(banks: &mut [Self; BANKS], codes: &[u16]) {
        let (whole, rest) = codes.as_chunks::<BANKS>();
        banks.iter_mut().for_each(|bank| bank.total += whole.len() as u64);
        let lowest = banks.each_ref().map(|bank| bank.lowest);
        let mut bins = banks.each_mut().map(|bank| bank.bins.as_mut_slice());
        for codes in whole {
            for ((bins, lowest), &code) in bins.iter_mut().zip(lowest).zip(codes) {
                bins[(i32::from(code) - lowest) as usize] += 1;
            }
        }
        rest.iter().zip(banks).for_each(|(&code, bank)| bank.push(i32::from(code)));
    }

    /// Counts `value`, which must lie in the range, `count` times.
    pub fn push_many(&mut self, value: i32, count: u32) {
        self.bins[(value - self.lowest) as usize] += count;
        self.total += u64::from(count);
    }

    /// The counts of both, which must be over the same range.
    #[must_use]
    pub fn with(mut self, other: Self) -> Self {
        self.bins.iter_mut().zip(other.bins).for_each(|(bin, other)| *bin += other);
        self.total += other.total;
        self
    }

    /// Their mean; 0 when empty.
    #[must_use]
    pub fn mean(&self) -> f64 {
        let sum: i64 = self.occupied().map(|(value, count)| i64::from(value) * i64::from(count)).sum();
        sum as f64 / self.total.max(1) as f64
    }

    /// How many values there are.
    #[must_use]
    pub fn total(&self) -> u64 {
        self.total
    }

    /// The values that occur, ascending, with their counts.
    #[must_use]
    pub fn occupied(&self) -> impl DoubleEndedIterator<Item = (i32, u32)> + '_ {
        let lowest = self.lowest;
        self.bins
            .iter()
            .enumerate()
            .filter(|(_, count)| **count > 0)
            .map(move |(bin, count)| (lowest + bin as i32, *count))
    }

    /// The largest power of two, up to 256, on whose grid nearly all counts lie, and the grid's residue: 4 where 14 bits
    /// are padded to 16. A stray value in a thousand does not decide; 1 where fewer than three values are on a coarser grid.
    #[must_use]
    pub fn step(&self) -> (u32, u32) {
        // Counts and different values of each residue of the widest step; narrower ones are sums of these.
        let mut classes = vec![(0_u64, 0_u32); STEPS[0] as usize];
        for (value, count) in self.occupied() {
            let class = &mut classes[value.rem_euclid(STEPS[0] as i32) as usize];
            *class = (class.0 + u64::from(count), class.1 + 1);
        }
        for step in STEPS {
            let fullest = (0_u32..step).zip(&classes).max_by_key(|(_, (count, _))| *count);
            if let Some((residue, &(count, values))) = fullest
                && count as f64 >= ON_GRID * self.total as f64
                && values >= FEWEST_ON_GRID
            {
                return (step, residue);
            }
            let upper = classes.split_off(step as usize / 2);
            classes.iter_mut().zip(upper).for_each(|(low, high)| *low = (low.0 + high.0, low.1 + high.1));
        }
        (1, 0)
    }

    /// The value below which the share `p` of the counts lies, interpolated inside the
    /// value that holds it (each stands for ± half a [`Histogram::step`]); `None` when empty.
    #[must_use]
    pub fn quantile(&self, p: f64) -> Option<f64> {
        self.quantile_on(f64::from(self.step().0), p)
    }

    fn quantile_on(&self, step: f64, p: f64) -> Option<f64> {
        let wanted = p * self.total as f64;
        let mut below = 0.0;
        for (value, count) in self.occupied() {
            let count = f64::from(count);
            if below + count >= wanted {
                return Some(f64::from(value) + step * (((wanted - below) / count).clamp(0.0, 1.0) - 0.5));
            }
            below += count;
        }
        self.occupied().next_back().map(|(value, _)| f64::from(value))
    }

    /// A standard deviation that outliers hardly move: the interquartile range over
    /// 1.349 (twice the normal distribution's upper quartile).
    #[must_use]
    pub fn robust_sigma(&self) -> Option<f64> {
        let step = f64::from(self.step().0);
        Some((self.quantile_on(step, 0.75)? - self.quantile_on(step, 0.25)?) / INTERQUARTILE_SIGMAS)
    }

    /// Count, mean, second and fourth central moment (divisor n) of the values within
    /// `± limit` of `centre`; `None` when there are none.
    #[must_use]
    pub fn central_moments(&self, centre: f64, limit: f64) -> Option<(f64, f64, f64, f64)> {
        let inside = || {
            self.occupied()
                .map(|(value, count)| (f64::from(value), f64::from(count)))
                .filter(move |(value, _)| (value - centre).abs() <= limit)
        };
        let count: f64 = inside().map(|(_, count)| count).sum();
        if count == 0.0 {
            return None;
        }
        let mean = inside().map(|(value, n)| n * value).sum::<f64>() / count;
        let power = |k: i32| inside().map(|(value, n)| n * (value - mean).powi(k)).sum::<f64>() / count;
        Some((count, mean, power(2), power(4)))
    }
}

/// What one pass of clipping at ± `k` true sigmas leaves of a normal distribution's variance.
///
/// ```text
/// c(k) = 1 − 2 k φ(k) / (2 Φ(k) − 1)
/// ```
///
/// The variance of a truncated normal distribution (any handbook); 0.99893 at 4 sigmas.
#[must_use]
pub fn clipped_variance_factor(k: f64) -> f64 {
    1.0 - 2.0 * k * normal_density(k) / (2.0 * normal_share_below(k) - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn banks_count_every_code_once() {
        let codes: Vec<u16> = (0..103_u16).map(|i| i * i % 17).collect();
        let mut one = Histogram::new(0, 20);
        codes.iter().for_each(|&code| one.push(i32::from(code)));
        let mut banks = [(); 4].map(|()| Histogram::new(0, 20));
        Histogram::push_in_turn(&mut banks, &codes);
        assert_eq!(banks.into_iter().reduce(Histogram::with), Some(one));
    }

    #[test]
    fn quantiles_are_interpolated_inside_an_integer() {
        let mut histogram = Histogram::new(0, 10);
        for value in [4, 5, 5, 6] {
            histogram.push(value);
        }
        assert_eq!(histogram.quantile(0.5), Some(5.0));
        assert_eq!(histogram.quantile(0.25), Some(4.5));
    }

    #[test]
    fn an_empty_histogram_has_no_quantile() {
        assert_eq!(Histogram::new(0, 10).quantile(0.5), None);
        assert_eq!(Histogram::new(0, 10).central_moments(0.0, 5.0), None);
    }
}
