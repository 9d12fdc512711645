//! An assignment made shorter: hours taken back as long as that saves time.

use super::stretch::{Slot, Stretch, by_worth, value};
use super::{Assignment, Market, Problem, SAVED};

/// So many nights are made shorter, so often.
const SHORTENED: usize = 4;
const ROUNDS_OF_SHORTENING: usize = 3;
/// The same as SAVED of all hours, where the last percent counts.
const SAVED_OF_ALL: f64 = 5e-4;
/// Of the stretches that could do in place of one of many, in the order of hours, so many are tried in vain.
const IN_VAIN: usize = 4;
/// With so few nights several orders are tried.
const FEW_NIGHTS: usize = 4;
/// Rounds of halving between what a stretch must have at least and what is known to be enough.
const HALVINGS: usize = 5;
/// So many unused nights are tried in place of a used one.
const INSTEAD: usize = 2;

/// Which night is made shorter first.
#[derive(Clone, Copy)]
enum Order {
    LeastFirst,
    MostFirst,
}

impl Problem<'_> {
    /// Made shorter in several orders where few nights are used: there whole nights and their ends matter most.
    pub(super) fn improved(&self, found: Assignment, market: &mut Market) -> Assignment {
        let count = found.stretches.len();
        let prices = found.prices.clone();
        let mut best = self.shortened(found, Order::LeastFirst, market);
        if count > FEW_NIGHTS || !self.thorough() {
            return best;
        }
        let nights_of =
            |stretches: &[Stretch]| -> Vec<usize> { stretches.iter().map(|stretch| stretch.slots[0].night).collect() };
        let good = nights_of(&self.best_nights(FEW_NIGHTS, &prices));
        let singles = good.iter().map(|night| vec![*night]);
        let pairs = good.iter().flat_map(|a| good.iter().filter(move |b| a < b).map(move |b| vec![*a, *b]));
        let one_more = nights_of(&self.best_nights(count + 1, &prices));
        let begun = [nights_of(&best.stretches), one_more].into_iter().chain(singles).chain(pairs);
        for nights in begun {
            let whole: Vec<Stretch> =
                nights.iter().filter_map(|night| self.best_stretch(*night, &prices, 0.0, self.most_h)).collect();
            let Some(begun) = self.filled(&whole, market) else { continue };
            for order in [Order::LeastFirst, Order::MostFirst] {
                let other = self.shortened(begun.clone(), order, market);
                if self.is_shorter(&other, &best) {
                    best = other;
                }
            }
        }
        best
    }

    /// Hours taken back, from one night after the other, as long as that saves time: first from those that bring least.
    ///
    /// At the prices found, a night need bring no more than what the others leave; of its stretches that bring so much the
    /// shortest that does it is taken.
    fn shortened(&self, found: Assignment, order: Order, market: &mut Market) -> Assignment {
        let mut best = found;
        for _ in 0..if self.thorough() { ROUNDS_OF_SHORTENING } else { 1 } {
            let before = best.hours(self);
            let used = best.portions.chunk_by(|a, b| a.slot.night == b.slot.night).map(|night| night[0].slot.night);
            let mut used: Vec<(usize, f64)> =
                used.map(|night| (night, self.best_per_hour(night, &best.prices))).collect();
            match order {
                // Of nights that bring the same the last one is made shorter.
                Order::LeastFirst => used.sort_by(|a, b| by_worth(a.1, b.1).then(b.0.cmp(&a.0))),
                Order::MostFirst => used.sort_by(|a, b| by_worth(b.1, a.1).then(b.0.cmp(&a.0))),
            }
            for (night, _) in used.into_iter().take(if self.thorough() { SHORTENED } else { 1 }) {
                if let Some(shorter) = self.with_shorter(night, &best, market) {
                    best = shorter;
                }
            }
            if best.hours(self) > before * (1.0 - SAVED) {
                break;
            }
        }
        best
    }

    /// The same with one night as short as may be, or another one in its place.
    fn with_shorter(&self, night: usize, found: &Assignment, market: &mut Market) -> Option<Assignment> {
        let value_of = |slot: &Slot| value(&self.nights[slot.night][slot.block].rates, &found.prices) * slot.hours;
        let others: Vec<Stretch> =
            found.stretches.iter().filter(|stretch| stretch.slots[0].night != night).cloned().collect();
        let worth: f64 = others.iter().flat_map(|stretch| &stretch.slots).map(value_of).sum();
        let mut hours = found.hours_of(night, self);
        let all = found.hours(self);
        let saved = if self.thorough() { (SAVED * hours).max(SAVED_OF_ALL * all) } else { SAVED * all };
        let mut candidates: Vec<(usize, usize, f64)> = Vec::new();
        for place in self.instead_of(night, found) {
            let shortest = self.shortest_stretches(place, &found.prices, 1.0 - worth);
            candidates.extend(shortest.into_iter().map(|(first, needed)| (place, first, needed)));
        }
        candidates.sort_by(|a, b| by_worth(a.2, b.2).then((a.0, a.1).cmp(&(b.0, b.1))));
        let (mut best, mut in_vain): (Option<Assignment>, usize) = (None, 0);
        let most_in_vain = if found.stretches.len() > FEW_NIGHTS { IN_VAIN } else { usize::MAX };
        for (place, first, needed) in candidates {
            let mut with = |hours: f64| {
                let mut stretches = others.clone();
                if hours > 0.0 {
                    let at = others.partition_point(|other| other.slots[0].night < place);
                    stretches.insert(at, self.stretch_of(place, first, hours)?);
                }
                self.filled(&stretches, market)
            };
            // What has more usable hours than the best has in all is no better.
            let (mut short, mut long) = (needed, (hours - saved).min(self.most_h));
            if needed >= long || in_vain >= most_in_vain {
                break;
            }
            if needed <= 0.0 {
                match with(0.0) {
                    Some(without) => return Some(without),
                    None => continue,
                }
            }
            let Some(mut shorter) = with(long) else {
                in_vain += 1;
                continue;
            };
            in_vain = 0;
            for _ in 0..HALVINGS {
                if long - short < saved {
                    break;
                }
                let middle = f64::midpoint(short, long);
                match with(middle) {
                    Some(found) => (long, shorter) = (middle, found),
                    None => short = middle,
                }
            }
            if self.is_shorter(&shorter, best.as_ref().unwrap_or(found)) {
                hours = shorter.hours_of(place, self);
                best = Some(shorter);
            }
        }
        best
    }

    /// A night and those that are not used and bring most.
    fn instead_of(&self, night: usize, found: &Assignment) -> Vec<usize> {
        let used = |night: &usize| found.stretches.iter().any(|stretch| stretch.slots[0].night == *night);
        let mut unused: Vec<(usize, f64)> = (0..self.nights.len())
            .filter(|night| !used(night))
            .map(|night| (night, self.best_per_hour(night, &found.prices)))
            .collect();
        unused.sort_by(|a, b| by_worth(b.1, a.1).then(a.0.cmp(&b.0)));
        std::iter::once(night)
            .chain(unused.into_iter().take(if self.thorough() { INSTEAD } else { 0 }).map(|(night, _)| night))
            .collect()
    }
}
