//! Has the camera filtered the pixels before it stored them?

use ndarray::ArrayView2;

use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::units::Seconds;

/// At most this many rows and columns in the middle are looked at.
const SIDE: usize = 1024;
/// Peaks rarer than pits by this many sigmas …
const SCORE: f64 = -5.0;
/// … and by this factor.
const RATIO: f64 = 0.8;
/// Where ties leave fewer peaks and pits than this share, the noise is near one step and its place between two steps
/// favours one side by itself: then peaks must nearly be gone.
const FEW_EXTREMES: f64 = 0.12;
const RATIO_OF_FEW_CODES: f64 = 0.3;
/// Noise that two neighbours along rows and along columns share to this part has been smoothed.
const SMOOTHED: f64 = 0.25;

/// Pixels strictly above or below all eight neighbours.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Extremes {
    peaks: f64,
    pits: f64,
    pixels: f64,
}

impl Extremes {
    fn new(plane: ArrayView2<'_, u16>) -> Self {
        let (mut peaks, mut pits, mut pixels) = (0_u64, 0_u64, 0_u64);
        let (rows, columns) = plane.dim();
        let middle = |length: usize| {
            let used = length.min(SIDE);
            ((length - used) / 2 + 1, (length + used) / 2 - 1)
        };
        let ((top, bottom), (left, right)) = (middle(rows), middle(columns));
        for row in top..bottom {
            for column in left..right {
                let own = plane[(row, column)];
                let (mut highest, mut lowest) = (u16::MIN, u16::MAX);
                for (r, c) in [(0, 0), (0, 1), (0, 2), (1, 0), (1, 2), (2, 0), (2, 1), (2, 2)] {
                    let other = plane[(row + r - 1, column + c - 1)];
                    highest = highest.max(other);
                    lowest = lowest.min(other);
                }
                peaks += u64::from(own > highest);
                pits += u64::from(own < lowest);
                pixels += 1;
            }
        }
        Self { peaks: peaks as f64, pits: pits as f64, pixels: pixels as f64 }
    }

    /// Whether peaks are missing.
    ///
    /// ```text
    /// z = (f_peaks − f_pits) / √((f_peaks + f_pits) / n) < −5    and    f_peaks / f_pits < 0.8
    /// ```
    ///
    /// Noise of any symmetric kind has as many peaks as pits, 1/9 of the pixels for a continuous one; hot pixels and
    /// few electrons make more peaks, never fewer. Derived here.
    fn peaks_are_missing(&self) -> bool {
        let both = self.peaks + self.pits;
        let ratio = if both < FEW_EXTREMES * self.pixels { RATIO_OF_FEW_CODES } else { RATIO };
        both > 0.0 && (self.peaks - self.pits) / both.sqrt() < SCORE && self.peaks < ratio * self.pits
    }
}

/// What was found in the dark frames of one plane; only the first finding is kept.
#[derive(Debug, Clone, Default)]
pub(crate) struct Filtered {
    found: Option<String>,
    /// Whether it is long darks alone that were filtered.
    of_darks: bool,
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

    /// Looks at a pair without light: smoothed noise is shared by neighbours of the same colour. Differences beyond `limit`
    /// DN are no noise: a damaged block is not smoothed.
    pub(crate) fn pair(&mut self, first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>, limit: f64) {
        let (rows, columns) = first.dim();
        if self.found.is_some() || rows < 16 || columns < 16 {
            return;
        }
        let (rows, columns) = (rows.min(SIDE), columns.min(SIDE));
        let plain = |row: usize, column: usize| f64::from(first[(row, column)]) - f64::from(second[(row, column)]);
        let d = |row: usize, column: usize| Some(plain(row, column)).filter(|d| d.abs() < limit).unwrap_or(0.0);
        let mean = (0..rows).map(|r| (0..columns).map(|c| d(r, c)).sum::<f64>()).sum::<f64>() / (rows * columns) as f64;
        let mut sums = [0.0; 3];
        for row in 0..rows - 1 {
            for column in 0..columns - 1 {
                let own = d(row, column) - mean;
                sums[0] += own * own;
                sums[1] += own * (d(row, column + 1) - mean);
                sums[2] += own * (d(row + 1, column) - mean);
            }
        }
        let shared = sums[1].min(sums[2]) / sums[0].max(1e-9);
        if shared > SMOOTHED {
            self.found = Some(format!(
                "neighbouring pixels share {:.0} % of the noise of the frames without light: the frames were smoothed \
                 (a median, or colours made of neighbours)",
                100.0 * shared
            ));
        }
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
