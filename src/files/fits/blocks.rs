//! Header blocks: 2880 bytes of 36 cards with 80 columns (FITS standard 4.0 §3.1 and §4.1, from memory).

use std::io::Read;

use crate::files::error::Fault;
use crate::frames::Cards;

/// Length of a block in bytes.
pub(super) const BLOCK: u64 = 2880;
const CARD: usize = 80;
/// A header with more blocks is damaged: 36 000 cards.
const MOST_BLOCKS: u64 = 1000;

/// Reads one header; the second value is its length in bytes, whole blocks.
pub(super) fn header(reader: &mut impl Read) -> Result<(Cards, u64), Fault> {
    let mut cards = Cards::default();
    let mut block = [0_u8; BLOCK as usize];
    for blocks in 1..=MOST_BLOCKS {
        let read = fill(reader, &mut block)?;
        for card in block[..read].chunks_exact(CARD) {
            let line: String = card.iter().map(|byte| shown(*byte)).collect();
            if line.trim_end() == "END" {
                return Ok((cards, blocks * BLOCK));
            }
            cards.push_line(&line);
        }
        if read < block.len() {
            return Err(Fault::Damaged("the file ends inside its header".into()));
        }
    }
    Err(Fault::Damaged(format!("its header has no END within {MOST_BLOCKS} blocks")))
}

/// Like `read_exact`, but a short file is no error: the count says how much there was.
fn fill(reader: &mut impl Read, buffer: &mut [u8]) -> Result<usize, Fault> {
    let mut filled = 0;
    while filled < buffer.len() {
        match reader.read(&mut buffer[filled..]) {
            Ok(0) => break,
            Ok(count) => filled += count,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(filled)
}

/// Bytes beyond ASCII are no FITS, but occur, and are taken as Latin-1; control characters could command a terminal.
fn shown(byte: u8) -> char {
    match char::from(byte) {
        '\t' => ' ',
        control if control.is_control() => '?',
        other => other,
    }
}
