//! A folder of frames measured while somebody watches.

use std::sync::Arc;
use std::sync::mpsc::{channel, sync_channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use subwell::page::{Limits, Measure};
use subwell::planner::Refusal;

use crate::client::{Program, copy, page_with};
use crate::support::program::{copied, samples, subwell};
#[cfg(target_os = "linux")]
use crate::support::slow;

const PATIENCE: Duration = Duration::from_secs(120);

/// Asks again until the measurement has ended.
fn ended(ask: impl Fn() -> Value) -> Value {
    let start = Instant::now();
    loop {
        let document = ask();
        if document["state"] != "running" {
            return document;
        }
        assert!(start.elapsed() < PATIENCE, "{document}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn the_measured_profile_is_the_commands_own() {
    let folder = tempfile::tempdir().unwrap();
    copied(&samples().join("uncooled-colour"), &folder.path().join("frames"));
    std::fs::create_dir(folder.path().join("broken")).unwrap();
    std::fs::write(folder.path().join("broken/a.fits"), "SIMPLE  = nothing").unwrap();
    let program = Program::start(folder.path(), &[]);
    let address = &program.address;
    let started = address.post("/api/measure", &json!({ "paths": ["frames"] }));
    assert_eq!(started.json()["state"], "running", "{started:?}");
    let document = ended(|| address.get("/api/measure").json());
    assert_eq!(document["state"], "done", "{document}");
    assert_eq!((&document["frames_done"], &document["frames"]), (&json!(46), &json!(46)));
    assert_eq!(address.post("/api/profile", &json!({ "path": "mine.toml" })).status, 200);
    assert_eq!(address.post("/api/profile", &json!({ "path": "mine.toml" })).code(), "exists");
    for name in ["run.sh", "page.html", ".hidden.toml", "frames", "mine.fits"] {
        assert_eq!(address.post("/api/profile", &json!({ "path": name })).code(), "wrong-name", "{name}");
    }
    assert_eq!(address.post("/api/profile", &json!({ "path": "../mine.toml" })).code(), "outside");
    let mut command = subwell();
    let run =
        command.current_dir(&folder).args(["measure", "frames", "--out", "theirs.toml", "--json"]).assert().success();
    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    assert_eq!(read("mine.toml"), read("theirs.toml"));
    assert_eq!(document["camera"], crate::support::schemas::valid(&run.get_output().stdout));

    address.post("/api/measure", &json!({ "paths": ["broken"] }));
    let document = ended(|| address.get("/api/measure").json());
    assert_eq!(document["state"], "failed");
    let error = &document["error"];
    assert_eq!(error["code"], "nothing-to-measure");
    assert!(
        error["message"].as_str().unwrap().contains("broken") && error["hint"].as_str().unwrap().len() > 20,
        "{error}"
    );
    assert_eq!(address.post("/api/profile", &json!({ "path": "none.toml" })).code(), "no-profile");
}

#[test]
fn progress_is_told_and_a_stop_is_heard() {
    let (go, gone) = (sync_channel::<()>(0), channel::<()>());
    let gate = std::sync::Mutex::new(go.1);
    let told = std::sync::Mutex::new(gone.0);
    let measure: Arc<Measure> = Arc::new(move |_, progress| {
        progress.expect(10);
        for _ in 0..3 {
            let _ = progress.step();
        }
        told.lock().unwrap().send(()).unwrap();
        gate.lock().unwrap().recv().unwrap();
        // What was asked meanwhile is heard at the next frame.
        if progress.step() {
            panic!("it goes on after the stop")
        }
        Err(Refusal::new(422, "stopped", "the measurement was stopped", ""))
    });
    let page = page_with(Limits::default(), measure);
    let address = &page.address;
    assert_eq!(address.get("/api/measure").json()["state"], "none");
    address.post("/api/measure", &json!({ "paths": ["."] }));
    gone.1.recv_timeout(PATIENCE).unwrap();
    let half = address.get("/api/measure").json();
    assert_eq!((&half["state"], &half["frames_done"], &half["frames"]), (&json!("running"), &json!(3), &json!(10)));
    assert_eq!(address.post("/api/measure", &json!({ "paths": ["."] })).code(), "measuring");
    address.post("/api/stop", &json!({}));
    go.0.send(()).unwrap();
    let document = ended(|| address.get("/api/measure").json());
    assert_eq!(document["error"]["code"], "stopped", "{document}");
}

/// A slow disk holds up the measurement, and nobody else.
#[cfg(target_os = "linux")]
#[test]
fn slow_reads_are_told_frame_by_frame_while_the_page_answers() {
    let folder = tempfile::tempdir().unwrap();
    copied(&samples().join("uncooled-colour"), &folder.path().join("frames"));
    copy("published-camera.toml", folder.path());
    copy("published-night.toml", folder.path());
    let elsewhere = tempfile::tempdir().unwrap();
    let program = Program::start_with(folder.path(), &[], &[(slow::UNDER, slow::disk(elsewhere.path()).as_os_str())]);
    let address = &program.address;
    let text = std::fs::read_to_string(folder.path().join("published-night.toml")).unwrap();
    let draft = json!({ "at": "published-night.toml", "text": text, "changes": [] });
    address.post("/api/measure", &json!({ "paths": ["frames"] }));
    let (done, planned) = (std::cell::RefCell::new(Vec::new()), std::cell::Cell::new(0));
    let document = ended(|| {
        let plan = address.post("/api/plan", &draft);
        let document = address.get("/api/measure").json();
        if document["state"] == "running" {
            done.borrow_mut().push(document["frames_done"].as_u64().unwrap());
            planned.set(planned.get() + usize::from(plan.status == 200));
        }
        document
    });
    assert_eq!(document["state"], "done", "{document}");
    let mut done = done.into_inner();
    assert!(done.is_sorted(), "{done:?}");
    done.dedup();
    let between = done.iter().filter(|&&frames| frames > 0 && frames < 46).count();
    assert!(between >= 5 && planned.get() >= 5, "frames told: {done:?}; {} plans meanwhile", planned.get());
}

#[test]
fn a_measurement_that_breaks_off_is_told() {
    let page = page_with(Limits::default(), Arc::new(|_, _| panic!("as a test")));
    page.address.post("/api/measure", &json!({ "paths": ["."] }));
    let document = ended(|| page.address.get("/api/measure").json());
    assert_eq!(document["error"]["code"], "broken", "{document}");
    assert_eq!(page.address.get("/").status, 200);
}

#[test]
fn the_program_prints_its_address_and_stays_in_its_folder() {
    let folder = tempfile::tempdir().unwrap();
    copy("published-night.toml", folder.path());
    copy("published-camera.toml", folder.path());
    let program = Program::start(folder.path(), &["published-night.toml"]);
    assert!(program.said.contains("http://127.0.0.1:") && program.address.token.len() >= 32, "{}", program.said);
    assert_eq!(program.address.get("/api/files").json()["first"], "published-night.toml");
    let other = Program::start(folder.path(), &[]);
    assert_ne!(other.address.token, program.address.token);
    std::fs::create_dir(folder.path().join("below")).unwrap();
    let mut command = subwell();
    let run = command.current_dir(folder.path().join("below")).args(["page", "--no-open", "../published-night.toml"]);
    let run = run.timeout(PATIENCE).assert().code(2);
    assert!(String::from_utf8_lossy(&run.get_output().stderr).contains("outside"), "{run}");
}
