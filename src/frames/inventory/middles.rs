//! The middle of very many choices out of very many frames, as "all longer darks that are not colder" for each dark.
//!
//! Each choice is a range of exposures and one of temperatures, so that asked one by one, n choices of n frames are n²
//! looks. Here all are asked at once: the values are halved again and again, and in each half the frames of every choice
//! are counted in one pass over the exposures; n log² n looks in all.

use std::ops::Range;

/// A frame that may be chosen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peer {
    pub(super) exposure: f64,
    /// Frames of unknown temperature are in every choice.
    pub(super) sensor: Option<f64>,
}

/// Places in the order of exposures, and in that of the known temperatures.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Choice {
    exposures: [usize; 2],
    sensors: [usize; 2],
}

/// Frames in the order of their exposures.
#[derive(Debug, Default)]
pub(super) struct Peers {
    exposures: Vec<f64>,
    sensors: Vec<f64>,
    /// For each frame its place among the known temperatures counted from 1, or 0.
    places: Vec<usize>,
    /// For each frame its place as it was given.
    given: Vec<usize>,
}

impl Peers {
    pub(super) fn new(frames: &[Peer]) -> Self {
        let mut given: Vec<usize> = (0..frames.len()).collect();
        given.sort_by(|a, b| frames[*a].exposure.total_cmp(&frames[*b].exposure));
        let mut warmth: Vec<usize> = (0..given.len()).filter(|at| frames[given[*at]].sensor.is_some()).collect();
        let sensor = |at: usize| frames[given[at]].sensor.unwrap_or_default();
        warmth.sort_by(|a, b| sensor(*a).total_cmp(&sensor(*b)));
        let mut places = vec![0; given.len()];
        warmth.iter().enumerate().for_each(|(place, at)| places[*at] = place + 1);
        Self {
            exposures: given.iter().map(|at| frames[*at].exposure).collect(),
            sensors: warmth.iter().map(|at| sensor(*at)).collect(),
            places,
            given,
        }
    }

    /// The frames whose exposures and known temperatures are not below, and not above; each is told of ever larger ones.
    pub(super) fn choice(
        &self,
        [short, long]: [&dyn Fn(f64) -> bool; 2],
        [cold, warm]: [&dyn Fn(f64) -> bool; 2],
    ) -> Choice {
        let range = |sorted: &[f64], below: &dyn Fn(f64) -> bool, above: &dyn Fn(f64) -> bool| {
            let start = sorted.partition_point(|value| below(*value));
            [start, sorted.partition_point(|value| !above(*value)).max(start)]
        };
        Choice { exposures: range(&self.exposures, short, long), sensors: range(&self.sensors, cold, warm) }
    }

    /// How many frames each choice has.
    pub(super) fn counts(&self, choices: &[Choice]) -> Vec<usize> {
        let points: Vec<usize> = (0..self.places.len()).collect();
        let mut counts = vec![0; choices.len()];
        self.count(&points, &events(choices), choices, &mut Sums::new(self.sensors.len()), &mut counts);
        counts
    }

    /// For each choice the value that so many of its frames are below, counted from 0; `None` where there are not so many.
    /// `values` are as the frames were given.
    pub(super) fn ranked(&self, values: &[f64], asked: &[(Choice, usize)]) -> Vec<Option<f64>> {
        // Thousands of frames ask the same.
        let mut order: Vec<usize> = (0..asked.len()).collect();
        order.sort_by_key(|at| &asked[*at]);
        let mut different: Vec<&(Choice, usize)> = order.iter().map(|at| &asked[*at]).collect();
        different.dedup();
        let (choices, ranks): (Vec<Choice>, Vec<usize>) = different.iter().map(|one| (*one).clone()).unzip();
        let counts = self.counts(&choices);
        let mut sorted: Vec<usize> = (0..self.given.len()).collect();
        sorted.sort_by(|a, b| values[self.given[*a]].total_cmp(&values[self.given[*b]]));
        let mut of_value = vec![0; sorted.len()];
        sorted.iter().enumerate().for_each(|(rank, at)| of_value[*at] = rank);
        let (found, sums) = (vec![0; choices.len()], Sums::new(self.sensors.len()));
        let mut search = Search { peers: self, choices: &choices, ranks, found, of_value, sums };
        let there: Vec<usize> = (0..choices.len()).filter(|at| search.ranks[*at] < counts[*at]).collect();
        let events = events(&choices).into_iter().filter(|event| there.binary_search(&event.choice).is_ok()).collect();
        search.halve(0..sorted.len(), (0..sorted.len()).collect(), events);
        let mut answers = vec![None; asked.len()];
        let mut at_different = 0;
        for (step, at) in order.iter().enumerate() {
            at_different += usize::from(step > 0 && asked[order[step - 1]] != asked[*at]);
            let there = there.binary_search(&at_different).is_ok();
            answers[*at] = there.then(|| values[self.given[sorted[search.found[at_different]]]]);
        }
        answers
    }

    /// Puts into `counts` how many of the `points`, in the order of exposures, each choice of the `events` has.
    fn count(&self, points: &[usize], events: &[Event], choices: &[Choice], sums: &mut Sums, counts: &mut [usize]) {
        let (mut added, mut without) = (0, 0);
        for event in events {
            while let Some(point) = points.get(added).filter(|point| **point < event.at) {
                match self.places[*point] {
                    0 => without += 1,
                    place => sums.add(place, 1),
                }
                added += 1;
            }
            let [from, to] = choices[event.choice].sensors;
            let found = without + sums.of_first(to) - sums.of_first(from);
            let count = &mut counts[event.choice];
            // What was there at the start of a range is not in it; the start comes first.
            *count = if event.ends { found - *count } else { found };
        }
        // As empty as before, in no more steps than points.
        for place in points[..added].iter().map(|point| self.places[*point]).filter(|place| *place > 0) {
            sums.add(place, usize::MAX);
        }
    }
}

/// The start or the end of a choice's exposures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Event {
    at: usize,
    ends: bool,
    choice: usize,
}

fn events(choices: &[Choice]) -> Vec<Event> {
    let of = |(choice, one): (usize, &Choice)| {
        let [start, end] = one.exposures;
        [Event { at: start, ends: false, choice }, Event { at: end, ends: true, choice }]
    };
    let mut events: Vec<Event> = choices.iter().enumerate().flat_map(of).collect();
    events.sort_unstable();
    events
}

/// Sums over the first of many places (P. M. Fenwick's binary indexed tree).
struct Sums(Vec<usize>);

impl Sums {
    fn new(places: usize) -> Self {
        Self(vec![0; places + 1])
    }

    /// Adds at a place, counted from 1; the largest number takes one away.
    fn add(&mut self, place: usize, number: usize) {
        let mut at = place;
        while let Some(sum) = self.0.get_mut(at) {
            *sum = sum.wrapping_add(number);
            at += at & at.wrapping_neg();
        }
    }

    fn of_first(&self, places: usize) -> usize {
        let (mut at, mut sum) = (places, 0);
        while at > 0 {
            sum += self.0[at];
            at &= at - 1;
        }
        sum
    }
}

struct Search<'a> {
    peers: &'a Peers,
    choices: &'a [Choice],
    /// How many of the values still in question are below the one asked for.
    ranks: Vec<usize>,
    found: Vec<usize>,
    of_value: Vec<usize>,
    sums: Sums,
}

impl Search<'_> {
    /// Finds what the `events` ask for among the `points`, whose values have these ranks.
    fn halve(&mut self, ranks: Range<usize>, points: Vec<usize>, events: Vec<Event>) {
        if events.is_empty() {
            return;
        }
        if ranks.len() == 1 {
            events.iter().for_each(|event| self.found[event.choice] = ranks.start);
            return;
        }
        let middle = ranks.start + ranks.len() / 2;
        let (low, high): (Vec<usize>, Vec<usize>) = points.iter().partition(|point| self.of_value[**point] < middle);
        // The table is as long as there are choices; only those of the events are used.
        let mut counts = std::mem::take(&mut self.found);
        self.peers.count(&low, &events, self.choices, &mut self.sums, &mut counts);
        let (below, above): (Vec<Event>, Vec<Event>) =
            events.into_iter().partition(|event| self.ranks[event.choice] < counts[event.choice]);
        for event in above.iter().filter(|event| event.ends) {
            self.ranks[event.choice] -= counts[event.choice];
        }
        self.found = counts;
        self.halve(ranks.start..middle, low, below);
        self.halve(middle..ranks.end, high, above);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the frames chosen one by one.
    #[test]
    fn every_rank_of_every_choice_is_that_of_the_sorted_values() {
        let mut state = 7_u64;
        // A linear congruence of 2^64; its high bits (Knuth's constants, from memory).
        let mut draw = |many: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((state >> 33) % many) as f64
        };
        for size in [0, 1, 2, 3, 17, 60] {
            let peers: Vec<Peer> = (0..size)
                .map(|_| Peer { exposure: draw(9), sensor: Some(draw(7)).filter(|celsius| *celsius > 0.0) })
                .collect();
            let values: Vec<f64> = peers.iter().map(|_| draw(12)).collect();
            let table = Peers::new(&peers);
            let ranges: Vec<[f64; 4]> = (0..80).map(|_| [draw(9), draw(10), draw(7), draw(8)]).collect();
            let choice = |[short, long, cold, warm]: [f64; 4]| {
                table.choice([&|e| e < short, &|e| e > long], [&|c| c < cold, &|c| c > warm])
            };
            let asked: Vec<(Choice, usize)> =
                ranges.iter().enumerate().map(|(at, range)| (choice(*range), at % 5)).collect();
            let counts = table.counts(&asked.iter().map(|(choice, _)| choice.clone()).collect::<Vec<_>>());
            let answers = table.ranked(&values, &asked);
            for (at, [short, long, cold, warm]) in ranges.into_iter().enumerate() {
                let inside = |(peer, _): &(&Peer, &f64)| {
                    (short..=long).contains(&peer.exposure)
                        && peer.sensor.is_none_or(|celsius| (cold..=warm).contains(&celsius))
                };
                let mut chosen: Vec<f64> = peers.iter().zip(&values).filter(inside).map(|(_, value)| *value).collect();
                chosen.sort_by(f64::total_cmp);
                assert_eq!(counts[at], chosen.len(), "{:?}", asked[at]);
                assert_eq!(answers[at], chosen.get(asked[at].1).copied(), "{:?}", asked[at]);
            }
        }
    }
}
