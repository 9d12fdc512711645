//! The stored counts: those that lie as cameras write them directly, all others through the C library; call it only with
//! what [`super::first_image`] let pass.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::ops::Range;
use std::path::{Path, PathBuf};

use fitsio::FitsFile;
use fitsio::hdu::{FitsHdu, HduInfo};
use fitsio::images::ReadImage;
use tempfile::TempDir;

use super::layout::{ImageHdu, Sample};
use crate::files::error::Fault;
use crate::files::open::{name_of_open, open_regular};

/// The C library's word for "a value does not fit" (`NUM_OVERFLOW`).
const OVERFLOW: i32 = 412;
/// Counts that are read at a time: they are turned while they are near the processor.
const PART: usize = 1 << 17;
/// Rows that a strip_statistics looks at.
const STRIP_ROWS: usize = 32;

/// All pixels of the image, row by row, in the memory of another one if it fits.
pub(crate) fn pixels(path: &Path, image: &ImageHdu, memory: Vec<u16>) -> Result<Vec<u16>, Fault> {
    rows(path, image, 0..image.height, memory)
}

/// A strip of whole rows through the middle of the image.
pub(crate) fn strip(path: &Path, image: &ImageHdu) -> Result<Vec<u16>, Fault> {
    let first = image.height.saturating_sub(STRIP_ROWS) / 2;
    rows(path, image, first..image.height.min(first + STRIP_ROWS), Vec::new())
}

fn rows(path: &Path, image: &ImageHdu, rows: Range<usize>, memory: Vec<u16>) -> Result<Vec<u16>, Fault> {
    if let Some(start) = image.counts_at {
        let range = (rows.start * image.width) as u64..(rows.end * image.width) as u64;
        return counts_at(path, start, range, memory);
    }
    let plain = PlainName::new(path)?;
    let mut file = FitsFile::open(&plain.path).map_err(fault)?;
    let hdu = file.hdu(image.index).map_err(fault)?;
    let same = match &hdu.info {
        HduInfo::ImageInfo { shape, .. } => {
            let axes: Vec<usize> = shape.iter().rev().copied().collect();
            axes.starts_with(&[image.width, image.height]) && axes[2..].iter().all(|planes| *planes == 1)
        }
        _ => false,
    };
    if !same {
        return Err(Fault::Damaged("its header can be read in two ways".into()));
    }
    let range = rows.start * image.width..rows.end * image.width;
    match image.sample {
        Sample::Integer => values::<u16>(&mut file, &hdu, range),
        Sample::Float => counts(values::<f32>(&mut file, &hdu, range)?.into_iter().map(f64::from)),
        Sample::Double => counts(values::<f64>(&mut file, &hdu, range)?.into_iter()),
    }
}

/// The unsigned numbers of 16 bits behind `start`: big-endian, less 32768.
///
/// # Source
/// FITS standard 4.0 §5.2 (from memory); the C library reads the same, see the test.
fn counts_at(path: &Path, start: u64, range: Range<u64>, memory: Vec<u16>) -> Result<Vec<u16>, Fault> {
    let mut file = open_regular(path)?;
    file.seek(SeekFrom::Start(start + 2 * range.start))?;
    let mut counts = memory;
    counts.resize((range.end - range.start) as usize, 0);
    for part in counts.chunks_mut(PART) {
        file.read_exact(bytemuck::cast_slice_mut(part))
            .map_err(|_| Fault::Damaged("its pixels are cut off: it became shorter while it was read".into()))?;
        part.iter_mut().for_each(|count| *count = u16::from_be(*count) ^ 0x8000);
    }
    Ok(counts)
}

fn values<T>(file: &mut FitsFile, hdu: &FitsHdu, range: Range<usize>) -> Result<Vec<T>, Fault>
where
    Vec<T>: ReadImage,
{
    hdu.read_section(file, range.start, range.end).map_err(fault)
}

/// Floats that are all counts; calibrated, scaled and averaged frames hold others.
fn counts(values: impl Iterator<Item = f64>) -> Result<Vec<u16>, Fault> {
    let count = |value: f64| match value {
        value if value.is_nan() => Err(Fault::NotRaw("it has pixels without a value (NaN)".into())),
        value if value.fract() != 0.0 => Err(Fault::NotRaw(format!("it has fractional pixels such as {value}"))),
        value if (0.0..=65535.0).contains(&value) => Ok(value as u16),
        value => Err(Fault::NotRaw(format!("it has pixels outside 0 to 65535 such as {value}"))),
    };
    values.map(count).collect()
}

fn fault(error: fitsio::errors::Error) -> Fault {
    match error {
        fitsio::errors::Error::Fits(error) if error.status == OVERFLOW => {
            Fault::NotRaw("it has pixels below 0 or above 65535".into())
        }
        fitsio::errors::Error::Fits(error) => Fault::Damaged(format!("its pixels cannot be read: {}", error.message)),
        other => Fault::Damaged(format!("its pixels cannot be read: {other}")),
    }
}

/// A name for the file without what the C library takes as commands (`[`, `(`, `+2`, `://`) or as another format (`.imh`).
///
/// On Linux it is that of the open file, which was looked at: nobody can put a pipe in its place.
struct PlainName {
    path: PathBuf,
    _open: File,
    _folder: Option<TempDir>,
}

impl PlainName {
    fn new(path: &Path) -> io::Result<Self> {
        let open = open_regular(path)?;
        if let Some(path) = name_of_open(&open) {
            return Ok(Self { path, _open: open, _folder: None });
        }
        let path = std::path::absolute(path)?;
        if path.to_str().is_some_and(is_plain) {
            return Ok(Self { path, _open: open, _folder: None });
        }
        let folder = plain_folder()?;
        let link = folder.path().join("frame.fits");
        stand_in(&path, &link)?;
        Ok(Self { path: link, _open: open, _folder: Some(folder) })
    }
}

/// The C library keeps names in 1025 bytes.
const LONGEST_NAME: usize = 1000;

fn is_plain(path: &str) -> bool {
    let known = |c: char| c.is_ascii_alphanumeric() || "/\\_-.~ +,=@%".contains(c) || (cfg!(unix) && !c.is_ascii());
    // A drive letter's colon is no sign of a network name.
    let body = if cfg!(windows) { path.get(2..).unwrap_or(path) } else { path };
    let number_at_end = path.rsplit_once('+').is_some_and(|(_, end)| end.chars().all(|c| c.is_ascii_digit()));
    let other_format = path.to_lowercase().ends_with(".imh");
    path.len() < LONGEST_NAME && body.chars().all(known) && !number_at_end && !other_format && path.trim() == path
}

/// A folder of our own with a name that the C library can open. On Windows it takes names in the code page of the country,
/// in which the folder of a user may have no name; the ones that all users share have a plain one.
pub(in crate::files) fn plain_folder() -> io::Result<TempDir> {
    let plain = |folder: &Path| folder.to_str().is_some_and(is_plain);
    if cfg!(windows) && !plain(&std::env::temp_dir()) {
        let shared = ["PUBLIC", "ProgramData"].iter().filter_map(std::env::var_os).map(PathBuf::from);
        let made = shared.filter(|folder| plain(folder)).find_map(|folder| tempfile::tempdir_in(folder).ok());
        return made.map_or_else(tempfile::tempdir, Ok);
    }
    tempfile::tempdir()
}

#[cfg(unix)]
fn stand_in(path: &Path, link: &Path) -> io::Result<()> {
    std::os::unix::fs::symlink(path, link)
}

#[cfg(not(unix))]
fn stand_in(path: &Path, link: &Path) -> io::Result<()> {
    std::fs::copy(path, link).map(|_| ())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_are_commands_get_a_stand_in() {
        for name in ["/a/dark_+0C_01.fits", "/a/b c/d.fit", "/a/ä.fits"] {
            assert!(is_plain(name), "{name}");
        }
        for name in ["/a/img[2].fits", "/a/x.fits(y.fits)", "/a/dark+2", "/a/b:c.fits", "/a/x.fits ", "/a/imh.imh"] {
            assert!(!is_plain(name), "{name}");
        }
    }

    #[test]
    fn only_counts_are_taken_from_floats() {
        assert_eq!(counts([0.0, 65535.0, 3.0].into_iter()), Ok(vec![0, 65535, 3]));
        for value in [0.5, -1.0, 65536.0, f64::NAN, f64::INFINITY] {
            assert!(matches!(counts([value].into_iter()), Err(Fault::NotRaw(_))), "{value}");
        }
    }

    #[test]
    fn counts_are_read_as_the_library_reads_them() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("frame.fits");
        let codes: Vec<u16> =
            (0..3000_u32).map(|i| (i * 7919 % 65_536) as u16).chain([0, 1, 32_767, 32_768, 65_535]).collect();
        let description = fitsio::images::ImageDescription {
            data_type: fitsio::images::ImageType::UnsignedShort,
            dimensions: &[5, 601],
        };
        let mut file = FitsFile::create(&path).with_custom_primary(&description).open().unwrap();
        let hdu = file.primary_hdu().unwrap();
        hdu.write_image(&mut file, &codes).unwrap();
        drop(file);
        let bytes = std::fs::read(&path).unwrap();
        let image = super::super::first_image(&mut io::Cursor::new(&bytes), bytes.len() as u64).unwrap();
        assert!(image.counts_at.is_some());
        let by_library = ImageHdu { counts_at: None, ..image.clone() };
        assert_eq!(pixels(&path, &by_library, Vec::new()).unwrap(), codes);
        for memory in [Vec::new(), vec![9; 3005], vec![9; 4000], vec![9; 10]] {
            assert_eq!(pixels(&path, &image, memory).unwrap(), codes);
        }
        assert_eq!(strip(&path, &image).unwrap(), strip(&path, &by_library).unwrap());
        // Cut off after the look at its header.
        std::fs::write(&path, &bytes[..bytes.len() - 2880]).unwrap();
        assert!(matches!(pixels(&path, &image, Vec::new()), Err(Fault::Damaged(_))));
    }
}
