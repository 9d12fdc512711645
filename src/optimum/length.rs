//! One sub length over its cadences: what the length alone decides is computed once.

use crate::noise::{Patch, Stack, SubNoise};
use crate::units::{Electrons, Seconds};

use super::{Chosen, Demand, Search, best_cadence, golden_section};

/// A sub length of a [`Search`].
#[derive(Debug, Clone)]
pub struct Length<'search> {
    search: &'search Search,
    sub: Seconds,
    planes: Vec<(SubNoise, Patch)>,
    shot_per_kept: f64,
    open_shutter: f64,
    slowest: f64,
}

impl Search {
    /// The search at one sub length.
    #[must_use]
    pub fn length(&self, sub: Seconds) -> Length<'_> {
        let shot_per_kept = self.shot_per_kept(sub);
        let cadence_for = |time: f64, positions: f64| (time / positions - self.settle.0) / (sub.0 + self.between.0);
        let nightly = cadence_for(self.night.0, self.min_positions_per_night);
        let nightly = if self.asked.every.is_some() { f64::MAX } else { nightly };
        let in_all = match self.demand {
            Demand::Snr(_) => f64::MAX,
            Demand::Within(_) if self.asked.every.is_some() => f64::MAX,
            Demand::Within(time) => cadence_for(time.0 / shot_per_kept, self.positions()),
        };
        Length {
            search: self,
            sub,
            planes: self.planes.iter().map(|(noise, patch)| (noise.sub(sub), *patch)).collect(),
            shot_per_kept,
            open_shutter: self.open_shutter(sub),
            // A hair of slack, for the bounds are met exactly by round numbers.
            slowest: nightly.min(in_all) * (1.0 + 1e-9),
        }
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

    /// Mean seconds of the clock for a sub that is shot.
    pub(crate) fn pace(&self, sub: Seconds, every: f64) -> f64 {
        self.pace_of(self.open_shutter(sub), every)
    }

    fn pace_of(&self, open_shutter: f64, every: f64) -> f64 {
        open_shutter + self.between.0 + self.settle.0 / every
    }

    /// Time on the clock of so many subs that are shot and so many dithers.
    pub(crate) fn clock(&self, sub: Seconds, shot: f64, dithers: f64) -> Seconds {
        Seconds(shot * (self.open_shutter(sub) + self.between.0) + dithers * self.settle.0)
    }

    /// [`Length::subs_for`] of one length.
    #[must_use]
    pub fn subs_for(&self, snr: f64, sub: Seconds, every: f64) -> Option<f64> {
        self.length(sub).subs_for(snr, every)
    }

    /// [`Length::snr`] of one length.
    #[must_use]
    pub fn snr(&self, sub: Seconds, subs: f64, every: f64) -> f64 {
        self.length(sub).snr(subs, every)
    }

    /// [`Length::wall_clock`] of one length.
    #[must_use]
    pub fn wall_clock(&self, sub: Seconds, subs: f64, every: f64) -> f64 {
        self.length(sub).wall_clock(subs, every)
    }

    /// [`Length::at`] of one length.
    #[must_use]
    pub fn at(&self, sub: Seconds, every: f64) -> Option<Chosen> {
        self.length(sub).at(every)
    }

    /// [`Length::smooth_cost`] of one length.
    #[must_use]
    pub fn smooth_cost(&self, sub: Seconds) -> Option<f64> {
        self.length(sub).smooth_cost()
    }

    /// [`Length::best`] of one length.
    #[must_use]
    pub fn best_at(&self, sub: Seconds) -> Option<Chosen> {
        self.length(sub).best()
    }
}

impl Length<'_> {
    fn stack(&self, subs: f64, every: f64) -> Stack {
        Stack { subs, dither_every: every, dither_box_px: self.search.dither_box_px, clip: self.search.clip }
    }

    /// Subs kept that the goal needs in the plane that is worst off; `None` when no number is enough.
    #[must_use]
    pub fn subs_for(&self, snr: f64, every: f64) -> Option<f64> {
        self.subs_of_planes(snr, every).try_fold(0.0_f64, |most, subs| Some(most.max(subs?)))
    }

    fn subs_of_planes(&self, snr: f64, every: f64) -> impl Iterator<Item = Option<f64>> {
        let stack = self.stack(1.0, every);
        self.planes.iter().map(move |(one, patch)| stack.subs_needed(one, Electrons(one.target), *patch, snr))
    }

    /// Whether no plane needs more subs than this one; `false` where it cannot reach the goal.
    pub(crate) fn governs(&self, plane: usize, snr: f64, every: f64) -> bool {
        let own = self.subs_of_planes(snr, every).nth(plane).flatten();
        own.is_some() && own == self.subs_for(snr, every)
    }

    /// Signal over noise of the plane that is worst off.
    #[must_use]
    pub fn snr(&self, subs: f64, every: f64) -> f64 {
        let stack = self.stack(subs, every);
        self.planes.iter().map(|(one, patch)| stack.snr(one, *patch)).fold(f64::MAX, f64::min)
    }

    /// Wall-clock seconds, counts not rounded.
    ///
    /// ```text
    /// W = N e^{λt} (open + between + settle/k)
    /// ```
    #[must_use]
    pub fn wall_clock(&self, subs: f64, every: f64) -> f64 {
        subs * self.shot_per_kept * self.search.pace_of(self.open_shutter, every)
    }

    /// The most subs between two dithers that leave a night its positions.
    pub(super) fn slowest_cadence(&self) -> f64 {
        self.slowest.floor()
    }

    /// [`Length::slowest_cadence`] as a bound for a cadence that is no whole number.
    pub(crate) fn slowest_cadence_unrounded(&self) -> f64 {
        self.slowest
    }

    /// The cadence of least time for each plane alone, from the closed form, clipping left out.
    pub(crate) fn closed_cadences(&self) -> impl Iterator<Item = f64> {
        let stack = self.stack(1.0, 1.0);
        self.planes.iter().map(move |(one, patch)| {
            let fixed = stack.fixed_noise(one, *patch);
            let shared: f64 = stack.shared(one, *patch).iter().sum();
            let dithered = (fixed.once - fixed.floor).max(0.0);
            best_cadence(
                one.temporal() + one.drift + shared,
                dithered,
                self.search.settle,
                self.sub + self.search.between,
            )
        })
    }

    /// The subs and the cost of one cadence; `None` where a rule is broken.
    #[must_use]
    pub fn at(&self, every: f64) -> Option<Chosen> {
        if every < 1.0 || every > self.slowest_cadence() {
            return None;
        }
        self.at_any(every)
    }

    /// [`Length::at`] with any cadence.
    fn at_any(&self, every: f64) -> Option<Chosen> {
        let search = self.search;
        let floor = search.least_subs(every);
        let (subs, cost) = match search.demand {
            Demand::Snr(snr) => {
                let subs = self.subs_for(snr, every)?.max(floor);
                (subs, self.wall_clock(subs, every))
            }
            Demand::Within(time) => {
                let allowed = search.most_subs / self.shot_per_kept;
                let subs = (time.0 / self.wall_clock(1.0, every)).min(allowed);
                (subs, self.snr(subs, every).powi(-2))
            }
        };
        let shot = subs * self.shot_per_kept;
        let allowed = subs >= floor * (1.0 - 1e-9) && shot <= search.most_subs * (1.0 + 1e-9) && cost.is_finite();
        allowed.then_some(Chosen { sub: self.sub, dither_every: every, subs, cost })
    }

    /// The least cost with a cadence that need not be whole: a smooth curve over lengths, for pictures.
    #[must_use]
    pub fn smooth_cost(&self) -> Option<f64> {
        if let Some(every) = self.search.asked.every {
            return self.at(every).map(|chosen| chosen.cost);
        }
        let slowest = self.slowest.min(1e6);
        if slowest < 1.0 {
            return None;
        }
        // Where a rule forbids a cadence, only dithering more often can help: the search is to go there.
        let forbidden = |look: f64| f64::MAX / 1e3 * (1.0 + look);
        let cost = |look: f64| self.at_any(look.exp()).map_or_else(|| forbidden(look), |chosen| chosen.cost);
        let found = golden_section(&cost, 0.0, slowest.ln());
        [0.0, found].map(cost).into_iter().min_by(f64::total_cmp).filter(|cost| *cost < forbidden(0.0))
    }

    /// The best cadence, or the one that was asked for. The cost is convex in the cadence, so walking downhill finds it.
    #[must_use]
    pub fn best(&self) -> Option<Chosen> {
        if let Some(every) = self.search.asked.every {
            return self.at(every);
        }
        let slowest = self.slowest_cadence();
        let start = self.closed_cadences().fold(f64::MAX, f64::min).min(slowest).max(1.0).round();
        let cost = |every: f64| self.at(every).map_or(f64::INFINITY, |chosen| chosen.cost);
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
        self.at(every)
    }
}
