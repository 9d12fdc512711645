//! Progress on stderr, only where somebody watches.

use std::sync::Mutex;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

/// A bar over `length` frames with rate and time left; nothing without a terminal, or when `quiet`.
pub(super) fn bar(what: &str, length: usize, quiet: bool) -> ProgressBar {
    if quiet {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(length as u64).with_message(what.to_owned());
    if let Ok(style) = ProgressStyle::with_template("{msg} {bar:30} {pos}/{len}  {per_sec}  {eta} left") {
        bar.set_style(style);
    }
    // A disk that hangs over one frame is seen too: the time left grows.
    bar.enable_steady_tick(Duration::from_millis(500));
    bar
}

/// A sign of life while the length of the work is unknown; it goes away when dropped.
pub(super) fn spinner(what: &str, quiet: bool) -> Spinner {
    let bar = if quiet { ProgressBar::hidden() } else { ProgressBar::new_spinner().with_message(what.to_owned()) };
    bar.enable_steady_tick(Duration::from_millis(120));
    Spinner(bar)
}

/// A spinner that is cleared when its work is done.
pub(super) struct Spinner(ProgressBar);

impl Drop for Spinner {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}

/// Who watches a measurement: the terminal, or the page.
pub(super) trait Watch: Sync {
    /// The headers are being read; the value goes when they are.
    fn looking(&self) -> Option<Spinner>;
    /// So many frames of one mode are measured now.
    fn measuring(&self, frames: usize);
    /// One frame is done; `false` when the measurement is to end here.
    fn step(&self) -> bool;
    /// All frames of the mode are done.
    fn done(&self) {}
}

/// A bar on the terminal, or nothing when quiet.
pub(super) struct Terminal {
    quiet: bool,
    bar: Mutex<Option<ProgressBar>>,
}

impl Terminal {
    pub(super) fn new(quiet: bool) -> Self {
        Self { quiet, bar: Mutex::new(None) }
    }

    fn with_bar(&self, act: impl FnOnce(&mut Option<ProgressBar>)) {
        if let Ok(mut bar) = self.bar.lock() {
            act(&mut bar);
        }
    }
}

impl Watch for Terminal {
    fn looking(&self) -> Option<Spinner> {
        Some(spinner("looking at the frames", self.quiet))
    }

    fn measuring(&self, frames: usize) {
        self.with_bar(|shown| *shown = Some(bar("measuring", frames, self.quiet)));
    }

    fn step(&self) -> bool {
        self.with_bar(|bar| bar.iter().for_each(|bar| bar.inc(1)));
        true
    }

    fn done(&self) {
        self.with_bar(|bar| bar.take().iter().for_each(ProgressBar::finish_and_clear));
    }
}
