//! Kills at any moment while a file is being replaced: afterwards the old one or the new one is there, whole.

use std::ffi::OsString;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use rand::RngExt;

use super::mutate::chance;
use super::support::program::samples;

/// The signal that ends a page whose save is done.
const TERMINATED: i32 = 15;

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
    fn print(&self, what: &str) {
        let Self { kills, old, new, half, strays, too_late, .. } = self;
        println!(
            "{kills} kills: {old} times the old {what}, {new} the new one, {} neither; {strays} unfinished files beside \
             it, all hidden; {too_late} runs had ended before",
            half.len()
        );
    }

    pub(crate) fn is_sound(&self) -> bool {
        self.half.is_empty() && self.wrong.is_empty()
    }
}

/// Something that replaces a file and ends. Whatever saves files is tried in the same way.
pub(crate) struct Saving<'a> {
    pub(crate) start: Box<dyn Fn() -> Child + 'a>,
    /// The file that it replaces.
    pub(crate) file: PathBuf,
    /// What is there before.
    pub(crate) old: Vec<u8>,
}

/// A command with its words.
pub(crate) fn command(program: &Path, words: Vec<OsString>) -> Box<dyn Fn() -> Child + '_> {
    Box::new(move || {
        let mut command = Command::new(program);
        command.args(&words).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
    })
}

impl Saving<'_> {
    fn folder(&self) -> &Path {
        self.file.parent().unwrap()
    }

    /// Kills it until it was killed `kills` times: half of them at any moment of its life, half when it begins to write.
    pub(crate) fn killed(&self, kills: usize) -> Ends {
        fs::write(&self.file, &self.old).unwrap();
        let start = Instant::now();
        let end = (self.start)().wait().unwrap();
        assert!(end.success() || end.signal() == Some(TERMINATED), "{end}");
        let life = start.elapsed();
        let new = fs::read(&self.file).unwrap();
        assert_ne!(new, self.old, "the command has to change the file");
        let mut chance = chance(kills as u64);
        let mut ends = Ends::default();
        while ends.kills < kills && ends.too_late < 10 * kills {
            fs::write(&self.file, &self.old).unwrap();
            let mut child = (self.start)();
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
    let samples = samples();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("camera.toml");
    let mut words: Vec<OsString> = vec!["measure".into(), samples.join("cooled-mono/bias").into()];
    words.extend(["--gain-e-per-dn", "0.8", "--quiet", "--force", "--out"].map(OsString::from));
    words.push(file.clone().into());
    // The old profile is another camera's, so that old and new cannot be taken for each other.
    let old = fs::read(samples.join("published-camera.toml")).unwrap();
    let mut ends = Saving { start: command(program, words), file, old }.killed(kills);
    ends.print("profile");
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

/// The page saving a changed night over the old one, killed; then the folder is used as if nothing had happened.
pub(crate) fn killed_while_the_page_saves(program: &Path, kills: usize) -> Ends {
    let samples = samples();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("published-night.toml");
    fs::copy(samples.join("published-camera.toml"), folder.path().join("published-camera.toml")).unwrap();
    let old = fs::read_to_string(samples.join("published-night.toml")).unwrap();
    let change = serde_json::json!({ "key": ["goal", "snr"], "value": 9.5 });
    let night = serde_json::json!({ "at": "published-night.toml", "text": old, "changes": [change] });
    let body = serde_json::json!({ "path": "published-night.toml", "night": night, "replace": true }).to_string();
    let start = || page_that_saves(program, folder.path(), &body);
    let mut ends = Saving { start: Box::new(start), file: file.clone(), old: old.into_bytes() }.killed(kills);
    // The profile that lies beside the night is no stray.
    ends.wrong.retain(|wrong| !wrong.starts_with("published-camera.toml"));
    ends.print("night");
    let run = Command::new(program).arg("plan").arg(&file).output().unwrap();
    if !run.status.success() {
        ends.wrong.push(format!("plan afterwards: {}", String::from_utf8_lossy(&run.stderr)));
    }
    ends
}

/// A page that is asked to save at once, and ended when it has answered.
fn page_that_saves(program: &Path, folder: &Path, body: &str) -> Child {
    let mut command = Command::new(program);
    command.args(["page", "--no-open", "--port", "0"]).current_dir(folder).stdout(Stdio::piped()).stderr(Stdio::null());
    let mut child = command.spawn().unwrap();
    let mut said = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut said).unwrap();
    let address = said.split("http://127.0.0.1:").nth(1).unwrap_or_else(|| panic!("no address: {said}"));
    let (port, token) = address.trim().split_once("/#").unwrap();
    let request = format!(
        "POST /api/save HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\n\
         Sec-Fetch-Site: same-origin\r\nContent-Type: application/json\r\nX-Subwell-Token: {token}\r\n\
         Connection: close\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let (port, page): (u16, u32) = (port.parse().unwrap(), child.id());
    std::thread::spawn(move || {
        // The page may be dead at any of these moments; one that did not answer is, and its number may be another's by now.
        let mut answer = Vec::new();
        if let Ok(mut stream) = TcpStream::connect((Ipv4Addr::LOCALHOST, port)) {
            let _ = stream.write_all(request.as_bytes()).and_then(|()| stream.read_to_end(&mut answer));
        }
        if !answer.is_empty() {
            let _ = Command::new("kill").arg(page.to_string()).stderr(Stdio::null()).status();
        }
    });
    child
}
