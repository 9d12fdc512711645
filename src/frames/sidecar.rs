//! `sidecar.csv`: what the photographer knows better than the headers.

use super::{FrameKind, cards};
use crate::units::{Celsius, Seconds};

/// One row: what is `None` is left as the header says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Override {
    /// The file, as written: relative to the folder of the sidecar.
    pub file: String,
    /// What it was taken for.
    pub kind: Option<FrameKind>,
    /// How long the shutter was open.
    pub exposure: Option<Seconds>,
    /// The sensor's temperature.
    pub sensor: Option<Celsius>,
    /// The gain or ISO number.
    pub gain_setting: Option<f64>,
}

/// Why a sidecar cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SidecarError {
    /// A column that it cannot have.
    #[error("unknown column `{found}`{}", nearest.as_ref().map(|name| format!(", did you mean `{name}`?")).unwrap_or_default())]
    UnknownColumn {
        /// The name.
        found: String,
        /// The nearest one there is.
        nearest: Option<String>,
    },
    /// No column says which file.
    #[error("there is no column `file`")]
    NoFileColumn,
    /// A value that is not what its column holds.
    #[error("line {line}: `{value}` is no {column}")]
    BadValue {
        /// The line, counted from 1.
        line: usize,
        /// The column.
        column: String,
        /// What stands there.
        value: String,
    },
}

/// Whether a name in a sidecar means this file: case may differ, an accent may be a letter of its own or a mark behind
/// a letter (as macOS stores it), and quotes may be left over.
///
/// # Examples
/// ```
/// use subwell::frames::sidecar::names_file;
/// assert!(names_file("Darks/Dark_1.FITS", "darks/dark_1.fits"));
/// assert!(names_file("\u{e9}t\u{e9}.fits", "e\u{301}te\u{301}.fits"));
/// assert!(!names_file("dark_1.fits", "dark_2.fits"));
/// ```
#[must_use]
pub fn names_file(written: &str, file: &str) -> bool {
    let written = written.trim().trim_matches(['"', '\'', '\u{201c}', '\u{201d}']).trim();
    let lower = |text: &str| text.to_lowercase().chars().collect::<Vec<char>>();
    alike(&lower(written), &lower(file))
}

/// Combining marks of Latin, Greek and Cyrillic letters.
fn is_mark(c: char) -> bool {
    ('\u{300}'..='\u{36f}').contains(&c)
}

fn alike(a: &[char], b: &[char]) -> bool {
    let marks = |rest: &[char]| rest.iter().take_while(|c| is_mark(**c)).count();
    match (a, b) {
        ([], []) => true,
        ([x, a @ ..], [y, b @ ..]) if x == y => alike(a, b),
        // One accented letter here, a letter and its marks there.
        ([x, a @ ..], [y, b @ ..]) if !x.is_ascii() && y.is_ascii_alphabetic() && marks(b) > 0 => {
            alike(a, &b[marks(b)..])
        }
        ([x, a @ ..], [y, b @ ..]) if x.is_ascii_alphabetic() && !y.is_ascii() && marks(a) > 0 => {
            alike(&a[marks(a)..], b)
        }
        _ => false,
    }
}

const COLUMNS: [&str; 5] = ["file", "kind", "exposure_s", "sensor_c", "gain_setting"];

/// Reads the rows; empty values leave what the header says, `;` may stand for `,`.
///
/// # Errors
/// An unknown column, no `file` column, or a value that is not a number or a kind.
///
/// # Examples
/// ```
/// let rows = subwell::frames::sidecar::overrides("file,sensor_c,kind\ndark_1.fits,-9.5,\n").unwrap();
/// assert_eq!(rows[0].sensor.unwrap().0, -9.5);
/// assert_eq!(rows[0].kind, None);
/// ```
pub fn overrides(text: &str) -> Result<Vec<Override>, SidecarError> {
    let text = text.trim_start_matches('\u{feff}');
    let mut lines = text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty() && !line.starts_with('#'));
    let Some((_, head)) = lines.next() else { return Ok(Vec::new()) };
    let separator = if head.contains(';') { ';' } else { ',' };
    let columns: Vec<String> = cells(head, separator).map(|name| name.to_lowercase()).collect();
    if let Some(found) = columns.iter().find(|name| !COLUMNS.contains(&name.as_str())) {
        let near = COLUMNS.iter().max_by(|a, b| strsim::jaro(a, found).total_cmp(&strsim::jaro(b, found)));
        return Err(SidecarError::UnknownColumn { found: found.clone(), nearest: near.map(|name| (*name).to_owned()) });
    }
    if !columns.iter().any(|name| name == "file") {
        return Err(SidecarError::NoFileColumn);
    }
    lines.map(|(at, line)| row(&columns, cells(line, separator), at + 1)).collect()
}

fn cells(line: &str, separator: char) -> impl Iterator<Item = String> + '_ {
    line.split(separator).map(|cell| cell.trim().trim_matches('"').to_owned())
}

fn row(columns: &[String], cells: impl Iterator<Item = String>, line: usize) -> Result<Override, SidecarError> {
    let mut row = Override::default();
    for (column, value) in columns.iter().zip(cells).filter(|(_, value)| !value.is_empty()) {
        let bad = || SidecarError::BadValue { line, column: column.clone(), value: value.clone() };
        let number = || cards::number(&value).ok_or_else(bad);
        match column.as_str() {
            "kind" => row.kind = Some(super::kind::in_words(&value).ok_or_else(bad)?),
            "exposure_s" => row.exposure = Some(Seconds(number()?)).filter(|exposure| exposure.0 >= 0.0),
            "sensor_c" => row.sensor = Some(Celsius(number()?)),
            "gain_setting" => row.gain_setting = Some(number()?),
            _ => row.file = value.replace('\\', "/"),
        }
    }
    Ok(row)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn semicolons_and_decimal_commas_are_read() {
        let rows = overrides("file;exposure_s;kind\ndarks\\d1.fits;0,5;dark flat\n").unwrap();
        assert_eq!(rows[0].file, "darks/d1.fits");
        assert_eq!((rows[0].exposure, rows[0].kind), (Some(Seconds(0.5)), Some(FrameKind::DarkFlat)));
    }

    #[test]
    fn names_the_nearest_column_and_the_line() {
        assert!(overrides("file,sensor").unwrap_err().to_string().contains("did you mean `sensor_c`"));
        assert_eq!(overrides("file,sensor_c\na,cold").unwrap_err().to_string(), "line 2: `cold` is no sensor_c");
        assert_eq!(overrides("kind\nbias"), Err(SidecarError::NoFileColumn));
        assert_eq!(overrides(""), Ok(Vec::new()));
    }
}
