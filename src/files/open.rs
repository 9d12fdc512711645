//! Opening a file that may have become something else since it was found.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Opens a regular file to read. A pipe, which nobody may ever write to, is refused at once and not waited for.
///
/// # Errors
/// When there is no such file, the system refuses, or it is no regular file.
pub(super) fn open_regular(path: &Path) -> io::Result<File> {
    let mut options = File::options();
    options.read(true);
    without_waiting(&mut options);
    let file = options.open(path)?;
    let of = file.metadata()?;
    match (of.is_file(), of.is_dir()) {
        (true, _) => Ok(file),
        (false, true) => Err(io::Error::other("a folder, where a file is asked for")),
        (false, false) => Err(io::Error::other("not a regular file")),
    }
}

/// All that is in a regular file.
///
/// # Errors
/// As [`open_regular`].
pub(super) fn bytes_of(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    open_regular(path)?.read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// A name for an open file that holds as long as it is open, whatever becomes of the name that it was opened by; `None`
/// where the system has none.
pub(super) fn name_of_open(file: &File) -> Option<PathBuf> {
    #[cfg(target_os = "linux")]
    {
        use std::os::fd::AsRawFd;
        let name = PathBuf::from(format!("/proc/self/fd/{}", file.as_raw_fd()));
        // Some closed-off systems go without /proc.
        name.exists().then_some(name)
    }
    #[cfg(not(target_os = "linux"))]
    {
        let _ = file;
        None
    }
}

#[cfg(target_os = "linux")]
fn without_waiting(options: &mut std::fs::OpenOptions) {
    use std::os::unix::fs::OpenOptionsExt;
    options.custom_flags(rustix::fs::OFlags::NONBLOCK.bits().cast_signed());
}

/// Elsewhere the flag's number is not known here: what is a pipe already is refused, what becomes one is waited for.
#[cfg(not(target_os = "linux"))]
fn without_waiting(_: &mut std::fs::OpenOptions) {}
