//! The pages' `console` blocks, run and compared: README and notebooks say what the program
//! prints. `[..]` stands for any characters of a line, `...` for any lines; digits beyond what
//! the uncertainty allows are left open, so that a page holds on every machine. A block that is
//! fenced as `toml file=NAME` is a file that the reader types: it lies on the desk before any
//! command of the page is run. With `like=OTHER` it is a copy of another file with these lines changed.

use std::path::{Path, PathBuf};

use assert_cmd::Command;

/// One `$ subwell …` of a page and what it prints.
struct Example {
    words: Vec<String>,
    printed: String,
}

/// The examples of a page, in order. A block marked `console,ignore` is left alone.
fn examples(page: &str) -> Vec<Example> {
    let mut found: Vec<Example> = Vec::new();
    let mut inside = false;
    for line in page.lines() {
        if line.starts_with("```") {
            inside = line == "```console";
        } else if let (true, Some(command)) = (inside, line.strip_prefix("$ ")) {
            let mut words = command.split_whitespace().map(str::to_owned);
            assert_eq!(words.next().as_deref(), Some("subwell"), "only the program is run: {line}");
            found.push(Example { words: words.collect(), printed: String::new() });
        } else if let (true, Some(example)) = (inside, found.last_mut()) {
            example.printed.push_str(line);
            example.printed.push('\n');
        }
    }
    found
}

/// A file that a page asks its reader to type; `like` names the one that it is a copy of, but for the lines given.
struct Typed {
    name: String,
    like: Option<String>,
    text: String,
}

fn typed_files(page: &str) -> Vec<Typed> {
    let mut found: Vec<Typed> = Vec::new();
    let mut inside = false;
    for line in page.lines() {
        if let Some(info) = line.strip_prefix("```") {
            inside = info.starts_with("toml file=");
            if inside {
                let of = |key: &str| info.split(' ').find_map(|word| word.strip_prefix(key)).map(str::to_owned);
                found.push(Typed { name: of("file=").unwrap(), like: of("like="), text: String::new() });
            }
        } else if let (true, Some(typed)) = (inside, found.last_mut()) {
            typed.text.push_str(line);
            typed.text.push('\n');
        }
    }
    found
}

/// A copy of `original` in which each of `lines` stands in the place of the only line with its key.
fn altered(original: &str, lines: &str) -> String {
    let key = |line: &str| line.split(" = ").next().unwrap_or_default().to_owned();
    lines.lines().fold(original.to_owned(), |text, line| {
        let replaced = text.lines().filter(|old| key(old) == key(line)).count();
        assert_eq!(replaced, 1, "which line is to be changed? {line}");
        text.lines().map(|old| if key(old) == key(line) { line } else { old }).collect::<Vec<_>>().join("\n") + "\n"
    })
}

fn type_files(page: &str, folder: &Path) {
    for typed in typed_files(page) {
        let plain = |sign: char| sign.is_ascii_alphanumeric() || "-.".contains(sign);
        assert!(typed.name.chars().all(plain), "a file of the page's own folder: {}", typed.name);
        assert!(!folder.join(&typed.name).exists(), "{} lies in the samples already", typed.name);
        let text = typed.like.map_or_else(
            || typed.text.clone(),
            |like| altered(&std::fs::read_to_string(folder.join(like)).unwrap(), &typed.text),
        );
        std::fs::write(folder.join(typed.name), text).unwrap();
    }
}

/// A folder as the page's reader has it: the sample sets beside the sample nights.
fn desk() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration");
    for target in [folder.path().to_owned(), folder.path().join("sample-calibration")] {
        copied(&samples, &target);
    }
    folder
}

fn copied(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copied(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

fn run(page: &Path) -> usize {
    let text = std::fs::read_to_string(page).unwrap();
    let desk = desk();
    type_files(&text, desk.path());
    let examples = examples(&text);
    for example in &examples {
        let run = Command::cargo_bin("subwell").unwrap().current_dir(desk.path()).args(&example.words).assert();
        let printed = String::from_utf8(run.success().get_output().stdout.clone()).unwrap();
        snapbox::Assert::new().action_env("SNAPSHOTS").eq(printed.trim_end(), example.printed.trim_end().to_owned());
    }
    examples.len()
}

#[test]
fn the_readme_shows_what_the_program_prints() {
    assert!(run(&Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")) >= 4);
}

#[test]
fn the_notebooks_show_what_the_program_prints() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks-md");
    let pages: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert!(!pages.is_empty());
    for page in pages {
        assert!(run(&page) >= 1, "{} shows nothing", page.display());
    }
}

/// Each picture of the README: what it says to who does not see it, and its file.
fn pictures(page: &str) -> Vec<(String, String)> {
    let between = |text: &str, begin: &str, end: &str| {
        let rest = text.split_once(begin)?.1;
        Some(rest.split_once(end)?.0.to_owned())
    };
    let picture = |line: &str| {
        if line.starts_with("![") {
            Some((between(line, "![", "](")?, between(line, "](", ")")?))
        } else {
            let tag = between(line, "<img ", ">")?;
            Some((between(&tag, "alt=\"", "\"")?, between(&tag, "src=\"", "\"")?))
        }
    };
    page.lines().filter_map(picture).collect()
}

#[test]
fn the_readme_shows_the_pictures_that_are_made_for_it_and_says_what_is_on_them() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let shown = pictures(&std::fs::read_to_string(root.join("README.md")).unwrap());
    for (said, file) in &shown {
        assert!(said.len() > 60, "{file}: {said}");
        let bytes = std::fs::read(root.join(file)).unwrap_or_else(|error| panic!("{file}: {error}"));
        assert!(bytes.starts_with(b"\x89PNG"), "{file} is no PNG");
    }
    let entry = |entry: std::io::Result<std::fs::DirEntry>| entry.unwrap().file_name().into_string().unwrap();
    let mut made: Vec<String> = std::fs::read_dir(root.join("pictures")).unwrap().map(entry).collect();
    let mut shown: Vec<String> = shown.into_iter().map(|(_, file)| file.replace("pictures/", "")).collect();
    made.sort();
    shown.sort();
    assert_eq!(made, shown);
}
