//! The program among shells, terminals and other systems: completions, manual pages, patterns, quotes, signs, threads.
#![cfg(feature = "cli")]

use std::process::{Command, Output};

use crate::support::program::{PROGRAM, samples};

fn run(words: &[&str]) -> Output {
    Command::new(PROGRAM).args(words).env("LC_ALL", "C.UTF-8").output().unwrap()
}

fn printed(words: &[&str]) -> String {
    let run = run(words);
    assert!(run.status.success(), "{words:?}: {}", String::from_utf8_lossy(&run.stderr));
    String::from_utf8(run.stdout).unwrap()
}

/// Every command that `--help` lists.
fn commands() -> Vec<String> {
    let help = printed(&["--help"]);
    let list = help.split("Commands:").nth(1).unwrap().split("Options:").next().unwrap();
    let first = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let words: Vec<String> = first.filter_map(|line| line.split_whitespace().next()).map(str::to_owned).collect();
    assert!(words.len() > 10 && words.contains(&"measure".to_owned()), "{words:?}");
    words.into_iter().filter(|word| word != "help").collect()
}

/// Without any word: what to do first, in five lines that fit a terminal, and nothing for a pipe to take for an answer.
#[test]
fn the_program_alone_says_what_to_do_first() {
    let alone = run(&[]);
    let said = String::from_utf8(alone.stderr).unwrap();
    assert_eq!((alone.status.code(), said.lines().count(), alone.stdout.len()), (Some(2), 5, 0), "{said}");
    assert!(said.lines().all(|line| line.len() <= 80), "{said}");
    let commands = commands();
    let named: Vec<&str> = said.lines().skip(1).filter_map(|line| line.split_whitespace().nth(1)).collect();
    assert_eq!(named, ["demo", "measure", "plan", "--help"]);
    assert!(named[..3].iter().all(|word| commands.contains(&(*word).to_owned())), "{commands:?}");
}

/// A planner for the phone is a page by its name, and no file that the night reads is written over.
#[cfg(feature = "page")]
#[test]
fn a_planner_for_the_phone_is_written_under_a_name_of_a_page() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["published-night.toml", "published-camera.toml"] {
        std::fs::copy(samples().join(name), folder.path().join(name)).unwrap();
    }
    let file = |name: &str| folder.path().join(name).display().to_string();
    let (night, camera) = (file("published-night.toml"), file("published-camera.toml"));
    let was = std::fs::read(&camera).unwrap();
    for target in [camera.clone(), file("planner")] {
        let refused = run(&["page", &night, "--file", &target, "--force"]);
        let said = String::from_utf8(refused.stderr).unwrap();
        assert!(refused.status.code() == Some(2) && said.contains("ends in .html"), "{said}");
    }
    assert_eq!(std::fs::read(&camera).unwrap(), was);
    let written = run(&["page", &night, "--file", &file("planner.html")]);
    let said = String::from_utf8(written.stderr).unwrap();
    if subwell::page::offline_module().is_some() {
        let page = std::fs::read_to_string(file("planner.html")).unwrap();
        assert!(written.status.success() && page.contains("published-camera.toml"), "{said}");
        assert!(!page.contains(folder.path().to_str().unwrap()), "the page says where it was made");
    } else {
        assert!(written.status.code() == Some(1) && said.contains("make_offline_planner"), "{said}");
        assert!(!folder.path().join("planner.html").exists());
    }
}

#[test]
fn every_shell_completes_every_command_and_its_options() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = printed(&["completions", shell]);
        for word in commands().iter().map(String::as_str).chain(["gain-e-per-dn", "against"]) {
            assert!(script.contains(word), "{shell} lacks {word}");
        }
    }
    assert_eq!(run(&["completions", "dish"]).status.code(), Some(2));
}

/// The shell itself takes the script, and asks it.
#[test]
#[cfg(unix)]
fn bash_takes_its_completions() {
    let folder = tempfile::tempdir().unwrap();
    let script = folder.path().join("subwell.bash");
    std::fs::write(&script, printed(&["completions", "bash"])).unwrap();
    let ask = format!(
        "source {script:?} && COMP_WORDS=(subwell me) COMP_CWORD=1 && _subwell subwell me subwell && echo \"${{COMPREPLY[@]}}\""
    );
    // A machine without it has nobody to complete for.
    let Ok(run) = Command::new("bash").args(["--norc", "-c", &ask]).output() else { return };
    assert_eq!(String::from_utf8_lossy(&run.stdout).trim(), "measure", "{}", String::from_utf8_lossy(&run.stderr));
}

#[test]
fn every_command_has_a_manual_page_and_none_is_overwritten_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let pages = folder.path().join("man/man1");
    let dir = pages.to_str().unwrap();
    printed(&["man", dir]);
    for command in commands() {
        let page = std::fs::read_to_string(pages.join(format!("subwell-{command}.1"))).unwrap();
        assert!(page.contains(".TH") && page.contains(".SH SYNOPSIS"), "{page}");
    }
    let page = std::fs::read_to_string(pages.join("subwell-measure.1")).unwrap();
    assert!(page.contains("gain\\-e\\-per\\-dn") && page.contains("json"), "{page}");
    assert_eq!(std::fs::read_dir(&pages).unwrap().count(), commands().len() + 1);
    // One page that is there stops all; with --force they are written again.
    std::fs::write(pages.join("subwell-plan.1"), "mine").unwrap();
    std::fs::remove_file(pages.join("subwell.1")).unwrap();
    let refused = run(&["man", dir]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(!pages.join("subwell.1").exists());
    printed(&["man", dir, "--force"]);
    assert_ne!(std::fs::read_to_string(pages.join("subwell-plan.1")).unwrap(), "mine");
}

#[test]
fn a_pattern_that_the_shell_left_means_its_files() {
    let pattern = samples().join("cooled-mono").join("bias").join("*.fz");
    let of_pattern = printed(&["frames", pattern.to_str().unwrap(), "--json"]);
    let of_folder = printed(&["frames", samples().join("cooled-mono").join("bias").to_str().unwrap(), "--json"]);
    assert_eq!(of_pattern, of_folder);
    let none = run(&["frames", "*.nothing"]);
    assert_eq!(none.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&none.stderr).contains("*.nothing"));
}

/// Folders given one by one are measured as the folder that holds them, and sidecars beside files count.
#[test]
fn several_folders_and_files_are_one_set() {
    let whole = samples().join("cooled-mono");
    let parts = ["bias", "flat", "dark"].map(|kind| whole.join(kind).display().to_string());
    let together = printed(&["measure", &parts[0], &parts[1], &parts[2], "--json"]);
    assert_eq!(together, printed(&["measure", whole.to_str().unwrap(), "--json"]));
    let folder = tempfile::tempdir().unwrap();
    for number in 1..=3 {
        let name = format!("bias_000{number}.fits.fz");
        std::fs::copy(whole.join("bias").join(&name), folder.path().join(name)).unwrap();
    }
    std::fs::write(folder.path().join("sidecar.csv"), "file,gain_setting\nbias_0001.fits.fz,7\nbias_0003.fits.fz,7\n")
        .unwrap();
    let files = [1, 2].map(|number| folder.path().join(format!("bias_000{number}.fits.fz")).display().to_string());
    // The first twice: it is one file.
    let seen: serde_json::Value =
        crate::support::schemas::valid(printed(&["frames", &files[0], &files[1], &files[0], "--json"]).as_bytes());
    let gains: Vec<f64> =
        seen["groups"].as_array().unwrap().iter().map(|group| group["gain_setting"].as_f64().unwrap()).collect();
    assert_eq!(gains, [7.0, 100.0], "{seen}");
    assert!(seen["groups"].as_array().unwrap().iter().all(|group| group["count"] == 1), "{seen}");
    assert!(!seen.to_string().contains("sidecar-unmatched"), "{seen}");
}

#[test]
fn a_quote_left_at_the_end_of_a_folder_is_taken_off() {
    let folder = samples().join("cooled-mono").join("bias").display().to_string();
    let plain = printed(&["frames", &folder, "--json"]);
    assert_eq!(printed(&["frames", &format!("{folder}\""), "--json"]), plain);
    assert_eq!(printed(&["frames", &format!("{folder}\" --json")]), plain);
}

/// Who says with the locale that the terminal knows no UTF-8 gets letters of ASCII alone.
#[test]
#[cfg(unix)]
fn without_utf_8_every_sign_has_a_word() {
    let folder = tempfile::tempdir().unwrap();
    let night = folder.path().join("published-night.toml");
    for name in ["published-night.toml", "published-camera.toml"] {
        std::fs::copy(samples().join(name), folder.path().join(name)).unwrap();
    }
    let night = night.to_str().unwrap();
    let set = samples().join("cooled-mono");
    let set = set.to_str().unwrap();
    for words in [
        &["demo"][..],
        &["checklist", "--uncooled"],
        &["frames", set],
        &["plan", night],
        &["cooling", night],
        &["compare", night, night],
        &["sky", "--bortle", "5"],
        &["sky", "--help"],
        &["measure", "--help"],
        &["measure", "no such folder", "--sensor-c", "1000"],
    ] {
        let of = |locale: &str| Command::new(PROGRAM).args(words).env("LC_ALL", locale).output().unwrap();
        let c = of("C");
        for bytes in [c.stdout, c.stderr, of("de_DE.ISO-8859-1").stdout] {
            let text = String::from_utf8_lossy(&bytes);
            let odd: String = text.chars().filter(|sign| !sign.is_ascii()).collect();
            assert!(odd.is_empty(), "{words:?}: {odd}");
        }
    }
    let c = Command::new(PROGRAM).args(["checklist"]).env("LC_ALL", "C").output().unwrap();
    assert!(String::from_utf8(c.stdout).unwrap().contains("deg C"));
    assert!(printed(&["checklist"]).contains("°C"));
}

#[test]
fn colour_is_only_where_it_is_wanted() {
    let of = |variables: &[(&str, &str)]| {
        let mut command = Command::new(PROGRAM);
        command.arg("--help").env_remove("NO_COLOR").env_remove("CLICOLOR_FORCE").envs(variables.iter().copied());
        String::from_utf8(command.output().unwrap().stdout).unwrap()
    };
    assert!(!of(&[]).contains('\u{1b}'));
    assert!(!of(&[("NO_COLOR", "1")]).contains('\u{1b}'));
    assert!(of(&[("CLICOLOR_FORCE", "1")]).contains('\u{1b}'), "the colours that NO_COLOR takes away");
}

/// Twice, on one core and on all: the same bytes.
#[test]
fn the_same_frames_give_the_same_bytes_however_many_threads_read_them() {
    let folder = tempfile::tempdir().unwrap();
    let mixed = folder.path();
    // Two cameras' worth of work for the decoders: compressed frames, and rejected ones that end a worker or not.
    for kind in ["bias", "flat", "dark"] {
        std::fs::create_dir(mixed.join(kind)).unwrap();
        for entry in std::fs::read_dir(samples().join("cooled-mono").join(kind)).unwrap().map(Result::unwrap) {
            std::fs::copy(entry.path(), mixed.join(kind).join(entry.file_name())).unwrap();
        }
    }
    let whole = std::fs::read(mixed.join("bias/bias_0001.fits.fz")).unwrap();
    for number in 0..6 {
        std::fs::write(mixed.join(format!("bias/cut_{number}.fits.fz")), &whole[..whole.len() * (number + 2) / 9])
            .unwrap();
    }
    for words in [vec!["measure", mixed.to_str().unwrap(), "--json"], vec!["frames", mixed.to_str().unwrap(), "--json"]]
    {
        let first = printed(&words);
        assert!(first.contains("cut_5"), "{first}");
        assert_eq!(first, printed(&words));
        // `available_parallelism` counts the cores that this process may use.
        let one = Command::new("taskset").args(["-c", "0", PROGRAM]).args(&words).output();
        match one {
            Ok(one) => assert_eq!(first, String::from_utf8(one.stdout).unwrap(), "on one core"),
            Err(error) => eprintln!("not tried on one core: no taskset here ({error})"),
        }
    }
    let demo = printed(&["demo", "--json"]);
    assert_eq!(demo, printed(&["demo", "--json"]));
}
