//! `notebooks-md/reference.md` is made here, of what the program and the library say of themselves, and held:
//! `SNAPSHOTS=overwrite cargo test --test cli reference` writes it anew.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;
use subwell::caveat::CaveatCode;
use subwell::schema::KeyFile;

const HEAD: &str = "# Reference

Every command, exit code, error, caveat and key. This page is made of what the program says of itself; do not edit it:
`SNAPSHOTS=overwrite cargo test --test cli reference` writes it anew.
";

const KEYS: &str = "
## Keys

Keys that are left out take their default; where that matters, the caveat `assumed-value` says so. An unknown key is an
error that names the nearest known one. Tables in brackets may stand several times: `[[filters]]`. Temperatures of
sensors and air are in °C, their differences in K. `subwell schema NAME` prints a commented example.
";

/// What the program prints for `words` and `--help`, without the lines that only people at a terminal need.
fn help(words: &[&str]) -> String {
    let run = Command::cargo_bin("subwell").unwrap().args(words).arg("--help").assert().success();
    String::from_utf8(run.get_output().stdout.clone()).unwrap()
}

/// The names under `Commands:` in the program's help.
fn commands(help: &str) -> Vec<String> {
    let list = help.lines().skip_while(|line| *line != "Commands:").skip(1).take_while(|line| !line.is_empty());
    let names = list.filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    names.filter_map(|line| line.split_whitespace().next()).filter(|name| *name != "help").map(str::to_owned).collect()
}

fn block(page: &mut String, text: &str) {
    let lines: Vec<&str> = text.trim_end().lines().map(str::trim_end).collect();
    write!(page, "\n```text\n{}\n```\n", lines.join("\n")).unwrap();
}

/// A word or sentence as it stands in a cell of a table.
fn cell(text: &str) -> String {
    text.replace('|', "\\|").split_whitespace().collect::<Vec<_>>().join(" ")
}

fn codes<'a>(page: &mut String, rows: impl IntoIterator<Item = (&'a str, &'a str)>) {
    page.push_str("\n| code | meaning |\n|---|---|\n");
    for (code, meaning) in rows {
        writeln!(page, "| `{code}` | {} |", cell(meaning)).unwrap();
    }
}

/// A number as a person writes it.
fn number(number: f64) -> String {
    if number != 0.0 && !(1e-4..1e7).contains(&number.abs()) { format!("{number:e}") } else { number.to_string() }
}

/// What a key may be: the ends of its range, or the words that it may have.
fn range(key: &Value) -> String {
    if let (Some(low), Some(high)) = (key["low"].as_f64(), key["high"].as_f64()) {
        return format!("{} to {}", number(low), number(high));
    }
    let words: Vec<String> = key["choices"].as_array().unwrap().iter().map(|word| format!("`{word}`")).collect();
    if key["type"] == "boolean" { "true or false".into() } else { words.join(", ") }
}

/// What a key means, without the unit and the default that an editor shows behind it.
fn meaning(key: &Value) -> String {
    let [unit, default] = ["unit", "default_text"].map(|name| key[name].as_str().unwrap_or_default());
    let mut words = key["meaning"].as_str().unwrap_or_default();
    for behind in [format!("Left out: {default}."), format!("In {unit}.")] {
        words = words.strip_suffix(&behind).unwrap_or(words).trim_end();
    }
    words.to_owned()
}

/// The keys of a file, in the order of its table.
fn keys(page: &mut String, file: KeyFile) {
    let document = file.keys();
    let word = document["file"].as_str().unwrap();
    write!(page, "\n### {word}.toml\n\n| key | meaning | unit | range | default |\n|---|---|---|---|---|\n").unwrap();
    for key in document["keys"].as_array().unwrap() {
        let text = |name: &str| cell(key[name].as_str().unwrap_or_default());
        let row = [cell(&meaning(key)), text("unit"), cell(&range(key)), text("default_text")].join(" | ");
        writeln!(page, "| `{}` | {row} |", text("path")).unwrap();
    }
}

fn page() -> String {
    let mut page = HEAD.to_owned();
    let program = help(&[]);
    page.push_str("\n## Commands\n");
    block(&mut page, &program);
    for name in commands(&program) {
        write!(page, "\n### {name}\n").unwrap();
        block(&mut page, &help(&[&name]));
    }
    page.push_str("\n## Errors\n\nThe `code` of a failure under `--json`, and of a file that was left out.\n");
    codes(&mut page, subwell::Error::CODES.iter().copied());
    page.push_str("\n## Caveats\n\nThe `code` of a doubt. Codes keep their names.\n");
    codes(&mut page, CaveatCode::ALL.iter().map(|(code, meaning)| (code.as_str(), meaning.trim())));
    page.push_str(KEYS);
    for file in [KeyFile::Night, KeyFile::Camera, KeyFile::Sensor] {
        keys(&mut page, file);
    }
    page
}

#[test]
fn the_reference_is_what_the_program_says_of_itself() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks-md/reference.md");
    let words = page();
    for written in ["`None`", "[`"] {
        assert!(!words.contains(written), "words of the code in the reference: {written}");
    }
    let twice = words.lines().find(|line| line.starts_with("| `") && line.matches(". Left out").count() > 0);
    assert_eq!(twice, None, "the default stands in a column of its own");
    snapbox::Assert::new().action_env("SNAPSHOTS").eq(words, snapbox::Data::read_from(&file, None).raw());
}

/// The sources of the library and the program.
fn sources(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let (folders, files): (Vec<_>, Vec<_>) = entries.partition(|path| path.is_dir());
    folders.iter().flat_map(|folder| sources(folder)).chain(files).collect()
}

/// Words in quotes that `fn code` functions return, or that stand as the code of a failure.
fn codes_of(text: &str) -> BTreeSet<String> {
    let text = text.split("#[cfg(test)]").next().unwrap_or_default();
    let word = |rest: &str| rest.split('"').next().unwrap_or_default().to_owned();
    let bodies = text.split("fn code(&self) -> &'static str {").skip(1);
    let returned = bodies.flat_map(|body| body.split("\n    }\n").next().unwrap_or_default().split("=> \"").skip(1));
    let rejected = text.split("reject(\"").skip(1);
    returned.chain(text.split("code: \"").skip(1)).chain(rejected).map(word).collect()
}

#[test]
fn every_error_code_has_its_sentence() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    // The page's own refusals are no matter of the command line.
    let files = sources(&src).into_iter().filter(|path| !path.starts_with(src.join("page")));
    let found: BTreeSet<String> = files.flat_map(|path| codes_of(&std::fs::read_to_string(path).unwrap())).collect();
    let listed: BTreeSet<String> = subwell::Error::CODES.iter().map(|(code, _)| (*code).to_owned()).collect();
    assert_eq!(found, listed);
    assert_eq!(codes_of("fn code(&self) -> &'static str {\n  _ => \"one\",\n    }\n => \"no\" code: \"two\""), {
        ["one", "two"].map(str::to_owned).into()
    });
}
