//! A night of 240 lights that comes in as capture programs write: half-written files, renames, folders that go away.

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::support::program::{PROGRAM, subwell};

/// Lights of the night.
const LIGHTS: usize = 240;
/// Nobody waits longer for what must come.
const PATIENCE: Duration = Duration::from_secs(240);

const SENSOR: &str = "width_px = 200\nheight_px = 150\ngain_e_per_adc_step = 0.8\nread_noise_e = 1.6\noffset_dn = 240\n\
                      dark_e_per_s = 0.02\nfull_well_e = 20000\nstars_per_frame = 40\ngain_setting = 100\n\
                      level_jitter_dn = 0.2\nstart = \"2026-03-16T19:30:00\"\nseed = 5\n";
const NIGHT: &str = "[camera]\nprofile = \"camera.toml\"\ngain_setting = 100\ncooled = true\nsensor_c = -10.0\n[optics]\n\
                     aperture_mm = 80.0\nfocal_length_mm = 400.0\n[site]\nsky = { mag_per_arcsec2 = 19.0 }\n\
                     seeing_arcsec = 4.0\nutc_offset_h = 0.0\n[[filters]]\nname = \"luminance\"\n[[filters]]\nname = \"h-alpha\"\n\
                     [target]\nsurface_brightness_mag = 22.0\nline_rayleigh = 60.0\naltitude_deg = 60.0\n[goal]\nsnr = 40.0\n";

/// Two filters; cloud for twenty minutes, dew that sets in, the Moon that rises.
fn sensor() -> String {
    let stretch = |count: usize, filter: &str, light: f64, keys: &str| {
        format!(
            "[[frames]]\nkind = \"light\"\ncount = {count}\nexposure_s = 60.0\nsensor_c = -10.0\nlight_e_per_s = {light:?}\n\
             step_px = [1, 1]\nfilter = \"{filter}\"\n{keys}\n"
        )
    };
    let cloud = "transparency = [0.9, 0.3]\nsky_factor = [1.05, 1.4]";
    let dew = "transparency = [1.0, 0.6]\nstar_width_factor = [1.0, 1.7]";
    let lights = [
        stretch(60, "L", 6.0, ""),
        stretch(20, "L", 6.0, cloud),
        stretch(60, "Ha", 0.5, ""),
        stretch(20, "Ha", 0.5, dew),
        stretch(40, "L", 6.0, ""),
        stretch(40, "L", 6.0, "sky_factor = [1.1, 2.2]"),
    ];
    let darks = "[[frames]]\nkind = \"dark\"\ncount = 4\nexposure_s = 60.0\nsensor_c = -10.0\n";
    format!("{SENSOR}{}{darks}", lights.concat())
}

/// A program that watches, and what it has said.
struct Watching {
    program: Child,
    lines: Arc<Mutex<Vec<Value>>>,
    reader: Option<JoinHandle<()>>,
}

impl Watching {
    fn new(folder: &Path) -> Self {
        let mut program = Command::new(PROGRAM)
            .args(["-q", "watch", "--json", "--settle-s", "0.1"])
            .arg(folder.join("lights"))
            .arg("--night")
            .arg(folder.join("night.toml"))
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let lines = Arc::new(Mutex::new(Vec::new()));
        let (said, stdout) = (Arc::clone(&lines), program.stdout.take().unwrap());
        let reader = spawn(move || {
            for line in BufReader::new(stdout).lines().map_while(Result::ok) {
                // What a killed program was writing may be cut off.
                if let Ok(line) = serde_json::from_str(&line) {
                    said.lock().unwrap().push(line);
                }
            }
        });
        Self { program, lines, reader: Some(reader) }
    }

    /// How often each light was told of.
    fn told(&self) -> BTreeMap<String, usize> {
        let mut told = BTreeMap::new();
        for line in self.lines.lock().unwrap().iter().filter(|line| line["kind"] == "sub") {
            *told.entry(line["file"].as_str().unwrap().to_owned()).or_insert(0) += 1;
        }
        told
    }

    fn words(&self, about: &str) -> usize {
        self.lines.lock().unwrap().iter().filter(|line| line["about"] == about).count()
    }

    fn wait_for(&self, what: &str, holds: impl Fn(&Self) -> bool) {
        let begun = Instant::now();
        while !holds(self) {
            assert!(begun.elapsed() < PATIENCE, "{what}: {} lights told", self.told().len());
            sleep(Duration::from_millis(20));
        }
    }

    /// Ends it by a signal; what it said last.
    fn end(mut self, signal: &str) -> Option<Value> {
        Command::new("kill").args([signal, &self.program.id().to_string()]).status().unwrap();
        self.program.wait().unwrap();
        self.reader.take().unwrap().join().unwrap();
        self.lines.lock().unwrap().last().cloned()
    }
}

/// Writes a frame as one of four kinds of capture programs does.
fn arrive(place: usize, bytes: &[u8], folder: &Path, name: &str) {
    let path = folder.join(name);
    match place % 8 {
        // Slowly, in two pieces.
        1 => {
            let mut file = fs::File::create(&path).unwrap();
            file.write_all(&bytes[..bytes.len() / 2]).unwrap();
            file.flush().unwrap();
            sleep(Duration::from_millis(250));
            file.write_all(&bytes[bytes.len() / 2..]).unwrap();
        }
        // Under another name first.
        3 => {
            let other = folder.join(format!("{name}.part"));
            fs::write(&other, bytes).unwrap();
            sleep(Duration::from_millis(if place % 16 == 3 { 0 } else { 300 }));
            fs::rename(other, path).unwrap();
        }
        // Its whole length at once, then what is in it.
        5 => {
            let mut file = fs::File::create(&path).unwrap();
            file.set_len(bytes.len() as u64).unwrap();
            sleep(Duration::from_millis(50));
            file.write_all(bytes).unwrap();
        }
        // From a folder for what is not finished into one for each evening.
        7 => {
            let (incoming, evening) = (folder.join("incoming"), folder.join("evening"));
            fs::create_dir_all(&incoming).unwrap();
            fs::create_dir_all(&evening).unwrap();
            fs::write(incoming.join(name), bytes).unwrap();
            sleep(Duration::from_millis(if place % 16 == 7 { 0 } else { 300 }));
            fs::rename(incoming.join(name), evening.join(name)).unwrap();
        }
        _ => fs::write(path, bytes).unwrap(),
    }
}

fn desk() -> (tempfile::TempDir, Vec<PathBuf>) {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("camera.toml", &crate::camera(200, 150, 1.6));
    write("night.toml", NIGHT);
    write("sensor.toml", &sensor());
    let staged = folder.path().join("staged");
    let simulate =
        subwell().args(["-q", "simulate"]).arg(folder.path().join("sensor.toml")).arg("--out").arg(&staged).assert();
    simulate.success();
    let mut frames = walk(&staged);
    frames.sort();
    fs::create_dir(folder.path().join("lights")).unwrap();
    (folder, frames)
}

#[test]
fn no_light_is_missed_or_counted_twice_and_the_end_is_the_review() {
    let (folder, frames) = desk();
    let is_dark = |path: &&PathBuf| path.file_name().unwrap().to_string_lossy().contains("dark");
    let (darks, lights): (Vec<&PathBuf>, Vec<&PathBuf>) = frames.iter().partition(is_dark);
    assert_eq!((darks.len(), lights.len()), (4, LIGHTS));
    let into = folder.path().join("lights");
    // A night at its own pace, or twenty times as fast, takes long: `SUBWELL_WATCH_PACE_S=3`.
    let pace = std::env::var("SUBWELL_WATCH_PACE_S").ok().and_then(|pace| pace.parse().ok()).unwrap_or(0.01);
    let mut watching = Watching::new(folder.path());
    for (place, light) in lights.iter().enumerate() {
        if place == 30 {
            // Darks come in the middle of the night: all lights are measured again, less them, and none is told twice for it.
            for dark in &darks {
                fs::copy(dark, into.join(dark.file_name().unwrap())).unwrap();
            }
        }
        if place == 90 || place == 170 {
            watching.end(if place == 90 { "-INT" } else { "-KILL" });
            watching = Watching::new(folder.path());
        }
        if place == 120 {
            watching.wait_for("before the folder goes", |watching| watching.told().len() > 100);
            fs::rename(&into, folder.path().join("away")).unwrap();
            watching.wait_for("a folder that went", |watching| watching.words("folder-gone") == 1);
            fs::rename(folder.path().join("away"), &into).unwrap();
            watching.wait_for("a folder that came back", |watching| watching.words("folder-back") == 1);
        }
        let name = light.file_name().unwrap().to_string_lossy();
        arrive(place, &fs::read(light).unwrap(), &into, &name);
        sleep(Duration::from_secs_f64(pace));
    }
    watching.wait_for("all lights", |watching| watching.told().len() >= LIGHTS);
    // Renamed files are the same lights under another name.
    let told = watching.told();
    let by_light = |file: &String| file.rsplit('/').next().unwrap().trim_end_matches(".part").to_owned();
    let mut lights_told: BTreeMap<String, usize> = BTreeMap::new();
    told.iter().for_each(|(file, times)| *lights_told.entry(by_light(file)).or_insert(0) += times);
    assert_eq!(lights_told.len(), LIGHTS);
    let twice: Vec<_> = lights_told.iter().filter(|(_, times)| **times != 1).collect();
    assert!(twice.is_empty(), "{twice:?}");
    let summary = watching.end("-INT").unwrap();
    let review = subwell()
        .args(["-q", "review", "--json"])
        .arg(&into)
        .arg("--night")
        .arg(folder.path().join("night.toml"))
        .assert();
    let review: Value = serde_json::from_slice(&review.success().get_output().stdout).unwrap();
    assert_eq!(summary["format"], "subwell.review");
    assert_eq!(summary, review);
    assert_eq!(summary.to_string(), review.to_string());
    assert_eq!(summary["subs"].as_array().unwrap().len(), LIGHTS);
    // Nothing was written beside the lights.
    let there = walk(&into);
    assert_eq!(there.len(), LIGHTS + darks.len(), "{there:?}");
}

fn walk(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries.flat_map(|path| if path.is_dir() { walk(&path) } else { vec![path] }).collect()
}

#[test]
fn what_holds_for_some_subs_is_said_once_and_strangers_are_named() {
    let (folder, frames) = desk();
    let into = folder.path().join("lights");
    for frame in &frames {
        fs::copy(frame, into.join(frame.file_name().unwrap())).unwrap();
    }
    fs::write(into.join("notes.txt"), "a quiet night").unwrap();
    let run = subwell()
        .args(["-q", "watch", "--json", "--settle-s", "0.05", "--end-after", "0.001"])
        .arg(&into)
        .arg("--night")
        .arg(folder.path().join("night.toml"))
        .assert()
        .success();
    let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    let lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let count = |kind: &str| lines.iter().filter(|line| line["kind"] == kind).count();
    assert_eq!(count("sub"), LIGHTS);
    assert!(lines[..lines.len() - 1].iter().all(|line| line["format"] == "subwell.watch" && line["version"] == 1));
    let words: Vec<&Value> = lines.iter().filter(|line| line["kind"] == "word").collect();
    let texts: Vec<&str> = words.iter().map(|word| word["text"].as_str().unwrap()).collect();
    println!("{texts:#?}");
    assert!(texts.iter().any(|text| text.contains("darks of 60 s: they fit")), "{texts:?}");
    // As text: many at once are summed up, and the end is the review's.
    let run = subwell()
        .args(["-q", "watch", "--settle-s", "0.05", "--end-after", "0.001"])
        .arg(&into)
        .arg("--night")
        .arg(folder.path().join("night.toml"))
        .assert()
        .success();
    let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    println!("{text}");
    assert!(text.starts_with("240 lights found\n"), "{text}");
    let review =
        subwell().args(["-q", "review"]).arg(&into).arg("--night").arg(folder.path().join("night.toml")).assert();
    assert!(text.ends_with(&String::from_utf8(review.get_output().stdout.clone()).unwrap()));
}

#[test]
fn a_wrong_folder_or_night_is_said_at_once() {
    let (folder, _) = desk();
    let run = |dir: &Path, night: &Path, exit: i32| {
        let run = subwell()
            .args(["-q", "watch", "--json", "--end-after", "0.001"])
            .arg(dir)
            .arg("--night")
            .arg(night)
            .assert();
        let run = run.code(exit);
        let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
        serde_json::from_str::<Value>(text.lines().last().unwrap()).unwrap()
    };
    let night = folder.path().join("night.toml");
    assert_eq!(run(&folder.path().join("nowhere"), &night, 2)["code"], "unreadable");
    assert_eq!(run(&night, &night, 2)["format"], "subwell.error");
    assert_eq!(run(&folder.path().join("lights"), &folder.path().join("none.toml"), 2)["format"], "subwell.error");
    // Nobody took a light.
    assert_eq!(run(&folder.path().join("lights"), &night, 1)["code"], "nothing-to-review");
}
