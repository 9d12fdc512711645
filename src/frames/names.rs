//! What names say where headers are silent: `darks/-10C/dark_60s_003.fits`, `bias/iso400/img_1.cr2`.

use super::FrameKind;
use super::cards::number;
use super::kind::in_words;
use crate::units::{Celsius, Seconds};

/// How a photographer without headers can say what the program needs.
pub const ADVICE: &str = "without headers, folders named bias, flats, darks and lights say the kind, and file or folder names the \
     rest, as in darks/iso800/dark_60s_-10C_001.fits or flat_1-100s_01.fits; or write sidecar.csv with the columns file, \
     kind, exposure_s, sensor_c, gain_setting beside the frames";

/// Units of time in names, longer ones first where one ends another, and their seconds.
const UNITS: [(&str, f64); 13] = [
    ("milliseconds", 1e-3),
    ("seconds", 1.0),
    ("second", 1.0),
    ("minutes", 60.0),
    ("msec", 1e-3),
    ("usec", 1e-6),
    ("secs", 1.0),
    ("sec", 1.0),
    ("min", 60.0),
    ("ms", 1e-3),
    ("us", 1e-6),
    ("µs", 1e-6),
    ("s", 1.0),
];

/// The parts of a second that cameras name on their dials, in thirds and halves of a stop (common practice, no source).
const DIAL: [u32; 40] = [
    4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 45, 50, 60, 80, 90, 100, 125, 160, 180, 200, 250, 320, 350, 400, 500, 640,
    750, 800, 1000, 1250, 1500, 1600, 2000, 2500, 3000, 3200, 4000, 6000, 8000,
];

/// `1 file`, `2 files`.
#[must_use]
pub fn files(count: usize) -> String {
    if count == 1 { "1 file".into() } else { format!("{count} files") }
}

/// The kind that the file's name, or the innermost folder that has one, states.
#[must_use]
pub fn kind_in_path(file: &str) -> Option<FrameKind> {
    file.rsplit('/').find_map(in_words)
}

/// The seconds of a unit of time, where a text is one and nothing else.
pub(super) fn unit_of_time(text: &str) -> Option<f64> {
    UNITS.iter().find(|(unit, _)| *unit == text).map(|(_, seconds)| *seconds)
}

/// A time as people write it: `0.5`, `1/100`, `1/100 s`, `20 ms`; in seconds where no unit stands.
///
/// # Examples
/// ```
/// use subwell::{frames::names::time, units::Seconds};
/// assert_eq!(time("1/100 s"), Some(Seconds(0.01)));
/// assert_eq!(time("0,5"), Some(Seconds(0.5)));
/// assert_eq!(time("soon"), None);
/// ```
#[must_use]
pub fn time(text: &str) -> Option<Seconds> {
    let text = text.trim().to_lowercase();
    let unit = UNITS.iter().find_map(|(unit, length)| Some((text.strip_suffix(unit)?.trim_end(), *length)));
    let (digits, length) = unit.unwrap_or((text.as_str(), 1.0));
    let value = match digits.split_once('/') {
        Some((above, below)) => number(above)? / number(below)?,
        None => number(digits)?,
    };
    let seconds = value * length;
    (seconds.is_finite() && seconds >= 0.0).then_some(Seconds(seconds))
}

/// The exposure that the file's name, or the innermost folder that has one, states with its unit: `dark_300s_01`,
/// `flats 25ms/`, `flat_1-100s`, `dark_60_secs`.
///
/// A slash cannot stand in a name, so `1-100s` is a hundredth of a second; where that could as well be a counter and a
/// time, as in `set-1-100s`, the name says nothing.
///
/// # Examples
/// ```
/// use subwell::{frames::names::exposure, units::Seconds};
/// assert_eq!(exposure("darks 60s/img_1.fits"), Some(Seconds(60.0)));
/// assert_eq!(exposure("flat_1-100s_1.cr2"), Some(Seconds(0.01)));
/// assert_eq!(exposure("DARK_2m30s_1.fits"), Some(Seconds(150.0)));
/// assert_eq!(exposure("darks/img_60.fits"), None);
/// ```
#[must_use]
pub fn exposure(file: &str) -> Option<Seconds> {
    parts(file).find_map(|part| {
        let words: Vec<&str> = part.split(['_', ' ', '(', ')', '+']).filter(|word| !word.is_empty()).collect();
        let apart = |pair: &[&str]| {
            let unit = UNITS.iter().find(|(unit, _)| *unit == pair[1])?;
            number(pair[0]).filter(|value| *value >= 0.0).map(|value| value * unit.1)
        };
        words.iter().find_map(|word| with_unit(word)).or_else(|| words.windows(2).find_map(apart)).map(Seconds)
    })
}

/// The time in one word of a name, whose parts hyphens divide.
fn with_unit(word: &str) -> Option<f64> {
    let parts: Vec<&str> = word.split('-').collect();
    if let Some(time) = parts.iter().find_map(|part| minutes_and_seconds(part)) {
        return Some(time);
    }
    let found = parts.iter().enumerate().find_map(|(place, part)| {
        let (digits, unit) = UNITS.iter().find_map(|(unit, length)| Some((part.strip_suffix(unit)?, length)))?;
        Some((place, digits, number(digits).filter(|value| *value >= 0.0)? * unit))
    });
    let (place, digits, seconds) = found?;
    let counts = digits.bytes().all(|byte| byte.is_ascii_digit());
    match place {
        0 => Some(seconds),
        // `1-100s` is a hundredth of a second, `set-1-100s` nobody knows.
        _ if parts[place - 1] == "1" && counts => {
            number(digits).filter(|below| place == 1 && *below > 1.0).map(|below| seconds / below / below)
        }
        _ => Some(seconds),
    }
}

/// Minutes and seconds in one word: `2m30s`, `2min30s`.
fn minutes_and_seconds(part: &str) -> Option<f64> {
    let counted = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit()).then(|| text.parse::<u32>().ok())?;
    let (minutes, seconds) = part.strip_suffix("sec").or_else(|| part.strip_suffix('s'))?.split_once('m')?;
    let seconds = counted(seconds.strip_prefix("in").unwrap_or(seconds)).filter(|seconds| *seconds < 60)?;
    Some(f64::from(60 * counted(minutes)? + seconds))
}

/// The part of a second that the file's own name states without a unit, as a camera's dial names it: `flat_1-100_03`.
///
/// # Examples
/// ```
/// use subwell::{frames::names::dial_time, units::Seconds};
/// assert_eq!(dial_time("flats/flat_1-125_03.cr2"), Some(Seconds(1.0 / 125.0)));
/// assert_eq!(dial_time("flats/flat_1-007.cr2"), None);
/// ```
#[must_use]
pub fn dial_time(file: &str) -> Option<Seconds> {
    let name = parts(file).next()?;
    let below = name.split(['_', ' ', '(', ')']).find_map(|word| word.strip_prefix("1-")?.parse().ok())?;
    DIAL.contains(&below).then(|| Seconds(1.0 / f64::from(below)))
}

/// The temperature that the file's name, or the innermost folder that has one, states with its unit: `dark_60s_-10C`, `20°C/`.
///
/// A hyphen right behind a letter or digit may part two words or be a minus: `dark-10C` says nothing.
///
/// # Examples
/// ```
/// use subwell::{frames::names::temperature, units::Celsius};
/// assert_eq!(temperature("dark_60s_-10C.fits"), Some(Celsius(-10.0)));
/// assert_eq!(temperature("dark-10C.fits"), None);
/// ```
#[must_use]
pub fn temperature(file: &str) -> Option<Celsius> {
    parts(file).find_map(|part| {
        part.split(['_', ' ', '(', ')']).find_map(|word| {
            let digits = ["°c", "degc", "c"].iter().find_map(|unit| word.strip_suffix(unit))?;
            number(digits).filter(|value| (-100.0..=60.0).contains(value)).map(Celsius)
        })
    })
}

/// The gain setting or ISO number that the file's name, or the innermost folder that has one, states: `iso400/`,
/// `flat_ISO-1600_1`, `dark_gain120`.
///
/// A number with zeros before it is a counter, no setting.
///
/// # Examples
/// ```
/// use subwell::frames::names::gain_setting;
/// assert_eq!(gain_setting("bias/iso400/img_1.cr2"), Some(400.0));
/// assert_eq!(gain_setting("dark_60s_gain 120_1.fits"), Some(120.0));
/// assert_eq!(gain_setting("iso_0012.fits"), None);
/// ```
#[must_use]
pub fn gain_setting(file: &str) -> Option<f64> {
    parts(file).find_map(|part| ["iso", "gain"].iter().find_map(|word| setting_after(&part, word)))
}

/// The number right behind `word`, or behind it and one sign between; that right before it for `400iso`.
fn setting_after(part: &str, word: &str) -> Option<f64> {
    part.match_indices(word).find_map(|(at, _)| {
        let (before, after) = (&part[..at], &part[at + word.len()..]);
        if before.ends_with(char::is_alphabetic) || after.starts_with(char::is_alphabetic) {
            return None;
        }
        let behind = after.strip_prefix(['_', '-', ' ', '=']).unwrap_or(after);
        let end = behind.find(|c: char| !c.is_ascii_digit()).unwrap_or(behind.len());
        let ahead = before.rfind(|c: char| !c.is_ascii_digit()).map_or(0, |last| last + 1);
        let digits = if end > 0 { &behind[..end] } else { before.get(ahead..)? };
        let counter = digits.len() > 1 && digits.starts_with('0');
        number(digits).filter(|_| !counter && digits.len() < 8)
    })
}

/// The name without its ending, then the folders from the innermost on, in small letters.
fn parts(file: &str) -> impl Iterator<Item = String> {
    let (folders, name) = file.rsplit_once('/').unwrap_or(("", file));
    let name = name.to_lowercase();
    // The last two endings of `x.fits.gz`; a decimal point stands before a digit.
    let end =
        name.match_indices('.').map(|(at, _)| at).find(|at| !name[at + 1..].starts_with(|c: char| c.is_ascii_digit()));
    let stem = name[..end.unwrap_or(name.len())].to_owned();
    std::iter::once(stem).chain(folders.to_lowercase().split('/').rev().map(str::to_owned).collect::<Vec<_>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exposures_stand_in_names() {
        for (file, seconds) in [
            ("d/dark_300s_-5C_07.fits", 300.0),
            ("flat_0.5sec.fit", 0.5),
            ("flat_250ms_1.fits", 0.25),
            ("flat_1.5s.CR2", 1.5),
            ("night/dark 60s/20s/x.nef", 20.0),
            ("dark-60s-1.fits", 60.0),
            ("Dark_60.0_secs_003.fit", 60.0),
            ("darks 5min/x.nef", 300.0),
            ("flat_1-100s_01.cr2", 0.01),
            ("flats/1-4000sec/x.nef", 0.00025),
            ("1-8s.arw", 0.125),
            ("set 2 1-15s.arw", 1.0 / 15.0),
        ] {
            let found = exposure(file).unwrap_or_else(|| panic!("{file}"));
            assert!((found.0 / seconds - 1.0).abs() < 1e-12, "{file}: {}", found.0);
        }
        for file in ["flats_1.fits", "set-1-100s.fits", "2024-01-1-100s.fits", "secs.fits", "flat_1-1s_x.fits"] {
            assert_eq!(exposure(file), None, "{file}");
        }
    }

    #[test]
    fn a_dial_s_names_need_no_unit() {
        assert_eq!(dial_time("flat_1-100.cr2"), Some(Seconds(0.01)));
        for file in ["flats 1-100/img_1.cr2", "flat_1-7.cr2", "flat_1-101.cr2", "2024-1-100.cr2", "flat_1_100.cr2"] {
            assert_eq!(dial_time(file), None, "{file}");
        }
    }

    #[test]
    fn temperatures_stand_in_names() {
        for (file, celsius) in [
            ("d/dark_300s_-5C_07.fits", -5.0),
            ("dark_+20.5°C.fits", 20.5),
            ("darks/-10c/x.fits", -10.0),
            ("Dark 60s 18degC.dng", 18.0),
            ("dark_-7,5C.fit", -7.5),
        ] {
            assert_eq!(temperature(file), Some(Celsius(celsius)), "{file}");
        }
        for file in ["dark-10C.fits", "abc.fits", "1000C.fits", "c.fits", "M31_C.fits", "IC10C/x.fits"] {
            assert_eq!(temperature(file), None, "{file}");
        }
    }

    #[test]
    fn gains_stand_in_names() {
        for (file, gain) in [
            ("bias/iso400/x.cr2", 400.0),
            ("bias/ISO 1600/x.cr2", 1600.0),
            ("iso800/flat_iso-100_1.nef", 100.0),
            ("dark_60s_gain0_offset30_1.fits", 0.0),
            ("Dark_60_secs_Gain=139_001.fit", 139.0),
            ("flats 3200iso/x.arw", 3200.0),
            ("gain 120/darkflats/img_004.fits", 120.0),
        ] {
            assert_eq!(gain_setting(file), Some(gain), "{file}");
        }
        for file in
            ["again100.fits", "iso.fits", "isolated_12.fits", "gain_0012.fits", "iso_0001/x.fits", "flats/x_1.fits"]
        {
            assert_eq!(gain_setting(file), None, "{file}");
        }
    }
}
