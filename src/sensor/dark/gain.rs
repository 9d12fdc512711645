//! The gain without flats: warm and hot pixels are lamps of many levels, and repeated darks their pairs.
//!
//! A gain that was typed is questioned by flats in the folder, and without them by the interquartile spread of repeated
//! darks against their level, when it is off by a factor of 1.6 and by two sigmas.

use ndarray::{ArrayView2, Zip};

use crate::caveat::Caveat;
use crate::stats::{Estimate, Histogram};
use crate::units::ElectronsPerDn;

/// Bins of level: two for each doubling of the level above the offset.
const BINS: usize = 34;
/// Differences beyond this many DN are counted as this many.
const WIDEST: i32 = 4095;
/// A bin of one pair with fewer pixels has no robust spread.
const FEWEST_PIXELS: usize = 60;
/// Fewer bins are no curve.
const FEWEST_BINS: usize = 3;
/// A bin speaks of the gain where its variance is at least this many times that without charge.
const ABOVE_READ_NOISE: f64 = 2.0;
/// Relative variance of a variance from the interquartile range, times the number of values: 4/(2·0.37).
const OF_QUARTILES: f64 = 5.4;
/// What jumping pixels and drifting temperatures may do to the gain, as a standard uncertainty (assumed here).
const SYSTEMATIC: f64 = 0.15;
/// A typed gain is questioned when it is off by this factor …
const DOUBTFUL_FACTOR: f64 = 1.6;
/// … and by this many uncertainties.
const DOUBTFUL_SIGMAS: f64 = 2.0;

/// One bin of level over all pairs.
#[derive(Debug, Clone, Copy, Default)]
struct Bin {
    pixels: f64,
    levels: f64,
    /// Temporal variance in DN², times the pixels.
    variances: f64,
}

/// Level and robust temporal variance of the pixels of repeated darks, binned by level.
///
/// Memory is the bins', whatever the number of darks.
#[derive(Debug, Clone, Default)]
pub(crate) struct DarkGain {
    bins: Vec<Bin>,
}

fn bin_of(level: f64) -> Option<usize> {
    (level >= 1.0).then(|| ((2.0 * level.log2()) as usize).min(BINS - 1))
}

impl DarkGain {
    /// Takes two darks of one exposure and temperature; `offset` in DN is the level without charge.
    ///
    /// The variance of a bin is that of the interquartile range of its differences: few jumping pixels move it
    /// little, and a temperature that moved between the frames not at all.
    pub(crate) fn add(&mut self, first: ArrayView2<'_, u16>, second: ArrayView2<'_, u16>, offset: f64) {
        let mut differences: Vec<Option<Histogram>> = vec![None; BINS];
        let mut levels = [0.0; BINS];
        Zip::from(first).and(second).for_each(|&a, &b| {
            let level = (f64::from(a) + f64::from(b)) / 2.0 - offset;
            if let Some(bin) = bin_of(level) {
                levels[bin] += level;
                let difference = (i32::from(a) - i32::from(b)).clamp(-WIDEST, WIDEST);
                differences[bin].get_or_insert_with(|| Histogram::new(-WIDEST, WIDEST)).push(difference);
            }
        });
        self.bins.resize(BINS, Bin::default());
        for ((bin, histogram), level) in self.bins.iter_mut().zip(differences).zip(levels) {
            let Some(histogram) = histogram.filter(|histogram| histogram.total() >= FEWEST_PIXELS as u64) else {
                continue;
            };
            let pixels = histogram.total() as f64;
            bin.pixels += pixels;
            bin.levels += level;
            bin.variances += pixels * histogram.robust_sigma().unwrap_or(0.0).powi(2) / 2.0;
        }
    }

    /// Electrons per DN from how the variance grows with the level; `None` without three bins of level whose
    /// variance is twice `read_variance` (DN²) or more.
    ///
    /// ```text
    /// 1/gain = weighted median over the bins of (V − V0) / μ
    /// ```
    ///
    /// # Source
    /// The photon transfer of a dark (Janesick, Photon Transfer, 2007, from memory): dark charge has shot noise
    /// like light. The estimator is derived here.
    pub(crate) fn gain(&self, read_variance: f64) -> Option<Estimate<ElectronsPerDn>> {
        let mut slopes: Vec<(f64, f64)> = Vec::new();
        for bin in self.bins.iter().filter(|bin| bin.pixels > 0.0) {
            let (level, variance) = (bin.levels / bin.pixels, bin.variances / bin.pixels);
            if variance >= ABOVE_READ_NOISE * read_variance {
                // A bin's own scatter beside what it may be off by: no bin decides alone.
                let relative = OF_QUARTILES / bin.pixels + SYSTEMATIC * SYSTEMATIC;
                slopes.push(((variance - read_variance) / level, 1.0 / relative));
            }
        }
        if slopes.len() < FEWEST_BINS {
            return None;
        }
        slopes.sort_by(|a, b| a.0.total_cmp(&b.0));
        let whole: f64 = slopes.iter().map(|(_, weight)| weight).sum();
        let mut below = 0.0;
        let (slope, _) = slopes.iter().find(|(_, weight)| {
            below += weight;
            below >= whole / 2.0
        })?;
        let apart = slopes.iter().map(|(other, weight)| weight * (other / slope).ln().powi(2)).sum::<f64>() / whole;
        let relative = (1.57 / whole + apart / slopes.len() as f64 + SYSTEMATIC * SYSTEMATIC).sqrt();
        (*slope > 0.0 && relative.is_finite()).then(|| Estimate::within_factor(1.0 / slope, relative))
    }

    /// A doubt about the gain `typed` when it is off by about a factor of two or more.
    pub(crate) fn doubt(&self, typed: ElectronsPerDn, read_variance: f64) -> Option<Caveat> {
        let found = self.gain(read_variance)?;
        let apart = (typed.0 / found.value.0).ln().abs();
        (apart > DOUBTFUL_FACTOR.ln() && apart > DOUBTFUL_SIGMAS * found.relative()).then(|| {
            Caveat::new(
                "gain-doubtful",
                format!(
                    "the typed gain of {} e-/DN does not fit the noise of warm pixels in the darks, which asks for about \
                     {:.2} ± {:.2}",
                    typed.0, found.value.0, found.uncertainty.0
                ),
                "look the gain up for this gain setting and these bits, or take flats in pairs to measure it",
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bins_double_in_two() {
        assert_eq!(bin_of(0.5), None);
        assert_eq!(bin_of(64.0).unwrap() - bin_of(16.0).unwrap(), 4);
        assert_eq!(bin_of(1e9), Some(BINS - 1));
    }

    #[test]
    fn without_darks_nothing_is_doubted() {
        assert_eq!(DarkGain::default().doubt(ElectronsPerDn(1.0), 4.0), None);
    }
}
