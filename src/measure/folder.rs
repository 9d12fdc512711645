//! The frames of folders and files on the disk.

#![expect(clippy::disallowed_types, reason = "this part of the module knows paths; `files` reads them")]

use std::path::{Path, PathBuf};

use ndarray::Array2;

use crate::caveat::Rejected;
use crate::files::{self, Decoder, FileError, FrameSet};
use crate::frames::{Frame, FrameInfo, Inventory};

use super::{Content, FrameSource, Progress};

/// Threads that read ahead; each holds a few frames.
const READERS: usize = 2;

/// What lies in folders, looked at and ready to be measured.
pub struct Folder<'a> {
    set: FrameSet,
    decoder: &'a Decoder,
    name: String,
    is_folder: bool,
}

impl<'a> Folder<'a> {
    /// Reads the header, and a strip of the pixels, of every frame in folders of any depth, or of single files.
    ///
    /// Files that are no raw frames stand in the inventory under `rejected`. Compressed frames and camera raw files are
    /// decoded by worker processes: a program that calls this has [`files::run_worker_if_asked`] as the first line of its
    /// `main`.
    ///
    /// # Errors
    /// When a folder cannot be read, or a `sidecar.csv` in it.
    ///
    /// # Examples
    /// ```no_run
    /// use subwell::files::{Decoder, run_worker_if_asked};
    /// use subwell::measure::{Folder, FrameSource, Silent};
    ///
    /// if run_worker_if_asked() {
    ///     return Ok(());
    /// }
    /// let decoder = Decoder::this_program()?;
    /// let folder = Folder::open(&["calibration"], &decoder, &Silent)?;
    /// for group in &folder.inventory().groups {
    ///     println!("{} frames: {}", group.frames.len(), group.kind);
    /// }
    /// # Ok::<(), subwell::Error>(())
    /// ```
    pub fn open(paths: &[impl AsRef<Path>], decoder: &'a Decoder, progress: &dyn Progress) -> Result<Self, FileError> {
        let paths: Vec<PathBuf> = paths.iter().map(|path| path.as_ref().to_owned()).collect();
        progress.inspecting();
        let set = files::read_headers_of(&paths, decoder);
        progress.inspected();
        let names: Vec<String> = paths.iter().take(3).map(|path| path.display().to_string()).collect();
        let is_folder = paths.len() > 1 || paths.iter().any(|path| path.is_dir());
        Ok(Self { set: set?, decoder, name: names.join(", "), is_folder })
    }
}

impl<'a> Folder<'a> {
    /// What a look at a followed folder found.
    pub(super) fn looked_at(set: FrameSet, decoder: &'a Decoder, name: String) -> Self {
        Self { set, decoder, name, is_folder: true }
    }

    pub(super) fn frames(&self) -> &FrameSet {
        &self.set
    }
}

impl FrameSource for Folder<'_> {
    fn content(&self, info: &FrameInfo) -> Option<Content> {
        self.set.state(info).map(|state| Content(state.0))
    }

    fn inventory(&self) -> &Inventory {
        &self.set.inventory
    }

    fn read(&self, info: &FrameInfo) -> Result<Frame, Rejected> {
        self.set.read(info, self.decoder).map_err(|error| error.rejected(&info.file))
    }

    fn readers(&self) -> usize {
        READERS
    }

    fn recycle(&self, spent: Vec<Array2<u16>>) {
        self.decoder.keep(spent);
    }

    fn name(&self) -> String {
        self.name.clone()
    }

    fn is_folder(&self) -> bool {
        self.is_folder
    }
}

/// A light and its dark, for [`super::measure_sky`].
///
/// # Errors
/// When one of them cannot be read, or is no raw frame.
pub fn read_light_and_dark(light: &Path, dark: &Path, decoder: &Decoder) -> Result<[Frame; 2], FileError> {
    Ok([files::read_one(light, decoder)?, files::read_one(dark, decoder)?])
}
