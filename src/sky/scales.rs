//! The scales in which a sky's brightness is said, and the ways between them.

use crate::units::Magnitudes;

use super::SkyError;

/// The brightest sky whose naked-eye limit is taken: below it the eye's law changes branch (18.39 mag/arcsec²).
const LEAST_LIMIT: f64 = 4.5;
/// The darkest: beyond it the inversion runs away (7.6 would give 25.5 mag/arcsec², three magnitudes below airglow).
const MOST_LIMIT: f64 = 6.5;

pub(super) fn check_limiting(limit: Magnitudes) -> Result<(), SkyError> {
    if (LEAST_LIMIT..=MOST_LIMIT).contains(&limit.0) {
        Ok(())
    } else {
        Err(SkyError::LimitingMagnitude { found: limit.0, low: LEAST_LIMIT, high: MOST_LIMIT })
    }
}
