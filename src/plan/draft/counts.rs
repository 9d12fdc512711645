//! The whole numbers of a plan.

use crate::plan::{Chosen, Demand, Search};
use crate::units::Seconds;

use super::ROUNDING_SLACK;

/// The whole numbers of a plan.
#[derive(Clone, Copy)]
pub(crate) struct Counts {
    pub(crate) kept: u64,
    pub(crate) shot: u64,
    pub(crate) every: u64,
    pub(crate) dithers: u64,
    pub(crate) wall_clock: Seconds,
}

impl Counts {
    /// The same where the goal is reached already.
    pub(super) fn nothing_to_shoot(self) -> Self {
        Self { shot: 0, dithers: 0, wall_clock: Seconds(0.0), ..self }
    }

    pub(crate) fn new(search: &Search, chosen: &Chosen, in_hand_s: f64) -> Self {
        let (sub, every) = (chosen.sub, chosen.dither_every);
        let shot_per_kept = search.shot_per_kept(sub);
        let in_hand = (in_hand_s / sub.0 + ROUNDING_SLACK).floor();
        let (kept, shot) = match search.demand {
            Demand::Snr(_) => {
                let kept = (chosen.subs - ROUNDING_SLACK).ceil().max(in_hand);
                (kept, ((kept - in_hand) * shot_per_kept - ROUNDING_SLACK).ceil().max(0.0))
            }
            Demand::Within(time) => {
                let shot = Self::shot_within(search, sub, every, time);
                // The whole number that is most likely kept of them.
                ((shot / shot_per_kept).round().max(1.0) + in_hand, shot)
            }
        };
        let dithers = (shot / every).ceil();
        let wall_clock = search.clock(sub, shot, dithers);
        Self { kept: kept as u64, shot: shot as u64, every: every as u64, dithers: dithers as u64, wall_clock }
    }

    /// The subs that fit into a time.
    fn shot_within(search: &Search, sub: Seconds, every: f64, time: Seconds) -> f64 {
        let spent = |shot: f64| search.clock(sub, shot, (shot / every).ceil());
        let fits = (time.0 / search.pace(sub, every) + ROUNDING_SLACK).floor();
        let mut shot = fits.min(search.most_subs.floor());
        while shot > 1.0 && spent(shot).0 > time.0 * (1.0 + ROUNDING_SLACK) {
            shot -= 1.0;
        }
        shot.max(1.0)
    }
}
