//! Amplifier glow: parts of the frame that are brighter in darks than the rest.
//!
//! Median tiles of the longest darks less those of the bias frames: a tile glows from 1.5 times the median tile,
//! a tenth of the variance and five sigmas on.

use ndarray::{Array2, ArrayView2, Axis, Slice};

use crate::caveat::Caveat;
use crate::stats::Estimate;
use crate::units::{ElectronsPerDn, ElectronsPerSecond, Seconds};

use crate::sensor::{exact, row_blocks};

/// Side of a tile in pixels; half of it on planes with fewer than `WIDE` pixels a side.
const TILE: usize = 64;
const WIDE: usize = 512;
/// Fewer tiles a side have no middle.
const FEWEST_TILES: usize = 3;
/// Values further apart than this are sorted, not counted.
const WIDEST_COUNTED: u32 = 1 << 16;
/// A glowing tile has at least this many times the median tile's rate …
const TIMES_MEDIAN: f64 = 1.5;
/// … adds at least this share to the variance of a pixel in the longest dark …
const SHARE_OF_NOISE: f64 = 0.1;
/// … and stands out by this many of its uncertainties.
const SIGMAS: f64 = 5.0;

/// Median levels of tiles, in DN, with the standard uncertainty of each.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Tiles {
    medians: Array2<f64>,
    sigmas: Array2<f64>,
}

impl Tiles {
    /// The tiles of the sum of so many frames; `None` when there are fewer than three a side. Medians: hot pixels do not
    /// count.
    pub(crate) fn new(sums: ArrayView2<'_, u32>, frames: u32) -> Option<Self> {
        let (rows, columns) = sums.dim();
        let side = if rows.min(columns) < WIDE { TILE / 2 } else { TILE };
        let (down, across) = (rows / side, columns / side);
        if down.min(across) < FEWEST_TILES {
            return None;
        }
        let part = |place: usize, tiles: usize, whole: usize| place * whole / tiles..(place + 1) * whole / tiles;
        let of_row = |i: usize| {
            let row = row_blocks::cut(sums, part(i, down, rows));
            let mut counts = Vec::new();
            let of_tile = |j: usize| {
                let mut tile = row;
                tile.slice_axis_inplace(Axis(1), Slice::from(part(j, across, columns)));
                let [low, middle, high] = quartiles(&runs(tile, &mut counts)).map(|sum| sum / f64::from(frames));
                // Of a median: 1.2533 σ/√n for a normal distribution; the interquartile range is 1.349 σ.
                (middle, 1.2533 * (high - low).max(f64::EPSILON) / 1.349 / (tile.len() as f64).sqrt())
            };
            (0..across).map(of_tile).collect::<Vec<(f64, f64)>>()
        };
        let tiles = row_blocks::each((0..down).collect(), of_row).concat();
        let array = |values: Vec<f64>| Array2::from_shape_vec((down, across), values).ok();
        let (medians, sigmas) = tiles.into_iter().unzip();
        Some(Self { medians: array(medians)?, sigmas: array(sigmas)? })
    }
}

/// The different values of a tile, rising, and how many pixels have each; `counts` is room to count in.
fn runs(tile: ArrayView2<'_, u32>, counts: &mut Vec<u32>) -> Vec<(f64, f64)> {
    let of_rows = tile.rows().into_iter().filter_map(|row| exact::extremes(row.to_slice()?));
    let (low, high) = of_rows.fold((u32::MAX, 0), |(low, high), row| (low.min(row.0), high.max(row.1)));
    if high - low < WIDEST_COUNTED {
        counts.clear();
        counts.resize((high - low) as usize + 1, 0);
        for row in tile.rows() {
            row.iter().for_each(|sum| counts[(sum - low) as usize] += 1);
        }
        let occupied = (low..).zip(counts.iter()).filter(|(_, count)| **count > 0);
        return occupied.map(|(sum, count)| (f64::from(sum), f64::from(*count))).collect();
    }
    let mut sums: Vec<u32> = tile.iter().copied().collect();
    sums.sort_unstable();
    sums.chunk_by(|a, b| a == b).map(|run| (f64::from(run[0]), run.len() as f64)).collect()
}

/// The quartiles of rising values with their counts, interpolated inside a value that occurs several times as if it were
/// spread evenly over the gap to its neighbours: means of few frames have few values.
fn quartiles(runs: &[(f64, f64)]) -> [f64; 3] {
    let total: f64 = runs.iter().map(|(_, count)| count).sum();
    [0.25, 0.5, 0.75].map(|share| {
        // The value of that rank, counted from 0.
        let (wanted, rank) = (share * total, (share * total).floor());
        let (mut below, mut place) = (0.0, 0);
        while place + 1 < runs.len() && below + runs[place].1 <= rank {
            below += runs[place].1;
            place += 1;
        }
        let (value, count) = runs[place];
        let down = if place > 0 { value - runs[place - 1].0 } else { 0.0 };
        let up = runs.get(place + 1).map_or(0.0, |next| next.0 - value);
        value - down / 2.0 + (wanted - below) / count * (down + up) / 2.0
    })
}

/// Places that are no edge.
const CENTRE: &str = "centre";
const CORNERS: &str = "corners";

/// What glows, and where.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Glow {
    /// Rate of the brightest tile beyond the median tile.
    pub excess: Estimate<ElectronsPerSecond>,
    /// The median tile's rate in e⁻/s.
    rate: f64,
    /// Where in the frame as it is stored.
    pub place: String,
    exposure: Seconds,
}

/// The brightest tile of the longest darks, if it glows: it has 1.5 times the rate of the median
/// tile, adds a tenth to the variance of its pixels, and stands out by five sigmas.
///
/// `dark` are the levels of their mean, `bias` those without time, `read_variance` in DN².
pub(crate) fn glow(
    dark: &Tiles,
    exposure: Seconds,
    bias: &Tiles,
    gain: &Estimate<ElectronsPerDn>,
    read_variance: f64,
) -> Option<Glow> {
    if dark.medians.dim() != bias.medians.dim() {
        return None;
    }
    let risen = &dark.medians - &bias.medians;
    let mut sorted: Vec<f64> = risen.iter().copied().collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let of_equal: Vec<(f64, f64)> = sorted.chunk_by(|a, b| a == b).map(|run| (run[0], run.len() as f64)).collect();
    let [_, middle, _] = quartiles(&of_equal);
    let (place, &brightest) = risen.indexed_iter().max_by(|(_, a), (_, b)| a.total_cmp(b))?;
    let excess = brightest - middle;
    let sigma = dark.sigmas[place].hypot(bias.sigmas[place]);
    // In DN: shot noise of a level is level / gain.
    let noise = read_variance + middle.max(0.0) / gain.value.0;
    let is_glow =
        brightest > TIMES_MEDIAN * middle && excess / gain.value.0 > SHARE_OF_NOISE * noise && excess > SIGMAS * sigma;
    is_glow.then(|| Glow {
        excess: Estimate::<f64>::new(excess / exposure.0, sigma / exposure.0).times(gain),
        rate: middle.max(0.0) * gain.value.0 / exposure.0,
        place: if has_glowing_corners(&risen, middle, excess) {
            CORNERS.into()
        } else {
            place_name(place, risen.dim())
        },
        exposure,
    })
}

/// How much the darks rise from one side of the frame to the other beyond what the bias frames do, in DN, with its standard
/// uncertainty: the range of the plane that fits their tiles, from the tiles' scatter about it.
pub(crate) fn gradient(dark: &Tiles, bias: &Tiles) -> Option<(f64, f64)> {
    if dark.medians.dim() != bias.medians.dim() {
        return None;
    }
    let risen = &dark.medians - &bias.medians;
    let (down, across) = risen.dim();
    let middle = risen.mean()?;
    let place = |at: usize, tiles: usize| (at as f64 - (tiles as f64 - 1.0) / 2.0) / (tiles as f64 - 1.0);
    let (mut yy, mut xx, mut yr, mut xr) = (0.0, 0.0, 0.0, 0.0);
    for ((i, j), level) in risen.indexed_iter() {
        let (y, x) = (place(i, down), place(j, across));
        (yy, xx) = (yy + y * y, xx + x * x);
        (yr, xr) = (yr + y * (level - middle), xr + x * (level - middle));
    }
    let (by_row, by_column) = (yr / yy, xr / xx);
    let left: f64 = risen
        .indexed_iter()
        .map(|((i, j), level)| (level - middle - by_row * place(i, down) - by_column * place(j, across)).powi(2))
        .sum();
    let variance = left / (risen.len() as f64 - 3.0);
    let sigma = (variance / yy + variance / xx).sqrt();
    Some((by_row.abs() + by_column.abs(), sigma))
}

/// Whether three corners or more glow at least half as much as the brightest tile.
fn has_glowing_corners(risen: &Array2<f64>, middle: f64, excess: f64) -> bool {
    let (bottom, right) = (risen.nrows() - 1, risen.ncols() - 1);
    let glows = |place: &(usize, usize)| risen[*place] - middle > 0.5 * excess;
    [(0, 0), (0, right), (bottom, 0), (bottom, right)].iter().filter(|place| glows(place)).count() >= 3
}

fn place_name((i, j): (usize, usize), (down, across): (usize, usize)) -> String {
    let vertical = ["top", "", "bottom"][3 * i / down];
    let horizontal = ["left", "", "right"][3 * j / across];
    let place = format!("{vertical} {horizontal}").trim().to_owned();
    if place.is_empty() { CENTRE.into() } else { place }
}

impl Glow {
    pub(crate) fn caveat(&self) -> Caveat {
        let times = (self.rate > 0.0).then(|| (self.rate + self.excess.value.0) / self.rate);
        let compared = times.map_or_else(String::new, |times| format!(", {times:.1} times the median part's rate"));
        let decimals = (1 - self.excess.value.0.abs().log10().floor() as i32).clamp(0, 9) as usize;
        let place = match self.place.as_str() {
            CENTRE => "in the centre, as a warm spot or light through a hole does",
            CORNERS => "in the corners",
            place => place,
        };
        Caveat::new(
            "amplifier-glow",
            format!(
                "darks of {} s glow {place}: {:.decimals$} e-/s more than in the median part{compared}",
                self.exposure.0, self.excess.value.0
            ),
            "keep targets away from there, and take darks of the lights' own exposure: glow does not scale",
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_have_the_names_of_the_page() {
        let names = [(0, 0), (0, 5), (4, 8), (8, 8)].map(|place| place_name(place, (9, 9)));
        assert_eq!(names, ["top left", "top", "right", "bottom right"]);
        assert_eq!(place_name((4, 4), (9, 9)), "centre");
    }

    /// Darks of 9 × 9 tiles on bias frames of 100 DN, 10 DN brighter, and more where something glows.
    fn glowing(more: impl Fn(usize, usize) -> f64) -> Option<String> {
        let tiles = |level: &dyn Fn(usize, usize) -> f64| Tiles {
            medians: Array2::from_shape_fn((9, 9), |(i, j)| level(i, j)),
            sigmas: Array2::from_elem((9, 9), 0.05),
        };
        let (dark, bias) = (tiles(&|i, j| 110.0 + more(i, j)), tiles(&|_, _| 100.0));
        glow(&dark, Seconds(300.0), &bias, &Estimate::new(1.0, 0.01), 9.0).map(|glow| glow.place)
    }

    #[test]
    fn glow_is_found_wherever_it_is() {
        let near = |i: usize, j: usize, at: (f64, f64)| {
            20.0 * (-((i as f64 - at.0).powi(2) + (j as f64 - at.1).powi(2)) / 3.0).exp()
        };
        assert_eq!(glowing(|_, _| 0.0), None);
        assert_eq!(glowing(|i, j| near(i, j, (4.0, 4.0))).as_deref(), Some("centre"));
        assert_eq!(glowing(|i, j| near(i, j, (0.0, 8.0))).as_deref(), Some("top right"));
        let corners = |i, j| [(0.0, 0.0), (0.0, 8.0), (8.0, 0.0), (8.0, 8.0)].iter().map(|at| near(i, j, *at)).sum();
        assert_eq!(glowing(corners).as_deref(), Some("corners"));
    }

    #[test]
    fn ties_are_spread_over_their_gap() {
        assert_eq!(quartiles(&[(1.0, 1.0), (2.0, 2.0), (3.0, 1.0)])[1], 2.0);
        approx::assert_relative_eq!(quartiles(&[(1.0, 1.0), (2.0, 4.0), (3.0, 3.0)])[1], 2.25);
    }

    #[test]
    fn a_tile_with_a_hot_pixel_is_sorted_to_the_same_runs() {
        let mut tile = Array2::from_shape_fn((8, 8), |(row, column)| 100 + (row * column % 5) as u32);
        let mut counts = Vec::new();
        let counted = runs(tile.view(), &mut counts);
        tile[(0, 0)] += WIDEST_COUNTED;
        let sorted = runs(tile.view(), &mut counts);
        assert_eq!(counted[0].1, sorted[0].1 + 1.0);
        assert_eq!(counted[1..], sorted[1..sorted.len() - 1]);
        assert_eq!(sorted.last(), Some(&(f64::from(100 + WIDEST_COUNTED), 1.0)));
    }
}
