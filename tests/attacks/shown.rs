//! Names and typed words that hold commands for terminals, formulas for spreadsheets and ends of lines for calendars.

use std::fs;
use std::process::Command;

use serde_json::Value;

use super::PROGRAM;
use super::support::program::samples;

/// A night whose filter has this name, which TOML and JSON both read; the program's stdout, stderr, table and calendar.
fn planned(name: &str) -> [String; 5] {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    fs::copy(samples().join("published-camera.toml"), file("published-camera.toml")).unwrap();
    let night = fs::read_to_string(samples().join("published-night.toml")).unwrap();
    let named = format!(
        "name = {}\ncentre_nm = 550\nwidth_nm = 100 ",
        Value::from(name).to_string().replace('\u{9b}', "\\u009b")
    );
    fs::write(file("night.toml"), night.replace("name = \"luminance\"", &named)).unwrap();
    let run = |words: &[&str]| {
        let mut command = Command::new(PROGRAM);
        // As on a terminal: codes are not taken out on the way into a pipe.
        command.args(words).current_dir(folder.path()).env("CLICOLOR_FORCE", "1").env("LC_ALL", "C.UTF-8");
        let output = command.output().unwrap();
        [output.stdout, output.stderr].map(|bytes| String::from_utf8(bytes).unwrap())
    };
    let [text, _] = run(&["plan", "night.toml", "--all", "--csv", "nights.csv", "--calendar", "nights.ics"]);
    let [json, _] = run(&["plan", "night.toml", "--json"]);
    let [_, error] = run(&["plan", &format!("{name}.toml")]);
    let read = |name: &str| fs::read_to_string(file(name)).unwrap();
    [text, json, error, read("nights.csv"), read("nights.ics")]
}

fn acts(sign: char) -> bool {
    sign.is_control() && sign != '\n' && sign != '\t' || ['\u{2028}', '\u{2029}', '\u{202e}'].contains(&sign)
}

#[test]
fn no_output_commands_a_terminal_or_breaks_a_line() {
    let name = "red\u{1b}[31m\u{9b}2J\r\u{7}\u{2028}\u{202e}x";
    let [text, json, error, table, calendar] = planned(name);
    assert!(text.contains("red?[31m") && table.contains("red") && calendar.contains("red") && error.contains("red?"));
    for (output, of_what) in [(&text, "text"), (&json, "json"), (&error, "error")] {
        assert!(!output.contains(acts), "{of_what}: {output:?}");
    }
    for output in [table, calendar] {
        // Their lines end as their formats want it.
        assert!(!output.replace("\r\n", "\n").contains(acts), "{output:?}");
    }
    // JSON says the name all the same.
    let plan: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(plan["filters"][0]["name"], name);
    // Words that are none of the program's.
    for json in [&[][..], &["--json"]] {
        let mut command = Command::new(PROGRAM);
        let output = command.arg("pl\u{1b}[2J\u{9b}an").args(json).env("CLICOLOR_FORCE", "1").output().unwrap();
        let said = String::from_utf8([output.stdout, output.stderr].concat()).unwrap();
        assert!(said.contains("pl") && !said.contains(acts), "{said:?}");
    }
}

#[test]
fn no_cell_of_a_table_is_a_formula() {
    for name in ["=1+1", " =1+1", "\u{ff1d}1+1", "\u{3000}\u{ff0b}1", "\t@a", "\u{200b}-1"] {
        let [_, _, _, table, _] = planned(name);
        let cell = table.lines().nth(1).unwrap().split(',').nth(1).unwrap();
        assert!(cell.starts_with('\''), "{cell:?}");
    }
}
