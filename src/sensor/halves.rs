//! Does one half of the frame change against the other while flats are taken?

use ndarray::ArrayView2;

use crate::caveat::Caveat;
use crate::stats::{Moments, polynomial_fit};

use super::row_blocks;
use super::stack::plane_mean;

/// At most this many rows in the middle, and columns, are looked at.
const ROWS: usize = 256;
/// Fewer pairs show no course.
const FEWEST: usize = 5;
/// From this share on a change matters …
const LEAST: f64 = 0.01;
/// … if a line over the time leaves less than this part of its square.
const LEFT: f64 = 0.15;

/// Levels of one half of the frame over those of the other, flat by flat.
#[derive(Debug, Clone, Default)]
pub(super) struct Halves {
    /// When the pair was taken, as its header says, with the logarithm of right over left, and of bottom over top.
    pairs: Vec<(Option<String>, [f64; 2])>,
}

impl Halves {
    /// Takes a flat of level `offset` without light.
    pub(super) fn take(&mut self, taken: Option<&str>, plane: ArrayView2<'_, u16>, offset: f64) {
        let (rows, columns) = plane.dim();
        let top = (rows - rows.min(ROWS)) / 2;
        let middle = row_blocks::cut(plane, top..top + rows.min(ROWS));
        let (left, right) = middle.split_at(ndarray::Axis(1), columns / 2);
        let (above, below) = middle.split_at(ndarray::Axis(0), middle.nrows() / 2);
        let over = |part: ArrayView2<'_, u16>, other: ArrayView2<'_, u16>| {
            ((plane_mean(&part) - offset) / (plane_mean(&other) - offset)).ln()
        };
        let both = [over(right, left), over(below, above)];
        if both.iter().all(|ratio| ratio.is_finite()) {
            self.pairs.push((taken.map(str::to_owned), both));
        }
    }

    /// By how much one half grew against the other from the first flat to the last, in the course of time, and which; `None`
    /// where it did not, or not steadily.
    pub(super) fn change(&self) -> Option<(f64, &'static str)> {
        if self.pairs.len() < FEWEST {
            return None;
        }
        let mut pairs: Vec<&(Option<String>, [f64; 2])> = self.pairs.iter().collect();
        if pairs.iter().all(|(taken, _)| taken.is_some()) {
            pairs.sort_by(|a, b| a.0.cmp(&b.0));
        }
        let places: Vec<f64> = (0..pairs.len()).map(|place| place as f64).collect();
        let of = |axis: usize| {
            let ratios: Vec<f64> = pairs.iter().map(|(_, both)| both[axis]).collect();
            let line = polynomial_fit(&places, &ratios, &vec![1.0; ratios.len()], 1)?;
            let all: Moments = ratios.iter().copied().collect();
            let scatter = all.variance()? * (ratios.len() as f64 - 1.0);
            let change = line.coefficients[1] * (ratios.len() as f64 - 1.0);
            (change.abs() > LEAST && line.chi2 < LEFT * scatter).then_some(change)
        };
        let sides = [("right", "left"), ("lower", "upper")];
        let (change, axis) = [0, 1]
            .into_iter()
            .filter_map(|axis| Some((of(axis)?, axis)))
            .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
        Some((change.abs(), if change > 0.0 { sides[axis].0 } else { sides[axis].1 }))
    }
}

/// The doubt about flats whose one half grew by `change` against the other.
pub(super) fn caveat(change: f64, half: &str) -> Caveat {
    Caveat::new(
        "halves-differ",
        format!(
            "while the flats were taken the {half} half of the frame grew {:.1} % brighter against the other: the light moved, or \
             the gain of a half drifts; a quarter of that is in the gain's uncertainty",
            100.0 * change
        ),
        "take flats of steady light after the camera has settled; if it is said again, the gain is not one for the whole frame",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::Array2;

    fn course(change: impl Fn(usize) -> f64) -> Option<(f64, &'static str)> {
        let mut halves = Halves::default();
        for number in 0..8 {
            let right = 10_100.0 * (1.0 + change(number));
            let frame = Array2::from_shape_fn((20, 20), |(_, column)| if column < 10 { 10_100 } else { right as u16 });
            halves.take(Some(&format!("2024-03-09T00:0{number}:00")), frame.view(), 100.0);
        }
        halves.change()
    }

    #[test]
    fn a_half_that_drifts_is_seen_and_light_that_jumps_is_not() {
        let (change, half) = course(|number| -0.004 * number as f64).unwrap();
        assert!((change - 0.028).abs() < 0.001 && half == "left", "{change} {half}");
        assert_eq!(course(|number| 0.001 * number as f64), None);
        assert_eq!(course(|number| 0.03 * (number % 3) as f64), None);
    }
}
