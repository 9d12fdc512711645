//! Progress on stderr, only where somebody watches.

use std::sync::Mutex;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};
use subwell::measure::{Progress, Work};

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

/// A sign of life while the length of the work is unknown.
fn spinner(what: &str, quiet: bool) -> ProgressBar {
    let bar = if quiet { ProgressBar::hidden() } else { ProgressBar::new_spinner().with_message(what.to_owned()) };
    bar.enable_steady_tick(Duration::from_millis(120));
    bar
}

/// A spinner or a bar on the terminal, or nothing when quiet; it goes away with the value.
pub(super) struct Terminal {
    quiet: bool,
    shown: Mutex<Option<ProgressBar>>,
}

impl Terminal {
    pub(super) fn new(quiet: bool) -> Self {
        Self { quiet, shown: Mutex::new(None) }
    }

    fn with_shown(&self, act: impl FnOnce(&mut Option<ProgressBar>)) {
        if let Ok(mut shown) = self.shown.lock() {
            act(&mut shown);
        }
    }

    fn clear(&self) {
        self.with_shown(|shown| shown.take().iter().for_each(ProgressBar::finish_and_clear));
    }
}

impl Progress for Terminal {
    fn inspecting(&self) {
        self.with_shown(|shown| *shown = Some(spinner("looking at the frames", self.quiet)));
    }

    fn inspected(&self) {
        self.clear();
    }

    fn started(&self, work: Work, frames: usize) {
        let what = match work {
            Work::MeasuringLights => "measuring lights",
            _ => "measuring",
        };
        self.with_shown(|shown| *shown = Some(bar(what, frames, self.quiet)));
    }

    fn step(&self) -> bool {
        self.with_shown(|bar| bar.iter().for_each(|bar| bar.inc(1)));
        true
    }

    fn finished(&self) {
        self.clear();
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        self.clear();
    }
}
