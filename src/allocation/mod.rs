//! Which hours of which nights go to which filter: numbers alone.
//!
//! Each filter needs so much information (squared signal over noise), each block of a night brings each filter so much of
//! it in an hour. Two questions: which is the earliest night by which all needs can be met, and what is the least time,
//! set-ups counted, that meets them.
//!
//! The hours are shared out as in a market: at the right price of each filter's information every hour goes to the filter
//! that pays most for it, and a night is worth going out for while it brings more in an hour than the last night that
//! is needed (`prices`). Hours that several filters pay alike for are then filled so that filters
//! change seldom (`fill`).

mod fill;
mod prices;
mod shorter;
mod stretch;

pub(crate) use fill::Portion;
use fill::fill;
use prices::Market;
pub(crate) use stretch::Slot;
use stretch::{Stretch, by_worth, value};

/// Less than this share of the hours is not worth a look.
const SAVED: f64 = 4e-3;
/// What an earlier beginning may cost, as a share of all hours.
const FOR_AN_EARLY_NIGHT: f64 = 1e-3;
/// Filters that pay this much less for an hour of a clear night share it.
const PAYS_ALIKE: f64 = 0.02;
/// Rounds in which prices follow the best hours of each night and those the prices.
const ROUNDS_OF_ENOUGH: usize = 3;
/// Rounds in which nights follow prices and prices nights.
const ROUNDS_OF_CHOICE: usize = 6;
/// A hair: what differs by less differs by rounding, and must not decide.
const SLACK: f64 = 1e-9;
/// Prices that differ by less share hours out alike.
const SAME_PRICE: f64 = 1e-3;

/// Up to half an hour of a night.
#[derive(Debug, Clone)]
pub(crate) struct Block {
    pub(crate) hours: f64,
    /// Hours since the end of the block before, in which nothing can be shot.
    pub(crate) gap_h: f64,
    /// Information that each filter gains in an hour.
    pub(crate) rates: Vec<f64>,
}

/// How carefully hours are shared out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Care {
    /// Only how many hours and nights it takes is asked.
    Sum,
    /// The last percent is worth the time of looking for it, too.
    Thorough,
}

/// What is to be shared out.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Problem<'a> {
    /// The blocks of each night, in order.
    pub(crate) nights: &'a [Vec<Block>],
    /// Information that each filter needs.
    pub(crate) needs: &'a [f64],
    /// Set-up at the beginning of each night that is used, in usable hours.
    pub(crate) setup_h: f64,
    /// The most usable hours of one night, set-up included.
    pub(crate) most_h: f64,
    /// The least hours after set-up for which anybody goes out.
    pub(crate) least_h: f64,
    /// How much time the answer is worth.
    pub(crate) care: Care,
}

/// Who gets what.
#[derive(Debug, Clone, Default)]
pub(crate) struct Assignment {
    /// In order of time.
    pub(crate) portions: Vec<Portion>,
    /// What an hour of information is worth to each filter: the whole of all needs is 1.
    pub(crate) prices: Vec<f64>,
    /// The share of every need that is met: 1, or less where not all can be.
    pub(crate) met: f64,
    /// The hours that were there for it.
    stretches: Vec<Stretch>,
}

impl Assignment {
    /// Nights that are used.
    pub(crate) fn nights(&self) -> usize {
        self.portions.chunk_by(|a, b| a.slot.night == b.slot.night).count()
    }

    /// The last night that is used.
    pub(crate) fn last(&self) -> Option<usize> {
        self.portions.last().map(|portion| portion.slot.night)
    }

    /// Hours that a filter has.
    pub(crate) fn hours_with(&self, filter: usize) -> f64 {
        let own = self.portions.iter().filter(|portion| portion.filter == filter);
        own.map(|portion| portion.slot.hours).sum()
    }

    /// Hours from the first set-up to the last sub of each night.
    pub(crate) fn hours(&self, problem: &Problem<'_>) -> f64 {
        let lasts = self.portions.chunk_by(|a, b| a.slot.night == b.slot.night).filter_map(<[Portion]>::last);
        lasts.map(|last| self.hours_until(last, problem)).sum()
    }

    /// The same of one night; 0 where it is not used.
    fn hours_of(&self, night: usize, problem: &Problem<'_>) -> f64 {
        let last = self.portions.iter().rfind(|portion| portion.slot.night == night);
        last.map_or(0.0, |last| self.hours_until(last, problem))
    }

    /// The same of the night of its last portion.
    fn hours_until(&self, last: &Portion, problem: &Problem<'_>) -> f64 {
        let Slot { night, block, after_h, hours } = last.slot;
        let own = self.stretches.iter().find(|stretch| stretch.slots.first().is_some_and(|slot| slot.night == night));
        let slots = own.map_or(&[][..], |stretch| &stretch.slots[..]);
        let before = slots.iter().take_while(|slot| slot.block < block).map(|slot| slot.hours).sum::<f64>();
        let begins = slots.iter().filter(|slot| slot.block == block).map(|slot| slot.after_h);
        let within = after_h + hours - begins.fold(after_h, f64::min);
        let first = slots.first().map_or(block, |slot| slot.block);
        let waited = (first + 1..=block).map(|block| problem.nights[night][block].gap_h).sum::<f64>();
        problem.setup_h + before + within + waited
    }
}

impl Problem<'_> {
    fn thorough(&self) -> bool {
        self.care == Care::Thorough
    }

    fn open(&self) -> bool {
        self.needs.iter().any(|need| *need > 0.0)
    }

    /// The same until a night.
    fn until(&self, nights: usize) -> Self {
        Self { nights: &self.nights[..nights], ..*self }
    }

    /// Everything used that there is, as well as may be, and the share of the needs that it meets.
    fn everything(&self, market: &mut Market) -> (Vec<Stretch>, f64) {
        let mut stretches = self.stretches(&market.prices, 0.0);
        // The best hours of a night follow the prices, and the prices the hours.
        let mut met = 0.0;
        for _ in 0..2 {
            let slots = stretch::slots(&stretches);
            met = market.settle(self, &slots);
            stretches = self.stretches(&market.prices, 0.0);
        }
        (stretches, met)
    }

    /// Whether the needs can be met.
    fn enough(&self, market: &mut Market) -> bool {
        for _ in 0..ROUNDS_OF_ENOUGH {
            let slots = stretch::slots(&self.stretches(&market.prices, 0.0));
            if market.worth(self, &slots) < 1.0 {
                return false;
            }
            if fill(self, &slots, &market.prices).is_some() {
                return true;
            }
            if market.settle(self, &slots) < 1.0 {
                return false;
            }
        }
        false
    }

    /// The number of nights until the needs can be met; `None` where all are not enough.
    fn nights_needed(&self, market: &mut Market) -> Option<usize> {
        let (mut few, mut many) = (0, 1);
        while !self.until(many).enough(market) {
            if many == self.nights.len() {
                return None;
            }
            (few, many) = (many, (many + (many - few).max(1) * 2).min(self.nights.len()));
        }
        while many - few > 1 {
            let middle = few.midpoint(many);
            if self.until(middle).enough(market) { many = middle } else { few = middle }
        }
        Some(many)
    }

    /// The assignment that ends on the earliest night, and of those the one of least time; where the needs cannot be met,
    /// all that can be done of them.
    pub(crate) fn soonest(&self) -> Assignment {
        if !self.open() || self.nights.is_empty() {
            return Assignment { met: if self.open() { 0.0 } else { 1.0 }, ..Assignment::default() };
        }
        let market = &mut Market::new(self);
        let needed = self.nights_needed(market);
        // A hair can be missing where hours are shared in whole blocks: then the next night is needed.
        let enough =
            needed.and_then(|nights| (nights..=self.nights.len()).find_map(|n| self.until(n).least_of(market)));
        enough.unwrap_or_else(|| self.what_can_be_done(market))
    }

    /// The assignment of least time; `None` where the needs cannot be met.
    pub(crate) fn least(&self) -> Option<Assignment> {
        if !self.open() || self.nights.is_empty() {
            return None;
        }
        self.least_of(&mut Market::new(self))
    }

    fn least_of(&self, market: &mut Market) -> Option<Assignment> {
        let whole = self.stretches(&market.prices, 0.0);
        let mut found = self.filled(&whole, market).or_else(|| {
            let (stretches, met) = self.everything(market);
            if met < 1.0 { None } else { self.filled(&stretches, market) }
        })?;
        // Nights are chosen by prices, and prices follow the nights that are chosen.
        for _ in 0..if self.thorough() { ROUNDS_OF_CHOICE } else { 2 } {
            let before = found.hours(self);
            let prices = market.prices.clone();
            let (mut few, mut many) = (0, self.nights.len() + 1);
            while many - few > 1 {
                let middle = few.midpoint(many);
                match self.filled(&self.best_nights(middle, &prices), market) {
                    Some(other) => {
                        many = middle;
                        if self.is_shorter(&other, &found) {
                            found = other;
                        }
                    }
                    None => few = middle,
                }
            }
            market.settle(self, &stretch::slots(&found.stretches));
            if found.hours(self) > before * (1.0 - SAVED) {
                break;
            }
        }
        Some(self.improved(found, market))
    }

    /// What a whole night brings each filter of a set, every hour given to the one that pays most for it; hours that several
    /// pay alike for are shared by them as they need.
    pub(crate) fn gain_of(&self, night: usize, prices: &[f64], open: usize) -> Vec<f64> {
        let paid: Vec<f64> = prices
            .iter()
            .enumerate()
            .map(|(filter, price)| if open >> filter & 1 == 1 { *price } else { 0.0 })
            .collect();
        let mut gain = vec![0.0; prices.len()];
        let Some(stretch) = self.best_stretch(night, &paid, 0.0, self.most_h) else { return gain };
        for slot in stretch.slots {
            let rates = &self.nights[slot.night][slot.block].rates;
            let best = value(rates, &paid);
            let pays = |filter: usize| paid[filter] > 0.0 && rates[filter] * paid[filter] >= best * (1.0 - PAYS_ALIKE);
            let worth = |filter: usize| self.needs[filter] * prices[filter];
            let all: f64 = (0..paid.len()).filter(|filter| pays(*filter)).map(worth).sum();
            for filter in (0..paid.len()).filter(|filter| pays(*filter)) {
                gain[filter] += rates[filter] * slot.hours * worth(filter) / all;
            }
        }
        gain
    }

    /// Whether it takes less time than another one, by more than a hair.
    fn is_shorter(&self, one: &Assignment, other: &Assignment) -> bool {
        one.hours(self) < other.hours(self) * (1.0 - SLACK)
    }

    /// So many nights of those that bring most in an hour, each as long as an hour more brings at least what the last of
    /// them does.
    fn best_nights(&self, count: usize, prices: &[f64]) -> Vec<Stretch> {
        let mut worth: Vec<(usize, f64)> =
            (0..self.nights.len()).map(|night| (night, self.best_per_hour(night, prices))).collect();
        // Of nights that are worth the same the earlier one.
        worth.sort_by(|a, b| by_worth(b.1, a.1).then(a.0.cmp(&b.0)));
        worth.truncate(count);
        // A hair below, so that the last night itself is kept.
        let threshold = worth.iter().map(|(_, worth)| worth * (1.0 - SLACK)).reduce(f64::min).unwrap_or(0.0);
        worth.sort_unstable_by_key(|(night, _)| *night);
        worth.into_iter().filter_map(|(night, _)| self.best_stretch(night, prices, threshold, self.most_h)).collect()
    }

    /// The same with each night begun as early as may be: hours that bring the same are best spent in the evening.
    pub(crate) fn begun_early(&self, found: Assignment) -> Assignment {
        let prices = found.prices.clone();
        let longest = found.hours(self) * (1.0 + FOR_AN_EARLY_NIGHT);
        let mut best = found;
        for place in 0..best.stretches.len() {
            let Some(slots) = best.stretches.get(place).map(|stretch| stretch.slots.clone()) else { break };
            let (night, begins) = (slots[0].night, slots[0].block);
            let hours = self.setup_h + slots.iter().map(|slot| slot.hours).sum::<f64>() * (1.0 + SAVED);
            let earlier: Vec<Stretch> = (0..begins)
                .filter_map(|first| self.stretch_of(night, first, hours))
                .filter(|earlier| earlier.slots[0].block < begins)
                .collect();
            let with = |earlier: &Stretch| {
                let mut stretches = best.stretches.clone();
                stretches[place] = earlier.clone();
                // Hours that hardly change have the prices that they had.
                let portions = fill(self, &stretch::slots(&stretches), &prices)?;
                Some(Self::assigned(portions, &stretches, &prices)).filter(|other| other.hours(self) <= longest)
            };
            // Where the next one before does not do, those before it do not either; then the very first, and halvings.
            let Some(mut found) = earlier.last().and_then(with) else { continue };
            if let Some(first) = with(&earlier[0]) {
                found = first;
            } else {
                let (mut not, mut does) = (0, earlier.len() - 1);
                while does - not > 1 {
                    let middle = not.midpoint(does);
                    match with(&earlier[middle]) {
                        Some(other) => (does, found) = (middle, other),
                        None => not = middle,
                    }
                }
            }
            best = found;
        }
        best
    }

    /// All needs met within these stretches; `None` where they are too short.
    fn filled(&self, stretches: &[Stretch], market: &mut Market) -> Option<Assignment> {
        let slots = stretch::slots(stretches);
        // At any prices that are known: what is worth less than all needs cannot meet them, and where the hours can be shared
        // out as they say, they do.
        if market.worth(self, &slots) < 1.0 - SLACK {
            return None;
        }
        let before = market.prices.clone();
        let same = |market: &Market| {
            let moved = |(now, before): (&f64, &f64)| (now - before).abs() > SAME_PRICE * before;
            !market.prices.iter().zip(&before).any(moved)
        };
        let portions = match fill(self, &slots, &before) {
            Some(portions) => portions,
            None if market.settle(self, &slots) < 1.0 || same(market) => return None,
            None => fill(self, &slots, &market.prices)?,
        };
        Some(Self::assigned(portions, stretches, &market.prices))
    }

    /// What meets all needs, with those of the stretches that it uses.
    fn assigned(portions: Vec<Portion>, stretches: &[Stretch], prices: &[f64]) -> Assignment {
        let used = |stretch: &&Stretch| portions.iter().any(|portion| portion.slot.night == stretch.slots[0].night);
        let stretches = stretches.iter().filter(used).cloned().collect();
        Assignment { portions, prices: prices.to_vec(), met: 1.0, stretches }
    }

    /// The same share of every need, with all hours.
    fn what_can_be_done(&self, market: &mut Market) -> Assignment {
        let (stretches, met) = self.everything(market);
        let slots = stretch::slots(&stretches);
        // What whole blocks cannot share is tried with a little less.
        for less in [0.999, 0.99, 0.97, 0.9, 0.8] {
            let needs: Vec<f64> = self.needs.iter().map(|need| need * met.min(1.0) * less).collect();
            let part = Problem { needs: &needs, ..*self };
            if let Some(portions) = fill(&part, &slots, &market.prices) {
                return Assignment { portions, prices: market.prices.clone(), met: met.min(1.0) * less, stretches };
            }
        }
        Assignment { prices: market.prices.clone(), ..Assignment::default() }
    }
}

#[cfg(test)]
mod tests;
