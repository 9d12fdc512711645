//! Why a search finds nothing, and what would be in reach.

use crate::units::Seconds;

use super::{Demand, LAST_LOOK, LOOKS, OutOfReach, Search, two_digits, two_digits_up};

impl Search {
    /// Why nothing is feasible, and what would be.
    pub(super) fn out_of_reach(&self) -> OutOfReach {
        let [shortest, longest] = self.asked.sub.map_or([self.shortest(), self.longest()], |sub| [sub.0; 2]);
        let lengths = || (0..LOOKS).map(move |i| shortest * (longest / shortest).powf(i as f64 / LAST_LOOK));
        if self.planes.is_empty() || self.planes.iter().any(|(noise, _)| noise.rates.target.0 <= 0.0) {
            return OutOfReach::NoLight;
        }
        let positions = self.positions();
        let too_short = |time: Seconds, subs: f64, positions: f64| {
            let sub = Seconds(shortest);
            let least = self.wall_clock(sub, subs, (subs / positions).floor().max(1.0));
            OutOfReach::TooShort {
                hours: time.0 / 3600.0,
                subs: subs as u32,
                positions: positions as u32,
                least_h: two_digits_up(least / 3600.0),
            }
        };
        let goal = match self.demand {
            Demand::Within(time) => return too_short(time, self.min_subs.max(positions), positions),
            Demand::Snr(goal) => goal,
        };
        if self.length(Seconds(shortest)).slowest_cadence() < 1.0 {
            let positions = self.min_positions_per_night;
            let least = self.wall_clock(Seconds(shortest), positions, 1.0) / self.shot_per_kept(Seconds(shortest));
            return OutOfReach::NightTooShort {
                hours: self.night.0 / 3600.0,
                positions: positions as u32,
                least_h: two_digits_up(least / 3600.0),
                snr: None,
                sub: self.asked.sub,
            };
        }
        let best = |subs: &dyn Fn(Seconds) -> f64| {
            lengths().map(|t| self.snr(Seconds(t), subs(Seconds(t)), 1.0)).fold(0.0_f64, f64::max)
        };
        let endless = best(&|_| 1e15);
        if endless <= goal {
            return OutOfReach::Pattern { snr: two_digits(endless), goal, longest: Seconds(two_digits(longest)) };
        }
        let needed = |t: f64| {
            let sub = Seconds(t);
            self.subs_for(goal, sub, 1.0).map(|subs| subs.max(self.min_subs.max(positions)) * self.shot_per_kept(sub))
        };
        let needed = lengths().filter_map(needed).fold(f64::MAX, f64::min);
        let snr = two_digits(best(&|sub| self.most_subs / self.shot_per_kept(sub)));
        OutOfReach::TooManySubs { needed: needed.ceil(), allowed: self.most_subs.floor(), snr }
    }
}
