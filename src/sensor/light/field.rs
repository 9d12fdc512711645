//! The stars of a whole field, found without a catalogue.

use ndarray::{Axis, Slice};

use crate::sensor::light::star::{Image, Star};
use crate::sensor::row_blocks;

/// Side of the squares whose own level and spread a star must stand out of, and the stride in which they are looked at.
const SQUARE: usize = 32;
const STRIDE: usize = 3;
/// A star's brightest pixel stands so many sigmas above the sky.
const FOUND_SIGMAS: f64 = 6.0;
/// The four pixels beside it stand out in the mean by so many sigmas and by this share of it: a hot pixel is alone.
const BESIDE: (f64, f64) = (1.5, 0.08);
/// No more than this many of the brightest are measured.
const MOST_STARS: usize = 120;
/// A width outside of this is no star's, in pixels of the plane.
const WIDTHS: (f64, f64) = (0.7, 20.0);
/// The aperture's radius in the median width of the frame's stars: it holds nine tenths of a star's light, the same share
/// in every frame, however wide its stars are; and its least, in pixels of the plane.
const APERTURE: (f64, f64) = (1.5, 2.5);
/// A star with less light over its noise than this says little.
const LEAST_SNR: f64 = 8.0;
/// Two places nearer than this are one star.
const ONE_STAR_PX: f64 = 3.0;

/// A star, in pixels and counts of the plane.
pub(super) struct Found {
    pub(super) centre: (f64, f64),
    pub(super) counts: f64,
    pub(super) fwhm: f64,
    pub(super) peak: f64,
}

/// The brightest stars of a plane, measured, and how many stand out of the sky in all.
///
/// A star is a pixel six sigmas above its square, above its eight neighbours, with light beside it. Its light is that in an
/// aperture of one and a half widths, the ring's level taken off: for comparing frames, not for a zero point. `gain` is in
/// electrons per count.
pub(super) fn field_stars<D: Copy + Into<f64> + Sync>(image: &Image<'_, D>, gain: f64) -> (Vec<Found>, usize) {
    let mut peaks = peaks(image);
    peaks.sort_by(|a, b| b.height.total_cmp(&a.height));
    let count = peaks.len();
    let mut stars: Vec<(Star, f64)> = Vec::new();
    for peak in peaks.iter().take(2 * MOST_STARS) {
        if stars.len() == MOST_STARS {
            break;
        }
        let at = (peak.row as f64, peak.column as f64);
        let Some(star) = image.star_near(at, 1.0) else { continue };
        let apart = |centre: (f64, f64)| (centre.0 - star.centre.0).hypot(centre.1 - star.centre.1);
        if apart(at) > ONE_STAR_PX || stars.iter().any(|(other, _)| apart(other.centre) < ONE_STAR_PX) {
            continue;
        }
        if let Some(width) = star.bell.filter(|width| (WIDTHS.0..=WIDTHS.1).contains(width)) {
            stars.push((star, width));
        }
    }
    let radius = (APERTURE.0 * middle_width(&stars)).max(APERTURE.1);
    let measured = |(star, fwhm): &(Star, f64)| {
        let (counts, pixels) = image.counts_within(star.centre, radius, star.sky)?;
        let electrons = counts * gain;
        let ring_variance = (star.ring_sigma * gain).powi(2);
        let variance = electrons.max(0.0) + pixels * (1.0 + pixels / star.ring_pixels) * ring_variance;
        let found = Found { centre: star.centre, counts, fwhm: *fwhm, peak: star.peak };
        (electrons > LEAST_SNR * variance.sqrt()).then_some(found)
    };
    let mut found: Vec<Found> = stars.iter().filter_map(measured).collect();
    found.sort_by(|a, b| b.counts.total_cmp(&a.counts));
    (found, count)
}

fn middle_width(stars: &[(Star, f64)]) -> f64 {
    let mut widths: Vec<f64> = stars.iter().map(|(_, width)| *width).collect();
    widths.sort_by(f64::total_cmp);
    widths.get(widths.len() / 2).copied().unwrap_or(0.0)
}

struct Peak {
    row: usize,
    column: usize,
    height: f64,
}

fn peaks<D: Copy + Into<f64> + Sync>(image: &Image<'_, D>) -> Vec<Peak> {
    let rows = image.light.nrows();
    let squares = (0..rows).step_by(SQUARE).collect();
    row_blocks::each(squares, |top| peaks_of_squares(image, top)).into_iter().flatten().collect()
}

/// The peaks in the row of squares that begins at a row of pixels.
fn peaks_of_squares<D: Copy + Into<f64>>(image: &Image<'_, D>, top: usize) -> Vec<Peak> {
    let (rows, columns) = image.light.dim();
    let mut peaks = Vec::new();
    let mut values = Vec::new();
    for left in (0..columns).step_by(SQUARE) {
        let (bottom, right) = ((top + SQUARE).min(rows), (left + SQUARE).min(columns));
        values.clear();
        for row in (top..bottom).step_by(STRIDE) {
            values.extend((left..right).step_by(STRIDE).filter_map(|column| value(image, row, column)));
        }
        values.sort_unstable_by(f64::total_cmp);
        let share = |share: f64| values.get((values.len() as f64 * share) as usize).copied().unwrap_or(0.0);
        let level = share(0.5);
        // Stars are above the median: the spread is that below it.
        let sigma = (level - share(0.1587)).max(0.5);
        let least = level + FOUND_SIGMAS * sigma;
        let inner = Slice::from(left.max(1)..right.min(columns.saturating_sub(1)));
        if left.max(1) >= right.min(columns.saturating_sub(1)) {
            continue;
        }
        for row in top.max(1)..bottom.min(rows.saturating_sub(1)) {
            let (light, dark) = (image.light.row(row), image.dark.row(row));
            let pixels = light.slice_axis(Axis(0), inner).into_iter().zip(dark.slice_axis(Axis(0), inner));
            for (column, (light, dark)) in pixels.enumerate() {
                // Most pixels are sky.
                if f64::from(*light) - (*dark).into() < least {
                    continue;
                }
                let column = column + left.max(1);
                if let Some(height) = peak_at(image, row, column, level, sigma) {
                    peaks.push(Peak { row, column, height });
                }
            }
        }
    }
    peaks
}

fn value<D: Copy + Into<f64>>(image: &Image<'_, D>, row: usize, column: usize) -> Option<f64> {
    image.at(i64::try_from(row).ok()?, i64::try_from(column).ok()?)
}

/// How far a star's brightest pixel stands above the level; `None` where there is no such pixel.
fn peak_at<D: Copy + Into<f64>>(
    image: &Image<'_, D>,
    row: usize,
    column: usize,
    level: f64,
    sigma: f64,
) -> Option<f64> {
    let own = value(image, row, column)?;
    let height = own - level;
    if height < FOUND_SIGMAS * sigma {
        return None;
    }
    let mut beside = 0.0;
    for (r, c) in (row - 1..=row + 1).flat_map(|r| (column - 1..=column + 1).map(move |c| (r, c))) {
        let other = value(image, r, c)?;
        // Of two equal ones the first is the star.
        let later = (r, c) > (row, column);
        if other > own || (other == own && (r, c) != (row, column) && !later) {
            return None;
        }
        if (r == row) != (c == column) {
            beside += (other - level) / 4.0;
        }
    }
    (beside > (BESIDE.0 * sigma).max(BESIDE.1 * height)).then_some(height)
}
