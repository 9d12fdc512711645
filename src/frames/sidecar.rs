//! `sidecar.csv`: what the photographer knows better than the headers. What its columns mean; the table itself is read
//! where files are.

use std::collections::BTreeMap;

use super::{FrameKind, cards, names};
use crate::units::{Celsius, Micrometres, Seconds};

/// One row: what is `None` is left as the header says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Override {
    /// The file, or a pattern of files with `*` and `?`, as written: relative to the folder of the sidecar.
    pub file: String,
    /// What it was taken for.
    pub kind: Option<FrameKind>,
    /// How long the shutter was open.
    pub exposure: Option<Seconds>,
    /// The sensor's temperature.
    pub sensor: Option<Celsius>,
    /// The gain or ISO number.
    pub gain_setting: Option<f64>,
    /// The side of a pixel as the maker gives it, not binned.
    pub pixel: Option<Micrometres>,
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
    /// More values than columns, as a comma in a name or a number makes them.
    #[error("line {line} has {found} values for {expected} columns")]
    TooManyValues {
        /// The line, counted from 1.
        line: usize,
        /// Its values.
        found: usize,
        /// The columns of the first line.
        expected: usize,
    },
}

/// Whether a name in a sidecar means this file: case may differ, an accent may be a letter of its own or a mark behind
/// a letter (as macOS stores it), and quotes may be left over. `*` and `?` stand for any letters within one folder's
/// or file's name, `**` for folders of any depth.
///
/// # Examples
/// ```
/// use subwell::frames::sidecar::names_file;
/// assert!(names_file("Darks/Dark_1.FITS", "darks/dark_1.fits"));
/// assert!(names_file("\u{e9}t\u{e9}.fits", "e\u{301}te\u{301}.fits"));
/// assert!(names_file("flats/*.cr2", "flats/IMG_1.CR2"));
/// assert!(names_file("**/*.cr2", "flats/a/IMG_1.CR2") && !names_file("*.cr2", "flats/IMG_1.CR2"));
/// assert!(!names_file("dark_1.fits", "dark_2.fits"));
/// ```
#[must_use]
pub fn names_file(written: &str, file: &str) -> bool {
    let written = without_quotes(written);
    let lower = |text: &str| text.to_lowercase().chars().collect::<Vec<char>>();
    if !is_pattern(written) {
        return alike(&lower(written), &lower(file));
    }
    let parts = |text: &str| text.split('/').map(lower).collect::<Vec<_>>();
    below(&parts(written), &parts(file))
}

fn without_quotes(written: &str) -> &str {
    written.trim().trim_matches(['"', '\'', '\u{201c}', '\u{201d}']).trim()
}

fn is_pattern(written: &str) -> bool {
    written.contains(['*', '?'])
}

/// Whether the parts of a path are those of a pattern: after each part of it, which starts of the path are taken.
fn below(pattern: &[Vec<char>], path: &[Vec<char>]) -> bool {
    let mut taken = vec![false; path.len() + 1];
    taken[0] = true;
    for part in pattern {
        let mut next = vec![false; path.len() + 1];
        if part == &['*', '*'] {
            let first = taken.iter().position(|taken| *taken).unwrap_or(taken.len());
            next[first..].fill(true);
        } else {
            for (place, name) in path.iter().enumerate() {
                next[place + 1] = taken[place] && matches(part, name);
            }
        }
        taken = next;
    }
    taken[path.len()]
}

/// Whether one name is of a pattern; each `*` takes as little as it can and more where that fails.
fn matches(pattern: &[char], name: &[char]) -> bool {
    if !pattern.contains(&'*') && !pattern.contains(&'?') {
        return alike(pattern, name);
    }
    let (mut p, mut n) = (0, 0);
    let mut again: Option<(usize, usize)> = None;
    while n < name.len() {
        match pattern.get(p) {
            Some('*') => {
                again = Some((p, n));
                p += 1;
            }
            Some(c) if *c == '?' || *c == name[n] => (p, n) = (p + 1, n + 1),
            _ => {
                let Some((star, from)) = again else { return false };
                again = Some((star, from + 1));
                (p, n) = (star + 1, from + 1);
            }
        }
    }
    pattern[p..].iter().all(|c| *c == '*')
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

/// What the rows say of one file: its own row first, then the patterns in their order, each for the columns that those
/// before it leave empty.
///
/// # Examples
/// ```
/// use subwell::frames::{Override, sidecar::row_of};
/// let row = |file: &str, gain_setting| Override { file: file.into(), gain_setting, ..Override::default() };
/// let rows = [row("*.cr2", Some(800.0)), row("a.cr2", Some(100.0))];
/// assert_eq!(row_of(&rows, "a.cr2").unwrap().gain_setting, Some(100.0));
/// assert_eq!(row_of(&rows, "b.cr2").unwrap().gain_setting, Some(800.0));
/// assert_eq!(row_of(&rows, "b.fits"), None);
/// ```
#[must_use]
pub fn row_of(rows: &[Override], file: &str) -> Option<Override> {
    Rows::new(rows).row_of(file)
}

/// The rows of sidecars in an order in which those of a file are found without a look at all of them.
#[derive(Debug)]
pub struct Rows<'a> {
    rows: &'a [Override],
    /// Rows of one file each, by their name in small letters; where it is more than ASCII by what accents leave of it.
    plain: BTreeMap<String, Vec<usize>>,
    patterns: Vec<usize>,
}

impl<'a> Rows<'a> {
    /// Puts the rows in order.
    #[must_use]
    pub fn new(rows: &'a [Override]) -> Self {
        let mut of = Self { rows, plain: BTreeMap::new(), patterns: Vec::new() };
        for (place, row) in rows.iter().enumerate() {
            if is_pattern(&row.file) {
                of.patterns.push(place);
            } else {
                of.plain.entry(key_of(without_quotes(&row.file))).or_default().push(place);
            }
        }
        of
    }

    /// What the rows say of one file, as [`row_of`].
    #[must_use]
    pub fn row_of(&self, file: &str) -> Option<Override> {
        let (plain, patterns) = self.of_file(file);
        let own = plain.iter().find(|row| row.file == file).or(plain.first()).copied();
        own.into_iter().chain(patterns).cloned().reduce(|said, more| Override {
            file: said.file,
            kind: said.kind.or(more.kind),
            exposure: said.exposure.or(more.exposure),
            sensor: said.sensor.or(more.sensor),
            gain_setting: said.gain_setting.or(more.gain_setting),
            pixel: said.pixel.or(more.pixel),
        })
    }

    /// What they say against each other of one file, as [`conflict_of`].
    #[must_use]
    pub fn conflict_of(&self, file: &str) -> Option<String> {
        let (plain, patterns) = self.of_file(file);
        own_or_patterns(&plain).or_else(|| own_or_patterns(&patterns))
    }

    /// For each row whether it means one of the files.
    #[must_use]
    pub fn meant<'f>(&self, files: impl Iterator<Item = &'f str>) -> Vec<bool> {
        let mut meant = vec![false; self.rows.len()];
        for file in files {
            self.places_of(file).for_each(|place| meant[place] = true);
        }
        meant
    }

    /// The rows of the file's own name, and the patterns that mean it.
    fn of_file(&self, file: &str) -> (Vec<&'a Override>, Vec<&'a Override>) {
        self.places_of(file).map(|place| &self.rows[place]).partition(|row| !is_pattern(&row.file))
    }

    fn places_of<'s>(&'s self, file: &'s str) -> impl Iterator<Item = usize> + 's {
        let near = self.plain.get(&key_of(without_quotes(file))).into_iter().flatten().chain(&self.patterns).copied();
        near.filter(move |place| self.rows[*place].file == file || names_file(&self.rows[*place].file, file))
    }
}

/// The same for all names that [`alike`] takes for one: accents may be letters or marks behind one, so of a name with
/// accents the signs that are no letters are left.
fn key_of(name: &str) -> String {
    let lower = name.to_lowercase();
    if lower.is_ascii() {
        return lower;
    }
    let signs = lower.chars().filter(|c| c.is_ascii() && !c.is_ascii_alphabetic());
    // No name begins so: a name of signs alone is not one with accents.
    std::iter::once('\0').chain(signs).collect()
}

/// What rows that count alike, those of the file's own name or patterns, say against each other of one file: the column
/// and both values.
///
/// # Examples
/// ```
/// use subwell::frames::{Override, sidecar::conflict_of};
/// let row = |file: &str, gain: f64| Override { file: file.into(), gain_setting: Some(gain), ..Override::default() };
/// let rows = [row("*.cr2", 800.0), row("a.cr2", 100.0), row("a.cr2", 200.0)];
/// assert_eq!(conflict_of(&rows, "a.cr2").as_deref(), Some("gain_setting 100 and 200"));
/// assert_eq!(conflict_of(&rows, "b.cr2"), None);
/// ```
#[must_use]
pub fn conflict_of(rows: &[Override], file: &str) -> Option<String> {
    Rows::new(rows).conflict_of(file)
}

/// What a row says in one column.
type Column = (&'static str, fn(&Override) -> Option<String>);

fn own_or_patterns(rows: &[&Override]) -> Option<String> {
    let columns: [Column; 5] = [
        ("kind", |row| row.kind.map(|kind| kind.to_string())),
        ("exposure_s", |row| row.exposure.map(|time| time.0.to_string())),
        ("sensor_c", |row| row.sensor.map(|celsius| celsius.0.to_string())),
        ("gain_setting", |row| row.gain_setting.map(|gain| gain.to_string())),
        ("pixel_um", |row| row.pixel.map(|side| side.0.to_string())),
    ];
    columns.iter().find_map(|(column, value)| {
        let mut values = rows.iter().filter_map(|row| value(row));
        let first = values.next()?;
        let other = values.find(|other| *other != first)?;
        Some(format!("{column} {first} and {other}"))
    })
}

const COLUMNS: [&str; 7] = ["file", "kind", "exposure_s", "sensor_c", "gain_setting", "pixel_um", "iso"];

/// The columns that the first line of a sidecar names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Columns(Vec<String>);

impl Columns {
    /// The columns with these names.
    ///
    /// # Errors
    /// An unknown column, or none called `file`.
    pub fn new<'a>(names: impl Iterator<Item = &'a str>) -> Result<Self, SidecarError> {
        let columns: Vec<String> = names.map(|name| name.trim().to_lowercase()).collect();
        if let Some(found) = columns.iter().find(|name| !COLUMNS.contains(&name.as_str()) && !name.is_empty()) {
            let near = COLUMNS.iter().max_by(|a, b| strsim::jaro(a, found).total_cmp(&strsim::jaro(b, found)));
            return Err(SidecarError::UnknownColumn {
                found: found.clone(),
                nearest: near.map(|name| (*name).to_owned()),
            });
        }
        if columns.iter().all(|name| name != "file") {
            return Err(SidecarError::NoFileColumn);
        }
        Ok(Self(columns))
    }

    /// The row with these values, which stands in this line; empty values leave what the header says.
    ///
    /// # Errors
    /// A value that is not what its column holds, or one without a column.
    ///
    /// # Examples
    /// ```
    /// use subwell::frames::sidecar::Columns;
    /// let columns = Columns::new(["file", "sensor_c", "exposure_s"].into_iter()).unwrap();
    /// let row = columns.row(["dark_1.fits", "-9,5", "1/100"].into_iter(), 2).unwrap();
    /// assert_eq!((row.sensor.unwrap().0, row.exposure.unwrap().0), (-9.5, 0.01));
    /// assert_eq!(row.kind, None);
    /// ```
    pub fn row<'a>(&self, values: impl Iterator<Item = &'a str>, line: usize) -> Result<Override, SidecarError> {
        let values: Vec<&str> = values.map(str::trim).collect();
        if values.iter().skip(self.0.len()).any(|value| !value.is_empty()) {
            return Err(SidecarError::TooManyValues { line, found: values.len(), expected: self.0.len() });
        }
        let mut row = Override::default();
        for (column, value) in self.0.iter().zip(values).filter(|(_, value)| !value.is_empty()) {
            let bad = || SidecarError::BadValue { line, column: column.clone(), value: value.to_owned() };
            let number = || cards::number(value).ok_or_else(bad);
            let above_zero = || number().and_then(|side| Some(side).filter(|side| *side > 0.0).ok_or_else(bad));
            match column.as_str() {
                "kind" => row.kind = Some(super::kind::in_words(value).ok_or_else(bad)?),
                "exposure_s" => row.exposure = Some(names::time(value).ok_or_else(bad)?),
                "sensor_c" => row.sensor = Some(Celsius(number()?)),
                "gain_setting" | "iso" => row.gain_setting = Some(number()?),
                "pixel_um" => row.pixel = Some(Micrometres(above_zero()?)),
                "file" => row.file = value.replace('\\', "/").trim_start_matches("./").to_owned(),
                // A column without a name.
                _ => return Err(bad()),
            }
        }
        Ok(row)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patterns_take_what_a_shell_takes() {
        for (pattern, file) in [
            ("flats/*.cr2", "flats/IMG_1.CR2"),
            ("flats/img_00??.cr2", "flats/IMG_0012.cr2"),
            ("*", "x.fits"),
            ("**/dark*", "a/b/dark_1.fits"),
            ("**/dark*", "dark_1.fits"),
            ("night ?/**/x*y*.fits", "night 2/a/xaayb.fits"),
            ("*a*a*b", "aaaaaab"),
            ("**/b/**/d", "a/b/c/d"),
            ("a/**", "a/b/c"),
        ] {
            assert!(names_file(pattern, file), "{pattern} {file}");
        }
        let many = "**/*/".repeat(40) + "x";
        assert!(!names_file(&many, &"a/".repeat(30)));
        for (pattern, file) in [
            ("**/b", "a/c"),
            ("*.cr2", "flats/a.cr2"),
            ("flats/*", "flats/a/b"),
            ("a?", "a"),
            ("*a*b", "aaac"),
            ("a*", "ba"),
        ] {
            assert!(!names_file(pattern, file), "{pattern} {file}");
        }
    }

    /// The order finds what a look at every row finds.
    #[test]
    fn rows_in_order_are_those_of_a_look_at_all() {
        let names = [
            "a.fits",
            "A.FITS",
            "\"a.fits\"",
            " a.fits",
            "\u{e9}te\u{301}.fits",
            "e\u{301}t\u{e9}.fits",
            "ete.fits",
            "\u{212a}1.fits",
            "k1.fits",
            "*.fits",
            "e?e.fits",
            "a*.fits",
            "b/a.fits",
            "'b/A.fits",
            "ee\u{301}",
            "e\u{301}",
            ".1",
            "\u{e9}.1",
        ];
        let rows: Vec<Override> = names.map(|file| Override { file: file.into(), ..Override::default() }).to_vec();
        let of = Rows::new(&rows);
        for file in names {
            let one_by_one: Vec<bool> =
                names.iter().map(|written| *written == file || names_file(written, file)).collect();
            assert_eq!(of.meant([file].into_iter()), one_by_one, "{file}");
        }
    }

    #[test]
    fn names_the_nearest_column_and_the_line() {
        let columns = |names: &str| Columns::new(names.split(','));
        assert!(columns("file,sensor").unwrap_err().to_string().contains("did you mean `sensor_c`"));
        let two = columns("file,sensor_c").unwrap();
        let row = |values: &str| two.row(values.split(','), 2).map_err(|error| error.to_string());
        assert_eq!(row("a,cold").unwrap_err(), "line 2: `cold` is no sensor_c");
        assert_eq!(row("a,-9,5").unwrap_err(), "line 2 has 3 values for 2 columns");
        assert!(row("a,-9,,").is_ok() && row("a").is_ok());
        assert_eq!(columns("kind"), Err(SidecarError::NoFileColumn));
        let pixel = columns("file,pixel_um").unwrap();
        assert!(pixel.row(["a", "0"].into_iter(), 2).is_err());
    }
}
