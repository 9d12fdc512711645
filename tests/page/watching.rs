//! A watched folder over the socket: events as they come, and the review at the end.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::time::Duration;

use serde_json::{Value, json};
use subwell::page::Limits;

use crate::client::{Address, Page, Program, page_with};
use crate::support::program::subwell;

const SENSOR: &str = "width_px = 200\nheight_px = 150\ngain_e_per_adc_step = 0.25\nread_noise_e = 1.6\noffset_dn = 240\n\
                      dark_e_per_s = 0.02\nfull_well_e = 15000\nstars_per_frame = 40\nstart = \"2026-03-16T19:30:00\"\n\
                      adc_bits = 16\nseed = 5\n[[frames]]\nkind = \"light\"\ncount = 12\nexposure_s = 60.0\n\
                      light_e_per_s = 6.0\nstep_px = [1, 1]\n";

/// Frames beside the published night.
fn lights(page: &std::path::Path) {
    fs::write(page.join("sensor.toml"), SENSOR).unwrap();
    let simulate = subwell().current_dir(page).args(["-q", "simulate", "sensor.toml", "--out", "staged"]).assert();
    simulate.success();
    fs::create_dir(page.join("lights")).unwrap();
}

/// Listens to the events from one on, until one of a name came; the events with their numbers.
fn listen(address: &Address, last: Option<u64>, until: &str) -> Vec<(u64, String, Value)> {
    let mut stream = address.connect();
    let mut head = String::from("GET /api/watch HTTP/1.1\r\n");
    address.headers().iter().for_each(|(name, value)| head.push_str(&format!("{name}: {value}\r\n")));
    if let Some(last) = last {
        head.push_str(&format!("Last-Event-ID: {last}\r\n"));
    }
    stream.write_all(format!("{head}\r\n").as_bytes()).unwrap();
    let (mut events, mut id, mut name) = (Vec::new(), 0, String::new());
    let mut in_head = true;
    for line in BufReader::new(stream).lines().map_while(Result::ok) {
        if in_head {
            assert!(!line.starts_with("HTTP/1.1 ") || line.contains("200"), "{line}");
            in_head = !line.is_empty();
        } else if let Some(number) = line.strip_prefix("id: ") {
            id = number.parse().unwrap();
        } else if let Some(word) = line.strip_prefix("event: ") {
            name = word.to_owned();
        } else if let Some(data) = line.strip_prefix("data: ") {
            events.push((id, name.clone(), serde_json::from_str(data).unwrap()));
            if name == until {
                return events;
            }
        }
    }
    events
}

fn desk() -> (tempfile::TempDir, Value) {
    let folder = tempfile::tempdir().unwrap();
    let samples = crate::support::program::samples();
    fs::copy(samples.join("published-camera.toml"), folder.path().join("published-camera.toml")).unwrap();
    let text = fs::read_to_string(samples.join("published-night.toml")).unwrap();
    fs::write(folder.path().join("published-night.toml"), &text).unwrap();
    lights(folder.path());
    (folder, json!({ "at": "published-night.toml", "text": text, "changes": [] }))
}

#[test]
fn lights_are_told_as_they_come_and_the_end_is_the_review() {
    let (folder, night) = desk();
    let program = Program::start(folder.path(), &[]);
    let address = &program.address;
    let begin = json!({ "folder": "lights", "night": night });
    let started = address.post("/api/watch", &begin).json();
    assert_eq!((&started["running"], &started["folder"]), (&json!(true), &json!("lights")), "{started}");
    assert_eq!(address.post("/api/watch", &begin).code(), "watching");
    let staged: Vec<_> =
        fs::read_dir(folder.path().join("staged")).unwrap().map(|entry| entry.unwrap().path()).collect();
    let frames: Vec<_> = staged
        .iter()
        .flat_map(|path| {
            if path.is_dir() {
                fs::read_dir(path).unwrap().map(|e| e.unwrap().path()).collect()
            } else {
                vec![path.clone()]
            }
        })
        .collect();
    assert_eq!(frames.len(), 12);
    for frame in &frames[..6] {
        fs::copy(frame, folder.path().join("lights").join(frame.file_name().unwrap())).unwrap();
    }
    let first = listen(address, None, "stacks");
    assert!(first.iter().any(|(_, name, said)| name == "said" && said["kind"] == "sub"), "{first:?}");
    let last = first.last().unwrap().0;
    for frame in &frames[6..] {
        fs::copy(frame, folder.path().join("lights").join(frame.file_name().unwrap())).unwrap();
    }
    // Who comes back hears what he missed, and nothing twice.
    let mut told: Vec<(u64, String, Value)> = first;
    let mut after = last;
    let subs = |told: &[(u64, String, Value)]| told.iter().filter(|(_, _, said)| said["kind"] == "sub").count();
    while subs(&told) < 12 {
        let more = listen(address, Some(after), "stacks");
        assert!(more.iter().all(|(id, ..)| *id > after));
        after = more.last().map_or(after, |(id, ..)| *id);
        told.extend(more);
    }
    assert_eq!(subs(&told), 12);
    address.post("/api/watch/stop", &json!({}));
    let end = listen(address, Some(after), "end");
    let (_, name, review) = end.last().unwrap();
    assert_eq!(name, "end");
    let command = subwell()
        .current_dir(folder.path())
        .args(["-q", "review", "lights", "--night", "published-night.toml", "--json"])
        .assert();
    assert_eq!(*review, serde_json::from_slice::<Value>(&command.success().get_output().stdout).unwrap());
    assert_eq!(address.get("/api/watching").json()["running"], false);
}

#[test]
fn a_watch_of_no_folder_or_of_one_outside_is_refused() {
    let (folder, night) = desk();
    let program = Program::start(folder.path(), &[]);
    let address = &program.address;
    let code = |folder: &str| address.post("/api/watch", &json!({ "folder": folder, "night": night })).code();
    assert_eq!(code("../elsewhere"), "outside");
    assert_eq!(code("nowhere"), "unreadable");
    let mut headers = address.headers();
    headers.retain(|(name, _)| name != "X-Subwell-Token");
    assert_ne!(address.send("GET", "/api/watch", &headers, b"").status, 200);
}

/// Listeners that read nothing take no place for ever.
#[test]
fn a_listener_ends_before_its_connection_is_old() {
    let limits = Limits { connection: Duration::from_millis(500), connections: 2, ..Limits::default() };
    let page: Page = page_with(limits, std::sync::Arc::new(|_, _| unreachable!()));
    for _ in 0..6 {
        assert!(listen(&page.address, None, "end").is_empty());
    }
    assert_eq!(page.address.get("/api/files").status, 200);
}
