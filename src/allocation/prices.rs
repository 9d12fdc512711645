//! What information is worth to each filter, so that all needs are met in the same share.

use super::Problem;
use super::stretch::{Slot, value};

/// Rounds after which the shares are taken as they are, where the last percent counts and where not.
const ROUNDS: [usize; 2] = [400, 60];
/// The share of the needs that is met and the most that could be differ by no more than this.
const CLOSE: [f64; 2] = [2e-3, 5e-3];
/// How much sharper than in proportion the first bids follow known prices.
const SHARPNESS: f64 = 24.0;

/// Prices, kept from one question about a problem to the next.
pub(crate) struct Market {
    /// Worth of a unit of information of each filter; the needs together are worth 1.
    pub(crate) prices: Vec<f64>,
}

impl Market {
    /// Prices at which every filter's need would take as long in the mean of all blocks.
    pub(crate) fn new(problem: &Problem<'_>) -> Self {
        let mean = |filter: usize| {
            let blocks = problem.nights.iter().flatten();
            let (sum, hours) = blocks
                .fold((0.0, 0.0), |(sum, hours), block| (sum + block.rates[filter] * block.hours, hours + block.hours));
            if hours > 0.0 { sum / hours } else { 0.0 }
        };
        let inverse = |filter: usize, need: f64| {
            let mean = mean(filter);
            if need > 0.0 && mean > 0.0 { 1.0 / mean } else { 0.0 }
        };
        let prices = problem.needs.iter().enumerate().map(|(filter, need)| inverse(filter, *need)).collect();
        Self { prices: normalised(prices, problem.needs) }
    }

    /// What some slots are worth at the known prices: no less than the share of all needs that they can meet.
    pub(crate) fn worth(&self, problem: &Problem<'_>, slots: &[Slot]) -> f64 {
        let of = |slot: &Slot| value(&problem.nights[slot.night][slot.block].rates, &self.prices) * slot.hours;
        slots.iter().map(of).sum()
    }

    /// Finds the prices at which these slots meet the same share of every need, and that share.
    ///
    /// Each filter spends its budget on slots in proportion to what they brought it the round before; budgets follow what is
    /// still missing. The prices are budgets over information.
    ///
    /// # Source
    /// Proportional response in a linear Fisher market (Zhang 2011, Theoretical Computer Science 412, 2691, from memory);
    /// the bound on the share is the dual of the linear programme.
    pub(crate) fn settle(&mut self, problem: &Problem<'_>, slots: &[Slot]) -> f64 {
        let filters: Vec<usize> = (0..problem.needs.len()).filter(|filter| problem.needs[*filter] > 0.0).collect();
        let rates = |slot: &Slot| &problem.nights[slot.night][slot.block].rates;
        let information = |filter: usize| slots.iter().map(|slot| rates(slot)[filter] * slot.hours).sum::<f64>();
        if let [one] = filters[..] {
            let mut prices = vec![0.0; problem.needs.len()];
            prices[one] = 1.0 / problem.needs[one];
            self.prices = prices;
            return information(one) / problem.needs[one];
        }
        if filters.iter().any(|filter| information(*filter) <= 0.0) {
            return 0.0;
        }
        let count = filters.len();
        // What each slot brings each filter as a share of its need.
        let gains: Vec<f64> = slots
            .iter()
            .flat_map(|slot| filters.iter().map(|filter| rates(slot)[*filter] * slot.hours / problem.needs[*filter]))
            .collect();
        let worth: Vec<f64> = filters.iter().map(|filter| self.prices[*filter] * problem.needs[*filter]).collect();
        let (worth, met) = shares(&gains, count, worth, problem.thorough());
        for (filter, worth) in filters.iter().zip(worth) {
            self.prices[*filter] = worth / problem.needs[*filter];
        }
        self.prices = normalised(std::mem::take(&mut self.prices), problem.needs);
        met
    }
}

/// Prices at which all needs together are worth 1.
fn normalised(prices: Vec<f64>, needs: &[f64]) -> Vec<f64> {
    let total: f64 = prices.iter().zip(needs).map(|(price, need)| price * need).sum();
    if total > 0.0 { prices.into_iter().map(|price| price / total).collect() } else { prices }
}

/// What the whole need of each of `count` filters is worth, and the share of all needs that can be met: the most that the
/// prices allow where they are close, so that what whole blocks can do is not refused for a hair.
fn shares(gains: &[f64], count: usize, guess: Vec<f64>, thorough: bool) -> (Vec<f64>, f64) {
    let how = usize::from(!thorough);
    let mut bids: Vec<f64> = gains
        .chunks(count)
        .flat_map(|slot| {
            let best = value(slot, &guess).max(f64::MIN_POSITIVE);
            slot.iter()
                .zip(&guess)
                .map(move |(gain, price)| gain * (gain * price / best).powf(SHARPNESS))
                .collect::<Vec<_>>()
        })
        .map(|bid| bid.max(f64::MIN_POSITIVE))
        .collect();
    let mut budgets = vec![1.0 / count as f64; count];
    let (mut worth, mut least_bound) = (guess, f64::INFINITY);
    let mut best = 0.0_f64;
    for round in 0..ROUNDS[how] {
        let mut reached = vec![0.0; count];
        for (slot, bid) in gains.chunks(count).zip(bids.chunks_mut(count)) {
            let all: f64 = bid.iter().sum();
            for ((gain, bid), reached) in slot.iter().zip(bid).zip(&mut reached) {
                // From here on what the filter gets of the slot.
                *bid = gain * *bid / all;
                *reached += *bid;
            }
        }
        let prices: Vec<f64> = budgets.iter().zip(&reached).map(|(budget, reached)| budget / reached).collect();
        let bound = gains.chunks(count).map(|slot| value(slot, &prices)).sum::<f64>() / prices.iter().sum::<f64>();
        let met = reached.iter().copied().fold(f64::INFINITY, f64::min);
        best = best.max(met);
        if round > 0 && bound < least_bound {
            (worth, least_bound) = (prices.clone(), bound);
        }
        if best >= least_bound * (1.0 - CLOSE[how]) {
            break;
        }
        let wanted: Vec<f64> = budgets.iter().zip(&reached).map(|(budget, reached)| budget / reached.sqrt()).collect();
        let all: f64 = wanted.iter().sum();
        budgets = wanted.into_iter().map(|budget| budget / all).collect();
        for bid in bids.chunks_mut(count) {
            for ((bid, budget), reached) in bid.iter_mut().zip(&budgets).zip(&reached) {
                *bid = (*bid / reached * budget).max(f64::MIN_POSITIVE);
            }
        }
    }
    (worth, least_bound)
}
