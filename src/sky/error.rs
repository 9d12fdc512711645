//! What can be wrong with a site or its sky.

use crate::reading::OutOfRange;

/// Why a sky cannot be used as given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SkyError {
    /// A number that no site has.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// More than one way of giving the sky, or none.
    #[error("`sky` has {found} brightnesses, it takes one of bortle, mag_per_arcsec2, limiting_mag, e_per_s")]
    NotOneBrightness {
        /// How many were given.
        found: usize,
    },
    /// `filter` or `plane` beside something that is no measured rate, or a rate without a filter.
    #[error("`sky` needs `filter` with `e_per_s`, and takes `filter` and `plane` with nothing else")]
    FilterMisplaced,
    /// `altitude_deg` beside a sky that is no measurement of one direction.
    #[error("`altitude_deg` in `sky` belongs to `mag_per_arcsec2` or `e_per_s`: the others are of the whole sky")]
    AltitudeMisplaced,
    /// A limiting magnitude where the inversion does not hold.
    #[error("a limiting magnitude of {found} says little about the sky, only {low} to {high} is taken")]
    LimitingMagnitude {
        /// What was given.
        found: f64,
        /// The faintest sky that is taken.
        low: f64,
        /// The darkest sky that is taken.
        high: f64,
    },
    /// Two altitudes in one direction.
    #[error("`horizon` has the azimuth {azimuth} twice, with {one} and {other} degrees")]
    HorizonTwice {
        /// The azimuth.
        azimuth: f64,
        /// One altitude.
        one: f64,
        /// The other.
        other: f64,
    },
    /// No date, or one that the ephemeris does not reach.
    #[error("`date` is `{found}`, which is no date between 1950-01-01 and 2099-12-31")]
    NotADate {
        /// What was given.
        found: String,
    },
    /// A night of the plan that the ephemeris does not reach.
    #[error("the nights reach to {found}, and where Sun and Moon stand is known from 1950-01-01 to 2099-12-31")]
    BeyondEphemeris {
        /// The night.
        found: String,
    },
    /// The sky was given as a rate, which is no brightness until the optics and the filter are known.
    #[error("a sky of {e_per_s} e-/s per pixel has no magnitude without the optics, filter and pixel it was seen with")]
    NeedsTheLightChain {
        /// The rate that was given.
        e_per_s: f64,
    },
}

impl SkyError {
    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::OutOfRange(error) => error.hint(),
            Self::NotOneBrightness { .. } => {
                "keep the one you trust most, such as sky = { mag_per_arcsec2 = 20.5 }".into()
            }
            Self::FilterMisplaced => "write sky = { e_per_s = 3.3, filter = \"luminance\", plane = \"mono\" }".into(),
            Self::AltitudeMisplaced => "leave out altitude_deg; the plan takes such a sky for the zenith's".into(),
            Self::LimitingMagnitude { .. } => {
                "give a sky meter's reading with mag_per_arcsec2, or the Bortle class with bortle".into()
            }
            Self::HorizonTwice { azimuth, .. } => {
                format!(
                    "keep one pair for {azimuth}; for an upright edge write {} and {azimuth}",
                    (azimuth + 359.5) % 360.0
                )
            }
            Self::BeyondEphemeris { .. } => "give a `date` that leaves a few months on that side".into(),
            Self::NotADate { .. } => "write the local date of the evening as date = \"2026-10-12\"".into(),
            Self::NeedsTheLightChain { .. } => "ask with `--night night.toml`, which names the optics".into(),
        }
    }
}
