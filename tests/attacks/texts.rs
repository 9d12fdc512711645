//! Changed text files, through the functions of the library that the commands call.

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use subwell::camera::CameraProfile;
use subwell::decide::Cooling;
use subwell::night::Night;
use subwell::{files, plan, report};

use super::PROGRAM;
use super::frames::kept;
use super::mutate::{Grammar, chance, mutated};
use super::watch::{Fault, Limits, Tally};

/// One kind of text file.
pub(crate) struct Family {
    pub(crate) name: &'static str,
    /// What it is called in its folder.
    pub(crate) file: &'static str,
    /// Writes what must lie beside it and gives good texts.
    pub(crate) seeds: fn(&Path) -> Vec<String>,
    /// What a command does with it; whether the file was taken.
    pub(crate) door: fn(&Path) -> bool,
}

pub(crate) const FAMILIES: [Family; 5] = [
    Family { name: "night", file: "night.toml", seeds: nights, door: night },
    Family {
        name: "camera",
        file: "camera.toml",
        seeds: |_| vec![sample("published-camera.toml"), measured().0],
        door: camera,
    },
    Family { name: "sensor", file: "sensor.toml", seeds: |_| vec![schema("sensor"), small_sensor()], door: sensor },
    Family { name: "JSON", file: "camera.json", seeds: |_| vec![measured().1], door: camera },
    Family { name: "sidecar", file: "sidecar.csv", seeds: sidecars, door: sidecar },
];

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration")
}

pub(crate) fn sample(name: &str) -> String {
    fs::read_to_string(samples().join(name)).unwrap()
}

fn schema(name: &str) -> String {
    let run = std::process::Command::new(PROGRAM).args(["schema", name]).output().unwrap();
    String::from_utf8(run.stdout).unwrap()
}

/// The cooled sample camera as TOML and as JSON.
fn measured() -> (String, String) {
    let folder = tempfile::tempdir().unwrap();
    let texts = ["camera.toml", "camera.json"].map(|name| {
        let out = folder.path().join(name);
        let mut command = std::process::Command::new(PROGRAM);
        let run = command.arg("measure").arg(samples().join("cooled-mono")).arg("--out").arg(&out).output().unwrap();
        assert!(run.status.success());
        fs::read_to_string(out).unwrap()
    });
    let [toml, json] = texts;
    (toml, json)
}

fn small_sensor() -> String {
    let mut text = sample("cooled-mono/sensor.toml").replace("width_px = 200", "width_px = 40");
    text = text.replace("height_px = 150", "height_px = 30");
    // The first two kinds of frames are enough to be made.
    let end = text.match_indices("[[frames]]").nth(2).map_or(text.len(), |(at, _)| at);
    text[..end].to_owned()
}

fn nights(folder: &Path) -> Vec<String> {
    fs::write(folder.join("camera.toml"), measured().0).unwrap();
    fs::write(folder.join("published-camera.toml"), sample("published-camera.toml")).unwrap();
    vec![sample("garden-night.toml"), sample("published-night.toml")]
}

fn sidecars(folder: &Path) -> Vec<String> {
    for name in ["bias/bias_0001.fits.fz", "bias/bias_0002.fits.fz"] {
        let from = samples().join("cooled-mono").join(name);
        fs::copy(from, folder.join(Path::new(name).file_name().unwrap())).unwrap();
    }
    vec!["file,kind,exposure_s,sensor_c,gain_setting\nbias_0001.fits.fz,dark,60,-10.5,100\n\"bias_0002.fits.fz\",bias,0,,\n".into()]
}

fn night(path: &Path) -> bool {
    let Ok((night, camera)) = files::read_night(path) else { return false };
    all_answers(&night, &camera);
    true
}

fn all_answers(night: &Night, camera: &CameraProfile) {
    if let Ok(plan) = plan::plan(night, camera) {
        assert!(!report::plan_text(&plan).contains("NaN"));
    }
    if let Ok(cooling) = Cooling::new(night, camera, None) {
        assert!(!report::cooling_text(&cooling).contains("NaN"));
    }
}

fn camera(path: &Path) -> bool {
    let Ok(camera) = files::read_profile(path) else { return false };
    let text = report::camera_text(&camera);
    assert!(!text.contains("NaN"), "{text}");
    let night = Night::from_toml(&sample("garden-night.toml")).unwrap();
    all_answers(&night, &camera);
    true
}

fn sensor(path: &Path) -> bool {
    let Ok(truth) = files::read_sensor(path) else { return false };
    let pixels = truth.width_px.saturating_mul(truth.height_px);
    if pixels.saturating_mul(truth.frame_count()) < 40_000 {
        let folder = tempfile::tempdir().unwrap();
        let _ = files::write_simulation(&truth, folder.path(), false, false, &mut |_, _| {});
    }
    true
}

fn sidecar(path: &Path) -> bool {
    files::read_headers(path.parent().unwrap(), &files::Decoder::new(PROGRAM, 2)).is_ok()
}

/// `count` mutations of a family, each through its door.
pub(crate) fn attacked(family: &Family, count: usize, limits: Limits) -> Tally {
    let folder = tempfile::tempdir().unwrap();
    let seeds = (family.seeds)(folder.path());
    let path = folder.path().join(family.file);
    let mut chance = chance(20_262 + family.name.len() as u64);
    let texts: Vec<Vec<u8>> =
        (0..count).map(|number| mutated(seeds[number % seeds.len()].as_bytes(), Grammar::Lines, &mut chance)).collect();
    let tally = watched(&texts, &path, family.door, limits);
    tally.print(family.name);
    tally
}

/// Every text through the door, on a thread of its own, so that a door that never comes back is seen.
pub(crate) fn watched(texts: &[Vec<u8>], path: &Path, door: fn(&Path) -> bool, limits: Limits) -> Tally {
    let mut tally = Tally { files: texts.len(), ..Tally::default() };
    let mut from = 0;
    while from < texts.len() {
        let (sender, receiver) = channel();
        let (rest, path) = (texts[from..].to_vec(), path.to_owned());
        thread::spawn(move || {
            for text in rest {
                fs::write(&path, &text).unwrap();
                let start = Instant::now();
                let end = catch_unwind(AssertUnwindSafe(|| door(&path)));
                let end = end.map_err(|panic| said(panic.as_ref()));
                if sender.send((end, start.elapsed())).is_err() {
                    return;
                }
            }
        });
        while from < texts.len() {
            let found = receiver.recv_timeout(limits.patience);
            let text = || String::from_utf8_lossy(&texts[from]).into_owned();
            match found {
                Ok((Ok(taken), took)) => {
                    tally.slowest = tally.slowest.max(took);
                    if taken { tally.taken += 1 } else { tally.refused += 1 }
                }
                Ok((Err(said), _)) => tally.faults.push((Fault::Panic, text(), said)),
                Err(RecvTimeoutError::Timeout) => {
                    println!("no end within {:?}: {}", limits.patience, kept(&texts[from]).display());
                    tally.faults.push((Fault::Hang, text(), format!("after {:?}", limits.patience)));
                    // Its thread is left behind and takes its part of the machine: another takes the files after it.
                    from += 1;
                    break;
                }
                Err(RecvTimeoutError::Disconnected) => {
                    tally.faults.push((Fault::Died, text(), String::new()));
                    from += 1;
                    break;
                }
            }
            from += 1;
        }
    }
    tally
}

fn said(panic: &(dyn std::any::Any + Send)) -> String {
    let text = panic.downcast_ref::<String>().cloned();
    text.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned())).unwrap_or_default()
}

/// A patience for planted hangs; a planted panic with its backtrace has to be over within it.
pub(crate) const SHORT: Duration = Duration::from_secs(10);
