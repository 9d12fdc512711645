//! The pages' `console` blocks, run and compared: README and notebooks say what the program
//! prints. `[..]` stands for any characters of a line, `...` for any lines; digits beyond what
//! the uncertainty allows are left open, so that a page holds on every machine.

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
