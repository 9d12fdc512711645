//! The one optimum: sub length and dither cadence that reach the goal in the least wall-clock time.

use serde::Serialize;

use crate::noise::{Clip, Patch, PlaneNoise, Stack};
use crate::units::{Electrons, Seconds};

use super::OutOfReach;

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
/// Halvings of an interval: 2^-40 of it is left.
const HALVINGS: usize = 40;
/// Stride in which the ends of the good stretch are looked for.
const STRIDE: f64 = 1.01;
/// How close to a bound the optimum must lie for the bound to have set it.
const AT_BOUND: f64 = 2e-3;

/// What bounds the length of a sub from above; `None` = does not.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// The mount.
    pub tracking: Option<Seconds>,
    /// The turning of a guided field.
    pub field_rotation: Option<Seconds>,
    /// The brightest star to keep.
    pub star_saturation: Option<Seconds>,
    /// The sky itself.
    pub sky_saturation: Option<Seconds>,
}

/// What set the optimum's length.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
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
    Asked,
}

/// What is to be reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Demand {
    /// This signal over noise, in the least time.
    Snr(f64),
    /// The best signal over noise in this wall-clock time.
    Within(Seconds),
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
    /// Ends of the stretch about the recommended length (about the least one where a bound leaves no round length)
    /// in which every sub costs at most [`WITHIN`] more.
    pub range: (Seconds, Seconds),
    /// The shortest round length among them. Where a bound leaves none: the round length of least cost if that is at
    /// most 10 % more, else the optimum cut to two digits.
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

    pub(super) fn shortest(&self) -> f64 {
        let longest = self.longest();
        if longest > ROUND_LENGTHS_S[0] { ROUND_LENGTHS_S[0] } else { longest / 2.0 }
    }

    /// The signal over noise that is to be reached; `None` where a time is given.
    pub(super) fn demand_snr(&self) -> Option<f64> {
        match self.demand {
            Demand::Snr(snr) => Some(snr),
            Demand::Within(_) => None,
        }
    }

    fn stack(&self, subs: f64, every: f64) -> Stack {
        Stack { subs, dither_every: every, dither_box_px: self.dither_box_px, clip: self.clip }
    }

    /// Least positions that a stack must have, be it of one night.
    fn positions(&self) -> f64 {
        self.min_positions.max(self.min_positions_per_night)
    }

    /// Subs kept that the goal needs in the plane that is worst off; `None` when no number is enough.
    #[must_use]
    pub fn subs_for(&self, snr: f64, sub: Seconds, every: f64) -> Option<f64> {
        let stack = self.stack(1.0, every);
        let needed = |(noise, patch): &(PlaneNoise, Patch)| {
            let one = noise.sub(sub);
            stack.subs_needed(&one, Electrons(one.target), *patch, snr)
        };
        self.planes.iter().map(needed).try_fold(0.0_f64, |most, subs| Some(most.max(subs?)))
    }

    /// Signal over noise of the plane that is worst off.
    #[must_use]
    pub fn snr(&self, sub: Seconds, subs: f64, every: f64) -> f64 {
        let stack = self.stack(subs, every);
        let snr = |(noise, patch): &(PlaneNoise, Patch)| stack.snr(&noise.sub(sub), *patch);
        self.planes.iter().map(snr).fold(f64::MAX, f64::min)
    }

    /// Subs to shoot for each one kept: e^{λt}.
    #[must_use]
    pub fn shot_per_kept(&self, sub: Seconds) -> f64 {
        (self.losses_per_s * sub.0).exp()
    }

    /// Mean seconds of open shutter of a sub that is shot.
    ///
    /// ```text
    /// t, or (1 − e^{−λt})/λ where a spoiled sub is broken off at once
    /// ```
    ///
    /// # Source
    /// Derived here: the mean of the time to the first event of a Poisson process, cut at t.
    #[must_use]
    pub fn open_shutter(&self, sub: Seconds) -> f64 {
        let lost = self.losses_per_s * sub.0;
        if self.stops_lost && lost > 0.0 { -(-lost).exp_m1() / self.losses_per_s } else { sub.0 }
    }

    /// Seconds of the clock for one sub shot at this cadence.
    fn pace(&self, sub: Seconds, every: f64) -> f64 {
        self.open_shutter(sub) + self.between.0 + self.settle.0 / every
    }

    /// Wall-clock seconds, counts not rounded.
    ///
    /// ```text
    /// W = N e^{λt} (open + between + settle/k)
    /// ```
    #[must_use]
    pub fn wall_clock(&self, sub: Seconds, subs: f64, every: f64) -> f64 {
        subs * self.shot_per_kept(sub) * self.pace(sub, every)
    }

    /// The subs and the cost of one length and cadence; `None` where a rule is broken.
    #[must_use]
    pub fn at(&self, sub: Seconds, every: f64) -> Option<Chosen> {
        if every < 1.0 || every > self.slowest_cadence(sub) {
            return None;
        }
        self.at_any(sub, every)
    }

    /// The least cost of one length with a cadence that need not be whole: a smooth curve over lengths, for pictures.
    #[must_use]
    pub fn smooth_cost(&self, sub: Seconds) -> Option<f64> {
        let slowest = self.slowest_cadence_unrounded(sub).min(1e6);
        if slowest < 1.0 {
            return None;
        }
        // Where a rule forbids a cadence, only dithering more often can help: the search is to go there.
        let forbidden = |look: f64| f64::MAX / 1e3 * (1.0 + look);
        let cost = |look: f64| self.at_any(sub, look.exp()).map_or_else(|| forbidden(look), |chosen| chosen.cost);
        let found = golden_section(&cost, 0.0, slowest.ln());
        [0.0, found].map(cost).into_iter().min_by(f64::total_cmp).filter(|cost| *cost < forbidden(0.0))
    }

    /// [`Search::at`] with any cadence.
    fn at_any(&self, sub: Seconds, every: f64) -> Option<Chosen> {
        let floor = self.min_subs.max(self.positions() * every);
        let (subs, cost) = match self.demand {
            Demand::Snr(snr) => {
                let subs = self.subs_for(snr, sub, every)?.max(floor);
                (subs, self.wall_clock(sub, subs, every))
            }
            Demand::Within(time) => {
                let allowed = self.most_subs / self.shot_per_kept(sub);
                let subs = (time.0 / self.wall_clock(sub, 1.0, every)).min(allowed);
                (subs, self.snr(sub, subs, every).powi(-2))
            }
        };
        let shot = subs * self.shot_per_kept(sub);
        let allowed = subs >= floor * (1.0 - 1e-9) && shot <= self.most_subs * (1.0 + 1e-9) && cost.is_finite();
        allowed.then_some(Chosen { sub, dither_every: every, subs, cost })
    }

    /// The most subs between two dithers that leave a night its positions.
    fn slowest_cadence(&self, sub: Seconds) -> f64 {
        self.slowest_cadence_unrounded(sub).floor()
    }

    /// [`Search::slowest_cadence`] as a bound for a cadence that is no whole number.
    pub(super) fn slowest_cadence_unrounded(&self, sub: Seconds) -> f64 {
        let each = |time: f64, positions: f64| (time / positions - self.settle.0) / (sub.0 + self.between.0);
        let nightly = each(self.night.0, self.min_positions_per_night);
        let in_all = match self.demand {
            Demand::Snr(_) => f64::MAX,
            Demand::Within(time) => each(time.0 / self.shot_per_kept(sub), self.positions()),
        };
        // A hair of slack, for the bounds are met exactly by round numbers.
        nightly.min(in_all) * (1.0 + 1e-9)
    }

    /// The cadence of least time for one plane alone, from the closed form, clipping left out.
    pub(super) fn closed_cadence(&self, (noise, patch): &(PlaneNoise, Patch), sub: Seconds) -> f64 {
        let one = noise.sub(sub);
        let dithered = one.fixed() * (1.0 - self.stack(1.0, 1.0).overlap(*patch));
        best_cadence(one.temporal() + one.drift, dithered, self.settle, sub + self.between)
    }

    /// The best cadence for one length. The cost is convex in the cadence, so walking downhill finds it.
    #[must_use]
    pub fn best_at(&self, sub: Seconds) -> Option<Chosen> {
        let slowest = self.slowest_cadence(sub);
        let start = self
            .planes
            .iter()
            .map(|plane| self.closed_cadence(plane, sub))
            .fold(f64::MAX, f64::min)
            .min(slowest)
            .max(1.0)
            .round();
        let cost = |every: f64| self.at(sub, every).map_or(f64::INFINITY, |chosen| chosen.cost);
        let (mut every, mut step) = (start, (start / 2.0).floor().max(1.0));
        let mut least = cost(every);
        loop {
            let down = if every - step >= 1.0 { cost(every - step) } else { f64::INFINITY };
            let up = if every + step <= slowest { cost(every + step) } else { f64::INFINITY };
            // Where both ways and here are forbidden, only dithering more often can help.
            if down < least || (least.is_infinite() && down <= up && every - step >= 1.0) {
                (every, least) = (every - step, down);
            } else if up < least {
                (every, least) = (every + step, up);
            } else if step > 1.0 {
                step = (step / 2.0).floor();
            } else {
                break;
            }
        }
        self.at(sub, every)
    }

    /// The optimum over sub length and cadence.
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
        let Some(least) = self.best_at(look(at)) else { return Err(self.out_of_reach()) };
        let recommended = self.recommended(&least);
        // The cadence is whole, so the cost is a saw: only the stretch about the length itself is good throughout.
        let good =
            |sub: f64| self.best_at(Seconds(sub)).is_some_and(|chosen| chosen.cost <= least.cost * (1.0 + WITHIN));
        let with = if recommended.cost <= least.cost * (1.0 + WITHIN) { recommended.sub.0 } else { least.sub.0 };
        let end = |step: f64| {
            let mut sub = with;
            while (shortest..=longest).contains(&(sub * step)) && good(sub * step) {
                sub *= step;
            }
            let next = (sub * step).clamp(shortest, longest);
            edge(&good, sub, next)
        };
        let range = (Seconds(end(1.0 / STRIDE)), Seconds(end(STRIDE)));
        Ok(Optimum { set_by: self.set_by(&least), least, range, recommended })
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
        let cut = || self.best_at(Seconds(two_digits(least.sub.0)));
        good.or_else(fair).copied().or_else(cut).unwrap_or(*least)
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
        let floor = self.min_subs.max(self.positions());
        let nightly = self.min_positions_per_night * (self.settle.0 + least.sub.0 + self.between.0);
        let free = match self.demand {
            Demand::Snr(snr) => self.subs_for(snr, least.sub, least.dither_every).unwrap_or(f64::MAX),
            Demand::Within(_) => least.subs,
        };
        if free <= floor * (1.0 + AT_BOUND) || nightly >= self.night.0 * (1.0 - AT_BOUND) {
            return SetBy::Rejection;
        }
        if least.subs * self.shot_per_kept(least.sub) >= self.most_subs * (1.0 - AT_BOUND) {
            return SetBy::Storage;
        }
        SetBy::WallClock
    }

    /// Why nothing is feasible, and what would be.
    fn out_of_reach(&self) -> OutOfReach {
        let (shortest, longest) = (self.shortest(), self.longest());
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
                least_h: least / 3600.0,
            }
        };
        let goal = match self.demand {
            Demand::Within(time) => return too_short(time, self.min_subs.max(positions), positions),
            Demand::Snr(goal) => goal,
        };
        if self.slowest_cadence(Seconds(shortest)) < 1.0 {
            let positions = self.min_positions_per_night;
            return too_short(self.night, positions, positions);
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

/// Where in `low..high` a function with one valley is least.
pub(super) fn golden_section(cost: &impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    const INSIDE: f64 = 0.618_033_988_749_894_9;
    let (mut low, mut high) = (low, high);
    let (mut a, mut b) = (high - INSIDE * (high - low), low + INSIDE * (high - low));
    let (mut at_a, mut at_b) = (cost(a), cost(b));
    for _ in 0..HALVINGS {
        if at_a < at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - INSIDE * (high - low);
            at_a = cost(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + INSIDE * (high - low);
            at_b = cost(b);
        }
    }
    (low + high) / 2.0
}

/// The last point from `inside`, which is good, towards `end`, that is still good.
fn edge(good: &impl Fn(f64) -> bool, inside: f64, end: f64) -> f64 {
    if good(end) {
        return end;
    }
    let (mut inside, mut outside) = (inside, end);
    for _ in 0..HALVINGS / 2 {
        let middle = (inside + outside) / 2.0;
        if good(middle) { inside = middle } else { outside = middle }
    }
    inside
}

/// The first two digits of a positive number, never more than the number; 0 for anything else.
pub(super) fn two_digits(value: f64) -> f64 {
    if value.is_nan() || value <= 0.0 {
        return 0.0;
    }
    // Division by a whole power of ten prints cleanly, multiplication by its inverse does not.
    let places = 1 - value.log10().floor() as i32;
    let whole = 10_f64.powi(places.abs());
    if places > 0 { (value * whole).floor() / whole } else { (value / whole).floor() * whole }
}

/// Share of the best possible SNR² per wall-clock second that a sub length reaches.
///
/// ```text
/// f = e^{−λt} t² / ((t + τ)(t + t_o)),   τ = R²/F
/// ```
///
/// `F` is the rate of everything that makes shot noise, `t_o` the time lost at each sub, `λ` the losses per second.
///
/// # Source
/// Derived here from the CCD equation.
#[must_use]
pub fn efficiency(sub: Seconds, tau: Seconds, overhead: Seconds, losses_per_s: f64) -> f64 {
    let t = sub.0;
    (-losses_per_s * t).exp() * t * t / ((t + tau.0) * (t + overhead.0))
}

/// The sub length of the greatest [`efficiency`]; `None` without losses, where longer is always better.
///
/// ```text
/// τ/(t(t + τ)) + t_o/(t(t + t_o)) = λ
/// ```
///
/// About √((τ + t_o)/λ) when that is short against 1/λ.
///
/// # Source
/// Derived here: d ln f/dt = 0.
#[must_use]
pub fn best_sub(tau: Seconds, overhead: Seconds, losses_per_s: f64) -> Option<Seconds> {
    let (tau, overhead) = (tau.0, overhead.0);
    let upper = 2.0 / losses_per_s;
    if !upper.is_finite() || tau + overhead <= 0.0 {
        return None;
    }
    let still_rising = |t: &f64| tau / (t * (t + tau)) + overhead / (t * (t + overhead)) > losses_per_s;
    let (mut low, mut high) = (0.0, upper);
    for _ in 0..2 * HALVINGS {
        let middle = (low + high) / 2.0;
        if still_rising(&middle) { low = middle } else { high = middle }
    }
    Some(Seconds((low + high) / 2.0))
}

/// The dither cadence of the least variance per wall-clock time, not rounded; infinite without a pattern.
///
/// ```text
/// k = √(a t_δ / (b (t + t_r)))
/// ```
///
/// `a` is the variance of a sub that averages over subs, `b` the one that averages over dithers, `settle` is `t_δ`.
///
/// # Source
/// Derived here: the minimum of (a + b k)(t + t_r + t_δ/k).
#[must_use]
pub fn best_cadence(averaging: f64, fixed: f64, settle: Seconds, sub_and_readout: Seconds) -> f64 {
    if fixed <= 0.0 { f64::MAX } else { (averaging * settle.0 / (fixed * sub_and_readout.0)).sqrt() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_digits_are_cut_and_clean() {
        let cases = [(4.278, 4.2), (299.99, 290.0), (29.0, 29.0), (0.0416, 0.041), (f64::NAN, 0.0), (-1.0, 0.0)];
        for (value, cut) in cases {
            assert_eq!(two_digits(value), cut);
        }
    }
}
