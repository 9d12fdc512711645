//! A measurement that runs while the page shows how far it is.

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use serde_json::{Value, json};

use crate::camera::CameraProfile;
use crate::files::Decoder;
use crate::measure::{self, CameraOptions, measure_camera};
use crate::report::{camera_line, json_value};

use crate::planner::Refusal;

/// Measures the camera of some folders and says how far it is; the page is given one, for measuring is not its own work.
pub type Measure = dyn Fn(&[PathBuf], &Progress) -> Result<CameraProfile, Refusal> + Send + Sync;

/// How far a measurement is. Counted by the measurement, read by the page.
#[derive(Debug, Default)]
pub struct Progress {
    done: AtomicUsize,
    total: AtomicUsize,
    stopped: AtomicBool,
}

impl Progress {
    /// So many more frames are to be measured.
    pub fn expect(&self, frames: usize) {
        self.total.fetch_add(frames, Ordering::Relaxed);
    }

    /// One frame is done; `false` when the measurement is to end here.
    #[must_use]
    pub fn step(&self) -> bool {
        self.done.fetch_add(1, Ordering::Relaxed);
        !self.stopped.load(Ordering::Relaxed)
    }

    /// Asks the measurement to end.
    pub fn stop(&self) {
        self.stopped.store(true, Ordering::Relaxed);
    }
}

impl measure::Progress for Progress {
    fn started(&self, _work: measure::Work, frames: usize) {
        self.expect(frames);
    }

    fn step(&self) -> bool {
        Self::step(self)
    }
}

/// Measures the camera of some folders together: the [`Measure`] that the program gives the page.
///
/// # Errors
/// As [`measure::measure_camera`], for the page.
pub fn measure_folders(folders: &[PathBuf], progress: &Progress) -> Result<CameraProfile, Refusal> {
    let decoder = Decoder::this_program()?;
    let frames = measure::Folder::open(folders, &decoder, progress)?;
    let options = CameraOptions { progress, ..CameraOptions::default() };
    Ok(measure_camera(&frames, &options)?.profile)
}

/// The one measurement of the page: none yet, running, or ended.
#[derive(Default)]
pub(super) struct Job {
    state: Mutex<Option<Running>>,
}

struct Running {
    folder: String,
    progress: Arc<Progress>,
    started: Instant,
    ended: Option<(f64, Result<CameraProfile, Refusal>)>,
}

impl Job {
    fn state(&self) -> MutexGuard<'_, Option<Running>> {
        // What is inside is replaced whole, so a panic elsewhere leaves nothing half done.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Starts a measurement on a thread of its own.
    pub(super) fn start(
        job: &Arc<Self>,
        folders: &[String],
        paths: Vec<PathBuf>,
        measure: Arc<Measure>,
    ) -> Result<Value, Refusal> {
        let progress = Arc::new(Progress::default());
        {
            let mut state = job.state();
            if state.as_ref().is_some_and(|running| running.ended.is_none()) {
                let message = "a measurement is running already";
                return Err(Refusal::new(409, "measuring", message, "wait for its end, or stop it"));
            }
            let started = Instant::now();
            let folder = folders.join(", ");
            *state = Some(Running { folder, progress: Arc::clone(&progress), started, ended: None });
        }
        let own = Arc::clone(job);
        std::thread::spawn(move || {
            let caught = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| measure(&paths, &progress)));
            let answer = caught.unwrap_or_else(|_| {
                let message = "the measurement broke off";
                Err(Refusal::new(500, "broken", message, "measure the folder on the command line, which says more"))
            });
            if let Some(running) = own.state().as_mut() {
                running.ended = Some((running.started.elapsed().as_secs_f64(), answer));
            }
        });
        Ok(job.document())
    }

    /// Asks it to end.
    pub(super) fn stop(&self) {
        if let Some(running) = self.state().as_ref() {
            running.progress.stop();
        }
    }

    /// The profile of a measurement that came to its end.
    pub(super) fn profile(&self) -> Option<CameraProfile> {
        self.state().as_ref().and_then(|running| running.ended.as_ref()?.1.as_ref().ok().cloned())
    }

    /// How far it is, or what it found.
    pub(super) fn document(&self) -> Value {
        let state = self.state();
        let Some(running) = state.as_ref() else {
            return json!({ "format": "subwell.measurement", "version": 1, "state": "none" });
        };
        let (done, total) =
            (running.progress.done.load(Ordering::Relaxed), running.progress.total.load(Ordering::Relaxed));
        let mut document = json!({
            "format": "subwell.measurement", "version": 1, "state": "running", "folder": running.folder,
            "frames_done": done, "frames": total, "elapsed_s": running.started.elapsed().as_secs_f64(),
        });
        if let Some((elapsed, answer)) = &running.ended {
            document["elapsed_s"] = json!(elapsed);
            match answer {
                Ok(profile) => {
                    document["state"] = json!("done");
                    document["line"] = json!(camera_line(profile));
                    document["camera"] = json_value(profile);
                }
                Err(error) => {
                    document["state"] = json!("failed");
                    document["error"] = error.document();
                }
            }
        }
        document
    }
}
