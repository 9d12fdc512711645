//! `subwell cooling`, `subwell compare`, `subwell schema`: what to buy, where to drive, how to type a data sheet.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use serde_json::json;
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

/// The files that `subwell schema` shows.
#[derive(Clone, Copy, ValueEnum)]
pub(super) enum Schema {
    /// A camera typed from a data sheet
    Camera,
    /// A night
    Night,
    /// A made-up sensor for `subwell simulate`
    Sensor,
}

impl Schema {
    fn text(self) -> &'static str {
        match self {
            Self::Camera => include_str!("../../sample-calibration/published-camera.toml"),
            Self::Night => include_str!("../../sample-calibration/published-night.toml"),
            Self::Sensor => include_str!("schema/sensor.toml"),
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Camera => "camera",
            Self::Night => "night",
            Self::Sensor => "sensor",
        }
    }
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
    let answer = Comparison::new((&first.0, &first.1), (&second.0, &second.1)).map_err(subwell::Error::from)?;
    let mut text = report::comparison_text(&answer);
    page.write(&mut text, || report::comparison_page(&answer))?;
    Ok(Answer::document(text, &answer, answer.caveats.len()))
}

/// Answers `subwell schema`.
pub(super) fn schema(schema: Schema) -> Answer {
    let content = json!({ "name": schema.word(), "example": schema.text() });
    Answer::new(schema.text().to_owned(), "subwell.schema", &content, 0)
}
