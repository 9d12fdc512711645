//! A folder that is watched for the page: one at a time, told of by server-sent events.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use serde_json::{Value, json};
use tokio::sync::watch::{Receiver, Sender};

use crate::camera::CameraProfile;
use crate::files::{Decoder, Patience, Wake};
use crate::measure::{self, ReviewOptions, Watch, WatchError};
use crate::night::Night;
use crate::report::json_value;
use crate::review::{Campaign, Review, Reviewed, WatchLine};

use crate::planner::Refusal;

/// More events are not kept for who comes late: a night has some two thousand lights.
const MOST_KEPT: usize = 4000;
/// Between two looks where a file is waited for, and where none is.
const SOON: Duration = Duration::from_secs(1);
const LATER: Duration = Duration::from_secs(10);

/// One thing that happened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// Its number, from 1 on.
    pub id: u64,
    /// `said`, a line of `watch --json`; `stacks`, how far they are; `in-hand`, what a night file can say of them as
    /// `[[goal.already]]`; `end`, the review of all, or an error.
    pub name: &'static str,
    /// A JSON document in one line.
    pub data: String,
}

impl Event {
    /// The event as it goes over the wire.
    ///
    /// # Source
    /// WHATWG HTML Living Standard, section "Server-sent events".
    #[must_use]
    pub fn written(&self) -> String {
        format!("id: {}\nevent: {}\ndata: {}\n\n", self.id, self.name, self.data)
    }
}

/// The one watch of the page: none yet, running, or ended.
pub struct Watching {
    state: Mutex<State>,
    newest: Sender<u64>,
}

#[derive(Default)]
struct State {
    folder: Option<String>,
    running: bool,
    stop: Arc<AtomicBool>,
    wake: Option<std::sync::mpsc::Sender<()>>,
    kept: VecDeque<Event>,
    last: u64,
    review: Option<Review>,
}

impl Default for Watching {
    fn default() -> Self {
        Self { state: Mutex::default(), newest: Sender::new(0) }
    }
}

impl Watching {
    fn state(&self) -> MutexGuard<'_, State> {
        // Nothing in it is ever half changed.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins to watch a folder on a thread of its own; with `once` what is there is judged, and that is all.
    pub(super) fn start(
        watching: &Arc<Self>,
        folder: String,
        path: PathBuf,
        (night, camera): (Night, CameraProfile),
        once: bool,
    ) -> Result<Value, Refusal> {
        let stop = Arc::new(AtomicBool::new(once));
        let wake = Wake::new(std::slice::from_ref(&path));
        {
            let mut state = watching.state();
            if state.running {
                let message = "a folder is watched already";
                return Err(Refusal::new(409, "watching", message, "end that watch first"));
            }
            let last = state.last;
            let (wake, stop) = (Some(wake.sender()), Arc::clone(&stop));
            *state =
                State { folder: Some(folder), running: true, stop, wake, kept: VecDeque::new(), last, review: None };
        }
        let own = Arc::clone(watching);
        std::thread::spawn(move || {
            let watched = std::panic::AssertUnwindSafe(|| own.watch(&path, &night, &camera, &stop, wake));
            let ended = std::panic::catch_unwind(watched).unwrap_or_else(|_| {
                let message = "the watch broke off";
                Err(Refusal::new(500, "broken", message, "watch the folder on the command line, which says more"))
            });
            let document = ended.unwrap_or_else(|error| error.document());
            own.tell("end", &document);
            own.state().running = false;
        });
        Ok(watching.document())
    }

    /// Looks, tells, waits, until it is stopped; the review of all at the end.
    fn watch(
        &self,
        path: &PathBuf,
        night: &Night,
        camera: &CameraProfile,
        stop: &AtomicBool,
        mut wake: Wake,
    ) -> Result<Value, Refusal> {
        let failed = |error: WatchError| Refusal::from(crate::error::Error::from(error));
        let decoder = Decoder::this_program()?;
        let folders = std::slice::from_ref(path);
        let mut watch = Watch::new(folders, night, camera, &decoder, Patience::default()).map_err(failed)?;
        let once = stop.load(Ordering::Relaxed);
        let stopped = Stopped(stop);
        let options = ReviewOptions { progress: &stopped };
        while !stop.load(Ordering::Relaxed) {
            let was_gone = watch.is_gone();
            let Ok(said) = watch.look(&options) else { break };
            for one in &said {
                self.tell("said", &json_value(&WatchLine::from(one.clone())));
            }
            if let Some(review) = watch.review().filter(|_| !said.is_empty()) {
                self.tell("stacks", &json!({ "stacks": json_value(&watch.running().stacks(review)) }));
            }
            if was_gone && !watch.is_gone() {
                wake.attend();
            }
            wake.wait(if watch.is_waiting() { SOON } else { LATER });
        }
        let review = watch.finish(&ReviewOptions::default()).map_err(failed)?.clone();
        let reviewed = [Reviewed { folder: "", night, review: &review }];
        let in_hand: Vec<Value> = Campaign::new(&reviewed, camera)
            .map_or_else(Vec::new, |campaign| campaign.new_stacks().map(json_value).collect());
        self.tell("in-hand", &json!({ "already": in_hand }));
        let document = json_value(&review);
        self.state().review = Some(review);
        if once && let Some(review) = watch.review() {
            self.tell("stacks", &json!({ "stacks": json_value(&watch.running().stacks(review)) }));
        }
        Ok(document)
    }

    /// What was judged last, to its end.
    pub(super) fn review(&self) -> Option<Review> {
        self.state().review.clone()
    }

    fn tell(&self, name: &'static str, document: &Value) {
        let id = {
            let mut state = self.state();
            state.last += 1;
            let id = state.last;
            state.kept.push_back(Event { id, name, data: document.to_string() });
            if state.kept.len() > MOST_KEPT {
                state.kept.pop_front();
            }
            id
        };
        self.newest.send_replace(id);
    }

    /// Ends the watch; its last event is the review.
    pub(super) fn stop(&self) -> Value {
        {
            let state = self.state();
            state.stop.store(true, Ordering::Relaxed);
            // Whoever waits for a change is told of this one.
            if let Some(wake) = &state.wake {
                let _ = wake.send(());
            }
        }
        self.document()
    }

    /// What happened after an event.
    #[must_use]
    pub fn after(&self, id: u64) -> Vec<Event> {
        self.state().kept.iter().filter(|event| event.id > id).cloned().collect()
    }

    /// The number of the newest event, to wait for it to change.
    #[must_use]
    pub fn newest(&self) -> Receiver<u64> {
        self.newest.subscribe()
    }

    /// Whether something is watched, and what.
    pub(super) fn document(&self) -> Value {
        let state = self.state();
        json!({
            "format": "subwell.watching", "version": 1, "folder": state.folder, "running": state.running, "last_event": state.last,
        })
    }
}

struct Stopped<'a>(&'a AtomicBool);

impl measure::Progress for Stopped<'_> {
    fn step(&self) -> bool {
        !self.0.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_event_is_three_lines_and_an_empty_one() {
        let event = Event { id: 7, name: "said", data: "{\"kind\":\"sub\"}".into() };
        assert_eq!(event.written(), "id: 7\nevent: said\ndata: {\"kind\":\"sub\"}\n\n");
    }

    #[test]
    fn who_comes_late_gets_what_he_missed() {
        let watching = Watching::default();
        (0..3).for_each(|number| watching.tell("said", &json!({ "number": number })));
        let numbers: Vec<u64> = watching.after(1).iter().map(|event| event.id).collect();
        assert_eq!((numbers, *watching.newest().borrow()), (vec![2, 3], 3));
        (0..MOST_KEPT).for_each(|number| watching.tell("said", &json!({ "number": number })));
        assert_eq!(watching.after(0).len(), MOST_KEPT);
    }
}
