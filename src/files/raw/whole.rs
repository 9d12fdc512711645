//! Is the whole file there? What it declares against what is there, and the end of its compressed stream.
//!
//! # Source
//! TIFF 6.0; ITU-T T.81 (lossless JPEG: an end-of-image marker closes every stream, and no other two bytes of a stream
//! read like it); ISO/IEC 14496-12 (boxes of length and name); from memory.

use rawler::formats::tiff::IFD;

use super::directories::{big_endian, places};
use crate::files::error::Fault;

const COMPRESSION: u16 = 259;
const SLICES: u16 = 50752;
const PANASONIC_FORMAT: u16 = 0x2d;

fn cut_off(there: u64, end: u64) -> Fault {
    Fault::Damaged(format!("the file is cut off: {there} bytes are there, its pixels end at {end}"))
}

/// Checks that all that the file declares of its pixels is there.
pub(super) fn check(bytes: &[u8], raw: Option<&IFD>) -> Result<(), Fault> {
    let there = bytes.len() as u64;
    if let Some(end) = declared_by_boxes(bytes).or_else(|| declared_by_header(bytes))
        && end > there
    {
        return Err(cut_off(there, end));
    }
    let Some(raw) = raw else { return Ok(()) };
    // One maker's strips are declared with numbers that mean something else.
    let places = if raw.get_entry(PANASONIC_FORMAT).is_some() { Vec::new() } else { places(raw) };
    let jpeg = is_lossless_jpeg(raw);
    for (start, length) in places {
        let end = start.saturating_add(length);
        let stream = bytes.get(start.min(there) as usize..end.min(there) as usize).unwrap_or_default();
        if jpeg && stream.starts_with(&[0xff, 0xd8]) {
            // The stream itself knows better where it ends than a length that may be padded.
            let ended = stream.windows(2).rev().any(|two| two == [0xff, 0xd9]);
            if !ended && end > there {
                return Err(cut_off(there, end));
            }
            if !ended {
                let said = "the compressed stream of its pixels has no end: the file is cut off, or parts of it were never written";
                return Err(Fault::Damaged(said.into()));
            }
        } else if end > there {
            return Err(cut_off(there, end));
        }
    }
    Ok(())
}

fn is_lossless_jpeg(raw: &IFD) -> bool {
    let compression = raw.get_entry(COMPRESSION).filter(|entry| entry.count() > 0).map(|entry| entry.force_u32(0));
    compression == Some(7) || raw.get_entry(SLICES).is_some()
}

/// Where the last box ends of a file that consists of boxes.
fn declared_by_boxes(bytes: &[u8]) -> Option<u64> {
    if bytes.get(4..8) != Some(b"ftyp") {
        return None;
    }
    let mut at = 0_u64;
    while let Some(short) = big_endian(bytes, usize::try_from(at).ok()?) {
        let place = usize::try_from(at).ok()?;
        let length = match short {
            // To the end of the file.
            0 => return None,
            1 => (u64::from(big_endian(bytes, place + 8)?) << 32) | u64::from(big_endian(bytes, place + 12)?),
            short => u64::from(short),
        };
        at = at.checked_add(length.max(8))?;
    }
    Some(at)
}

/// Where the pixels end by a header that is no TIFF.
fn declared_by_header(bytes: &[u8]) -> Option<u64> {
    if !bytes.starts_with(b"FUJIFILM") {
        return None;
    }
    Some(u64::from(big_endian(bytes, 100)?) + u64::from(big_endian(bytes, 104)?))
}

#[cfg(test)]
pub(super) mod tests {
    use std::io::Cursor;

    use super::*;

    /// One directory with these tags, each one long, behind which the file has so many zeros.
    pub(in super::super) fn tiff(tags: &[(u16, u32)], behind: &[u8]) -> (Vec<u8>, IFD) {
        let mut bytes = b"II*\0\x08\0\0\0".to_vec();
        bytes.extend((tags.len() as u16).to_le_bytes());
        for (tag, value) in tags {
            bytes.extend(tag.to_le_bytes());
            bytes.extend([4, 0, 1, 0, 0, 0]);
            bytes.extend(value.to_le_bytes());
        }
        bytes.extend([0; 4]);
        bytes.extend(behind);
        let ifd = IFD::new_root(&mut Cursor::new(bytes.clone()), 0).unwrap();
        (bytes, ifd)
    }

    fn said(tags: &[(u16, u32)], behind: &[u8]) -> Option<String> {
        let (bytes, ifd) = tiff(tags, behind);
        check(&bytes, Some(&ifd)).err().map(|fault| format!("{fault:?}"))
    }

    #[test]
    fn a_strip_must_lie_in_the_file_and_a_stream_must_end() {
        // Three tags take 8 + 2 + 36 + 4 bytes.
        let jpeg = [0xff, 0xd8, 1, 2, 0xff, 0, 3, 0xff, 0xd9];
        assert_eq!(said(&[(259, 1), (273, 50), (279, 9)], &jpeg), None);
        assert!(said(&[(259, 1), (273, 50), (279, 10)], &jpeg).unwrap().contains("cut off: 59 bytes are there"));
        assert_eq!(said(&[(259, 7), (273, 50), (279, 9)], &jpeg), None);
        // A stream that ends is whole, however much padding was declared.
        assert_eq!(said(&[(259, 7), (273, 50), (279, 64)], &jpeg), None);
        assert!(said(&[(259, 7), (273, 50), (279, 9)], &jpeg[..8]).unwrap().contains("cut off"));
        // The rest of the file was never written.
        let hollow = [0xff, 0xd8, 1, 2, 0xff, 0, 3, 0, 0];
        assert!(said(&[(259, 7), (273, 50), (279, 9)], &hollow).unwrap().contains("has no end"));
    }

    #[test]
    fn boxes_and_headers_declare_their_ends() {
        let boxed = |length: u32, name: &[u8], body: usize| [&length.to_be_bytes()[..], name, &vec![0; body]].concat();
        let whole = [boxed(16, b"ftyp", 8), boxed(20, b"moov", 12), boxed(30, b"mdat", 22)].concat();
        assert!(check(&whole, None).is_ok());
        assert!(check(&whole[..whole.len() - 1], None).is_err());
        let long = [&1_u32.to_be_bytes()[..], b"mdat", &40_u64.to_be_bytes(), &[0; 24]].concat();
        let with_long = [boxed(16, b"ftyp", 8), long].concat();
        assert!(check(&with_long, None).is_ok());
        assert!(check(&with_long[..50], None).is_err());
        let mut raf = b"FUJIFILMCCD-RAW ".to_vec();
        raf.resize(100, 0);
        raf.extend(200_u32.to_be_bytes());
        raf.extend(50_u32.to_be_bytes());
        raf.resize(250, 0);
        assert!(check(&raf, None).is_ok());
        assert!(check(&raf[..249], None).is_err());
        assert!(check(&[], None).is_ok() && check(b"\0\0\0\x01ftyp", None).is_ok());
    }
}
