//! The frames of a folder: all headers at once, then the pixels frame by frame.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use ndarray::Array2;

use super::decoder::{Decoder, cores};
use super::error::{Fault, FileError};
use super::follow::FileState;
use super::open::bytes_of;
use super::preview::{Image, Packing, Preview, packing};
use super::scan::{Found, Scan, scan};
use super::sidecar::overrides;
use super::worker::{Named, Reply, Request};
use crate::caveat::Rejected;
use crate::frames::sidecar::Rows;
use crate::frames::{Frame, FrameInfo, Inventory, Override, Seen};
use crate::units::Dn;

/// A folder's frames: what they are, and where.
#[derive(Debug, Clone)]
pub struct FrameSet {
    /// What is in the folder.
    pub inventory: Inventory,
    pub(super) paths: BTreeMap<String, PathBuf>,
    pub(super) states: BTreeMap<String, FileState>,
    pub(super) levels: BTreeMap<String, Dn>,
}

impl FrameSet {
    /// The files that were not taken.
    #[must_use]
    pub fn rejected(&self) -> &[Rejected] {
        &self.inventory.rejected
    }

    /// Where a frame of this set lies on the disk.
    #[must_use]
    pub fn path(&self, info: &FrameInfo) -> Option<&Path> {
        self.paths.get(&info.file).map(PathBuf::as_path)
    }

    /// What the file of a frame held when it was looked at, if this set came from a [`super::Follow`].
    #[must_use]
    pub fn state(&self, info: &FrameInfo) -> Option<FileState> {
        self.states.get(&info.file).copied()
    }

    /// What every file held that was looked at, left out ones too.
    pub fn states(&self) -> impl Iterator<Item = (&String, FileState)> {
        self.states.iter().map(|(file, state)| (file, *state))
    }

    /// The mean of a strip of a frame, if this set came from a [`super::Follow`].
    #[must_use]
    pub fn level(&self, info: &FrameInfo) -> Option<Dn> {
        self.levels.get(&info.file).copied()
    }

    /// Reads one frame of this set; frames may be read on several threads at once.
    ///
    /// # Errors
    /// As [`read_frame`]; a frame that is not of this set is not found on the disk.
    pub fn read(&self, info: &FrameInfo, decoder: &Decoder) -> Result<Frame, FileError> {
        read_frame(self.path(info).unwrap_or(Path::new(&info.file)), info, decoder)
    }
}

/// Reads the header, and a strip of the pixels, of every frame in a folder (or of one file).
///
/// Files that are no raw frames are listed in the inventory under `rejected`; `sidecar.csv` files override headers.
///
/// # Errors
/// When the folder cannot be read, or a `sidecar.csv` in it.
pub fn read_headers(root: &Path, decoder: &Decoder) -> Result<FrameSet, FileError> {
    read_headers_of(&[root.to_owned()], decoder)
}

/// The same for several folders and files at once.
///
/// # Errors
/// As [`read_headers`].
pub fn read_headers_of(roots: &[PathBuf], decoder: &Decoder) -> Result<FrameSet, FileError> {
    let scan = scan(roots)?;
    let rows = rows_of(&scan, roots)?;
    let mut rejected = scan.rejected;
    let mut seen = Vec::new();
    for (found, preview) in scan.files.iter().zip(previews(&scan.files, decoder)) {
        match preview {
            Ok(preview) => seen.push(frame_seen(found, preview)),
            Err(error) => rejected.push(error.rejected(&found.file)),
        }
    }
    let inventory = Inventory::new(seen, &rows, &name_of(&scan.root), rejected);
    let paths = scan.files.into_iter().map(|found| (found.file, found.path)).collect();
    Ok(FrameSet { inventory, paths, states: BTreeMap::new(), levels: BTreeMap::new() })
}

/// What the sidecars of a folder say.
pub(super) fn rows_of(scan: &Scan, roots: &[PathBuf]) -> Result<Vec<Override>, FileError> {
    let mut rows = Vec::new();
    for found in &scan.sidecars {
        rows.extend(overrides_in(found)?);
    }
    if roots.len() > 1 || roots.iter().any(|root| root.is_file()) {
        // Who gives some files of a folder knows that its sidecar tells of others too.
        let mut meant = Rows::new(&rows).meant(scan.files.iter().map(|found| found.file.as_str())).into_iter();
        rows.retain(|_| meant.next().unwrap_or(true));
    }
    Ok(rows)
}

/// Reads the one frame at `path`, header and pixels.
///
/// # Errors
/// As [`read_frame`], or when the file does not say what it was taken for and how long it was exposed.
pub fn read_one(path: &Path, decoder: &Decoder) -> Result<Frame, FileError> {
    let set = read_headers(path, decoder)?;
    let Some(info) = set.inventory.frames().next() else {
        return Err(set
            .rejected()
            .first()
            .map_or_else(|| Fault::NotRaw("no frame in it".into()).at(path), |file| of_rejected(file, path)));
    };
    set.read(info, decoder)
}

/// What a frame may leave unsaid that it is left out for.
const UNSAID: [&str; 3] = ["no-exposure", "unknown-kind", "unknown-gain"];

/// The error about one file that was left out.
fn of_rejected(file: &Rejected, path: &Path) -> FileError {
    let (path, what) = (path.to_owned(), file.reason.clone());
    if let Some(code) = UNSAID.into_iter().find(|code| *code == file.code) {
        return FileError::Unsaid { path, what, code };
    }
    match file.code.as_str() {
        "not-an-image" => FileError::NotAnImage { path, what },
        "unsupported" => FileError::Unsupported { path, what },
        "over-limit" => FileError::TooLarge { path, what },
        "unreadable" => FileError::Damaged { path, what },
        _ => FileError::NotRaw { path, why: what },
    }
}

pub(super) fn frame_seen(found: &Found, preview: Preview) -> Seen {
    let Preview { cards, width, height, strip_statistics } = preview;
    Seen { file: found.file.clone(), cards, width, height, strip_statistics }
}

pub(super) fn name_of(root: &Path) -> String {
    let folder = fs::canonicalize(root).unwrap_or_else(|_| root.to_owned());
    let folder = if folder.is_file() { folder.parent().map(Path::to_owned).unwrap_or_default() } else { folder };
    folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// The rows of a sidecar, their files named from the folder asked about.
fn overrides_in(found: &Found) -> Result<Vec<Override>, FileError> {
    let bytes = bytes_of(&found.path).map_err(|error| Fault::from(error).at(&found.path))?;
    let wrong = |source| FileError::Sidecar { path: found.path.clone(), source };
    let mut rows = overrides(&bytes).map_err(wrong)?;
    if let Some((folder, _)) = found.file.rsplit_once('/') {
        rows.iter_mut().for_each(|row| row.file = format!("{folder}/{}", row.file));
    }
    Ok(rows)
}

/// A look at each file, several at a time.
pub(super) fn previews(files: &[Found], decoder: &Decoder) -> Vec<Result<Preview, FileError>> {
    let next = AtomicUsize::new(0);
    let work = || {
        let take = || Some(next.fetch_add(1, Ordering::Relaxed)).filter(|at| *at < files.len());
        std::iter::from_fn(take).map(|at| (at, preview(&files[at].path, decoder))).collect::<Vec<_>>()
    };
    let mut previews: Vec<_> = thread::scope(|scope| {
        let threads: Vec<_> = (1..cores().min(files.len())).map(|_| scope.spawn(work)).collect();
        let mut done = work();
        // A thread that panicked would leave its files out; its panic is passed on instead.
        done.extend(
            threads
                .into_iter()
                .flat_map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))),
        );
        done
    });
    previews.sort_by_key(|(at, _)| *at);
    previews.into_iter().map(|(_, preview)| preview).collect()
}

fn preview(path: &Path, decoder: &Decoder) -> Result<Preview, FileError> {
    match packing(path).map_err(|fault| fault.at(path))? {
        Packing::Plain(opened) => opened.preview().map_err(|fault| fault.at(path)),
        Packing::Packed => match decoder.ask(&Request::Preview(absolute(path)?), path)? {
            Reply::Preview(preview) => Ok(*preview),
            Reply::Pixels(_) | Reply::Fault(_) => Err(another_answer(path)),
        },
    }
}

/// Reads all pixels of the frame at `path`.
///
/// # Errors
/// When the file cannot be read, is damaged or no raw frame, or has another size than `info` says.
pub fn read_frame(path: &Path, info: &FrameInfo, decoder: &Decoder) -> Result<Frame, FileError> {
    let Image { width, height, pixels } = match packing(path).map_err(|fault| fault.at(path))? {
        Packing::Plain(opened) => opened.pixels(decoder.memory()).map_err(|fault| fault.at(path))?,
        Packing::Packed => match decoder.ask(&Request::Pixels(absolute(path)?), path)? {
            Reply::Pixels(image) => image,
            Reply::Preview(_) | Reply::Fault(_) => return Err(another_answer(path)),
        },
    };
    if (width, height) != (info.width, info.height) {
        let was = format!("{} x {}", info.width, info.height);
        return Err(Fault::Damaged(format!("it has {width} x {height} pixels, its header said {was}")).at(path));
    }
    let pixels = Array2::from_shape_vec((height, width), pixels);
    let pixels = pixels.map_err(|_| Fault::Damaged("its pixels do not fill its rows".into()).at(path))?;
    Ok(Frame { info: info.clone(), pixels })
}

fn absolute(path: &Path) -> Result<Named, FileError> {
    std::path::absolute(path).map(Named::new).map_err(|source| FileError::Disk { path: path.to_owned(), source })
}

fn another_answer(path: &Path) -> FileError {
    Fault::Damaged("the decoder answered something else".into()).at(path)
}
