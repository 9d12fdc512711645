//! Writing a file whole or not at all.

use std::io::Write;
use std::path::Path;

use super::FileError;

/// Writes `bytes` to `path`: first beside it, then moved into its place, so that no reader ever sees half a file.
///
/// # Errors
/// [`FileError::Exists`] when a file is there and `force` is not given; [`FileError::Disk`] when a link, device or folder
/// is there, or the system refuses.
///
/// # Examples
/// ```
/// let folder = tempfile::tempdir().unwrap();
/// let path = folder.path().join("camera.toml");
/// subwell::files::write_whole(&path, b"version = 1\n", false).unwrap();
/// assert!(subwell::files::write_whole(&path, b"", false).is_err());
/// ```
pub fn write_whole(path: &Path, bytes: &[u8], force: bool) -> Result<(), FileError> {
    write_beside(path, force, |file| file.write_all(bytes).and_then(|()| file.sync_all()))
}

/// [`write_whole`] for many files at once, which can be made again: the disk is not waited for.
pub(super) fn write_whole_unsynced(path: &Path, bytes: &[u8], force: bool) -> Result<(), FileError> {
    write_beside(path, force, |file| file.write_all(bytes))
}

fn write_beside(
    path: &Path,
    force: bool,
    write: impl FnOnce(&mut std::fs::File) -> std::io::Result<()>,
) -> Result<(), FileError> {
    let disk = |source| FileError::Disk { path: path.to_owned(), source };
    if let Ok(there) = path.symlink_metadata() {
        if !there.is_file() {
            let error = std::io::Error::other("something other than a plain file is there: it is not replaced");
            return Err(disk(error));
        }
        if !force {
            return Err(FileError::Exists { path: path.to_owned() });
        }
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // The kind alone: the error's text names the temporary file, which says nothing to anybody.
    let mut file = builder().tempfile_in(folder).map_err(|error| disk(error.kind().into()))?;
    write(file.as_file_mut()).map_err(disk)?;
    if force {
        return file.persist(path).map(|_| ()).map_err(|error| disk(error.error));
    }
    file.persist_noclobber(path).map(|_| ()).map_err(|error| match error.error.kind() {
        std::io::ErrorKind::AlreadyExists => FileError::Exists { path: path.to_owned() },
        _ => disk(error.error),
    })
}

/// Temporary files are private by default; this one is to become an ordinary file, as the umask says.
#[cfg(unix)]
fn builder() -> tempfile::Builder<'static, 'static> {
    use std::os::unix::fs::PermissionsExt;
    let mut builder = tempfile::Builder::new();
    builder.permissions(std::fs::Permissions::from_mode(0o666));
    builder
}

#[cfg(not(unix))]
fn builder() -> tempfile::Builder<'static, 'static> {
    tempfile::Builder::new()
}
