//! How noise falls when pixels are averaged: the variance of means over squares and lines of 1, 2, 4 … 64 pixels.
//!
//! Of the frames without light the differences of pairs show read noise; of the mean of the longest darks what is left
//! without that and without shot noise is the pattern. Both are looked at in the middle of the plane, each image without
//! its mean, that of the darks also without the slow change that a glow makes.

use std::ops::Range;

use nalgebra::{DMatrix, DVector};
use ndarray::{Array2, ArrayView2, Axis, Slice, Zip};

use crate::camera::{AveragedOver, NoiseByScale, NoisePart, PlaneName};

/// Pixels along a side or a line of the means.
const SIDES: [usize; 7] = [1, 2, 4, 8, 16, 32, 64];
const OVER: [AveragedOver; 3] = [AveragedOver::Square, AveragedOver::Row, AveragedOver::Column];
/// Rows and columns in the middle of a pair that are looked at …
pub(super) const OF_PAIR: usize = 512;
/// … of at most so many pairs …
pub(super) const MOST_PAIRS: u32 = 8;
/// … and of an image of darks.
const OF_IMAGE: usize = 2048;
/// A variance of fewer means than this says too little.
const FEWEST_MEANS: f64 = 30.0;
/// A pattern is one where it stands out of its uncertainty by this much.
const SEEN_SIGMAS: f64 = 4.0;
/// Side of the squares through whose means the slow surface is laid.
const SURFACE_TILE: usize = 16;

/// Squares of the means' distances from their mean, and how many are free.
#[derive(Debug, Clone, Copy, Default)]
struct Squares {
    sum: f64,
    freedom: f64,
}

/// Variances of means in DN², over one image or several.
#[derive(Debug, Clone, Default)]
pub(crate) struct ByScale {
    squares: [[Squares; SIDES.len()]; OVER.len()],
}

/// A variance and its standard uncertainty.
type Known = (f64, f64);

impl ByScale {
    /// Takes the difference of two frames of the same light, in the middle.
    pub(super) fn add_pair(&mut self, [first, second]: [ArrayView2<'_, u16>; 2]) {
        let [first, second] = [first, second].map(|frame| middle(frame, OF_PAIR));
        self.add(&Zip::from(&first).and(&second).map_collect(|&a, &b| f32::from(a) - f32::from(b)));
    }

    /// Of an image of rates or levels, the pixels that `is_left_out` put to the mean and its slow change taken off.
    pub(crate) fn from_image(image: ArrayView2<'_, u32>, is_left_out: impl Fn(f64) -> bool) -> Self {
        let image = middle(image, OF_IMAGE);
        let kept = image.iter().map(|&value| f64::from(value)).filter(|value| !is_left_out(*value));
        let (sum, count) = kept.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
        let mean: f64 = if count > 0.0 { sum / count } else { 0.0 };
        let mut flat = image.map(|&value| {
            let value = f64::from(value);
            if is_left_out(value) { 0.0 } else { (value - mean) as f32 }
        });
        take_off_surface(&mut flat);
        let mut found = Self::default();
        found.add(&flat);
        found
    }

    fn add(&mut self, image: &Array2<f32>) {
        for (over, squares) in OVER.into_iter().zip(&mut self.squares) {
            let mut means = image.clone();
            for (scale, squares) in squares.iter_mut().enumerate() {
                if scale > 0 {
                    means = halved(&means, over);
                }
                let count = means.len() as f64;
                if count < 2.0 {
                    break;
                }
                let mean = means.iter().map(|&value| f64::from(value)).sum::<f64>() / count;
                squares.sum += means.iter().map(|&value| (f64::from(value) - mean).powi(2)).sum::<f64>();
                squares.freedom += count - 1.0;
            }
        }
    }

    /// The variance at a scale; `None` where too few means were seen.
    fn variance(&self, over: usize, scale: usize) -> Option<Known> {
        let Squares { sum, freedom } = self.squares[over][scale];
        let variance = sum / freedom;
        (freedom >= FEWEST_MEANS).then(|| (variance, variance * (2.0 / freedom).sqrt()))
    }
}

/// The pattern's own part of the mean of darks.
pub(crate) struct DarkMean<'a> {
    /// Of the sum of the frames.
    pub(crate) of_sum: &'a ByScale,
    /// How many there are.
    pub(crate) frames: f64,
    /// Shot noise of one frame in DN².
    pub(crate) shot: f64,
}

/// The tables of one plane: of the differences of pairs without light, and of the longest darks; `gain` in e⁻/DN.
pub(crate) fn tables(plane: PlaneName, gain: f64, pairs: &ByScale, darks: Option<DarkMean<'_>>) -> Vec<NoiseByScale> {
    let squared = gain * gain;
    // A difference has the noise of two frames.
    let of_pair = |over, scale| pairs.variance(over, scale).map(|(value, sigma)| (value / 2.0, sigma / 2.0));
    let mut all = table_of(plane, NoisePart::Random, squared, of_pair);
    let Some(darks) = darks else { return all };
    let of_pattern = |over, scale| {
        let (spatial, of_spatial) = darks.of_sum.variance(over, scale)?;
        let (random, of_random) = of_pair(over, scale)?;
        let pixels = if over == 0 { SIDES[scale].pow(2) } else { SIDES[scale] } as f64;
        let per_frame = darks.frames * darks.frames;
        let temporal = (random + darks.shot / pixels) / darks.frames;
        Some((spatial / per_frame - temporal, (of_spatial / per_frame).hypot(of_random / darks.frames)))
    };
    let is_seen = of_pattern(0, 0).is_some_and(|(variance, sigma)| variance > SEEN_SIGMAS * sigma);
    if is_seen {
        all.extend(table_of(plane, NoisePart::Fixed, squared, of_pattern));
    }
    all
}

fn table_of(
    plane: PlaneName,
    part: NoisePart,
    squared_gain: f64,
    known: impl Fn(usize, usize) -> Option<Known>,
) -> Vec<NoiseByScale> {
    let of_kind = |(number, over): (usize, AveragedOver)| {
        let entries = SIDES.iter().enumerate().map_while(|(scale, &side)| Some((side, known(number, scale)?)));
        let mut table =
            NoiseByScale { plane, part, over, pixels: Vec::new(), variance_e2: Vec::new(), uncertainty_e2: Vec::new() };
        for (side, (variance, sigma)) in entries {
            table.pixels.push(side as u32);
            table.variance_e2.push(digits(variance * squared_gain));
            table.uncertainty_e2.push(digits(sigma * squared_gain));
        }
        table
    };
    OVER.into_iter().enumerate().map(of_kind).filter(|table| table.pixels.len() > 1).collect()
}

/// Five digits: no table is better.
fn digits(value: f64) -> f64 {
    format!("{value:.4e}").parse().unwrap_or(value)
}

fn cut<T>(mut image: ArrayView2<'_, T>, rows: Range<usize>, columns: Range<usize>) -> ArrayView2<'_, T> {
    image.slice_axis_inplace(Axis(0), Slice::from(rows));
    image.slice_axis_inplace(Axis(1), Slice::from(columns));
    image
}

fn middle<T>(image: ArrayView2<'_, T>, most: usize) -> ArrayView2<'_, T> {
    let (rows, columns) = image.dim();
    let part = |whole: usize| {
        let side = whole.min(most);
        let from = (whole - side) / 2;
        from..from + side
    };
    cut(image, part(rows), part(columns))
}

/// Means of two neighbours, or of four.
fn halved(image: &Array2<f32>, over: AveragedOver) -> Array2<f32> {
    let (rows, columns) = image.dim();
    match over {
        AveragedOver::Square => Array2::from_shape_fn((rows / 2, columns / 2), |(row, column)| {
            let (row, column) = (2 * row, 2 * column);
            let upper = image[[row, column]] + image[[row, column + 1]];
            (upper + image[[row + 1, column]] + image[[row + 1, column + 1]]) / 4.0
        }),
        AveragedOver::Row => Array2::from_shape_fn((rows, columns / 2), |(row, column)| {
            (image[[row, 2 * column]] + image[[row, 2 * column + 1]]) / 2.0
        }),
        AveragedOver::Column => Array2::from_shape_fn((rows / 2, columns), |(row, column)| {
            (image[[2 * row, column]] + image[[2 * row + 1, column]]) / 2.0
        }),
    }
}

/// Takes the least-squares surface of second order off, laid through the means of tiles.
fn take_off_surface(image: &mut Array2<f32>) {
    let (down, across) = (image.nrows() / SURFACE_TILE, image.ncols() / SURFACE_TILE);
    if down < 3 || across < 3 {
        return;
    }
    let place = |at: f64, whole: usize| 2.0 * at / whole as f64 - 1.0;
    let terms = |x: f64, y: f64| [1.0, x, y, x * x, x * y, y * y];
    let tiles: Vec<(usize, usize)> = (0..down).flat_map(|i| (0..across).map(move |j| (i, j))).collect();
    let of_tile = |i: usize, j: usize| {
        let (top, left) = (i * SURFACE_TILE, j * SURFACE_TILE);
        f64::from(cut(image.view(), top..top + SURFACE_TILE, left..left + SURFACE_TILE).mean().unwrap_or(0.0))
    };
    let centre = |tile: usize| (tile as f64 + 0.5) * SURFACE_TILE as f64;
    let (rows, columns) = image.dim();
    let matrix = DMatrix::from_fn(tiles.len(), 6, |n, term| {
        let (i, j) = tiles[n];
        terms(place(centre(j), columns), place(centre(i), rows))[term]
    });
    let values = DVector::from_fn(tiles.len(), |n, _| of_tile(tiles[n].0, tiles[n].1));
    let Some(normal) = (matrix.transpose() * &matrix).cholesky() else { return };
    let surface = normal.solve(&(matrix.transpose() * values));
    for ((row, column), value) in image.indexed_iter_mut() {
        let here = terms(place(column as f64 + 0.5, columns), place(row as f64 + 0.5, rows));
        *value -= here.iter().zip(surface.iter()).map(|(term, own)| term * own).sum::<f64>() as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whole numbers about 1000 with a spread of about 12, and one more for each of the rows.
    fn frame(seed: &mut u64, row_spread: f64) -> Array2<u16> {
        let mut normal = || {
            let mut uniform = || {
                *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (*seed >> 33) as f64 / (1_u64 << 31) as f64
            };
            (0..12).map(|_| uniform()).sum::<f64>() - 6.0
        };
        let rows: Vec<f64> = (0..256).map(|_| row_spread * normal()).collect();
        Array2::from_shape_fn((256, 256), |(row, _)| (1000.0 + rows[row] + 12.0 * normal()).round() as u16)
    }

    fn random(row_spread: f64) -> Vec<NoiseByScale> {
        let (mut seed, mut found) = (5, ByScale::default());
        for _ in 0..6 {
            let frames = [frame(&mut seed, row_spread), frame(&mut seed, row_spread)];
            found.add_pair([frames[0].view(), frames[1].view()]);
        }
        tables(PlaneName::Mono, 0.5, &found, None)
    }

    /// Within five of its uncertainties.
    fn holds(table: &NoiseByScale, scale: usize, truth: f64) -> bool {
        (table.variance_e2[scale] - truth).abs() < 5.0 * table.uncertainty_e2[scale]
    }

    #[test]
    fn independent_pixels_fall_with_their_number_and_rows_do_not() {
        let variance = (144.0 + 1.0 / 12.0) / 4.0;
        for table in random(0.0) {
            for (scale, side) in table.pixels.iter().enumerate() {
                let pixels = f64::from(if table.over == AveragedOver::Square { side.pow(2) } else { *side });
                assert!(holds(&table, scale, variance / pixels), "{side} {table:?}");
            }
        }
        let tables = random(3.0);
        let [square, row, column] = &tables[..] else { panic!("{tables:?}") };
        let own = 9.0 / 4.0;
        for scale in 0..6 {
            let side = f64::from(square.pixels[scale]);
            assert!(holds(square, scale, variance / side.powi(2) + own / side), "{square:?}");
            // Few rows: their own spread is known to a tenth or so.
            assert!((row.variance_e2[scale] - (variance / side + own)).abs() < 0.15 * own + 0.3, "{row:?}");
            assert!(holds(column, scale, (variance + own) / side), "{column:?}");
        }
    }

    #[test]
    fn what_is_left_of_darks_is_their_pattern_without_a_slow_surface() {
        let mut seed = 9;
        let pattern = frame(&mut seed, 0.0).map(|&value| (f64::from(value) - 1000.0) / 2.0);
        let mut pairs = ByScale::default();
        let mut sum = Array2::<u32>::zeros((256, 256));
        for _ in 0..4 {
            let frames = [(); 2].map(|()| {
                let noise = frame(&mut seed, 0.0);
                let level = |(row, column): (usize, usize)| {
                    f64::from(noise[[row, column]]) + pattern[[row, column]] + (row * column) as f64 / 400.0
                };
                Array2::from_shape_fn((256, 256), |at| level(at).round() as u16)
            });
            pairs.add_pair([frames[0].view(), frames[1].view()]);
            frames.iter().for_each(|frame| sum.zip_mut_with(frame, |sum, &value| *sum += u32::from(value)));
        }
        let of_sum = ByScale::from_image(sum.view(), |_| false);
        let darks = DarkMean { of_sum: &of_sum, frames: 8.0, shot: 0.0 };
        let tables = tables(PlaneName::Mono, 1.0, &pairs, Some(darks));
        let square = tables.iter().find(|table| table.part == NoisePart::Fixed).unwrap();
        for (scale, side) in square.pixels.iter().enumerate().take(4) {
            assert!(holds(square, scale, 36.0 / f64::from(side.pow(2))), "{side} {square:?}");
        }
    }
}
