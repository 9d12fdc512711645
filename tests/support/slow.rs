//! A slow disk: a library laid under the program that waits before each large read.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Waits before every read of a part of a frame; headers and settings come as fast as ever.
const SOURCE: &str = r#"
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdio.h>
#include <time.h>
#include <unistd.h>

static void wait_for(size_t bytes) {
    struct timespec pause = {0, 40 * 1000 * 1000};
    if (bytes >= 16384) nanosleep(&pause, NULL);
}

ssize_t read(int file, void *into, size_t bytes) {
    static ssize_t (*own)(int, void *, size_t);
    if (!own) own = (ssize_t (*)(int, void *, size_t))dlsym(RTLD_NEXT, "read");
    wait_for(bytes);
    return own(file, into, bytes);
}

size_t fread(void *into, size_t size, size_t count, FILE *file) {
    static size_t (*own)(void *, size_t, size_t, FILE *);
    if (!own) own = (size_t (*)(void *, size_t, size_t, FILE *))dlsym(RTLD_NEXT, "fread");
    wait_for(size * count);
    return own(into, size, count, file);
}
"#;

/// The name of the variable that lays a library under a program.
pub(crate) const UNDER: &str = "LD_PRELOAD";

/// Makes the library in `folder`.
pub(crate) fn disk(folder: &Path) -> PathBuf {
    let (source, library) = (folder.join("slow.c"), folder.join("slow.so"));
    std::fs::write(&source, SOURCE).unwrap();
    let mut compiler = Command::new("cc");
    compiler.args(["-shared", "-fPIC", "-O1", "-o"]).arg(&library).arg(&source).arg("-ldl");
    assert!(compiler.status().unwrap().success(), "the C compiler made no library");
    library
}
