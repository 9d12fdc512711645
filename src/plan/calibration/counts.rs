//! How many frames until their noise adds less than a share.

use serde::{Deserialize, Serialize};

use crate::night::Night;

use super::price::{PlanePrice, Price};

/// Masters that share what they may add: darks, flats, and what is taken off the flats.
const MASTERS: f64 = 3.0;
/// No photographer takes more.
const MOST: f64 = 10_000.0;

/// A number of frames, and why.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FrameCount {
    /// Frames to take: what noise asks for, at least what rejection does.
    pub count: u32,
    /// What noise alone asks for, not rounded.
    pub for_noise: f64,
    /// From so many frames on a single outlier, such as a particle's track, is rejected.
    pub for_rejection: u32,
    /// What so many of them add to the variance of the stack, and so to the hours.
    pub adds_percent: f64,
    /// The frames that the night has.
    pub given: u32,
    /// What those add; `null` without any.
    pub given_adds_percent: Option<f64>,
}

/// The least frames in which one outlier of any strength lies more than `sigmas` sample standard deviations off; 1 where
/// nothing is rejected.
///
/// ```text
/// (N − 1)/√N > k
/// ```
///
/// # Source
/// R. Shiffler 1988, The American Statistician 42, 79: the largest possible z-score is (N − 1)/√N.
///
/// # Examples
/// ```
/// use subwell::plan::least_for_rejection;
/// assert_eq!([2.5, 3.0].map(least_for_rejection), [9, 11]);
/// ```
#[must_use]
pub fn least_for_rejection(sigmas: f64) -> u32 {
    if sigmas.is_nan() || sigmas <= 0.0 {
        return 1;
    }
    let enough = |count: &u32| (f64::from(*count) - 1.0) / f64::from(*count).sqrt() > sigmas;
    (1..MOST as u32).find(enough).unwrap_or(MOST as u32)
}

/// `one` is the share that the master of a single frame adds.
fn count(one: f64, share: f64, least: u32, given: u32) -> FrameCount {
    let for_noise = one / (share / MASTERS);
    let count = for_noise.ceil().clamp(f64::from(least), MOST) as u32;
    let adds = |frames: u32| 100.0 * one / f64::from(frames);
    FrameCount {
        count,
        for_noise,
        for_rejection: least,
        adds_percent: adds(count),
        given,
        given_adds_percent: (given > 0).then(|| adds(given)),
    }
}

/// Darks: `N = (D t + R² + q²) w / (share V)`, with `w` what dithering leaves of a pattern and `V` the stack's variance
/// without masters.
pub(super) fn darks(night: &Night, price: &Price<'_>, share: f64, least: u32) -> FrameCount {
    let one = price.worst(PlanePrice::dark_adds);
    count(one, share, least, night.calibration.darks())
}

/// Flats: `N = ((S + B + M) t)² w / (F share V)`.
pub(super) fn flats(night: &Night, price: &Price<'_>, share: f64, least: u32) -> FrameCount {
    let one = price.worst(PlanePrice::flat_adds);
    count(one, share, least, night.calibration.flats())
}

/// Biases or dark flats, for the flats alone where the lights have darks.
pub(super) fn biases(night: &Night, price: &Price<'_>, share: f64, least: u32) -> FrameCount {
    let of_lights = |plane: &PlanePrice<'_>| if night.calibration.darks() == 0 { plane.read_adds() } else { 0.0 };
    let one = price.worst(|plane| plane.zero_of_flats_adds() + of_lights(plane));
    count(one, share, least, night.calibration.biases())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_outlier_needs_company_to_be_seen() {
        // (N − 1)/√N by hand: 8/3 = 2.67 at 9, 7/2.83 = 2.47 at 8; 10/3.317 = 3.015 at 11, 9/3.162 = 2.846 at 10.
        assert_eq!([2.0, 2.5, 3.0, 4.0].map(least_for_rejection), [6, 9, 11, 18]);
        assert_eq!([0.0, f64::NAN].map(least_for_rejection), [1, 1]);
    }

    #[test]
    fn frames_are_counted_until_the_share_is_kept() {
        let found = count(0.3, 0.06, 11, 30);
        assert_eq!((found.count, found.given), (15, 30));
        approx::assert_relative_eq!(found.adds_percent, 2.0, max_relative = 1e-12);
        approx::assert_relative_eq!(found.given_adds_percent.unwrap(), 1.0, max_relative = 1e-12);
        assert_eq!(count(0.001, 0.06, 11, 0).count, 11);
    }
}
