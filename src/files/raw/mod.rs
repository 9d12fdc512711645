//! Camera raw files: the counts of the mosaic as the camera stored them, and what the metadata say, as cards.
//!
//! Called in the worker process only: the decoder trusts the sizes in a file, and damaged ones can end the process.
//! Nothing is scaled and no black level is taken off; the masked borders are cut away.

mod checks;
mod directories;
mod entries;
mod losses;
mod masked;
mod metadata;
#[cfg(test)]
mod records;
mod whole;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::LazyLock;

use rawler::decoders::{Decoder, RawDecodeParams, RawLoader};
use rawler::imgop::Rect;
use rawler::rawimage::{RawImage, RawPhotometricInterpretation};
use rawler::rawsource::RawSource;
use rawler::{CFA, RawImageData};

use directories::Directories;

use super::error::Fault;
use super::preview::{Image, Preview};
use crate::frames::{CfaPattern, StripStatistics};

/// Rows that the preview looks at.
const STRIP_ROWS: usize = 32;

/// What the metadata say, and a look at a strip of the pixels; it decodes the whole frame, for a camera's
/// compression knows no strips, and only so are frames that decode to nothing found at the first look.
pub(super) fn preview(path: &Path) -> Result<Preview, Fault> {
    let (mosaic, cards) = guarded(path, |source, decoder| {
        let directories = Directories::new(source, decoder);
        let mosaic = Mosaic::new(source, decoder, &directories)?;
        let cards = metadata::cards(source, decoder, &directories, &mosaic);
        Ok((mosaic, cards))
    })?;
    let Image { width, height, pixels } = mosaic.image;
    let first = height.saturating_sub(STRIP_ROWS) / 2;
    let strip = &pixels[first * width..height.min(first + STRIP_ROWS) * width];
    Ok(Preview { cards, width, height, strip_statistics: StripStatistics::from_strip(strip, width) })
}

/// All the counts inside the masked borders.
pub(super) fn pixels(path: &Path) -> Result<Image, Fault> {
    guarded(path, |source, decoder| Ok(Mosaic::new(source, decoder, &Directories::new(source, decoder))?.image))
}

/// Knows a thousand cameras; it reads their list once.
static LOADER: LazyLock<RawLoader> = LazyLock::new(RawLoader::new);

/// The decoder panics on some damaged files; that is one damaged file, not a fault of ours.
fn guarded<T>(path: &Path, read: impl Fn(&RawSource, &dyn Decoder) -> Result<T, Fault>) -> Result<T, Fault> {
    // Mapping a file that shrinks meanwhile would end the process, so it is read.
    let bytes = crate::files::open::bytes_of(path)?;
    entries::check(&bytes)?;
    let source = RawSource::new_from_shared_vec(bytes.into()).with_path(path);
    let run = || {
        let decoder = LOADER.get_decoder(&source).map_err(|error| unknown(&error))?;
        read(&source, decoder.as_ref())
    };
    catch_unwind(AssertUnwindSafe(run))
        .unwrap_or_else(|_| Err(Fault::Damaged("the raw decoder fails on its contents: it is damaged".into())))
}

fn unknown(error: &rawler::RawlerError) -> Fault {
    match error {
        rawler::RawlerError::Unsupported { model, what, .. } if !model.is_empty() => Fault::Unsupported(format!(
            "a raw file of a camera that the decoder does not know ({}: {}); convert it to DNG without compression loss",
            printable(model),
            printable(what)
        )),
        _ => Fault::Damaged("a camera raw file by its name, but the decoder finds none in it".into()),
    }
}

fn undecoded(error: &rawler::RawlerError) -> Fault {
    let text = printable(&error.to_string());
    if ["EOF", "Eof", "too short", "Unexpected end"].iter().any(|word| text.contains(word)) {
        return Fault::Damaged("the file is shorter than it says: it is cut off".into());
    }
    if let rawler::RawlerError::Unsupported { .. } = error {
        return Fault::Unsupported(format!("the raw decoder cannot read this variant ({text})"));
    }
    Fault::Damaged(format!("its pixels cannot be read: {text}"))
}

/// The first line without characters that could command a terminal.
fn printable(text: &str) -> String {
    let line = text.trim().lines().next().unwrap_or_default();
    line.chars().filter(|c| !c.is_control()).take(120).collect()
}

/// The counts of the active area, and what is needed to read them.
pub(super) struct Mosaic {
    pub(super) image: Image,
    /// The colours at the corner of the active area; `None` for a monochrome sensor.
    pub(super) cfa: Option<CfaPattern>,
    /// The black level that the file states, for each place of its own cell.
    pub(super) black: Vec<f32>,
    /// The highest count that the file states.
    pub(super) white: Option<u32>,
    /// Mean count of the masked areas at each place of the cell of the active area; empty where none is known.
    pub(super) masked: Vec<f64>,
    /// Widths of the borders that were cut off: left, top, right, bottom.
    pub(super) borders: [usize; 4],
    pub(super) name: String,
}

impl Mosaic {
    fn new(source: &RawSource, decoder: &dyn Decoder, directories: &Directories) -> Result<Self, Fault> {
        let (bytes, params) = (source.buf(), RawDecodeParams::default());
        let ifd = directories.raw.as_ref();
        if let Some(ifd) = ifd {
            checks::tags(ifd, directories.is_dng, bytes.len())?;
        }
        losses::check(bytes, directories)?;
        let promised = promised_size(source, decoder);
        whole::check(bytes, ifd, promised)?;
        if let Some(promised) = promised {
            checks::size(promised, [None, None], bytes.len() as u64)?;
        }
        let raw = decoder.raw_image(source, &params, false).map_err(|error| undecoded(&error))?;
        let area = active_area(&raw)?;
        let cfa = cfa(&raw, area)?;
        let RawImageData::Integer(counts) = &raw.data else {
            return Err(Fault::NotRaw("its pixels are floating point, not counts".into()));
        };
        let image = cropped(counts, raw.width, raw.height, area)?;
        let masked = masked::levels(&raw, counts, area, ifd.filter(|_| directories.is_dng));
        let white = raw.whitelevel.0.iter().copied().max().filter(|white| *white > 0);
        checks::counts(&image, white, raw.bps)?;
        let borders = [area.p.x, area.p.y, raw.width - area.p.x - area.d.w, raw.height - area.p.y - area.d.h];
        Ok(Self { image, cfa, black: raw.blacklevel.as_vec(), white, masked, borders, name: camera_name(&raw) })
    }
}

/// The size that the decoder will allocate, found without decoding; not all of its formats can say.
fn promised_size(source: &RawSource, decoder: &dyn Decoder) -> Option<[usize; 2]> {
    let run = || decoder.raw_image(source, &RawDecodeParams::default(), true);
    let raw = catch_unwind(AssertUnwindSafe(run)).ok()?.ok()?;
    Some([raw.width * raw.cpp.max(1), raw.height])
}

fn active_area(raw: &RawImage) -> Result<Rect, Fault> {
    area_of(raw.active_area, raw.crop_area, raw.width, raw.height)
}

/// The part of the sensor that sees light; where only the part for pictures is known, what lies around it may be masked.
fn area_of(active: Option<Rect>, crop: Option<Rect>, width: usize, height: usize) -> Result<Rect, Fault> {
    let whole = Rect { p: rawler::imgop::Point::new(0, 0), d: rawler::imgop::Dim2::new(width, height) };
    let area = active.or(crop).unwrap_or(whole);
    let inside =
        |start: usize, length: usize, all: usize| length > 0 && start.checked_add(length).is_some_and(|end| end <= all);
    if inside(area.p.x, area.d.w, width) && inside(area.p.y, area.d.h, height) {
        Ok(area)
    } else {
        Err(Fault::Damaged("its active area lies outside its pixels".into()))
    }
}

/// The decoder gives the pattern from the corner of the whole sensor; what is kept starts at the active area.
fn cfa(raw: &RawImage, area: Rect) -> Result<Option<CfaPattern>, Fault> {
    if raw.cpp != 1 {
        return Err(Fault::NotRaw(checks::several_samples(raw.cpp)));
    }
    let RawPhotometricInterpretation::Cfa(config) = &raw.photometric else { return Ok(None) };
    pattern(&config.cfa, area)
}

/// The colours at the corner of the area.
fn pattern(pattern: &CFA, area: Rect) -> Result<Option<CfaPattern>, Fault> {
    match (pattern.width, pattern.height) {
        (0, 0) | (1, 1) => return Ok(None),
        (2, 2) => {}
        (width, height) => return Err(Fault::Unsupported(checks::other_cell(width, height))),
    }
    let name = pattern.shift(area.p.x % 2, area.p.y % 2).name;
    let known = CfaPattern::from_name(&name);
    known
        .map(Some)
        .ok_or_else(|| Fault::Unsupported(format!("its colour array {name} is none of RGGB, BGGR, GRBG, GBRG")))
}

fn cropped(counts: &[u16], width: usize, height: usize, area: Rect) -> Result<Image, Fault> {
    if Some(counts.len()) != width.checked_mul(height) {
        return Err(Fault::Damaged("its pixels do not fill its rows".into()));
    }
    // Row by row as whole slices: pixel by pixel it took a fifth of all the time of a measurement.
    let mut pixels = Vec::with_capacity(area.d.w * area.d.h);
    for row in counts.chunks_exact(width.max(1)).skip(area.p.y).take(area.d.h) {
        pixels.extend_from_slice(&row[area.p.x..area.p.x + area.d.w]);
    }
    Ok(Image { width: area.d.w, height: area.d.h, pixels })
}

fn camera_name(raw: &RawImage) -> String {
    let (make, model) = (printable(&raw.clean_make), printable(&raw.clean_model));
    if model.to_lowercase().starts_with(&make.to_lowercase()) { model } else { format!("{make} {model}") }
}
