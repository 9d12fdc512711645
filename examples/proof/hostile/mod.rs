//! The hostile half of the proof: whole frames of sensors that break what the program takes for granted.
//!
//! Each run is a process of its own, so that one that never ends costs itself only.

mod answer;
mod darks;
mod flats;
mod gains;
mod marks;
mod measured;
mod reading;
mod required;
mod verdict;
mod warmth;
mod waves;
pub(crate) mod world;

use std::collections::BTreeMap;
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use answer::Observation;
use verdict::{HEAD, Run, Verdict};
use world::World;

/// A run that takes longer hangs.
const PATIENCE: Duration = Duration::from_secs(60);
/// The word that makes this program one run: world, seed.
pub(crate) const ONE: &str = "--one";

/// All worlds.
pub(crate) fn worlds() -> impl Iterator<Item = &'static World> {
    [flats::WORLDS, darks::WORLDS, warmth::WORLDS, marks::WORLDS, gains::WORLDS, reading::WORLDS, waves::WORLDS]
        .into_iter()
        .flatten()
}

/// One run in this process: prints a document of what was asked and said.
pub(crate) fn one(name: &str, seed: u64) {
    let world = worlds().find(|world| world.name == name).expect("a world of this name");
    println!("{}", run(world, seed));
}

/// A few runs of a world in this process.
#[allow(dead_code, reason = "for the slice in the tests")]
pub(crate) fn judged(world: &World, runs: u64, seed: u64) -> Verdict {
    let runs: Vec<Run> = (0..runs).map(|number| read(&run(world, seed * 10_007 + number))).collect();
    Verdict::of(world, &world.set(seed).asked, &runs)
}

/// Whether the failure of this world fails the proof.
pub(crate) fn is_required(world: &World) -> bool {
    required::REQUIRED.contains(&world.name)
}

/// What one run says.
pub(crate) fn run(world: &World, seed: u64) -> Value {
    let mut set = world.set(seed);
    let folder = tempfile::tempdir().expect("a folder");
    measured::written(&mut set, folder.path());
    let start = Instant::now();
    let mut said = measured::measured(folder.path(), set.typed_gain);
    let seconds = start.elapsed().as_secs_f64();
    said.codes.extend(answer::codes_of_plans(&set, &said));
    let observations: Vec<Value> = answer::observations(&set, &said).iter().map(Observation::to_json).collect();
    let (codes, messages, error) = (said.codes, said.messages, said.error);
    json!({ "observations": observations, "codes": codes, "messages": messages, "error": error, "seconds": seconds })
}

/// Names that are required of worlds that are not there.
pub(crate) fn required_in_vain() -> Vec<&'static str> {
    required::REQUIRED.iter().filter(|name| worlds().all(|world| world.name != **name)).copied().collect()
}

/// Runs every world whose name has `part` in it, prints the table, and says which required ones failed.
pub(crate) fn proved(runs: usize, seed: u64, part: &str) -> Vec<String> {
    HEAD.iter().for_each(|line| println!("{line}"));
    let mut broken: Vec<String> =
        required_in_vain().iter().map(|name| format!("{name}: required, but there is no such world")).collect();
    let mut widths = BTreeMap::new();
    for world in worlds().filter(|world| world.name.contains(part)) {
        let asked = world.set(seed).asked;
        let mut verdict = Verdict::of(world, &asked, &all_runs(world, runs * world.times, seed));
        for row in &verdict.rows {
            widths.insert((world.name.to_owned(), row.name.clone()), row.half_width);
        }
        verdict.hold_against(&widths);
        let required = is_required(world);
        verdict.lines(required).iter().for_each(|line| println!("{line}"));
        for fault in &verdict.faults {
            eprintln!("{}: {fault}", world.name);
            if required {
                broken.push(format!("{}: {fault}", world.name));
            }
        }
    }
    broken
}

/// The runs of a world, as many at once as there are processors.
fn all_runs(world: &World, runs: usize, seed: u64) -> Vec<Run> {
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let (next, done) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= runs {
                        break;
                    }
                    let run = apart(world, seed * 10_007 + number as u64);
                    done.lock().expect("no worker died").push(run);
                }
            });
        }
    });
    done.into_inner().expect("no worker died")
}

/// One run in a process of its own, which is ended when it does not end.
fn apart(world: &World, seed: u64) -> Run {
    let lost = |why: &str| Run { lost: true, error: Some(why.to_owned()), ..Run::default() };
    let program = std::env::current_exe().expect("this program");
    let mut command = Command::new(program);
    command.args([ONE, world.name, &seed.to_string()]).stdout(Stdio::piped()).stderr(Stdio::null());
    let mut child = command.spawn().expect("this program starts again");
    let start = Instant::now();
    while child.try_wait().expect("a child").is_none() {
        if start.elapsed() > PATIENCE {
            child.kill().expect("a child that still runs");
            child.wait().expect("a child");
            return lost("did not end");
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    let output = child.wait_with_output().expect("what it said");
    match serde_json::from_slice::<Value>(&output.stdout) {
        Ok(document) => read(&document),
        Err(_) => lost("died"),
    }
}

fn read(document: &Value) -> Run {
    let list = |key: &str| document[key].as_array().cloned().unwrap_or_default();
    Run {
        observations: list("observations").iter().filter_map(Observation::from_json).collect(),
        codes: list("codes").iter().filter_map(|code| code.as_str().map(str::to_owned)).collect(),
        error: document["error"].as_str().map(str::to_owned),
        seconds: document["seconds"].as_f64().unwrap_or(0.0),
        lost: false,
    }
}
