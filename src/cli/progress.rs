//! Progress on stderr, only where somebody watches.

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
