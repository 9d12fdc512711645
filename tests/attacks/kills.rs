//! Kills at any moment while a file is being replaced: afterwards the old one or the new one is there, whole.

use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use rand::RngExt;

use super::mutate::chance;

/// What was found after the kills.
#[derive(Debug, Default)]
pub(crate) struct Ends {
    pub(crate) kills: usize,
    pub(crate) old: usize,
    pub(crate) new: usize,
    /// Neither the old file nor the new one: how long it was, `None` where nothing was there.
    pub(crate) half: Vec<Option<usize>>,
    /// Unfinished files left beside it; hidden, so that they count for nothing.
    pub(crate) strays: usize,
    /// Runs that had ended before the kill.
    pub(crate) too_late: usize,
    /// What else was wrong.
    pub(crate) wrong: Vec<String>,
}

impl Ends {
    pub(crate) fn is_sound(&self) -> bool {
        self.half.is_empty() && self.wrong.is_empty()
    }
}

/// A command that replaces a file. Whatever saves files is tried in the same way: another program, other words.
pub(crate) struct Saving<'a> {
    pub(crate) program: &'a Path,
    pub(crate) words: Vec<OsString>,
    /// The file that it replaces.
    pub(crate) file: PathBuf,
    /// What is there before.
    pub(crate) old: Vec<u8>,
}

impl Saving<'_> {
    fn start(&self) -> Child {
        let mut command = Command::new(self.program);
        command.args(&self.words).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
    }

    fn folder(&self) -> &Path {
        self.file.parent().unwrap()
    }

    /// Kills it until it was killed `kills` times: half of them at any moment of its life, half when it begins to write.
    pub(crate) fn killed(&self, kills: usize) -> Ends {
        fs::write(&self.file, &self.old).unwrap();
        let start = Instant::now();
        assert!(self.start().wait().unwrap().success(), "{:?}", self.words);
        let life = start.elapsed();
        let new = fs::read(&self.file).unwrap();
        assert_ne!(new, self.old, "the command has to change the file");
        let mut chance = chance(kills as u64);
        let mut ends = Ends::default();
        while ends.kills < kills && ends.too_late < 10 * kills {
            fs::write(&self.file, &self.old).unwrap();
            let mut child = self.start();
            if ends.kills % 2 == 0 {
                sleep(life.mul_f64(chance.random_range(0.0..1.0)));
            } else {
                self.wait_until_it_writes(&mut child);
                sleep(Duration::from_micros(chance.random_range(0..1500)));
            }
            let ended = child.try_wait().unwrap().is_some();
            let _ = child.kill();
            let _ = child.wait();
            ends.kills += usize::from(!ended);
            ends.too_late += usize::from(ended);
            match fs::read(&self.file).ok() {
                Some(bytes) if bytes == self.old => ends.old += 1,
                Some(bytes) if bytes == new => ends.new += 1,
                bytes => ends.half.push(bytes.map(|bytes| bytes.len())),
            }
            self.count_strays(&mut ends);
        }
        ends
    }

    /// Until something new is in the folder, or the file itself changes.
    fn wait_until_it_writes(&self, child: &mut Child) {
        let count = || fs::read_dir(self.folder()).map_or(0, Iterator::count);
        let stamp = || fs::metadata(&self.file).ok().map(|file| (file.len(), file.modified().ok()));
        let (before, was) = (count(), stamp());
        while count() == before && stamp() == was && child.try_wait().unwrap().is_none() {
            std::hint::spin_loop();
        }
    }

    /// Counts what a kill left beside the file; it must be hidden. It stays there until the last one.
    fn count_strays(&self, ends: &mut Ends) {
        ends.strays = 0;
        for entry in fs::read_dir(self.folder()).unwrap().map(Result::unwrap) {
            let name = entry.file_name().to_string_lossy().into_owned();
            if entry.path() == self.file {
                continue;
            }
            if name.starts_with('.') {
                ends.strays += 1;
            } else if !ends.wrong.iter().any(|told| told.starts_with(&name)) {
                ends.wrong.push(format!("{name} is left in sight"));
            }
        }
    }
}

/// `measure --out` over a profile that is there, killed; then the folder is used as if nothing had happened.
pub(crate) fn killed_while_measuring(program: &Path, kills: usize) -> Ends {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration");
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("camera.toml");
    let mut words: Vec<OsString> = vec!["measure".into(), samples.join("cooled-mono/bias").into()];
    words.extend(["--gain-e-per-dn", "0.8", "--quiet", "--force", "--out"].map(OsString::from));
    words.push(file.clone().into());
    // The old profile is another camera's, so that old and new cannot be taken for each other.
    let old = fs::read(samples.join("published-camera.toml")).unwrap();
    let saving = Saving { program, words, file, old };
    let mut ends = saving.killed(kills);
    println!(
        "{} kills: {} times the old profile, {} the new one, {} neither; {} unfinished files beside it, all hidden; \
         {} runs had ended before",
        ends.kills,
        ends.old,
        ends.new,
        ends.half.len(),
        ends.strays,
        ends.too_late
    );
    let mut check = |words: &[&str], path: &Path| {
        let run = Command::new(program).args(words).arg(path).output().unwrap();
        if !run.status.success() {
            ends.wrong.push(format!("{words:?} afterwards: {}", String::from_utf8_lossy(&run.stderr)));
        }
        String::from_utf8_lossy(&run.stdout).into_owned()
    };
    let night = folder.path().join("published-night.toml");
    fs::copy(samples.join("published-night.toml"), &night).unwrap();
    fs::copy(samples.join("published-camera.toml"), folder.path().join("published-camera.toml")).unwrap();
    check(&["plan"], &night);
    let seen = check(&["frames", "--json"], folder.path());
    if seen.contains(".tmp") {
        ends.wrong.push(format!("frames sees unfinished files: {seen}"));
    }
    ends
}
