//! Hours to filters in the order of time, so that filters change seldom and every need is met.

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
    fn give(&mut self, filter: usize, worth: f64) {
        self.left[filter] -= worth;
        for (set, needed) in self.sets.iter().zip(&mut self.needed) {
            if set >> filter & 1 == 1 {
                *needed -= worth;
            }
        }
    }

    /// Later slots bring so much more to every set that holds one of the filters that it suits.
    fn add(&mut self, suited: u64, worth: f64) {
        for (set, later) in self.sets.iter().zip(&mut self.later) {
            if set & suited != 0 {
                *later += worth;
            }
        }
    }

    /// The most of a slot that a filter may take: the others of every set that cannot wait get theirs.
    fn most(&self, filter: usize, worth: f64) -> f64 {
        let missing = self.needed.iter().zip(&self.later).map(|(needed, later)| needed - later);
        let others = self.sets.iter().zip(missing).filter(|(set, _)| *set >> filter & 1 == 0);
        let cannot_wait = others.map(|(_, missing)| missing).fold(0.0, f64::max);
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
        .find_map(|alike| filled(problem, slots, prices, alike))
}

fn filled(problem: &Problem<'_>, slots: &[Slot], prices: &[f64], alike: f64) -> Option<Vec<Portion>> {
    let filters = problem.needs.len();
    let sets = sets_of(filters);
    let rates = |slot: &Slot| &problem.nights[slot.night][slot.block].rates;
    let worth = |slot: &Slot| value(rates(slot), prices) * slot.hours;
    let pays = |slot: &Slot, filter: usize| {
        let paid = rates(slot)[filter] * prices[filter] * slot.hours;
        paid > 0.0 && paid >= worth(slot) * (1.0 - alike)
    };
    let suited: Vec<u64> =
        slots.iter().map(|slot| (0..filters).filter(|f| pays(slot, *f)).fold(0, |set, f| set | 1 << f)).collect();
    let needs = problem.needs.iter().zip(prices).map(|(need, price)| need * price);
    let mut filling = Filling::new(needs.collect(), &sets);
    for (slot, suited) in slots.iter().zip(&suited) {
        filling.add(*suited, worth(slot));
    }
    let mut portions: Vec<Portion> = Vec::new();
    let mut idle = Vec::new();
    let mut last = None;
    for (slot, suited) in slots.iter().zip(&suited) {
        filling.add(*suited, -worth(slot));
        let mut rest = *slot;
        // The filter at hand goes on while it may; then the others in their order.
        let order: Vec<usize> = last.into_iter().chain(members(*suited).filter(|f| Some(*f) != last)).collect();
        for filter in order.into_iter().filter(|filter| suited >> filter & 1 == 1) {
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
