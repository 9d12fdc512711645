//! Writes frames as FITS: plain, or tile-compressed without loss.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use fitsio::FitsFile;
use fitsio::headers::WritesKey;
use fitsio::images::{ImageDescription, ImageType};

use crate::frames::{Frame, FrameInfo, FrameKind};
#[cfg(feature = "simulate")]
use crate::simulate::{SensorTruth, SimulateError, frames};

use super::FileError;
use super::fits::plain_folder;
use super::write::write_whole_unsynced;

/// Why frames cannot be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// Something is there already.
    #[error("{} is there already", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The disk refuses.
    #[error("{} cannot be written: {source}", path.display())]
    Disk {
        /// The file or folder.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The FITS library refuses.
    #[error("{} cannot be put into FITS: {message}", path.display())]
    Encoding {
        /// The file.
        path: PathBuf,
        /// What the library says.
        message: String,
    },
    /// What was written is not what should have been.
    #[error("{} does not read back as it was written", path.display())]
    ReadsBackDifferently {
        /// The file.
        path: PathBuf,
    },
    /// The made-up sensor cannot be.
    #[cfg(feature = "simulate")]
    #[error(transparent)]
    Truth(#[from] SimulateError),
}

impl WriteError {
    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Exists { .. } => "name another folder, or write over it with --force".into(),
            Self::Disk { .. } => "see that the folder may be written to and the disk has room".into(),
            Self::Encoding { .. } => "see that the disk of the system's temporary folder has room".into(),
            Self::ReadsBackDifferently { .. } => {
                "nothing was kept; see that the disk of the system's temporary folder has room".into()
            }
            #[cfg(feature = "simulate")]
            Self::Truth(error) => error.hint(),
        }
    }
}

/// Writes one frame: 16-bit unsigned integers, with what is known of it in the header.
///
/// Plain, the pixels are the first image of the file; `compressed`, they are an image
/// compressed tile by tile (RICE_1, one row each) behind an empty one, and the name should end in
/// `.fits.fz`. The frame is made in the system's temporary folder, read back and compared, then
/// written beside `path` and renamed, so that `path` never holds half a frame. Missing folders are made.
///
/// Headers: `IMAGETYP EXPTIME CCD-TEMP SET-TEMP GAIN OFFSET READOUTM XBINNING YBINNING XPIXSZ
/// YPIXSZ INSTRUME DATE-OBS BAYERPAT ROWORDER FILTER`; what is not known is left out. `BAYERPAT` and
/// `ROWORDER = 'TOP-DOWN'` say the pattern in stored order.
///
/// # Source
/// FITS Standard 4.0 (2018), section 10.1 for tile compression; the names of the headers
/// are common practice without a source.
///
/// # Errors
/// When `path` exists and `force` is not given, when the disk refuses, or when the frame
/// does not read back as it was.
pub fn write_frame(path: &Path, frame: &Frame, compressed: bool, force: bool) -> Result<(), WriteError> {
    if !force && path.exists() {
        return Err(WriteError::Exists { path: path.to_owned() });
    }
    let bytes = encoded(path, frame, compressed)?;
    let disk = |source| WriteError::Disk { path: path.to_owned(), source };
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder).map_err(disk)?;
    }
    write_whole_unsynced(path, &bytes, force).map_err(|error| match error {
        FileError::Exists { path } => WriteError::Exists { path },
        FileError::Disk { path, source } => WriteError::Disk { path, source },
        FileError::ReadOnly { path } => {
            let source = io::Error::other("it is read-only: it is not replaced");
            WriteError::Disk { path, source }
        }
        other => WriteError::Encoding { path: path.to_owned(), message: other.to_string() },
    })
}

/// Writes all frames of a made-up sensor into folders by kind under `out`, and says how many.
///
/// `progress` is called after each frame with the frames written and the frames in all.
///
/// # Errors
/// When the truth does not pass [`SensorTruth::check`], when one of the files exists and `force`
/// is not given (then nothing is written), or as [`write_frame`].
#[cfg(feature = "simulate")]
pub fn write_simulation(
    truth: &SensorTruth,
    out: &Path,
    compressed: bool,
    force: bool,
    progress: &mut dyn FnMut(usize, usize),
) -> Result<usize, WriteError> {
    truth.check()?;
    let total = truth.frame_count();
    let path_of = |name: &str| out.join(if compressed { format!("{name}.fz") } else { name.to_owned() });
    let taken = truth.frame_names().map(|name| path_of(&name)).find(|path| path.exists());
    if let Some(path) = taken.filter(|_| !force) {
        return Err(WriteError::Exists { path });
    }
    for (index, frame) in frames(truth).enumerate() {
        write_frame(&path_of(&frame.info.file), &frame, compressed, force)?;
        progress(index + 1, total);
    }
    Ok(total)
}

/// The frame as the bytes of a FITS file, read back once.
///
/// The library takes brackets in a file's name for instructions and does not say when closing
/// fails. So it only ever sees a name of ours, and what it wrote is compared with what was asked.
fn encoded(path: &Path, frame: &Frame, compressed: bool) -> Result<Vec<u8>, WriteError> {
    let encoding = |message: String| WriteError::Encoding { path: path.to_owned(), message };
    let folder = plain_folder().map_err(|error| encoding(error.to_string()))?;
    let file = folder.path().join("frame.fits");
    let pixels: Vec<u16> = frame.pixels.iter().copied().collect();
    write_with_library(&file, frame, &pixels, compressed).map_err(|error| encoding(error.to_string()))?;
    let stored = stored_pixels(&file, usize::from(compressed)).map_err(|error| encoding(error.to_string()))?;
    if stored != pixels {
        return Err(WriteError::ReadsBackDifferently { path: path.to_owned() });
    }
    fs::read(&file).map_err(|error| encoding(error.to_string()))
}

fn write_with_library(
    file: &Path,
    frame: &Frame,
    pixels: &[u16],
    compressed: bool,
) -> Result<(), fitsio::errors::Error> {
    let (rows, columns) = frame.pixels.dim();
    let image = ImageDescription { data_type: ImageType::UnsignedShort, dimensions: &[rows, columns] };
    let (mut fits, hdu) = if compressed {
        let mut fits = FitsFile::create(format!("{}[compress R]", file.display())).open()?;
        let hdu = fits.create_image("COMPRESSED_IMAGE", &image)?;
        (fits, hdu)
    } else {
        let mut fits = FitsFile::create(file).with_custom_primary(&image).open()?;
        let hdu = fits.primary_hdu()?;
        (fits, hdu)
    };
    write_header(&mut fits, &frame.info)?;
    hdu.write_image(&mut fits, pixels)
}

fn stored_pixels(file: &Path, hdu: usize) -> Result<Vec<u16>, fitsio::errors::Error> {
    let mut fits = FitsFile::open(file)?;
    fits.hdu(hdu)?.read_image(&mut fits)
}

fn write_header(fits: &mut FitsFile, info: &FrameInfo) -> Result<(), fitsio::errors::Error> {
    let kind = match info.kind {
        FrameKind::Bias => "Bias Frame",
        FrameKind::Dark => "Dark Frame",
        FrameKind::Flat => "Flat Frame",
        FrameKind::DarkFlat => "Dark Flat Frame",
        FrameKind::Light => "Light Frame",
    };
    key(fits, "IMAGETYP", Some((kind, "what the frame was taken for")))?;
    key(fits, "EXPTIME", Some((info.exposure.0, "[s] exposure time")))?;
    key(fits, "CCD-TEMP", info.sensor.map(|c| (c.0, "[degC] sensor temperature")))?;
    key(fits, "SET-TEMP", info.set_point.map(|c| (c.0, "[degC] cooler set point")))?;
    key(fits, "GAIN", info.gain_setting.map(|gain| (gain, "gain setting")))?;
    key(fits, "OFFSET", info.offset_setting.map(|offset| (offset, "offset setting")))?;
    key(fits, "READOUTM", info.readout_mode.as_deref().map(|mode| (mode, "readout mode")))?;
    key(fits, "XBINNING", Some((info.binning[0], "horizontal binning")))?;
    key(fits, "YBINNING", Some((info.binning[1], "vertical binning")))?;
    key(fits, "XPIXSZ", info.pixel.map(|side| (side.0, "[um] pixel width, binned")))?;
    key(fits, "YPIXSZ", info.pixel.map(|side| (side.0, "[um] pixel height, binned")))?;
    key(fits, "INSTRUME", info.camera.as_deref().map(|name| (name, "camera")))?;
    key(fits, "DATE-OBS", info.taken.as_deref().map(|date| (date, "start of the exposure")))?;
    key(fits, "BAYERPAT", info.cfa.map(|pattern| (pattern.name(), "colours of the stored 2 x 2 cell")))?;
    key(fits, "ROWORDER", info.cfa.map(|_| ("TOP-DOWN", "first stored row is the top")))?;
    key(fits, "FILTER", info.filter.as_deref().map(|name| (name, "filter")))
}

/// Writes a card where there is something to say.
fn key<V: WritesKey>(fits: &mut FitsFile, name: &str, value: Option<V>) -> Result<(), fitsio::errors::Error> {
    value.map_or(Ok(()), |value| V::write_key(fits, name, value))
}
