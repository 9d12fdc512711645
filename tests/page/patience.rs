//! What a client may cost: bytes, time, connections.

use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::sync::Arc;
use std::time::Duration;

use serde_json::json;
use subwell::page::{Api, Folder, Guard, Limits, serve};
use subwell::planner::Refusal;

use crate::client::{Answer, Page, page, page_with};

/// Far longer than the limit that is looked at, far shorter than the test's patience.
const LONG: Duration = Duration::from_secs(100_000);

fn limited(limits: Limits) -> Page {
    page_with(limits, Arc::new(|_, _| Err(Refusal::new(422, "none", "nothing is measured here", ""))))
}

fn unlimited() -> Limits {
    Limits { connections: 1000, body: 1 << 30, head: LONG, whole_body: LONG, connection: LONG }
}

fn head(page: &Page) -> String {
    let lines: Vec<String> =
        page.address.headers().iter().map(|(name, value)| format!("{name}: {value}\r\n")).collect();
    format!("POST /api/open HTTP/1.1\r\n{}", lines.concat())
}

/// Waits until the server ends the connection; what it said before.
fn until_closed(stream: &mut TcpStream) -> Vec<u8> {
    let mut bytes = Vec::new();
    match stream.read_to_end(&mut bytes) {
        Ok(_) => bytes,
        Err(error) if error.kind() == std::io::ErrorKind::ConnectionReset => bytes,
        Err(error) => panic!("the server goes on waiting: {error}"),
    }
}

#[test]
fn a_huge_body_is_refused_by_its_size() {
    let page = page();
    let limit = Limits::default().body;
    let big = json!({ "path": "x".repeat(limit) });
    let answer = page.address.post("/api/open", &big);
    assert_eq!((answer.status, answer.code().as_str()), (413, "over-limit"));
    // Without a length said before: the server counts itself.
    let mut stream = page.address.connect();
    stream.write_all(format!("{}Transfer-Encoding: chunked\r\n\r\n", head(&page)).as_bytes()).unwrap();
    let chunk = vec![b' '; 1 << 16];
    for _ in 0..2 * (limit >> 16) {
        let sent = stream
            .write_all(b"10000\r\n")
            .and_then(|()| stream.write_all(&chunk))
            .and_then(|()| stream.write_all(b"\r\n"));
        if sent.is_err() {
            break;
        }
    }
    let said = String::from_utf8_lossy(&until_closed(&mut stream)).into_owned();
    assert!(said.is_empty() || said.contains("413"), "{said}");
    // A head without end is cut off too.
    let mut stream = page.address.connect();
    let line = format!("X-Long: {}\r\n", "x".repeat(8000));
    stream.write_all(b"GET / HTTP/1.1\r\n").unwrap();
    while stream.write_all(line.as_bytes()).is_ok() {}
    assert_eq!(page.address.get("/").status, 200);
}

#[test]
fn a_client_that_never_ends_its_head_is_cut_off() {
    let page = limited(Limits { head: Duration::from_millis(200), ..unlimited() });
    let mut stream = page.address.connect();
    stream.write_all(b"GET / HTTP/1.1\r\nHost: 127.0.0.1").unwrap();
    until_closed(&mut stream);
    // Also one that keeps its connection and says nothing more.
    let mut idle = page.address.connect();
    idle.write_all(format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", page.address.port).as_bytes()).unwrap();
    assert!(until_closed(&mut idle).starts_with(b"HTTP/1.1 200"));
}

#[test]
fn a_client_that_never_ends_its_body_is_cut_off() {
    let page = limited(Limits { whole_body: Duration::from_millis(200), ..unlimited() });
    let mut stream = page.address.connect();
    stream.write_all(format!("{}Content-Length: 100\r\n\r\n{{", head(&page)).as_bytes()).unwrap();
    let said = until_closed(&mut stream);
    assert!(said.starts_with(b"HTTP/1.1 408"), "{}", String::from_utf8_lossy(&said));
}

/// Who asks for much and reads nothing holds a connection only for so long.
#[test]
fn a_client_that_does_not_read_is_cut_off() {
    let page = limited(Limits { connection: Duration::from_millis(300), connections: 1, ..unlimited() });
    let mut deaf = page.address.connect();
    let ask = format!("GET /page.css HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", page.address.port);
    // More answers than the sockets' buffers hold, so that the server waits for the reader.
    deaf.set_nonblocking(true).unwrap();
    for _ in 0..4000 {
        if deaf.write(ask.as_bytes()).is_err() {
            break;
        }
    }
    // The only place is free again although nothing was read.
    assert_eq!(page.address.get("/").status, 200);
    drop(deaf);
}

#[test]
fn many_clients_wait_their_turn() {
    let page = limited(Limits { connections: 3, ..unlimited() });
    let mut idle: Vec<TcpStream> = (0..3).map(|_| page.address.connect()).collect();
    for stream in &mut idle {
        stream.write_all(b"GET / HTTP/1.1\r\n").unwrap();
    }
    let mut late = page.address.connect();
    let ask = format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n", page.address.port);
    late.write_all(ask.as_bytes()).unwrap();
    // All places are taken: it waits. On a slow machine this shows less, and never wrongly.
    late.set_read_timeout(Some(Duration::from_millis(1500))).unwrap();
    let mut one = [0_u8];
    assert!(late.read(&mut one).is_err(), "a fourth client was served");
    // One goes, and it is served.
    drop(idle.pop());
    late.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
    assert_eq!(Answer::read(&mut late).unwrap().status, 200);
}

/// Slow heads, slow bodies and deaf readers, three times as many as there are places. Each may wait for a quarter of an
/// hour, and does while nobody else comes.
#[test]
fn who_keeps_others_waiting_loses_its_place() {
    let page = limited(Limits { connections: 4, head: Duration::from_secs(900), ..unlimited() });
    let host = format!("GET /page.css HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n", page.address.port);
    let slow =
        [host.clone(), format!("{}Content-Length: 100\r\n\r\n{{", head(&page)), format!("{host}\r\n").repeat(2000)];
    let mut crowd: Vec<TcpStream> = (0..12).map(|_| page.address.connect()).collect();
    for (stream, said) in crowd.iter_mut().zip(slow.iter().cycle()) {
        // The deaf ask for more than the sockets' buffers hold, and the server may not take it all.
        stream.set_nonblocking(true).unwrap();
        let _ = stream.write(said.as_bytes());
    }
    assert_eq!(page.address.get("/").status, 200);
    // Alone, who came last keeps its place for as long as it may.
    let mut alone = page.address.connect();
    alone.write_all(host.as_bytes()).unwrap();
    std::thread::sleep(Duration::from_secs(2));
    alone.write_all(b"Connection: close\r\n\r\n").unwrap();
    assert_eq!(Answer::read(&mut alone).unwrap().status, 200);
}

#[test]
fn a_crowd_is_served_to_the_last() {
    let page = page();
    let (address, draft) = (page.address.clone(), page.draft());
    let clients: Vec<_> = (0..100)
        .map(|_| {
            let (address, draft) = (address.clone(), draft.clone());
            std::thread::spawn(move || address.post("/api/plan", &draft).body)
        })
        .collect();
    let bodies: Vec<Vec<u8>> = clients.into_iter().map(|client| client.join().unwrap()).collect();
    assert!(bodies.iter().all(|body| *body == bodies[0] && body.len() > 1000));
}

/// The page is for this machine: a socket that others can reach is not served.
#[test]
fn other_machines_cannot_be_served() {
    let folder = tempfile::tempdir().unwrap();
    let measure =
        Arc::new(|_: &[std::path::PathBuf], _: &subwell::page::Progress| Err(Refusal::new(422, "none", "", "")));
    let listener = TcpListener::bind((Ipv4Addr::UNSPECIFIED, 0)).unwrap();
    let guard = Guard::new(listener.local_addr().unwrap().port(), "x".into());
    let api = Arc::new(Api::new(Folder::new(folder.path()).unwrap(), guard, None, measure));
    let (sender, receiver) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        sender.send(serve(listener, api, Limits::default()).map(|_| ()).map_err(|error| error.to_string()))
    });
    let said = receiver.recv_timeout(Duration::from_secs(60)).expect("it is served to everybody");
    assert!(said.unwrap_err().contains("loopback"));
}
