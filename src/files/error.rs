//! What can go wrong with a file, by who is at fault.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::caveat::Rejected;
use crate::frames::{SidecarError, names};

/// Why a file cannot be read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FileError {
    /// The disk or the system refuses.
    #[error("{}: {}", path.display(), if is_absent(source) { "there is no such file or folder".to_owned() } else { source.to_string() })]
    Disk {
        /// The file or folder.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The file is not what its own header says.
    #[error("{}: {what}", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        what: String,
    },
    /// There is no image in it.
    #[error("{}: {what}", path.display())]
    NotAnImage {
        /// The file.
        path: PathBuf,
        /// What it is instead.
        what: String,
    },
    /// An image, but not the counts of one frame as the camera gave them.
    #[error("{}: not a raw frame: {why}", path.display())]
    NotRaw {
        /// The file.
        path: PathBuf,
        /// How that shows.
        why: String,
    },
    /// A frame that does not say what is needed of it.
    #[error("{}: {what}", path.display())]
    Unsaid {
        /// The file.
        path: PathBuf,
        /// What it does not say.
        what: String,
        /// The fixed word for it.
        code: &'static str,
    },
    /// The file is in order, the program cannot read it.
    #[error("{}: {what}", path.display())]
    Unsupported {
        /// The file.
        path: PathBuf,
        /// What the program does not know.
        what: String,
    },
    /// The table in which the photographer corrects headers cannot be read.
    #[error("{}: {source}", path.display())]
    Sidecar {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: SidecarError,
    },
    /// More than the program takes.
    #[error("{}: {what}", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// How large it is, and the limit.
        what: String,
    },
    /// The program that decodes compressed files cannot be started.
    #[error("the decoder {} cannot be started: {source}", program.display())]
    NoDecoder {
        /// The program.
        program: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// Something is there already.
    #[error("{} exists already", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// Somebody saw to it that it is not written to.
    #[error("{} is read-only: it is not replaced", path.display())]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// Another program saved something there since it was read.
    #[error("{} was changed by another program meanwhile: it was left so{}", path.display(), kept_words(kept.as_deref()))]
    ChangedMeanwhile {
        /// The file.
        path: PathBuf,
        /// Where the text lies that found no place.
        kept: Option<PathBuf>,
    },
}

fn kept_words(kept: Option<&Path>) -> String {
    kept.map_or_else(String::new, |kept| format!("; what was not saved is in {}", kept.display()))
}

/// Whether nothing is there by that name.
fn is_absent(source: &io::Error) -> bool {
    source.kind() == io::ErrorKind::NotFound
}

/// Whether a file's folder is not there either.
fn lacks_folder(path: &Path) -> bool {
    path.parent().is_some_and(|folder| !folder.as_os_str().is_empty() && !folder.exists())
}

impl FileError {
    /// Whether there is no such file.
    pub(super) fn is_absent(&self) -> bool {
        matches!(self, Self::Disk { source, .. } if is_absent(source))
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Disk { path, source } if is_absent(source) && lacks_folder(path) => {
                "the folder in its name does not exist: make it, or correct the name"
            }
            Self::Disk { source, .. } if is_absent(source) => "check the name, and the folder that it is sought from",
            Self::Unsaid { .. } => names::ADVICE,
            Self::Disk { .. } => "check that the path is right and that you may read or write there",
            Self::Damaged { .. } => "copy the file from the camera's computer again, or leave it out",
            Self::NotAnImage { .. } => "give FITS frames as the capture program wrote them, or the camera's raw files",
            Self::NotRaw { .. } => {
                "give single frames as they came from the camera: no masters, stacks or calibrated frames"
            }
            Self::Unsupported { .. } => {
                "save the frame as plain or losslessly compressed FITS, or convert it to DNG without loss"
            }
            Self::Sidecar { source: SidecarError::TooManyValues { .. }, .. } => {
                "put quotes around a value that holds a comma, as in \"-9,5\", or part all columns with semicolons"
            }
            Self::Sidecar { .. } => {
                "its first line names the columns, of file, kind, exposure_s, sensor_c, gain_setting, pixel_um; a time is \
                 seconds or a fraction such as 1/100"
            }
            Self::TooLarge { .. } => "leave the file out; no camera frame is as large",
            Self::NoDecoder { .. } => "unpack the frames to plain FITS, or install the program again",
            Self::Exists { .. } => "give another name, or --force to replace it",
            Self::ReadOnly { .. } => "give another name, or allow it to be written",
            Self::ChangedMeanwhile { .. } => "look at what is there now, then ask again",
        }
    }

    /// The fixed word for it in a list of rejected files.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Unsaid { code, .. } => code,
            Self::NotRaw { .. } => "not-raw",
            Self::NotAnImage { .. } => "not-an-image",
            Self::Unsupported { .. } => "unsupported",
            Self::TooLarge { .. } => "over-limit",
            Self::Exists { .. } => "exists",
            Self::ReadOnly { .. } => "read-only",
            Self::ChangedMeanwhile { .. } => "changed-on-disk",
            _ => "unreadable",
        }
    }

    /// The same as an entry in a list of rejected files, under the name that is shown.
    #[must_use]
    pub fn rejected(&self, file: &str) -> Rejected {
        let reason = match self {
            Self::Disk { source, .. } => source.to_string(),
            Self::NotRaw { why: reason, .. }
            | Self::Damaged { what: reason, .. }
            | Self::NotAnImage { what: reason, .. }
            | Self::Unsaid { what: reason, .. }
            | Self::Unsupported { what: reason, .. }
            | Self::TooLarge { what: reason, .. } => reason.clone(),
            Self::NoDecoder { .. }
            | Self::Exists { .. }
            | Self::ReadOnly { .. }
            | Self::ChangedMeanwhile { .. }
            | Self::Sidecar { .. } => self.to_string(),
        };
        Rejected { file: file.to_owned(), code: self.code().to_owned(), reason }
    }
}

/// A fault before its path is known; it can cross from a worker process.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum Fault {
    Disk(String),
    Damaged(String),
    NotAnImage(String),
    NotRaw(String),
    Unsupported(String),
    TooLarge(String),
}

impl Fault {
    /// The error about the file at `path`.
    pub(super) fn at(self, path: &Path) -> FileError {
        let path = path.to_owned();
        match self {
            Self::Disk(what) => FileError::Disk { path, source: io::Error::other(what) },
            Self::Damaged(what) => FileError::Damaged { path, what },
            Self::NotAnImage(what) => FileError::NotAnImage { path, what },
            Self::NotRaw(why) => FileError::NotRaw { path, why },
            Self::Unsupported(what) => FileError::Unsupported { path, what },
            Self::TooLarge(what) => FileError::TooLarge { path, what },
        }
    }
}

impl From<io::Error> for Fault {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::UnexpectedEof => Self::Damaged("the file ends too early: it is cut off".into()),
            _ => Self::Disk(error.to_string()),
        }
    }
}
