//! The folder in which the page was started: nothing outside of it is read or written.

use std::fs;
use std::path::{Component, Path, PathBuf};

use serde::Serialize;
use walkdir::WalkDir;

use crate::files::{FileError, read_text, replace_whole, write_whole};
use crate::planner::Refusal;

/// No path is longer.
const LONGEST_NAME: usize = 1024;
/// How deep the folder is looked through.
const DEEPEST: usize = 6;
/// No more entries of it are looked at.
const MOST_ENTRIES: usize = 20_000;
/// Larger text files are no nights and no profiles that the page would show.
const LARGEST_LISTED: u64 = 4 << 20;

/// A folder, and nothing else.
#[derive(Debug, Clone)]
pub struct Folder {
    root: PathBuf,
}

/// What the page can open in it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Contents {
    /// Night files.
    pub nights: Vec<String>,
    /// Camera profiles.
    pub profiles: Vec<String>,
    /// Folders that hold frames, at any depth below them.
    pub folders: Vec<FolderOfFrames>,
    /// Whether there was more than is looked at.
    pub more: bool,
}

/// A folder with frames in it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FolderOfFrames {
    /// Its path; `.` is the folder of the page itself.
    pub path: String,
    /// Files named like frames, at any depth below it.
    pub frames: usize,
}

impl Folder {
    /// The folder at this path.
    ///
    /// # Errors
    /// When there is none.
    pub fn new(root: &Path) -> Result<Self, FileError> {
        let disk = |source| FileError::Disk { path: root.to_owned(), source };
        let root = fs::canonicalize(root).map_err(disk)?;
        fs::read_dir(&root).map_err(|source| FileError::Disk { path: root.clone(), source })?;
        Ok(Self { root })
    }

    /// The last part of its path, to show.
    #[must_use]
    pub fn name(&self) -> String {
        self.root.file_name().map_or_else(|| "/".into(), |name| name.to_string_lossy().into_owned())
    }

    /// Where a file or folder of this name lies; the name is relative, with `/`, and may go up and down again.
    ///
    /// # Errors
    /// When the name leads out of the folder, by `..`, as an absolute path or through a link, or nothing is there.
    pub fn existing(&self, name: &Path) -> Result<PathBuf, Refusal> {
        let inside = inside(name)?;
        let found = fs::canonicalize(self.root.join(&inside)).map_err(|error| {
            let message = format!("{}: {error}", inside.display());
            Refusal::new(404, "unreadable", message, "look through the list of files again")
        })?;
        // Links are followed by now: this is where it really lies.
        if found.starts_with(&self.root) { Ok(found) } else { Err(outside(name)) }
    }

    /// Where a new or replaced text file of this name will lie.
    ///
    /// # Errors
    /// When the name leads out of the folder, its folder is not there, it is hidden, or does not end in `.toml` or
    /// `.json`.
    pub fn place(&self, name: &str) -> Result<PathBuf, Refusal> {
        let inside = inside(Path::new(name))?;
        let ending = inside.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
        let file = inside.file_name().and_then(|file| file.to_str()).unwrap_or_default();
        if !["toml", "json"].contains(&ending.as_str()) || file.starts_with('.') || file != file.trim() {
            let message = format!("{name}: the page writes files whose names end in .toml or .json");
            return Err(Refusal::new(422, "wrong-name", message, "give a name such as my-night.toml"));
        }
        let folder = inside.parent().unwrap_or(Path::new(""));
        let folder = if folder.as_os_str().is_empty() { self.root.clone() } else { self.existing(folder)? };
        Ok(folder.join(file))
    }

    /// The text of a file.
    ///
    /// # Errors
    /// As [`Folder::existing`], or when it is no text.
    pub fn text(&self, name: &Path) -> Result<String, Refusal> {
        let path = self.existing(name)?;
        read_text(&path).map_err(Refusal::from)
    }

    /// Writes a file whole; `was` is the text that it is to replace, `None` where no file is to be there.
    ///
    /// # Errors
    /// As [`Folder::place`]; when the file holds another text by now, or the disk refuses.
    pub fn write(&self, name: &str, text: &str, was: Option<&str>) -> Result<(), Refusal> {
        let path = self.place(name)?;
        let changed = || {
            let message = format!("{name} was changed on the disk since it was opened here; nothing was written");
            Refusal::new(409, "changed-on-disk", message, "save under another name, or open the file again")
        };
        let exists = || {
            let hint = "save under another name, or open the file first";
            Refusal::new(409, "exists", format!("{name} is there already; nothing was written"), hint)
        };
        let there = path.symlink_metadata().is_ok();
        let Some(was) = was else {
            return match write_whole(&path, text.as_bytes(), false) {
                Err(_) if there => Err(exists()),
                Err(FileError::Exists { .. }) => Err(exists()),
                other => Ok(other?),
            };
        };
        if there {
            // A link is followed, and refused where it leads out of the folder.
            self.existing(Path::new(name))?;
        }
        replace_whole(&path, text.as_bytes(), was.as_bytes()).map_err(|error| match error {
            FileError::ChangedMeanwhile { kept: None, .. } => changed(),
            FileError::ChangedMeanwhile { kept: Some(kept), .. } => {
                let beside = kept.file_name().unwrap_or_default().to_string_lossy();
                let message =
                    format!("{name} was changed on the disk in this moment; what was not saved is in {beside}");
                Refusal { message, ..changed() }
            }
            other => other.into(),
        })
    }

    /// What is in it.
    #[must_use]
    pub fn contents(&self) -> Contents {
        let mut contents = Contents::default();
        let mut frames: std::collections::BTreeMap<String, usize> = std::collections::BTreeMap::new();
        let walk = WalkDir::new(&self.root).max_depth(DEEPEST).sort_by_file_name().into_iter();
        let shown =
            |entry: &walkdir::DirEntry| entry.depth() == 0 || !entry.file_name().to_string_lossy().starts_with('.');
        for (seen, entry) in walk.filter_entry(shown).filter_map(Result::ok).enumerate() {
            if seen == MOST_ENTRIES {
                contents.more = true;
                break;
            }
            if !entry.file_type().is_file() {
                continue;
            }
            let Some(name) = entry.path().strip_prefix(&self.root).ok().and_then(slashed) else { continue };
            match kind(&entry) {
                Kind::Frame => {
                    let above = Path::new(&name).ancestors().skip(1).filter_map(slashed);
                    above.for_each(|folder| *frames.entry(folder).or_default() += 1);
                }
                Kind::Night => contents.nights.push(name),
                Kind::Profile => contents.profiles.push(name),
                Kind::Other => {}
            }
        }
        contents.folders = frames.into_iter().map(|(path, frames)| FolderOfFrames { path, frames }).collect();
        contents
    }
}

enum Kind {
    Frame,
    Night,
    Profile,
    Other,
}

fn kind(entry: &walkdir::DirEntry) -> Kind {
    let name = entry.file_name().to_string_lossy().to_lowercase();
    if crate::files::may_be_a_frame(entry.path()) {
        return Kind::Frame;
    }
    let small = entry.metadata().is_ok_and(|metadata| metadata.len() <= LARGEST_LISTED);
    let text = || if small { read_text(entry.path()).unwrap_or_default() } else { String::new() };
    match name.rsplit_once('.') {
        Some((_, "json")) if text().contains("\"subwell.camera\"") => Kind::Profile,
        Some((_, "toml")) => match text().parse::<toml_edit::DocumentMut>() {
            Ok(document) if document.contains_key("modes") => Kind::Profile,
            Ok(document) if document.contains_key("optics") || document.contains_key("target") => Kind::Night,
            _ => Kind::Other,
        },
        _ => Kind::Other,
    }
}

/// A relative path with `/`; `.` for the folder itself, `None` where its name is no text.
fn slashed(path: &Path) -> Option<String> {
    let parts: Option<Vec<&str>> = path.components().map(|part| part.as_os_str().to_str()).collect();
    parts.map(|parts| if parts.is_empty() { ".".into() } else { parts.join("/") })
}

fn outside(name: &Path) -> Refusal {
    let message = format!("{} lies outside the folder that this page was started in", name.display());
    Refusal::new(403, "outside", message, "start `subwell page` in a folder that holds night, profile and frames")
}

/// The path from the folder down, without `.` and `..`.
///
/// Backslashes and colons are refused everywhere: they would be folders, drives and streams on some systems.
fn inside(name: &Path) -> Result<PathBuf, Refusal> {
    let text = name.to_str().ok_or_else(|| outside(name))?;
    if text.len() > LONGEST_NAME || text.contains(['\\', ':']) || text.contains(char::is_control) {
        return Err(outside(name));
    }
    let mut inside = PathBuf::new();
    for part in name.components() {
        match part {
            Component::Normal(part) => inside.push(part),
            Component::CurDir => {}
            Component::ParentDir => {
                if !inside.pop() {
                    return Err(outside(name));
                }
            }
            Component::RootDir | Component::Prefix(_) => return Err(outside(name)),
        }
    }
    Ok(inside)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stay_inside() {
        let good = [("a.toml", "a.toml"), ("a/../b.toml", "b.toml"), ("./a/b", "a/b"), ("a/./b", "a/b")];
        for (name, inside_) in good {
            assert_eq!(inside(Path::new(name)), Ok(PathBuf::from(inside_)));
        }
        for name in ["..", "../a", "a/../../b", "/etc/passwd", "c:\\x", "a\\..\\b", "a\u{0}b", "a:b", &"x".repeat(2000)]
        {
            assert_eq!(inside(Path::new(name)).unwrap_err().code, "outside", "{name}");
        }
    }
}
