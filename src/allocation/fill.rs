//! Hours to filters in the order of time, so that filters change seldom and every need is met.

use std::collections::BTreeMap;

use pulp::Arch;

use super::Problem;
use super::stretch::{Slot, value};

/// Filters that pay this much less for an hour are as good: what is lost by it at most. Where hours are so scarce that the
/// first leaves a need unmet, the others are tried.
const ALIKE: [f64; 4] = [5e-3, 5e-4, 2e-2, 6e-2];
/// What of a need may be left by the rounding of floats.
const ROUNDING_SLACK: f64 = 1e-9;
/// Sets of filters are looked at one by one up to so many filters; beyond, only single ones, and all.
const ALL_SETS_UP_TO: usize = 8;

/// Part of a slot with one filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Portion {
    pub(crate) slot: Slot,
    pub(crate) filter: usize,
}

/// What is still to be given, in the worth of information.
struct Filling<'a> {
    /// Still needed by each filter.
    left: Vec<f64>,
    /// Still needed by each set of filters.
    needed: Vec<f64>,
    /// What later slots can bring to each set of filters.
    later: Vec<f64>,
    sets: &'a [u64],
}

impl<'a> Filling<'a> {
    fn new(left: Vec<f64>, sets: &'a [u64]) -> Self {
        let needed = sets.iter().map(|set| members(*set).map(|member| left[member]).sum()).collect();
        Self { left, needed, later: vec![0.0; sets.len()], sets }
    }

    /// A filter gets so much.
    #[inline(always)]
    fn give(&mut self, filter: usize, worth: f64) {
        self.left[filter] -= worth;
        for (set, needed) in self.sets.iter().zip(&mut self.needed) {
            *needed -= if set >> filter & 1 == 1 { worth } else { 0.0 };
        }
    }

    /// Later slots bring so much more to every set that holds one of the filters that it suits.
    #[inline(always)]
    fn add(&mut self, suited: u64, worth: f64) {
        // Without a branch: this is done for each slot, and all sets at once.
        for (set, later) in self.sets.iter().zip(&mut self.later) {
            *later += if set & suited != 0 { worth } else { 0.0 };
        }
    }

    /// The most of a slot that a filter may take: the others of every set that cannot wait get theirs.
    #[inline(always)]
    fn most(&self, filter: usize, worth: f64) -> f64 {
        let mut cannot_wait = 0.0;
        for ((set, needed), later) in self.sets.iter().zip(&self.needed).zip(&self.later) {
            let missing = if set >> filter & 1 == 0 { needed - later } else { 0.0 };
            cannot_wait = if missing > cannot_wait { missing } else { cannot_wait };
        }
        self.left[filter].min((worth - cannot_wait).max(0.0))
    }
}

fn members(set: u64) -> impl Iterator<Item = usize> {
    let smallest = |set: &u64| (*set != 0).then_some(*set);
    std::iter::successors(smallest(&set), move |set| smallest(&(set & (set - 1))))
        .map(|set| set.trailing_zeros() as usize)
}

fn sets_of(filters: usize) -> Vec<u64> {
    if filters <= ALL_SETS_UP_TO {
        return (1..1_u64 << filters).collect();
    }
    let single = (0..filters).map(|filter| 1 << filter);
    single.chain([(1 << filters) - 1]).collect()
}

/// Fills the slots; `None` where a need is not met.
pub(crate) fn fill(problem: &Problem<'_>, slots: &[Slot], prices: &[f64]) -> Option<Vec<Portion>> {
    let several = problem.needs.iter().filter(|need| **need > 0.0).count() > 1;
    ALIKE
        .into_iter()
        .take(if several { ALIKE.len() } else { 1 })
        .find_map(|alike| Arch::new().dispatch(|| filled(problem, slots, prices, alike)))
}

/// The loops over the sets, four at once where the machine has the instructions.
#[inline(always)]
fn filled(problem: &Problem<'_>, slots: &[Slot], prices: &[f64], alike: f64) -> Option<Vec<Portion>> {
    let filters = problem.needs.len();
    let sets = sets_of(filters);
    let rates = |slot: &Slot| &problem.nights[slot.night][slot.block].rates;
    let worths: Vec<f64> = slots.iter().map(|slot| value(rates(slot), prices) * slot.hours).collect();
    let suited: Vec<u64> = slots
        .iter()
        .zip(&worths)
        .map(|(slot, worth)| {
            let least = worth * (1.0 - alike);
            let paid = rates(slot).iter().zip(prices).map(|(rate, price)| rate * price * slot.hours);
            paid.enumerate().fold(0, |set, (filter, paid)| set | u64::from(paid > 0.0 && paid >= least) << filter)
        })
        .collect();
    let needs = problem.needs.iter().zip(prices).map(|(need, price)| need * price);
    let mut filling = Filling::new(needs.collect(), &sets);
    let mut by_suited = BTreeMap::new();
    for (worth, suited) in worths.iter().zip(&suited) {
        *by_suited.entry(*suited).or_insert(0.0) += worth;
    }
    for (suited, worth) in by_suited {
        filling.add(suited, worth);
    }
    let mut portions: Vec<Portion> = Vec::new();
    let mut idle = Vec::new();
    let mut last = None;
    for ((slot, suited), worth) in slots.iter().zip(&suited).zip(&worths) {
        filling.add(*suited, -worth);
        let mut rest = *slot;
        // The filter at hand goes on while it may; then the others in their order.
        let (at_hand, held) = (last, *suited);
        let order =
            at_hand.into_iter().filter(|f| held >> f & 1 == 1).chain(members(held).filter(|f| Some(*f) != at_hand));
        for filter in order {
            let paid = rates(slot)[filter] * prices[filter];
            let taken = filling.most(filter, paid * rest.hours);
            if taken <= ROUNDING_SLACK {
                continue;
            }
            let hours = (taken / paid).min(rest.hours);
            portions.push(Portion { slot: Slot { hours, ..rest }, filter });
            filling.give(filter, hours * paid);
            rest = Slot { after_h: rest.after_h + hours, hours: rest.hours - hours, ..rest };
            last = Some(filter);
        }
        if rest.hours > ROUNDING_SLACK {
            idle.push(rest);
        }
    }
    // What a hair left over finds room where it is worth less.
    for slot in idle {
        let mut rest = slot;
        let mut open: Vec<usize> = (0..filters).filter(|f| filling.left[*f] > ROUNDING_SLACK).collect();
        open.sort_by(|a, b| (rates(&slot)[*b] * prices[*b]).total_cmp(&(rates(&slot)[*a] * prices[*a])));
        for filter in open {
            let paid = rates(&slot)[filter] * prices[filter];
            if paid <= 0.0 || rest.hours <= 0.0 {
                continue;
            }
            let hours = (filling.left[filter] / paid).min(rest.hours);
            portions.push(Portion { slot: Slot { hours, ..rest }, filter });
            filling.give(filter, hours * paid);
            rest = Slot { after_h: rest.after_h + hours, hours: rest.hours - hours, ..rest };
        }
    }
    portions.sort_by(|a, b| {
        let key = |portion: &Portion| (portion.slot.night, portion.slot.block);
        key(a).cmp(&key(b)).then(a.slot.after_h.total_cmp(&b.slot.after_h))
    });
    filling.left.iter().all(|left| *left <= 1e-6).then_some(portions)
}
