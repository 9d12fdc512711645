//! Compression that loses counts, and tables that bend them, maker by maker.
//!
//! The numbers of the makers' variants are those that the decoder knows; which of them lose is common practice, no source.

use std::io::Cursor;

use rawler::formats::tiff::ifd::OffsetMode;
use rawler::formats::tiff::{IFD, Value};

use super::directories::{Directories, big_endian, find};
use crate::files::error::Fault;

const BITS: u16 = 258;
const COMPRESSION: u16 = 259;
const MAKERS_NOTE: u16 = 0x927c;
const NEF_COMPRESSION: u16 = 0x93;
const PANASONIC_FORMAT: u16 = 0x2d;
const LINEARIZATION: u16 = 50712;
const NOISE_REDUCTION: u16 = 50935;
/// The subdirectory of one maker's pixels, and where they start.
const RAF: [u16; 2] = [0xf000, 0xf007];

const LOSSLESS: &str = "set the camera to lossless compression or none";

fn lossy(how: &str) -> Fault {
    Fault::NotRaw(format!("{how}, which changes its noise; {LOSSLESS}"))
}

/// Refuses what the camera or a converter changed, where the file owns up to it.
pub(super) fn check(bytes: &[u8], directories: &Directories) -> Result<(), Fault> {
    if let Some(raw) = &directories.raw {
        by_tags(raw, directories.is_dng)?;
    }
    if let Some(exif) = &directories.exif {
        by_makers_note(bytes, exif)?;
    }
    if wavelets(bytes) == Some(true) {
        return Err(lossy("its compression (wavelets) loses counts"));
    }
    if raf_is_lossy(bytes) == Some(true) {
        return Err(lossy("its compression loses counts"));
    }
    Ok(())
}

/// The words for a fixed rate that a maker's cameras have instead of a choice: worth a doubt, no refusal.
pub(super) fn fixed_rate(directories: &Directories) -> Option<&'static str> {
    let format = directories.raw.as_ref()?.get_entry(PANASONIC_FORMAT)?.force_u32(0);
    matches!(format, 3 | 4 | 6).then_some("blocks of pixels of a fixed number of bytes")
}

fn by_tags(raw: &IFD, is_dng: bool) -> Result<(), Fault> {
    let number = |tag: u16| raw.get_entry(tag).filter(|entry| entry.count() > 0).map(|entry| entry.force_u32(0));
    match number(COMPRESSION) {
        Some(34892) => {
            return Err(Fault::NotRaw(
                "its compression was lossy, which changes its noise; convert it again without loss".into(),
            ));
        }
        Some(52546) => {
            return Err(Fault::NotRaw(
                "its compression (JPEG XL) may be lossy, which changes its noise; convert it again with the lossless JPEG or none".into(),
            ));
        }
        Some(32767) if !is_dng && number(BITS) == Some(8) => {
            return Err(lossy(
                "its counts are coded in blocks of 16 pixels with 8 bits each, through a table with uneven steps",
            ));
        }
        Some(32766) if !is_dng => return Err(lossy("its compression (wavelets) may lose counts")),
        _ => {}
    }
    if let Some(table) = raw.get_entry(LINEARIZATION) {
        let at = |place: usize| table.force_u32(place);
        let even = (1..table.count() as usize).all(|place| at(place) == at(place - 1).saturating_add(1));
        if !even {
            return Err(Fault::NotRaw(
                "its counts are coded through a table with uneven steps, which changes its noise; convert it again without loss".into(),
            ));
        }
    }
    let reduced = raw.get_entry(NOISE_REDUCTION).filter(|entry| entry.count() == 1).map(|entry| entry.force_f32(0));
    if reduced.is_some_and(|share| share.is_finite() && share > 0.0) {
        return Err(Fault::NotRaw("its noise was reduced already, as its tags say; switch that off".into()));
    }
    Ok(())
}

/// One maker names the variant in its note.
fn by_makers_note(bytes: &[u8], exif: &IFD) -> Result<(), Fault> {
    let signed = |value: &Value| matches!(value, Value::Undefined(bytes) if bytes.starts_with(b"Nikon"));
    if !exif.get_entry(MAKERS_NOTE).is_some_and(|entry| signed(&entry.value)) {
        return Ok(());
    }
    let note = exif.parse_makernote(&mut Cursor::new(bytes), OffsetMode::Absolute, &[]).ok().flatten();
    let variant = note.and_then(|note| note.get_entry(NEF_COMPRESSION).map(|entry| entry.force_u32(0)));
    match variant {
        Some(1 | 4) => Err(lossy("its counts are coded through a table with uneven steps")),
        Some(8) => Err(lossy("it is a small raw file, its colours mixed already")),
        Some(13 | 14) => Err(lossy("its compression (high efficiency) loses counts")),
        _ => Ok(()),
    }
}

/// Whether the widest picture of a file of boxes was put into wavelets: the last four bits of a byte tell how many times.
fn wavelets(bytes: &[u8]) -> Option<bool> {
    if bytes.get(4..8) != Some(b"ftyp") {
        return None;
    }
    let start = bytes.get(..bytes.len().min(1 << 18))?;
    let mut widest: Option<(u32, bool)> = None;
    let mut from = 0;
    while let Some(at) = find(start.get(from..)?, b"CMP1") {
        from += at + 4;
        let (Some(width), Some(levels)) = (big_endian(start, from + 8), start.get(from + 26)) else { break };
        if widest.is_none_or(|(known, _)| width > known) {
            widest = Some((width, levels & 15 > 0));
        }
    }
    widest.map(|(_, lossy)| lossy)
}

/// Whether the stream of one maker's pixels begins with the sign of compression and the word that it loses.
fn raf_is_lossy(bytes: &[u8]) -> Option<bool> {
    if !bytes.starts_with(b"FUJIFILM") {
        return None;
    }
    let at = big_endian(bytes, 100)?;
    let root = IFD::new_root_with_correction(&mut Cursor::new(bytes), 0, at, 0, 10, &[RAF[0]]).ok()?;
    let start = root.sub_ifds().get(&RAF[0])?.first()?.get_entry(RAF[1])?.force_u32(0);
    let stream = bytes.get(at.checked_add(start)? as usize..)?;
    Some(stream.starts_with(&[0x49, 0x53]) && stream.get(2) == Some(&0))
}

#[cfg(test)]
mod tests {
    use super::super::whole::tests::tiff;
    use super::*;

    fn refused(tags: &[(u16, u32)]) -> Option<String> {
        let (bytes, raw) = tiff(tags, &[]);
        let directories = Directories { raw: Some(raw), ..Directories::default() };
        check(&bytes, &directories).err().map(|fault| match fault {
            Fault::NotRaw(why) => why,
            other => panic!("{other:?}"),
        })
    }

    #[test]
    fn variants_that_lose_are_refused_in_their_own_words() {
        assert_eq!(refused(&[(BITS, 14), (COMPRESSION, 7)]), None);
        assert_eq!(refused(&[(BITS, 12), (COMPRESSION, 32767)]), None);
        for (tags, word) in [
            ([(BITS, 8), (COMPRESSION, 32767)], "blocks of 16 pixels"),
            ([(BITS, 14), (COMPRESSION, 32766)], "wavelets"),
            ([(BITS, 16), (COMPRESSION, 34892)], "lossy"),
            ([(BITS, 16), (COMPRESSION, 52546)], "JPEG XL"),
        ] {
            let why = refused(&tags).unwrap_or_else(|| panic!("{tags:?}"));
            assert!(why.contains(word) && why.contains("noise") && !why.contains("damaged"), "{why}");
        }
    }

    #[test]
    fn wavelets_are_told_by_the_widest_picture() {
        let compressed = |width: u32, levels: u8| {
            let mut body = vec![0; 8];
            body.extend(width.to_be_bytes());
            body.resize(26, 0);
            body.push(levels);
            body.resize(48, 0);
            [&56_u32.to_be_bytes()[..], b"CMP1", &body].concat()
        };
        let file = |pictures: &[Vec<u8>]| [&16_u32.to_be_bytes()[..], b"ftyp", &[0; 8], &pictures.concat()].concat();
        assert_eq!(wavelets(&file(&[compressed(1600, 3), compressed(6000, 0)])), Some(false));
        assert_eq!(wavelets(&file(&[compressed(1600, 0), compressed(6000, 3)])), Some(true));
        assert_eq!(wavelets(&file(&[])), None);
        assert_eq!(wavelets(b"II*\0"), None);
    }
}
