//! `subwell review`: a folder of last night's lights against the night file.

use std::path::PathBuf;

use clap::Args;
use subwell::files::Decoder;
use subwell::measure::{Folder, FramesError, ReviewOptions, review_night};
use subwell::{Error, files, report};

use super::ReportArgs;
use super::output::{Answer, Failure};
use super::progress::Terminal;

#[derive(Args)]
pub(super) struct ReviewArgs {
    /// The folder of the night's lights, any depth; darks among them are used
    dir: PathBuf,
    /// The night that was planned
    #[arg(long, value_name = "night.toml")]
    night: PathBuf,
    /// Write the measured sky into the night file
    #[arg(long)]
    write: bool,
    #[command(flatten)]
    report: ReportArgs,
}

/// Answers `subwell review`.
pub(super) fn review(args: &ReviewArgs, quiet: bool) -> Result<Answer, Failure> {
    args.report.check()?;
    let (night, camera) = files::read_night(&args.night)?;
    let (decoder, terminal) = (Decoder::this_program()?, Terminal::new(quiet));
    let folder = Folder::open(&[&args.dir], &decoder, &terminal)?;
    let mut options = ReviewOptions::default();
    options.progress = &terminal;
    let review = review_night(&folder, &night, &camera, &options)?;
    let mut text = report::review_text(&review);
    if args.write {
        let why = if review.sky_e_per_s.is_some() { FramesError::MoonlitSky } else { FramesError::UnseenSky };
        let sky = review.sky_to_write.as_ref().ok_or(Error::from(why))?;
        files::write_measured_sky(&args.night, &sky.e_per_s, &sky.filter, sky.plane, sky.altitude_deg)?;
        text.push_str(&format!("\nwritten to {}: subwell plan uses it from now on\n", args.night.display()));
    }
    args.report.write(&mut text, || report::review_page(&review))?;
    Ok(Answer::document(text, &review, review.caveats.len()))
}
