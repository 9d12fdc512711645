//! What a raw file must not be: larger than it can hold, processed, or decoded to something else than counts.
//!
//! Tag numbers: Adobe DNG specification 1.7, and TIFF 6.0, from memory.

use rawler::formats::tiff::IFD;

use crate::files::error::Fault;
use crate::files::fits::MOST_PIXELS;
use crate::files::preview::Image;

const WIDTH: u16 = 256;
const HEIGHT: u16 = 257;
const COMPRESSION: u16 = 259;
const SAMPLES: u16 = 277;
const STRIPS: [u16; 2] = [273, 279];
const TILE_WIDTH: u16 = 322;
const TILE_HEIGHT: u16 = 323;
const TILES: [u16; 2] = [324, 325];
const CELL: u16 = 33421;
const LINEARIZATION: u16 = 50712;
const NOISE_REDUCTION: u16 = 50935;

/// No compression without loss packs a frame of noise tighter than this many pixels to a byte.
const MOST_PIXELS_PER_BYTE: u64 = 64;
/// So far beyond the stated white level single pixels may reach: makers state it with a margin.
const WHITE_MARGIN: f64 = 1.02;
/// A larger share of pixels beyond it is no hot pixels.
const MOST_BEYOND_WHITE: f64 = 1e-3;
/// So many rows of nothing at the end are no picture.
const EMPTY_ROWS: usize = 4;

pub(super) fn several_samples(samples: usize) -> String {
    format!(
        "it has {samples} samples for each pixel (a linear DNG, or a small raw): its colours are mixed already; give the camera's own raw files at full size"
    )
}

pub(super) fn other_cell(width: usize, height: usize) -> String {
    format!("its colour array repeats every {width} x {height} pixels; only arrays of 2 x 2 can be measured")
}

/// Checks what the tags promise before anything is allocated for it; `length` is that of the file.
pub(super) fn before_decoding(ifd: &IFD, length: usize) -> Result<(), Fault> {
    let count = |tag: u16| ifd.get_entry(tag).filter(|entry| entry.count() > 0).map(|entry| entry.force_usize(0));
    let (width, height) = (count(WIDTH).unwrap_or(0), count(HEIGHT).unwrap_or(0));
    let samples = count(SAMPLES).unwrap_or(1);
    if samples != 1 {
        return Err(Fault::NotRaw(several_samples(samples)));
    }
    check_size([width, height], [count(TILE_WIDTH), count(TILE_HEIGHT)], length as u64)?;
    if let Some(cell) = ifd.get_entry(CELL).filter(|cell| cell.count() == 2) {
        let (rows, columns) = (cell.force_usize(0), cell.force_usize(1));
        if (rows, columns) != (2, 2) {
            return Err(Fault::Unsupported(other_cell(columns, rows)));
        }
    }
    check_processing(ifd, count(COMPRESSION))?;
    for [offsets, lengths] in [STRIPS, TILES] {
        check_places(ifd, offsets, lengths, length as u64)?;
    }
    Ok(())
}

fn check_size([width, height]: [usize; 2], tile: [Option<usize>; 2], length: u64) -> Result<(), Fault> {
    let whole = |side: usize, tile: Option<usize>| match tile {
        Some(0) => None,
        Some(tile) => (side as u64).checked_next_multiple_of(tile as u64),
        None => Some(side as u64),
    };
    let pixels = whole(width, tile[0]).zip(whole(height, tile[1])).and_then(|(w, h)| w.checked_mul(h));
    match pixels.filter(|_| width > 0 && height > 0) {
        None => Err(Fault::Damaged(format!("its tags say {width} x {height} pixels"))),
        Some(pixels) if pixels > MOST_PIXELS => Err(Fault::TooLarge(format!(
            "its tags say {width} x {height} pixels, the limit is {} megapixels",
            MOST_PIXELS / 1_000_000
        ))),
        Some(pixels) if pixels > length.saturating_mul(MOST_PIXELS_PER_BYTE) => {
            Err(Fault::Damaged(format!("it is shorter than it says: {length} bytes for {width} x {height} pixels")))
        }
        Some(_) => Ok(()),
    }
}

/// Steps that change the noise, where the file owns up to them.
fn check_processing(ifd: &IFD, compression: Option<usize>) -> Result<(), Fault> {
    match compression {
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
        _ => {}
    }
    if let Some(table) = ifd.get_entry(LINEARIZATION) {
        let at = |place: usize| table.force_u32(place);
        let even = (1..table.count() as usize).all(|place| at(place) == at(place - 1).saturating_add(1));
        if !even {
            return Err(Fault::NotRaw(
                "its counts are coded through a table with uneven steps, which changes its noise; convert it again without loss".into(),
            ));
        }
    }
    let reduced = ifd.get_entry(NOISE_REDUCTION).filter(|entry| entry.count() == 1).map(|entry| entry.force_f32(0));
    if reduced.is_some_and(|share| share.is_finite() && share > 0.0) {
        return Err(Fault::NotRaw("its noise was reduced already, as its tags say; switch that off".into()));
    }
    Ok(())
}

/// Every strip or tile must lie in the file.
fn check_places(ifd: &IFD, offsets: u16, lengths: u16, file: u64) -> Result<(), Fault> {
    let (Some(offsets), Some(lengths)) = (ifd.get_entry(offsets), ifd.get_entry(lengths)) else { return Ok(()) };
    let count = offsets.count().min(lengths.count()) as usize;
    let ends = (0..count).map(|at| u64::from(offsets.force_u32(at)) + u64::from(lengths.force_u32(at)));
    match ends.max() {
        Some(end) if end > file => {
            Err(Fault::Damaged(format!("the file is cut off: {file} bytes are there, its pixels end at {end}")))
        }
        _ => Ok(()),
    }
}

/// Checks the counts themselves.
pub(super) fn after_decoding(image: &Image, white: Option<u32>, bits: usize) -> Result<(), Fault> {
    let Image { width, pixels, .. } = image;
    if pixels.iter().all(|count| *count == 0) {
        return Err(Fault::Damaged(
            "every pixel decodes to 0: the file is damaged, or of a kind that the decoder cannot read; convert it to DNG".into(),
        ));
    }
    let empty = pixels.rchunks(*width).take_while(|row| row.iter().all(|count| *count == 0)).count();
    if empty >= EMPTY_ROWS {
        return Err(Fault::Damaged(format!("its last {empty} rows decode to 0: the file is cut off or damaged")));
    }
    let most = white.map_or(f64::INFINITY, |white| f64::from(white) * WHITE_MARGIN);
    let ceiling = if bits < 16 { f64::from((1_u32 << bits) - 1) } else { f64::INFINITY };
    let share =
        |limit: f64| pixels.iter().filter(|count| f64::from(**count) > limit).count() as f64 / pixels.len() as f64;
    let (above_white, above_bits) = (share(most), if ceiling < most { share(ceiling) } else { 0.0 });
    if above_white > MOST_BEYOND_WHITE || above_bits > 0.0 {
        let percent = 100.0 * above_white.max(above_bits);
        let limit = if above_bits > 0.0 { ceiling } else { f64::from(white.unwrap_or(0)) };
        return Err(Fault::Damaged(format!(
            "{percent:.1} % of its pixels lie beyond the white level of {limit} that it states: decoded wrongly or damaged; convert it to DNG again"
        )));
    }
    Ok(())
}
