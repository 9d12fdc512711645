//! Entries of directories that promise more values than the file has bytes: the decoder would make room for them all.
//!
//! # Source
//! TIFF 6.0, section 2: a directory is a count of entries and 12 bytes for each (tag, type, count, value or offset); from
//! memory.

use crate::files::error::Fault;

const ENTRY: usize = 12;
/// More directories than this are a circle.
const MOST_DIRECTORIES: usize = 64;
/// Tags whose values are places of further directories: sub-directories, Exif.
const BELOW: [u16; 2] = [330, 34665];

/// Reads numbers in the order that the file's head names.
struct Reader<'a> {
    bytes: &'a [u8],
    big: bool,
}

impl Reader<'_> {
    fn short(&self, at: usize) -> Option<u16> {
        let two = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.big { u16::from_be_bytes(two) } else { u16::from_le_bytes(two) })
    }

    fn long(&self, at: usize) -> Option<usize> {
        let four = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.big { u32::from_be_bytes(four) } else { u32::from_le_bytes(four) } as usize)
    }
}

/// Bytes of a value of a type; unknown ones have at least one.
fn size_of(kind: u16) -> usize {
    match kind {
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 => 8,
        _ => 1,
    }
}

/// Checks that no entry of the directories says it has more values than the file has bytes.
pub(super) fn check(bytes: &[u8]) -> Result<(), Fault> {
    let big = match bytes.get(..2) {
        Some(b"II") => false,
        Some(b"MM") => true,
        _ => return Ok(()),
    };
    let reader = Reader { bytes, big };
    let mut places: Vec<usize> = reader.long(4).into_iter().collect();
    let mut seen: Vec<usize> = Vec::new();
    while let Some(place) = places.pop() {
        if place == 0 || seen.contains(&place) || seen.len() >= MOST_DIRECTORIES {
            continue;
        }
        seen.push(place);
        let Some(entries) = reader.short(place) else { continue };
        let first = place + 2;
        for at in (0..usize::from(entries)).map(|entry| first + entry * ENTRY) {
            let fields = (reader.short(at), reader.short(at + 2), reader.long(at + 4), reader.long(at + 8));
            let (Some(tag), Some(kind), Some(count), Some(value)) = fields else { break };
            if count.saturating_mul(size_of(kind)) > bytes.len() {
                let length = bytes.len();
                return Err(Fault::Damaged(format!(
                    "a directory in it is damaged: its tag {tag} says it has {count} values, and the file has {length} bytes"
                )));
            }
            if BELOW.contains(&tag) {
                places.push(value);
            }
        }
        places.extend(reader.long(first + usize::from(entries) * ENTRY));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::raw::whole::tests::tiff;

    #[test]
    fn no_entry_has_more_values_than_the_file_has_bytes() {
        let (sound, _) = tiff(&[(256, 3), (330, 8), (273, 50)], &[0; 90]);
        assert!(check(&sound).is_ok());
        assert!(check(b"II").is_ok() && check(b"").is_ok() && check(b"SIMPLE  =").is_ok());
        // The count of the second entry, in a directory and in one below it that points back.
        let mut promising = sound;
        promising[26..30].copy_from_slice(&0x3fff_ffff_u32.to_le_bytes());
        let Err(Fault::Damaged(said)) = check(&promising) else { panic!("not refused") };
        assert!(said.contains("tag 330 says it has 1073741823 values"), "{said}");
    }
}
