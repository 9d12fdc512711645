//! The program: words in, words out.

#![warn(clippy::print_stdout, clippy::print_stderr, clippy::exit, clippy::unwrap_used, clippy::panic)]
#![warn(clippy::too_many_lines)]

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    // The hidden mode in which this program decodes compressed frames for itself.
    if subwell::files::run_worker_if_asked() {
        return ExitCode::SUCCESS;
    }
    cli::run()
}
