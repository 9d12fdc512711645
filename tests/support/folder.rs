//! A folder of frames that is gone when the test ends.

use std::path::{Path, PathBuf};

use subwell::files::{FrameSet, read_headers};

use super::program::decoder;

/// A temporary folder, filled file by file and read as the program reads it.
pub(crate) struct Folder(tempfile::TempDir);

impl Folder {
    pub(crate) fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    /// Writes a file, its folders included.
    pub(crate) fn put(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, bytes).unwrap();
        path
    }

    pub(crate) fn read(&self) -> FrameSet {
        read_headers(self.path(), &decoder()).unwrap()
    }

    /// The code and reason of the one file that was rejected.
    #[track_caller]
    pub(crate) fn only_rejected(&self) -> (String, String) {
        let set = self.read();
        assert_eq!(set.inventory.frames().count(), 0);
        assert_eq!(set.rejected().len(), 1, "{:?}", set.rejected());
        (set.rejected()[0].code.clone(), set.rejected()[0].reason.clone())
    }
}
