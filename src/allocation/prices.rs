//! What information is worth to each filter, so that all needs are met in the same share.

use pulp::Arch;

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
        if slots.is_empty() || filters.iter().any(|filter| information(*filter) <= 0.0) {
            return 0.0;
        }
        // What each slot brings each filter as a share of its need, filter by filter.
        let gains: Vec<f64> = filters
            .iter()
            .flat_map(|filter| slots.iter().map(|slot| rates(slot)[*filter] * slot.hours / problem.needs[*filter]))
            .collect();
        let worth: Vec<f64> = filters.iter().map(|filter| self.prices[*filter] * problem.needs[*filter]).collect();
        let thorough = problem.thorough();
        let (worth, met) = Arch::new().dispatch(|| shares(&gains, slots.len(), worth, thorough));
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

/// What the whole need of each filter is worth, and the share of all needs that can be met: the most that the prices allow
/// where they are close, so that what whole blocks can do is not refused for a hair.
///
/// `gains` are those of each of so many `slots` for the first filter, then for the next; each loop goes over slots, several
/// at once where the machine has the instructions.
#[inline(always)]
fn shares(gains: &[f64], slots: usize, guess: Vec<f64>, thorough: bool) -> (Vec<f64>, f64) {
    let (how, count) = (usize::from(!thorough), guess.len());
    let mut of_slots = vec![0.0; slots];
    most_paid(gains, &guess, &mut of_slots);
    let mut bids: Vec<f64> = gains
        .chunks(slots)
        .zip(&guess)
        .flat_map(|(gains, price)| {
            let sharp =
                |(gain, best): (&f64, &f64)| gain * (gain * price / best.max(f64::MIN_POSITIVE)).powf(SHARPNESS);
            gains.iter().zip(&of_slots).map(sharp).collect::<Vec<_>>()
        })
        .map(|bid| bid.max(f64::MIN_POSITIVE))
        .collect();
    let mut budgets = vec![1.0 / count as f64; count];
    let (mut worth, mut least_bound) = (guess, f64::INFINITY);
    let mut best = 0.0_f64;
    let mut reached = vec![0.0; count];
    for round in 0..ROUNDS[how] {
        of_slots.fill(0.0);
        for bids in bids.chunks(slots) {
            of_slots.iter_mut().zip(bids).for_each(|(all, bid)| *all += bid);
        }
        of_slots.iter_mut().for_each(|all| *all = 1.0 / *all);
        for ((gains, bids), reached) in gains.chunks(slots).zip(bids.chunks_mut(slots)).zip(&mut reached) {
            // From here on what the filter gets of the slot.
            bids.iter_mut().zip(gains).zip(&of_slots).for_each(|((bid, gain), of_all)| *bid *= gain * of_all);
            *reached = sum(bids);
        }
        let prices: Vec<f64> = budgets.iter().zip(&reached).map(|(budget, reached)| budget / reached).collect();
        most_paid(gains, &prices, &mut of_slots);
        let bound = sum(&of_slots) / prices.iter().sum::<f64>();
        let met = reached.iter().copied().fold(f64::INFINITY, f64::min);
        best = best.max(met);
        if round > 0 && bound < least_bound {
            (worth, least_bound) = (prices, bound);
        }
        if best >= least_bound * (1.0 - CLOSE[how]) {
            break;
        }
        let wanted: Vec<f64> = budgets.iter().zip(&reached).map(|(budget, reached)| budget / reached.sqrt()).collect();
        let all: f64 = wanted.iter().sum();
        budgets = wanted.into_iter().map(|budget| budget / all).collect();
        for ((bids, budget), reached) in bids.chunks_mut(slots).zip(&budgets).zip(&reached) {
            let spent = budget / reached;
            bids.iter_mut().for_each(|bid| *bid = larger(*bid * spent, f64::MIN_POSITIVE));
        }
    }
    (worth, least_bound)
}

/// For each slot what the filter pays that pays most.
#[inline(always)]
fn most_paid(gains: &[f64], prices: &[f64], of_slots: &mut [f64]) {
    of_slots.fill(0.0);
    for (gains, price) in gains.chunks(of_slots.len()).zip(prices) {
        of_slots.iter_mut().zip(gains).for_each(|(most, gain)| *most = larger(gain * price, *most));
    }
}

/// The larger of two numbers, of which none is NaN: one instruction, also for several at once.
#[inline(always)]
pub(super) fn larger(one: f64, other: f64) -> f64 {
    if one > other { one } else { other }
}

/// The sum, in four lanes.
#[inline(always)]
fn sum(values: &[f64]) -> f64 {
    let (fours, rest) = values.as_chunks::<4>();
    let mut lanes = [0.0; 4];
    for four in fours {
        lanes.iter_mut().zip(four).for_each(|(lane, value)| *lane += value);
    }
    lanes.iter().chain(rest).sum()
}
