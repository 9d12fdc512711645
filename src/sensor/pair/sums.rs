//! Exact sums over the pixels of two frames.

use std::cmp::Ordering;

use ndarray::ArrayView2;

use crate::stats::Histogram;

use crate::sensor::exact;
use crate::sensor::row_blocks::each_two_rows;

/// Exact sums over a band of rows of both frames.
pub(super) struct Sums {
    pub(super) totals: [u64; 2],
    pub(super) squares: [u64; 2],
    pub(super) highest: u16,
    pub(super) at_highest: usize,
    pub(super) lowest: u16,
    pub(super) at_lowest: usize,
    /// Mean difference of each row, and of its two halves.
    pub(super) rows: Vec<f64>,
    pub(super) halves: Vec<[f64; 2]>,
    /// Sum of the differences of each column.
    pub(super) columns: Vec<i64>,
}

impl Sums {
    fn new() -> Self {
        Self {
            totals: [0; 2],
            squares: [0; 2],
            highest: 0,
            at_highest: 0,
            lowest: u16::MAX,
            at_lowest: 0,
            rows: Vec::new(),
            halves: Vec::new(),
            columns: Vec::new(),
        }
    }

    /// The sums of a band of both frames, whose differences are counted.
    pub(super) fn from_frames(frames: [ArrayView2<'_, u16>; 2], differences: &mut Histogram) -> Self {
        let mut sums = Self::new();
        // A band of rows of 16 bits fits 32.
        let mut columns = vec![0_i32; frames[0].ncols()];
        each_two_rows(frames, |a, b| {
            sums.take([a, b]);
            exact::add_difference(a, b, &mut columns);
            differences.push_all(a.iter().zip(b).map(|(&a, &b)| i32::from(a) - i32::from(b)));
        });
        sums.columns = columns.into_iter().map(i64::from).collect();
        sums
    }

    fn take(&mut self, row: [&[u16]; 2]) {
        let middle = row[0].len() / 2;
        let of_halves = row.map(|row| [exact::sum(&row[..middle]), exact::sum(&row[middle..])]);
        let totals = of_halves.map(|[left, right]| left + right);
        let lengths = [middle, row[0].len() - middle].map(|length| length.max(1) as f64);
        self.halves.push([0, 1].map(|half| (of_halves[0][half] as f64 - of_halves[1][half] as f64) / lengths[half]));
        for (frame, codes) in row.into_iter().enumerate() {
            self.totals[frame] += totals[frame];
            self.squares[frame] += exact::squares(codes);
            let Some((lowest, highest)) = exact::extremes(codes) else { continue };
            if lowest < self.lowest {
                (self.lowest, self.at_lowest) = (lowest, 0);
            }
            if lowest == self.lowest {
                self.at_lowest += exact::count(codes, lowest);
            }
            if highest > self.highest {
                (self.highest, self.at_highest) = (highest, 0);
            }
            if highest == self.highest {
                self.at_highest += exact::count(codes, highest);
            }
        }
        self.rows.push((totals[0] as f64 - totals[1] as f64) / row[0].len() as f64);
    }

    /// The sums over this band and the one below.
    pub(super) fn with(mut self, below: Self) -> Self {
        for frame in 0..2 {
            self.totals[frame] += below.totals[frame];
            self.squares[frame] += below.squares[frame];
        }
        self.at_highest = match self.highest.cmp(&below.highest) {
            Ordering::Less => below.at_highest,
            Ordering::Equal => self.at_highest + below.at_highest,
            Ordering::Greater => self.at_highest,
        };
        self.highest = self.highest.max(below.highest);
        self.at_lowest = match self.lowest.cmp(&below.lowest) {
            Ordering::Greater => below.at_lowest,
            Ordering::Equal => self.at_lowest + below.at_lowest,
            Ordering::Less => self.at_lowest,
        };
        self.lowest = self.lowest.min(below.lowest);
        self.rows.extend(below.rows);
        self.halves.extend(below.halves);
        self.columns.iter_mut().zip(below.columns).for_each(|(sum, other)| *sum += other);
        self
    }

    /// Σ y₀ y₁, from the squares of the differences.
    pub(super) fn product(&self, differences: &Histogram) -> u64 {
        let square = |(value, count): (i32, u32)| u64::from(value.unsigned_abs()).pow(2) * u64::from(count);
        let of_differences: u64 = differences.occupied().map(square).sum();
        (self.squares[0] + self.squares[1] - of_differences) / 2
    }
}

/// `(Σxy − Σx Σy / n) / (n − 1)` from exact integers.
pub(super) fn covariance(product: u64, x: u64, y: u64, n: u64) -> f64 {
    let numerator = i128::from(product) * i128::from(n) - i128::from(x) * i128::from(y);
    numerator as f64 / (n as f64 * (n - 1) as f64)
}

/// Covariance of the halves of rows.
pub(super) fn common(halves: &[[f64; 2]]) -> f64 {
    let count = halves.len() as f64;
    let mean = |half: usize| halves.iter().map(|both| both[half]).sum::<f64>() / count;
    let middle = [mean(0), mean(1)];
    halves.iter().map(|both| (both[0] - middle[0]) * (both[1] - middle[1])).sum::<f64>() / (count - 1.0).max(1.0)
}

/// Variance in DN⁴ of the part of the temporal variance that is in the mean differences of whole columns.
pub(super) fn of_columns(sums: &[i64], rows: usize) -> f64 {
    let means: Vec<f64> = sums.iter().map(|&sum| sum as f64 / rows as f64).collect();
    let count = means.len() as f64;
    let middle = means.iter().sum::<f64>() / count;
    let moment = |power: i32| means.iter().map(|mean| (mean - middle).powi(power)).sum::<f64>() / count;
    (moment(4) - moment(2).powi(2)).max(0.0) / (4.0 * count)
}
