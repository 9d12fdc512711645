//! A folder that fills while it is looked at: what is whole is taken, what is still being written is waited for.
//!
//! Nothing here trusts the wall clock, which may be set while a night runs: what a file held is told by its size, its place
//! on the disk and the time stamp that the system gave it, and how long it has been so by a clock that only runs on.

use std::collections::BTreeMap;
use std::fs::Metadata;
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, UNIX_EPOCH};

use super::decoder::Decoder;
use super::error::FileError;
use super::frame_set::{FrameSet, frame_seen, name_of, previews, rows_of};
use super::may_be_a_frame;
use super::preview::Preview;
use super::scan::{Found, scan};
use crate::caveat::Rejected;
use crate::frames::Inventory;

/// Whether a file that was not taken may still become a frame: it is cut off, the system does not give it, or it is called
/// like a frame and its header is still to be written.
fn may_grow(why: &Rejected, path: &Path) -> bool {
    why.code == "unreadable" || why.code == "not-an-image" && may_be_a_frame(path)
}

/// What a file held when it was looked at: equal as long as nothing wrote to it, and, where the system numbers its files,
/// whatever it is called.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FileState(pub [u64; 4]);

impl FileState {
    fn of(path: &Path, there: &Metadata) -> Self {
        let stamp = there.modified().map_or(0, |at| match at.duration_since(UNIX_EPOCH) {
            Ok(since) => since.as_nanos() as u64,
            Err(before) => (before.duration().as_nanos() as u64).wrapping_neg(),
        });
        let [disk, number] = place(path, there);
        Self([there.len(), stamp, disk, number])
    }
}

#[cfg(unix)]
fn place(_: &Path, there: &Metadata) -> [u64; 2] {
    use std::os::unix::fs::MetadataExt;
    [there.dev(), there.ino()]
}

/// Elsewhere a file is known by its name.
#[cfg(not(unix))]
fn place(path: &Path, _: &Metadata) -> [u64; 2] {
    use std::hash::{DefaultHasher, Hash, Hasher};
    let mut hasher = DefaultHasher::new();
    path.hash(&mut hasher);
    [hasher.finish(), 0]
}

/// How long a [`Follow`] waits for files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// So long a file must have stayed as it is before it is read.
    pub settle: Duration,
    /// So long a file that is cut off, or that the system does not give, may still become whole.
    pub cut_off: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self { settle: Duration::from_secs(1), cut_off: Duration::from_secs(60) }
    }
}

/// Folders that are looked at again and again.
#[derive(Debug)]
pub struct Follow {
    roots: Vec<PathBuf>,
    patience: Patience,
    files: BTreeMap<PathBuf, Followed>,
    shown: Vec<(String, FileState)>,
}

/// One file that was seen.
#[derive(Debug)]
struct Followed {
    state: FileState,
    since: Instant,
    preview: Option<Result<Preview, Rejected>>,
}

/// What a look found.
#[derive(Debug)]
pub struct Look {
    /// The frames that are whole.
    pub frames: FrameSet,
    /// Files that are still being written, or cannot be read yet.
    pub waiting: Vec<String>,
    /// Whether anything differs from the last look.
    pub changed: bool,
}

impl Follow {
    /// Follows folders, and files in them, at any depth.
    #[must_use]
    pub fn new(roots: &[PathBuf], patience: Patience) -> Self {
        Self { roots: roots.to_vec(), patience, files: BTreeMap::new(), shown: Vec::new() }
    }

    /// Looks again. A file is taken once it has stayed as it is for a while and is whole; one that stays cut off is listed as
    /// such after a longer while.
    ///
    /// # Errors
    /// When the folder is not there, or a `sidecar.csv` in it cannot be read.
    pub fn look(&mut self, decoder: &Decoder) -> Result<Look, FileError> {
        self.look_with(decoder, self.patience)
    }

    /// Takes everything as it is now, as who looks once would.
    ///
    /// # Errors
    /// As [`Follow::look`].
    pub fn look_at_last(&mut self, decoder: &Decoder) -> Result<Look, FileError> {
        self.look_with(decoder, Patience { settle: Duration::ZERO, cut_off: Duration::ZERO })
    }

    fn look_with(&mut self, decoder: &Decoder, patience: Patience) -> Result<Look, FileError> {
        let mut scan = scan(&self.roots)?;
        let rows = rows_of(&scan, &self.roots)?;
        let now = Instant::now();
        let mut known = BTreeMap::new();
        let mut waiting = Vec::new();
        let mut settled: Vec<Found> = Vec::new();
        for found in std::mem::take(&mut scan.files) {
            // Gone again since the folder was listed: it was renamed, or moved away.
            let Ok(there) = found.path.metadata() else { continue };
            let state = FileState::of(&found.path, &there);
            let before = self.files.remove(&found.path).filter(|before| before.state == state);
            let followed = before.unwrap_or(Followed { state, since: now, preview: None });
            if now - followed.since < patience.settle {
                waiting.push(found.file);
            } else {
                settled.push(found.clone());
            }
            known.insert(found.path, followed);
        }
        self.files = known;
        self.preview(&settled, decoder);
        let mut rejected = std::mem::take(&mut scan.rejected);
        let (mut seen, mut states, mut paths) = (Vec::new(), BTreeMap::new(), BTreeMap::new());
        let (mut shown, mut levels) = (Vec::new(), BTreeMap::new());
        for found in settled {
            let Some(followed) = self.files.get_mut(&found.path) else { continue };
            let may_become_whole = now - followed.since < patience.cut_off;
            match &followed.preview {
                Some(Ok(preview)) => {
                    levels.extend(preview.strip_statistics.map(|strip| (found.file.clone(), strip.mean)));
                    seen.push(frame_seen(&found, preview.clone()));
                }
                Some(Err(why)) if may_become_whole && may_grow(why, &found.path) => {
                    followed.preview = None;
                    waiting.push(found.file);
                    continue;
                }
                Some(Err(why)) => rejected.push(Rejected { file: found.file.clone(), ..why.clone() }),
                None => continue,
            }
            shown.push((found.file.clone(), followed.state));
            states.insert(found.file.clone(), followed.state);
            paths.insert(found.file, found.path);
        }
        shown.extend(rows.iter().map(|row| (format!("{row:?}"), FileState([0; 4]))));
        let changed = shown != self.shown;
        self.shown = shown;
        let inventory = Inventory::new(seen, &rows, &name_of(&scan.root), rejected);
        Ok(Look { frames: FrameSet { inventory, paths, states, levels }, waiting, changed })
    }

    /// Looks into those files that were not looked into since they became what they are.
    fn preview(&mut self, settled: &[Found], decoder: &Decoder) {
        let unseen = |found: &&Found| self.files.get(&found.path).is_some_and(|followed| followed.preview.is_none());
        let unseen: Vec<Found> = settled.iter().filter(unseen).cloned().collect();
        for (found, preview) in unseen.iter().zip(previews(&unseen, decoder)) {
            let Some(followed) = self.files.get_mut(&found.path) else { continue };
            followed.preview = match preview {
                // Moved away in this moment.
                Err(FileError::Disk { source, .. }) if source.kind() == io::ErrorKind::NotFound => None,
                preview => Some(preview.map_err(|error| error.rejected(&found.file))),
            };
        }
    }
}
