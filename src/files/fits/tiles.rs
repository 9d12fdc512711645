//! Tile-compressed images: is every tile where the table says, and was the compression lossless?
//!
//! The C library trusts these numbers, and some damaged ones bring it down; what can be checked is checked here.
//!
//! # Source
//! FITS standard 4.0 §7.3.5 (heap) and §10.1 (tiled images), from memory.

use std::io::{Read, Seek, SeekFrom};

use super::MOST_PIXELS;
use super::layout::{bits, count, shape};
use crate::files::error::Fault;
use crate::frames::Cards;

fn damaged(what: impl Into<String>) -> Fault {
    Fault::Damaged(what.into())
}

/// Checks the table of a compressed image whose data begin at `start` of a file of `length` bytes.
pub(super) fn check(
    reader: &mut (impl Read + Seek),
    cards: &Cards,
    table: &[u64],
    start: u64,
    length: u64,
) -> Result<(), Fault> {
    let &[row_bytes, rows] = table else { return Err(damaged("its table of tiles has no two dimensions")) };
    if rows != tile_count(cards)? {
        return Err(damaged(format!("its table has {rows} rows, not one for each tile")));
    }
    check_compression(cards)?;
    let main = row_bytes.checked_mul(rows).ok_or_else(|| damaged("its table is larger than any file"))?;
    let pcount = count(cards, "PCOUNT")?;
    let heap_start = if cards.card("THEAP").is_some() { count(cards, "THEAP")? } else { main };
    let end = main.checked_add(pcount).filter(|end| (main..=*end).contains(&heap_start));
    let end = end.ok_or_else(|| damaged("its heap is not where its header says"))?;
    if start.checked_add(end).is_none_or(|end| end > length) {
        return Err(damaged("its compressed pixels are cut off"));
    }
    let column = data_column(cards, row_bytes)?;
    check_descriptors(reader, &column, start, [row_bytes, rows], end - heap_start)
}

fn tile_count(cards: &Cards) -> Result<u64, Fault> {
    let image = shape(cards, "ZNAXIS")?;
    let (mut tiles, mut pixels) = (1_u64, 1_u64);
    for (axis, length) in image.iter().enumerate() {
        let keyword = format!("ZTILE{}", axis + 1);
        let absent = if axis == 0 { *length } else { 1 };
        let tile = if cards.card(&keyword).is_some() { count(cards, &keyword)? } else { absent };
        if tile == 0 || tile > *length {
            return Err(damaged(format!("its header says {keyword} = {tile}")));
        }
        pixels = pixels.saturating_mul(*length);
        tiles = tiles.saturating_mul(length.div_ceil(tile));
    }
    if pixels > MOST_PIXELS {
        return Err(Fault::TooLarge(format!("its header says {pixels} pixels; more than {MOST_PIXELS} are not read")));
    }
    Ok(tiles)
}

/// The parameter of the compression with this name (`ZNAMEi`, `ZVALi`).
fn parameter(cards: &Cards, name: &str) -> Option<f64> {
    let named = |index: &u32| cards.text(&[&format!("ZNAME{index}")]).is_some_and(|text| text == name);
    (1..=9).find(named).and_then(|index| cards.number(&[&format!("ZVAL{index}")]))
}

fn check_compression(cards: &Cards) -> Result<(), Fault> {
    let method = cards.text(&["ZCMPTYPE"]).unwrap_or_default();
    let one_of = |name: &str, allowed: &[f64]| match parameter(cards, name) {
        Some(value) if !allowed.contains(&value) => Err(damaged(format!("its header says {name} = {value}"))),
        _ => Ok(()),
    };
    match method {
        "RICE_1" | "RICE_ONE" => {
            one_of("BLOCKSIZE", &[8.0, 16.0, 32.0, 64.0])?;
            one_of("BYTEPIX", &[1.0, 2.0, 4.0])?;
        }
        "HCOMPRESS_1" if parameter(cards, "SCALE").is_some_and(|scale| scale != 0.0) => {
            return Err(Fault::NotRaw(
                "its compression was lossy (HCOMPRESS with a scale), which changes its noise".into(),
            ));
        }
        "GZIP_1" | "GZIP_2" | "PLIO_1" | "HCOMPRESS_1" | "NOCOMPRESS" => {}
        _ => return Err(Fault::Unsupported(format!("its compression `{method}` is not known"))),
    }
    let has_column = |name: &str| (1..=20).any(|index| cards.text(&[&format!("TTYPE{index}")]) == Some(name));
    let quantised = has_column("ZSCALE") || cards.card("ZSCALE").is_some();
    if bits(cards, "ZBITPIX")? < 0 && quantised {
        return Err(Fault::NotRaw("its compression was lossy (quantised floats), which changes its noise".into()));
    }
    Ok(())
}

/// Where in a row the descriptor of a tile stands, and what it counts.
struct DataColumn {
    offset: usize,
    wide: bool,
    value_bytes: u64,
}

fn data_column(cards: &Cards, row_bytes: u64) -> Result<DataColumn, Fault> {
    let fields = count(cards, "TFIELDS")?;
    if !(1..=20).contains(&fields) {
        return Err(damaged(format!("its header says TFIELDS = {fields}")));
    }
    let mut offset = 0_u64;
    let mut found = None;
    for field in 1..=fields {
        let keyword = format!("TFORM{field}");
        let form = cards.text(&[&keyword]).unwrap_or_default();
        let column = Column::parse(form).ok_or_else(|| damaged(format!("its header says {keyword} = '{form}'")))?;
        if cards.text(&[&format!("TTYPE{field}")]) == Some("COMPRESSED_DATA") {
            let value_bytes = column.points_to.filter(|_| column.repeat == 1);
            let value_bytes = value_bytes.ok_or_else(|| damaged("its tiles are no variable-length column"))?;
            found = Some(DataColumn { offset: offset as usize, wide: column.value_bytes == 16, value_bytes });
        }
        let width = column.repeat.checked_mul(column.value_bytes).and_then(|width| width.checked_add(offset));
        offset = width
            .filter(|offset| *offset <= row_bytes)
            .ok_or_else(|| damaged("its columns are wider than its rows"))?;
    }
    if offset != row_bytes {
        return Err(damaged("its columns do not fill its rows"));
    }
    found.ok_or_else(|| damaged("it has no column of compressed data"))
}

struct Column {
    repeat: u64,
    value_bytes: u64,
    /// For a descriptor: bytes of one value in the heap.
    points_to: Option<u64>,
}

impl Column {
    fn parse(form: &str) -> Option<Self> {
        let digits = form.len() - form.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let repeat = if digits == 0 { 1 } else { form[..digits].parse().ok()? };
        let mut letters = form[digits..].chars();
        let value = |letter: Option<char>| match letter? {
            'L' | 'X' | 'B' | 'A' | 'S' => Some(1),
            'I' | 'U' => Some(2),
            'J' | 'E' | 'V' => Some(4),
            'K' | 'D' | 'C' | 'W' => Some(8),
            'M' => Some(16),
            _ => None,
        };
        let letter = letters.next();
        match letter {
            Some('P') => Some(Self { repeat, value_bytes: 8, points_to: Some(value(letters.next())?) }),
            Some('Q') => Some(Self { repeat, value_bytes: 16, points_to: Some(value(letters.next())?) }),
            other => Some(Self { repeat, value_bytes: value(other)?, points_to: None }),
        }
    }
}

/// Every descriptor (count, offset) must point into the heap.
fn check_descriptors(
    reader: &mut (impl Read + Seek),
    column: &DataColumn,
    start: u64,
    [row_bytes, rows]: [u64; 2],
    heap: u64,
) -> Result<(), Fault> {
    reader.seek(SeekFrom::Start(start))?;
    // The caller has checked that the rows are in the file; a row has at most a few columns.
    let row_bytes = usize::try_from(row_bytes).ok().filter(|bytes| *bytes <= 4096);
    let mut row = vec![0_u8; row_bytes.ok_or_else(|| damaged("its table of tiles has absurdly wide rows"))?];
    let mut buffered = std::io::BufReader::with_capacity(1 << 16, reader);
    for _ in 0..rows {
        buffered.read_exact(&mut row)?;
        let inside = descriptor(&row, column).is_some_and(|(count, offset)| {
            count
                .checked_mul(column.value_bytes)
                .and_then(|bytes| bytes.checked_add(offset))
                .is_some_and(|end| end <= heap)
        });
        if !inside {
            return Err(damaged("a tile lies outside its compressed data"));
        }
    }
    Ok(())
}

fn descriptor(row: &[u8], column: &DataColumn) -> Option<(u64, u64)> {
    let number = |at: usize| {
        let from = column.offset.checked_add(at)?;
        if column.wide {
            Some(u64::from_be_bytes(row.get(from..from + 8)?.try_into().ok()?))
        } else {
            Some(u64::from(u32::from_be_bytes(row.get(from..from + 4)?.try_into().ok()?)))
        }
    };
    Some((number(0)?, number(if column.wide { 8 } else { 4 })?))
}
