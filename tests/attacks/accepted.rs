//! Whatever `measure` accepts and writes, `plan` reads; and no answer on the way says what cannot be.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use serde_json::Value;

use crate::support::schemas::faults_within;

use super::PROGRAM;
use super::folders::Folder;
use super::sound;
use super::watch::{Run, run};

/// A run of the program that takes longer hangs; on a machine that does much else it may wait long.
const PATIENCE: Duration = Duration::from_secs(120);
/// So long it may work.
const WORK: Duration = Duration::from_secs(4);

/// So many folders of each kind of failure are printed.
const PRINTED: usize = 20;

/// How a seed becomes a folder.
pub(crate) type Draw = fn(u64) -> Folder;

/// What many folders came to.
#[derive(Debug, Default)]
pub(crate) struct Outcome {
    pub(crate) folders: usize,
    pub(crate) measured: usize,
    pub(crate) planned: usize,
    /// Error codes with their count.
    pub(crate) refusals: BTreeMap<String, usize>,
    /// The longest work of a run, and what it was.
    pub(crate) longest: (Duration, String),
    /// What all runs of each command worked.
    worked: BTreeMap<String, Duration>,
    /// Kinds of failures with the folders' seeds and words.
    pub(crate) failures: BTreeMap<String, Vec<String>>,
}

impl Outcome {
    pub(crate) fn print(&self) {
        println!(
            "{} folders: {} measured, {} planned; longest work {:.2} s ({}); refused: {:?}",
            self.folders,
            self.measured,
            self.planned,
            self.longest.0.as_secs_f64(),
            self.longest.1,
            self.refusals
        );
        println!("work in all: {:.0?}", self.worked);
        for (kind, seeds) in &self.failures {
            println!("{kind}: {} times", seeds.len());
            seeds.iter().take(PRINTED).for_each(|seed| println!("    {seed}"));
        }
    }

    /// Draws a folder, measures it, and plans from what was written.
    fn try_one(&mut self, draw: Draw, seed: u64) {
        self.folders += 1;
        let folder = draw(seed);
        let profile = folder.beside("camera.toml");
        if measured(self, &folder, &profile, seed) {
            self.measured += 1;
            planned(self, &folder, &profile, seed);
        }
    }

    fn add(&mut self, other: Self) {
        self.folders += other.folders;
        self.measured += other.measured;
        self.planned += other.planned;
        self.longest = std::mem::take(&mut self.longest).max(other.longest);
        other.refusals.into_iter().for_each(|(code, count)| *self.refusals.entry(code).or_default() += count);
        for (command, worked) in other.worked {
            *self.worked.entry(command).or_default() += worked;
        }
        for (kind, seeds) in other.failures {
            self.failures.entry(kind).or_default().extend(seeds);
        }
    }

    fn fail(&mut self, command: &str, what: &str, about: String) {
        // The kind is the failure without its numbers.
        let kind = what.split([':', ',']).next().unwrap_or(what);
        let kind = if kind == "text" { what } else { kind };
        self.failures.entry(format!("{command}: {kind}")).or_default().push(format!("{about}: {what}"));
    }

    /// Runs a command, and says what it printed if it answered.
    fn asked(&mut self, command: &str, words: &[&OsStr], seed: u64) -> Option<Run> {
        let run = run(Path::new(PROGRAM), words, PATIENCE);
        self.longest = std::mem::take(&mut self.longest).max((run.worked, format!("{command}, seed {seed}")));
        *self.worked.entry(command.to_owned()).or_default() += run.worked;
        let ended = match (run.timed_out, run.code) {
            (true, _) => Some("hang"),
            _ if run.worked > WORK => Some("slow"),
            (_, Some(101)) => Some("panic"),
            (_, Some(0..=2)) => None,
            _ => Some("died"),
        };
        if let Some(end) = ended {
            self.fail(command, end, format!("seed {seed}, {}", run.words()));
            return None;
        }
        Some(run)
    }

    /// The document that a command printed; what it refuses is counted.
    fn document(&mut self, command: &str, run: &Run, seed: u64) -> Option<Value> {
        let Ok(document) = serde_json::from_str::<Value>(&run.stdout) else {
            self.fail(command, "no document", format!("seed {seed}, {}", run.words()));
            return None;
        };
        for fault in faults_within(&document) {
            self.fail(command, &format!("broke its schema: {fault}"), format!("seed {seed}"));
        }
        if run.code == Some(0) {
            return Some(document);
        }
        let code = document["code"].as_str().unwrap_or("no code").to_owned();
        *self.refusals.entry(format!("{command} {code}")).or_default() += 1;
        let message = document["message"].as_str().unwrap_or_default();
        // What no frame told is asked for, and `measure` says so: the size of a pixel, darks for a cooler.
        // Of a cooler nothing is said where the measured rates do not rise with the temperature, as `measure` says too.
        let asks = ["`pixel_um` is missing", "`dark_current` is missing", "`dark_current` does not rise"]
            .iter()
            .any(|what| message.contains(what));
        if command != "measure" && run.code == Some(2) && !asks {
            self.fail(command, &format!("refused the profile: {message}"), format!("seed {seed}, {code}"));
        }
        None
    }
}

/// Writes one folder to stay, and says how to try it.
pub(crate) fn kept(draw: Draw, seed: u64) {
    let folder = draw(seed);
    println!("{}", folder.told);
    let mut outcome = Outcome::default();
    let profile = folder.beside("camera.toml");
    if measured(&mut outcome, &folder, &profile, seed) {
        planned(&mut outcome, &folder, &profile, seed);
    }
    outcome.print();
    let words = folder.words.join(" ");
    let place = folder.keep();
    println!("subwell measure {} {words}\nsubwell plan {}", place.display(), place.join("night.toml").display());
}

/// Draws folders, measures them, and plans from what was written, as many at once as there are processors.
pub(crate) fn tried(draw: Draw, seeds: std::ops::Range<u64>) -> Outcome {
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicU64::new(seeds.start);
    let alone = || {
        let mut outcome = Outcome::default();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= seeds.end {
                return outcome;
            }
            outcome.try_one(draw, seed);
        }
    };
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..workers).map(|_| scope.spawn(alone)).collect();
        let mut all = Outcome::default();
        workers.into_iter().for_each(|worker| all.add(worker.join().expect("a worker that ends")));
        all
    })
}

fn measured(outcome: &mut Outcome, folder: &Folder, profile: &Path, seed: u64) -> bool {
    let about = |what: &str| format!("seed {seed} ({what})");
    let mut words: Vec<&OsStr> = vec!["measure".as_ref(), folder.path().as_ref()];
    words.extend(folder.words.iter().map(OsStr::new));
    let Some(text) = outcome.asked("measure", &words, seed) else { return false };
    for fault in sound::in_text(&(text.stdout + &text.stderr)) {
        outcome.fail("measure", &fault, about("text"));
    }
    words.extend(["--json".as_ref(), "--out".as_ref(), profile.as_os_str()]);
    let Some(run) = outcome.asked("measure", &words, seed) else { return false };
    let Some(document) = outcome.document("measure", &run, seed) else { return false };
    for fault in sound::in_profile(&document) {
        outcome.fail("measure", &fault, about("profile"));
    }
    true
}

/// The sample night with this profile, every setting weighed, asked for what some hours give.
fn night(profile: &Path) -> String {
    let written = fs::read_to_string(profile).unwrap();
    let colour = written.contains("plane = \"r0c0\"");
    let name = if colour { "garden-night-colour.toml" } else { "garden-night.toml" };
    let sample = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration").join(name));
    let text = sample.unwrap().replace("\"colour-camera.toml\"", "\"camera.toml\"");
    let lines = text.lines().filter(|line| !line.starts_with("gain_setting"));
    let asked = |line: &str| if line.starts_with("snr =") { "hours = 4.0".to_owned() } else { line.to_owned() };
    lines.map(asked).collect::<Vec<_>>().join("\n")
}

fn planned(outcome: &mut Outcome, folder: &Folder, profile: &Path, seed: u64) {
    let file = folder.beside("night.toml");
    fs::write(&file, night(profile)).unwrap();
    let about = |what: &str| format!("seed {seed} ({what})");
    let words: [&OsStr; 2] = ["plan".as_ref(), file.as_ref()];
    let Some(text) = outcome.asked("plan", &words, seed) else { return };
    for fault in sound::in_text(&(text.stdout + &text.stderr)) {
        outcome.fail("plan", &fault, about("text"));
    }
    type Check = fn(&Value) -> Vec<String>;
    let checks: [(&str, Check); 2] = [("plan", sound::in_plan), ("cooling", sound::in_cooling)];
    for (command, check) in checks {
        let words: [&OsStr; 3] = [command.as_ref(), file.as_ref(), "--json".as_ref()];
        let Some(run) = outcome.asked(command, &words, seed) else { continue };
        let Some(document) = outcome.document(command, &run, seed) else { continue };
        outcome.planned += usize::from(command == "plan");
        for fault in check(&document) {
            outcome.fail(command, &fault, about("json"));
        }
    }
}
