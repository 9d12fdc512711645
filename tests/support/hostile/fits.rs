//! Frames as FITS files: plain, 16 bits without sign (BZERO = 32768), as cameras write them.
//!
//! FITS Standard 4.0 (2018), sections 3 and 4: cards of 80 characters, blocks of 2880 bytes, big-endian.

use super::shot::Shot;

const BLOCK: usize = 2880;
/// The session begins on the ninth.
const DATE: &str = "2024-03-";

/// The bytes of a file.
pub(crate) fn fits_bytes(shot: &Shot, pixels: &[u16], width: usize) -> Vec<u8> {
    let mut cards = vec![
        logical("SIMPLE", true),
        number("BITPIX", 16.0),
        number("NAXIS", 2.0),
        number("NAXIS1", width as f64),
        number("NAXIS2", (pixels.len() / width) as f64),
        number("BZERO", 32_768.0),
        number("BSCALE", 1.0),
    ];
    let told = &shot.told;
    cards.extend(told.kind.map(|kind| text("IMAGETYP", kind)));
    let numbers = [
        ("EXPTIME", told.exposure_s),
        ("CCD-TEMP", told.celsius),
        ("SET-TEMP", told.set_point),
        ("GAIN", told.gain),
        ("ISOSPEED", told.iso),
        ("OFFSET", told.offset),
        ("XBINNING", told.binning.map(f64::from)),
        ("YBINNING", told.binning.map(f64::from)),
        ("XPIXSZ", told.pixel_um),
    ];
    cards.extend(numbers.into_iter().filter_map(|(name, value)| Some(number(name, value?))));
    cards.extend(told.pattern.map(|pattern| text("BAYERPAT", pattern)));
    cards.extend(told.filter.map(|filter| text("FILTER", filter)));
    cards.extend(told.camera.map(|camera| text("INSTRUME", camera)));
    cards.extend(told.clock.then(|| text("DATE-OBS", &date(shot.at_s))));
    cards.push(format!("{:<80}", "END"));
    let mut bytes = cards.concat().into_bytes();
    pad(&mut bytes, b' ');
    bytes.extend(pixels.iter().flat_map(|pixel| (pixel ^ 0x8000).to_be_bytes()));
    pad(&mut bytes, 0);
    bytes
}

fn pad(bytes: &mut Vec<u8>, with: u8) {
    bytes.resize(bytes.len().next_multiple_of(BLOCK), with);
}

fn logical(name: &str, value: bool) -> String {
    card(name, &format!("{:>20}", if value { "T" } else { "F" }))
}

fn number(name: &str, value: f64) -> String {
    let written = if value.fract() == 0.0 && value.abs() < 1e15 { format!("{value:.0}") } else { format!("{value:?}") };
    card(name, &format!("{written:>20}"))
}

fn text(name: &str, value: &str) -> String {
    card(name, &format!("'{value:<8}'"))
}

fn card(name: &str, value: &str) -> String {
    format!("{:<80}", format!("{name:<8}= {value}"))
}

fn date(seconds: f64) -> String {
    let (days, rest) = ((seconds / 86_400.0).floor(), seconds.rem_euclid(86_400.0));
    let (hours, minutes) = ((rest / 3600.0).floor(), (rest / 60.0).floor() % 60.0);
    format!("{DATE}{:02}T{hours:02}:{minutes:02}:{:06.3}", 9 + days as u32, rest % 60.0)
}
