//! What many runs of a world add up to, and whether that will do.

use std::collections::BTreeMap;

use super::answer::Observation;
use super::world::{Asked, Width, World};

/// Percent of the runs that must be right.
const ENOUGH: f64 = 90.0;
/// An interval of more than ± so many percent tells a photographer little: whoever gives it must say why, whether or not the
/// world has a cause of its own to name.
const WIDE: f64 = 20.0;
/// An upper end from here on is none: the number is a lower bound, and has no width.
const NO_END: f64 = 1e30;
/// So many intervals tell a coverage to ± 2 %.
const ENOUGH_TO_COUNT: usize = 400;

/// One run of a world.
#[derive(Debug, Clone, Default)]
pub(crate) struct Run {
    pub(crate) observations: Vec<Observation>,
    pub(crate) codes: Vec<String>,
    pub(crate) error: Option<String>,
    pub(crate) seconds: f64,
    /// It did not end, or died.
    pub(crate) lost: bool,
}

/// What the runs of a world say of one number.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    pub(crate) name: String,
    pub(crate) count: usize,
    /// Percent of the intervals that hold the truth.
    pub(crate) held: f64,
    /// The same, and where the cause is named also those that reach what was true somewhere, or that say nothing.
    pub(crate) held_or_named: f64,
    /// Percent of the runs without a number.
    pub(crate) absent: f64,
    /// Mean error in percent of the truth and its standard error; `None` where the truth is 0.
    pub(crate) bias: Option<(f64, f64)>,
    /// Half the interval in percent of the truth, in the middle of all runs, infinite of lower bounds; and the factor from its
    /// middle to its ends.
    pub(crate) half_width: f64,
    pub(crate) factor: f64,
    /// Percent of the intervals that are wide without a cause.
    pub(crate) unexplained: f64,
    /// Percent of the values that are as near the truth as is asked.
    pub(crate) near: f64,
    pub(crate) asked: Asked,
}

/// What all runs of a world say.
pub(crate) struct Verdict {
    pub(crate) world: &'static str,
    pub(crate) runs: usize,
    pub(crate) rows: Vec<Row>,
    /// Percent of the runs that name the true cause; `None` where none is to be named.
    pub(crate) named: Option<f64>,
    /// Codes with the percent of the runs that gave them.
    pub(crate) codes: Vec<(String, f64)>,
    /// Refusals with their count.
    pub(crate) errors: BTreeMap<String, usize>,
    pub(crate) lost: usize,
    pub(crate) slowest_s: f64,
    /// Why it will not do; empty where it will.
    pub(crate) faults: Vec<String>,
}

impl Verdict {
    pub(crate) fn of(world: &World, asked: &[Asked], runs: &[Run]) -> Self {
        let named = |run: &Run| run.codes.iter().any(|code| world.causes.contains(&code.as_str()));
        let mut codes: BTreeMap<&str, usize> = BTreeMap::new();
        let mut errors: BTreeMap<String, usize> = BTreeMap::new();
        for run in runs {
            run.codes.iter().for_each(|code| *codes.entry(code).or_default() += 1);
            run.error.iter().for_each(|error| *errors.entry(shortened(error)).or_default() += 1);
        }
        let percent = |count: usize| 100.0 * count as f64 / runs.len().max(1) as f64;
        let mut verdict = Self {
            world: world.name,
            runs: runs.len(),
            rows: asked.iter().map(|asked| row(asked, runs, &named)).collect(),
            named: (!world.causes.is_empty()).then(|| percent(runs.iter().filter(|run| named(run)).count())),
            codes: codes.into_iter().map(|(code, count)| (code.to_owned(), percent(count))).collect(),
            errors,
            lost: runs.iter().filter(|run| run.lost).count(),
            slowest_s: runs.iter().map(|run| run.seconds).fold(0.0, f64::max),
            faults: Vec::new(),
        };
        verdict.faults = verdict.found_wanting(world);
        verdict
    }

    fn found_wanting(&self, world: &World) -> Vec<String> {
        let mut faults = Vec::new();
        if self.lost > 0 {
            faults.push(format!("{} of {} runs did not end", self.lost, self.runs));
        }
        for row in &self.rows {
            if row.held_or_named < ENOUGH {
                faults.push(format!("{}: held in {:.0} %, or named in {:.0} %", row.name, row.held, row.held_or_named));
            }
            if row.near < ENOUGH {
                let within = row.asked.within.unwrap_or(0.0);
                faults.push(format!("{}: within {within} % of the truth in {:.0} %", row.name, row.near));
            }
            if let Some([low, high]) = row.asked.exactly
                && row.count >= ENOUGH_TO_COUNT
                && !(low..=high).contains(&row.held)
            {
                faults.push(format!("{}: held in {:.1} %, not {low} to {high} %", row.name, row.held));
            }
            match row.asked.at_most {
                Some(Width::Percent(most)) if row.half_width > most => {
                    faults.push(format!("{}: ± {:.1} %, more than {most} %", row.name, row.half_width));
                }
                Some(Width::Factor(most)) if row.factor > most => {
                    faults.push(format!("{}: within a factor {:.1}, more than {most}", row.name, row.factor));
                }
                _ => {}
            }
            if !world.is_open && row.unexplained > 100.0 - ENOUGH {
                let (name, share) = (&row.name, row.unexplained);
                faults.push(format!("{name}: more than ± {WIDE} % in {share:.0} %, and nobody says why"));
            }
        }
        if world.must_say && self.named.is_some_and(|named| named < ENOUGH) {
            faults.push(format!("the cause is named in {:.0} %", self.named.unwrap_or(0.0)));
        }
        for (code, share) in &self.codes {
            if world.never.contains(&code.as_str()) && *share > 100.0 - ENOUGH {
                faults.push(format!("`{code}` in {share:.0} %, which is not there"));
            }
        }
        faults
    }

    /// Holds the widths that are measured against another world's.
    pub(crate) fn hold_against(&mut self, others: &BTreeMap<(String, String), f64>) {
        for row in &self.rows {
            let Some(Width::Times(most, world)) = row.asked.at_most else { continue };
            let Some(other) = others.get(&(world.to_owned(), row.name.clone())) else { continue };
            if row.half_width > most * other {
                let fault = format!("{}: ± {:.1} %, more than {most} × ± {other:.1} %", row.name, row.half_width);
                self.faults.push(fault);
            }
        }
    }

    /// The rows of the table, one for each number.
    pub(crate) fn lines(&self, required: bool) -> Vec<String> {
        let named = self.named.map_or("–".to_owned(), |named| format!("{named:.0} %"));
        let mut codes: Vec<&(String, f64)> = self.codes.iter().filter(|(_, share)| *share >= 20.0).collect();
        codes.sort_by(|a, b| b.1.total_cmp(&a.1));
        let mut said: Vec<String> = codes.iter().map(|(code, share)| format!("{code} {share:.0}")).collect();
        said.extend(self.errors.iter().map(|(error, count)| format!("refused {count} of {}: {error}", self.runs)));
        let will_do = match (self.faults.is_empty(), required) {
            (true, true) => "yes, required",
            (true, false) => "yes",
            (false, true) => "**NO, required**",
            (false, false) => "no",
        };
        let line = |(place, row): (usize, &Row)| {
            let first = |text: &str| if place == 0 { text.to_owned() } else { String::new() };
            let bias = row.bias.map_or("–".to_owned(), |(bias, error)| format!("{bias:+.2} ± {error:.2} %"));
            let absent = if row.absent > 0.0 { format!(", absent {:.0} %", row.absent) } else { String::new() };
            format!(
                "| {} | {} | {} | {:.0} % | {:.0} %{absent} | {bias} | {} | {} | {} | {} | {} |",
                first(self.world),
                row.count,
                row.name,
                row.held,
                row.held_or_named,
                if row.half_width < NO_END {
                    format!("± {} %", three_digits(row.half_width))
                } else {
                    "at least".into()
                },
                first(&named),
                first(&said.join(", ")),
                first(&format!("{:.2}", self.slowest_s)),
                first(will_do),
            )
        };
        self.rows.iter().enumerate().map(line).collect()
    }
}

/// The head of the table.
pub(crate) const HEAD: [&str; 2] = [
    "| world | numbers | asked | held | held, or cause named | mean error | half width | cause named | said (percent of the runs) | slowest (s) | will do |",
    "|---|---|---|---|---|---|---|---|---|---|---|",
];

fn row(asked: &Asked, runs: &[Run], named: &dyn Fn(&Run) -> bool) -> Row {
    let name = asked.quantity.name();
    let (mut count, mut held, mut or_named, mut absent, mut unexplained) = (0, 0, 0, 0, 0);
    let (mut errors, mut halves, mut factors) = (Vec::new(), Vec::new(), Vec::new());
    for run in runs {
        let mine: Vec<&Observation> = run.observations.iter().filter(|one| one.name == name).collect();
        if mine.is_empty() {
            // A run that is lost or refused has no number.
            (count, absent, or_named) = (count + 1, absent + 1, or_named + usize::from(!run.lost && named(run)));
        }
        for one in mine {
            count += 1;
            let Some((value, [low, high])) = one.said else {
                (absent, or_named) = (absent + 1, or_named + usize::from(named(run)));
                continue;
            };
            let holds = low <= one.truth && one.truth <= high;
            let reaches = low <= one.reach[1] && one.reach[0] <= high;
            (held, or_named) = (held + usize::from(holds), or_named + usize::from(holds || (reaches && named(run))));
            if one.truth != 0.0 && high < NO_END {
                errors.push(100.0 * (value / one.truth - 1.0));
                let half = 50.0 * (high - low) / one.truth;
                halves.push(half);
                unexplained += usize::from(half > WIDE && !named(run));
            } else if one.truth != 0.0 {
                halves.push(f64::INFINITY);
            }
            factors.push(if low > 0.0 { (high / low).sqrt() } else { f64::INFINITY });
        }
    }
    let percent = |part: usize| 100.0 * part as f64 / count.max(1) as f64;
    let near = |within: f64| errors.iter().filter(|error| error.abs() <= within).count();
    Row {
        unexplained: percent(unexplained),
        near: asked.within.map_or(100.0, |within| percent(near(within))),
        name,
        count,
        held: percent(held),
        held_or_named: percent(or_named),
        absent: percent(absent),
        bias: mean(&errors),
        half_width: middle(&mut halves),
        factor: middle(&mut factors),
        asked: *asked,
    }
}

fn mean(values: &[f64]) -> Option<(f64, f64)> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let square = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
    (!values.is_empty()).then_some((mean, (square / n).sqrt()))
}

fn middle(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

fn three_digits(value: f64) -> String {
    match value.abs() {
        size if size >= 1e4 => format!("{value:.0e}"),
        size if size >= 100.0 => format!("{value:.0}"),
        size if size >= 10.0 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}

/// The first words of a refusal, without its numbers.
fn shortened(error: &str) -> String {
    let words: Vec<&str> = error.split_whitespace().take(12).collect();
    words.join(" ").replace('|', "/")
}
