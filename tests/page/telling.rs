//! What frames are, told on the page; reports; and what a page keeps for the time when nobody answers it.

use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use crate::client::{Program, page};
use crate::support::program::{samples, subwell};

/// The sample's frames in folders that say nothing, with headers that do not say what they are.
fn dumb_frames(folder: &Path) {
    for (kind, name) in [("bias", "a"), ("flat", "b"), ("dark", "c")] {
        fs::create_dir_all(folder.join(name)).unwrap();
        for (number, file) in walkdir::WalkDir::new(samples().join("cooled-mono").join(kind))
            .sort_by_file_name()
            .into_iter()
            .filter_map(Result::ok)
            .filter(|file| file.file_type().is_file())
            .enumerate()
        {
            let mut bytes = fs::read(file.path()).unwrap();
            let at = bytes.windows(9).position(|card| card == b"IMAGETYP=").unwrap();
            bytes[at..at + 80].copy_from_slice(format!("{:80}", "COMMENT").as_bytes());
            fs::write(folder.join(name).join(format!("img_{number:03}.fits.fz")), bytes).unwrap();
        }
    }
}

#[test]
fn what_frames_are_is_said_of_their_folders_and_kept_beside_them() {
    let folder = tempfile::tempdir().unwrap();
    dumb_frames(&folder.path().join("set"));
    let program = Program::start(folder.path(), &[]);
    let ask = |path: &str, body: &Value| program.address.post(path, body);
    let found = ask("/api/frames", &json!({ "path": "set" })).json();
    assert_eq!(found["unsaid"], json!({ "a": 8, "b": 24, "c": 28 }));
    assert_eq!((&found["groups"], &found["said_here"]), (&json!([]), &json!(false)));
    let say = |kinds: Value| ask("/api/kinds", &json!({ "path": "set", "kinds": kinds }));
    let counts = |found: &Value| {
        let count = |kind: &str| {
            let groups = found["groups"].as_array().unwrap().iter();
            groups.filter(|group| group["kind"] == kind).map(|group| group["count"].as_u64().unwrap()).sum::<u64>()
        };
        [count("bias"), count("flat"), count("dark")]
    };
    // One folder at first, then all; what was said before does not stand any more.
    let some = say(json!({ "b": "flat" })).json();
    assert_eq!((counts(&some), &some["unsaid"]), ([0, 24, 0], &json!({ "a": 8, "c": 28 })));
    assert_eq!(say(json!({})).json()["unsaid"], json!({ "a": 8, "b": 24, "c": 28 }));
    let all = say(json!({ "a": "bias", "b": "flat", "c": "dark" })).json();
    assert_eq!((counts(&all), &all["said_here"]), ([8, 24, 28], &json!(true)));
    let table = folder.path().join("set/sidecar.csv");
    let written = fs::read_to_string(&table).unwrap();
    assert!(written.contains("\na/*,bias\n") && written.starts_with('#'), "{written}");
    subwell().current_dir(folder.path()).args(["measure", "set", "--quiet", "--json"]).assert().success();
    // A frame that speaks for itself in such a folder is not spoken for.
    let said = samples().join("cooled-mono/bias/bias_0001.fits.fz");
    fs::copy(said, folder.path().join("set/c/own.fits.fz")).unwrap();
    say(json!({}));
    let mixed = say(json!({ "a": "bias", "b": "flat", "c": "dark" })).json();
    assert_eq!(counts(&mixed), [9, 24, 28]);
    // Nonsense changes nothing, and somebody else's table stays.
    let before = fs::read(&table).unwrap();
    assert_eq!(say(json!({ "a": "sausage" })).status, 400);
    assert_eq!(fs::read(&table).unwrap(), before);
    fs::write(&table, "file,kind\na/*,dark\n").unwrap();
    assert_eq!(say(json!({ "a": "bias" })).code(), "exists");
    assert_eq!(fs::read_to_string(&table).unwrap(), "file,kind\na/*,dark\n");
    assert_eq!(ask("/api/kinds", &json!({ "path": "..", "kinds": { ".": "bias" } })).code(), "outside");
}

#[test]
fn reports_are_those_of_the_commands() {
    let page = page();
    let report = |of: &str| page.address.post("/api/report", &json!({ "of": of, "night": page.draft() }));
    for (of, command) in [("plan", "plan"), ("choices", "choices")] {
        let mut own = subwell();
        own.current_dir(&page.folder).args([
            command,
            "published-night.toml",
            "--quiet",
            "--report",
            "own.html",
            "--force",
        ]);
        own.assert().success();
        let theirs = fs::read_to_string(page.path("own.html")).unwrap();
        assert_eq!(report(of).json()["report"].as_str().unwrap(), theirs, "{of}");
    }
    assert!(report("camera").json()["report"].as_str().unwrap().starts_with("<!DOCTYPE html>"));
    assert_eq!(report("review").code(), "nothing-to-report");
    assert_eq!(page.address.post("/api/report", &json!({ "of": "plan" })).code(), "nothing-to-report");
    assert_eq!(report("nothing").status, 400);
}

#[test]
fn a_page_keeps_what_its_night_names_for_the_time_when_nobody_answers() {
    let page = page();
    fs::copy(page.path("published-camera.toml"), page.path("other.toml")).unwrap();
    let taken = page.address.post("/api/taken", &page.draft()).json();
    let names: Vec<&String> = taken["texts"].as_object().unwrap().keys().collect();
    assert_eq!(names, ["published-camera.toml", "published-night.toml"]);
    assert_eq!(taken["texts"]["published-night.toml"], page.draft()["text"]);
    // Of a draft, what the draft names.
    let mut draft = page.draft();
    draft["changes"] = json!([{ "key": ["camera", "profile"], "value": "other.toml" }]);
    let taken = page.address.post("/api/taken", &draft).json();
    let names: Vec<&String> = taken["texts"].as_object().unwrap().keys().collect();
    assert_eq!(names, ["other.toml", "published-night.toml"]);
    draft["changes"] = json!([{ "key": ["camera", "profile"], "value": "../x.toml" }]);
    assert!([403, 404].contains(&page.address.post("/api/taken", &draft).status));
    let module = page.address.get("/planner.wasm.gz");
    assert!(module.status == 200 && module.head.contains("application/gzip"), "{}", module.head);
    assert!(module.body.is_empty() || module.body.starts_with(&[0x1f, 0x8b]), "what is served is not packed");
}
