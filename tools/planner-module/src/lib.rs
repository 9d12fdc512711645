//! Four calls for the page's script: room for bytes, texts by name, a question, and the end of the answer.
//!
//! A text or a question goes in as UTF-8 that the caller has written to memory from [`room`]; an answer is JSON that stays
//! where it is until the next call. The module has no imports: it reaches neither disk nor network nor clock.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};

use serde_json::json;
use subwell::planner::{Planner, Refusal};

thread_local! {
    /// What the caller writes.
    static INPUT: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    /// What the caller reads.
    static OUTPUT: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    /// Night, camera and curves by name.
    static TEXTS: RefCell<BTreeMap<PathBuf, String>> = const { RefCell::new(BTreeMap::new()) };
}

/// Room for so many bytes that the caller writes before its next call.
#[unsafe(no_mangle)]
pub extern "C" fn room(bytes: usize) -> *mut u8 {
    INPUT.with_borrow_mut(|input| {
        input.clear();
        input.resize(bytes, 0);
        input.as_mut_ptr()
    })
}

/// Keeps a text: the bytes in the room are its name, a line end, and the text itself.
#[unsafe(no_mangle)]
pub extern "C" fn keep() {
    let input = written();
    if let Some((name, text)) = input.split_once('\n') {
        TEXTS.with_borrow_mut(|texts| texts.insert(plain(Path::new(name)), text.to_owned()));
    }
}

/// Answers a question: the bytes in the room are its path, a line end, and its body. The answer's length comes back;
/// its status is the first line of it.
#[unsafe(no_mangle)]
pub extern "C" fn ask() -> usize {
    let input = written();
    let (path, body) = input.split_once('\n').unwrap_or((&input, ""));
    let (status, document) = answered(path, body);
    OUTPUT.with_borrow_mut(|output| {
        *output = format!("{status}\n{document}").into_bytes();
        output.len()
    })
}

/// Where the answer stands.
#[unsafe(no_mangle)]
pub extern "C" fn answer() -> *const u8 {
    OUTPUT.with_borrow(|output| output.as_ptr())
}

fn written() -> String {
    INPUT.with_borrow_mut(|input| String::from_utf8_lossy(&std::mem::take(input)).into_owned())
}

fn answered(path: &str, body: &str) -> (u16, serde_json::Value) {
    let read = |name: &Path| {
        let absent = || {
            let message = format!("{} was not taken along", name.display());
            Refusal::new(404, "not-found", message, "make the file anew with it, where the program is")
        };
        TEXTS.with_borrow(|texts| texts.get(&plain(name)).cloned()).ok_or_else(absent)
    };
    match Planner::new(&read).answer(path, body) {
        Some(Ok(document)) => (200, document),
        Some(Err(refusal)) => (refusal.status, refusal.document()),
        None => {
            let refusal = Refusal::new(404, "not-found", format!("{path}: this needs the program"), "ask it at home");
            (404, json!(refusal.document()))
        }
    }
}

/// A name without detours: `a/../b` is `b`.
fn plain(name: &Path) -> PathBuf {
    let mut plain = PathBuf::new();
    for part in name.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if plain.file_name().is_some() => drop(plain.pop()),
            part => plain.push(part),
        }
    }
    plain
}
