//! Hours to filters in the order of time, so that filters change seldom and every need is met.

use pulp::Arch;

use super::Problem;
use super::prices::larger;
use super::stretch::{Slot, value};

/// Filters that pay this much less for an hour are as good: what is lost by it at most. Where hours are so scarce that the
/// first leaves a need unmet, the others are tried.
const ALIKE: [f64; 4] = [5e-3, 5e-4, 2e-2, 6e-2];
/// What of a need may be left by the rounding of floats.
const ROUNDING_SLACK: f64 = 1e-9;
/// A need of which no more than this is left is met (all needs are worth 1).
const UNMET: f64 = 1e-6;
/// Sets that are looked at together.
const LANES: usize = 8;
/// Sets of filters are looked at one by one up to so many filters; beyond, only single ones, and all.
const ALL_SETS_UP_TO: usize = 8;

/// Part of a slot with one filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Portion {
    pub(crate) slot: Slot,
    pub(crate) filter: usize,
}

/// What slots bring, in the worth of information.
struct Paid {
    /// The whole of each slot to the filter that it brings most.
    most: Vec<f64>,
    /// An hour to each filter, slot by slot.
    hourly: Vec<f64>,
    filters: usize,
}

impl Paid {
    fn new(problem: &Problem<'_>, slots: &[Slot], prices: &[f64]) -> Self {
        let rates = |slot: &Slot| &problem.nights[slot.night][slot.block].rates;
        let most = slots.iter().map(|slot| value(rates(slot), prices) * slot.hours).collect();
        let mut hourly = Vec::with_capacity(slots.len() * prices.len());
        for slot in slots {
            hourly.extend(rates(slot).iter().zip(prices).map(|(rate, price)| rate * price));
        }
        Self { most, hourly, filters: prices.len() }
    }

    /// The filters that each slot suits: those that it brings hardly less than the one that it brings most.
    fn suited(&self, alike: f64) -> Vec<u64> {
        let of_slot = |hourly: &[f64]| {
            let least = hourly.iter().copied().fold(0.0, f64::max) * (1.0 - alike);
            let suits = |paid: f64| paid > 0.0 && paid >= least;
            hourly.iter().enumerate().fold(0, |set, (filter, paid)| set | u64::from(suits(*paid)) << filter)
        };
        self.hourly.chunks(self.filters).map(of_slot).collect()
    }
}

/// Sets of filters, and for each filter 1 at those that it is not in; as many as come out even.
struct Sets {
    sets: Vec<u64>,
    without: Vec<Vec<f64>>,
}

impl Sets {
    fn new(filters: usize) -> Self {
        let mut sets: Vec<u64> = if filters <= ALL_SETS_UP_TO {
            (0..1_u64 << filters).collect()
        } else {
            (0..filters).map(|filter| 1 << filter).chain([(1 << filters) - 1]).collect()
        };
        // The empty set misses nothing.
        sets.resize(sets.len().next_multiple_of(LANES), 0);
        let without = |filter: usize| sets.iter().map(|set| if set >> filter & 1 == 0 { 1.0 } else { 0.0 }).collect();
        Self { without: (0..filters).map(without).collect(), sets }
    }
}

/// What is still to be given, in the worth of information.
struct Filling<'a> {
    /// Still needed by each filter.
    left: Vec<f64>,
    /// What each set of filters still needs, less what later slots can bring it.
    missing: Vec<f64>,
    sets: &'a Sets,
}

impl<'a> Filling<'a> {
    fn new(left: Vec<f64>, sets: &'a Sets) -> Self {
        let needed = |set: &u64| members(*set).map(|member| left[member]).sum();
        let missing = sets.sets.iter().map(needed).collect();
        Self { left, missing, sets }
    }

    /// A filter gets so much.
    #[inline(always)]
    fn give(&mut self, filter: usize, worth: f64) {
        self.left[filter] -= worth;
        self.less(1 << filter, worth);
    }

    /// Every set that holds one of these filters misses so much less. Without a branch: this is done for each slot, and for
    /// several sets at once.
    #[inline(always)]
    fn less(&mut self, filters: u64, worth: f64) {
        for (set, missing) in self.sets.sets.iter().zip(&mut self.missing) {
            *missing -= if set & filters != 0 { worth } else { 0.0 };
        }
    }

    /// The most of a slot that a filter may take: the others of every set that cannot wait get theirs.
    #[inline(always)]
    fn most(&self, filter: usize, worth: f64) -> f64 {
        let mut cannot_wait = [0.0; LANES];
        let (missing, _) = self.missing.as_chunks::<LANES>();
        let (without, _) = self.sets.without[filter].as_chunks::<LANES>();
        for (missing, without) in missing.iter().zip(without) {
            for lane in 0..LANES {
                cannot_wait[lane] = larger(missing[lane] * without[lane], cannot_wait[lane]);
            }
        }
        let cannot_wait = cannot_wait.into_iter().fold(0.0, larger);
        self.left[filter].min((worth - cannot_wait).max(0.0))
    }

    fn open(&self) -> f64 {
        self.left.iter().sum()
    }
}

fn members(set: u64) -> impl Iterator<Item = usize> {
    let smallest = |set: &u64| (*set != 0).then_some(*set);
    std::iter::successors(smallest(&set), move |set| smallest(&(set & (set - 1))))
        .map(|set| set.trailing_zeros() as usize)
}

/// Fills the slots; `None` where a need is not met.
pub(crate) fn fill(problem: &Problem<'_>, slots: &[Slot], prices: &[f64]) -> Option<Vec<Portion>> {
    let several = problem.needs.iter().filter(|need| **need > 0.0).count() > 1;
    let paid = Paid::new(problem, slots, prices);
    let needs: Vec<f64> = problem.needs.iter().zip(prices).map(|(need, price)| need * price).collect();
    let sets = Sets::new(needs.len());
    let found = ALIKE.into_iter().take(if several { ALIKE.len() } else { 1 }).find_map(|alike| {
        let filling = Filling::new(needs.clone(), &sets);
        let suited = paid.suited(alike);
        Arch::new().dispatch(
            #[inline(always)]
            || filled(slots, &paid, &suited, filling),
        )
    });
    found.map(in_order)
}

/// The loops over the sets, several at once where the machine has the instructions.
#[inline(always)]
fn filled(slots: &[Slot], paid: &Paid, suited: &[u64], mut filling: Filling<'_>) -> Option<Vec<Portion>> {
    for (worth, suited) in paid.most.iter().zip(suited) {
        filling.less(*suited, *worth);
    }
    let mut portions: Vec<Portion> = Vec::with_capacity(slots.len() + paid.filters);
    let mut idle = Vec::new();
    let mut last = None;
    // What the slots that are left can bring at most.
    let mut ahead: f64 = paid.most.iter().sum();
    let hourly = paid.hourly.chunks(paid.filters);
    for (((slot, suited), worth), hourly) in slots.iter().zip(suited).zip(&paid.most).zip(hourly) {
        filling.less(*suited, -worth);
        let mut rest = *slot;
        // The filter at hand goes on while it may; then the others in their order.
        let (at_hand, held) = (last, *suited);
        let order =
            at_hand.into_iter().filter(|f| held >> f & 1 == 1).chain(members(held).filter(|f| Some(*f) != at_hand));
        for filter in order {
            let taken = filling.most(filter, hourly[filter] * rest.hours);
            if taken <= ROUNDING_SLACK {
                continue;
            }
            let hours = (taken / hourly[filter]).min(rest.hours);
            portions.push(Portion { slot: Slot { hours, ..rest }, filter });
            filling.give(filter, hours * hourly[filter]);
            rest = Slot { after_h: rest.after_h + hours, hours: rest.hours - hours, ..rest };
            last = Some(filter);
            if rest.hours <= ROUNDING_SLACK {
                break;
            }
        }
        let unused = rest.hours.max(0.0) / slot.hours;
        ahead -= worth * (1.0 - unused);
        if rest.hours > ROUNDING_SLACK {
            idle.push((rest, hourly));
        }
        if filling.open() - ahead > UNMET * paid.filters as f64 {
            return None;
        }
    }
    // What a hair left over finds room where it is worth less.
    for (slot, hourly) in idle {
        let mut rest = slot;
        let mut open: Vec<usize> = (0..paid.filters).filter(|f| filling.left[*f] > ROUNDING_SLACK).collect();
        open.sort_by(|a, b| hourly[*b].total_cmp(&hourly[*a]));
        for filter in open {
            if hourly[filter] <= 0.0 || rest.hours <= 0.0 {
                continue;
            }
            let hours = (filling.left[filter] / hourly[filter]).min(rest.hours);
            portions.push(Portion { slot: Slot { hours, ..rest }, filter });
            filling.give(filter, hours * hourly[filter]);
            rest = Slot { after_h: rest.after_h + hours, hours: rest.hours - hours, ..rest };
        }
    }
    filling.left.iter().all(|left| *left <= UNMET).then_some(portions)
}

/// In the order of time.
fn in_order(mut portions: Vec<Portion>) -> Vec<Portion> {
    portions.sort_by(|a, b| {
        let key = |portion: &Portion| (portion.slot.night, portion.slot.block);
        key(a).cmp(&key(b)).then(a.slot.after_h.total_cmp(&b.slot.after_h))
    });
    portions
}
