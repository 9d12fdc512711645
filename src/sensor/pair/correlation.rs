//! Do neighbouring pixels share their noise? Then the variance of one pixel is too small, and the gain too large.
//!
//! The covariance of a flat pair's difference with its twelve neighbours, the dark pairs' taken off, over the variance
//! of the light, is fitted as a line over the level; its value at no signal divides the gain where it exceeds the
//! gain's uncertainty. What grows with the level is charge that moves (the brighter-fatter effect) and leaves the gain
//! alone.

use std::ops::Range;

use ndarray::{Array2, ArrayView2, Axis, Slice};

use crate::caveat::Caveat;
use crate::stats::{Estimate, polynomial_fit};
use crate::units::ElectronsPerDn;

use crate::sensor::PairStatistics;
use crate::sensor::pair::sound::LeftOut;
use crate::sensor::row_blocks;
use crate::sensor::simd;
use crate::sensor::stack::plane_mean;

/// At most this many rows and columns in the middle are looked at.
const SIDE: usize = 1024;
/// Pixels within two steps along rows and columns: what a kernel of four neighbours can couple.
const LAGS: [(isize, isize); 12] =
    [(0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1), (0, 2), (0, -2), (2, 0), (-2, 0)];
/// The rest of the five by five about a pixel: a filter, not charge, reaches there.
const CORNERS: [(isize, isize); 12] =
    [(1, 2), (1, -2), (-1, 2), (-1, -2), (2, 1), (2, -1), (-2, 1), (-2, -1), (2, 2), (2, -2), (-2, 2), (-2, -2)];
/// They are asked where the twelve share this part of the noise.
const SPREAD_WIDELY: f64 = 0.3;
/// Pixels this far apart share nothing but a lamp's drift or rows.
const FAR: [(isize, isize); 4] = [(0, 7), (7, 0), (5, 5), (5, -5)];
/// Variance of the sum of the twelve covariances, each of which is counted twice, over `σ⁴/n`; and with twelve times the mean of the
/// four far ones taken off.
const OF_NEAR: f64 = 24.0;
const OF_NEAR_AND_FAR: f64 = OF_NEAR + (LAGS.len() * LAGS.len() / FAR.len()) as f64;
/// With less of the difference left nothing is said.
const LEAST_KEPT: f64 = 0.1;
/// Correlation is said when the pooled sum over the lags exceeds this many of its sigmas …
const NOTICED_SIGMAS: f64 = 4.0;
/// … and its part that is there at small signal this many …
const AT_ZERO_SIGMAS: f64 = 2.0;
/// … moves the gain by more than this share and by more than the gain's own uncertainty.
const LEAST_EFFECT: f64 = 0.002;

/// The noise of a pair, alone and with its neighbours.
#[derive(Debug, Clone, Copy)]
struct Coupled {
    /// Mean level in DN.
    level: f64,
    /// Variance of the difference in DN².
    variance: f64,
    /// Covariances of the difference with those of the neighbours, summed, in DN².
    neighbours: f64,
    /// The same of as many pixels that are far apart, and whether these share as much as near ones.
    far: f64,
    shared_by_all: bool,
    /// Pixels that went into it.
    count: f64,
    /// Variance in DN⁴ of a frame's variance from waves, which neighbours share.
    waves: f64,
}

/// Neighbour covariances of the pairs of one plane, without and with light.
#[derive(Debug, Clone, Default)]
pub(crate) struct Correlation {
    zero: Vec<Coupled>,
    lit: Vec<Coupled>,
}

/// What the neighbours do to the gain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Coupling {
    /// Noise of a pixel with its neighbours over that of the pixel alone, less 1, at small signal.
    pub(crate) excess: f64,
    /// Its standard uncertainty.
    pub(crate) sigma: f64,
}

impl Correlation {
    /// Takes a pair of whole frames; `cell` is the plane's place in the 2 × 2 cell, `region` the part to use;
    /// differences beyond the event limit are none, and blocks that are `left_out` do not count.
    pub(crate) fn pair(
        &mut self,
        lit: bool,
        [first, second]: [&Array2<u16>; 2],
        place: ([usize; 4], Option<(usize, usize)>),
        of_pair: &PairStatistics,
        left_out: Option<&LeftOut>,
    ) {
        let offset = self.offset();
        let (level, waves) = ((of_pair.mean().0, of_pair.event_limit), of_pair.of_waves());
        let coupled = coupled([first, second], place, offset.filter(|_| lit), level, left_out);
        let coupled = coupled.map(|coupled| Coupled { waves, ..coupled });
        if lit { self.lit.extend(coupled) } else { self.zero.extend(coupled) }
    }

    fn offset(&self) -> Option<f64> {
        let count = self.zero.len() as f64;
        (count > 0.0).then(|| self.zero.iter().map(|pair| pair.level).sum::<f64>() / count)
    }

    /// The excess of the sum over a pixel and its neighbours over the pixel's own variance, light's part alone.
    ///
    /// ```text
    /// ε(μ) = (Σ C_flat − Σ C_dark) / (σ²_flat − σ²_dark),    Var ε = (24 (σ⁴_flat/n + σ⁴_dark/n₀) + 4 · 12² w) / (σ²_flat − σ²_dark)²
    /// ```
    ///
    /// Where far pixels share as much as near ones, as in a field that flickers, a pair of flats tells nothing. Where the pairs without
    /// light do, waves are in all frames: then of near pixels that counts which far ones do not share, and the 24 above are 60.
    ///
    /// Waves over the frames, whose part of a frame's variance has the variance `w`, are shared by all twelve.
    ///
    /// `C` are the covariances of the difference of two frames with the twelve neighbours within two steps: no charge
    /// is lost between them, so the sum is the shot noise. A line over the level μ is fitted: what grows with the level
    /// (brighter-fatter) bends the curve and is in its quadratic, what is there at no signal changes the gain by
    /// `1/(1 + ε)`. `None` without three levels.
    ///
    /// # Source
    /// Sum over neighbour covariances: Astier et al. 2019, A&A 629 A36 (charge conserved; from memory); the rest
    /// derived here.
    pub(crate) fn coupling(&self, gain: &Estimate<ElectronsPerDn>) -> Option<Coupling> {
        let (coupling, noticed) = self.measured()?;
        let there = coupling.excess.abs() > AT_ZERO_SIGMAS * coupling.sigma && coupling.excess > -0.5;
        let matters = coupling.excess.abs() > gain.relative().max(LEAST_EFFECT);
        (noticed && there && matters).then_some(coupling)
    }

    /// The excess at no signal, and whether its mean over the levels stands out.
    pub(crate) fn measured(&self) -> Option<(Coupling, bool)> {
        let dark_count: f64 = self.zero.iter().map(|pair| pair.count).sum();
        let dark = |of: fn(&Coupled) -> f64| {
            if dark_count > 0.0 {
                self.zero.iter().map(|pair| pair.count * of(pair)).sum::<f64>() / dark_count
            } else {
                0.0
            }
        };
        let in_waves = self.zero.iter().any(|pair| pair.shared_by_all);
        let near: fn(&Coupled) -> f64 =
            if in_waves { |pair| pair.neighbours - pair.far } else { |pair| pair.neighbours };
        let times = if in_waves { OF_NEAR_AND_FAR } else { OF_NEAR };
        let (own, shared, offset) = (dark(|pair| pair.variance), dark(near), dark(|pair| pair.level));
        let of_dark = if dark_count > 0.0 { own * own / dark_count } else { 0.0 };
        let pairs = (self.zero.len() as f64).max(1.0);
        let waves = self.zero.iter().map(|pair| pair.waves).sum::<f64>() / pairs;
        let of_waves = 4.0 * (LAGS.len() * LAGS.len()) as f64 * waves * (1.0 + 1.0 / pairs);
        let (mut levels, mut excesses, mut weights) = (Vec::new(), Vec::new(), Vec::new());
        for pair in self.lit.iter().filter(|pair| in_waves || !pair.shared_by_all) {
            let light = pair.variance - own;
            if light > own.max(1e-9) {
                levels.push(pair.level - offset);
                excesses.push((near(pair) - shared) / light);
                let of_pixels = times * (pair.variance * pair.variance / pair.count + of_dark);
                weights.push(light * light / (of_pixels + of_waves));
            }
        }
        let constant = polynomial_fit(&levels, &excesses, &weights, 0)?;
        let line = polynomial_fit(&levels, &excesses, &weights, 1)?;
        if line.freedom == 0 {
            return None;
        }
        let inflation = (line.chi2 / line.freedom as f64).max(1.0).sqrt();
        let coupling = Coupling { excess: line.coefficients[0], sigma: line.sigma(0) * inflation };
        let noticed = constant.coefficients[0].abs() > NOTICED_SIGMAS * constant.sigma(0) * inflation;
        Some((coupling, noticed))
    }
}

impl Coupling {
    /// The gain with the neighbours' share of the noise counted, as uncertain as both.
    pub(crate) fn corrected(&self, gain: &Estimate<ElectronsPerDn>) -> Estimate<ElectronsPerDn> {
        let freed = Estimate::<f64>::new(1.0 / (1.0 + self.excess), self.sigma / (1.0 + self.excess).powi(2));
        let corrected = gain.times(&freed);
        // No charge is shared by less than nothing: what else sets neighbours off may be in the noise or not.
        if self.excess < 0.0 { corrected.reaching(1.0 + self.excess, 0.0) } else { corrected }
    }

    pub(crate) fn caveat(&self) -> Caveat {
        let (what, how) = match self.excess < 0.0 {
            true => ("are set off against each other, as by a sharpening filter or a frame that moved", "smaller"),
            false => ("share noise", "larger"),
        };
        Caveat::new(
            "neighbour-correlation",
            format!(
                "neighbouring pixels {what}: with the neighbours' part the shot noise is {:.1} ± {:.1} % {how}; \
                 the gain was taken from the sum{}",
                100.0 * self.excess.abs(),
                100.0 * self.sigma,
                if self.excess < 0.0 { ", and its interval reaches that without it" } else { "" }
            ),
            "nothing to do; check that the frames are raw, for a filter in the camera looks the same",
        )
    }
}

/// Every `stride`-th row and column of a part of a frame.
fn part<T>(frame: ArrayView2<'_, T>, rows: Range<usize>, columns: Range<usize>, stride: usize) -> ArrayView2<'_, T> {
    let mut view = frame;
    view.slice_axis_inplace(Axis(0), Slice::from(rows).step_by(stride as isize));
    view.slice_axis_inplace(Axis(1), Slice::from(columns).step_by(stride as isize));
    view
}

/// How many rows or columns lie before those in the middle; even steps keep the places of a colour array.
fn skipped(length: usize) -> usize {
    ((length - length.min(SIDE)) / 2) & !1
}

/// The difference of two frames in the middle of the region, each place of the cell scaled and centred.
fn difference(
    [first, second]: [&Array2<u16>; 2],
    region: [usize; 4],
    stride: usize,
    offset: Option<f64>,
    limit: f64,
) -> Array2<f32> {
    let [left, top, width, height] = region;
    let middle = |start: usize, length: usize| (start + skipped(length), start + skipped(length) + length.min(SIDE));
    let ((top, bottom), (left, right)) = (middle(top, height), middle(left, width));
    let (a, b) = (part(first.view(), top..bottom, left..right, 1), part(second.view(), top..bottom, left..right, 1));
    let mut difference = Array2::zeros(a.dim());
    for (row, column) in (0..stride * stride).map(|place| (place / stride, place % stride)) {
        let place = |frame| part(frame, row..bottom - top, column..right - left, stride);
        let (a, b) = (place(a), place(b));
        let (mean_a, mean_b) = (plane_mean(&a), plane_mean(&b));
        let ratio = offset.map_or(1.0, |offset| (mean_a - offset) / (mean_b - offset));
        let ratio = if (0.5..2.0).contains(&ratio) { ratio } else { 1.0 };
        let centre = (mean_a - ratio * mean_b) as f32;
        let mut places = difference.view_mut();
        places.slice_axis_inplace(Axis(0), Slice::from(row..).step_by(stride as isize));
        places.slice_axis_inplace(Axis(1), Slice::from(column..).step_by(stride as isize));
        ndarray::Zip::from(places).and(a).and(b).for_each(|d: &mut f32, &a, &b| {
            let value = f32::from(a) - ratio as f32 * f32::from(b) - centre;
            *d = if f64::from(value.abs()) > limit { 0.0 } else { value };
        });
    }
    difference
}

/// Sets the difference to nothing in the blocks that are left out; the share of it that is left.
fn without(d: &mut Array2<f32>, left_out: &LeftOut, [_, _, width, height]: [usize; 4], stride: usize) -> f64 {
    let [top, left] = [height, width].map(skipped);
    let mut gone = 0.0;
    for ((row, column), value) in d.indexed_iter_mut() {
        if left_out.has((top + row) / stride, (left + column) / stride) {
            *value = 0.0;
            gone += 1.0;
        }
    }
    1.0 - gone / d.len().max(1) as f64
}

/// Variance and neighbour covariances of a pair; `None` where too little of it is left.
fn coupled(
    pair: [&Array2<u16>; 2],
    (region, cell): ([usize; 4], Option<(usize, usize)>),
    offset: Option<f64>,
    (level, limit): (f64, f64),
    left_out: Option<&LeftOut>,
) -> Option<Coupled> {
    const MARGIN: usize = 8;
    let stride = if cell.is_some() { 2 } else { 1 };
    let mut d = difference(pair, region, stride, offset, limit);
    let kept = left_out.map_or(1.0, |left_out| without(&mut d, left_out, region, stride));
    if kept < LEAST_KEPT {
        return None;
    }
    let (rows, columns) = d.dim();
    if rows < 3 * MARGIN || columns < 3 * MARGIN {
        return None;
    }
    let (row, column) = cell.unwrap_or((0, 0));
    let base = part(d.view(), MARGIN + row..rows - MARGIN, MARGIN + column..columns - MARGIN, stride);
    let count = base.len() as f64 * kept;
    let product = |(down, right): (isize, isize)| {
        let from = |start: usize, by: isize| start.saturating_add_signed(by);
        let (top, left) = (from(MARGIN + row, down), from(MARGIN + column, right));
        let (bottom, end) = (from(rows - MARGIN, down), from(columns - MARGIN, right));
        let other = part(d.view(), top..bottom, left..end, stride);
        let sum = base.rows().into_iter().zip(other.rows()).map(|(a, b)| match (a.to_slice(), b.to_slice()) {
            (Some(a), Some(b)) => simd::dot(a, b),
            _ => f64::from(a.iter().zip(b).map(|(a, b)| a * b).sum::<f32>()),
        });
        sum.sum::<f64>() / count
    };
    let products = row_blocks::each([&[(0, 0)], &LAGS[..], &FAR[..]].concat(), product);
    let (variance, near, far) = (products[0], &products[1..=LAGS.len()], &products[1 + LAGS.len()..]);
    let far = far.iter().sum::<f64>() / FAR.len() as f64;
    let (mut neighbours, nearest) = (near.iter().sum::<f64>(), near[..4].iter().sum::<f64>() / 4.0);
    let mut lags = LAGS.len();
    if neighbours > SPREAD_WIDELY * variance {
        lags += CORNERS.len();
        neighbours += row_blocks::each(CORNERS.to_vec(), product).iter().sum::<f64>();
    }
    let shared_by_all =
        far > NOTICED_SIGMAS * variance / (FAR.len() as f64 * count).sqrt() && far > 0.25 * nearest.abs();
    let far = lags as f64 * far;
    (variance > 0.0).then_some(Coupled { level, variance, neighbours, far, shared_by_all, count, waves: 0.0 })
}
