//! `subwell review`: folders of lights against the night file.

use std::path::PathBuf;

use clap::Args;
use subwell::camera::CameraProfile;
use subwell::files::{self, Decoder};
use subwell::measure::{Folder, FramesError, ReviewOptions, review_night};
use subwell::night::{AlreadyHave, Night};
use subwell::review::{Campaign, Review, Reviewed};
use subwell::{Error, report};

use super::ReportArgs;
use super::output::{Answer, Failure, note};
use super::progress::Terminal;

#[derive(Args)]
pub(super) struct ReviewArgs {
    /// The folder of the night's lights, any depth; darks among them are used. Several folders are several nights of one target
    #[arg(value_name = "DIR", required = true)]
    dirs: Vec<PathBuf>,
    /// The night that was planned; for several folders one for all, or one for each in their order
    #[arg(long, value_name = "night.toml", required = true)]
    night: Vec<PathBuf>,
    /// Write the measured sky into the night file
    #[arg(long)]
    write: bool,
    /// Write what is in hand into the night file (the last one), as [[goal.already]]; the same evening is not counted twice
    #[arg(long)]
    write_already: bool,
    #[command(flatten)]
    report: ReportArgs,
}

/// A folder that was reviewed, and the night it was held against.
struct OneNight {
    folder: String,
    night: Night,
    camera: CameraProfile,
    review: Review,
}

/// Answers `subwell review`.
pub(super) fn review(args: &ReviewArgs, quiet: bool) -> Result<Answer, Failure> {
    args.report.check()?;
    let several = args.dirs.len() > 1;
    if args.night.len() > 1 && args.night.len() != args.dirs.len() {
        let hint = "give one --night for all folders, or one for each";
        return Err(Failure::words("folders and night files are not as many", hint));
    }
    if several && (args.write || args.report.report.is_some()) {
        let hint = "review the night alone for --write and --report";
        return Err(Failure::words("--write and --report are for one night", hint));
    }
    let (decoder, terminal) = (Decoder::this_program()?, Terminal::new(quiet));
    let mut options = ReviewOptions::default();
    options.progress = &terminal;
    let mut nights = Vec::new();
    for (at, dir) in args.dirs.iter().enumerate() {
        let (night, camera) = files::read_night(args.night.get(at).unwrap_or(&args.night[0]))?;
        let folder = Folder::open(&[dir], &decoder, &terminal)?;
        let review = review_night(&folder, &night, &camera, &options)?;
        nights.push(OneNight { folder: dir.display().to_string(), night, camera, review });
    }
    let campaign = (several || args.write_already).then(|| campaign(&nights)).flatten();
    let file = args.night.last().unwrap_or(&args.night[0]);
    let mut written = String::new();
    if let Some(campaign) = campaign.as_ref().filter(|_| args.write_already) {
        let stacks: Vec<AlreadyHave> = campaign.new_stacks().cloned().collect();
        if !stacks.is_empty() {
            files::write_already(file, &stacks)?;
            written = format!("\nhours written to {}: subwell plan counts them from now on\n", file.display());
        }
        // The review is told all the same, and the sky is written.
        nights.iter().filter_map(not_counted).for_each(|why| note(&why));
    }
    if let Some(campaign) = campaign.filter(|_| several) {
        let text = report::campaign_text(&campaign) + &written;
        return Ok(Answer::document(text, &campaign, campaign.caveats.len()));
    }
    let review = &nights[0].review;
    let mut text = report::review_text(review) + &written;
    if args.write {
        let why = if review.sky_e_per_s.is_some() { FramesError::MoonlitSky } else { FramesError::UnseenSky };
        let sky = review.sky_to_write.as_ref().ok_or(Error::from(why))?;
        files::write_measured_sky(file, &sky.e_per_s, &sky.filter, sky.plane, sky.altitude_deg)?;
        text.push_str(&format!("\nsky written to {}: subwell plan uses it from now on\n", file.display()));
    }
    args.report.write(&mut text, || report::review_page(review))?;
    Ok(Answer::document(text, review, review.caveats.len()))
}

/// Why the hours of a folder are not written; `None` where they are.
fn not_counted(one: &OneNight) -> Option<String> {
    let (folder, night) = (&one.folder, &one.review.night);
    let kept = one.review.subs.iter().any(|sub| sub.keep);
    let why = match (&night.from, &night.to) {
        _ if !kept => "no light of it is kept".into(),
        (Some(from), Some(to)) if one.review.evening().is_none() => format!(
            "its lights are of several evenings, {from} to {to}: give those of each evening in a folder of their own"
        ),
        (Some(_), Some(_)) => return None,
        _ => "no header says of which evening its lights are: let the program that takes them write DATE-OBS".into(),
    };
    Some(format!("the hours of `{folder}` are not counted: {why}"))
}

fn campaign(nights: &[OneNight]) -> Option<Campaign> {
    let reviewed: Vec<Reviewed<'_>> =
        nights.iter().map(|one| Reviewed { folder: &one.folder, night: &one.night, review: &one.review }).collect();
    Campaign::new(&reviewed, &nights.last()?.camera)
}
