//! The areas of a sensor that see no light: their mean tells each frame's black level.
//!
//! Tag number: Adobe DNG specification 1.7, from memory.

use rawler::formats::tiff::IFD;
use rawler::imgop::Rect;
use rawler::rawimage::RawImage;

const MASKED_AREAS: u16 = 50830;
/// More areas than this are damage.
const MOST_AREAS: usize = 64;
/// Fewer pixels at a place of the cell than this tell no level.
const FEWEST: u64 = 250;

/// Mean count at each place of the 2 × 2 cell at the corner of `area`; empty where too few pixels are known to be masked.
///
/// The areas are those that the file names, or that the decoder knows of the camera, less what lies in the active area:
/// some cameras call the whole border masked and mean less.
pub(super) fn levels(raw: &RawImage, counts: &[u16], area: Rect, ifd: Option<&IFD>) -> Vec<f64> {
    let named = ifd.map(named).unwrap_or_default();
    let known = raw.blackareas.iter().map(|area| [area.p.y, area.p.x, area.p.y + area.d.h, area.p.x + area.d.w]);
    let areas: Vec<[usize; 4]> = if named.is_empty() { known.collect() } else { named };
    let mut sums = [(0_u64, 0_u64); 4];
    for [top, left, bottom, right] in areas.into_iter().take(MOST_AREAS) {
        for row in top..bottom.min(raw.height) {
            let line = counts.get(row * raw.width..(row + 1) * raw.width).unwrap_or_default();
            for (column, count) in line.iter().enumerate().take(right).skip(left) {
                let lit =
                    (area.p.y..area.p.y + area.d.h).contains(&row) && (area.p.x..area.p.x + area.d.w).contains(&column);
                if !lit {
                    let (sum, pixels) = &mut sums[2 * ((row + area.p.y) % 2) + (column + area.p.x) % 2];
                    *sum += u64::from(*count);
                    *pixels += 1;
                }
            }
        }
    }
    if sums.iter().any(|(_, pixels)| *pixels < FEWEST) {
        return Vec::new();
    }
    sums.iter().map(|(sum, pixels)| *sum as f64 / *pixels as f64).collect()
}

/// Top, left, bottom, right of each area of the tag.
fn named(ifd: &IFD) -> Vec<[usize; 4]> {
    let Some(entry) = ifd.get_entry(MASKED_AREAS) else { return Vec::new() };
    let count = (entry.count() as usize).min(4 * MOST_AREAS) / 4;
    (0..count).map(|at| [0, 1, 2, 3].map(|side| entry.force_usize(4 * at + side))).collect()
}
