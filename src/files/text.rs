//! Text files: nights, camera profiles and made-up sensors.

use std::io::Read;
use std::path::{Path, PathBuf};

use crate::camera::{CameraProfile, PlaneName};
use crate::night::{AlreadyHave, NamedError, Night, NightError, gathered, gathered_choices, is_json, profile_of};
use crate::reading::{SyntaxError, check_depth, with_line_ends_of};
#[cfg(feature = "simulate")]
use crate::simulate::{SensorTruth, SimulateError};
use crate::sky::GivenSky;
use crate::stats::Estimate;
use crate::units::{Degrees, ElectronsPerSecond};

use super::open::open_regular;
use super::write::replace_whole;
use super::{FileError, write_whole};

/// The largest text file that is read: a night or profile of 16 MiB is none.
const LARGEST_TEXT: u64 = 16 << 20;

/// What can be wrong with a text file, with the file named.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TextError {
    /// It cannot be read or written.
    #[error(transparent)]
    File(#[from] FileError),
    /// A file that a night names is not there.
    #[error("{error}; {} names it", night.display())]
    NamedAndAbsent {
        /// The night file.
        night: PathBuf,
        /// What the system says of the file.
        error: FileError,
    },
    /// It is text of another encoding.
    #[error("{}: this is no UTF-8 text{}", path.display(), if *utf_16 { " but UTF-16, which some editors call Unicode" } else { "" })]
    Encoding {
        /// The file.
        path: PathBuf,
        /// Whether it is UTF-16.
        utf_16: bool,
    },
    /// It holds no camera profile, or no night.
    #[error(transparent)]
    Named(#[from] NamedError),
    /// It holds no sensor.
    #[cfg(feature = "simulate")]
    #[error("{}: {error}", path.display())]
    Sensor {
        /// The file.
        path: PathBuf,
        /// What is wrong in it.
        error: SimulateError,
    },
}

impl TextError {
    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::File(error) | Self::NamedAndAbsent { error, .. } => error.code(),
            Self::Encoding { .. } => "unreadable",
            Self::Named(error) => error.code(),
            #[cfg(feature = "simulate")]
            Self::Sensor { .. } => "sensor-unusable",
        }
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::File(error) => error.hint().to_owned(),
            Self::NamedAndAbsent { .. } => {
                "correct the name, which is sought beside that file, or make the profile: `subwell measure DIR --out camera.toml`"
                    .into()
            }
            Self::Encoding { .. } => "open it in an editor and save it as UTF-8".into(),
            Self::Named(error) => error.hint(),
            #[cfg(feature = "simulate")]
            Self::Sensor { error, .. } => error.hint(),
        }
    }
}

/// Reads a night file with the camera profile and the filter curves it names, relative to the night file.
///
/// # Errors
/// When a file cannot be read, or does not hold what it should; the file is named.
pub fn read_night(path: &Path) -> Result<(Night, CameraProfile), TextError> {
    gathered(&text(path)?, path, &|named: &Path| named_text(path, named))
}

/// For each of the `[[choices]]` of a night file that set keys the night with them and its camera, as if they stood in a file
/// beside it.
///
/// # Errors
/// When the keys are none of a night, or a file that they name cannot be read.
pub fn read_chosen(path: &Path) -> Result<Vec<(Night, CameraProfile)>, TextError> {
    gathered_choices(&text(path)?, path, &|named: &Path| named_text(path, named))
}

/// Reads a camera profile: TOML, or JSON where the name ends so.
///
/// # Errors
/// When the file cannot be read, or is no profile; the file is named.
pub fn read_profile(path: &Path) -> Result<CameraProfile, TextError> {
    Ok(profile_of(&text(path)?, path)?)
}

/// Reads a made-up sensor.
///
/// # Errors
/// When the file cannot be read, or is no sensor; the file is named.
#[cfg(feature = "simulate")]
pub fn read_sensor(path: &Path) -> Result<SensorTruth, TextError> {
    SensorTruth::from_toml(&text(path)?).map_err(|error| TextError::Sensor { path: path.to_owned(), error })
}

/// Writes a camera profile whole or not at all: TOML, or JSON where the name ends so.
///
/// # Errors
/// When the file is there already and `force` is not given, or the disk refuses.
pub fn write_profile(path: &Path, profile: &CameraProfile, force: bool) -> Result<(), TextError> {
    let unusable = |error| NamedError::Profile { path: path.to_owned(), error };
    if is_named_like_a_frame(path) {
        let error = std::io::Error::other("a profile does not go by the name of a frame: end it in .toml or .json");
        return Err(FileError::Disk { path: path.to_owned(), source: error }.into());
    }
    let text = if is_json(path) { profile.to_json() } else { profile.to_toml() }.map_err(unusable)?;
    Ok(write_whole(path, text.as_bytes(), force)?)
}

/// Whether a file goes by the name of a FITS frame.
pub(super) fn is_named_like_a_frame(path: &Path) -> bool {
    let frames = ["fits", "fit", "fts", "fz", "gz"];
    path.extension().is_some_and(|suffix| frames.contains(&suffix.to_string_lossy().to_lowercase().as_str()))
}

/// Writes a measured sky into a night file as `site.sky`; all else in the file stays as it is.
///
/// # Errors
/// When the file cannot be read or written, or does not hold a night before or after; the file is named.
pub fn write_measured_sky(
    path: &Path,
    e_per_s: &Estimate<ElectronsPerSecond>,
    filter: &str,
    plane: PlaneName,
    altitude: Option<Degrees>,
) -> Result<(), TextError> {
    let mut sky = toml_edit::InlineTable::new();
    sky.insert("e_per_s", estimate_in_toml(&plain(e_per_s)).into());
    sky.insert("filter", filter.into());
    sky.insert("plane", plane.as_str().into());
    if let Some(altitude) = altitude {
        sky.insert("altitude_deg", ((altitude.0 * 10.0).round() / 10.0).into());
    }
    write_one_key(path, "site", "sky", sky)
}

/// Writes stacks that are there into a night file as `[[goal.already]]`: each takes the place of those of the same evening and
/// filter, all else in the file stays as it is.
///
/// # Errors
/// As [`write_measured_sky`].
pub fn write_already(path: &Path, stacks: &[AlreadyHave]) -> Result<(), TextError> {
    change_night(path, |document, syntax| {
        let goal = document.entry("goal").or_insert_with(toml_edit::table);
        if goal.is_inline_table() {
            // Tables cannot stand in one line.
            *goal = std::mem::take(goal).into_table().map_or_else(|item| item, toml_edit::Item::Table);
        }
        let goal = goal.as_table_like_mut().ok_or_else(|| syntax("`goal` is no table".into()))?;
        let none = || toml_edit::Item::ArrayOfTables(toml_edit::ArrayOfTables::new());
        let there = goal.entry("already").or_insert_with(none);
        if let Some(list) = there.as_array().cloned() {
            // `already = [{ … }]` in one line means the same.
            let tables = list.into_iter().filter_map(|one| match one {
                toml_edit::Value::InlineTable(table) => Some(table.into_table()),
                _ => None,
            });
            *there = toml_edit::Item::ArrayOfTables(tables.collect());
        }
        let list =
            there.as_array_of_tables_mut().ok_or_else(|| syntax("`goal.already` is no list of tables".into()))?;
        let written = |table: &toml_edit::Table| {
            let word = |key: &str| table.get(key).and_then(toml_edit::Item::as_str);
            let same = |stack: &AlreadyHave| {
                stack.evening.as_deref() == word("evening") && stack.filter.as_deref() == word("filter")
            };
            word("evening").is_some() && stacks.iter().any(same)
        };
        list.retain(|table| !written(table));
        for stack in stacks {
            let toml = toml::to_string(stack).map_err(|error| syntax(error.to_string()))?;
            let text: toml_edit::DocumentMut =
                toml.parse().map_err(|error: toml_edit::TomlError| syntax(error.to_string()))?;
            let mut table = text.as_table().clone();
            if let Some(sky) = table.remove("sky").and_then(|sky| sky.into_table().ok()) {
                let mut sky = in_line(sky);
                if let Some(GivenSky::Measured { e_per_s, .. }) = &stack.sky {
                    sky.insert("e_per_s", estimate_in_toml(&plain(e_per_s)).into());
                }
                table.insert("sky", toml_edit::value(sky));
            }
            list.push(table);
        }
        Ok(())
    })
}

/// A table in one line, and those in it.
fn in_line(table: toml_edit::Table) -> toml_edit::InlineTable {
    let mut line = toml_edit::InlineTable::new();
    for (key, item) in table {
        match item {
            toml_edit::Item::Table(inner) => drop(line.insert(key, in_line(inner).into())),
            toml_edit::Item::Value(value) => drop(line.insert(key, value)),
            _ => {}
        }
    }
    line
}

/// Writes what stars showed of the typed throughput into a night file as `[optics] throughput_ratio`.
///
/// # Errors
/// As [`write_measured_sky`].
pub fn write_throughput_ratio(path: &Path, ratio: &Estimate<f64>) -> Result<(), TextError> {
    write_one_key(path, "optics", "throughput_ratio", estimate_in_toml(ratio))
}

fn plain(rate: &Estimate<ElectronsPerSecond>) -> Estimate<f64> {
    Estimate { value: rate.value.0, uncertainty: rate.uncertainty.0, ..Estimate::new(0.0, 0.0) }
}

fn estimate_in_toml(estimate: &Estimate<f64>) -> toml_edit::InlineTable {
    let digits = |value: f64| format!("{value:.4e}").parse::<f64>().unwrap_or(value);
    let mut table = toml_edit::InlineTable::new();
    table.insert("value", digits(estimate.value).into());
    table.insert("uncertainty", digits(estimate.uncertainty).into());
    table
}

/// Puts one key of a night file, all else as it stands; comments and line ends too.
fn write_one_key(path: &Path, table: &str, key: &str, value: toml_edit::InlineTable) -> Result<(), TextError> {
    change_night(path, |document, syntax| {
        let entry = document.entry(table).or_insert_with(toml_edit::table);
        let entry = entry.as_table_like_mut().ok_or_else(|| syntax(format!("`{table}` is no table")))?;
        match entry.get_mut(key).and_then(toml_edit::Item::as_value_mut) {
            // A comment behind the old value stays where it is.
            Some(old) => {
                let decor = old.decor().clone();
                *old = value.into();
                *old.decor_mut() = decor;
            }
            None => {
                entry.insert(key, toml_edit::value(value));
            }
        }
        Ok(())
    })
}

/// What is said of a text that is no night.
type Syntax<'a> = &'a dyn Fn(String) -> TextError;

/// Changes a night file; it is written only if it is a night after that.
fn change_night(
    path: &Path,
    change: impl FnOnce(&mut toml_edit::DocumentMut, Syntax<'_>) -> Result<(), TextError>,
) -> Result<(), TextError> {
    let unusable = |error| TextError::from(NamedError::Night { path: path.to_owned(), error });
    let syntax = |message: String| unusable(NightError::Syntax(SyntaxError { message, advice: None }));
    let old = text(path)?;
    check_depth(&old).map_err(|error| unusable(NightError::Syntax(error)))?;
    let mut document: toml_edit::DocumentMut =
        old.parse().map_err(|error: toml_edit::TomlError| syntax(error.to_string()))?;
    change(&mut document, &syntax)?;
    let written = with_line_ends_of(&old, &document.to_string());
    Night::from_toml(&written).map_err(unusable)?;
    Ok(replace_whole(path, written.as_bytes(), old.as_bytes())?)
}

/// A text file whole: UTF-8, of at most 16 MiB.
///
/// # Errors
/// When the file cannot be read, is no regular file, too large or of another encoding; the file is named.
pub fn read_text(path: &Path) -> Result<String, TextError> {
    text(path)
}

/// A text file whole, if it is a file and not absurdly large, whatever length it claims.
/// The text of a file that a night names.
fn named_text(night: &Path, named: &Path) -> Result<String, TextError> {
    text(named).map_err(|error| match error {
        TextError::File(error) if error.is_absent() => TextError::NamedAndAbsent { night: night.to_owned(), error },
        error => error,
    })
}

fn text(path: &Path) -> Result<String, TextError> {
    let disk = |source| FileError::Disk { path: path.to_owned(), source };
    let mut bytes = Vec::new();
    let file = open_regular(path).map_err(disk)?;
    file.take(LARGEST_TEXT + 1).read_to_end(&mut bytes).map_err(disk)?;
    if bytes.len() as u64 > LARGEST_TEXT {
        let what = format!("more than {LARGEST_TEXT} bytes are too many for a text file");
        return Err(disk(std::io::Error::other(what)).into());
    }
    // With its mark, or every other byte of what must be plain letters is 0.
    let halves = bytes.iter().take(64).filter(|byte| **byte == 0).count();
    let utf_16 =
        bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) || halves > bytes.len().min(64) / 3;
    let encoding = || TextError::Encoding { path: path.to_owned(), utf_16 };
    if utf_16 {
        return Err(encoding());
    }
    String::from_utf8(bytes).map_err(|_| encoding())
}
