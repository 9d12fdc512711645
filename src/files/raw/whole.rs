//! Is the whole file there? What it declares against what is there, and the end of its compressed stream.
//!
//! # Source
//! TIFF 6.0; ITU-T T.81 (lossless JPEG: an end-of-image marker closes every stream, and no other two bytes of a stream
//! read like it); ISO/IEC 14496-12 (boxes of length and name); from memory.

use rawler::formats::tiff::IFD;

use super::checks::MOST_PIXELS_PER_BYTE;
use super::directories::{big_endian, places};
use crate::files::error::Fault;

const BITS: u16 = 258;
const COMPRESSION: u16 = 259;
const SLICES: u16 = 50752;
const PANASONIC_FORMAT: u16 = 0x2d;
const END_OF_IMAGE: [u8; 2] = [0xff, 0xd9];

fn cut_off(there: u64, end: u64) -> Fault {
    Fault::Damaged(format!("the file is cut off: {there} bytes are there, its pixels end at {end}"))
}

/// Checks that all the pixels are there; `size` are the columns and rows that the decoder will make of them.
///
/// A length that a file states of a strip may be wrong in a file that is whole: where the stream shows its own end, or the
/// pixels are not compressed, that counts and not the length.
pub(super) fn check(bytes: &[u8], raw: Option<&IFD>, size: Option<[usize; 2]>) -> Result<(), Fault> {
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
    let needed = plain_length(raw, size).filter(|_| places.len() == 1);
    for (start, length) in places {
        let end = start.saturating_add(needed.map_or(length, |needed| needed.min(length)));
        let behind = bytes.get(start.min(there) as usize..).unwrap_or_default();
        if !(jpeg && behind.starts_with(&[0xff, 0xd8])) {
            if end > there {
                return Err(cut_off(there, end));
            }
            continue;
        }
        // The decoder makes room for what the stream itself promises, whatever the tags say.
        if let Some([width, height, parts]) = promised(behind)
            && width * height * parts > there * MOST_PIXELS_PER_BYTE
        {
            return Err(Fault::Damaged(format!(
                "it is shorter than it says: {there} bytes, and a compressed stream of {width} x {height} pixels in it"
            )));
        }
        let stated = &behind[..behind.len().min(usize::try_from(length).unwrap_or(usize::MAX))];
        // Within a stream no other two bytes read like its end; a wrong length is worth a look at all that follows.
        if stated.windows(2).rev().any(|two| two == END_OF_IMAGE) || stream_ends(behind) {
            continue;
        }
        if end > there {
            return Err(cut_off(there, end));
        }
        let said =
            "the compressed stream of its pixels has no end: the file is cut off, or parts of it were never written";
        return Err(Fault::Damaged(said.into()));
    }
    Ok(())
}

/// The bytes of so many pixels without compression; `None` where they are compressed or nothing says how many there are.
fn plain_length(raw: &IFD, size: Option<[usize; 2]>) -> Option<u64> {
    let number = |tag: u16| raw.get_entry(tag).filter(|entry| entry.count() > 0).map(|entry| entry.force_u32(0));
    let (bits, [width, height]) = (number(BITS).filter(|bits| (8..=16).contains(bits))?, size?);
    let row = (width as u64).checked_mul(u64::from(bits))?.div_ceil(8);
    row.checked_mul(height as u64).filter(|_| number(COMPRESSION) == Some(1))
}

/// Whether a stream of lossless JPEG comes to its end: segments of stated lengths, and behind that of the scan the coded
/// bytes, in which 0xff is followed by 0 or by the mark of a restart.
fn stream_ends(bytes: &[u8]) -> bool {
    let mut at = 2;
    loop {
        let (Some(0xff), Some(mark)) = (bytes.get(at), bytes.get(at + 1)) else { return false };
        match mark {
            0xd9 => return true,
            0xff => at += 1,
            0x00 | 0xd0..=0xd8 => return false,
            mark => {
                let Some(length) = bytes.get(at + 2..at + 4) else { return false };
                at += 2 + usize::from(u16::from_be_bytes([length[0], length[1]]));
                if *mark == 0xda {
                    let Some(coded) = bytes.get(at..) else { return false };
                    let end =
                        coded.windows(2).position(|two| two[0] == 0xff && !matches!(two[1], 0 | 0xd0..=0xd7 | 0xff));
                    let Some(end) = end else { return false };
                    at += end;
                }
            }
        }
    }
}

/// Columns, rows and samples of a pixel that the head of a stream of lossless JPEG promises.
fn promised(bytes: &[u8]) -> Option<[u64; 3]> {
    let two = |at: usize| Some(u64::from(u16::from_be_bytes([*bytes.get(at)?, *bytes.get(at + 1)?])));
    let mut at = 2;
    loop {
        match (bytes.get(at)?, *bytes.get(at + 1)?) {
            (0xff, 0xc3) => return Some([two(at + 7)?, two(at + 5)?, u64::from(*bytes.get(at + 9)?)]),
            (0xff, 0xff) => at += 1,
            (0xff, 0x00 | 0xd0..=0xda) | (0..0xff, _) => return None,
            _ => at += 2 + two(at + 2)? as usize,
        }
    }
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
        check(&bytes, Some(&ifd), None).err().map(|fault| format!("{fault:?}"))
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
        // A stream of two segments behind a length that is too short: it is whole, and cut it is not.
        let stream =
            [&[0xff, 0xd8, 0xff, 0xc4, 0, 3, 7, 0xff, 0xda, 0, 2, 5, 0xff, 0, 6, 0xff, 0xd0, 8, 0xff, 0xd9][..], &jpeg];
        let stream = stream.concat();
        for length in [3, 12, 20, 90] {
            assert_eq!(said(&[(259, 7), (273, 50), (279, length)], &stream), None, "{length}");
            assert!(said(&[(259, 7), (273, 50), (279, length)], &stream[..18]).is_some(), "{length}");
        }
        // Another picture behind it has an end of its own, which is not this one's.
        let broken = [&stream[..17], &jpeg[..]].concat();
        assert!(said(&[(259, 7), (273, 50), (279, 12)], &broken).unwrap().contains("has no end"));
        // The rest of the file was never written.
        let hollow = [0xff, 0xd8, 1, 2, 0xff, 0, 3, 0, 0];
        assert!(said(&[(259, 7), (273, 50), (279, 9)], &hollow).unwrap().contains("has no end"));
    }

    #[test]
    fn a_stream_does_not_promise_more_than_the_file_can_hold() {
        let stream = |width: u16, height: u16| {
            let [w, h] = [width, height].map(u16::to_be_bytes);
            let table = [0xff, 0xc4, 0, 3, 7];
            let frame = [0xff, 0xc3, 0, 11, 14, h[0], h[1], w[0], w[1], 1, 1, 0x11, 0];
            [&[0xff, 0xd8][..], &table, &frame, &[0xff, 0xda, 0, 2, 5, 0xff, 0xd9]].concat()
        };
        let tags = |bytes: &[u8]| [(259, 7), (273, 50), (279, bytes.len() as u32)];
        for (width, height, sound) in [(60, 80, true), (60_000, 40_000, false), (0, 65_535, true)] {
            let bytes = stream(width, height);
            assert_eq!(said(&tags(&bytes), &bytes).is_none(), sound, "{width} x {height}");
        }
        assert!(said(&tags(&stream(60_000, 40_000)), &stream(60_000, 40_000)).unwrap().contains("60000 x 40000"));
        assert_eq!(promised(&stream(60, 80)[..12]), None);
    }

    /// Three columns and two rows of 12 bits take 5 bytes a row.
    #[test]
    fn pixels_without_compression_need_their_own_length_and_no_padding() {
        let said = |stated: u32, there: usize, compression: u32| {
            let tags = [(258, 12), (259, compression), (273, 62), (279, stated)];
            let (bytes, ifd) = tiff(&tags, &vec![1; there]);
            check(&bytes, Some(&ifd), Some([3, 2])).is_ok()
        };
        assert!(said(10, 10, 1) && said(4000, 10, 1) && !said(4000, 9, 1) && !said(10, 9, 1));
        assert!(!said(4000, 10, 32767));
    }

    #[test]
    fn boxes_and_headers_declare_their_ends() {
        let boxed = |length: u32, name: &[u8], body: usize| [&length.to_be_bytes()[..], name, &vec![0; body]].concat();
        let whole = [boxed(16, b"ftyp", 8), boxed(20, b"moov", 12), boxed(30, b"mdat", 22)].concat();
        assert!(check(&whole, None, None).is_ok());
        assert!(check(&whole[..whole.len() - 1], None, None).is_err());
        let long = [&1_u32.to_be_bytes()[..], b"mdat", &40_u64.to_be_bytes(), &[0; 24]].concat();
        let with_long = [boxed(16, b"ftyp", 8), long].concat();
        assert!(check(&with_long, None, None).is_ok());
        assert!(check(&with_long[..50], None, None).is_err());
        let mut raf = b"FUJIFILMCCD-RAW ".to_vec();
        raf.resize(100, 0);
        raf.extend(200_u32.to_be_bytes());
        raf.extend(50_u32.to_be_bytes());
        raf.resize(250, 0);
        assert!(check(&raf, None, None).is_ok());
        assert!(check(&raf[..249], None, None).is_err());
        assert!(check(&[], None, None).is_ok() && check(b"\0\0\0\x01ftyp", None, None).is_ok());
    }
}
