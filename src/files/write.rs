//! Writing a file whole or not at all, and never over what another program has just saved.

use std::fs::{File, Metadata};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use tempfile::{NamedTempFile, TempPath};

use super::FileError;
use super::open::open_regular;

/// What our unfinished files begin and end with: hidden, and known as ours if a kill leaves one.
const UNFINISHED: [&str; 2] = [".subwell-", ".part"];
/// No write takes so long: an unfinished file of this age is left over.
const LEFT_OVER: Duration = Duration::from_secs(24 * 3600);
/// No folder holds more texts that were not saved.
const MOST_NOT_SAVED: usize = 1000;

/// Writes `bytes` to `path`: first beside it, then moved into its place, so that no reader ever sees half a file. A file
/// that is replaced keeps its mode and its owner; what kills left unfinished in the folder a day ago is removed.
///
/// # Errors
/// [`FileError::Exists`] when a file is there and `force` is not given; [`FileError::ReadOnly`] when it is read-only;
/// [`FileError::Disk`] when a link, device or folder is there, its owner cannot be kept, or the system refuses.
///
/// # Examples
/// ```
/// let folder = tempfile::tempdir().unwrap();
/// let path = folder.path().join("camera.toml");
/// subwell::files::write_whole(&path, b"version = 1\n", false).unwrap();
/// assert!(subwell::files::write_whole(&path, b"", false).is_err());
/// ```
pub fn write_whole(path: &Path, bytes: &[u8], force: bool) -> Result<(), FileError> {
    remove_left_over(folder_of(path));
    write_beside(path, force, |file| file.write_all(bytes).and_then(|()| file.sync_all()))
}

/// [`write_whole`] for many files at once, which can be made again: the disk is not waited for, nothing is tidied.
pub(super) fn write_whole_unsynced(path: &Path, bytes: &[u8], force: bool) -> Result<(), FileError> {
    write_beside(path, force, |file| file.write_all(bytes))
}

/// Replaces the text `was`, which was read from `path` before, by `bytes`. A text that another program saves there
/// meanwhile is never lost: it stays, and where that shows only in the moment of writing, ours is kept beside it.
///
/// On Linux the two files change places in one step and what comes out is looked at, so that no moment lies between the
/// look and the step; elsewhere the look comes last before it. An editor that opened the file before without emptying it,
/// and writes into it afterwards, is not seen.
///
/// # Errors
/// [`FileError::ChangedMeanwhile`] when the file does not hold `was` any more; else as [`write_whole`].
pub(crate) fn replace_whole(path: &Path, bytes: &[u8], was: &[u8]) -> Result<(), FileError> {
    let disk = |source| FileError::Disk { path: path.to_owned(), source };
    let changed = |kept| FileError::ChangedMeanwhile { path: path.to_owned(), kept };
    let there = there(path)?.filter(|_| holds(path, was)).ok_or_else(|| changed(None))?;
    remove_left_over(folder_of(path));
    let new = unfinished(path, Some(&there), |file| file.write_all(bytes).and_then(|()| file.sync_all()))?;
    let beside = new.into_temp_path();
    match exchange(&beside, path) {
        Ok(true) => {
            // An editor that has just opened the old file to write into it has done so when the folder is on the disk.
            let _ = File::open(folder_of(path)).and_then(|folder| folder.sync_all());
            if holds(&beside, was) {
                return Ok(());
            }
            // What somebody saved came out: back with it, unless there is something newer still.
            if holds(path, bytes) {
                exchange(&beside, path).map_err(disk)?;
            }
            Err(changed(Some(kept(beside, path))))
        }
        Ok(false) if holds(path, was) => beside.persist(path).map_err(|error| disk(error.error)),
        Ok(false) => Err(changed(Some(kept(beside, path)))),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Err(changed(Some(kept(beside, path)))),
        Err(error) => Err(disk(error)),
    }
}

fn write_beside(path: &Path, force: bool, write: impl FnOnce(&mut File) -> io::Result<()>) -> Result<(), FileError> {
    if !force && path.symlink_metadata().is_ok_and(|there| there.is_file()) {
        return Err(FileError::Exists { path: path.to_owned() });
    }
    let file = unfinished(path, there(path)?.as_ref(), write)?;
    let disk = |source| FileError::Disk { path: path.to_owned(), source };
    if force {
        return file.persist(path).map(|_| ()).map_err(|error| disk(error.error));
    }
    file.persist_noclobber(path).map(|_| ()).map_err(|error| match error.error.kind() {
        io::ErrorKind::AlreadyExists => FileError::Exists { path: path.to_owned() },
        _ => disk(error.error),
    })
}

/// The file that is to be replaced, if one is there: a plain one that may be written.
fn there(path: &Path) -> Result<Option<Metadata>, FileError> {
    let Ok(there) = path.symlink_metadata() else { return Ok(None) };
    if !there.is_file() {
        let error = io::Error::other("something other than a plain file is there: it is not replaced");
        return Err(FileError::Disk { path: path.to_owned(), source: error });
    }
    if there.permissions().readonly() {
        return Err(FileError::ReadOnly { path: path.to_owned() });
    }
    Ok(Some(there))
}

/// The new file, written whole under a name of its own beside `path`, with mode and owner of the one that it replaces.
fn unfinished(
    path: &Path,
    there: Option<&Metadata>,
    write: impl FnOnce(&mut File) -> io::Result<()>,
) -> Result<NamedTempFile, FileError> {
    let disk = |source| FileError::Disk { path: path.to_owned(), source };
    let mut builder = tempfile::Builder::new();
    builder.prefix(UNFINISHED[0]).suffix(UNFINISHED[1]);
    if there.is_none() {
        as_the_umask_says(&mut builder);
    }
    // The kind alone: the error's text names the temporary file, which says nothing to anybody.
    let mut file = builder.tempfile_in(folder_of(path)).map_err(|error| disk(error.kind().into()))?;
    if let Some(there) = there {
        take_after(file.as_file(), there).map_err(disk)?;
    }
    write(file.as_file_mut()).map_err(disk)?;
    Ok(file)
}

fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Whether the file holds this text and nothing else.
fn holds(path: &Path, text: &[u8]) -> bool {
    let mut found = Vec::new();
    let read = open_regular(path).and_then(|file| file.take(text.len() as u64 + 1).read_to_end(&mut found));
    read.is_ok() && found == text
}

/// Puts a text that found no place beside `path`, as `night-not-saved.toml`, and says where.
fn kept(mut text: TempPath, path: &Path) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().map_or_else(String::new, |ending| format!(".{}", ending.to_string_lossy()));
    for number in 1..=MOST_NOT_SAVED {
        let number = if number == 1 { String::new() } else { format!("-{number}") };
        let place = folder_of(path).join(format!("{stem}-not-saved{number}{ending}"));
        match text.persist_noclobber(&place) {
            Ok(()) => return place,
            Err(error) => text = error.path,
        }
    }
    let place = text.to_path_buf();
    // Where even that fails it stays under the name that it has.
    let _ = text.keep();
    place
}

/// Removes what kills left unfinished in the folder; what cannot be removed does no harm.
fn remove_left_over(folder: &Path) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    let [start, end] = UNFINISHED;
    for entry in entries.filter_map(Result::ok) {
        let name = entry.file_name();
        let ours = name.to_str().is_some_and(|name| name.starts_with(start) && name.ends_with(end));
        let age = || SystemTime::now().duration_since(entry.metadata().ok()?.modified().ok()?).ok();
        if ours && entry.file_type().is_ok_and(|kind| kind.is_file()) && age().is_some_and(|age| age > LEFT_OVER) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Lets two files change places in one step; `false` where system or disk cannot.
#[cfg(target_os = "linux")]
fn exchange(a: &Path, b: &Path) -> io::Result<bool> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    use rustix::io::Errno;
    match renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(true),
        Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) => Ok(false),
        Err(error) => Err(error.into()),
    }
}

#[cfg(not(target_os = "linux"))]
fn exchange(_: &Path, _: &Path) -> io::Result<bool> {
    Ok(false)
}

/// Temporary files are private by default; this one is to become an ordinary file, as the umask says.
#[cfg(unix)]
fn as_the_umask_says(builder: &mut tempfile::Builder<'_, '_>) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(std::fs::Permissions::from_mode(0o666));
}

#[cfg(not(unix))]
fn as_the_umask_says(_: &mut tempfile::Builder<'_, '_>) {}

/// Gives a file the mode and the owner of another one.
#[cfg(unix)]
fn take_after(file: &File, there: &Metadata) -> io::Result<()> {
    use std::os::unix::fs::{MetadataExt, PermissionsExt, fchown};
    let own = file.metadata()?;
    let (user, group) = (Some(there.uid()), Some(there.gid()));
    let (user, group) = (user.filter(|user| *user != own.uid()), group.filter(|group| *group != own.gid()));
    if user.or(group).is_some() {
        let words = "it belongs to another user or group, and would not afterwards: it is not replaced";
        fchown(file, user, group).map_err(|error| io::Error::new(error.kind(), words))?;
    }
    file.set_permissions(std::fs::Permissions::from_mode(there.mode() & 0o777))
}

#[cfg(not(unix))]
fn take_after(_: &File, _: &Metadata) -> io::Result<()> {
    Ok(())
}
