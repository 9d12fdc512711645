//! `subwell plan`: the plan, and the files that it is asked to write.

use std::path::Path;
use std::time::SystemTime;

use subwell::{files, plan, report};

use super::output::{Answer, Failure, note};
use super::{named_as_page, refuse_to_overwrite};

/// Where to write what.
pub(super) struct Files<'a> {
    pub(super) report: Option<&'a Path>,
    pub(super) calendar: Option<&'a Path>,
    pub(super) csv: Option<&'a Path>,
    /// Whether everything is to be said.
    pub(super) all: bool,
    /// Whether the evenings to begin on are asked for, and where their table goes.
    pub(super) starts: bool,
    pub(super) starts_csv: Option<&'a Path>,
}

/// Answers `subwell plan`.
pub(super) fn planned(night: &Path, asked: &Files<'_>, force: bool) -> Result<Answer, Failure> {
    // Refuse before the work, not after it.
    asked.report.map(named_as_page).transpose()?;
    asked.calendar.map(|file| named(file, "ics", "a calendar")).transpose()?;
    asked.csv.map(|file| named(file, "csv", "a table of nights")).transpose()?;
    asked.starts_csv.map(|file| named(file, "csv", "a table of evenings")).transpose()?;
    for file in [asked.report, asked.calendar, asked.csv, asked.starts_csv].into_iter().flatten() {
        refuse_to_overwrite(file, force)?;
    }
    let file = night;
    let (night, camera) = files::read_night(file)?;
    let mut plan = plan::plan(&night, &camera).map_err(|error| Failure::from(error).about(file))?;
    let mut text = if asked.all { report::plan_text(&plan) } else { report::plan_summary(&plan) };
    if asked.starts || asked.starts_csv.is_some() {
        let starts = plan::starts(&night, &camera)?.ok_or_else(Failure::no_nights)?;
        text.push_str(&report::starts_text(&starts));
        if let Some(schedule) = &mut plan.schedule {
            schedule.starts = Some(starts);
        }
    }
    // All are made before the first is written.
    let mut written = Vec::new();
    if let Some(file) = asked.report {
        let searches = plan::searches(&night, &camera)?;
        written.push((file, "report", report::plan_page(&plan, &searches)));
    }
    if let Some(file) = asked.calendar {
        let target = night.target.name.as_deref().unwrap_or("deep-sky night");
        written.push((file, "calendar", report::schedule_icalendar(&plan, target).ok_or_else(Failure::no_nights)?));
    }
    if let Some(file) = asked.csv {
        written.push((file, "table of nights", report::schedule_csv(&plan).ok_or_else(Failure::no_nights)?));
    }
    if let (Some(file), Some(starts)) = (asked.starts_csv, plan.schedule.as_ref().and_then(|s| s.starts.as_ref())) {
        written.push((file, "table of evenings", report::starts_csv(starts)));
    }
    for (file, what, content) in written {
        files::write_whole(file, content.as_bytes(), force)?;
        text.push_str(&format!("\n{what} written to {}\n", file.display()));
    }
    if let Some(night) = plan.night.as_ref().filter(|night| has_passed(&night.date, night.utc_offset_h)) {
        let date = &night.date;
        note(&format!(
            "the night of {date} has passed, and the Moon and the heights are those of then: write another date under [goal]"
        ));
    }
    Ok(Answer::document(text, &plan, plan.caveats.len()))
}

/// The modified Julian date at which the computer's clock begins, 1970-01-01.
const UNIX_EPOCH_MJD: f64 = 40_587.0;
/// Noon after the night of a date, in hours after its midnight.
const NOON_AFTER_H: f64 = 36.0;

/// Whether the night of a local date is over.
fn has_passed(date: &str, utc_offset_h: f64) -> bool {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH);
    let now = since.map_or(0.0, |since| UNIX_EPOCH_MJD + since.as_secs_f64() / 86_400.0);
    subwell::sky::night::Date::parse(date).is_ok_and(|date| date.at(NOON_AFTER_H, utc_offset_h).0 < now)
}

pub(super) fn named(file: &Path, ending: &str, what: &str) -> Result<(), Failure> {
    let found = file.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
    if found == ending {
        return Ok(());
    }
    let message = format!("{}: {what} is written as .{ending}", file.display());
    Err(Failure::words(&message, &format!("end the name in .{ending}")))
}
