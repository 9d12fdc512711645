//! A program run under watch: how it ended, what it said, how long it took, how much memory it had at most.

use std::fs::{self, File};
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use crate::support::schemas::faults;

/// What one file may cost.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Limits {
    pub(crate) patience: Duration,
    /// Resident memory of the main process.
    pub(crate) memory_kb: u64,
}

/// What must not happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fault {
    Panic,
    Died,
    Hang,
    Memory,
    /// The answer is no document, or does not tell of every file.
    Nonsense,
    /// Only a group of files does it.
    OnlyTogether,
}

/// What was found in a family of files.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    pub(crate) files: usize,
    pub(crate) taken: usize,
    pub(crate) refused: usize,
    pub(crate) worker_deaths: usize,
    pub(crate) peak_kb: u64,
    pub(crate) slowest: Duration,
    /// The fault, the file and what was said.
    pub(crate) faults: Vec<(Fault, String, String)>,
}

impl Tally {
    pub(crate) fn is_sound(&self) -> bool {
        self.faults.is_empty()
    }

    pub(crate) fn add(&mut self, other: Self) {
        self.files += other.files;
        self.taken += other.taken;
        self.refused += other.refused;
        self.worker_deaths += other.worker_deaths;
        self.peak_kb = self.peak_kb.max(other.peak_kb);
        self.slowest = self.slowest.max(other.slowest);
        self.faults.extend(other.faults);
    }

    pub(crate) fn count(&self, fault: Fault) -> usize {
        self.faults.iter().filter(|(found, ..)| *found == fault).count()
    }

    pub(crate) fn print(&self, family: &str) {
        println!(
            "{family:<12} {:>6} mutations: {:>6} taken, {:>6} refused, {:>4} workers lost; {} panics, {} deaths, \
             {} hangs, {} over memory, {} nonsense; {} MB, {:.1} s at most for a run",
            self.files,
            self.taken,
            self.refused,
            self.worker_deaths,
            self.count(Fault::Panic),
            self.count(Fault::Died),
            self.count(Fault::Hang),
            self.count(Fault::Memory),
            self.count(Fault::Nonsense) + self.count(Fault::OnlyTogether),
            self.peak_kb / 1000,
            self.slowest.as_secs_f64()
        );
    }
}

/// How a run ended.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) code: Option<i32>,
    pub(crate) signal: Option<i32>,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
    pub(crate) peak_kb: u64,
    pub(crate) took: Duration,
    /// Time on processors, whatever else the machine does; 0 where the system does not say.
    pub(crate) worked: Duration,
    pub(crate) timed_out: bool,
}

/// Runs `program` until it ends or `patience` does; what it prints goes through files, so that no pipe can fill up.
pub(crate) fn run(program: &Path, words: &[&std::ffi::OsStr], patience: Duration) -> Run {
    let folder = tempfile::tempdir().unwrap();
    let (out, err) = (folder.path().join("out"), folder.path().join("err"));
    let start = Instant::now();
    // A limit on addresses, inherited by the workers, stands behind the one on memory: it keeps the machine alive.
    let mut child = Command::new("sh")
        .args(["-c", "ulimit -v 8000000; exec \"$0\" \"$@\""])
        .arg(program)
        .args(words)
        .stdin(Stdio::null())
        .stdout(File::create(&out).unwrap())
        .stderr(File::create(&err).unwrap())
        .spawn()
        .unwrap();
    let (mut peak_kb, mut worked, mut timed_out) = (0, Duration::ZERO, false);
    let status = loop {
        peak_kb = peak_kb.max(high_water(child.id()));
        worked = worked.max(worked_so_far(child.id()));
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        if start.elapsed() > patience {
            timed_out = true;
            child.kill().unwrap();
            break child.wait().unwrap();
        }
        sleep(Duration::from_millis(4));
    };
    let read = |path: &Path| String::from_utf8_lossy(&fs::read(path).unwrap()).into_owned();
    Run {
        code: status.code(),
        signal: status.signal(),
        stdout: read(&out),
        stderr: read(&err),
        peak_kb,
        took: start.elapsed(),
        worked,
        timed_out,
    }
}

/// The most memory that a process has had, in kB; 0 where the system does not say.
fn high_water(process: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or_default();
    line.trim().trim_end_matches("kB").trim().parse().unwrap_or(0)
}

/// The time that a process and its threads were on processors; 0 where the system does not say.
fn worked_so_far(process: u32) -> Duration {
    // Ticks of a hundredth of a second: the 14th and 15th fields, the second is a name in brackets (proc(5)).
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).unwrap_or_default();
    let fields = stat.rsplit(')').next().unwrap_or_default().split_whitespace();
    let ticks = fields.skip(11).take(2).filter_map(|field| field.parse::<u64>().ok()).sum::<u64>();
    Duration::from_millis(10 * ticks)
}

impl Run {
    /// What is wrong with the way it ended; with `--json` every way to end is a document.
    pub(crate) fn fault(&self, limits: Limits) -> Option<Fault> {
        if self.timed_out {
            return Some(Fault::Hang);
        }
        if self.code == Some(101) || self.stderr.contains("panicked") {
            return Some(Fault::Panic);
        }
        if self.signal.is_some() || !self.code.is_some_and(|code| (0..=2).contains(&code)) {
            return Some(Fault::Died);
        }
        if self.peak_kb > limits.memory_kb {
            return Some(Fault::Memory);
        }
        let document: Option<serde_json::Value> = serde_json::from_str(&self.stdout).ok();
        document
            .is_none_or(|document| faults(&document).is_none_or(|faults| !faults.is_empty()))
            .then_some(Fault::Nonsense)
    }

    /// What it said, shortened.
    pub(crate) fn words(&self) -> String {
        let said = format!("exit {:?}, signal {:?}: {}{}", self.code, self.signal, self.stderr, self.stdout);
        said.chars().take(600).collect()
    }
}
