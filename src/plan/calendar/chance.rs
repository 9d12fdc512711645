//! The chance that a plan is done after so many nights, some of them cloudy.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

use crate::allocation::Problem;

/// Runs of weather: the chance is good to half a percent.
const RUNS: usize = 10_000;
/// The weather of the plan is the same each time it is asked for.
const SEED: u64 = 7;
/// A need that is met but for this share is met.
const ROUNDING_SLACK: f64 = 1e-9;

/// What is left to do in one run of the weather.
struct Runs {
    filters: usize,
    /// What each filter still needs, run by run.
    left: Vec<f64>,
    /// The filters that are still open, a bit each.
    open: Vec<usize>,
}

/// What a clear night brings the filters that are still open.
struct NightGain<'a> {
    problem: &'a Problem<'a>,
    night: usize,
    prices: &'a [f64],
    /// For each set of open filters that was met so far what each of them gains: a handful, looked through from the first.
    by_open: Vec<(usize, Vec<f64>)>,
}

/// The chance to be done by the end of each night.
///
/// A night is clear or not, whatever the one before was; real clouds come in spells, which widens it. In each run the clear
/// nights are used whole, and every hour goes to the open filter to which it is worth most: what is left is planned anew
/// after each of them. Each night is clear in its share of all runs, in a random order.
pub(super) fn chances(problem: &Problem<'_>, prices: &[f64], clear: impl Fn(usize) -> f64) -> Vec<f64> {
    let filters = problem.needs.len();
    let open = (0..filters).filter(|f| problem.needs[*f] > 0.0).fold(0, |set, filter| set | 1_usize << filter);
    let mut runs = Runs { filters, left: problem.needs.repeat(RUNS), open: vec![open; RUNS] };
    let mut random = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let mut order: Vec<u32> = (0..RUNS as u32).collect();
    let mut by_night = Vec::with_capacity(problem.nights.len());
    for night in 0..problem.nights.len() {
        let mut gain = NightGain { problem, night, prices, by_open: Vec::new() };
        let clear = (clear(night) * RUNS as f64).round() as usize;
        // The clear runs are the first of a shuffled order (Fisher and Yates).
        for place in 0..clear.min(RUNS) {
            let other = place + (random.next_u64() % (RUNS - place) as u64) as usize;
            order.swap(place, other);
            runs.spend(order[place] as usize, &mut gain);
        }
        let done = runs.open.iter().filter(|open| **open == 0).count();
        by_night.push(done as f64 / RUNS as f64);
        if done == RUNS {
            break;
        }
    }
    // From where all runs are done they stay so.
    by_night.resize(problem.nights.len(), 1.0);
    by_night
}

impl NightGain<'_> {
    fn of(&mut self, open: usize) -> &[f64] {
        let known = self.by_open.iter().position(|(set, _)| *set == open);
        let place = known.unwrap_or_else(|| {
            self.by_open.push((open, self.problem.gain_of(self.night, self.prices, open)));
            self.by_open.len() - 1
        });
        &self.by_open[place].1
    }
}

impl Runs {
    /// A clear night of one run.
    fn spend(&mut self, run: usize, night: &mut NightGain<'_>) {
        let left = &mut self.left[run * self.filters..][..self.filters];
        let (mut open, mut share) = (self.open[run], 1.0);
        while open != 0 && share > 0.0 {
            let gain = night.of(open);
            let pairs = || left.iter().zip(gain).enumerate().filter(|(filter, _)| open >> filter & 1 == 1);
            // Until the first filter is done.
            let until = |(left, gain): (&f64, &f64)| if *gain > 0.0 { left / gain } else { f64::INFINITY };
            let used = pairs().map(|(_, pair)| until(pair)).fold(share, f64::min);
            let mut still = open;
            for (filter, (left, gain)) in left.iter_mut().zip(gain).enumerate() {
                if open >> filter & 1 == 1 {
                    *left -= used * gain;
                    if *left <= ROUNDING_SLACK {
                        still &= !(1 << filter);
                    }
                }
            }
            share -= used;
            if still == open {
                break;
            }
            open = still;
        }
        self.open[run] = open;
    }
}
