//! The directories of a camera raw file, whichever maker's: where its pixels lie and what Exif says of them.
//!
//! Most makers' files are TIFF with a number of their own in place of 42; the others carry a TIFF block inside.
//! Tag numbers: TIFF 6.0 and Exif 2.32, from memory; the layouts of the makers are common practice, no source.

use std::io::Cursor;

use rawler::decoders::{Decoder, WellKnownIFD};
use rawler::formats::tiff::reader::TiffReader;
use rawler::formats::tiff::{GenericTiffReader, IFD};
use rawler::rawsource::RawSource;

const COMPRESSION: u16 = 259;
const PHOTOMETRIC: u16 = 262;
const COLOUR_FILTERS: u16 = 32803;
const CELL_COLOURS: u16 = 33422;
const SLICES: u16 = 50752;
const EXIF: u16 = 34665;
const GPS: u16 = 34853;
const OFFSETS_AND_LENGTHS: [[u16; 2]; 2] = [[273, 279], [324, 325]];
/// More directories than this are a circle.
const MOST_CHAINED: usize = 16;
/// So far into a picture its Exif block begins at most.
const EXIF_WITHIN: usize = 1 << 16;

/// The directories that matter.
#[derive(Default)]
pub(super) struct Directories {
    /// That of the pixels.
    pub(super) raw: Option<IFD>,
    /// That of what Exif says.
    pub(super) exif: Option<IFD>,
    /// Whether the file is a DNG, whose directory of the pixels the decoder names.
    pub(super) is_dng: bool,
}

impl Directories {
    pub(super) fn new(source: &RawSource, decoder: &dyn Decoder) -> Self {
        let named = |which| decoder.ifd(which).ok().flatten().map(|ifd| (*ifd).clone());
        let dng = named(WellKnownIFD::Raw);
        let all = all(source.buf());
        let exif = named(WellKnownIFD::Exif).or_else(|| all.iter().find_map(|ifd| child(ifd, EXIF)));
        let (is_dng, exif) = (dng.is_some(), exif.or_else(|| inside(source.buf())));
        Self { raw: dng.or_else(|| pixels(&all).cloned()), exif, is_dng }
    }
}

/// Every directory but those of Exif and of the place.
fn all(bytes: &[u8]) -> Vec<IFD> {
    let Ok(tiff) = GenericTiffReader::new(&mut Cursor::new(bytes), 0, 0, Some(MOST_CHAINED), &[]) else {
        return Vec::new();
    };
    let chain = tiff.chains().iter().take(MOST_CHAINED);
    chain
        .flat_map(|ifd| {
            let below = ifd.sub_ifds().iter().filter(|(tag, _)| ![EXIF, GPS].contains(tag));
            std::iter::once(ifd.clone()).chain(below.flat_map(|(_, ifds)| ifds.iter().take(MOST_CHAINED).cloned()))
        })
        .collect()
}

fn child(ifd: &IFD, tag: u16) -> Option<IFD> {
    ifd.sub_ifds().get(&tag)?.first().cloned()
}

/// The directory of a mosaic: it says so, or it has more bytes than the others and is no developed picture.
fn pixels(all: &[IFD]) -> Option<&IFD> {
    let number =
        |ifd: &IFD, tag: u16| ifd.get_entry(tag).filter(|entry| entry.count() > 0).map(|entry| entry.force_u32(0));
    let has_data = |ifd: &&IFD| !places(ifd).is_empty();
    let says = |ifd: &&IFD| {
        number(ifd, PHOTOMETRIC) == Some(u32::from(COLOUR_FILTERS))
            || ifd.get_entry(CELL_COLOURS).is_some()
            || ifd.get_entry(SLICES).is_some()
    };
    // RGB and YCbCr pictures, and JPEG of the old and the new kind within them.
    let developed =
        |ifd: &&IFD| matches!(number(ifd, PHOTOMETRIC), Some(2 | 6)) || matches!(number(ifd, COMPRESSION), Some(6));
    let bytes = |ifd: &&IFD| places(ifd).iter().map(|(_, length)| length).sum::<u64>();
    let mosaic = all.iter().filter(has_data).filter(says).max_by_key(bytes);
    mosaic.or_else(|| all.iter().filter(has_data).filter(|ifd| !developed(ifd)).max_by_key(bytes))
}

/// Start and length of every strip or tile.
pub(super) fn places(ifd: &IFD) -> Vec<(u64, u64)> {
    let (mut found, base) = (Vec::new(), u64::from(ifd.base));
    for [offsets, lengths] in OFFSETS_AND_LENGTHS {
        let (Some(offsets), Some(lengths)) = (ifd.get_entry(offsets), ifd.get_entry(lengths)) else { continue };
        let count = offsets.count().min(lengths.count()) as usize;
        found.extend((0..count).map(|at| (base + u64::from(offsets.force_u32(at)), u64::from(lengths.force_u32(at)))));
    }
    found
}

/// The Exif block of files that are no TIFF themselves.
fn inside(bytes: &[u8]) -> Option<IFD> {
    let block = |at: usize| IFD::new_root(&mut Cursor::new(bytes.get(at..)?), 0).ok();
    if bytes.get(4..8) == Some(b"ftyp") {
        // A box of its own, whose first directory is the one.
        return block(find(bytes.get(..EXIF_WITHIN.min(bytes.len()))?, b"CMT2")? + 4);
    }
    if bytes.starts_with(b"FUJIFILM") {
        let picture = big_endian(bytes, 84)? as usize;
        let start = bytes.get(picture..bytes.len().min(picture.checked_add(EXIF_WITHIN)?))?;
        return child(&block(picture + find(start, b"Exif\0\0")? + 6)?, EXIF);
    }
    None
}

/// The 32-bit number at a place, the high byte first.
pub(super) fn big_endian(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes(four.try_into().ok()?))
}

/// Where the words begin.
pub(super) fn find(bytes: &[u8], words: &[u8]) -> Option<usize> {
    bytes.windows(words.len()).position(|window| window == words)
}
