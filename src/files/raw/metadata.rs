//! What the metadata of a raw file say, in the words of a FITS header, so that one reader understands both.
//!
//! # Source
//! Exif 2.32 (CIPA DC-008): tag numbers and APEX units, from memory.

use rawler::decoders::{Decoder, RawDecodeParams, WellKnownIFD};
use rawler::exif::Exif;
use rawler::formats::tiff::{IFD, Value};
use rawler::rawsource::RawSource;

use super::directories::Directories;
use super::{Mosaic, losses, printable};
use crate::frames::Cards;

const NOISE_PROFILE: u16 = 51041;
/// Two for each of four colour planes.
const MOST_PROFILE_NUMBERS: usize = 8;
const AMBIENT: u16 = 0x9400;
const FOCAL_PLANE_X: u16 = 0xa20e;
const FOCAL_PLANE_UNIT: u16 = 0xa210;
const PICTURE_WIDTH: u16 = 0xa002;
const FOCAL_LENGTH: u16 = 0x920a;
const FOCAL_LENGTH_35MM: u16 = 0xa405;
/// The number that a camera's own scale of ISO reads, the recommended exposure index, and the measured speed.
const SPEEDS: [u16; 3] = [0x8831, 0x8832, 0x8833];
/// In the short tag of the ISO number it means "more than fits".
const MORE: u32 = 65_535;
/// Sides of pixels that cameras have, in µm; what lies outside is another unit or another picture.
const PIXELS_UM: std::ops::RangeInclusive<f64> = 0.5..=30.0;
/// The diagonal of the film that focal lengths are compared with.
const FILM_DIAGONAL_MM: f64 = 43.267;
/// A picture narrower than this share of the sensor is a reduced one, whose resolution is that of larger pixels.
const SAME_WIDTH: f64 = 0.85;

/// The cards of a decoded file; serial numbers and places are left where they are.
pub(super) fn cards(source: &RawSource, decoder: &dyn Decoder, directories: &Directories, mosaic: &Mosaic) -> Cards {
    let ifd = |which| decoder.ifd(which).ok().flatten();
    let profile = noise_profile(ifd(WellKnownIFD::Raw).as_deref(), ifd(WellKnownIFD::Root).as_deref());
    let mut cards = of_mosaic(mosaic, &profile, losses::fixed_rate(directories));
    if let Ok(metadata) = decoder.raw_metadata(source, &RawDecodeParams::default()) {
        for line in exif_lines(&metadata.exif, directories.exif.as_ref()) {
            cards.push_line(&line);
        }
    }
    if let Some(exif) = &directories.exif {
        for line in more_lines(exif, [mosaic.image.width, mosaic.image.height]) {
            cards.push_line(&line);
        }
    }
    cards
}

/// What the decoder found beside the metadata.
pub(super) fn of_mosaic(mosaic: &Mosaic, profile: &str, fixed_rate: Option<&str>) -> Cards {
    let mut cards = Cards::default();
    cards.push_line("RAWFILE = T / read from a camera raw file");
    let mut text = |keyword: &str, value: &str, comment: &str| {
        let value = printable(value).replace('\'', "''");
        if !value.is_empty() {
            cards.push_line(&format!("{keyword}= '{value}' / {comment}"));
        }
    };
    text("INSTRUME", &mosaic.name, "");
    text("BAYERPAT", mosaic.cfa.map_or("", |cfa| cfa.name()), "at the corner of the active area");
    let black: Vec<String> = mosaic.black.iter().map(f32::to_string).collect();
    text("RAWBLACK", &black.join(" "), "black level that the file states");
    text("RAWWHITE", &mosaic.white.map_or_else(String::new, |white| white.to_string()), "white level that it states");
    if mosaic.borders != [0; 4] {
        text(
            "RAWMASK",
            &mosaic.borders.map(|side| side.to_string()).join(" "),
            "borders cut off: left top right bottom",
        );
    }
    let masked: Vec<String> = mosaic.masked.iter().map(|level| format!("{level:.3}")).collect();
    text("RAWDARK", &masked.join(" "), "mean of the masked areas, place by place");
    text("RAWNOISE", profile, "S and O");
    text("RAWLOSS", fixed_rate.unwrap_or_default(), "how its compression loses counts");
    cards
}

/// The pairs of the noise profile, which stands beside the pixels or in the first directory.
fn noise_profile(raw: Option<&IFD>, root: Option<&IFD>) -> String {
    let entry = [raw, root].into_iter().flatten().find_map(|ifd| ifd.get_entry(NOISE_PROFILE));
    let Some(Value::Double(pairs)) = entry.map(|entry| &entry.value) else { return String::new() };
    if pairs.len() > MOST_PROFILE_NUMBERS || !pairs.iter().all(|value| value.is_finite()) {
        return String::new();
    }
    pairs.iter().map(|value| format!("{value:e}")).collect::<Vec<_>>().join(" ")
}

/// Exposure, time value, ISO number and date.
pub(super) fn exif_lines(exif: &Exif, directory: Option<&IFD>) -> Vec<String> {
    let mut lines = Vec::new();
    let ratio = |above: f64, below: f64| Some(above / below).filter(|value| value.is_finite());
    if let Some(time) = exif.exposure_time.as_ref().and_then(|time| ratio(f64::from(time.n), f64::from(time.d))) {
        lines.push(format!("EXPTIME = {time:e} / [s] as the camera names it"));
    }
    let apex = exif.shutter_speed_value.as_ref().and_then(|speed| ratio(f64::from(speed.n), f64::from(speed.d)));
    if let Some(apex) = apex {
        lines.push(format!("SHUTTER = {apex:e} / APEX time value, -log2 of the seconds"));
    }
    let longs = [exif.recommended_exposure_index, exif.iso_speed].into_iter().flatten();
    let more = SPEEDS.iter().filter_map(|tag| directory?.get_entry(*tag)).filter(|entry| entry.count() > 0);
    let longs: Vec<u32> = longs.chain(more.map(|entry| entry.force_u32(0))).collect();
    if let Some(iso) = iso(exif.iso_speed_ratings, &longs) {
        lines.push(format!("ISOSPEED= {iso}"));
    }
    let date = exif.date_time_original.as_deref().or(exif.create_date.as_deref()).and_then(iso_date);
    if let Some(date) = date {
        let fraction = exif.sub_sec_time_original.as_deref().map(str::trim).unwrap_or_default();
        let fraction = fraction.chars().all(|c| c.is_ascii_digit()).then_some(fraction).filter(|text| !text.is_empty());
        lines.push(format!("DATE-OBS= '{date}{}'", fraction.map(|text| format!(".{text}")).unwrap_or_default()));
    }
    lines
}

/// The ISO number of the short tag, or of the long ones where it is too large for that; none where neither says it.
fn iso(short: Option<u16>, longs: &[u32]) -> Option<u32> {
    let said = |iso: &u32| (1..MORE).contains(iso) || (MORE + 1..10_000_000).contains(iso);
    short.map(u32::from).filter(said).or_else(|| longs.iter().copied().find(said))
}

/// `2024:01:31 22:10:05` as ISO 8601.
fn iso_date(text: &str) -> Option<String> {
    let (date, time) = text.trim().split_once(' ')?;
    let plain = |text: &str| text.chars().all(|c| c.is_ascii_digit() || c == ':');
    (date.len() == 10 && time.len() == 8 && plain(date) && plain(time))
        .then(|| format!("{}T{time}", date.replace(':', "-")))
}

/// Temperature, and the size of a pixel, of a picture of so many columns and rows.
pub(super) fn more_lines(exif: &IFD, size: [usize; 2]) -> Vec<String> {
    let mut lines = Vec::new();
    let number = |tag: u16| {
        let entry = exif.get_entry(tag).filter(|entry| entry.count() > 0)?;
        Some(f64::from(entry.force_f32(0))).filter(|value| value.is_finite())
    };
    if let Some(air) = number(AMBIENT) {
        lines.push(format!("BODYTEMP= {air} / [degC] air or body, as the camera gives it"));
    }
    let unit_um = match number(FOCAL_PLANE_UNIT).unwrap_or(2.0) as u32 {
        2 => Some(25_400.0),
        3 => Some(10_000.0),
        4 => Some(1_000.0),
        5 => Some(1.0),
        _ => None,
    };
    let by_resolution = || pixel_by_resolution(unit_um?, number(FOCAL_PLANE_X)?, number(PICTURE_WIDTH), size[0]);
    let by_lengths = || pixel_by_lengths(number(FOCAL_LENGTH)?, number(FOCAL_LENGTH_35MM)?, size);
    let (pixel, from) = match by_resolution() {
        Some(pixel) => (Some(pixel), "the focal plane resolution"),
        None => (by_lengths(), "the focal length and its equivalent on film"),
    };
    if let Some(pixel) = pixel {
        lines.push(format!("XPIXSZ  = {pixel:.3} / [um] from {from}"));
    }
    lines
}

/// The side of a pixel in µm by the pixels in a unit of length; `picture` is the width that the resolution is meant for.
///
/// Some makers state the resolution of a reduced picture: its pixels are larger than the sensor's by the ratio of widths.
fn pixel_by_resolution(unit_um: f64, per_unit: f64, picture: Option<f64>, width: usize) -> Option<f64> {
    let ratio = picture.map_or(1.0, |picture| picture / width as f64);
    let reduced = if (0.0..SAME_WIDTH).contains(&ratio) { ratio } else { 1.0 };
    Some(unit_um / per_unit * reduced).filter(|side| per_unit > 0.0 && PIXELS_UM.contains(side))
}

/// The side of a pixel in µm by the diagonals of film and sensor, which are as the focal lengths of one field of view.
///
/// ```text
/// p = 43.27 mm · f / f35 / √(columns² + rows²)
/// ```
/// Where it stops being true: both lengths are round numbers, and some makers compare widths in place of diagonals.
fn pixel_by_lengths(length: f64, on_film: f64, size: [usize; 2]) -> Option<f64> {
    let diagonal = (size[0] as f64).hypot(size[1] as f64);
    // Lengths of a few millimetres are rounded by a tenth.
    let known = length >= 8.0 && on_film >= 8.0 && diagonal > 0.0;
    Some(1000.0 * FILM_DIAGONAL_MM * length / on_film / diagonal).filter(|side| known && PIXELS_UM.contains(side))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_become_iso() {
        assert_eq!(iso_date("2024:01:31 22:10:05").as_deref(), Some("2024-01-31T22:10:05"));
        assert_eq!(iso_date("0000:00:00"), None);
    }

    #[test]
    fn an_iso_number_that_does_not_fit_is_read_elsewhere_or_asked_for() {
        assert_eq!(iso(Some(800), &[]), Some(800));
        assert_eq!(iso(Some(u16::MAX), &[102_400]), Some(102_400));
        assert_eq!(iso(None, &[0, 25_600]), Some(25_600));
        for (short, longs) in
            [(Some(u16::MAX), vec![65_535]), (Some(0), vec![0]), (None, vec![]), (None, vec![u32::MAX])]
        {
            assert_eq!(iso(short, &longs), None);
        }
    }

    /// 22.3 mm over 5,184 columns are 4.30 µm, 1.613 times smaller than film in width.
    #[test]
    fn the_pixel_follows_from_resolution_or_focal_lengths() {
        let near = |found: Option<f64>, side: f64| assert!((found.unwrap() / side - 1.0).abs() < 0.01, "{found:?}");
        near(pixel_by_resolution(25_400.0, 25_400.0 / 4.3, Some(5184.0), 5184), 4.3);
        near(pixel_by_resolution(25_400.0, 25_400.0 / 8.6, Some(2592.0), 5184), 4.3);
        near(pixel_by_resolution(10_000.0, 10_000.0 / 4.3, None, 5184), 4.3);
        near(pixel_by_lengths(50.0, 80.7, [5184, 3456]), 4.3);
        assert_eq!(pixel_by_resolution(25_400.0, 72.0, None, 5184), None);
        assert_eq!(pixel_by_resolution(25_400.0, 0.0, None, 5184), None);
        assert_eq!(pixel_by_lengths(0.0, 0.0, [5184, 3456]), None);
    }
}
