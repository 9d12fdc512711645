//! The same stars in two lights: how much of their light arrived, and how far the field moved.

use std::collections::BTreeMap;

use crate::camera::{FieldStar, MeasuredLight};
use crate::stats::{Estimate, median};

/// The brightest stars of each light by which the field is found again.
const GUIDES: usize = 40;
/// Side of the bins in which the pairs' distances are counted, and how near a star must lie to its place, in pixels.
const BIN_PX: f64 = 6.0;
const NEAR_PX: f64 = 4.0;
/// The field is the same when this share of the guides, and this many at least, are found again.
const FOUND_AGAIN: (f64, usize) = (0.25, 4);
/// With less than this share of the stars a light is not of another field, but behind a cloud.
const FEW_STARS: f64 = 0.35;
/// Standard deviation of a median over that of a mean, and of a normal law over its median deviation (tables of the
/// normal law).
const MEDIAN_COST: f64 = 1.2533;
const SIGMAS_PER_DEVIATION: f64 = 1.4826;

/// What a light shows of the stars of another one.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Found {
    /// The same field: light over light, and how far the field moved to the right and down (`None` when turned round).
    Same { light: Estimate<f64>, moved: Option<[f64; 2]> },
    /// Hardly a star is left: at most this share of the light arrived.
    Hidden { at_most: f64 },
    /// Other stars.
    Other,
}

/// The light with most stars to measure; `None` without stars enough in any.
pub(super) fn reference<'a>(lights: &[&'a MeasuredLight]) -> Option<&'a MeasuredLight> {
    let best = lights.iter().max_by_key(|light| light.stars.iter().filter(|star| star.straight).count())?;
    (best.stars.len() >= FOUND_AGAIN.1).then_some(*best)
}

/// What `light` shows of the stars of `reference`.
///
/// The shift is that which most pairs of bright stars agree on, the field upright or turned round, as a mount turns it
/// in the meridian; the light is the median of the stars' ratios.
pub(super) fn found(reference: &MeasuredLight, light: &MeasuredLight) -> Found {
    let guides = reference.stars.len().min(light.stars.len()).min(GUIDES);
    let wanted = FOUND_AGAIN.1.max((FOUND_AGAIN.0 * guides as f64).ceil() as usize);
    let best = [1.0, -1.0]
        .into_iter()
        .filter_map(|sign| Some((sign, shift(&reference.stars, &light.stars, sign)?)))
        .map(|(sign, shift)| (sign, shift, ratios(&reference.stars, &light.stars, sign, shift)))
        .max_by_key(|(_, _, ratios)| ratios.len());
    match best {
        Some((sign, shift, ratios)) if ratios.len() >= wanted => {
            Found::Same { light: median_ratio(ratios), moved: (sign > 0.0).then_some(shift) }
        }
        _ if (light.stars.len() as f64) < FEW_STARS * reference.stars.len() as f64 => {
            // As many stars are seen as the reference has above the limit: their light came down to it.
            let limit = reference.stars.last().map_or(0.0, |star| star.e_per_s.0);
            let faintest = reference.stars.get(light.stars.len()).map_or(f64::MAX, |star| star.e_per_s.0);
            Found::Hidden { at_most: (limit / faintest).min(1.0) }
        }
        _ => Found::Other,
    }
}

fn place(star: &FieldStar, sign: f64) -> [f64; 2] {
    [sign * star.x_px, sign * star.y_px]
}

/// The shift that most pairs of guides agree on.
fn shift(reference: &[FieldStar], light: &[FieldStar], sign: f64) -> Option<[f64; 2]> {
    let mut bins: BTreeMap<(i64, i64), Vec<[f64; 2]>> = BTreeMap::new();
    for a in reference.iter().take(GUIDES) {
        let [ax, ay] = place(a, sign);
        for b in light.iter().take(GUIDES) {
            let apart = [b.x_px - ax, b.y_px - ay];
            let bin = apart.map(|px| (px / BIN_PX).floor() as i64);
            bins.entry((bin[0], bin[1])).or_default().push(apart);
        }
    }
    let around = |(x, y): (i64, i64)| {
        let near = (x - 1..=x + 1).flat_map(move |x| (y - 1..=y + 1).map(move |y| (x, y)));
        near.filter_map(|bin| bins.get(&bin)).flatten().copied().collect::<Vec<_>>()
    };
    // A shift on the edge of a bin is spread over its neighbours: the fullest three by three.
    let best = bins.keys().copied().max_by_key(|bin| around(*bin).len())?;
    let pairs = around(best);
    // In the midst of the pairs of that place lie the true ones; the others are strewn.
    let nearest = |centre: &&[f64; 2]| {
        pairs.iter().filter(|other| (other[0] - centre[0]).hypot(other[1] - centre[1]) < NEAR_PX / 2.0).count()
    };
    let centre = pairs.iter().max_by_key(nearest)?;
    let close: Vec<&[f64; 2]> =
        pairs.iter().filter(|other| (other[0] - centre[0]).hypot(other[1] - centre[1]) < NEAR_PX / 2.0).collect();
    let mean = |axis: usize| close.iter().map(|pair| pair[axis]).sum::<f64>() / close.len() as f64;
    Some([mean(0), mean(1)])
}

/// Light over light of the stars that are found again and still answer straight.
fn ratios(reference: &[FieldStar], light: &[FieldStar], sign: f64, shift: [f64; 2]) -> Vec<f64> {
    let again = |star: &FieldStar| {
        let [x, y] = place(star, sign);
        let apart = |other: &FieldStar| (other.x_px - x - shift[0]).hypot(other.y_px - y - shift[1]);
        let nearest = light.iter().min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
        let sound = apart(nearest) < NEAR_PX && nearest.straight && star.straight && star.e_per_s.0 > 0.0;
        sound.then(|| nearest.e_per_s.0 / star.e_per_s.0)
    };
    reference.iter().filter_map(again).filter(|ratio| *ratio > 0.0).collect()
}

fn median_ratio(ratios: Vec<f64>) -> Estimate<f64> {
    let count = ratios.len() as f64;
    let middle = median(ratios.iter().copied()).unwrap_or(1.0);
    let deviation = median(ratios.iter().map(|ratio| (ratio - middle).abs())).unwrap_or(0.0);
    Estimate::new(middle, MEDIAN_COST * SIGMAS_PER_DEVIATION * deviation / count.sqrt())
}

/// How much values in the order of time differ by chance: from each one's distance to the middle of its two neighbours, so
/// that no steady course counts, however long.
pub(super) fn scatter(values: &[f64]) -> f64 {
    let bends = values.windows(3).map(|three| (three[1] - (three[0] + three[2]) / 2.0).abs());
    SIGMAS_PER_DEVIATION * median(bends).unwrap_or(0.0) / 1.5_f64.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_course_is_no_scatter() {
        let ramp: Vec<f64> = (0..40).map(|i| 0.1 * f64::from(i)).collect();
        assert!(scatter(&ramp) < 1e-12);
        assert_eq!((scatter(&[]), scatter(&[1.0, 2.0])), (0.0, 0.0));
        // A see-saw of ± 1: every bend is 2.
        let saw: Vec<f64> = (0..40).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 }).collect();
        approx::assert_relative_eq!(scatter(&saw), 1.4826 * 2.0 / 1.5_f64.sqrt(), max_relative = 1e-12);
    }
}
