//! One file opened in this process: its header, a look at its pixels, or all of them.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, Write};
use std::path::{Path, PathBuf};

use flate2::read::MultiGzDecoder;
use serde::{Deserialize, Serialize};
use tempfile::{NamedTempFile, TempPath};

use super::error::Fault;
use super::fits::{ImageHdu, first_image, pixels, strip};
use super::open::{name_of_open, open_regular};
use super::scan::{Magic, magic};
use crate::frames::{Cards, StripStatistics};

/// A gzip file that unpacks to more is refused.
const MOST_UNPACKED: u64 = 2 << 30;

/// What a first look at a file shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Preview {
    pub(super) cards: Cards,
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) strip_statistics: Option<StripStatistics>,
}

/// All the counts of one image.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Image {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) pixels: Vec<u16>,
}

/// A file whose header was checked.
pub(super) struct Opened {
    path: PathBuf,
    image: ImageHdu,
    _unpacked: Option<Unpacked>,
}

/// What a gzip file holds, on the disk without a name where the system can: nothing is left of it however the process ends.
struct Unpacked {
    path: PathBuf,
    file: File,
    _named: Option<TempPath>,
}

impl Unpacked {
    fn new(target: NamedTempFile) -> io::Result<Self> {
        let (file, named) = target.into_parts();
        match name_of_open(&file) {
            Some(path) => {
                named.close()?;
                Ok(Self { path, file, _named: None })
            }
            None => Ok(Self { path: named.to_path_buf(), file, _named: Some(named) }),
        }
    }
}

/// How the pixels of a file are packed.
pub(super) enum Packing {
    /// Plain FITS, safe to read here.
    Plain(Opened),
    /// gzip, tile-compressed or camera raw: only a worker process should unpack it.
    Packed,
}

/// Checks the header of a file without unpacking anything.
pub(super) fn packing(path: &Path) -> Result<Packing, Fault> {
    match magic(path)? {
        Magic::Fits => {}
        Magic::Gzip | Magic::Raw => return Ok(Packing::Packed),
    }
    let opened = Opened::fits(path.to_owned(), None)?;
    Ok(if opened.image.compressed { Packing::Packed } else { Packing::Plain(opened) })
}

/// A look at a file of any kind; for the worker process.
pub(super) fn unpacked_preview(path: &Path) -> Result<Preview, Fault> {
    match magic(path)? {
        #[cfg(feature = "raw")]
        Magic::Raw => super::raw::preview(path),
        _ => Opened::unpacked(path)?.preview(),
    }
}

/// All pixels of a file of any kind; for the worker process.
pub(super) fn unpacked_pixels(path: &Path) -> Result<Image, Fault> {
    match magic(path)? {
        #[cfg(feature = "raw")]
        Magic::Raw => super::raw::pixels(path),
        _ => Opened::unpacked(path)?.pixels(Vec::new()),
    }
}

impl Opened {
    /// Opens a file, unpacking gzip.
    fn unpacked(path: &Path) -> Result<Self, Fault> {
        if magic(path)? == Magic::Fits {
            return Self::fits(path.to_owned(), None);
        }
        let unpacked = unpack(path)?;
        if magic(&unpacked.path)? != Magic::Fits {
            return Err(Fault::NotAnImage("gzip inside gzip".into()));
        }
        Self::fits(unpacked.path.clone(), Some(unpacked))
    }

    fn fits(path: PathBuf, unpacked: Option<Unpacked>) -> Result<Self, Fault> {
        let mut reader = BufReader::new(open_regular(&path)?);
        let length = reader.seek(io::SeekFrom::End(0))?;
        let image = first_image(&mut reader, length)?;
        Ok(Self { path, image, _unpacked: unpacked })
    }

    /// Its header and a look at a strip of its pixels.
    pub(super) fn preview(self) -> Result<Preview, Fault> {
        let strip_statistics = StripStatistics::from_strip(&strip(&self.path, &self.image)?, self.image.width);
        let ImageHdu { cards, width, height, .. } = self.image;
        Ok(Preview { cards, width, height, strip_statistics })
    }

    /// All its pixels, in the memory of another image if it fits.
    pub(super) fn pixels(self, memory: Vec<u16>) -> Result<Image, Fault> {
        let pixels = pixels(&self.path, &self.image, memory)?;
        Ok(Image { width: self.image.width, height: self.image.height, pixels })
    }
}

fn unpack(path: &Path) -> Result<Unpacked, Fault> {
    let unpacked = Unpacked::new(tempfile::Builder::new().suffix(".fits").tempfile()?)?;
    let mut target = &unpacked.file;
    let mut source = MultiGzDecoder::new(BufReader::new(open_regular(path)?)).take(MOST_UNPACKED + 1);
    let mut buffer = vec![0_u8; 1 << 18];
    let mut total = 0;
    loop {
        // What a read from the unpacker says is about the file, what a write says is about the disk.
        let read =
            source.read(&mut buffer).map_err(|error| Fault::Damaged(format!("gzip cannot unpack it: {error}")))?;
        if read == 0 {
            return Ok(unpacked);
        }
        target.write_all(&buffer[..read])?;
        total += read as u64;
        if total > MOST_UNPACKED {
            return Err(Fault::TooLarge("it unpacks to more than 2 GiB".into()));
        }
    }
}
