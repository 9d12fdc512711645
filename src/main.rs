//! The program: words in, words out.

#![expect(clippy::disallowed_types, clippy::disallowed_methods, reason = "the program has words and paths")]

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    // The hidden mode in which this program decodes compressed frames for itself.
    if subwell::files::run_worker_if_asked() {
        return ExitCode::SUCCESS;
    }
    cli::run()
}
