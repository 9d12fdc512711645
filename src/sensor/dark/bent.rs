//! Do the levels of darks lie on a line over their exposure times?

use crate::caveat::Caveat;
use crate::stats::{Estimate, Moments, polynomial_fit};
use crate::units::Dn;

use super::anchor::Anchor;
use super::current::{DarkFrame, same_exposure};
use super::levels::LevelFit;
use super::limits::exposures;

/// A level is off the line by so many of its own uncertainties, which few frames know badly, …
const SURE_SIGMAS: f64 = 15.0;
/// … by this share of the levels' range, and by so many DN.
const SHARE: f64 = 0.08;
const LEAST_DN: f64 = 1.0;
/// A line through fewer exposures misses none.
const FEWEST: usize = 3;
/// So many frames beyond one of each exposure tell how much they scatter.
const FREEDOM: usize = 5;
/// Where the order of the frames tells of a drift, that is the reason.
const DRIFTS: f64 = 0.95;
/// Frames told to differ by more than this in kelvins need lie on no line.
const TOLD_KELVIN: f64 = 0.3;

/// Levels that no dark current makes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bent {
    /// The most in DN by which an exposure's level is off the line through all.
    off: Dn,
    /// The least and the greatest slope in DN/s between neighbouring exposures, and from the bias frames to each.
    slopes: (f64, f64),
}

/// Whether darks of three or more exposures lie on no line, by more than the frames of each exposure scatter.
///
/// An exposure time that is not true, or a camera that treats long exposures in another way, moves all frames of one exposure
/// alike. `by_clock` is whether headers tell when frames were taken: without, a drift is only a guess from their names.
/// Derived here: the test of lack of fit against the repeated measurements' own scatter.
pub(super) fn bent(frames: &[DarkFrame], fit: &LevelFit, anchor: &Anchor, by_clock: bool) -> Option<Bent> {
    let told: Moments = frames.iter().filter_map(|frame| frame.temperature).map(|celsius| celsius.0).collect();
    let times = exposures(frames);
    let drifts = by_clock && fit.drift.either > DRIFTS;
    if times.len() < FEWEST || drifts || told.variance().unwrap_or(0.0).sqrt() > TOLD_KELVIN {
        return None;
    }
    let of = |time| frames.iter().filter(move |frame| same_exposure(frame.exposure, time)).map(|frame| frame.mean);
    let groups: Vec<Moments> = times.iter().map(|time| of(*time).collect()).collect();
    let squares: f64 = groups.iter().filter_map(|group| Some(group.variance()? * (group.count() as f64 - 1.0))).sum();
    let freedom = frames.len().saturating_sub(groups.len());
    if freedom < FREEDOM {
        return None;
    }
    let pooled = squares / freedom as f64;
    let sigma = |place: usize| {
        let own = groups[place].variance().unwrap_or(0.0).max(pooled).sqrt().max(anchor.level_scatter);
        own / (groups[place].count() as f64).sqrt()
    };
    let x: Vec<f64> = times.iter().map(|time| time.0).collect();
    let y: Vec<f64> = groups.iter().filter_map(Moments::mean).collect();
    let weights: Vec<f64> = (0..x.len()).map(|place| sigma(place).max(1e-6).powi(-2)).collect();
    let line = polynomial_fit(&x, &y, &weights, 1)?;
    let low = y.iter().copied().fold(f64::INFINITY, f64::min);
    let range = y.iter().copied().fold(low, f64::max) - low;
    let off = |place: usize| (y[place] - line.at(x[place])).abs();
    if (0..x.len()).all(|place| off(place) <= (SURE_SIGMAS * sigma(place)).max(SHARE * range).max(LEAST_DN)) {
        return None;
    }
    let most = (0..x.len()).map(off).fold(0.0, f64::max);
    let offset = anchor.offset.value.0;
    let from_bias = (0..x.len())
        .filter(|_| anchor.is_of_bias)
        .map(|place| ((y[place] - offset) / x[place], sigma(place).hypot(anchor.offset.uncertainty.0) / x[place]));
    let between = (1..x.len()).map(|place| {
        let time = x[place] - x[place - 1];
        ((y[place] - y[place - 1]) / time, sigma(place).hypot(sigma(place - 1)) / time)
    });
    let slopes = from_bias.chain(between).fold((f64::INFINITY, 0.0_f64), |(least, greatest), (slope, sigma)| {
        (least.min((slope - 2.0 * sigma).max(0.0)), greatest.max(slope + 2.0 * sigma))
    });
    Some(Bent { off: Dn(most), slopes })
}

impl Bent {
    /// A slope in DN/s whose interval reaches all slopes that the darks show, in the middle of them.
    pub(super) fn reached(&self, slope: Estimate<f64>) -> Estimate<f64> {
        let (low, high) = slope.interval();
        let (low, high) = (low.max(0.0).min(self.slopes.0), high.max(self.slopes.1));
        let uncertainty = slope.uncertainty.max((high - low) / 4.0);
        Estimate::new(f64::midpoint(low, high), uncertainty).with_interval((low, high))
    }

    pub(crate) fn caveat(&self) -> Caveat {
        Caveat::new(
            "darks-off-line",
            format!(
                "the darks' levels lie on no line over their exposure times, by up to {:.1} DN: an exposure time is not true, or the \
                 camera treats long exposures in another way; the interval of the dark current reaches from the smallest to the \
                 largest slope between them",
                self.off.0
            ),
            "check the exposure times; switch the camera's noise reduction of long exposures off, and take the darks again",
        )
    }
}

#[cfg(test)]
mod tests {
    use super::super::current::tests::stage;
    use super::super::levels::Drift;
    use super::*;

    fn found(points: &[(f64, f64)]) -> Option<Bent> {
        let thrice = |(time, level): &(f64, f64)| [-0.05, 0.0, 0.05].map(|more| (*time, level + more, 9.0));
        let points: Vec<(f64, f64, f64)> = points.iter().flat_map(thrice).collect();
        let anchor = Anchor::of_bias(100.0, Estimate::new(9.0, 0.05));
        let fit = LevelFit { slope: Estimate::new(0.1, 0.001), at_zero: 100.0, drift: Drift::default() };
        bent(&stage(&points).frames, &fit, &anchor, true)
    }

    #[test]
    fn a_wrong_time_and_a_dark_taken_off_are_seen_and_a_line_is_not() {
        assert_eq!(found(&[(30.0, 103.0), (120.0, 112.0), (300.0, 130.0)]), None);
        // A step between bias frames and darks is none of theirs.
        assert_eq!(found(&[(30.0, 108.0), (120.0, 117.0), (300.0, 135.0)]), None);
        // 300 s that are called 600 s; and from 120 s on another dark taken off.
        for points in [
            vec![(30.0, 103.0), (120.0, 112.0), (600.0, 130.0)],
            vec![(30.0, 103.0), (60.0, 106.0), (120.0, 100.0), (300.0, 100.0)],
        ] {
            let bent = found(&points).unwrap_or_else(|| panic!("{points:?}"));
            assert!(bent.reached(Estimate::new(0.04, 0.001)).covers(0.1), "{bent:?}");
        }
    }
}
