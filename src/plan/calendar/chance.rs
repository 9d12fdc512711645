//! The chance that a plan is done after so many nights, some of them cloudy.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

use super::assign::Problem;

/// Runs of weather: the chance is good to half a percent.
const RUNS: usize = 10_000;
/// The weather of the plan is the same each time it is asked for.
const SEED: u64 = 7;
/// A need that is met but for this share is met.
const ROUNDING_SLACK: f64 = 1e-9;
/// Sets of open filters are told apart up to so many filters; beyond, what is open shares the nights as the whole plan does.
const MOST_FILTERS: usize = 8;

/// What a clear night brings, whatever filters are still open.
struct NightGain {
    /// For each set of open filters what each of them gains; empty sets are left out.
    by_open: Vec<Vec<f64>>,
}

/// The chance to be done by the end of each night.
///
/// A night is clear or not, whatever the one before was; real clouds come in spells, which widens it. In each run the clear
/// nights are used whole, and every hour goes to the open filter to which it is worth most: what is left is planned anew
/// after each of them.
pub(super) fn chances(problem: &Problem<'_>, prices: &[f64], clear: impl Fn(usize) -> f64) -> Vec<f64> {
    let filters = problem.needs.len();
    let nights: Vec<NightGain> =
        (0..problem.nights.len()).map(|night| NightGain::new(problem, night, prices)).collect();
    let clear: Vec<f64> = (0..nights.len()).map(clear).collect();
    let mut random = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let mut done_by = vec![0_usize; nights.len()];
    for _ in 0..RUNS {
        let mut left = problem.needs.to_vec();
        let mut open = (0..filters).filter(|filter| left[*filter] > 0.0).fold(0, |set, filter| set | 1_usize << filter);
        for (night, gain) in nights.iter().enumerate() {
            let fair = (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
            if fair < clear[night] {
                open = gain.spend(&mut left, open);
            }
            if open == 0 {
                done_by[night] += 1;
                break;
            }
        }
    }
    let mut so_far = 0;
    let of_runs = |count: usize| {
        so_far += count;
        so_far as f64 / RUNS as f64
    };
    done_by.into_iter().map(of_runs).collect()
}

impl NightGain {
    fn new(problem: &Problem<'_>, night: usize, prices: &[f64]) -> Self {
        let filters = problem.needs.len();
        let sets = if filters <= MOST_FILTERS { 1_usize << filters } else { 0 };
        let by_open = (0..sets).map(|open| problem.gain_of(night, prices, open)).collect();
        Self { by_open }
    }

    /// What is left after the night, and which filters are still open.
    fn spend(&self, left: &mut [f64], open: usize) -> usize {
        let (mut open, mut share) = (open, 1.0);
        while open != 0 && share > 0.0 {
            let Some(gain) = self.by_open.get(open) else { return open };
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
