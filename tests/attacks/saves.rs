//! Saves beside other programs: an editor that saves in the same moment, a private file, a file that is read-only, and what
//! kills leave unfinished.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, SystemTime};

use serde_json::{Value, json};

use super::PROGRAM;
use super::support::program::samples;

/// Saves against one editor; each is tried at another moment.
const TRIES: usize = 60;
const NIGHT: &str = "published-night.toml";

/// `subwell page` in a folder of its own that holds the published night.
struct Page {
    folder: tempfile::TempDir,
    port: u16,
    token: String,
    child: Child,
}

impl Page {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        for name in [NIGHT, "published-camera.toml"] {
            fs::copy(samples().join(name), folder.path().join(name)).unwrap();
        }
        let mut command = Command::new(PROGRAM);
        command.args(["page", "--no-open", "--port", "0"]).current_dir(folder.path()).stdout(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let mut said = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut said).unwrap();
        let (port, token) = said.split("http://127.0.0.1:").nth(1).unwrap().trim().split_once("/#").unwrap();
        Self { folder, port: port.parse().unwrap(), token: token.into(), child }
    }

    fn night(&self) -> PathBuf {
        self.folder.path().join(NIGHT)
    }

    /// The answer to a request, if the page lives to give one.
    fn post(&self, path: &str, body: &Value) -> Option<String> {
        let body = body.to_string();
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nX-Subwell-Token: {}\r\n\
             Connection: close\r\nContent-Length: {}\r\n\r\n",
            self.port,
            self.token,
            body.len()
        );
        let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).ok()?;
        stream.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
        let _ = stream.write_all(head.as_bytes()).and_then(|()| stream.write_all(body.as_bytes()));
        let mut answer = String::new();
        let _ = stream.read_to_string(&mut answer);
        (!answer.is_empty()).then_some(answer)
    }

    /// Saves the night that stands in `text` with one key changed.
    fn save(&self, text: &str) -> String {
        let change = json!({ "key": ["goal", "snr"], "value": 9.5 });
        let night = json!({ "at": NIGHT, "text": text, "changes": [change] });
        self.post("/api/save", &json!({ "path": NIGHT, "night": night, "replace": true })).expect("no answer")
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The texts of all files in a folder.
fn texts(folder: &Path) -> Vec<String> {
    fs::read_dir(folder).unwrap().map(|entry| fs::read_to_string(entry.unwrap().path()).unwrap_or_default()).collect()
}

/// An editor that saves once, by renaming, in the moment in which something unfinished lies in the folder.
fn editor_that_saves(folder: &Path, night: &Path, text: &str, stop: &AtomicBool) -> bool {
    let beside = folder.parent().unwrap().join(format!("{}-editor", folder.file_name().unwrap().to_string_lossy()));
    fs::write(&beside, text).unwrap();
    let unfinished = || {
        fs::read_dir(folder).unwrap().filter_map(Result::ok).any(|e| e.file_name().to_string_lossy().starts_with('.'))
    };
    while !unfinished() && !stop.load(Ordering::Relaxed) {
        std::hint::spin_loop();
    }
    let in_time = !stop.load(Ordering::Relaxed);
    fs::rename(&beside, night).unwrap();
    in_time
}

/// What an editor saves while the page saves is there afterwards, under its own name or beside it; and where the page says
/// that it saved, its own text is what was written, unless the editor came after it.
#[test]
fn a_text_that_an_editor_saves_meanwhile_is_never_lost() {
    let page = Page::start();
    let old = fs::read_to_string(page.night()).unwrap();
    let (mut met, mut kept) = (0, 0);
    for number in 0..TRIES {
        fs::write(page.night(), &old).unwrap();
        let editors = format!("{old}# saved by an editor, number {number}\n");
        let stop = AtomicBool::new(false);
        let (answer, in_time) = std::thread::scope(|scope| {
            let editor = scope.spawn(|| editor_that_saves(page.folder.path(), &page.night(), &editors, &stop));
            let answer = page.save(&old);
            stop.store(true, Ordering::Relaxed);
            (answer, editor.join().unwrap())
        });
        met += usize::from(in_time);
        let all = texts(page.folder.path());
        assert!(all.contains(&editors), "try {number}: the editor's text is lost, and the page answered {answer}");
        if answer.contains("changed-on-disk") {
            kept += usize::from(answer.contains("not-saved"));
            assert_eq!(fs::read_to_string(page.night()).unwrap(), editors, "try {number}: {answer}");
        }
        if answer.contains("not-saved") {
            let ours = old.replace("snr = 8.0 ", "snr = 9.5 ");
            assert!(all.contains(&ours), "try {number}: the page's text is lost: {answer}");
        }
    }
    // An editor that never meets a save tries nothing.
    assert!(met > TRIES / 4, "{met} met, {kept} kept beside");
}

/// Runs the program and gives what it wrote to stderr, and whether it ended well.
fn run(words: &[&str]) -> (bool, String) {
    let run = Command::new(PROGRAM).args(words).output().unwrap();
    (run.status.success(), String::from_utf8_lossy(&run.stderr).into_owned())
}

/// A folder with the published night, and the words that write a table of its nights over `file`.
fn plan_into(folder: &Path, file: &Path) -> Vec<String> {
    for name in [NIGHT, "published-camera.toml"] {
        fs::copy(samples().join(name), folder.join(name)).unwrap();
    }
    let night = folder.join(NIGHT);
    ["plan", night.to_str().unwrap(), "--force", "--report", file.to_str().unwrap()].map(str::to_owned).into()
}

#[test]
fn a_private_file_stays_private_and_a_read_only_one_stays_as_it_is() {
    let page = Page::start();
    let old = fs::read_to_string(page.night()).unwrap();
    let mode = |path: &Path| fs::metadata(path).unwrap().mode() & 0o7777;
    let allow = |path: &Path, mode: u32| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    for private in [0o600, 0o640, 0o666] {
        fs::write(page.night(), &old).unwrap();
        allow(&page.night(), private);
        assert!(page.save(&old).starts_with("HTTP/1.1 200"));
        assert_eq!(mode(&page.night()), private, "{private:o}");
    }
    fs::write(page.night(), &old).unwrap();
    allow(&page.night(), 0o400);
    let answer = page.save(&old);
    assert!(answer.contains("read-only"), "{answer}");
    assert_eq!((mode(&page.night()), fs::read_to_string(page.night()).unwrap()), (0o400, old));
    // The same on the command line, whoever asks.
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("report.html");
    let words = plan_into(folder.path(), &file);
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    fs::write(&file, "old").unwrap();
    allow(&file, 0o600);
    assert!(run(&words).0);
    assert_eq!(mode(&file), 0o600);
    fs::write(&file, "old").unwrap();
    allow(&file, 0o400);
    let (done, said) = run(&words);
    assert!(!done && said.contains("read-only"), "{said}");
    assert_eq!(fs::read_to_string(&file).unwrap(), "old");
    // A new file is as open as the umask says, which a file of ours shows.
    let fresh = folder.path().join("fresh.html");
    let words = plan_into(folder.path(), &fresh);
    assert!(run(&words.iter().map(String::as_str).collect::<Vec<_>>()).0);
    let plain = folder.path().join("plain");
    fs::write(&plain, "").unwrap();
    assert_eq!(mode(&fresh), mode(&plain));
}

#[test]
fn what_kills_left_unfinished_is_removed_by_a_later_write() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("report.html");
    let words = plan_into(folder.path(), &file);
    let hidden = || {
        let entries = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().path());
        entries.filter(|path| path.file_name().unwrap().to_string_lossy().starts_with('.')).collect::<Vec<_>>()
    };
    let mut kills = 0;
    while hidden().is_empty() {
        assert!(kills < 400, "no kill met a file half-way");
        let mut command = Command::new(PROGRAM);
        let mut child = command.args(&words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        while hidden().is_empty() && child.try_wait().unwrap().is_none() {
            std::hint::spin_loop();
        }
        let _ = child.kill();
        child.wait().unwrap();
        kills += 1;
    }
    let [left] = hidden().try_into().unwrap();
    let foreign = folder.path().join(".tmpA1b2C3");
    fs::write(&foreign, "of another program").unwrap();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    // A young one may still be written to.
    assert!(run(&words).0);
    assert!(left.exists());
    let week = SystemTime::now() - Duration::from_secs(7 * 24 * 3600);
    for path in [&left, &foreign] {
        File::options().append(true).open(path).unwrap().set_modified(week).unwrap();
    }
    assert!(run(&words).0);
    assert_eq!(hidden(), [foreign]);
}

/// A key of thousands of steps, and a value that nests as deep, are refused, and the page lives.
#[test]
fn a_key_of_four_thousand_steps_is_refused() {
    let page = Page::start();
    let text = fs::read_to_string(page.night()).unwrap();
    let deep = (0..100).fold(json!(1), |inner, _| json!({ "a": inner }));
    let steps = vec!["a"; 4000];
    for change in [json!({ "key": steps, "value": 1 }), json!({ "key": ["goal", "snr"], "value": deep })] {
        for path in ["/api/plan", "/api/map"] {
            let night = json!({ "at": NIGHT, "text": text, "changes": [change] });
            let answer = page.post(path, &night).expect("the page is dead");
            assert!(answer.starts_with("HTTP/1.1 4"), "{answer}");
        }
    }
    assert!(page.save(&text).starts_with("HTTP/1.1 200"));
}
