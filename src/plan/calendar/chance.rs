//! The chance that a plan is done after so many nights, some of them cloudy.

use std::collections::BTreeMap;

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

use crate::allocation::Problem;

/// Runs of weather: the chance is good to half a percent.
const RUNS: usize = 10_000;
/// The weather of the plan is the same each time it is asked for.
const SEED: u64 = 7;
/// A need that is met but for this share is met.
const ROUNDING_SLACK: f64 = 1e-9;

/// What a clear night brings the filters that are still open.
struct NightGain<'a> {
    problem: &'a Problem<'a>,
    night: usize,
    prices: &'a [f64],
    /// For each set of open filters that was met so far what each of them gains.
    by_open: BTreeMap<usize, Vec<f64>>,
}

/// The chance to be done by the end of each night.
///
/// A night is clear or not, whatever the one before was; real clouds come in spells, which widens it. In each run the clear
/// nights are used whole, and every hour goes to the open filter to which it is worth most: what is left is planned anew
/// after each of them. Each night is clear in its share of all runs, in a random order.
pub(super) fn chances(problem: &Problem<'_>, prices: &[f64], clear: impl Fn(usize) -> f64) -> Vec<f64> {
    let filters = problem.needs.len();
    let open = (0..filters).filter(|f| problem.needs[*f] > 0.0).fold(0, |set, filter| set | 1_usize << filter);
    let mut runs = vec![(problem.needs.to_vec(), open); RUNS];
    let mut random = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let mut order: Vec<usize> = (0..RUNS).collect();
    let mut by_night = Vec::with_capacity(problem.nights.len());
    for night in 0..problem.nights.len() {
        let mut gain = NightGain { problem, night, prices, by_open: BTreeMap::new() };
        let clear = (clear(night) * RUNS as f64).round() as usize;
        // The clear runs are the first of a shuffled order (Fisher and Yates).
        for place in 0..clear.min(RUNS) {
            let other = place + (random.next_u64() % (RUNS - place) as u64) as usize;
            order.swap(place, other);
            let (left, open) = &mut runs[order[place]];
            *open = gain.spend(left, *open);
        }
        let done = runs.iter().filter(|(_, open)| *open == 0).count();
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
    /// What is left after the night, and which filters are still open.
    fn spend(&mut self, left: &mut [f64], open: usize) -> usize {
        let (mut open, mut share) = (open, 1.0);
        while open != 0 && share > 0.0 {
            let of_night = || self.problem.gain_of(self.night, self.prices, open);
            let gain = self.by_open.entry(open).or_insert_with(of_night);
            // Until the first filter is done.
            let until = |filter: usize| if gain[filter] > 0.0 { left[filter] / gain[filter] } else { f64::INFINITY };
            let members = || (0..left.len()).filter(move |filter| open >> filter & 1 == 1);
            let used = members().map(until).fold(share, f64::min);
            let mut still = open;
            for filter in members() {
                left[filter] -= used * gain[filter];
                if left[filter] <= ROUNDING_SLACK {
                    still &= !(1 << filter);
                }
            }
            share -= used;
            if still == open {
                break;
            }
            open = still;
        }
        open
    }
}
