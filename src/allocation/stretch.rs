//! The hours of a night that are used: one stretch, set-up first.

use std::cmp::Ordering;

use super::{Problem, SLACK};

/// Part of a block in which subs can be shot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Slot {
    pub(crate) night: usize,
    pub(crate) block: usize,
    /// Hours of the block before it.
    pub(crate) after_h: f64,
    pub(crate) hours: f64,
}

/// One night's hours.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stretch {
    /// What is left of them after set-up.
    pub(crate) slots: Vec<Slot>,
}

/// Orders numbers by the digits that rounding leaves alone, so that every processor and library finds the same order.
pub(super) fn by_worth(a: f64, b: f64) -> Ordering {
    const DROPPED: u64 = 1 << 25;
    // Rounds the fraction to 27 bits, some eight digits; what it carries over is the next power of two, as it should be.
    let kept = |x: f64| f64::from_bits((x.to_bits() + DROPPED / 2) & !(DROPPED - 1));
    kept(a).total_cmp(&kept(b))
}

/// All slots in order.
pub(crate) fn slots(stretches: &[Stretch]) -> Vec<Slot> {
    stretches.iter().flat_map(|stretch| stretch.slots.iter().copied()).collect()
}

/// What an hour is worth to the filter that pays most.
pub(crate) fn value(rates: &[f64], prices: &[f64]) -> f64 {
    rates.iter().zip(prices).map(|(rate, price)| rate * price).fold(0.0, f64::max)
}

/// One choice: the first block, all usable hours, those waited between them, and what those after set-up are worth.
#[derive(Clone, Copy)]
struct Choice {
    first: usize,
    hours: f64,
    waited: f64,
    worth: f64,
}

/// Each choice that a night allows, by its first block and then by its hours.
fn each_choice(problem: &Problem<'_>, night: usize, prices: &[f64], most_h: f64, mut seen: impl FnMut(Choice)) {
    let blocks = &problem.nights[night];
    let values: Vec<f64> = blocks.iter().map(|block| value(&block.rates, prices)).collect();
    for first in 0..blocks.len() {
        let (mut hours, mut waited, mut worth, mut setup) = (0.0, 0.0, 0.0, problem.setup_h);
        for (block, value) in blocks[first..].iter().zip(&values[first..]) {
            let there = block.hours.min(most_h - hours);
            if there <= 0.0 {
                break;
            }
            let lost = setup.min(there);
            setup -= lost;
            waited += if hours > 0.0 { block.gap_h } else { 0.0 };
            hours += there;
            worth += value * (there - lost);
            if hours - problem.setup_h >= problem.least_h {
                seen(Choice { first, hours, waited, worth });
            }
        }
    }
}

fn slots_of(problem: &Problem<'_>, night: usize, choice: Choice) -> Stretch {
    let (mut left, mut setup) = (choice.hours, problem.setup_h);
    let mut slots = Vec::new();
    for (block, there) in problem.nights[night].iter().enumerate().skip(choice.first) {
        let hours = there.hours.min(left);
        if hours <= 0.0 {
            break;
        }
        left -= hours;
        let lost = setup.min(hours);
        setup -= lost;
        if hours > lost {
            slots.push(Slot { night, block, after_h: lost, hours: hours - lost });
        }
    }
    Stretch { slots }
}

/// Stretches of a night, each with its hours and what they are worth.
impl Problem<'_> {
    /// The stretch of each night that is worth most above `threshold` for each hour of it.
    pub(super) fn stretches(&self, prices: &[f64], threshold: f64) -> Vec<Stretch> {
        (0..self.nights.len()).filter_map(|night| self.best_stretch(night, prices, threshold, self.most_h)).collect()
    }

    /// The stretch of one night, of at most so many hours; `None` where none is worth it.
    pub(super) fn best_stretch(&self, night: usize, prices: &[f64], threshold: f64, most_h: f64) -> Option<Stretch> {
        let net = |choice: &Choice| choice.worth - threshold * (choice.hours + choice.waited);
        // Of several that are worth the same the first and shortest.
        let better = |best: &Choice, other: &Choice| net(other) > net(best) + SLACK * net(best).abs();
        let mut best: Option<Choice> = None;
        each_choice(self, night, prices, most_h, |choice| {
            if best.as_ref().is_none_or(|best| better(best, &choice)) {
                best = Some(choice);
            }
        });
        let best = best?;
        (best.worth > 0.0).then(|| slots_of(self, night, best))
    }

    /// What the best stretch of a night brings in an hour, set-up and waiting counted.
    pub(super) fn best_per_hour(&self, night: usize, prices: &[f64]) -> f64 {
        let mut best = 0.0_f64;
        let per_hour = |choice: Choice| best = best.max(choice.worth / (choice.hours + choice.waited));
        each_choice(self, night, prices, self.most_h, per_hour);
        best
    }

    /// For each first block of a night the hours, set-up counted, that bring so much.
    pub(super) fn shortest_stretches(&self, night: usize, prices: &[f64], worth: f64) -> Vec<(usize, f64)> {
        if worth <= 0.0 {
            return vec![(0, 0.0)];
        }
        let mut found: Vec<(usize, f64)> = Vec::new();
        let mut before = Choice { first: usize::MAX, hours: 0.0, waited: 0.0, worth: 0.0 };
        each_choice(self, night, prices, self.most_h, |choice| {
            let from = if before.first == choice.first {
                before
            } else {
                Choice { hours: 0.0, waited: 0.0, worth: 0.0, ..choice }
            };
            if from.worth < worth && choice.worth >= worth {
                // Within the block, once set-up is over, worth grows with the hours.
                let start = from.hours.max(self.setup_h);
                let share = (worth - from.worth) / (choice.worth - from.worth);
                let hours = start + (choice.hours - start) * share;
                found.push((choice.first, hours.max(self.setup_h + self.least_h)));
            }
            before = choice;
        });
        found
    }

    /// The stretch that begins with a block and has so many hours; `None` where set-up takes all.
    pub(super) fn stretch_of(&self, night: usize, first: usize, hours: f64) -> Option<Stretch> {
        let stretch = slots_of(self, night, Choice { first, hours: hours.min(self.most_h), waited: 0.0, worth: 0.0 });
        (!stretch.slots.is_empty()).then_some(stretch)
    }
}
