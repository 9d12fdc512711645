//! Where the sensor stops: a pile at one code, a collapse of the noise, or not seen.

use crate::camera::{SaturationCause, SaturationIs};
use crate::units::Dn;

use crate::sensor::PairStatistics;

/// Share of the pixels at the highest code that counts as a pile (EMVA 1288 Release 4.0
/// Linear: 0.1 to 0.2 %).
pub(crate) const PILE_SHARE: f64 = 0.001;
/// A flat with a pile at the top has a mean above this share of the range.
pub(crate) const LIT_SHARE: f64 = 0.3;
/// Share of pixels at a piled code above which a flat's variance is spoiled.
const SPOILED_SHARE: f64 = 1e-5;
/// A variance below this share of what less light had says that the well is full.
const COLLAPSE: f64 = 0.7;

/// The level at which a plane saturates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Saturation {
    /// As a stored count, offset included.
    pub level: Dn,
    /// Seen, or at least this.
    pub is: SaturationIs,
    /// What stops it.
    pub cause: Option<SaturationCause>,
    /// Pixels at or above this code are cut off.
    piled_code: Option<u16>,
}

/// Reads the saturation from the flat pairs of one plane; `step` is the step between codes.
///
/// `None` without flats.
pub(crate) fn saturation(pairs: &[&PairStatistics], offset: Dn, step: u32) -> Option<Saturation> {
    let highest = pairs.iter().map(|pair| pair.highest).max()?;
    let range = f64::from(highest) - offset.0;
    // Damaged pixels pile up too, in a frame that is not bright as a whole.
    let lit = |pair: &&&PairStatistics| pair.highest == highest && (pair.mean() - offset).0 > LIT_SHARE * range;
    let piled = pairs.iter().filter(lit).any(|pair| pair.share_at_highest >= PILE_SHARE);
    // A frame whose pixels are nearly all noise around few codes piles up too: it must be bright.
    if piled && range > 20.0 * f64::from(step) {
        return Some(Saturation {
            level: Dn(f64::from(highest)),
            is: SaturationIs::Reached,
            cause: Some(SaturationCause::Adc),
            piled_code: Some(highest),
        });
    }
    let mut by_level = pairs.to_vec();
    by_level.sort_by(|a, b| a.mean().0.total_cmp(&b.mean().0));
    let brightest = by_level.last()?;
    let noisiest = by_level.iter().max_by(|a, b| a.variance().total_cmp(&b.variance()))?;
    if brightest.variance() < COLLAPSE * noisiest.variance() {
        return Some(Saturation {
            level: brightest.mean(),
            is: SaturationIs::Reached,
            cause: Some(SaturationCause::Well),
            piled_code: None,
        });
    }
    Some(Saturation { level: brightest.mean(), is: SaturationIs::AtLeast, cause: None, piled_code: None })
}

impl Saturation {
    /// Whether a flat pair is cut off by it, so that its variance says nothing of its light.
    pub(crate) fn spoils(&self, pair: &PairStatistics) -> bool {
        match self.piled_code {
            Some(code) => pair.highest >= code && pair.share_at_highest > SPOILED_SHARE,
            None => self.is == SaturationIs::Reached && pair.mean().0 > 0.9 * self.level.0,
        }
    }
}
