use super::*;

/// A made-up rate: the middle of a random walk is of no matter, only that nights differ.
struct Random(u64);

impl Random {
    /// Uniform in 0..1 (the 64-bit generator of Knuth's MMIX).
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

const BLOCK_H: f64 = 0.5;

/// Nights of some blocks in which moonlight hurts each filter differently.
fn nights(random: &mut Random, nights: usize, blocks: usize, filters: usize) -> Vec<Vec<Block>> {
    let own: Vec<f64> = (0..filters).map(|_| 0.3 + 2.0 * random.next()).collect();
    let hurt: Vec<f64> = (0..filters).map(|_| random.next()).collect();
    let one_night = |random: &mut Random| {
        let (moonrise, low) = (random.next(), 0.5 + 0.5 * random.next());
        let block = |i: usize| {
            let at = i as f64 / blocks as f64;
            let height = low + (1.0 - low) * (at * std::f64::consts::PI).sin();
            let rate =
                |filter: usize| own[filter] * height * if at > moonrise { 1.0 - 0.9 * hurt[filter] } else { 1.0 };
            Block { hours: BLOCK_H, gap_h: 0.0, rates: (0..filters).map(rate).collect() }
        };
        (0..blocks).map(block).collect()
    };
    (0..nights).map(|_| one_night(random)).collect()
}

/// Whether two needs can be met by these blocks: those that suit the first best are given to it until it has enough.
fn two_can_be_met(blocks: &[(f64, &[f64])], needs: &[f64]) -> bool {
    let mut sorted = blocks.to_vec();
    sorted.sort_by(|a, b| (b.1[0] * a.1[1]).total_cmp(&(a.1[0] * b.1[1])));
    let (mut first, mut second) = (needs[0], needs[1]);
    for (hours, rates) in sorted {
        let given = if rates[0] > 0.0 { (first / rates[0]).min(hours) } else { 0.0 };
        first -= given * rates[0];
        second -= (hours - given) * rates[1];
    }
    first <= 1e-9 && second <= 1e-9
}

/// Hours of a stretch, and hours and rates of its blocks.
type Whole<'a> = (f64, Vec<(f64, &'a [f64])>);

/// The earliest last night and its least hours, and the least hours of all, over every choice of stretches.
fn by_trying_all(problem: &Problem<'_>) -> Option<(usize, f64, f64)> {
    let options: Vec<Vec<Whole<'_>>> = problem
        .nights
        .iter()
        .map(|night| {
            let mut options = vec![(0.0, Vec::new())];
            for first in 0..night.len() {
                for last in first..night.len() {
                    let hours: f64 = night[first..=last].iter().map(|block| block.hours).sum();
                    if hours > problem.most_h + 1e-9 {
                        break;
                    }
                    let mut setup = problem.setup_h;
                    let used = night[first..=last].iter().map(|block| {
                        let lost = setup.min(block.hours);
                        setup -= lost;
                        (block.hours - lost, &block.rates[..])
                    });
                    options.push((hours, used.collect()));
                }
            }
            options
        })
        .collect();
    let mut best: Option<(usize, f64, f64)> = None;
    let mut chosen = vec![0; options.len()];
    loop {
        let hours: f64 = chosen.iter().zip(&options).map(|(i, options)| options[*i].0).sum();
        let last = chosen.iter().rposition(|i| *i > 0).unwrap_or(0);
        let better = best.is_none_or(|(night, soonest, least)| (last, hours) < (night, soonest) || hours < least);
        if better {
            let blocks: Vec<(f64, &[f64])> =
                chosen.iter().zip(&options).flat_map(|(i, options)| options[*i].1.iter().copied()).collect();
            if two_can_be_met(&blocks, problem.needs) {
                let (night, soonest, least) = best.unwrap_or((usize::MAX, f64::MAX, f64::MAX));
                let (night, soonest) = if (last, hours) < (night, soonest) { (last, hours) } else { (night, soonest) };
                best = Some((night, soonest, least.min(hours)));
            }
        }
        let mut place = 0;
        loop {
            if place == chosen.len() {
                return best;
            }
            chosen[place] += 1;
            if chosen[place] < options[place].len() {
                break;
            }
            chosen[place] = 0;
            place += 1;
        }
    }
}

fn gained(problem: &Problem<'_>, assignment: &Assignment) -> Vec<f64> {
    let mut gained = vec![0.0; problem.needs.len()];
    for Portion { slot, filter } in &assignment.portions {
        gained[*filter] += problem.nights[slot.night][slot.block].rates[*filter] * slot.hours;
    }
    gained
}

#[test]
fn small_cases_are_as_good_as_the_best_of_all() {
    let mut random = Random(11);
    let (mut sum, mut cases, mut worse) = (0.0, 0_usize, 0_usize);
    for case in 0..300 {
        let blocks = nights(&mut random, 3, 5, 2);
        let all: f64 = blocks.iter().flatten().map(|block| block.hours * block.rates[0]).sum();
        let ratio = blocks[0][0].rates[1] / blocks[0][0].rates[0];
        let share = 0.1 + 0.6 * random.next();
        let needs = [share * 0.5 * all, share * 0.5 * all * ratio];
        let problem = Problem {
            nights: &blocks,
            needs: &needs,
            setup_h: 0.3 * random.next(),
            most_h: 2.0 + 2.0 * random.next(),
            least_h: 0.0,
            care: Care::Thorough,
        };
        let soonest = problem.soonest();
        // What needs a stretch that ends within a block is not among all that is tried.
        let Some((night, hours, least_hours)) = by_trying_all(&problem) else {
            continue;
        };
        assert_eq!(soonest.met, 1.0, "{case}");
        assert!(soonest.last() <= Some(night), "{case}: {:?} {night}", soonest.last());
        let least = problem.least().expect("a solution");
        for (gained, need) in gained(&problem, &soonest).iter().zip(&needs) {
            assert!(*gained >= need * (1.0 - 1e-4), "{case}: {gained} {need}");
        }
        let mut compared = |found: f64, best: f64| {
            cases += 1;
            sum += found / best;
            worse += usize::from(found > best * 1.02);
        };
        if soonest.last() == Some(night) {
            compared(soonest.hours(&problem), hours);
        }
        compared(least.hours(&problem), least_hours);
    }
    // What is tried ends with whole blocks, so the best can be better than all of it.
    assert!(cases > 400 && worse * 40 <= cases, "{worse} of {cases} are more than 2 % worse");
    assert!(sum / f64::from(cases as u32) < 1.0, "{}", sum / f64::from(cases as u32));
}

/// No assignment takes less time than this, whatever the prices: the dual of the problem, its scale the best of many.
fn least_possible(problem: &Problem<'_>, prices: &[f64]) -> f64 {
    let bound = |scale: f64| {
        let night = |night: usize| {
            let nights = [problem.nights[night].clone()];
            let one = Problem { nights: &nights, ..*problem };
            let prices: Vec<f64> = prices.iter().map(|price| price * scale).collect();
            let gain = |stretch: &Stretch| {
                let worth = |slot: &Slot| (value(&nights[0][slot.block].rates, &prices) - 1.0) * slot.hours;
                stretch.slots.iter().map(worth).sum::<f64>() - problem.setup_h
            };
            one.best_stretch(0, &prices, 1.0, problem.most_h).as_ref().map_or(0.0, gain).max(0.0)
        };
        scale - (0..problem.nights.len()).map(night).sum::<f64>()
    };
    (1..400).map(|i| bound(f64::from(i) * 0.5)).fold(0.0, f64::max)
}

#[test]
fn rounding_decides_no_order_and_nothing_is_less_than_something() {
    use std::cmp::Ordering::{Equal, Greater, Less};
    for (a, b, order) in [(0.1 + 0.2, 0.3, Equal), (0.0, 1e-3, Less), (2.0, 0.0, Greater), (1.0, 1.0 + 1e-7, Less)] {
        assert_eq!(by_worth(a, b), order, "{a} {b}");
    }
}

#[test]
fn many_filters_over_many_nights_are_near_the_bound() {
    let mut random = Random(5);
    for filters in 1..=6 {
        let blocks = nights(&mut random, 40, 14, filters);
        let hours: f64 = blocks.iter().flatten().map(|block| block.hours).sum();
        let needs: Vec<f64> = (0..filters)
            .map(|filter| blocks[0][0].rates[filter] * hours * 0.3 * (0.3 + random.next()) / filters as f64)
            .collect();
        let problem =
            Problem { nights: &blocks, needs: &needs, setup_h: 0.25, most_h: 6.0, least_h: 0.0, care: Care::Sum };
        let soonest = problem.soonest();
        let least = problem.least().expect("a solution");
        let ordered = problem.begun_early(least.clone());
        // The bound is as good as its prices.
        let mut market = Market { prices: least.prices.clone() };
        market.settle(&Problem { care: Care::Thorough, ..problem }, &stretch::slots(&least.stretches));
        let bound = least_possible(&problem, &market.prices);
        assert!(ordered.hours(&problem) <= least.hours(&problem) * 1.001);
        assert!(least.hours(&problem) <= bound * 1.02, "{filters}: {} {bound}", least.hours(&problem));
        assert!(least.hours(&problem) <= soonest.hours(&problem) * 1.001);
        for (gained, need) in gained(&problem, &least).iter().zip(&needs) {
            assert!(*gained >= need * (1.0 - 1e-4) && *gained <= need * 1.01, "{gained} {need}");
        }
    }
}
