//! Changed requests to the page, sent byte by byte over its socket.

use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::Path;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use serde_json::{Value, json};
use subwell::page::{Api, Folder, Guard, Limits, serve};
use subwell::planner::Refusal;

use super::texts::{Family, sample};

pub(crate) const FAMILY: Family = Family { name: "request", file: "request.http", seeds: |_| seeds(), door: answered };

const TOKEN: &str = "0123456789abcdef0123456789abcdef";
/// The page's patience with a head or a body that never ends; most mutations that are cut off wait for it.
const SHORT: Duration = Duration::from_millis(300);
/// An honest request on a busy machine may be cut off by that patience so often.
const TRIES: usize = 20;
/// Longer than any answer takes.
const PATIENCE: Duration = Duration::from_secs(60);
/// What lies in its folder.
const FILES: [&str; 2] = ["published-camera.toml", "published-night.toml"];

/// The port of the page under attack, which is started once and has to live through all of it.
fn port() -> u16 {
    static PORT: OnceLock<u16> = OnceLock::new();
    *PORT.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        FILES.iter().for_each(|name| std::fs::write(folder.path().join(name), sample(name)).unwrap());
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let port = listener.local_addr().unwrap().port();
        let measure =
            Arc::new(|_: &[std::path::PathBuf], _: &_| Err(Refusal::new(422, "none", "nothing is measured here", "")));
        let api = Api::new(Folder::new(folder.path()).unwrap(), Guard::new(port, TOKEN.into()), None, measure);
        std::thread::spawn(move || {
            let _kept = folder;
            serve(listener, Arc::new(api), Limits { head: SHORT, whole_body: SHORT, ..Limits::default() })
        });
        port
    })
}

/// Whole requests, and bodies behind this word and their path, which are sent under an honest head: a changed head is
/// refused before its body is looked at.
const BODY: &[u8] = b"body of ";

fn seeds() -> Vec<String> {
    let bodies = posts().into_iter().map(|(path, body)| format!("body of {path}\n{body}"));
    honest_requests().into_iter().chain(bodies).collect()
}

/// What the page's own script sends, a body of each kind.
fn posts() -> [(&'static str, Value); 7] {
    let night = json!({
        "at": "published-night.toml",
        "text": sample("published-night.toml"),
        "changes": [{ "key": ["goal", "snr"], "value": 9.5 }]
    });
    [
        ("/api/plan", night.clone()),
        ("/api/map", night.clone()),
        ("/api/open", json!({ "path": "published-night.toml" })),
        ("/api/camera", json!({ "at": "published-night.toml", "profile": "published-camera.toml" })),
        ("/api/save", json!({ "path": "another.toml", "night": night, "replace": false })),
        ("/api/measure", json!({ "paths": ["."] })),
        ("/api/profile", json!({ "path": "new-camera.toml" })),
    ]
}

fn honest_requests() -> Vec<String> {
    let gets = ["/", "/api/files", "/api/measure"].map(|path| request("GET", path, ""));
    let posts = posts().map(|(path, body)| request("POST", path, &body.to_string()));
    gets.into_iter().chain(posts).collect()
}

fn request(method: &str, path: &str, body: &str) -> String {
    let port = port();
    format!(
        "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\n\
         Sec-Fetch-Site: same-origin\r\nContent-Type: application/json\r\nX-Subwell-Token: {TOKEN}\r\n\
         Connection: close\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    )
}

/// Whether the request in the file was answered with what it asked for; a page that broke off or is dead is a panic.
fn answered(path: &Path) -> bool {
    let bytes = std::fs::read(path).unwrap();
    let body = bytes.strip_prefix(BODY).and_then(|rest| Some(rest.split_at(rest.iter().position(|b| *b == b'\n')?)));
    let answer = match body {
        Some((path, body)) => {
            let head = request("POST", &String::from_utf8_lossy(path), "");
            let head = head.replace("Content-Length: 0", &format!("Content-Length: {}", body.len()));
            sent(&[head.as_bytes(), body].concat())
        }
        None => sent(&bytes),
    };
    assert!(!answer.starts_with("HTTP/1.1 500"), "{answer}");
    assert!(is_answered(&request("GET", "/api/files", "")), "the page is dead");
    answer.starts_with("HTTP/1.1 200")
}

/// The answer, or what there is of one.
fn sent(bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port())).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    // A request that is refused by its head may find the door shut before its body is sent.
    let _ = stream.write_all(bytes);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

fn is_answered(honest: &str) -> bool {
    // 409: it was saved before; 422: nothing was measured that could be saved.
    let good =
        |answer: String| ["200", "409", "422"].iter().any(|code| answer.starts_with(&format!("HTTP/1.1 {code}")));
    (0..TRIES).any(|_| good(sent(honest.as_bytes())))
}

#[test]
fn honest_requests_are_answered() {
    for request in honest_requests() {
        assert!(is_answered(&request), "{request}");
    }
}
