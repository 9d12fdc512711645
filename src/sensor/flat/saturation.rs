//! Where the sensor stops: a pile at one code, a collapse of the noise, or not seen.

use crate::camera::{SaturationCause, SaturationIs};
use crate::units::Dn;

use crate::sensor::PairStatistics;
use crate::sensor::pair::sound::FEWEST_PILED;
pub(crate) use crate::sensor::pair::sound::LIT_SHARE;

/// Share of the pixels at the highest code that counts as a pile (EMVA 1288 Release 4.0
/// Linear: 0.1 to 0.2 %).
pub(crate) const PILE_SHARE: f64 = 0.001;
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
    let many = |pair: &&PairStatistics| pair.share_at_highest * 2.0 * pair.count as f64 >= FEWEST_PILED;
    let piled = pairs.iter().filter(lit).any(|pair| pair.share_at_highest >= PILE_SHARE && many(pair));
    // A frame whose pixels are nearly all noise around few codes piles up too: it must be bright.
    if piled && range > 20.0 * f64::from(step) {
        return Some(Saturation {
            level: Dn(f64::from(highest)),
            is: SaturationIs::Reached,
            cause: Some(SaturationCause::Adc),
            piled_code: Some(highest),
        });
    }
    // The plain variance would hold the vignetting of a pair whose frames differ in brightness.
    let variance = |pair: &PairStatistics| pair.scaled_variance(offset, f64::INFINITY);
    let brightest = pairs.iter().max_by(|a, b| a.mean().0.total_cmp(&b.mean().0))?;
    let most = pairs.iter().map(|pair| variance(pair)).fold(0.0, f64::max);
    let collapsed = (variance(brightest) < COLLAPSE * most).then_some(brightest.mean().0);
    let in_parts = pairs.iter().filter_map(|pair| pair.sound.as_ref()?.full);
    if let Some(level) = collapsed.into_iter().chain(in_parts).reduce(f64::max) {
        return Some(Saturation {
            level: Dn(level),
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
            Some(_) if pair.is_partial() => false,
            Some(code) => pair.highest >= code && pair.share_at_highest > SPOILED_SHARE,
            None => self.is == SaturationIs::Reached && pair.mean().0 > 0.9 * self.level.0,
        }
    }
}
