//! The program: words in, words out.

fn main() {
    let _served = subwell::files::run_worker_if_asked();
}
