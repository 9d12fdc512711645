//! What a header says of a frame, whatever dialect it is written in.
//!
//! The keywords and their meaning are common practice, no source; only `XPOSURE`, `DATE-OBS`, `INSTRUME` and the
//! structural ones are in the FITS standard 4.0 (IAU FITS Working Group 2018), from memory. To teach the program
//! another dialect, add its keyword to a table below: the first keyword that holds a usable value wins.

use super::cards::{Card, Cards, first_number, number};
pub use super::processed::not_raw;
use super::stated::{BLACK, WHITE};
use super::{CfaPattern, FrameKind, kind, names};
use crate::units::{ABSOLUTE_ZERO_C, Celsius, Dn, Micrometres, Seconds};

/// Keywords that say what a frame was taken for.
pub const KIND: &[&str] =
    &["IMAGETYP", "IMAGETYPE", "IMGTYPE", "FRAME", "OBSTYPE", "PICTTYPE", "CALFRAME", "ESO DPR TYPE"];
const EXPOSURE: &[&str] = &["EXPTIME", "XPOSURE", "EXP-TIME", "EXPOSURE", "EXP", "EXPOSED", "DARKTIME"];
const SENSOR: &[&str] = &["CCD-TEMP", "CCDTEMP", "CCD_TEMP", "DET-TEMP", "TEMPERAT", "SENSOR-T", "CAM-TEMP", "CAMTEMP"];
/// Written by the reader of camera raw files, as the next one.
const RAW_FILE: &str = "RAWFILE";
const BODY: &str = "BODYTEMP";
const AMBIENT: &[&str] = &["AMBTEMP", "AMB-TEMP", "AMB_TEMP", "AMBIENT", "AIRTEMP", "OUTTEMP"];
const MASKED: &str = "RAWDARK";
const SENSOR_KELVIN: &[&str] = &["DETTEMP1"];
const SET_POINT: &[&str] = &["SET-TEMP", "SET_TEMP", "SETTEMP", "DET-TSET", "TEMP_SET"];
const GAIN: &[&str] = &["GAIN", "GAINRAW", "GAINADU", "ISOSPEED", "ISO", "LOG-GAIN", "RELGAIN"];
const ISO: &[&str] = &["ISOSPEED", "ISO"];
/// No dial begins lower.
const LEAST_ISO: f64 = 25.0;
const OFFSET: &[&str] = &["OFFSET", "BLKLEVEL"];
const READOUT: &[&str] = &["READOUTM", "READMODE", "MODE"];
const BINNING: [[&str; 2]; 4] = [["XBINNING", "YBINNING"], ["CCDXBIN", "CCDYBIN"], ["BINX", "BINY"], ["HBIN", "VBIN"]];
const PIXEL: &[&str] = &["XPIXSZ", "PIXSIZE1", "PIXSIZE", "PIX-SIZ"];
const CFA: &[&str] = &["BAYERPAT", "BAYERPATT", "CFAIMAGE", "COLORTYP"];
const CAMERA: &[&str] = &["INSTRUME", "CAMERA", "CAMMODEL", "HEAD"];
const FILTER: &[&str] = &["FILTER", "FILTERS", "FILTERID", "FILTNAM", "INSFLNAM"];

/// What a header says; what it does not say, or says with a value that means "unknown", is `None`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Header {
    /// The kind it names, and the card that names it, as `IMAGETYP = 'Dark Frame'`.
    pub kind: Option<(FrameKind, String)>,
    /// How long the shutter was open.
    pub exposure: Option<Seconds>,
    /// The sensor's temperature.
    pub sensor: Option<Celsius>,
    /// The cooler's set point.
    pub set_point: Option<Celsius>,
    /// The driver's gain or ISO number.
    pub gain_setting: Option<f64>,
    /// The driver's offset.
    pub offset_setting: Option<f64>,
    /// The readout mode's name.
    pub readout_mode: Option<String>,
    /// Horizontal and vertical binning.
    pub binning: Option<[u32; 2]>,
    /// The side of a binned pixel.
    pub pixel: Option<Micrometres>,
    /// The colours of the stored 2 × 2 cell.
    pub cfa: Option<CfaPattern>,
    /// The camera's name.
    pub camera: Option<String>,
    /// When it was taken, ISO 8601 with a time.
    pub taken: Option<String>,
    /// The filter's name.
    pub filter: Option<String>,
    /// Whether rows are stored from the bottom up, where the header says so.
    pub bottom_up: Option<bool>,
    /// The time value of Exif beside the exposure: −log2 of the seconds.
    pub shutter_apex: Option<f64>,
    /// Whether the exposure may be a round name from a camera's dial: the file is a camera raw file, or gives an ISO number.
    pub dial: bool,
    /// Whether it was read from a camera raw file.
    pub raw_file: bool,
    /// Whether the temperature is the body's or the air's, not the sensor's own.
    pub body_temperature: bool,
    /// The mean level of the border of a camera raw file that sees no light.
    pub masked: Option<Dn>,
    /// The temperature of the air.
    pub ambient: Option<Celsius>,
    /// The black level that a camera raw file states, the mean over the places of its cell.
    pub stated_black: Option<Dn>,
    /// The white level that it states.
    pub stated_white: Option<Dn>,
    /// Whether the pixel's size follows from what Exif says of the picture, not from the sensor's own figure.
    pub pixel_is_rough: bool,
}

impl Header {
    /// Reads what the cards say.
    ///
    /// # Examples
    /// ```
    /// use subwell::frames::{Cards, Header};
    /// let header = Header::from_cards(&Cards::from_lines("EXPOSURE= 250 / milliseconds\nCCD-TEMP= -273.15"));
    /// assert_eq!(header.exposure.unwrap().0, 0.25);
    /// assert_eq!(header.sensor, None);
    /// ```
    #[must_use]
    pub fn from_cards(cards: &Cards) -> Self {
        let binning = binning(cards);
        let dial = cards.filled(&[RAW_FILE, "ISOSPEED"]).next().is_some();
        let set_point = cards.filled(SET_POINT).find_map(temperature);
        // A camera with an ISO dial has no sensor thermometer: some programs write 0 for that.
        let own = sensor(cards).filter(|celsius| !dial || celsius.0 != 0.0 || set_point.is_some());
        let body = body(cards);
        Self {
            kind: kind_named(cards),
            exposure: exposure(cards),
            sensor: own.or(body),
            set_point,
            gain_setting: gain_setting(cards),
            offset_setting: cards.number(OFFSET),
            readout_mode: name(cards, READOUT),
            binning,
            pixel: pixel(cards, binning),
            cfa: cfa(cards).map(|pattern| stored(pattern, cards)),
            camera: name(cards, CAMERA),
            taken: taken(cards),
            filter: name(cards, FILTER).filter(|filter| !filter.eq_ignore_ascii_case("none")),
            bottom_up: cards.text(&["ROWORDER"]).and_then(bottom_up),
            shutter_apex: cards.number(&["SHUTTER"]).filter(|_| cards.card(RAW_FILE).is_some()),
            dial,
            raw_file: cards.card(RAW_FILE).is_some(),
            body_temperature: own.is_none() && body.is_some(),
            masked: mean_of(cards, MASKED),
            stated_black: mean_of(cards, BLACK),
            stated_white: mean_of(cards, WHITE).filter(|white| white.0 > 0.0),
            pixel_is_rough: cards.card(RAW_FILE).is_some() && pixel(cards, binning).is_some(),
            ambient: cards.filled(AMBIENT).find_map(temperature),
        }
    }
}

fn name(cards: &Cards, keywords: &[&str]) -> Option<String> {
    let words = |card: &Card| {
        let value = card.value.trim_matches(['"', '\'']);
        value.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    cards.filled(keywords).map(words).find(|name| !name.is_empty())
}

fn setting(card: &Card) -> Option<f64> {
    number(&card.value).or_else(|| first_number(&card.value))
}

/// The number of a gain or ISO; −1 and 65535 are how drivers write "unknown".
fn gain(card: &Card) -> Option<f64> {
    setting(card).filter(|gain| *gain != -1.0 && *gain != 65_535.0)
}

/// The driver's gain; the ISO number of a camera's dial where the driver's own gain stands at 0 or 1 beside it, as a
/// relative gain does whatever is set.
fn gain_setting(cards: &Cards) -> Option<f64> {
    let first = |keywords| cards.filled(keywords).filter(|card| !is_electrons_per_dn(card)).find_map(gain);
    let iso = first(ISO).filter(|iso| *iso >= LEAST_ISO);
    first(GAIN).filter(|own| *own > 1.0).or(iso).or_else(|| first(GAIN))
}

fn kind_named(cards: &Cards) -> Option<(FrameKind, String)> {
    let said = |card: &Card| format!("{} = '{}'", card.keyword, card.value);
    let by_type = cards.filled(KIND).find_map(|card| Some((kind::in_words(&card.value)?, said(card))));
    // Some write the kind where the target's name belongs; a nebula may be called dark, so only the bare word counts.
    by_type.or_else(|| {
        let card = cards.filled(&["OBJECT"]).next()?;
        let bare = card.value.split([' ', '_', '-']).filter(|word| word.chars().all(char::is_alphabetic)).count() == 1;
        let kind = kind::in_words(&card.value).filter(|kind| bare && *kind != FrameKind::Light)?;
        Some((kind, said(card)))
    })
}

fn exposure(cards: &Cards) -> Option<Seconds> {
    let in_words = |card: &Card| names::time(&card.value).map(|seconds| seconds.0);
    let in_seconds = |card: &Card| match fraction(&card.value) {
        Some(value) => Some(value * unit_of_time(card)),
        None => in_words(card),
    };
    let given: Vec<f64> = cards.filled(EXPOSURE).filter_map(in_seconds).filter(|seconds| *seconds >= 0.0).collect();
    let from_microseconds = || cards.number(&["EXPOINUS"]).filter(|time| *time >= 0.0).map(|time| time * 1e-6);
    // Some leave the first of two words at 0.
    let lasting = given.iter().copied().find(|seconds| *seconds > 0.0);
    lasting.or_else(from_microseconds).or(given.first().copied()).map(Seconds)
}

fn fraction(text: &str) -> Option<f64> {
    let Some((above, below)) = text.split_once('/') else { return number(text) };
    Some(number(above)? / number(below)?).filter(|value| value.is_finite())
}

/// Older drivers write `EXPOSURE` in milliseconds and say so in the comment only; `EXPTIME` is in seconds everywhere but
/// where the comment is minutes or has another unit in brackets, as the FITS standard 4.0 §4.3.2 has it (from memory), or
/// in parentheses.
fn unit_of_time(card: &Card) -> f64 {
    let comment = card.comment.to_lowercase();
    if let Some(unit) = enclosed(&comment).find_map(names::unit_of_time) {
        return unit;
    }
    let says = |words: &[&str]| comment.split(|c: char| !c.is_alphabetic()).any(|word| words.contains(&word));
    match card.keyword.as_str() {
        _ if says(&["minute", "minutes"]) => 60.0,
        "EXPTIME" => 1.0,
        _ if says(&["ms", "msec", "millisecond", "milliseconds"]) => 1e-3,
        _ if says(&["us", "usec", "microsecond", "microseconds"]) => 1e-6,
        _ => 1.0,
    }
}

/// What stands in brackets or parentheses, one after the other.
fn enclosed(comment: &str) -> impl Iterator<Item = &str> {
    comment.split(['[', '(']).skip(1).filter_map(|rest| rest.split_once([']', ')'])).map(|(inner, _)| inner.trim())
}

fn sensor(cards: &Cards) -> Option<Celsius> {
    let kelvin = || cards.number(SENSOR_KELVIN).map(|kelvin| kelvin + ABSOLUTE_ZERO_C).and_then(plausible);
    cards.filled(SENSOR).find_map(temperature).or_else(kelvin)
}

/// What a camera without a sensor thermometer gives; exactly 0 is how some write that they have none at all.
fn body(cards: &Cards) -> Option<Celsius> {
    cards.filled(&[BODY]).find_map(temperature).filter(|celsius| celsius.0 != 0.0)
}

/// The mean over the places of the cell.
fn mean_of(cards: &Cards, keyword: &str) -> Option<Dn> {
    let levels: Vec<f64> = cards.text(&[keyword])?.split_whitespace().filter_map(number).collect();
    (!levels.is_empty()).then(|| Dn(levels.iter().sum::<f64>() / levels.len() as f64))
}

fn temperature(card: &Card) -> Option<Celsius> {
    let comment = card.comment.to_lowercase();
    let text = card.value.trim();
    let (digits, in_kelvin) = match text.strip_suffix('K') {
        Some(digits) => (digits, true),
        None => (["degC", "deg C", "°C", "C"].iter().find_map(|unit| text.strip_suffix(unit)).unwrap_or(text), false),
    };
    let kelvin = in_kelvin || comment.contains("kelvin") || enclosed(&comment).any(|unit| unit == "k");
    let value = number(digits)?;
    let fahrenheit =
        comment.contains("fahrenheit") || enclosed(&comment).any(|unit| ["f", "°f", "degf", "deg f"].contains(&unit));
    let tenths = comment.contains("tenths") || enclosed(&comment).any(|unit| unit.starts_with("0.1"));
    let value = if tenths { value / 10.0 } else { value };
    plausible(match (kelvin, fahrenheit) {
        (true, _) => value + ABSOLUTE_ZERO_C,
        (false, true) => (value - 32.0) / 1.8,
        (false, false) => value,
    })
}

/// −273.15, 999 and −1000 are how drivers write "unknown"; no sensor is read below −200 °C or above 100 °C.
fn plausible(celsius: f64) -> Option<Celsius> {
    (-200.0..=100.0).contains(&celsius).then_some(Celsius(celsius))
}

/// Research headers put electrons per DN into `GAIN`; that is no setting.
pub(super) fn is_electrons_per_dn(card: &Card) -> bool {
    let comment = card.comment.to_lowercase();
    ["e-/", "e/", "electron"].iter().any(|unit| comment.contains(unit))
}

fn binning(cards: &Cards) -> Option<[u32; 2]> {
    let usable = |value: f64| (value.fract() == 0.0 && (1.0..=64.0).contains(&value)).then_some(value as u32);
    for [horizontal, vertical] in BINNING {
        if let Some(across) = cards.number(&[horizontal]).and_then(usable) {
            return Some([across, cards.number(&[vertical]).and_then(usable).unwrap_or(across)]);
        }
    }
    let text = cards.text(&["BINNING"])?;
    let mut numbers = text.split(|c: char| !c.is_ascii_digit()).filter_map(number).filter_map(usable);
    let across = numbers.next()?;
    Some([across, numbers.next().unwrap_or(across)])
}

fn pixel(cards: &Cards, binning: Option<[u32; 2]>) -> Option<Micrometres> {
    let usable = |side: &f64| (0.3..=200.0).contains(side);
    let binned = cards.filled(PIXEL).filter_map(setting).find(usable);
    let factor = f64::from(binning.map_or(1, |[across, _]| across));
    let unbinned = || cards.number(&["XPIXELSZ"]).filter(usable).map(|side| side * factor);
    binned.or_else(unbinned).map(Micrometres)
}

/// The pattern at the stored corner: an odd offset of the cell swaps its columns or rows.
fn cfa(cards: &Cards) -> Option<CfaPattern> {
    let pattern = cards.filled(CFA).find_map(|card| CfaPattern::from_name(&card.value.to_uppercase()))?;
    let odd = |keyword: &str| cards.number(&[keyword]).is_some_and(|offset| offset.rem_euclid(2.0) == 1.0);
    let (row, column) = (usize::from(odd("YBAYROFF")), usize::from(odd("XBAYROFF")));
    let cell = [(0, 0), (0, 1), (1, 0), (1, 1)];
    let corner = cell.map(|(r, c)| pattern.colour(row + r, column + c));
    CfaPattern::ALL.into_iter().find(|known| cell.map(|(r, c)| known.colour(r, c)) == corner)
}

/// The pattern in stored order: it is that of the sensor seen from the top, so where the rows are stored from the bottom
/// up and their number is even, the cell's last row comes first.
///
/// That `BAYERPAT` is meant so is common practice, no source, and some programs mean the stored order all the same:
/// gain and noise of the planes do not depend on it, only their names do.
fn stored(pattern: CfaPattern, cards: &Cards) -> CfaPattern {
    let upside_down = cards.text(&["ROWORDER"]).and_then(bottom_up) == Some(true);
    let even = cards.number(&["ZNAXIS2", "NAXIS2"]).is_none_or(|rows| rows.rem_euclid(2.0) == 0.0);
    if !(upside_down && even) {
        return pattern;
    }
    match pattern {
        CfaPattern::Rggb => CfaPattern::Gbrg,
        CfaPattern::Gbrg => CfaPattern::Rggb,
        CfaPattern::Bggr => CfaPattern::Grbg,
        CfaPattern::Grbg => CfaPattern::Bggr,
    }
}

fn taken(cards: &Cards) -> Option<String> {
    let date = cards.text(&["DATE-OBS", "DATE-BEG"])?.replace('/', "-").replace(' ', "T");
    let digits =
        |range: std::ops::Range<usize>| date.get(range).is_some_and(|part| part.bytes().all(|b| b.is_ascii_digit()));
    if !(digits(0..4) && digits(5..7) && digits(8..10)) {
        return None;
    }
    if date.contains('T') {
        return Some(date.trim_end_matches('Z').to_owned());
    }
    let time = cards.text(&["TIME-OBS", "TIME-BEG", "UTSTART", "UT"])?;
    Some(format!("{date}T{time}"))
}

fn bottom_up(order: &str) -> Option<bool> {
    match order.to_uppercase().as_str() {
        "BOTTOM-UP" => Some(true),
        "TOP-DOWN" => Some(false),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(lines: &str) -> Header {
        Header::from_cards(&Cards::from_lines(lines))
    }

    #[test]
    fn exptime_goes_before_exposure() {
        assert_eq!(header("EXPOSURE= 30000 / ms\nEXPTIME = 30.0").exposure, Some(Seconds(30.0)));
        assert_eq!(header("EXPOSURE= 30000 / Total Exposure Time (ms)").exposure, Some(Seconds(30.0)));
        assert_eq!(header("EXPOINUS= 2500").exposure, Some(Seconds(0.0025)));
        assert_eq!(header("EXPTIME = '1/50'").exposure, Some(Seconds(0.02)));
        assert_eq!(header("EXPTIME = -1").exposure, None);
    }

    #[test]
    fn units_stand_in_brackets_or_parentheses() {
        let seconds = |line: &str| header(line).exposure.unwrap().0;
        assert_eq!(seconds("EXPTIME = 2500 / exposure time (ms)"), 2.5);
        assert_eq!(seconds("EXPTIME = 60 / [s] steps of a ms (rounded)"), 60.0);
        assert_eq!(seconds("EXPTIME = 60 / length (60 s)"), 60.0);
        assert_eq!(seconds("EXPTIME = 0\nEXPOSURE= 4"), 4.0);
        assert_eq!(seconds("EXPTIME = 0\nEXPOSURE= 0"), 0.0);
        let celsius = |comment: &str, value: f64| {
            header(&format!("CCD-TEMP= {value} / {comment}")).sensor.map(|celsius| (celsius.0 * 1e3).round() / 1e3)
        };
        assert_eq!(celsius("[0.1 degC]", -100.0), Some(-10.0));
        assert_eq!(celsius("tenths of a degree", -55.0), Some(-5.5));
        assert_eq!(celsius("[F]", 14.0), Some(-10.0));
        assert_eq!(celsius("(K)", 263.15), Some(-10.0));
        assert_eq!(celsius("sensor (C), full frame", -10.0), Some(-10.0));
    }

    #[test]
    fn unknown_temperatures_are_none() {
        for value in ["-273.15", "999", "-1000", "'NaN'", "999.9"] {
            assert_eq!(header(&format!("CCD-TEMP= {value}")).sensor, None, "{value}");
        }
        assert_eq!(header("CCD-TEMP= 999\nCAM-TEMP= 12.5").sensor, Some(Celsius(12.5)));
        assert_eq!(header("DETTEMP1= 263.15").sensor, Some(Celsius(263.15 - 273.15)));
        assert_eq!(header("FOCTEMP = 4.0").sensor, None);
    }

    #[test]
    fn a_gain_in_electrons_is_no_setting() {
        assert_eq!(header("GAIN    = 0.62 / e-/ADU").gain_setting, None);
        assert_eq!(header("GAIN    = 120").gain_setting, Some(120.0));
        assert_eq!(header("ISOSPEED= 'ISO 800'").gain_setting, Some(800.0));
        assert_eq!(header("GAIN    = 1.0\nISOSPEED= 800").gain_setting, Some(800.0));
        assert_eq!(header("GAIN    = 120\nISOSPEED= 800").gain_setting, Some(120.0));
        assert_eq!(header("GAIN    = 0\nISO     = 0").gain_setting, Some(0.0));
    }

    #[test]
    fn a_nebula_called_dark_is_no_dark() {
        assert_eq!(header("OBJECT  = 'Dark Horse'").kind, None);
        assert_eq!(header("OBJECT  = 'bias 1x2'").kind.unwrap().0, FrameKind::Bias);
    }

    #[test]
    fn an_odd_cell_offset_moves_the_colours() {
        assert_eq!(header("BAYERPAT= 'RGGB'\nXBAYROFF= 1").cfa, Some(CfaPattern::Grbg));
        assert_eq!(header("BAYERPAT= 'RGGB'\nYBAYROFF= 1").cfa, Some(CfaPattern::Gbrg));
        assert_eq!(header("BAYERPAT= 'NONE'").cfa, None);
    }

    #[test]
    fn binning_is_written_in_many_ways() {
        for text in ["XBINNING= 2\nYBINNING= 1", "BINNING = '2*1'", "BINNING = '(2 x 1)'", "CCDXBIN = 2\nCCDYBIN = 1"] {
            assert_eq!(header(text).binning, Some([2, 1]), "{text}");
        }
        assert_eq!(header("BINNING = '2'").binning, Some([2, 2]));
        assert_eq!(header("XBINNING= 0").binning, None);
    }
}
