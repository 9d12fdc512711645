//! Has the camera filtered the pixels before it stored them?

use ndarray::{Array2, ArrayView2, Axis, Slice, Zip};

use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::units::Seconds;

use super::without_lines;

/// At most this many rows and columns in the middle are looked at.
const SIDE: usize = 1024;
/// Peaks rarer than pits by this many sigmas …
const SCORE: f64 = -5.0;
/// … and by this factor.
const RATIO: f64 = 0.8;
/// Where ties leave fewer peaks and pits than this share, the noise is near one step and its place between two steps
/// favours one side by itself: then peaks must nearly be gone, of those that the codes allow.
const FEW_EXTREMES: f64 = 0.12;
const RATIO_OF_FEW_CODES: f64 = 0.3;
/// Noise that neighbours share to this part has been smoothed …
const SMOOTHED: f64 = 0.25;
/// … if pixels so far apart share less than this part of that: a wave over the frame has its crest among these.
const FURTHER: usize = 7;
const FURTHEST: usize = 16;
const LOCAL: f64 = 0.5;
/// Smoothed pixels share less with the second than with the first neighbour, or nearly everything with it; a blotch on
/// noise of their own is shared alike by both.
const FALLS: f64 = 0.8;

/// Pixels strictly above or below all eight neighbours.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Extremes {
    peaks: f64,
    pits: f64,
    pixels: f64,
    /// Peaks over pits of as many independent pixels with these codes.
    of_codes: f64,
}

impl Extremes {
    fn new(plane: ArrayView2<'_, u16>) -> Self {
        let (mut peaks, mut pits) = (0_u64, 0_u64);
        let mut codes = vec![0_u64; 1 << 16];
        let middle = |length: usize| Slice::from((length - length.min(SIDE)) / 2..(length + length.min(SIDE)) / 2);
        let middle = plane.slice_each_axis(|axis| middle(axis.len));
        // Row by row in one piece: threes of neighbours then go side by side.
        let (pixels, columns) = (middle.as_standard_layout(), middle.ncols());
        let rows: Vec<&[u16]> = pixels.as_slice().unwrap_or_default().chunks(columns).collect();
        for rows in rows.windows(3) {
            for ((above, own), below) in rows[0].windows(3).zip(rows[1].windows(3)).zip(rows[2].windows(3)) {
                let around = [above[0], above[1], above[2], own[0], own[2], below[0], below[1], below[2]];
                let (highest, lowest) =
                    around.into_iter().fold((u16::MIN, u16::MAX), |(high, low), code| (high.max(code), low.min(code)));
                peaks += u64::from(own[1] > highest);
                pits += u64::from(own[1] < lowest);
            }
            rows[1][1..columns - 1].iter().for_each(|own| codes[usize::from(*own)] += 1);
        }
        let pixels: u64 = codes.iter().sum();
        let (mut below, mut of_peaks, mut of_pits) = (0.0, 0.0, 0.0);
        for share in codes.iter().filter(|count| **count > 0).map(|count| *count as f64 / pixels as f64) {
            of_peaks += share * f64::powi(below, 8);
            below += share;
            of_pits += share * f64::powi(1.0 - below, 8);
        }
        let of_codes = if of_pits > 0.0 { of_peaks / of_pits } else { 1.0 };
        Self { peaks: peaks as f64, pits: pits as f64, pixels: pixels as f64, of_codes }
    }

    /// Whether peaks are missing.
    ///
    /// ```text
    /// z = (f_peaks − f_pits) / √((f_peaks + f_pits) / n) < −5    and    f_peaks / f_pits < 0.8 q,
    /// q = Σ p_c F(c − 1)⁸ / Σ p_c (1 − F(c))⁸, at most 1
    /// ```
    ///
    /// Noise of any symmetric kind has as many peaks as pits, 1/9 of the pixels for a continuous one; hot pixels and
    /// few electrons make more peaks, never fewer. Of a few codes, of which a share `p_c` of the pixels have the code `c` and `F(c)`
    /// it or less, one side has fewer by itself: `q` is what independent pixels show. Derived here.
    fn peaks_are_missing(&self) -> bool {
        let both = self.peaks + self.pits;
        let ratio = if both < FEW_EXTREMES * self.pixels { RATIO_OF_FEW_CODES } else { RATIO };
        both > 0.0
            && (self.peaks - self.pits) / both.sqrt() < SCORE
            && self.peaks < ratio * self.of_codes.min(1.0) * self.pits
    }
}

/// What was found in the dark frames of one plane; only the first finding is kept.
#[derive(Debug, Clone, Default)]
pub(crate) struct Filtered {
    found: Option<String>,
    /// Whether it is long darks alone that were filtered.
    of_darks: bool,
    /// Whether no pixel stands above its neighbours: hot ones do not count in the dark current.
    pub(crate) cuts_peaks: bool,
    /// What pixels one and two columns apart share of the noise, where that is smoothed along rows.
    along_rows: Option<[f64; 2]>,
    /// Whether neighbours share the noise, in any direction.
    pub(crate) is_smoothed: bool,
}

impl Filtered {
    /// Looks at the first dark frame of a stack.
    pub(crate) fn look(&mut self, kind: FrameKind, exposure: Seconds, plane: ArrayView2<'_, u16>) {
        if self.found.is_some() || plane.nrows() < 8 || plane.ncols() < 8 {
            return;
        }
        let extremes = Extremes::new(plane);
        if extremes.peaks_are_missing() {
            self.of_darks = kind == FrameKind::Dark;
            self.cuts_peaks = true;
            let share = |count: f64| 100.0 * count / extremes.pixels;
            self.found = Some(format!(
                "in the {kind} frames of {} s {:.1} % of the pixels are above all their neighbours and {:.1} % below: \
                 the camera cuts peaks off",
                exposure.0,
                share(extremes.peaks),
                share(extremes.pits)
            ));
        }
    }

    /// Looks at a pair: smoothed noise is shared by neighbours of the same colour, and by nobody further off. Differences
    /// beyond `limit` DN are no noise: a damaged block is not smoothed.
    pub(crate) fn pair(&mut self, kind: FrameKind, [first, second]: [ArrayView2<'_, u16>; 2], limit: f64) {
        let (rows, columns) = first.dim();
        if self.found.is_some() || rows.min(columns) < 2 * FURTHEST {
            return;
        }
        let middle = |length: usize| (length - length.min(SIDE)) / 2;
        let (top, left) = (middle(rows), middle(columns));
        let mut d = Array2::from_shape_fn((rows.min(SIDE), columns.min(SIDE)), |(row, column)| {
            let place = (top + row, left + column);
            f64::from(first[place]) - f64::from(second[place])
        });
        let within = |d: &&f64| d.abs() < limit;
        let mean = d.iter().filter(within).sum::<f64>() / d.iter().filter(within).count().max(1) as f64;
        d.mapv_inplace(|d| if d.abs() < limit { d - mean } else { 0.0 });
        // What whole rows or columns share is no smoothing of pixels.
        without_lines(&mut d);
        let own = d.iter().map(|d| d * d).sum::<f64>().max(1e-9) / d.len() as f64;
        let along = |axis: Axis| smoothed_along(&d, axis, own);
        let [rows, columns] = [along(Axis(1)), along(Axis(0))];
        let Some(shared) = rows.iter().chain(&columns).flatten().copied().reduce(f64::max) else { return };
        self.along_rows = rows;
        self.is_smoothed = true;
        let which = match (rows, columns) {
            (Some(_), Some(_)) => "a median, or colours made of neighbours",
            (Some(_), None) => "along the rows",
            _ => "along the columns",
        };
        self.found = Some(format!(
            "neighbouring pixels share {:.0} % of the noise of the {kind} frames: they were smoothed ({which})",
            100.0 * shared
        ));
    }

    /// The part of the noise's variance that is left about the means of `side` pixels of a row.
    ///
    /// ```text
    /// (1 − (1 + 2 Σ ρ_k (1 − k/n)) / n) / (1 − 1/n),    k = 1, 2
    /// ```
    ///
    /// 1 for independent pixels. Derived here.
    pub(crate) fn left_about_rows(&self, side: usize) -> f64 {
        let n = side as f64;
        let Some([first, second]) = self.along_rows else { return 1.0 };
        let of_mean = (1.0 + 2.0 * (first * (1.0 - 1.0 / n) + second * (1.0 - 2.0 / n))) / n;
        ((1.0 - of_mean) / (1.0 - 1.0 / n)).clamp(0.2, 1.0)
    }

    pub(crate) fn caveat(&self) -> Option<Caveat> {
        let found = self.found.as_ref()?;
        Some(Caveat::new(
            "filtered-raw",
            format!(
                "{found}; {} cannot be trusted",
                if self.of_darks { "the dark current" } else { "read noise, gain and dark current" }
            ),
            "switch off noise reduction and hot-pixel removal in the camera, or use shorter exposures that it leaves alone",
        ))
    }
}

/// The parts of the noise that pixels one and two steps apart along `axis` share, `own` being its variance; `None` where that is
/// little, or where pixels far apart share as much, as bands, stripes and columns make them.
fn smoothed_along(d: &Array2<f64>, axis: Axis, own: f64) -> Option<[f64; 2]> {
    let length = d.len_of(axis);
    let shared = |lag: usize| {
        let (mut a, mut b) = (d.view(), d.view());
        a.slice_axis_inplace(axis, Slice::from(..length - lag));
        b.slice_axis_inplace(axis, Slice::from(lag..));
        Zip::from(&a).and(&b).fold(0.0, |sum, a, b| sum + a * b) / a.len() as f64 / own
    };
    let both = [shared(1), shared(2)];
    let near = both[0].max(both[1]);
    let is_smooth = both[1] < FALLS * both[0] || both[0] > FALLS;
    if near < SMOOTHED || !is_smooth {
        return None;
    }
    let far = (FURTHER..=FURTHEST).map(|lag| shared(lag).abs()).fold(0.0, f64::max);
    (far < LOCAL * near).then_some(both)
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    /// Noise of `sigma` steps about a level between two steps; with `cut`, no pixel stands above all its neighbours.
    fn frame(sigma: f64, level: f64, cut: bool) -> Array2<u16> {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64((1000.0 * (sigma + level)) as u64);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let plane = Array2::from_shape_fn((160, 200), |_| (300.0 + level + sigma * normal()).round() as u16);
        let mut stored = plane.clone();
        for ((row, column), value) in stored.indexed_iter_mut().filter(|_| cut) {
            let around = |at: usize, most: usize| at.saturating_sub(1)..(at + 2).min(most);
            let of_row = |r: usize| around(column, 200).map(move |c| (r, c));
            let others = around(row, 160).flat_map(of_row).filter(|place| *place != (row, column));
            *value = (*value).min(others.map(|place| plane[place]).max().unwrap());
        }
        stored
    }

    /// Whatever the level's place between two steps: the noise of 0.3 step has two codes or three.
    #[test]
    fn few_codes_have_few_peaks_by_themselves_and_cut_ones_have_none() {
        for sigma in [0.2, 0.3, 0.4, 0.6, 1.0, 3.0] {
            for level in [-0.4, -0.25, -0.1, 0.0, 0.1, 0.25, 0.4] {
                let sound = Extremes::new(frame(sigma, level, false).view());
                assert!(!sound.peaks_are_missing(), "{sigma} {level}: {sound:?}");
                let cut = Extremes::new(frame(sigma, level, true).view());
                assert!(cut.peaks_are_missing() || sigma < 0.4, "{sigma} {level}: {cut:?}");
            }
        }
    }
}
