//! Waking up when a folder changes, or after a while.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

use notify::{Event, EventKind, RecommendedWatcher, RecursiveMode, Watcher};

/// What is written comes in many pieces: so long is waited for the next one.
const PIECES: Duration = Duration::from_millis(200);
/// A folder that nobody tells of is looked at so often.
const UNTOLD: Duration = Duration::from_secs(2);
/// One that the system tells of all the same, for some disks forget.
const TOLD: Duration = Duration::from_secs(10);

/// Waits for folders to change. Not every file system tells: then, and in any case now and then, it wakes by itself.
pub struct Wake {
    events: Receiver<()>,
    sender: Sender<()>,
    watcher: Option<RecommendedWatcher>,
    folders: Vec<PathBuf>,
}

impl Wake {
    /// Waits for these folders, and what lies in them at any depth.
    #[must_use]
    pub fn new(folders: &[PathBuf]) -> Self {
        let (sender, events) = channel();
        let mut wake = Self { events, sender, watcher: None, folders: folders.to_vec() };
        wake.attend();
        wake
    }

    /// Lets something else wake it: a message ends the waiting.
    #[must_use]
    pub fn sender(&self) -> Sender<()> {
        self.sender.clone()
    }

    /// Attends to the folders anew: one that went away and came back is another one to the system.
    pub fn attend(&mut self) {
        let sender = self.sender.clone();
        let changed = move |event: notify::Result<Event>| {
            // Reading is no change.
            if event.is_ok_and(|event| !matches!(event.kind, EventKind::Access(_))) {
                let _ = sender.send(());
            }
        };
        self.watcher = notify::recommended_watcher(changed).ok().and_then(|mut watcher| {
            let all = self.folders.iter().all(|folder| watcher.watch(folder, RecursiveMode::Recursive).is_ok());
            all.then_some(watcher)
        });
    }

    /// Waits until something changed, but no longer than `most`, or than is good where the system tells nothing.
    pub fn wait(&self, most: Duration) {
        let usual = if self.watcher.is_some() { TOLD } else { UNTOLD };
        if self.events.recv_timeout(most.min(usual)).is_err() {
            return;
        }
        let until = Instant::now() + PIECES;
        while let Some(left) = until.checked_duration_since(Instant::now()) {
            if self.events.recv_timeout(left).is_err() {
                return;
            }
        }
    }
}
