//! Nights and profiles on disk.

use std::path::Path;

use crate::camera::CameraProfile;
use crate::error::Error;
use crate::plan::Night;
use crate::plan::PlanError;

use super::{FileError, write_whole};

/// The largest text file that is read: a night or profile of a megabyte is none.
const LARGEST_TEXT: u64 = 16 << 20;

/// Reads a night file and the camera profile it names, relative to the night file.
///
/// # Errors
/// When either file cannot be read, or does not hold what it should; the file is named.
pub fn read_night(path: &Path) -> Result<(Night, CameraProfile), Error> {
    let night = Night::from_toml(&text(path)?).map_err(|error| Error::from(error).in_file(path.display().to_string()))?;
    let folder = path.parent().unwrap_or(Path::new("."));
    let Some(profile) = &night.camera.profile else {
        let missing = PlanError::Impossible { key: "profile".into(), why: "under [camera] names no camera profile".into() };
        return Err(Error::from(missing).in_file(path.display().to_string()));
    };
    let camera = read_profile(&folder.join(profile))?;
    Ok((night, camera))
}

/// Reads a camera profile: TOML, or JSON where the name ends so.
///
/// # Errors
/// When the file cannot be read, or is no profile; the file is named.
pub fn read_profile(path: &Path) -> Result<CameraProfile, Error> {
    let text = text(path)?;
    let profile = if is_json(path) { CameraProfile::from_json(&text) } else { CameraProfile::from_toml(&text) };
    profile.map_err(|error| Error::from(error).in_file(path.display().to_string()))
}

/// Writes a camera profile whole or not at all: TOML, or JSON where the name ends so.
///
/// # Errors
/// When the file is there already and `force` is not given, or the disk refuses.
pub fn write_profile(path: &Path, profile: &CameraProfile, force: bool) -> Result<(), Error> {
    let text = if is_json(path) { profile.to_json()? } else { profile.to_toml()? };
    Ok(write_whole(path, text.as_bytes(), force)?)
}

fn is_json(path: &Path) -> bool {
    path.extension().is_some_and(|suffix| suffix.eq_ignore_ascii_case("json"))
}

/// A text file whole, if it is not absurdly large.
///
/// # Errors
/// When it cannot be read, is too large, or is not UTF-8.
pub fn text(path: &Path) -> Result<String, FileError> {
    let disk = |source| FileError::Disk { path: path.to_owned(), source };
    let size = std::fs::metadata(path).map_err(disk)?.len();
    if size > LARGEST_TEXT {
        return Err(disk(std::io::Error::other(format!("{size} bytes are too many for a text file"))));
    }
    std::fs::read_to_string(path).map_err(disk)
}
