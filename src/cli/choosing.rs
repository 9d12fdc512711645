//! `subwell choices`, `subwell targets`: what to change, what to photograph.

use std::path::{Path, PathBuf};

use clap::Args;
use subwell::decide::{Choices, Targets, TargetsAsked};
use subwell::{files, report};

use super::ReportArgs;
use super::output::{Answer, Failure};
use super::planning::named;

#[derive(Args)]
pub(super) struct ChoicesArgs {
    /// The night as things are; under [[choices]] changes of your own, and prices
    night: PathBuf,
    #[command(flatten)]
    files: TableArgs,
}

#[derive(Args)]
pub(super) struct TargetsArgs {
    /// The night: camera, optics, site, filters, goal; its target does not count
    night: PathBuf,
    /// How many nights from the night's date on may be used
    #[arg(long, value_name = "N", default_value_t = TargetsAsked::default().nights, value_parser = clap::value_parser!(u32).range(1..=60))]
    nights: u32,
    /// Every target, and why the others are out of reach
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    files: TableArgs,
}

/// Where a table and a report go.
#[derive(Args)]
struct TableArgs {
    /// Write the rows here as a table (.csv)
    #[arg(long, value_name = "FILE.csv")]
    csv: Option<PathBuf>,
    #[command(flatten)]
    report: ReportArgs,
}

impl TableArgs {
    /// Refuses before the work, not after it.
    fn check(&self) -> Result<(), Failure> {
        self.report.check()?;
        let Some(file) = &self.csv else { return Ok(()) };
        named(file, "csv", "a table")?;
        super::refuse_to_overwrite(file, self.report.force)
    }

    fn write(
        &self,
        text: &mut String,
        table: impl FnOnce() -> String,
        page: impl FnOnce() -> String,
    ) -> Result<(), Failure> {
        if let Some(file) = &self.csv {
            files::write_whole(file, table().as_bytes(), self.report.force)?;
            text.push_str(&format!("\ntable written to {}\n", Path::display(file)));
        }
        self.report.write(text, page)
    }
}

/// Answers `subwell choices`.
pub(super) fn choices(args: &ChoicesArgs) -> Result<Answer, Failure> {
    args.files.check()?;
    let (night, camera) = files::read_night(&args.night)?;
    let chosen = files::read_chosen(&args.night)?;
    let answer = Choices::new(&night, &camera, &chosen).map_err(subwell::Error::from)?;
    let mut text = report::choices_text(&answer);
    args.files.write(&mut text, || report::choices_csv(&answer), || report::choices_page(&answer))?;
    Ok(Answer::document(text, &answer, answer.caveats.len()))
}

/// Answers `subwell targets`.
pub(super) fn targets(args: &TargetsArgs) -> Result<Answer, Failure> {
    args.files.check()?;
    let (night, camera) = files::read_night(&args.night)?;
    let mut asked = TargetsAsked::default();
    asked.nights = args.nights;
    let answer = Targets::new(&night, &camera, asked).map_err(subwell::Error::from)?;
    let mut text = report::targets_text(&answer, args.all);
    args.files.write(&mut text, || report::targets_csv(&answer), || report::targets_page(&answer))?;
    Ok(Answer::document(text, &answer, answer.caveats.len()))
}
