//! What names say where headers are silent: `darks/-10C/dark_60s_003.fits`.

use super::cards::number;
use crate::units::{Celsius, Seconds};

/// How a photographer without headers can say what the program needs.
pub const ADVICE: &str = "without headers, folders named bias, flats, darks and lights say the kind, and file or folder names the \
     rest, as in darks/dark_60s_-10C_001.fits; or write sidecar.csv with the columns file, kind, exposure_s, sensor_c, \
     gain_setting beside the frames";

/// `1 file`, `2 files`.
#[must_use]
pub fn files(count: usize) -> String {
    if count == 1 { "1 file".into() } else { format!("{count} files") }
}

/// The exposure that the file's name, or the innermost folder that has one, states with its unit: `dark_300s_01`, `flats 25ms/`.
///
/// # Examples
/// ```
/// use subwell::{frames::names::exposure, units::Seconds};
/// assert_eq!(exposure("darks 60s/img_1.fits"), Some(Seconds(60.0)));
/// assert_eq!(exposure("darks/img_60.fits"), None);
/// ```
#[must_use]
pub fn exposure(file: &str) -> Option<Seconds> {
    let units = [("ms", 1e-3), ("us", 1e-6), ("sec", 1.0), ("s", 1.0)];
    parts(file).find_map(|part| {
        part.split(['_', ' ', '-']).find_map(|word| {
            let (digits, unit) = units.iter().find_map(|(unit, length)| Some((word.strip_suffix(unit)?, length)))?;
            number(digits).filter(|value| *value >= 0.0).map(|value| Seconds(value * unit))
        })
    })
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
        assert_eq!(exposure("d/dark_300s_-5C_07.fits"), Some(Seconds(300.0)));
        assert_eq!(exposure("flat_0.5sec.fit"), Some(Seconds(0.5)));
        assert_eq!(exposure("flat_250ms_1.fits"), Some(Seconds(0.25)));
        assert_eq!(exposure("flat_1.5s.CR2"), Some(Seconds(1.5)));
        assert_eq!(exposure("night/dark 60s/20s/x.nef"), Some(Seconds(20.0)));
        assert_eq!(exposure("flats_1.fits"), None);
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
}
