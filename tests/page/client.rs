//! A page to ask, and somebody who asks it byte by byte.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use serde_json::Value;
use subwell::page::{Api, Folder, Guard, Limits, Measure, serve};
use subwell::planner::Refusal;
use tempfile::TempDir;

use crate::support::program::{PROGRAM, samples};

/// Longer than any answer takes; a test that waits for it has failed.
const PATIENCE: Duration = Duration::from_secs(120);
pub(crate) const TOKEN: &str = "0123456789abcdef0123456789abcdef";

/// An answer as it came.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) head: String,
    pub(crate) body: Vec<u8>,
}

impl Answer {
    pub(crate) fn json(&self) -> Value {
        crate::support::schemas::valid_within(&self.body)
    }

    pub(crate) fn code(&self) -> String {
        self.json()["code"].as_str().unwrap_or("none").to_owned()
    }

    /// Reads an answer to its end; `None` when the server closed without one.
    pub(crate) fn read(stream: &mut impl Read) -> Option<Self> {
        let mut bytes = Vec::new();
        // A reset after the answer is an end too.
        let _ = stream.read_to_end(&mut bytes);
        let end = bytes.windows(4).position(|four| four == b"\r\n\r\n")?;
        let head = String::from_utf8_lossy(&bytes[..end]).to_lowercase();
        let status = head.split(' ').nth(1)?.parse().ok()?;
        Some(Self { status, head, body: bytes[end + 4..].to_vec() })
    }
}

/// Where the page is and how it is request.
#[derive(Clone)]
pub(crate) struct Address {
    pub(crate) port: u16,
    pub(crate) token: String,
}

impl Address {
    pub(crate) fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream.set_write_timeout(Some(PATIENCE)).unwrap();
        stream
    }

    /// The headers of an honest request.
    pub(crate) fn headers(&self) -> Vec<(String, String)> {
        let host = format!("127.0.0.1:{}", self.port);
        [
            ("Host", host.clone()),
            ("Origin", format!("http://{host}")),
            ("Sec-Fetch-Site", "same-origin".into()),
            ("Content-Type", "application/json".into()),
            ("X-Subwell-Token", self.token.clone()),
            ("Connection", "close".into()),
        ]
        .map(|(name, value)| (name.to_owned(), value))
        .to_vec()
    }

    pub(crate) fn send(&self, method: &str, path: &str, headers: &[(String, String)], body: &[u8]) -> Answer {
        let mut head = format!("{method} {path} HTTP/1.1\r\n");
        headers.iter().for_each(|(name, value)| head.push_str(&format!("{name}: {value}\r\n")));
        if method == "POST" {
            head.push_str(&format!("Content-Length: {}\r\n", body.len()));
        }
        let mut stream = self.connect();
        stream.write_all(format!("{head}\r\n").as_bytes()).unwrap();
        // A refused body may find the door shut.
        let _ = stream.write_all(body);
        Answer::read(&mut stream).unwrap_or_else(|| panic!("no answer to {method} {path}"))
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        self.send("GET", path, &self.headers(), b"")
    }

    pub(crate) fn post(&self, path: &str, body: &Value) -> Answer {
        self.send("POST", path, &self.headers(), body.to_string().as_bytes())
    }

    /// An honest request with one header replaced, or taken out.
    pub(crate) fn with(&self, path: &str, body: &Value, name: &str, value: Option<&str>) -> Answer {
        let mut headers = self.headers();
        headers.retain(|(own, _)| own != name);
        headers.extend(value.map(|value| (name.to_owned(), value.to_owned())));
        self.send("POST", path, &headers, body.to_string().as_bytes())
    }
}

/// A page on a thread of this process, with limits of its own and a folder that holds the published sample.
pub(crate) struct Page {
    pub(crate) address: Address,
    pub(crate) folder: TempDir,
}

pub(crate) fn copy(name: &str, folder: &Path) {
    std::fs::copy(samples().join(name), folder.join(name)).unwrap();
}

pub(crate) fn page_with(limits: Limits, measure: Arc<Measure>) -> Page {
    let folder = tempfile::tempdir().unwrap();
    copy("published-camera.toml", folder.path());
    copy("published-night.toml", folder.path());
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
    let address = Address { port: listener.local_addr().unwrap().port(), token: TOKEN.into() };
    let guard = Guard::new(address.port, TOKEN.into());
    let api = Api::new(Folder::new(folder.path()).unwrap(), guard, None, measure);
    std::thread::spawn(move || serve(listener, Arc::new(api), limits));
    Page { address, folder }
}

pub(crate) fn page() -> Page {
    page_with(Limits::default(), Arc::new(|_, _| Err(Refusal::new(422, "none", "nothing is measured here", ""))))
}

impl Page {
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The published night as the page has it after opening.
    pub(crate) fn draft(&self) -> Value {
        let text = std::fs::read_to_string(self.path("published-night.toml")).unwrap();
        serde_json::json!({ "at": "published-night.toml", "text": text, "changes": [] })
    }
}

/// `subwell page` as a process of its own, in a folder.
pub(crate) struct Program {
    pub(crate) address: Address,
    pub(crate) said: String,
    child: Child,
}

impl Program {
    pub(crate) fn start(folder: &Path, words: &[&str]) -> Self {
        Self::start_with(folder, words, &[])
    }

    /// The same with variables of its surroundings.
    pub(crate) fn start_with(folder: &Path, words: &[&str], variables: &[(&str, &OsStr)]) -> Self {
        Self::started(folder, &[&["--port", "0"][..], words].concat(), variables)
    }

    /// The same on the port that the folder has of its own.
    pub(crate) fn on_its_own_port(folder: &Path) -> Self {
        Self::started(folder, &[], &[])
    }

    fn started(folder: &Path, words: &[&str], variables: &[(&str, &OsStr)]) -> Self {
        let mut child = Command::new(PROGRAM)
            .args(["page", "--no-open"])
            .args(words)
            .envs(variables.iter().copied())
            .current_dir(folder)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut said = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut said).unwrap();
        let address = said.split("http://127.0.0.1:").nth(1).unwrap_or_else(|| panic!("no address: {said}"));
        let (port, token) = address.trim().split_once("/#").unwrap();
        let address = Address { port: port.parse().unwrap(), token: token.into() };
        Self { address, said, child }
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
