//! The one optimum: sub length and dither cadence that reach the goal in the least wall-clock time.

use serde::{Deserialize, Serialize};

use crate::night::Limits;
use crate::noise::{Clip, Patch, PlaneNoise};
use crate::units::Seconds;

mod closed;
mod length;
mod out_of_reach;
mod reach;
mod valley;

pub use closed::{best_cadence, best_sub, efficiency};
pub use length::Length;
pub use out_of_reach::OutOfReach;
use valley::edge;
pub(crate) use valley::{golden_section, two_digits, two_digits_up};

/// The lengths that are recommended.
pub const ROUND_LENGTHS_S: [f64; 18] =
    [1.0, 2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 240.0, 300.0, 420.0, 600.0, 900.0, 1200.0];
/// The optimum is broad: lengths that cost this much more wall time count as good.
pub const WITHIN: f64 = 0.03;
/// What a round length may cost more where a bound leaves none within [`WITHIN`].
const FOR_ROUNDNESS: f64 = 0.10;
/// No sub is looked for beyond this length.
const LONGEST_S: f64 = 3600.0;
/// Lengths at which the first look is taken, evenly in their logarithm.
const LOOKS: usize = 128;
const LAST_LOOK: f64 = (LOOKS - 1) as f64;
/// Stride in which the ends of the good stretch are looked for.
const STRIDE: f64 = 1.01;
/// Costs that differ by less than this are the same.
const SAME_COST: f64 = 1e-9;
/// So many times the best length could be, without the rules that bind a short target.
const LONGER: [f64; 5] = [1.0, 1.5, 2.2, 3.3, 5.0];
/// How close to a bound the optimum must lie for the bound to have set it.
const AT_BOUND: f64 = 2e-3;

/// What set the optimum's length.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum SetBy {
    /// Overhead against losses: a free optimum.
    WallClock,
    /// The mount.
    Tracking,
    /// The turning of a guided field.
    FieldRotation,
    /// The brightest star to keep.
    StarSaturation,
    /// The sky itself.
    SkySaturation,
    /// The least number of subs or dither positions.
    Rejection,
    /// The most subs or gigabytes.
    Storage,
    /// A length that was asked for.
    #[serde(rename = "asked")]
    Requested,
}

/// What is to be reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Demand {
    /// This signal over noise, in the least time.
    Snr(f64),
    /// The best signal over noise in this wall-clock time.
    Within(Seconds),
}

/// What the person has fixed, and is not to be looked for.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Asked {
    /// The length of a sub: it is planned whatever it costs, and whatever bounds the best one.
    pub sub: Option<Seconds>,
    /// The subs between two dithers: they are planned whatever positions they leave.
    pub every: Option<f64>,
}

/// Everything that the optimum of one filter depends on.
#[derive(Debug, Clone, PartialEq)]
pub struct Search {
    /// The planes that must reach the goal, each with its patch.
    pub planes: Vec<(PlaneNoise, Patch)>,
    /// What is to be reached.
    pub demand: Demand,
    /// What bounds the sub.
    pub limits: Limits,
    /// Readout and download.
    pub between: Seconds,
    /// One dither.
    pub settle: Seconds,
    /// Poisson rate of events that spoil the sub in progress, per second of open shutter.
    pub losses_per_s: f64,
    /// Whether a spoiled sub is broken off at once.
    pub stops_lost: bool,
    /// Rejection.
    pub clip: Clip,
    /// Side of the dither's square.
    pub dither_box_px: f64,
    /// Least subs kept.
    pub min_subs: f64,
    /// Least dither positions in all.
    pub min_positions: f64,
    /// Least dither positions of a night.
    pub min_positions_per_night: f64,
    /// A usual clear night.
    pub night: Seconds,
    /// Most subs to shoot.
    pub most_subs: f64,
    /// What is not to be looked for.
    pub asked: Asked,
}

/// One way of spending the night, counts not yet rounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chosen {
    /// Length of a sub.
    pub sub: Seconds,
    /// A dither after so many subs.
    pub dither_every: f64,
    /// Subs that are kept.
    pub subs: f64,
    /// What is minimised: the wall-clock seconds, or 1/SNR² where the time is given.
    pub cost: f64,
}

/// The optimum, what is as good, and what is recommended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Optimum {
    /// Least cost of all lengths.
    pub least: Chosen,
    /// The shortest round length that costs at most [`WITHIN`] more. Where a bound leaves none: the round length of least
    /// cost, or the optimum cut to two digits, if that is at most 10 % more; else the optimum itself.
    pub recommended: Chosen,
    /// What set the optimum.
    pub set_by: SetBy,
}

impl Search {
    /// The longest sub that is allowed.
    #[must_use]
    pub fn longest(&self) -> f64 {
        let Limits { tracking, field_rotation, star_saturation, sky_saturation } = self.limits;
        let limits = [tracking, field_rotation, star_saturation, sky_saturation];
        limits.iter().flatten().fold(LONGEST_S, |least, limit| least.min(limit.0))
    }

    pub(crate) fn shortest(&self) -> f64 {
        let longest = self.longest();
        if longest > ROUND_LENGTHS_S[0] { ROUND_LENGTHS_S[0] } else { longest / 2.0 }
    }

    /// The signal over noise that is to be reached; `None` where a time is given.
    pub(crate) fn demand_snr(&self) -> Option<f64> {
        match self.demand {
            Demand::Snr(snr) => Some(snr),
            Demand::Within(_) => None,
        }
    }

    /// Least positions that a stack must have, be it of one night.
    fn positions(&self) -> f64 {
        self.min_positions.max(self.min_positions_per_night)
    }

    /// Subs that a stack with this cadence must have, whatever they bring.
    pub(crate) fn least_subs(&self, every: f64) -> f64 {
        let positions = if self.asked.every.is_some() { 0.0 } else { self.positions() };
        self.min_subs.max(positions * every)
    }

    /// The optimum over sub length and cadence. A length that was asked for is what is recommended, beside the best one.
    ///
    /// # Errors
    /// When no length and cadence reaches the goal within the rules; the error says what would be in reach.
    pub fn optimum(&self) -> Result<Optimum, OutOfReach> {
        let (shortest, longest) = (self.shortest(), self.longest());
        let step = (longest / shortest).ln() / LAST_LOOK;
        let look = |i: f64| Seconds(if i < LAST_LOOK { shortest * (i * step).exp() } else { longest });
        let cost = |i: f64| self.best_at(look(i)).map_or(f64::INFINITY, |chosen| chosen.cost);
        let costs: Vec<f64> = (0..LOOKS).map(|i| cost(i as f64)).collect();
        let best = (0..LOOKS).min_by(|a, b| costs[*a].total_cmp(&costs[*b])).unwrap_or(0);
        let refined = golden_section(&cost, (best as f64 - 1.0).max(0.0), (best as f64 + 1.0).min(LAST_LOOK));
        let at = if cost(refined) < costs[best] * (1.0 - 1e-9) { refined } else { best as f64 };
        let least = self.best_at(look(at));
        if let Some(sub) = self.asked.sub {
            let recommended = self.best_at(sub).ok_or_else(|| self.out_of_reach())?;
            let least = least.filter(|least| least.cost < recommended.cost).unwrap_or(recommended);
            return Ok(Optimum { set_by: SetBy::Requested, least, recommended });
        }
        let least = least.ok_or_else(|| self.out_of_reach())?;
        let recommended = self.recommended(&least);
        Ok(Optimum { set_by: self.set_by(&least), least, recommended })
    }

    /// What a length of the stretches may cost more than the least, as a share: 3 %, or what the recommended one does.
    #[must_use]
    pub fn within(&self, optimum: &Optimum) -> f64 {
        (optimum.recommended.cost / optimum.least.cost - 1.0).max(WITHIN)
    }

    /// The stretches of lengths that are as good: each end to end within 3 % of the least cost, or within what the
    /// recommended length costs more where no round length is so near. They rise, and do not touch.
    ///
    /// Cadences are whole numbers, so the cost over the length is a saw and there can be several stretches. The recommended
    /// length lies in one of them, and so does the optimum. What is good over less than a hundredth of a length can be missed
    /// elsewhere.
    #[must_use]
    pub fn stretches(&self, optimum: &Optimum) -> Vec<[Seconds; 2]> {
        let (shortest, longest) = (self.shortest(), self.longest());
        let Optimum { least, recommended, .. } = optimum;
        let most = least.cost * (1.0 + self.within(optimum)) * (1.0 + SAME_COST);
        // Both are good by themselves: where their light has changed since, no length may reach the goal any more.
        let named = |sub: f64| sub == least.sub.0 || sub == recommended.sub.0;
        let good = |sub: f64| named(sub) || self.best_at(Seconds(sub)).is_some_and(|chosen| chosen.cost <= most);
        let steps = ((longest / shortest).ln() / STRIDE.ln()).ceil().max(1.0);
        let mut looks: Vec<f64> =
            (0..=steps as usize).map(|i| shortest * (longest / shortest).powf(i as f64 / steps)).collect();
        looks.extend([least.sub.0, recommended.sub.0]);
        looks.sort_by(f64::total_cmp);
        let mut stretches: Vec<[Seconds; 2]> = Vec::new();
        let mut begun: Option<f64> = None;
        let mut last = looks[0];
        for sub in looks {
            match (begun, good(sub)) {
                (None, true) => begun = Some(edge(&good, sub, last)),
                (Some(from), false) => {
                    stretches.push([Seconds(from), Seconds(edge(&good, last, sub))]);
                    begun = None;
                }
                _ => {}
            }
            last = sub;
        }
        stretches.extend(begun.map(|from| [Seconds(from), Seconds(last)]));
        stretches
    }

    /// The shortest round length within 3 % of the least cost. A bound can leave none: then the round length of least
    /// cost if it costs at most 10 % more, or the optimum cut to two digits.
    fn recommended(&self, least: &Chosen) -> Chosen {
        let longest = self.longest();
        let round = ROUND_LENGTHS_S.into_iter().filter(|length| *length <= longest * (1.0 + 1e-9));
        let round: Vec<Chosen> = round.filter_map(|length| self.best_at(Seconds(length))).collect();
        let within = |more: f64| move |chosen: &&Chosen| chosen.cost <= least.cost * (1.0 + more);
        let good = round.iter().find(within(WITHIN));
        let fair = || round.iter().filter(within(FOR_ROUNDNESS)).min_by(|a, b| a.cost.total_cmp(&b.cost));
        let cut = || self.best_at(Seconds(two_digits(least.sub.0))).filter(|chosen| within(FOR_ROUNDNESS)(&chosen));
        good.or_else(fair).copied().or_else(cut).unwrap_or(*least)
    }

    /// Whether the least numbers of subs and positions cost more time than is told apart: without them the same length or a
    /// longer one is quicker.
    fn rules_cost(&self, least: &Chosen) -> bool {
        let free = Self { min_subs: 1.0, min_positions: 1.0, min_positions_per_night: 1.0, ..self.clone() };
        let longest = self.longest();
        let longer = LONGER.into_iter().map(|times| Seconds((least.sub.0 * times).min(longest)));
        longer.filter_map(|sub| free.best_at(sub)).any(|chosen| chosen.cost * (1.0 + WITHIN) < least.cost)
    }

    fn set_by(&self, least: &Chosen) -> SetBy {
        let close = |bound: f64| least.sub.0 >= bound * (1.0 - AT_BOUND);
        let bounds = [
            (self.limits.tracking, SetBy::Tracking),
            (self.limits.field_rotation, SetBy::FieldRotation),
            (self.limits.star_saturation, SetBy::StarSaturation),
            (self.limits.sky_saturation, SetBy::SkySaturation),
        ];
        let longest = self.longest();
        for (bound, word) in bounds {
            if bound.is_some_and(|bound| bound.0 <= longest && close(bound.0)) {
                return word;
            }
        }
        if self.rules_cost(least) {
            return SetBy::Rejection;
        }
        if least.subs * self.shot_per_kept(least.sub) >= self.most_subs * (1.0 - AT_BOUND) {
            return SetBy::Storage;
        }
        SetBy::WallClock
    }
}
