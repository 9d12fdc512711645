//! `subwell completions`, `subwell man`: what shells and readers of manuals expect of a program.

use std::path::{Path, PathBuf};

use clap::{Args, CommandFactory, ValueEnum};
use clap_complete::Shell;
use clap_mangen::Man;
use serde_json::json;
use subwell::files::{self, FileError};

use super::Cli;
use super::output::{Answer, Failure};

#[derive(Args)]
pub(super) struct ManArgs {
    /// The folder to write to, such as ~/.local/share/man/man1; it is made if it is not there
    dir: PathBuf,
    /// Overwrite pages that are there
    #[arg(long)]
    force: bool,
}

/// Answers `subwell completions`: the script, to be saved where the shell looks for it.
pub(super) fn completions(shell: Shell) -> Answer {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "subwell", &mut script);
    let script = String::from_utf8_lossy(&script).into_owned();
    let word = shell.to_possible_value().map_or_else(String::new, |value| value.get_name().to_owned());
    let content = json!({ "shell": word, "script": script });
    Answer::new(script, "subwell.completions", &content, 0)
}

/// Answers `subwell man`: one page for the program and one for each command.
pub(super) fn man(args: &ManArgs) -> Result<Answer, Failure> {
    let disk = |path: &Path, source| FileError::Disk { path: path.to_owned(), source };
    let pages = pages().map_err(|source| disk(&args.dir, source))?;
    // Refuse before the work: either all pages are written or the first hindrance is named and none is.
    for (name, _) in &pages {
        super::refuse_to_overwrite(&args.dir.join(name), args.force)?;
    }
    std::fs::create_dir_all(&args.dir).map_err(|source| disk(&args.dir, source))?;
    for (name, page) in &pages {
        files::write_whole(&args.dir.join(name), page, args.force)?;
    }
    let folder = args.dir.display();
    let text = format!("{} pages written to {folder}\nnext: man -l {folder}/subwell.1\n", pages.len());
    let names: Vec<&str> = pages.iter().map(|(name, _)| name.as_str()).collect();
    Ok(Answer::new(text, "subwell.man", &json!({ "written": names }), 0))
}

/// The pages with their file names, the program's first.
fn pages() -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut program = Cli::command().disable_help_subcommand(true);
    // Global options and full names reach the commands only when they are built.
    program.build();
    let version = env!("CARGO_PKG_VERSION");
    let mut pages = Vec::new();
    let commands: Vec<clap::Command> =
        program.get_subcommands().filter(|command| !command.is_hide_set()).cloned().collect();
    for command in std::iter::once(program).chain(commands) {
        let name = command.get_display_name().unwrap_or_else(|| command.get_name()).to_owned();
        let mut page = Vec::new();
        Man::new(command.version(version)).source(format!("subwell {version}")).render(&mut page)?;
        pages.push((format!("{name}.1"), page));
    }
    Ok(pages)
}
