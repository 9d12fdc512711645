//! `subwell watch`: the night while it runs, a line for each light.

use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use clap::Args;
use subwell::files::{self, Decoder, Patience, Wake};
use subwell::measure::{ReviewOptions, Silent, Watch};
use subwell::report::{json_value, review_text, watch_head, watch_line, watch_summary};
use subwell::review::{Said, WatchLine};

use super::output::{Answer, Failure};
use super::progress::Terminal;
use super::signs;

/// Of more lights than this at once only the stacks are said: the night was begun already.
const MANY_AT_ONCE: usize = 12;

#[derive(Args)]
pub(super) struct WatchArgs {
    /// The folder that the night's lights come into, at any depth; nothing is written to it
    dir: PathBuf,
    /// The night that was planned
    #[arg(long, value_name = "night.toml")]
    night: PathBuf,
    /// Ring the terminal's bell with each word that is worth one; lights are quiet
    #[arg(long)]
    bell: bool,
    /// End, with the summary, when no new file came for so many minutes; left out, Ctrl-C ends it
    #[arg(long, value_name = "MIN", value_parser = minutes)]
    end_after: Option<f64>,
    /// Seconds that a file must have stayed as it is before it is read
    #[arg(long, value_name = "S", default_value = "1", value_parser = seconds, hide = true)]
    settle_s: f64,
}

fn minutes(word: &str) -> Result<f64, String> {
    let minutes = word.parse::<f64>().ok().filter(|minutes| (0.001..=1e5).contains(minutes));
    minutes.ok_or_else(|| "minutes are needed, more than 0, such as 30".into())
}

fn seconds(word: &str) -> Result<f64, String> {
    let seconds = word.parse::<f64>().ok().filter(|seconds| (0.0..=3600.0).contains(seconds));
    seconds.ok_or_else(|| "seconds are needed, from 0 to 3600".into())
}

/// Answers `subwell watch`: says line after line, and at the end what `review` says.
pub(super) fn watch(args: &WatchArgs, json: bool, quiet: bool) -> Result<Answer, Failure> {
    let (night, camera) = files::read_night(&args.night)?;
    let decoder = Decoder::this_program()?;
    let patience = Patience { settle: Duration::from_secs_f64(args.settle_s), ..Patience::default() };
    let folders = [args.dir.clone()];
    let mut watch = Watch::new(&folders, &night, &camera, &decoder, patience)?;
    let mut wake = Wake::new(&folders);
    let ended = Arc::new(AtomicBool::new(false));
    let (flag, waker) = (Arc::clone(&ended), wake.sender());
    // Without a handler Ctrl-C ends the program without its summary, and nothing is lost by that.
    let _ = ctrlc::set_handler(move || {
        flag.store(true, Ordering::Relaxed);
        let _ = waker.send(());
    });
    let mut voice = Voice { json, bell: args.bell && io::stdout().is_terminal(), headed: false, broken: None };
    let terminal = Terminal::new(quiet);
    let mut options = ReviewOptions::default();
    // The first look may find a night's worth.
    options.progress = &terminal;
    let mut newest = Instant::now();
    let mut away = false;
    while !ended.load(Ordering::Relaxed) && !voice.is_gone() {
        let said = watch.look(&options)?;
        if !said.is_empty() {
            newest = Instant::now();
            options.progress = &Silent;
        }
        voice.say(&watch, &said);
        if args.end_after.is_some_and(|minutes| newest.elapsed().as_secs_f64() > 60.0 * minutes && !watch.is_waiting())
        {
            break;
        }
        if away && !watch.is_gone() {
            wake.attend();
        }
        away = watch.is_gone();
        let most = if watch.is_waiting() {
            patience.settle.clamp(Duration::from_millis(20), Duration::from_secs(1))
        } else {
            Duration::from_secs(10)
        };
        let most = args.end_after.map_or(most, |minutes| most.min(Duration::from_secs_f64(30.0 * minutes)));
        wake.wait(most);
    }
    options.progress = &Silent;
    let review = watch.finish(&options)?;
    Ok(Answer::document(format!("\n{}", review_text(review)), review, review.caveats.len()))
}

/// Says what is new: to people a line each, to programs a line of JSON each.
struct Voice {
    json: bool,
    bell: bool,
    /// Whether the columns have their heads.
    headed: bool,
    /// Why nothing more can be said.
    broken: Option<io::Error>,
}

impl Voice {
    /// Whether nobody listens any more.
    fn is_gone(&self) -> bool {
        self.broken.as_ref().is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe)
    }

    fn say(&mut self, watch: &Watch<'_>, said: &[Said]) {
        if said.is_empty() {
            return;
        }
        let mut text = String::new();
        if self.json {
            for one in said {
                let line = serde_json::to_string(&json_value(&WatchLine::from(one.clone()))).unwrap_or_default();
                text.push_str(&signs::fit_json(&line));
                text.push('\n');
            }
        } else {
            let lights = said.iter().filter(|one| matches!(one, Said::Sub(_))).count();
            if lights > MANY_AT_ONCE
                && let Some(review) = watch.review()
            {
                text.push_str(&signs::fit_for_output(&watch_summary(lights, &watch.running().stacks(review))));
            }
            let shown = |one: &&Said| lights <= MANY_AT_ONCE || matches!(one, Said::Word(_));
            if !self.headed && said.iter().filter(shown).any(|one| matches!(one, Said::Sub(_))) {
                self.headed = true;
                text.push_str(&signs::fit_for_output(watch_head()));
            }
            for one in said.iter().filter(shown) {
                text.push_str(&signs::fit_for_output(&watch_line(one)));
            }
            if self.bell && said.iter().any(|one| matches!(one, Said::Word(_))) {
                text.push('\u{7}');
            }
        }
        let mut stdout = anstream::stdout().lock();
        if let Err(error) = stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()) {
            // A full disk is said once; the watch goes on, and the summary may find room again.
            if self.broken.is_none() && error.kind() != io::ErrorKind::BrokenPipe {
                let _ = writeln!(anstream::stderr().lock(), "error: a line could not be written: {error}");
            }
            self.broken = Some(error);
        }
    }
}
