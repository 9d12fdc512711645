//! What the metadata of a raw file say, in the words of a FITS header, so that one reader understands both.
//!
//! # Source
//! Exif 2.32 (CIPA DC-008): tag numbers and APEX units, from memory.

use rawler::decoders::{Decoder, RawDecodeParams, WellKnownIFD};
use rawler::exif::Exif;
use rawler::formats::tiff::{IFD, Value};
use rawler::rawsource::RawSource;

use super::{Mosaic, printable};
use crate::frames::Cards;

const NOISE_PROFILE: u16 = 51041;
/// Two for each of four colour planes.
const MOST_PROFILE_NUMBERS: usize = 8;
const AMBIENT: u16 = 0x9400;
const FOCAL_PLANE_X: u16 = 0xa20e;
const FOCAL_PLANE_UNIT: u16 = 0xa210;

/// The cards of a decoded file; serial numbers and places are left where they are.
pub(super) fn cards(source: &RawSource, decoder: &dyn Decoder, mosaic: &Mosaic) -> Cards {
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
    let ifd = |which| decoder.ifd(which).ok().flatten();
    text("RAWNOISE", &noise_profile(ifd(WellKnownIFD::Raw).as_deref(), ifd(WellKnownIFD::Root).as_deref()), "S and O");
    if let Ok(metadata) = decoder.raw_metadata(source, &RawDecodeParams::default()) {
        for line in exif_lines(&metadata.exif) {
            cards.push_line(&line);
        }
    }
    if let Some(exif) = ifd(WellKnownIFD::Exif) {
        for line in more_lines(&exif) {
            cards.push_line(&line);
        }
    }
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

fn exif_lines(exif: &Exif) -> Vec<String> {
    let mut lines = Vec::new();
    let ratio = |above: f64, below: f64| Some(above / below).filter(|value| value.is_finite());
    if let Some(time) = exif.exposure_time.as_ref().and_then(|time| ratio(f64::from(time.n), f64::from(time.d))) {
        lines.push(format!("EXPTIME = {time:e} / [s] as the camera names it"));
    }
    let apex = exif.shutter_speed_value.as_ref().and_then(|speed| ratio(f64::from(speed.n), f64::from(speed.d)));
    if let Some(apex) = apex {
        lines.push(format!("SHUTTER = {apex:e} / APEX time value, -log2 of the seconds"));
    }
    // 65535 in the short tag means "more": the long ones hold the number then.
    let short = exif.iso_speed_ratings.filter(|iso| (1..u16::MAX).contains(iso)).map(u32::from);
    let long = [exif.recommended_exposure_index, exif.iso_speed];
    if let Some(iso) = short.or_else(|| long.into_iter().flatten().find(|iso| *iso > 0)) {
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

/// `2024:01:31 22:10:05` as ISO 8601.
fn iso_date(text: &str) -> Option<String> {
    let (date, time) = text.trim().split_once(' ')?;
    let plain = |text: &str| text.chars().all(|c| c.is_ascii_digit() || c == ':');
    (date.len() == 10 && time.len() == 8 && plain(date) && plain(time))
        .then(|| format!("{}T{time}", date.replace(':', "-")))
}

fn more_lines(exif: &IFD) -> Vec<String> {
    let mut lines = Vec::new();
    let number =
        |tag: u16| exif.get_entry(tag).filter(|entry| entry.count() > 0).map(|entry| f64::from(entry.force_f32(0)));
    if let Some(air) = number(AMBIENT).filter(|value| value.is_finite()) {
        lines.push(format!("BODYTEMP= {air} / [degC] air or body, as the camera gives it"));
    }
    let unit_um = match number(FOCAL_PLANE_UNIT).unwrap_or(2.0) as u32 {
        2 => 25_400.0,
        3 => 10_000.0,
        4 => 1_000.0,
        5 => 1.0,
        _ => return lines,
    };
    if let Some(per_unit) = number(FOCAL_PLANE_X).filter(|value| value.is_finite() && *value > 0.0) {
        lines.push(format!("XPIXSZ  = {:.3} / [um] from the focal plane resolution", unit_um / per_unit));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_become_iso() {
        assert_eq!(iso_date("2024:01:31 22:10:05").as_deref(), Some("2024-01-31T22:10:05"));
        assert_eq!(iso_date("0000:00:00"), None);
    }
}
