//! The modules of the library and who may use whom. A line that imports against the light
//! fails here with both names; a module that is not in the table fails too.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Each module and the modules it may use. `units`, `caveat` and `reading` are single files.
const TABLE: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("caveat", &[]),
    // Which hours go to whom: numbers alone.
    ("allocation", &[]),
    // Documentation alone.
    ("sources", &[]),
    // Words for what the parser of a text file says.
    ("reading", &[]),
    // What every key may hold: units, ranges, defaults.
    ("keys", &["reading"]),
    // `format` and `version` of every document.
    ("document", &[]),
    ("stats", &["units"]),
    ("frames", &["units", "caveat", "document"]),
    ("camera", &["units", "stats", "caveat", "reading", "keys"]),
    ("sensor", &["units", "stats", "caveat", "frames", "camera"]),
    ("sky", &["units", "stats", "caveat", "reading", "keys"]),
    ("target", &["units", "stats", "caveat", "reading", "keys"]),
    ("rig", &["units", "stats", "caveat", "reading", "keys"]),
    ("noise", &["units", "stats", "caveat", "camera", "sky", "target", "rig"]),
    ("night", &["units", "stats", "caveat", "reading", "keys", "camera", "sky", "target", "rig", "noise"]),
    ("optimum", &["units", "stats", "noise", "night"]),
    (
        "plan",
        &[
            "allocation",
            "optimum",
            "units",
            "stats",
            "caveat",
            "document",
            "camera",
            "sky",
            "target",
            "rig",
            "noise",
            "night",
        ],
    ),
    (
        "decide",
        &[
            "units", "stats", "caveat", "document", "camera", "sky", "target", "rig", "noise", "optimum", "night",
            "plan",
        ],
    ),
    ("review", &["units", "stats", "caveat", "document", "camera", "sky", "target", "rig", "noise", "night", "plan"]),
    (
        "measure",
        &[
            "units", "stats", "caveat", "frames", "camera", "sensor", "sky", "rig", "night", "plan", "decide",
            "review", "files",
        ],
    ),
    ("simulate", &["units", "stats", "caveat", "reading", "keys", "frames", "camera", "sky", "target", "rig"]),
    (
        "report",
        &[
            "units", "stats", "caveat", "document", "frames", "camera", "sensor", "sky", "target", "rig", "noise",
            "night", "plan", "decide", "review", "simulate",
        ],
    ),
    (
        "files",
        &["units", "stats", "caveat", "reading", "frames", "camera", "sky", "target", "rig", "night", "simulate"],
    ),
    // What a page may ask, from texts alone.
    (
        "planner",
        &["units", "reading", "keys", "camera", "sky", "target", "rig", "night", "plan", "decide", "report", "error"],
    ),
    (
        "page",
        &[
            "units", "caveat", "frames", "camera", "rig", "night", "plan", "decide", "review", "measure", "report",
            "files", "planner", "error",
        ],
    ),
    // The shapes of all that is read and printed.
    ("schema", &["document", "keys", "frames", "camera", "night", "plan", "decide", "review", "simulate"]),
    // The front door gathers the modules' errors.
    ("error", &["camera", "files", "measure", "night", "plan", "review", "sensor", "simulate"]),
];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|suffix| suffix == "rs") {
            found.push(path);
        }
    }
    found
}

/// The module a source file of `src/` belongs to; `None` for the front door and the program.
fn module(relative: &Path) -> Option<String> {
    let first = relative.iter().next()?.to_str()?;
    let name = first.strip_suffix(".rs").unwrap_or(first);
    (!["lib", "main", "cli"].contains(&name)).then(|| name.to_owned())
}

/// Modules that a line of code names after `crate::`, or in `use crate::{a::…, b::…}`.
fn named(code: &str) -> BTreeSet<String> {
    let word = |text: &str| text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
    code.match_indices("crate::").map(|(at, found)| word(&code[at + found.len()..])).filter(|w| !w.is_empty()).collect()
}

fn without_comments(text: &str) -> String {
    text.lines().map(|line| line.split("//").next().unwrap_or("")).collect::<Vec<_>>().join("\n")
}

fn imports() -> BTreeMap<String, BTreeSet<(String, String)>> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found: BTreeMap<String, BTreeSet<(String, String)>> = BTreeMap::new();
    for path in sources(&src) {
        let relative = path.strip_prefix(&src).unwrap();
        let Some(module) = module(relative) else { continue };
        let text = without_comments(&std::fs::read_to_string(&path).unwrap());
        assert!(!text.contains("use crate::{"), "{}: one `use crate::module` a line, please", relative.display());
        let uses = found.entry(module.clone()).or_default();
        uses.extend(
            named(&text)
                .into_iter()
                .filter(|other| *other != module)
                .map(|other| (other, relative.display().to_string())),
        );
    }
    found
}

#[test]
fn no_module_looks_against_the_light() {
    let table: BTreeMap<&str, &[&str]> = TABLE.iter().copied().collect();
    let mut wrong = Vec::new();
    for (module, uses) in imports() {
        let Some(allowed) = table.get(module.as_str()) else {
            wrong.push(format!("`{module}` is not in the table"));
            continue;
        };
        for (other, file) in uses {
            if !allowed.contains(&other.as_str()) {
                wrong.push(format!("`{module}` may not use `{other}` ({file})"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_module_of_the_table_exists() {
    let seen: BTreeSet<String> = imports().into_keys().collect();
    for (module, _) in TABLE {
        assert!(seen.contains(*module), "`{module}` is in the table but not in src/");
    }
}

#[test]
fn the_simulator_shares_nothing_with_what_it_proves() {
    let table: BTreeMap<&str, &[&str]> = TABLE.iter().copied().collect();
    for proved in ["noise", "plan", "decide", "review", "sensor"] {
        assert!(!table["simulate"].contains(&proved) && !table[proved].contains(&"simulate"));
    }
}

/// Stacks prove what `noise` and `plan` say: they have not even a statistic in common with them, only the units.
#[test]
fn made_up_stacks_use_nothing_but_units() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/simulate/stack");
    let files = sources(&folder);
    assert!(files.len() > 3, "{files:?}");
    for path in files {
        for name in named(&without_comments(&std::fs::read_to_string(&path).unwrap())) {
            assert!(["simulate", "units"].contains(&name.as_str()), "{}: `crate::{name}`", path.display());
        }
    }
}

#[test]
fn the_program_uses_only_the_librarys_public_names() {
    let cli = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/cli");
    for path in sources(&cli) {
        let text = without_comments(&std::fs::read_to_string(&path).unwrap());
        for name in named(&text) {
            assert_eq!(name, "cli", "{}: `crate::{name}` is not a public name of the library", path.display());
        }
    }
}

/// Special functions have domains: each is called from one place, which keeps to what was tested.
#[test]
fn special_functions_have_one_door() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let callers = sources(&src).into_iter().filter(|path| {
        let text = without_comments(&std::fs::read_to_string(path).unwrap());
        text.split("#[cfg(test)]").next().is_some_and(|code| code.contains("statrs"))
    });
    assert_eq!(callers.collect::<Vec<_>>(), [src.join("stats/law.rs")]);
}

/// A file that a reader can hold in mind.
const MOST_LINES: usize = 500;

#[test]
fn no_file_is_longer_than_a_reader_can_hold_in_mind() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let lines = |path: &PathBuf| std::fs::read_to_string(path).unwrap().lines().count();
    let long: Vec<_> = sources(&src).into_iter().filter(|path| lines(path) > MOST_LINES).collect();
    assert!(long.is_empty(), "longer than {MOST_LINES} lines: {long:?}");
}

/// What the plan was before it was split by question: about four thousand lines each, tests included; the plan over the
/// nights has fifteen hundred more.
#[test]
fn what_was_split_by_question_stays_split() {
    for module in ["night", "plan", "decide", "review", "measure"] {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(module);
        let lines: usize =
            sources(&folder).iter().map(|path| std::fs::read_to_string(path).unwrap().lines().count()).sum();
        assert!((100..5600).contains(&lines), "{module}: {lines} lines");
    }
}

#[test]
fn the_check_itself_sees_a_wrong_import() {
    assert_eq!(named("use crate::plan::Plan; crate::noise::x()").len(), 2);
}

/// A caveat's code is a word of the list, so that the list of the reference page is whole.
#[test]
fn every_caveat_has_a_known_code() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for path in sources(&src) {
        let text = std::fs::read_to_string(&path).unwrap();
        for (at, found) in text.match_indices("Caveat::new(") {
            let Some(word) = text[at + found.len()..].trim_start().strip_prefix('"') else { continue };
            let word = word.split('"').next().unwrap();
            let known = subwell::caveat::CaveatCode::from(word).meaning().is_some();
            assert!(known, "{}: `{word}` is not in src/caveat.rs", path.display());
        }
    }
}
