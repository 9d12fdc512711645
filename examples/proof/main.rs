//! The proof of the stated uncertainties: tens of thousands of made-up sensors measured back, and worlds in which
//! what the program takes for granted is false.
//!
//! `cargo run --release --example proof` prints the tables that its README.md holds. `clean` after it takes the first
//! half only, with the count of sensors in a corner (2000), the seed (1) and a part of the names of the corners; `hostile` the second half only, with the count
//! of runs in a world (40), the seed (1) and a part of the names of the worlds to run.

mod corners;
mod hostile;
mod law;
mod run;
mod sensor;
mod tally;
#[allow(dead_code, reason = "each of its users takes what it needs")]
#[path = "../../tests/support/hostile/mod.rs"]
mod whole_frames;

use tally::CornerTally;

/// Percent of the intervals that must hold the truth, in all and in each corner.
const POOLED: std::ops::RangeInclusive<f64> = 94.0..=96.0;
const IN_A_CORNER: std::ops::RangeInclusive<f64> = 92.0..=97.5;
/// Variance of error over statistical uncertainty, and spread of the gain over its Cramér–Rao bound.
const NEAR_ONE: std::ops::RangeInclusive<f64> = 0.95..=1.05;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let number =
        |place: usize, usual: usize| words.get(place).map_or(usual, |word| word.parse().expect("a whole number"));
    let part = words.get(3).map_or("", String::as_str);
    let mut broken = Vec::new();
    match words.first().map(String::as_str) {
        Some(hostile::ONE) => return hostile::one(&words[1], number(2, 1) as u64),
        Some("clean") => broken.extend(clean(number(1, 2000), number(2, 1) as u64, part)),
        Some("hostile") => {
            broken.extend(hostile::proved(number(1, 40), number(2, 1) as u64, part));
        }
        Some(word) => panic!("`{word}`: `clean` or `hostile` is needed, or nothing"),
        None => {
            broken.extend(clean(2000, 1, ""));
            broken.extend(hostile::proved(40, 1, ""));
        }
    }
    if !broken.is_empty() {
        eprintln!("not held:\n{}", broken.join("\n"));
        std::process::exit(1);
    }
}

/// The clean half: prints its table, and says what was not held.
fn clean(sensors: usize, seed: u64, part: &str) -> Vec<String> {
    println!(
        "| corner | sensors | gain | bias | pull² | ÷ bound | read noise | bias | pull² | dark current | bias | pull² |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|");
    let (mut whole, mut clean) = (CornerTally::default(), CornerTally::default());
    let mut broken = Vec::new();
    for corner in corners::CORNERS.iter().filter(|corner| corner.name.contains(part)) {
        let tally = shared_out(corner, sensors, seed);
        println!("{}", line(corner.name, &tally));
        for (what, one) in tally.quantities() {
            hold(&mut broken, &format!("{}, {what}: covered", corner.name), one.coverage_percent(), &IN_A_CORNER);
        }
        whole.merge(&tally);
        if corner.clean {
            clean.merge(&tally);
        }
    }
    if !part.is_empty() {
        return broken;
    }
    println!("{}", line("clean ones", &clean));
    println!("{}", line("all", &whole));
    for (what, one) in whole.quantities() {
        hold(&mut broken, &format!("{what}: covered"), one.coverage_percent(), &POOLED);
    }
    hold(&mut broken, "gain: pull²", clean.gain.statistical_pull(), &NEAR_ONE);
    hold(&mut broken, "read noise: pull²", clean.read.statistical_pull(), &NEAR_ONE);
    hold(&mut broken, "gain: spread over bound", clean.spread_over_bound().unwrap_or(0.0), &NEAR_ONE);
    broken
}

/// The corner's sensors, shared out to all processors.
fn shared_out(corner: &'static corners::Corner, sensors: usize, seed: u64) -> CornerTally {
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let each = sensors.div_ceil(workers);
    let mut tally = CornerTally::default();
    std::thread::scope(|scope| {
        let parts: Vec<_> = (0..workers as u64)
            .map(|part| scope.spawn(move || run::tallied(corner, each, seed * 7919 + part)))
            .collect();
        parts.into_iter().for_each(|part| tally.merge(&part.join().expect("a worker")));
    });
    tally
}

fn hold(broken: &mut Vec<String>, what: &str, value: f64, limits: &std::ops::RangeInclusive<f64>) {
    if !limits.contains(&value) {
        broken.push(format!("{what} {value:.3}, not {limits:?}"));
    }
}

fn line(name: &str, tally: &CornerTally) -> String {
    let bound = tally.spread_over_bound().map_or("–".to_owned(), |ratio| format!("{ratio:.3}"));
    let of = |one: &tally::Tally| {
        let (bias, error) = one.bias_percent();
        format!("{:.1} % | {bias:+.3} ± {error:.3} % | {:.3}", one.coverage_percent(), one.statistical_pull())
    };
    let (gain, read, dark) = (of(&tally.gain), of(&tally.read), of(&tally.dark));
    format!("| {name} | {} | {gain} | {bound} | {read} | {dark} |", tally.gain.count())
}
