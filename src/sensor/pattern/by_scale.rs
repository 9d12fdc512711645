//! How noise falls when pixels are averaged: the variance of means over squares and lines of 1, 2, 4 … 64 pixels.
//!
//! Of the frames without light the differences of pairs show read noise, and their mean, without what is left of that, the
//! pixels' levels. The mean of the longest darks has the pattern of the dark current besides, and shot noise. All are
//! looked at in the middle of the plane, each image without its mean, means also without the slow change that a glow makes.

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
pub(crate) const OF_IMAGE: usize = 2048;
/// A variance of fewer means than this says too little.
const FEWEST_MEANS: f64 = 100.0;
/// With fewer pairs nothing is said of how they scatter.
const FEWEST_PAIRS: f64 = 4.0;
/// A pattern is one where it stands out of its uncertainty by this much.
const SEEN_SIGMAS: f64 = 4.0;
/// Side of the squares through whose means the slow surface is laid.
const SURFACE_TILE: usize = 16;

/// Squares of the means' distances from their mean, and how many are free.
#[derive(Debug, Clone, Copy, Default)]
struct Squares {
    sum: f64,
    freedom: f64,
    /// Images, the sum of their variances, and of the squares of those.
    images: [f64; 3],
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
                let sum = means.iter().map(|&value| (f64::from(value) - mean).powi(2)).sum::<f64>();
                squares.sum += sum;
                squares.freedom += count - 1.0;
                let variance = sum / (count - 1.0);
                for (total, value) in squares.images.iter_mut().zip([1.0, variance, variance * variance]) {
                    *total += value;
                }
            }
        }
    }

    /// The variance at a scale; `None` where too few means were seen.
    ///
    /// Means that share noise say less of it than their number: the scatter from image to image counts where it is more.
    fn variance(&self, over: usize, scale: usize) -> Option<Known> {
        let Squares { sum, freedom, images: [images, first, second] } = self.squares[over][scale];
        let variance = sum / freedom;
        let of_number = variance * (2.0 / freedom).sqrt();
        let scatter = ((second - first * first / images) / (images - 1.0)).max(0.0) / images;
        let of_scatter = if images >= FEWEST_PAIRS { scatter.sqrt() } else { 0.0 };
        (freedom >= FEWEST_MEANS).then(|| (variance, of_number.max(of_scatter)))
    }

    fn freedom(&self, over: usize, scale: usize) -> f64 {
        self.squares[over][scale].freedom
    }
}

/// A mean of frames without light, as a sum.
#[derive(Clone, Copy)]
pub(crate) struct MeanImage<'a> {
    /// Of the sum of the frames.
    pub(crate) of_sum: &'a ByScale,
    /// How many there are.
    pub(crate) frames: f64,
    /// Shot noise of one frame in DN².
    pub(crate) shot: f64,
}

/// What is known of a plane without light.
pub(crate) struct Lightless<'a> {
    /// Differences of pairs.
    pub(crate) pairs: &'a ByScale,
    /// Their mean.
    pub(crate) level: MeanImage<'a>,
    /// The longest darks, where there are some.
    pub(crate) darks: Option<MeanImage<'a>>,
}

/// What a mean image has of patterns, and of noise that its frames left.
struct Split {
    pattern: f64,
    noise: f64,
}

impl Lightless<'_> {
    /// A difference has the noise of two frames.
    fn random(&self, over: usize, scale: usize) -> Option<Known> {
        self.pairs.variance(over, scale).map(|(value, sigma)| (value / 2.0, sigma / 2.0))
    }

    fn split(&self, image: MeanImage<'_>, over: usize, scale: usize) -> Option<Split> {
        let (spatial, _) = image.of_sum.variance(over, scale)?;
        let (random, _) = self.random(over, scale)?;
        let pixels = if over == 0 { SIDES[scale].pow(2) } else { SIDES[scale] } as f64;
        let noise = (random + image.shot / pixels) / image.frames;
        Some(Split { pattern: spatial / (image.frames * image.frames) - noise, noise })
    }

    fn level(&self, over: usize, scale: usize) -> Option<Known> {
        let Split { pattern, noise } = self.split(self.level, over, scale)?;
        let (_, of_random) = self.random(over, scale)?;
        let sigma = (pattern.max(0.0) + noise) * (2.0 / self.level.of_sum.freedom(over, scale)).sqrt();
        Some((pattern, sigma.hypot(of_random / self.level.frames)))
    }

    /// The darks' pattern without that of the levels, which both means have alike.
    ///
    /// ```text
    /// Var = (2/F) (T² + τ_d² + τ_b² + 2 L (T + τ_d + τ_b) + 2 T τ_d)
    /// ```
    ///
    /// `T` the dark current's pattern, `L` the levels', `τ` the noise left in each mean, `F` free means: the levels' own scatter
    /// drops out of the difference, its products with the rest do not.
    fn thermal(&self, darks: MeanImage<'_>, over: usize, scale: usize) -> Option<Known> {
        let dark = self.split(darks, over, scale)?;
        let level = self.split(self.level, over, scale)?;
        let (_, of_random) = self.random(over, scale)?;
        let value = dark.pattern - level.pattern;
        let (t, l) = (value.max(0.0), level.pattern.max(0.0));
        let (d, b) = (dark.noise, level.noise);
        let squares = t * t + d * d + b * b + 2.0 * l * (t + d + b) + 2.0 * t * d;
        let freedom = darks.of_sum.freedom(over, scale).min(self.level.of_sum.freedom(over, scale));
        let of_noise = of_random * (1.0 / darks.frames - 1.0 / self.level.frames);
        Some((value, (2.0 * squares / freedom).sqrt().hypot(of_noise)))
    }

    /// The tables of one plane; `gain` in e⁻/DN. A pattern that does not stand out has none.
    pub(crate) fn tables(&self, plane: PlaneName, gain: f64) -> Vec<NoiseByScale> {
        let of_part = |part: NoisePart, known: &dyn Fn(usize, usize) -> Option<Known>| {
            let is_seen = part == NoisePart::Random
                || known(0, 0).is_some_and(|(variance, sigma)| variance > SEEN_SIGMAS * sigma);
            if is_seen { table_of(plane, part, gain * gain, known) } else { Vec::new() }
        };
        let mut all = of_part(NoisePart::Random, &|over, scale| self.random(over, scale));
        if let Some(darks) = self.darks {
            all.extend(of_part(NoisePart::Fixed, &|over, scale| self.thermal(darks, over, scale)));
        }
        all.extend(of_part(NoisePart::Level, &|over, scale| self.level(over, scale)));
        all
    }
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

/// The middle of an image, at most so many rows and columns.
pub(crate) fn middle<T>(image: ArrayView2<'_, T>, most: usize) -> ArrayView2<'_, T> {
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
        let none = ByScale::default();
        let level = MeanImage { of_sum: &none, frames: 12.0, shot: 0.0 };
        Lightless { pairs: &found, level, darks: None }.tables(PlaneName::Mono, 0.5)
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
        let mut sums = [(); 2].map(|()| Array2::<u32>::zeros((256, 256)));
        // Columns that differ are of the levels: in the biases and in the darks alike.
        for (kind, sum) in sums.iter_mut().enumerate() {
            for _ in 0..4 {
                let frames = [(); 2].map(|()| {
                    let noise = frame(&mut seed, 0.0);
                    let level = |(row, column): (usize, usize)| {
                        let own = pattern[[row, column]] + (row * column) as f64 / 400.0;
                        f64::from(noise[[row, column]]) + kind as f64 * own + 8.0 * (column % 2) as f64
                    };
                    Array2::from_shape_fn((256, 256), |at| level(at).round() as u16)
                });
                if kind == 0 {
                    pairs.add_pair([frames[0].view(), frames[1].view()]);
                }
                frames.iter().for_each(|frame| sum.zip_mut_with(frame, |sum, &value| *sum += u32::from(value)));
            }
        }
        let of_sums = sums.map(|sum| ByScale::from_image(sum.view(), |_| false));
        let [level, darks] = of_sums.each_ref().map(|of_sum| MeanImage { of_sum, frames: 8.0, shot: 0.0 });
        let tables = Lightless { pairs: &pairs, level, darks: Some(darks) }.tables(PlaneName::Mono, 1.0);
        let level = tables.iter().find(|table| table.part == NoisePart::Level).unwrap();
        assert!(holds(level, 0, 16.0) && level.variance_e2[1].abs() < 0.3, "{level:?}");
        let square = tables.iter().find(|table| table.part == NoisePart::Fixed).unwrap();
        for (scale, side) in square.pixels.iter().enumerate().take(4) {
            assert!(holds(square, scale, 36.0 / f64::from(side.pow(2))), "{side} {square:?}");
        }
    }
}
