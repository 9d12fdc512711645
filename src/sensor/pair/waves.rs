//! Noise that neighbours share over more than a few pixels: bands, stripes, blotches. There are fewer of them than pixels, so
//! a variance is known worse than its pixels allow.

use std::f64::consts::TAU;

use ndarray::{Array2, ArrayView2};

use super::without_lines;

/// At most this many rows and columns in the middle are looked at, a power of two.
const SIDE: usize = 128;
/// Fewer show no waves.
const FEWEST: usize = 32;
/// A wave has this many times the power that pixels alone have in its place: chance does that in one of ten million places.
const STANDS_OUT: f64 = 16.0;
/// What a wave between two places of the transform, padded to twice its length, loses of the sum of squares: 2/3 along a line;
/// in a field the square of that, where blotches lose nothing: the middle is taken.
const REGAINED: f64 = 1.5;

/// What waves hold of a pair's temporal variance, and how surely.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Waves {
    /// In DN².
    pub(super) variance: f64,
    /// Variance of the pair's temporal variance in DN⁴: from waves along the rows' means, and from all others but those of whole
    /// columns.
    pub(super) of_variance: [f64; 2],
}

/// The waves of a pair's noise. Differences beyond `limit` DN are no noise.
///
/// ```text
/// d = y₀ − y₁,    Var(σ²) = Var(s_d²)/4 = ½ Σₖ S²(k)  ≈  ¼ Σₖ |D(k)|⁴,    σ_w² ≈ ½ Σₖ |D(k)|²
/// ```
///
/// `D` is Fourier's transform of the difference over the number of pixels, `S` its expected square; squares of a normal noise
/// scatter like an exponential law, whose mean square is twice the square of the mean. Only `k` at which the square stands out of
/// that of independent pixels by sixteen times are summed: the rest is in the pixels' own uncertainty. A wave over the whole
/// frame counts as one, whatever the frame's size; blotches count as many as there are in the part that is looked at, which
/// overrates them in larger frames.
///
/// # Source
/// M. S. Bartlett, An Introduction to Stochastic Processes, 1955, for the variance of a variance of correlated values (from
/// memory); the rest derived here.
pub(super) fn waves([first, second]: [ArrayView2<'_, u16>; 2], limit: f64) -> Waves {
    let (rows, columns) = first.dim();
    if rows.min(columns) < FEWEST {
        return Waves::default();
    }
    let noise = |row: usize, column: usize| {
        let d = f64::from(first[(row, column)]) - f64::from(second[(row, column)]);
        if d.abs() < limit { d } else { 0.0 }
    };
    let whole = |length: usize| 1_usize << length.ilog2();
    let (down, across) = (whole(rows).min(SIDE), whole(columns).min(SIDE));
    let (top, left) = ((rows - down) / 2, (columns - across) / 2);
    let mut field = Array2::from_shape_fn((down, across), |(row, column)| noise(top + row, left + column));
    without_lines(&mut field);
    let variance = field.iter().map(|value| value * value).sum::<f64>() / field.len() as f64;
    let (of_field, rest) = of_field(&field, variance);

    let length = whole(rows);
    let from = (rows - length) / 2;
    let of_row = |row: usize| (0..columns).map(|column| noise(row, column)).sum::<f64>() / columns as f64;
    let means: Vec<f64> = (from..from + length).map(of_row).collect();
    let (of_rows, along_rows) = of_line(&means, variance / columns as f64);
    Waves { variance: of_rows + of_field, of_variance: [along_rows, rest] }
}

/// The waves of a field whose independent pixels have the variance `usual`: their variance, and the variance of that.
fn of_field(field: &Array2<f64>, usual: f64) -> (f64, f64) {
    let (down, across) = field.dim();
    let mut padded = vec![[0.0; 2]; 4 * down * across];
    field.indexed_iter().for_each(|((row, column), value)| padded[row * 2 * across + column][0] = *value);
    transform_field(&mut padded, 2 * across);
    above(&padded, field.len() as f64, usual, 4.0)
}

/// The same of a line.
fn of_line(line: &[f64], usual: f64) -> (f64, f64) {
    let mean = line.iter().sum::<f64>() / line.len() as f64;
    let mut padded = vec![[0.0; 2]; 2 * line.len()];
    padded.iter_mut().zip(line).for_each(|(padded, value)| padded[0] = value - mean);
    transform(&mut padded);
    above(&padded, line.len() as f64, usual, 2.0)
}

/// Half the powers, each over `count`, that stand out of those of `count` independent values of variance `usual`, and a quarter of
/// their squares, in a transform that is padded to `padded` times the values.
fn above(values: &[[f64; 2]], count: f64, usual: f64, padded: f64) -> (f64, f64) {
    let powers = values.iter().map(|[re, im]| (re * re + im * im) / (count * count));
    let (mut sum, mut squares) = (0.0, 0.0);
    for power in powers.filter(|power| *power > STANDS_OUT * usual / count) {
        (sum, squares) = (sum + power - usual / count, squares + power * power);
    }
    (sum / (2.0 * padded), REGAINED / 4.0 * squares / padded)
}

/// Fourier's transform over the rows and the columns of a field, whose sides are powers of two.
fn transform_field(field: &mut [[f64; 2]], across: usize) {
    field.chunks_exact_mut(across).for_each(transform);
    let down = field.len() / across;
    let mut column = vec![[0.0; 2]; down];
    for place in 0..across {
        (0..down).for_each(|row| column[row] = field[row * across + place]);
        transform(&mut column);
        (0..down).for_each(|row| field[row * across + place] = column[row]);
    }
}

/// Fourier's transform of so many values as a power of two, in place (J. W. Cooley, J. W. Tukey 1965; any text).
fn transform(values: &mut [[f64; 2]]) {
    let count = values.len();
    let bits = count.trailing_zeros();
    for place in 0..count {
        let other = place.reverse_bits() >> (usize::BITS - bits).min(usize::BITS - 1);
        if other > place {
            values.swap(place, other);
        }
    }
    let mut half = 1;
    while half < count {
        let turns: Vec<(f64, f64)> = (0..half).map(|k| (-TAU * k as f64 / (2 * half) as f64).sin_cos()).collect();
        for part in values.chunks_exact_mut(2 * half) {
            let (low, high) = part.split_at_mut(half);
            for ((a, b), (sine, cosine)) in low.iter_mut().zip(high).zip(&turns) {
                let turned = [b[0] * cosine - b[1] * sine, b[0] * sine + b[1] * cosine];
                *b = [a[0] - turned[0], a[1] - turned[1]];
                *a = [a[0] + turned[0], a[1] + turned[1]];
            }
        }
        half *= 2;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against `numpy.fft.fft([3, 1, -2, 5, 0, 0, 4, -1])`, numpy 2.4.6.
    #[test]
    fn the_transform_is_that_of_numpy() {
        let mut values = [3.0, 1.0, -2.0, 5.0, 0.0, 0.0, 4.0, -1.0].map(|value| [value, 0.0]);
        transform(&mut values);
        let wanted = [
            [10.0, 0.0],
            [-0.535_533_905_932_738, 1.050_252_531_694_167],
            [1.0, 3.0],
            [6.535_533_905_932_738, -10.949_747_468_305_834],
            [0.0, 0.0],
        ];
        for (found, wanted) in values.iter().zip(wanted) {
            approx::assert_relative_eq!(found[0], wanted[0], epsilon = 1e-12);
            approx::assert_relative_eq!(found[1], wanted[1], epsilon = 1e-12);
        }
    }

    /// Normal noise of 6 DN and a wave of 5 DN, or none.
    fn pair(wave: impl Fn(usize, usize) -> f64) -> [Array2<u16>; 2] {
        let mut seed = 3_u64;
        let mut normal = || {
            let mut uniform = || {
                seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (seed >> 33) as f64 / (1_u64 << 31) as f64
            };
            (0..12).map(|_| uniform()).sum::<f64>() - 6.0
        };
        let mut frame = |sign: f64| {
            Array2::from_shape_fn((180, 240), |(row, column)| {
                (1000.0 + sign * wave(row, column) + 6.0 * normal()).round() as u16
            })
        };
        [frame(0.5), frame(-0.5)]
    }

    #[test]
    fn a_wave_counts_once_and_independent_pixels_not_at_all() {
        let of = |wave: &dyn Fn(usize, usize) -> f64| {
            let [first, second] = pair(wave);
            waves([first.view(), second.view()], 80.0)
        };
        assert_eq!(of(&|_, _| 0.0), Waves::default());
        // d has an amplitude of 5 DN: a variance of 12.5 / 2 in each frame, half of whose square is its variance, wherever its
        // length lies between two places of the transform.
        let expected = 0.5 * (12.5 / 2.0_f64).powi(2);
        for length in [32.0, 30.0, 23.0, 11.0] {
            let Waves { variance, of_variance: [rows, _] } = of(&|row, _| 5.0 * (TAU * row as f64 / length).sin());
            assert!((rows / expected - 1.0).abs() < 0.25, "{length}: {rows} for {expected}");
            assert!((variance / 6.25 - 1.0).abs() < 0.1, "{length}: {variance}");
            let slanted = of(&|row, column| 5.0 * (TAU * (0.4 * row as f64 + column as f64) / length).sin());
            let [_, rest] = slanted.of_variance;
            assert!((slanted.variance / 6.25 - 1.0).abs() < 0.2, "{length}: {}", slanted.variance);
            assert!((rest / expected - 0.67).abs() < 0.25, "{length}: {rest} for {expected}");
        }
    }
}
