//! Changed requests to the page, sent byte by byte over its socket.

use std::io::{Read, Write};
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::path::Path;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use serde_json::{Value, json};
use subwell::page::{Desk, Folder, Guard, Limits, Refusal, serve};

use super::texts::{Family, sample};

pub(crate) const FAMILY: Family =
    Family { name: "request", file: "request.http", seeds: |_| honest_requests(), door: answered };

const TOKEN: &str = "0123456789abcdef0123456789abcdef";
/// A body that never comes is waited for as long; longer than any answer takes.
const PATIENCE: Duration = Duration::from_secs(60);
/// What is said of a file must have come from somewhere.
const FILES: [&str; 2] = ["published-camera.toml", "published-night.toml"];

/// The port of the page under attack, which is started once and has to live through all of it.
fn port() -> u16 {
    static PORT: OnceLock<u16> = OnceLock::new();
    *PORT.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        FILES.map(|name| std::fs::write(folder.path().join(name), sample(name)).unwrap());
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let port = listener.local_addr().unwrap().port();
        let measure = Arc::new(|_: &Path, _: &_| Err(Refusal::new(422, "none", "nothing is measured here", "")));
        let desk = Desk::new(Folder::new(folder.path()).unwrap(), Guard::new(port, TOKEN.into()), None, measure);
        std::thread::spawn(move || {
            let _kept = folder;
            serve(listener, Arc::new(desk), Limits::default())
        });
        port
    })
}

/// A request of each kind as the page's own script sends it.
fn honest_requests() -> Vec<String> {
    let night = json!({
        "at": "published-night.toml",
        "text": sample("published-night.toml"),
        "changes": [{ "key": ["goal", "snr"], "value": 9.5 }]
    });
    let posts: [(&str, Value); 7] = [
        ("/api/plan", night.clone()),
        ("/api/map", night.clone()),
        ("/api/open", json!({ "path": "published-night.toml" })),
        ("/api/camera", json!({ "at": "published-night.toml", "profile": "published-camera.toml" })),
        ("/api/save", json!({ "path": "another.toml", "night": night, "replace": true })),
        ("/api/measure", json!({ "path": "." })),
        ("/api/profile", json!({ "path": "new-camera.toml" })),
    ];
    let gets = ["/", "/api/files", "/api/measure"].map(|path| request("GET", path, ""));
    gets.into_iter().chain(posts.map(|(path, body)| request("POST", path, &body.to_string()))).collect()
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
    let answer = sent(&std::fs::read(path).unwrap());
    assert!(!answer.starts_with("HTTP/1.1 500"), "{answer}");
    let alive = sent(request("GET", "/api/files", "").as_bytes());
    assert!(alive.starts_with("HTTP/1.1 200"), "the page is dead: {alive}");
    answer.starts_with("HTTP/1.1 200")
}

/// The answer, or what there is of one.
fn sent(bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port())).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    // A request that is refused by its head may find the door shut before its body is sent.
    let _ = stream.write_all(bytes).and_then(|()| stream.shutdown(Shutdown::Write));
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

#[test]
fn honest_requests_are_answered() {
    let answers: Vec<String> = honest_requests().iter().map(|request| sent(request.as_bytes())).collect();
    let good = answers.iter().filter(|answer| answer.starts_with("HTTP/1.1 200")).count();
    // Nothing was measured that could be saved.
    assert!(good + 2 >= answers.len(), "{answers:#?}");
}
