//! What a raw file must not be: larger than it can hold, of several samples, or decoded to something else than counts.
//!
//! Tag numbers: Adobe DNG specification 1.7, and TIFF 6.0, from memory.

use rawler::formats::tiff::IFD;

use crate::files::error::Fault;
use crate::files::fits::MOST_PIXELS;
use crate::files::preview::Image;

const WIDTH: u16 = 256;
const HEIGHT: u16 = 257;
const SAMPLES: u16 = 277;
const TILE_WIDTH: u16 = 322;
const TILE_HEIGHT: u16 = 323;
const CELL: u16 = 33421;

/// No compression without loss packs a frame of noise tighter than this many pixels to a byte.
pub(super) const MOST_PIXELS_PER_BYTE: u64 = 64;
/// A larger share of pixels beyond what a file allows is no hot pixels.
const MOST_BEYOND: f64 = 1e-3;
/// Half of all pixels differ from the next but one by less than this share of the highest count, for which a picture needs
/// a hundred electrons and more: what scatters wider was put together wrongly.
const WILD: f64 = 0.1;
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
///
/// Makers' own files often leave these tags out or state the size of another picture: of them only the samples are read
/// here, and their size is that which the decoder finds ([`size`]).
pub(super) fn tags(ifd: &IFD, is_dng: bool, length: usize) -> Result<(), Fault> {
    let count = |tag: u16| ifd.get_entry(tag).filter(|entry| entry.count() > 0).map(|entry| entry.force_usize(0));
    let samples = count(SAMPLES).unwrap_or(1);
    if samples != 1 && is_dng {
        return Err(Fault::NotRaw(several_samples(samples)));
    }
    if !is_dng {
        return Ok(());
    }
    let sides = [count(WIDTH).unwrap_or(0), count(HEIGHT).unwrap_or(0)];
    size(sides, [count(TILE_WIDTH), count(TILE_HEIGHT)], length as u64)?;
    if let Some(cell) = ifd.get_entry(CELL).filter(|cell| cell.count() == 2) {
        let (rows, columns) = (cell.force_usize(0), cell.force_usize(1));
        if (rows, columns) != (2, 2) {
            return Err(Fault::Unsupported(other_cell(columns, rows)));
        }
    }
    Ok(())
}

/// Checks a size that a file of so many bytes promises.
pub(super) fn size([width, height]: [usize; 2], tile: [Option<usize>; 2], length: u64) -> Result<(), Fault> {
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

/// Checks the counts themselves. `white` is what the file states: cameras reach beyond it at some ISO numbers, by a third
/// and more, so it is a hint and no limit.
pub(super) fn counts(image: &Image, white: Option<u32>, bits: usize) -> Result<(), Fault> {
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
    let ceiling = if bits < 16 { (1_u32 << bits) - 1 } else { u32::from(u16::MAX) };
    let limit = u16::try_from(white.map_or(ceiling, |white| white.min(ceiling))).unwrap_or(u16::MAX);
    let beyond = pixels.iter().filter(|count| **count > limit).count() as f64 / pixels.len() as f64;
    if beyond > MOST_BEYOND && is_wild(image) {
        return Err(Fault::Damaged(format!(
            "{:.1} % of its pixels lie beyond the level of {limit} that it states, and neighbours have nothing in common: decoded wrongly or damaged; convert it to DNG again",
            100.0 * beyond
        )));
    }
    Ok(())
}

/// Whether pixels of one colour side by side differ by a good part of the highest count.
fn is_wild(image: &Image) -> bool {
    let highest = image.pixels.iter().copied().max().unwrap_or(0);
    let mut steps: Vec<u16> = (image.pixels.chunks(image.width))
        .flat_map(|row| row.windows(3).step_by(7).map(|three| three[2].abs_diff(three[0])))
        .collect();
    if steps.is_empty() {
        return false;
    }
    let middle = steps.len() / 2;
    let median = *steps.select_nth_unstable(middle).1;
    f64::from(median) > WILD * f64::from(highest)
}
