//! A night and what its text names: the camera's profile and the curves of its filters, from texts that somebody reads.

#![expect(clippy::disallowed_types, reason = "names of texts go by the rules of paths; nothing is read here")]

use std::path::{Path, PathBuf};

use crate::camera::{CameraProfile, ProfileError};
use crate::rig::{RigError, TransmissionCurve};

use super::{Night, NightChoice, NightError};

/// A night with its camera.
type Gathered = (Night, CameraProfile);

/// What is wrong with a text that goes by a name.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum NamedError {
    /// It holds no camera profile.
    #[error("{}: {error}", path.display())]
    Profile {
        /// Its name.
        path: PathBuf,
        /// What is wrong in it.
        error: ProfileError,
    },
    /// It holds no night.
    #[error("{}: {error}", path.display())]
    Night {
        /// Its name.
        path: PathBuf,
        /// What is wrong in it.
        error: NightError,
    },
}

impl NamedError {
    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Profile { .. } => "camera-unusable",
            Self::Night { error, .. } => error.code(),
        }
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Profile { error, .. } => error.hint(),
            Self::Night { error, .. } => error.hint(),
        }
    }
}

/// A night from its text, with the camera profile and the filter curves it names, relative to `path`, where the text stands
/// or will stand. `read` gets the text of a name, or refuses it.
///
/// # Errors
/// When a text does not hold what it should, with its name; and where `read` refuses.
pub fn gathered<E: From<NamedError>>(
    written: &str,
    path: &Path,
    read: &dyn Fn(&Path) -> Result<String, E>,
) -> Result<Gathered, E> {
    beside_camera(Night::from_toml(written).map_err(unusable(path))?, path, read)
}

/// For each of the `[[choices]]` of a night that set keys the night with them and its camera, as if they stood in a text
/// beside it.
///
/// # Errors
/// As [`gathered`].
pub fn gathered_choices<E: From<NamedError>>(
    written: &str,
    path: &Path,
    read: &dyn Fn(&Path) -> Result<String, E>,
) -> Result<Vec<Gathered>, E> {
    let night = Night::from_toml(written).map_err(unusable(path))?;
    let with = |keys| beside_camera(night.with(&keys).map_err(unusable(path))?, path, read);
    night.choices.iter().filter_map(NightChoice::keys).map(with).collect()
}

/// A profile from its text: TOML, or JSON where the name ends so.
///
/// # Errors
/// When it is no profile.
pub fn profile_of(text: &str, path: &Path) -> Result<CameraProfile, NamedError> {
    let profile = if is_json(path) { CameraProfile::from_json(text) } else { CameraProfile::from_toml(text) };
    profile.map_err(|error| NamedError::Profile { path: path.to_owned(), error })
}

/// The names of all texts that a night needs beside its own, its choices' ones too, relative to `path`.
///
/// # Errors
/// When the text holds no night.
pub fn names_in(written: &str, path: &Path) -> Result<Vec<PathBuf>, NamedError> {
    let night = Night::from_toml(written).map_err(unusable(path))?;
    let chosen = night.choices.iter().filter_map(NightChoice::keys).map(|keys| night.with(&keys));
    let mut nights = chosen.collect::<Result<Vec<_>, _>>().map_err(unusable(path))?;
    nights.push(night);
    let named = nights.iter().flat_map(|night| {
        night.camera.profile.iter().chain(night.filters.iter().filter_map(|filter| filter.curve.as_ref()))
    });
    let mut names: Vec<PathBuf> = named.map(|name| beside(path, name)).collect();
    names.sort();
    names.dedup();
    Ok(names)
}

/// Whether a text goes by the name of JSON.
pub(crate) fn is_json(path: &Path) -> bool {
    path.extension().is_some_and(|suffix| suffix.eq_ignore_ascii_case("json"))
}

fn unusable(path: &Path) -> impl Fn(NightError) -> NamedError + Copy {
    move |error| NamedError::Night { path: path.to_owned(), error }
}

/// The night with the camera and the curves that it names.
fn beside_camera<E: From<NamedError>>(
    mut night: Night,
    path: &Path,
    read: &dyn Fn(&Path) -> Result<String, E>,
) -> Result<Gathered, E> {
    for filter in &mut night.filters {
        let Some(file) = filter.curve.clone() else { continue };
        let curve = TransmissionCurve::from_csv(&read(&beside(path, &file))?);
        let no_curve = |why| unusable(path)(NightError::from(RigError::Curve { file, why }));
        filter.transmission_curve = Some(curve.map_err(no_curve)?);
    }
    let Some(profile) = &night.camera.profile else {
        let why = "is missing under [camera]: it names the camera's file".into();
        return Err(unusable(path)(NightError::Impossible { key: "profile".into(), why }).into());
    };
    let named = beside(path, profile);
    let camera = profile_of(&read(&named)?, &named)?;
    Ok((night.beside(&camera), camera))
}

/// A text that another one names, relative to that one.
fn beside(path: &Path, name: &str) -> PathBuf {
    path.parent().unwrap_or(Path::new(".")).join(name)
}
