//! Which files of a folder may be frames, and what they start with.

use std::collections::{BTreeSet, HashMap, HashSet, VecDeque};
use std::ffi::{OsStr, OsString};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use super::error::{Fault, FileError};
use super::open::open_regular;
use crate::caveat::Rejected;
use crate::frames::natural_order;

/// The name of the file in which the photographer corrects headers.
pub(super) const SIDECAR: &str = "sidecar.csv";

/// What a folder holds.
#[derive(Debug, Default)]
pub(super) struct Scan {
    /// From where on names are shown.
    pub(super) root: PathBuf,
    /// Files that may be frames, in natural order of their shown names.
    pub(super) files: Vec<Found>,
    /// Sidecars.
    pub(super) sidecars: Vec<Found>,
    /// What is no file, or cannot be reached.
    pub(super) rejected: Vec<Rejected>,
    /// Where the folders really lie that were looked through.
    seen: HashSet<PathBuf>,
}

/// A folder by the way that led to it, and where it really lies.
struct Folder {
    path: PathBuf,
    real: PathBuf,
}

/// A file and the name it is shown by.
#[derive(Debug, Clone)]
pub(super) struct Found {
    /// Relative to the folder asked about, with `/`.
    pub(super) file: String,
    /// Where it is.
    pub(super) path: PathBuf,
}

/// Looks through folders at any depth, and at files; links are followed, but to each folder once; hidden files and
/// `*.toml` are passed over. One folder or file shows names from itself on, several from the folder that holds them all.
pub(super) fn scan(roots: &[PathBuf]) -> Result<Scan, FileError> {
    let mut scan = Scan::default();
    if let [root] = roots {
        scan.walk(root, root)?;
        scan.root.clone_from(root);
        let beside = parent(root).join(SIDECAR);
        if root.is_file() && beside.is_file() && scan.sidecars.is_empty() {
            scan.sidecars.push(Found { file: SIDECAR.into(), path: beside });
        }
    } else {
        let places = roots.iter().map(|root| absolute(root)).collect::<Result<Vec<_>, _>>()?;
        scan.root = common(&places);
        for place in &places {
            scan.walk(place, &scan.root.clone())?;
        }
        scan.add_sidecars_beside(&places);
    }
    scan.files.sort_by(|a, b| natural_order(&a.file, &b.file).then_with(|| a.path.cmp(&b.path)));
    // A file given by itself and again with its folder is one file.
    scan.files.dedup_by(|a, b| a.path == b.path);
    tell_apart(&mut scan.files);
    Ok(scan)
}

fn absolute(path: &Path) -> Result<PathBuf, FileError> {
    std::path::absolute(path).map_err(|source| FileError::Disk { path: path.to_owned(), source })
}

/// The innermost folder in which all of them lie.
fn common(places: &[PathBuf]) -> PathBuf {
    let folder = |place: &Path| if place.is_dir() { place.to_owned() } else { parent(place) };
    let mut folders = places.iter().map(|place| folder(place));
    let first = folders.next().unwrap_or_default();
    folders.fold(first, |common, folder| {
        let shared = common.components().zip(folder.components()).take_while(|(a, b)| a == b);
        shared.map(|(part, _)| part).collect()
    })
}

fn parent(file: &Path) -> PathBuf {
    file.parent().map(Path::to_owned).unwrap_or_default()
}

/// Names that are shown alike, since they differ in bytes that cannot be shown, get a number: a file is known by its name.
fn tell_apart(files: &mut [Found]) {
    let mut taken: HashSet<String> = HashSet::with_capacity(files.len());
    let mut numbers: HashMap<String, usize> = HashMap::new();
    for found in files {
        let shown = found.file.clone();
        while !taken.insert(found.file.clone()) {
            let number = numbers.entry(shown.clone()).or_insert(1);
            *number += 1;
            found.file = format!("{shown} ({number})");
        }
    }
}

impl Scan {
    /// Adds what lies at and below `start`: first what is really there, then what links lead to. A folder is known by where
    /// it really lies, and looked through once, however many ways lead to it.
    fn walk(&mut self, start: &Path, root: &Path) -> Result<(), FileError> {
        let disk = |source| FileError::Disk { path: start.to_owned(), source };
        let there = std::fs::metadata(start).map_err(disk)?;
        if !there.is_dir() {
            self.add(root, start.to_owned(), there.is_file());
            return Ok(());
        }
        std::fs::read_dir(start).map_err(disk)?;
        let mut linked = VecDeque::from([start.to_owned()]);
        while let Some(path) = linked.pop_front() {
            let real = std::fs::canonicalize(&path).map_err(disk)?;
            let mut folders = vec![Folder { path, real }];
            while let Some(folder) = folders.pop() {
                if !self.seen.insert(folder.real.clone()) {
                    continue;
                }
                for name in self.names_in(&folder.path, root) {
                    let path = folder.path.join(&name);
                    match path.symlink_metadata() {
                        Ok(entry) if entry.is_dir() => folders.push(Folder { path, real: folder.real.join(name) }),
                        Ok(entry) if !entry.is_symlink() => self.add(root, path, entry.is_file()),
                        Ok(_) => linked.extend(self.folder_behind(&folder, path, root)),
                        Err(error) => self.reject(root, &path, error.to_string()),
                    }
                }
            }
        }
        Ok(())
    }

    /// The names in a folder, in their order.
    fn names_in(&mut self, folder: &Path, root: &Path) -> Vec<OsString> {
        let mut names = Vec::new();
        let entries = std::fs::read_dir(folder)
            .and_then(|mut entries| entries.try_for_each(|entry| entry.map(|entry| names.push(entry.file_name()))));
        if let Err(error) = entries {
            self.reject(root, folder, error.to_string());
        }
        names.retain(|name| is_shown(name));
        names.sort();
        names
    }

    /// The link, if it leads to a folder that it does not lie in; what it leads to otherwise is added.
    fn folder_behind(&mut self, within: &Folder, link: PathBuf, root: &Path) -> Option<PathBuf> {
        match std::fs::metadata(&link) {
            Ok(there) if there.is_dir() => {
                if std::fs::canonicalize(&link).is_ok_and(|target| within.real.starts_with(target)) {
                    self.reject(root, &link, "a link back to a folder it lies in".into());
                    return None;
                }
                return Some(link);
            }
            Ok(there) => self.add(root, link, there.is_file()),
            Err(gone) if gone.kind() == io::ErrorKind::NotFound => {
                let reason = "a link to a file or folder that is not there: moved, or on a disk that is not connected";
                self.reject(root, &link, reason.into());
            }
            Err(other) => self.reject(root, &link, other.to_string()),
        }
        None
    }

    fn reject(&mut self, root: &Path, path: &Path, reason: String) {
        self.rejected.push(Rejected { file: shown(root, path), code: "unreadable".into(), reason });
    }

    /// Files given by themselves have their sidecar beside them.
    fn add_sidecars_beside(&mut self, places: &[PathBuf]) {
        let folders: BTreeSet<PathBuf> =
            places.iter().filter(|place| place.is_file()).map(|file| parent(file)).collect();
        for path in folders.into_iter().map(|folder| folder.join(SIDECAR)).filter(|path| path.is_file()) {
            if self.sidecars.iter().all(|known| known.path != path) {
                self.sidecars.push(Found { file: shown(&self.root, &path), path });
            }
        }
    }
}

/// What systems leave in folders without being asked; hidden files of macOS and Linux start with a point.
const LITTER: [&str; 7] =
    ["thumbs.db", "ehthumbs.db", "desktop.ini", "icon\r", "__macosx", "$recycle.bin", "system volume information"];

fn is_shown(name: &OsStr) -> bool {
    let name = name.to_string_lossy();
    !(name.starts_with('.') || LITTER.contains(&name.to_lowercase().as_str()))
}

/// The name below `root`, with `/`; that of the file itself where `root` is one.
fn shown(root: &Path, path: &Path) -> String {
    let below = path.strip_prefix(root).unwrap_or(path);
    let below = if below.as_os_str().is_empty() { Path::new(path.file_name().unwrap_or_default()) } else { below };
    let name = below.components().map(|part| part.as_os_str().to_string_lossy()).collect::<Vec<_>>().join("/");
    // Control characters in a name could command the terminal that shows it.
    name.replace(|c: char| c.is_control(), "?")
}

impl Scan {
    fn add(&mut self, root: &Path, path: PathBuf, is_file: bool) {
        let name = path.file_name().unwrap_or_default().to_string_lossy().to_lowercase();
        let found = Found { file: shown(root, &path), path };
        if !is_file {
            let reason = "neither a file nor a folder".into();
            self.rejected.push(Rejected { file: found.file, code: "not-an-image".into(), reason });
        } else if name == SIDECAR {
            self.sidecars.push(found);
        } else if !name.ends_with(".toml") {
            self.files.push(found);
        }
    }
}

/// What the first bytes of a file say, whatever its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Magic {
    /// A FITS header.
    Fits,
    /// gzip.
    Gzip,
    /// By its name a camera raw file.
    Raw,
}

/// The endings of the raw files that the decoder knows, in small letters.
pub(super) const RAW_ENDINGS: [&str; 29] = [
    "ari", "arw", "cr2", "cr3", "crm", "crw", "dcr", "dcs", "dng", "erf", "iiq", "kdc", "mef", "mos", "mrw", "nef",
    "nrw", "orf", "ori", "pef", "raf", "raw", "rw2", "rwl", "srw", "3fr", "fff", "x3f", "qtk",
];

/// Looks at the first bytes.
pub(super) fn magic(path: &Path) -> Result<Magic, Fault> {
    let mut start = Vec::new();
    open_regular(path)?.take(512).read_to_end(&mut start)?;
    let is_fits = start.starts_with(b"SIMPLE") && start.get(6..30).is_some_and(|rest| rest.contains(&b'='));
    if is_fits {
        return Ok(Magic::Fits);
    }
    if start.starts_with(&[0x1f, 0x8b]) {
        return Ok(Magic::Gzip);
    }
    if !start.is_empty() && is_raw_name(path) && cfg!(feature = "raw") {
        return Ok(Magic::Raw);
    }
    // A letter cut in two at the end is no reason to call a text something else.
    let text =
        !start.contains(&0) && std::str::from_utf8(&start).map_or_else(|error| error.error_len().is_none(), |_| true);
    Err(Fault::NotAnImage(match (start.is_empty(), text, is_raw_name(path)) {
        (true, ..) => return Err(Fault::Damaged("the file is empty".into())),
        (_, _, true) => return Err(Fault::Unsupported("a camera raw file, which this build cannot read".into())),
        (_, true, _) => "a text file, not a frame".into(),
        _ if is_picture(&start) => "not a FITS file but a developed picture: give the camera's raw files".into(),
        _ => "not a FITS file, nor a camera raw file by its name".into(),
    }))
}

pub(super) fn is_raw_name(path: &Path) -> bool {
    path.extension().is_some_and(|suffix| RAW_ENDINGS.contains(&suffix.to_string_lossy().to_lowercase().as_str()))
}

/// JPEG, PNG and plain TIFF.
fn is_picture(start: &[u8]) -> bool {
    [&b"\xff\xd8\xff"[..], b"\x89PNG", b"II*\0", b"MM\0*"].iter().any(|magic| start.starts_with(magic))
}
