//! The program: words in, words out.

#![warn(clippy::print_stdout, clippy::print_stderr, clippy::exit, clippy::unwrap_used, clippy::panic)]
#![warn(clippy::too_many_lines)]

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    live_beyond_the_size_of_a_file();
    // The hidden mode in which this program decodes compressed frames for itself.
    if subwell::files::run_worker_if_asked() {
        return ExitCode::SUCCESS;
    }
    cli::run()
}

/// Some systems bound the size of files (`ulimit -f`), and end who writes beyond; caught, the write fails as on a full disk.
#[cfg(unix)]
fn live_beyond_the_size_of_a_file() {
    // Where it cannot be caught all stays as the system has it.
    let _ = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, Default::default());
}

#[cfg(not(unix))]
fn live_beyond_the_size_of_a_file() {}
