//! The program: words in, words out.

fn main() {
    if subwell::files::run_worker_if_asked() {}
}
