//! Takes the planner for phones into the program where it was built: `tools/make_offline_planner.sh`.

#![allow(clippy::disallowed_methods, clippy::disallowed_types, reason = "a build script reads files")]

use std::path::Path;
use std::{env, fs, io};

/// Where the tool puts it; git leaves it out.
const MODULE: &str = "src/page/planner.wasm.gz";

fn main() -> io::Result<()> {
    println!("cargo::rustc-check-cfg=cfg(offline_planner)");
    // The folder: a file that is not there would count as changed each time.
    println!("cargo::rerun-if-changed=src/page");
    if Path::new(MODULE).exists() {
        let out = env::var_os("OUT_DIR").ok_or_else(|| io::Error::other("cargo sets OUT_DIR"))?;
        fs::copy(MODULE, Path::new(&out).join("planner.wasm.gz"))?;
        println!("cargo::rustc-cfg=offline_planner");
    }
    Ok(())
}
