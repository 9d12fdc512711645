//! Words in, words out: each command reads its words, asks the library, prints.

mod choosing;
mod decisions;
mod demo;
mod output;
#[cfg(feature = "page")]
mod page;
mod planning;
mod progress;
mod review;
mod schema;
mod shell;
mod signs;
mod sky;
mod spelling;
mod watch;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};
use subwell::camera::CameraProfile;
use subwell::document::{Document, Simulation, Stamp};
use subwell::frames::CfaPattern;
use subwell::measure::{CameraOptions, Folder, FrameSource, Measurement, measure_camera};
use subwell::units::{Celsius, ElectronsPerDn, Micrometres};
use subwell::{files, plan, report};

use output::{Answer, Failure};

const EXIT_CODES: &str = "Exit codes: 0 answered; 1 the input cannot answer; 2 wrong words, or files that cannot be \
                          read as asked; 3 answered with caveats, under --strict.";

/// Knows your camera, plans your night: sub length, count and dither cadence from your own frames.
#[derive(Parser)]
#[command(name = "subwell", version, max_term_width = 80, after_help = EXIT_CODES)]
struct Cli {
    #[command(subcommand)]
    command: Command,
    /// Print one JSON document instead of text, also when something fails
    #[arg(long, global = true)]
    json: bool,
    /// End with exit code 3 when there are caveats
    #[arg(long, global = true)]
    strict: bool,
    /// No progress on the terminal
    #[arg(long, short, global = true)]
    quiet: bool,
}

#[derive(Subcommand)]
enum Command {
    /// The whole job on the sample frames: measures two cameras, plans a night, weighs a cooler
    Demo(ReportArgs),
    /// The calibration frames to take, with times, counts and cautions
    Checklist(ChecklistArgs),
    /// What is in a folder: groups, kinds and why, doubts, what is missing
    Frames {
        /// A folder of frames, any depth; or several folders and files
        #[arg(value_name = "DIR", required = true)]
        dirs: Vec<PathBuf>,
    },
    /// Measures a camera from a folder of bias, flat and dark frames
    Measure(MeasureArgs),
    /// Sky brightness in every scale and, with a night, in electrons; or measured on a light
    Sky(sky::SkyArgs),
    /// Sub length, count and dither cadence for the night in a file
    Plan {
        /// The night: camera, optics, site, filter, target, goal
        night: PathBuf,
        /// Write a report with pictures here (.html), to look at and to print
        #[arg(long, value_name = "FILE")]
        report: Option<PathBuf>,
        /// Write the nights here as a calendar (.ics), an event for each
        #[arg(long, value_name = "FILE.ics")]
        calendar: Option<PathBuf>,
        /// Write the nights here as a table (.csv), a row for each night and filter
        #[arg(long, value_name = "FILE.csv")]
        csv: Option<PathBuf>,
        /// Say everything: limits, dither, calibration frames, gain settings, all doubts
        #[arg(long)]
        all: bool,
        /// Add when to begin: the same plan from each evening of the next four weeks on
        #[arg(long)]
        starts: bool,
        /// Write that here as a table (.csv), a row for each evening
        #[arg(long, value_name = "FILE.csv")]
        starts_csv: Option<PathBuf>,
        /// Overwrite files that are there
        #[arg(long)]
        force: bool,
    },
    /// Is a cooled camera worth it, month by month
    Cooling(decisions::CoolingArgs),
    /// Two nights side by side: hours for the same SNR, and why
    Compare {
        /// The first night, whose goal is asked of both
        a: PathBuf,
        /// The second night
        b: PathBuf,
        #[command(flatten)]
        report: ReportArgs,
    },
    /// The single changes that you could make, by the hours that each saves
    Choices(choosing::ChoicesArgs),
    /// What this rig can reach under this sky, by the hours that it takes
    Targets(choosing::TargetsArgs),
    /// Last night's lights against the plan: what to leave out, what was reached, what to do next
    Review(review::ReviewArgs),
    /// The night while it runs: each new light against the plan, and what is left to the goal
    Watch(watch::WatchArgs),
    /// A commented example of a file that the program reads, or its JSON Schema
    Schema(schema::SchemaArgs),
    /// The planner as a page in the browser, for this folder and on this machine only
    #[cfg(feature = "page")]
    Page(page::PageArgs),
    /// Frames of a made-up sensor with known truth
    Simulate {
        /// The sensor and the frames to write
        sensor: PathBuf,
        /// The folder to write to
        #[arg(long)]
        out: PathBuf,
        /// Write tile-compressed frames (.fits.fz)
        #[arg(long)]
        compress: bool,
        /// Overwrite frames that are there
        #[arg(long)]
        force: bool,
    },
    /// A script that lets a shell complete the words of this program
    Completions {
        /// Which shell
        shell: clap_complete::Shell,
    },
    /// Manual pages, one for each command
    Man(shell::ManArgs),
}

/// Where a report goes.
#[derive(Args)]
struct ReportArgs {
    /// Write a report with pictures here (.html), to look at and to print
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Overwrite a report that is there
    #[arg(long)]
    force: bool,
}

impl ReportArgs {
    /// Refuses before the work, not after it.
    fn check(&self) -> Result<(), Failure> {
        let Some(file) = &self.report else { return Ok(()) };
        named_as_page(file)?;
        refuse_to_overwrite(file, self.force)
    }

    /// Writes the page where one is asked for, and says so below the text.
    fn write(&self, text: &mut String, page: impl FnOnce() -> String) -> Result<(), Failure> {
        let Some(file) = &self.report else { return Ok(()) };
        files::write_whole(file, page().as_bytes(), self.force)?;
        text.push_str(&format!("\nreport written to {}\n", file.display()));
        Ok(())
    }
}

#[derive(Args)]
#[group(multiple = false)]
struct ChecklistArgs {
    /// For a camera that holds a set point (what is listed without an option)
    #[arg(long)]
    cooled: bool,
    /// For a camera as warm as its module
    #[arg(long)]
    uncooled: bool,
    /// In a quarter of an hour, and what that cannot tell
    #[arg(long)]
    quick: bool,
}

#[derive(Args)]
struct MeasureArgs {
    /// A folder of frames, any depth; or several folders and files
    #[arg(value_name = "DIR", required = true)]
    dirs: Vec<PathBuf>,
    /// Write the profile here (TOML; JSON if the name ends in .json)
    #[arg(long)]
    out: Option<PathBuf>,
    /// Write the photon transfer points here, as a table (.csv, or .ecsv with units)
    #[arg(long, value_name = "FILE")]
    ptc: Option<PathBuf>,
    /// Write a report with pictures here (.html), to look at and to print
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// An older or a published profile: what changed since?
    #[arg(long, value_name = "PROFILE")]
    against: Option<PathBuf>,
    /// Believe this gain, for sets without flats
    #[arg(long, value_name = "X", value_parser = gain, allow_negative_numbers = true)]
    gain_e_per_dn: Option<f64>,
    /// Colour pattern of the stored 2 × 2 cell, where the headers lack it
    #[arg(long, value_name = "RGGB", value_parser = pattern)]
    cfa: Option<CfaPattern>,
    /// Sensor temperature in °C, for frames whose headers lack it
    #[arg(long, value_name = "X", value_parser = celsius, allow_negative_numbers = true)]
    sensor_c: Option<f64>,
    /// The side of a pixel in µm as the maker gives it, where the files lack it or are a few percent off
    #[arg(long, value_name = "X", value_parser = pixel)]
    pixel_um: Option<f64>,
    /// The part of the frame to use, in pixels
    #[arg(long, value_name = "X,Y,W,H", value_parser = region, allow_hyphen_values = true)]
    region: Option<[usize; 4]>,
    /// Overwrite files that are there
    #[arg(long)]
    force: bool,
}

fn pixel(word: &str) -> Result<f64, String> {
    let side = word.parse::<f64>().ok().filter(|side| (0.3..=200.0).contains(side));
    side.ok_or_else(|| "the side of a pixel in micrometres is needed, between 0.3 and 200, such as 3.76".into())
}

fn gain(word: &str) -> Result<f64, String> {
    word.parse::<f64>()
        .ok()
        .filter(|gain| (1e-4..=1e4).contains(gain))
        .ok_or_else(|| "electrons per DN are needed, between 0.0001 and 10000, such as 0.8".into())
}

fn celsius(word: &str) -> Result<f64, String> {
    word.parse::<f64>()
        .ok()
        .filter(|celsius| (-150.0..=100.0).contains(celsius))
        .ok_or_else(|| "a temperature in °C is needed, between -150 and 100".into())
}

fn pattern(word: &str) -> Result<CfaPattern, String> {
    CfaPattern::from_name(&word.to_uppercase()).ok_or_else(|| "one of RGGB, BGGR, GRBG, GBRG is needed".into())
}

fn region(word: &str) -> Result<[usize; 4], String> {
    let parts: Result<Vec<usize>, _> = word.split(',').map(|part| part.trim().parse()).collect();
    parts
        .ok()
        .and_then(|parts| parts.try_into().ok())
        .ok_or_else(|| "four whole numbers are needed: left,top,width,height".into())
}

/// Runs the program.
pub(crate) fn run() -> ExitCode {
    if std::env::args_os().len() < 2 {
        return without_words();
    }
    let args = match Cli::try_parse_from(spelling::as_meant(std::env::args_os())) {
        Ok(words) => words,
        Err(error) => return output::wrong_words(error),
    };
    let answer = match &args.command {
        Command::Demo(report) => demo::demo(report, args.quiet),
        Command::Checklist(asked) => checklist(asked),
        Command::Frames { dirs } => frames(dirs, args.quiet),
        Command::Measure(asked) => measure(asked, args.quiet),
        Command::Sky(asked) => sky::sky(asked),
        Command::Plan { night, report, calendar, csv, all, starts, starts_csv, force } => planning::planned(
            night,
            &planning::Files {
                report: report.as_deref(),
                calendar: calendar.as_deref(),
                csv: csv.as_deref(),
                all: *all,
                starts: *starts,
                starts_csv: starts_csv.as_deref(),
            },
            *force,
        ),
        Command::Cooling(asked) => decisions::cooling(asked),
        Command::Compare { a, b, report } => decisions::compare(a, b, report),
        Command::Choices(asked) => choosing::choices(asked),
        Command::Targets(asked) => choosing::targets(asked),
        Command::Review(asked) => review::review(asked, args.quiet),
        Command::Watch(asked) => watch::watch(asked, args.json, args.quiet),
        Command::Schema(asked) => schema::schema(asked),
        #[cfg(feature = "page")]
        Command::Page(asked) => page::page(asked, args.json, args.quiet),
        Command::Simulate { sensor, out, compress, force } => simulated(sensor, out, *compress, *force, args.quiet),
        Command::Completions { shell } => Ok(shell::completions(*shell)),
        Command::Man(asked) => shell::man(asked),
    };
    output::finish(answer, args.json, matches!(args.command, Command::Watch(_)), args.strict)
}

const FIRST_WORDS: &str = "\
subwell says how long each sub should be, how many to take, how often to dither
  subwell demo              the whole job on two sample cameras
  subwell measure FOLDER    your camera, from its bias, dark and flat frames
  subwell plan NIGHT.toml   a night; to plan it in the browser: subwell page
  subwell --help            every command
";

/// Without any word: what to do first.
#[cfg(not(all(windows, feature = "page")))]
fn without_words() -> ExitCode {
    output::hint(FIRST_WORDS)
}

/// Without any word on Windows, where that is a double click: the planner of the folder that the program lies in.
#[cfg(all(windows, feature = "page"))]
fn without_words() -> ExitCode {
    let _ = output::hint(FIRST_WORDS);
    let failed = page::page(&page::PageArgs::default(), false, false);
    let exit = output::finish(failed, false, false, false);
    // The window closes with the program: let its last words be read.
    let _ = std::io::stdin().read_line(&mut String::new());
    exit
}

fn frames(dirs: &[PathBuf], quiet: bool) -> Result<Answer, Failure> {
    let decoder = files::Decoder::this_program()?;
    let folder = Folder::open(dirs, &decoder, &progress::Terminal::new(quiet))?;
    let inventory = folder.inventory();
    Ok(Answer::document(report::frames_text(inventory), &Document::new(inventory), inventory.caveats.len()))
}

fn checklist(args: &ChecklistArgs) -> Result<Answer, Failure> {
    let camera = match (args.uncooled, args.quick) {
        (true, _) => plan::ChecklistFor::Uncooled,
        (_, true) => plan::ChecklistFor::Quick,
        // `--cooled`, or nothing said.
        _ => plan::ChecklistFor::Cooled,
    };
    let list = plan::checklist(camera);
    let mut text = report::checklist_text(&list);
    if !(args.cooled || args.uncooled || args.quick) {
        text.push_str("\nwithout cooler: subwell checklist --uncooled; in a hurry: --quick\n");
    }
    Ok(Answer::document(text, &Document::new(&list), 0))
}

fn measure(args: &MeasureArgs, quiet: bool) -> Result<Answer, Failure> {
    // Refuse before the work, not after it.
    for out in [&args.out, &args.ptc, &args.report].into_iter().flatten() {
        refuse_to_overwrite(out, args.force)?;
    }
    args.report.as_deref().map(named_as_page).transpose()?;
    let table = args.ptc.as_deref().map(table_of_points).transpose()?;
    let other = args.against.as_deref().map(files::read_profile).transpose()?;
    let (decoder, terminal) = (files::Decoder::this_program()?, progress::Terminal::new(quiet));
    let mut options = CameraOptions::default();
    options.gain = args.gain_e_per_dn.map(ElectronsPerDn);
    options.sensor = args.sensor_c.map(Celsius);
    (options.cfa, options.region) = (args.cfa, args.region);
    options.pixel = args.pixel_um.map(Micrometres);
    (options.against, options.progress) = (other.as_ref(), &terminal);
    let folder = Folder::open(&args.dirs, &decoder, &terminal)?;
    let Measurement { profile, stated, .. } = measure_camera(&folder, &options)?;
    let mut text = report::camera_text(&profile);
    text.push_str(&report::stated_text(&stated));
    if let (Some(file), Some(table)) = (&args.ptc, table) {
        files::write_whole(file, table(&profile).as_bytes(), args.force)?;
        text.push_str(&format!("\nphoton transfer points written to {}\n", file.display()));
    }
    if let Some(file) = &args.report {
        files::write_whole(file, report::camera_page(&profile).as_bytes(), args.force)?;
        text.push_str(&format!("\nreport written to {}\n", file.display()));
    }
    if let Some(out) = &args.out {
        files::write_profile(out, &profile, args.force)?;
        text.push_str(&format!(
            "\nwritten to {}\nnext: name it as `profile` in a night file, then subwell plan night.toml\n",
            out.display()
        ));
    }
    Ok(Answer::document(text, &profile, profile.caveats.len()))
}

/// The writer of photon transfer points that the file's name asks for.
fn table_of_points(file: &std::path::Path) -> Result<fn(&CameraProfile) -> String, Failure> {
    let ending = file.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
    match ending.as_str() {
        "csv" => Ok(report::photon_transfer_csv),
        "ecsv" => Ok(report::photon_transfer_ecsv),
        _ => Err(Failure::words(
            &format!("{}: photon transfer points are written as .csv or .ecsv", file.display()),
            "end the name in .csv for a plain table, in .ecsv for one with units",
        )),
    }
}

fn refuse_to_overwrite(out: &std::path::Path, force: bool) -> Result<(), Failure> {
    if !force && out.exists() {
        return Err(files::FileError::Exists { path: out.to_owned() }.into());
    }
    Ok(())
}

/// A report is a page; other endings would open in the wrong program.
fn named_as_page(file: &std::path::Path) -> Result<(), Failure> {
    let ending = file.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
    if ["html", "htm"].contains(&ending.as_str()) {
        return Ok(());
    }
    Err(Failure::words(
        &format!("{}: a report is written as .html", file.display()),
        "end the name in .html; a browser opens it without network, and prints it to paper or PDF",
    ))
}

fn simulated(
    sensor: &std::path::Path,
    out: &std::path::Path,
    compress: bool,
    force: bool,
    quiet: bool,
) -> Result<Answer, Failure> {
    let truth = files::read_sensor(sensor)?;
    let bar = progress::bar("writing frames", truth.frame_count(), quiet);
    let written = files::write_simulation(&truth, out, compress, force, &mut |done, _| bar.set_position(done as u64))?;
    bar.finish_and_clear();
    let text = format!("{written} frames written to {}\nnext: subwell measure {}\n", out.display(), out.display());
    Ok(Answer::document(text, &Simulation { stamp: Stamp::new(), written }, 0))
}
