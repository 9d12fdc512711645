//! Noise with a shape: what is left of it when pixels are averaged, and when the sensor moves under the sky.
//!
//! Read noise that whole rows share, and a pattern with blobs, do not fall with the number of pixels. A camera profile
//! holds how they fall ([`NoiseByScale`]); here the few simplest noises that fall so are found: single pixels, lines one
//! or several pixels wide, blobs of several sizes. Of each the mean over a patch, and over a patch that dithers move
//! about, is known in closed form.
//!
//! ```text
//! V(patch) = Σ w_c X_c(a) Y_c(a)       V(patch, dithered far) = Σ w_c X_c(a, A) Y_c(a, A)
//! ```
//!
//! `a` side of the patch, `A` of the square of dithers; along each axis a part is of independent pixels, of one value, or
//! falls off as a Gaussian ([`Along`]).
//!
//! # Source
//! Derived here; held against patterns made pixel by pixel in `tests/plan/stack_proof`.

use std::sync::LazyLock;

use crate::camera::{AveragedOver, NoiseByScale};
use crate::stats::erf;

use super::Patch;

/// How one part of a noise goes along one axis.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Along {
    /// Every pixel for itself.
    Single,
    /// All pixels alike.
    Whole,
    /// Covariance exp(−d²/2ℓ²) of points d apart; ℓ in pixels of the plane.
    Gauss(f64),
}

/// The parts that a noise is made of: how they go along a row, and along a column. Lengths lie so close that two of them
/// make any other to 5 %.
const PARTS: [(Along, Along); 22] = [
    (Along::Single, Along::Single),
    (Along::Whole, Along::Single),
    (Along::Single, Along::Whole),
    (Along::Whole, Along::Gauss(2.0)),
    (Along::Whole, Along::Gauss(8.0)),
    (Along::Whole, Along::Gauss(32.0)),
    (Along::Gauss(2.0), Along::Whole),
    (Along::Gauss(8.0), Along::Whole),
    (Along::Gauss(32.0), Along::Whole),
    blobs(1.0),
    blobs(1.414),
    blobs(2.0),
    blobs(2.828),
    blobs(4.0),
    blobs(5.657),
    blobs(8.0),
    blobs(11.314),
    blobs(16.0),
    blobs(22.627),
    blobs(32.0),
    blobs(45.255),
    blobs(64.0),
];

const fn blobs(length: f64) -> (Along, Along) {
    (Along::Gauss(length), Along::Gauss(length))
}

/// Sides of the squares over which tables have means.
const SIDES: [u32; 7] = [1, 2, 4, 8, 16, 32, 64];
static USUAL_MEANS: LazyLock<[(u32, Means); SIDES.len()]> =
    LazyLock::new(|| SIDES.map(|pixels| (pixels, Means::new(pixels))));

/// A part more must make the table fit better by this much χ²: no chance of the table's errors does.
const NOTICED: f64 = 25.0;
/// No table shows more parts than this.
const MOST_PARTS: usize = 5;
/// Rounds in which the weights of the fit follow its own values.
const ROUNDS: usize = 3;

/// What a plane's noise is made of, each part as a share of one pixel's variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseShape {
    shares: [f64; PARTS.len()],
}

/// What a shape makes of a patch: the variance of its mean times its pixels, over the variance of one pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InPatch {
    /// In one place of the sensor: 1 for independent pixels.
    pub once: f64,
    /// Of places without number in the square of dithers, which [overlap](super::Stack::overlap).
    pub floor: f64,
}

impl Default for NoiseShape {
    fn default() -> Self {
        Self::WHITE
    }
}

impl NoiseShape {
    /// Independent pixels.
    pub const WHITE: Self = {
        let mut shares = [0.0; PARTS.len()];
        shares[0] = 1.0;
        Self { shares }
    };

    /// The fewest parts that fall as the tables of one plane and one noise say; independent pixels where nothing else stands
    /// out.
    #[must_use]
    pub fn from_tables<'a>(tables: impl IntoIterator<Item = &'a NoiseByScale>) -> Self {
        let data = Datum::all(tables);
        if data.len() < 3 {
            return Self::WHITE;
        }
        let mut taken = vec![0];
        let Some((mut best, mut shares)) = fit(&data, &taken) else { return Self::WHITE };
        // No part can make χ² less than 0.
        while taken.len() < MOST_PARTS && best > NOTICED {
            let more = (1..PARTS.len()).filter(|part| !taken.contains(part)).filter_map(|part| {
                let with: Vec<usize> = taken.iter().copied().chain([part]).collect();
                fit(&data, &with).map(|(chi2, shares)| (chi2, shares, part))
            });
            match more.min_by(|a, b| a.0.total_cmp(&b.0)) {
                Some((chi2, found, part)) if chi2 < best - NOTICED => {
                    taken.push(part);
                    (best, shares) = (chi2, found);
                }
                _ => break,
            }
        }
        let sum: f64 = shares.iter().sum();
        if sum > 0.0 { Self { shares: shares.map(|share| share / sum) } } else { Self::WHITE }
    }

    /// Independent pixels, and rows that share this part of the variance.
    #[must_use]
    pub fn of_rows(share: f64) -> Self {
        let share = share.clamp(0.0, 1.0);
        let mut shares = [0.0; PARTS.len()];
        (shares[0], shares[1]) = (1.0 - share, share);
        Self { shares }
    }

    /// Whether its pixels are independent.
    #[must_use]
    pub fn is_white(&self) -> bool {
        self.shares[0] >= 1.0
    }

    /// What it makes of a patch that dithers move about in a square of `box_px` pixels of the sensor.
    #[must_use]
    pub fn in_patch(&self, patch: &Patch, box_px: f64) -> InPatch {
        let overlap = patch.overlap(box_px);
        if self.is_white() {
            return InPatch { once: 1.0, floor: overlap };
        }
        let axis = Axis::new(patch, box_px, overlap.sqrt());
        let mut sum = InPatch { once: 0.0, floor: 0.0 };
        for (share, (x, y)) in self.shares.iter().zip(PARTS).filter(|(share, _)| **share > 0.0) {
            let (once, floor) = if (x, y) == PARTS[0] {
                (1.0, overlap)
            } else {
                let [x, y] = [x, y].map(|along| axis.of(along));
                (patch.pixels * x.0 * y.0, patch.pixels * x.1 * y.1)
            };
            sum.once += share * once;
            sum.floor += share * floor;
        }
        sum
    }
}

/// A patch along one axis of the sensor.
struct Axis {
    /// Its side, in pixels of the plane.
    side: f64,
    /// The dithers' side, in pixels of the plane.
    dithered: f64,
    /// Lines of the plane's colour in it.
    lines: f64,
    /// What two places of single lines have in common.
    overlap: f64,
}

impl Axis {
    fn new(patch: &Patch, box_px: f64, overlap: f64) -> Self {
        // A colour array's plane has every other pixel; the two greens together have every line.
        let sampling = patch.pixels / patch.side_px.powi(2);
        let pitch = if sampling > 0.75 { 1.0 } else { 2.0 };
        let lines = if sampling > 0.375 { patch.side_px } else { patch.side_px / 2.0 };
        let side = (patch.side_px / pitch).max(1.0);
        Self { side, dithered: (box_px / pitch).max(1.0), lines: lines.max(1.0), overlap }
    }

    /// Variance of the mean over the patch, and of that over all dithers, where one pixel's is 1.
    fn of(&self, along: Along) -> (f64, f64) {
        match along {
            Along::Single => (1.0 / self.lines, self.overlap / self.lines),
            Along::Whole => (1.0, 1.0),
            Along::Gauss(length) => {
                (mean_variance(self.side, length), moved_variance(self.side, self.dithered, length))
            }
        }
    }
}

/// Variance of the mean over `side` pixels in a line whose covariance is exp(−d²/2ℓ²).
///
/// ```text
/// (ℓ/ℓ') 2 (F₂(a) − F₂(0))/a²,   F₂″ = exp(−x²/2ℓ'²),   ℓ'² = ℓ² − 2/12
/// ```
///
/// A mean over pixels smooths less than one over the stretch between their edges, by a box of one pixel; ℓ' makes up for it.
fn mean_variance(side: f64, length: f64) -> f64 {
    let (narrower, height) = in_steps(length, 2.0);
    let second = |x: f64| {
        let (k, integral) = gauss(x, narrower);
        x * integral + narrower * narrower * k
    };
    height * 2.0 * (second(side) - second(0.0)) / (side * side)
}

/// Variance of the mean over `side` pixels at all places of `dithered`.
///
/// ```text
/// (ℓ/ℓ') 2 (F₄(a + A) + F₄(|a − A|) − 2F₄(a) − 2F₄(A) + 2F₄(0))/(a A)²,   F₄⁗ = exp(−x²/2ℓ'²),   ℓ'² = ℓ² − 4/12
/// ```
fn moved_variance(side: f64, dithered: f64, length: f64) -> f64 {
    let (narrower, height) = in_steps(length, 4.0);
    let own = narrower * narrower;
    let fourth = |x: f64| {
        let (k, integral) = gauss(x, narrower);
        (x * x * x / 6.0 + own * x / 2.0) * integral + own * (x * x / 6.0 + own / 3.0) * k
    };
    let sum = fourth(side + dithered) + fourth((side - dithered).abs()) - 2.0 * (fourth(side) + fourth(dithered))
        + 2.0 * fourth(0.0);
    height * 2.0 * sum / (side * dithered).powi(2)
}

/// The length ℓ' and the height ℓ/ℓ' with which so many boxes one pixel wide smooth to a Gaussian of length ℓ and height 1.
fn in_steps(length: f64, boxes: f64) -> (f64, f64) {
    let narrower = (length * length - boxes / 12.0).sqrt();
    (narrower, length / narrower)
}

/// exp(−x²/2ℓ²) and its integral from 0.
fn gauss(x: f64, length: f64) -> (f64, f64) {
    let scaled = x / (length * std::f64::consts::SQRT_2);
    ((-scaled * scaled).exp(), length * std::f64::consts::FRAC_PI_2.sqrt() * erf(scaled))
}

/// One entry of a table.
struct Datum {
    /// The variance over that of one pixel.
    ratio: f64,
    /// Its relative uncertainty.
    relative: f64,
    /// What each part would have.
    parts: [f64; PARTS.len()],
}

impl Datum {
    fn all<'a>(tables: impl IntoIterator<Item = &'a NoiseByScale>) -> Vec<Self> {
        let (one, mut data) = (Means::of(1), Vec::new());
        for table in tables {
            let Some(of_one) = table.variance_e2.first().copied().filter(|variance| *variance > 0.0) else { continue };
            let entries = table.pixels.iter().zip(&table.variance_e2).zip(&table.uncertainty_e2);
            for ((&pixels, &variance), &uncertainty) in entries {
                // What one pixel is stands in all three tables and counts once.
                if pixels == 1 && table.over != AveragedOver::Square {
                    continue;
                }
                let side = Means::of(pixels);
                let (wide, high) = match table.over {
                    AveragedOver::Square => (&side, &side),
                    AveragedOver::Row => (&side, &one),
                    AveragedOver::Column => (&one, &side),
                };
                let ratio = variance / of_one;
                // A variance below nothing is known to what its uncertainty says.
                let relative = uncertainty / variance.max(uncertainty);
                if uncertainty > 0.0 {
                    let parts = std::array::from_fn(|part| wide.along_rows[part] * high.along_columns[part]);
                    data.push(Self { ratio, relative, parts });
                }
            }
        }
        data
    }
}

/// What each part's variance is of the mean over so many pixels, along each axis.
#[derive(Clone, Copy)]
struct Means {
    along_rows: [f64; PARTS.len()],
    along_columns: [f64; PARTS.len()],
}

impl Means {
    fn of(pixels: u32) -> Self {
        let known = USUAL_MEANS.iter().find(|(side, _)| *side == pixels);
        known.map_or_else(|| Self::new(pixels), |(_, means)| *means)
    }

    fn new(pixels: u32) -> Self {
        let side = f64::from(pixels);
        Self { along_rows: PARTS.map(|(x, _)| of_mean(x, side)), along_columns: PARTS.map(|(_, y)| of_mean(y, side)) }
    }
}

/// Variance of the mean over so many pixels where one pixel's is 1.
fn of_mean(along: Along, pixels: f64) -> f64 {
    match along {
        Along::Single => 1.0 / pixels,
        Along::Whole => 1.0,
        Along::Gauss(length) => mean_variance(pixels, length),
    }
}

/// χ² and the shares, none below 0, of the parts that are taken; `None` where the parts cannot be told apart.
fn fit(data: &[Datum], taken: &[usize]) -> Option<(f64, [f64; PARTS.len()])> {
    let mut shares = [0.0; PARTS.len()];
    let mut sigmas: Vec<f64> = data.iter().map(|datum| datum.relative * datum.ratio.abs()).collect();
    let floor = data.iter().map(|datum| datum.ratio.abs() * datum.relative).fold(f64::MAX, f64::min) * 1e-3;
    for _ in 0..ROUNDS {
        shares = solve(data, taken, &sigmas)?;
        // The uncertainty of a variance goes with the variance itself: that of the fit, not that of chance.
        sigmas = data.iter().map(|datum| (datum.relative * value(datum, &shares)).max(floor)).collect();
    }
    let chi2 = data.iter().zip(&sigmas).map(|(datum, sigma)| ((datum.ratio - value(datum, &shares)) / sigma).powi(2));
    Some((chi2.sum(), shares))
}

fn value(datum: &Datum, shares: &[f64; PARTS.len()]) -> f64 {
    datum.parts.iter().zip(shares).map(|(part, share)| part * share).sum()
}

/// Weighted least squares over the parts; one that comes out below 0 is left out.
fn solve(data: &[Datum], taken: &[usize], sigmas: &[f64]) -> Option<[f64; PARTS.len()]> {
    let mut left = taken.to_vec();
    let sum = |of: &dyn Fn(&Datum) -> f64| {
        data.iter().zip(sigmas).map(|(datum, sigma)| of(datum) / (sigma * sigma)).sum::<f64>()
    };
    loop {
        let normal = nalgebra::DMatrix::from_fn(left.len(), left.len(), |i, j| {
            sum(&|datum| datum.parts[left[i]] * datum.parts[left[j]])
        });
        let right = nalgebra::DVector::from_fn(left.len(), |i, _| sum(&|datum| datum.parts[left[i]] * datum.ratio));
        let solution = normal.cholesky()?.solve(&right);
        let lowest = (0..left.len()).min_by(|a, b| solution[*a].total_cmp(&solution[*b]))?;
        if solution[lowest] >= 0.0 || left.len() == 1 {
            let mut shares = [0.0; PARTS.len()];
            left.iter().zip(solution.iter()).for_each(|(part, share)| shares[*part] = share.max(0.0));
            return Some(shares);
        }
        left.remove(lowest);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::{NoisePart, PlaneName};

    /// Side of the patch and of the dithers' square in pixels, ℓ.
    const SUMMED: [(usize, usize, f64); 6] =
        [(6, 1, 2.0), (6, 12, 2.0), (20, 24, 8.0), (3, 48, 8.0), (40, 12, 32.0), (8, 96, 32.0)];

    /// The same by adding up, one axis.
    fn summed(side: usize, places: usize, length: f64) -> f64 {
        let mut sum = 0.0;
        for first in 0..places {
            for second in 0..places {
                for i in 0..side {
                    for j in 0..side {
                        let apart = (first + i) as f64 - (second + j) as f64;
                        sum += (-apart * apart / (2.0 * length * length)).exp();
                    }
                }
            }
        }
        sum / (side * places).pow(2) as f64
    }

    #[test]
    fn blobs_average_as_their_pixels_added_up_do() {
        for (side, places, length) in SUMMED {
            let found = if places == 1 {
                mean_variance(side as f64, length)
            } else {
                moved_variance(side as f64, places as f64, length)
            };
            approx::assert_relative_eq!(found, summed(side, places, length), max_relative = 1e-3);
        }
    }

    fn tables(variance: impl Fn(f64, f64) -> f64) -> Vec<NoiseByScale> {
        let table = |over: AveragedOver| {
            let pixels = [1_u32, 2, 4, 8, 16, 32, 64];
            let of_side = |side: u32| match over {
                AveragedOver::Square => variance(f64::from(side), f64::from(side)),
                AveragedOver::Row => variance(f64::from(side), 1.0),
                AveragedOver::Column => variance(1.0, f64::from(side)),
            };
            let variance_e2: Vec<f64> = pixels.map(of_side).to_vec();
            let uncertainty_e2 = variance_e2.iter().map(|value| 0.01 * value).collect();
            NoiseByScale {
                plane: PlaneName::Mono,
                part: NoisePart::Random,
                over,
                pixels: pixels.to_vec(),
                variance_e2,
                uncertainty_e2,
            }
        };
        [AveragedOver::Square, AveragedOver::Row, AveragedOver::Column].map(table).to_vec()
    }

    #[test]
    fn the_parts_of_a_noise_are_found_in_its_tables() {
        let white = NoiseShape::from_tables(&tables(|x, y| 4.0 / (x * y)));
        assert!(white.is_white(), "{white:?}");
        assert!(NoiseShape::from_tables(&[]).is_white());
        // 4 e⁻² of pixels, 0.09 of rows: over 40 × 40 pixels 4/1600 + 0.09/40.
        let rows = NoiseShape::from_tables(&tables(|x, y| 4.0 / (x * y) + 0.09 / y));
        let patch = Patch::new(1600.0, 1.0).with_shapes([rows, NoiseShape::WHITE, NoiseShape::WHITE]);
        let once = rows.in_patch(&patch, 12.0).once;
        approx::assert_relative_eq!(once, (4.0 / 1600.0 + 0.09 / 40.0) * 1600.0 / 4.09, max_relative = 1e-6);
        approx::assert_relative_eq!(
            NoiseShape::of_rows(0.09 / 4.09).in_patch(&patch, 12.0).once,
            once,
            max_relative = 1e-6
        );
    }

    #[test]
    fn a_length_between_those_of_the_parts_is_made_of_its_neighbours() {
        for length in [2.8, 5.6, 10.0, 24.0] {
            let shape = NoiseShape::from_tables(&tables(|x, y| mean_variance(x, length) * mean_variance(y, length)));
            for side in [1.0, 6.0, 22.0, 50.0] {
                let patch = Patch::new(side * side, 1.0);
                for box_px in [12.0, 48.0, 96.0] {
                    let found = shape.in_patch(&patch, box_px);
                    let once = side * side * mean_variance(side, length).powi(2);
                    let floor = side * side * moved_variance(side, box_px, length).powi(2);
                    approx::assert_relative_eq!(found.once, once, max_relative = 0.05);
                    approx::assert_relative_eq!(found.floor, floor, max_relative = 0.05);
                }
            }
        }
    }
}
