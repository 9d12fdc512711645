//! `subwell cooling`, `subwell compare`: what to buy, where to drive.

use std::path::{Path, PathBuf};

use clap::Args;
use subwell::decide::{Comparison, Cooling};
use subwell::{files, report};

use super::ReportArgs;
use super::output::{Answer, Failure};

#[derive(Args)]
pub(super) struct CoolingArgs {
    /// The night of the own camera, with [site.climate] and [cooler]
    night: PathBuf,
    /// A night with another camera: what the whole of it would bring, and what of that is cooling
    #[arg(long, value_name = "other-night.toml")]
    against: Option<PathBuf>,
    #[command(flatten)]
    report: ReportArgs,
}

/// Answers `subwell cooling`.
pub(super) fn cooling(args: &CoolingArgs) -> Result<Answer, Failure> {
    args.report.check()?;
    let (night, camera) = files::read_night(&args.night)?;
    let other = args.against.as_deref().map(files::read_night).transpose()?;
    let other = other.as_ref().map(|(night, camera)| (night, camera));
    let answer = Cooling::new(&night, &camera, other).map_err(subwell::Error::from)?;
    let mut text = report::cooling_text(&answer);
    args.report.write(&mut text, || report::cooling_page(&answer))?;
    Ok(Answer::document(text, &answer, answer.caveats.len()))
}

/// Answers `subwell compare`.
pub(super) fn compare(a: &Path, b: &Path, page: &ReportArgs) -> Result<Answer, Failure> {
    page.check()?;
    let [first, second] = [files::read_night(a)?, files::read_night(b)?];
    let name = |file: &Path| file.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let answer = Comparison::new((&first.0, &first.1), (&second.0, &second.1)).map_err(subwell::Error::from)?;
    let answer = answer.called([name(a), name(b)]);
    let mut text = report::comparison_text(&answer);
    page.write(&mut text, || report::comparison_page(&answer))?;
    Ok(Answer::document(text, &answer, answer.caveats.len()))
}
