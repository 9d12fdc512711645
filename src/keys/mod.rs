//! Every key of the files that people write, once: its unit, the range it may lie in, and what is taken where it is left out.
//!
//! ```text
//!              ┌─► bounds        Night::check, CameraProfile::from_toml, SensorTruth::check
//! NIGHT        ├─► defaults      the `DEFAULT_…` constants, `assumed-value`
//! CAMERA  ─────┤
//! SENSOR       ├─► JSON Schema   for editors: `subwell schema night --as json-schema` (feature `schema`)
//!              └─► the page      what its fields need: one JSON document of keys (feature `schema`)
//! ```
//!
//! What a key means stands at the field that it is read into, as its documentation; the type of the field says whether it may
//! be left out. A test walks the JSON Schema of the types: a field without a row here fails, and so does a row without a field.

mod camera;
mod night;
mod sensor;

pub use camera::CAMERA;
pub(crate) use camera::LARGEST;
pub use night::NIGHT;
pub use sensor::SENSOR;

use crate::reading::OutOfRange;

/// What is taken for a key that is left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DefaultValue {
    /// Nothing: the key must be given, or its absence says something of its own.
    None,
    /// This number.
    Number(f64),
    /// This value, as it is written in TOML.
    Written(&'static str),
    /// What follows from other keys, in words.
    Follows(&'static str),
}

/// One key of a file.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Key {
    /// The way to it: the names of its tables and its own with points between, without the numbers of list entries.
    pub path: &'static str,
    /// Its unit; empty for a plain number, a word or a table.
    pub unit: &'static str,
    /// The least it may be.
    pub low: f64,
    /// The most it may be.
    pub high: f64,
    /// What is taken where it is left out.
    pub default: DefaultValue,
    /// The condition under which that is so, in words; empty where there is none.
    pub default_where: &'static str,
}

impl Key {
    /// A key without bounds and default.
    const fn new(path: &'static str, unit: &'static str) -> Self {
        Self { path, unit, low: f64::NEG_INFINITY, high: f64::INFINITY, default: DefaultValue::None, default_where: "" }
    }

    const fn within(mut self, low: f64, high: f64) -> Self {
        (self.low, self.high) = (low, high);
        self
    }

    const fn or(mut self, default: f64) -> Self {
        self.default = DefaultValue::Number(default);
        self
    }

    /// A number that is taken under a condition only.
    const fn or_where(mut self, default: f64, condition: &'static str) -> Self {
        (self.default, self.default_where) = (DefaultValue::Number(default), condition);
        self
    }

    const fn or_written(mut self, default: &'static str) -> Self {
        self.default = DefaultValue::Written(default);
        self
    }

    const fn or_what_follows(mut self, words: &'static str) -> Self {
        self.default = DefaultValue::Follows(words);
        self
    }

    /// Whether both ends of its range are told.
    #[must_use]
    pub fn is_bounded(&self) -> bool {
        self.low.is_finite() && self.high.is_finite()
    }

    /// `Ok` when `found` lies in the key's range; NaN does not.
    ///
    /// # Errors
    /// When it does not.
    pub fn check(&self, found: f64) -> Result<(), OutOfRange> {
        OutOfRange::check(self.path, found, self.low, self.high)
    }

    /// [`Key::check`] of a key that is shown by another name, such as that of one entry of a list.
    ///
    /// # Errors
    /// As [`Key::check`].
    pub fn check_as(&self, shown: &str, found: f64) -> Result<(), OutOfRange> {
        OutOfRange::check(shown, found, self.low, self.high)
    }

    /// The number that is taken where the key is left out; the name of a constant that has none does not compile.
    #[allow(clippy::panic, reason = "evaluated while compiling")]
    pub(crate) const fn number(&self) -> f64 {
        match self.default {
            DefaultValue::Number(number) => number,
            _ => panic!("the key has no number for a default"),
        }
    }

    /// What is taken where the key is left out, and under which condition, in words.
    #[must_use]
    pub fn default_words(&self) -> Option<String> {
        let text = self.default_text()?;
        Some(if self.default_where.is_empty() { text } else { format!("{text} where {}", self.default_where) })
    }

    /// What is taken where the key is left out, as a text.
    #[must_use]
    pub fn default_text(&self) -> Option<String> {
        match self.default {
            DefaultValue::None => None,
            DefaultValue::Number(number) => Some(number.to_string()),
            DefaultValue::Written(text) | DefaultValue::Follows(text) => Some(text.to_owned()),
        }
    }
}

#[cfg(test)]
impl Key {
    /// A number below the range and one above it, whole where the end is.
    pub(crate) fn beyond(&self) -> [f64; 2] {
        let step = |end: f64| if end.fract() == 0.0 { (end.abs() * 1e-3).ceil().max(1.0) } else { end.abs() / 2.0 };
        [self.low - step(self.low), self.high + step(self.high)]
    }
}

/// Checks the numbers of a list, each where it is given.
pub(crate) fn check_all<'a>(numbers: impl IntoIterator<Item = (&'a Key, Option<f64>)>) -> Result<(), OutOfRange> {
    numbers.into_iter().try_for_each(|(key, value)| value.map_or(Ok(()), |value| key.check(value)))
}

/// The row of a key; a path that is in no row does not compile, see [`key!`].
#[allow(clippy::panic, reason = "evaluated while compiling")]
pub(crate) const fn find(table: &'static [Key], path: &str) -> &'static Key {
    let mut i = 0;
    while i < table.len() {
        if same(table[i].path, path) {
            return &table[i];
        }
        i += 1;
    }
    panic!("no row of the table has this path")
}

const fn same(a: &str, b: &str) -> bool {
    let (a, b) = (a.as_bytes(), b.as_bytes());
    let mut i = 0;
    while a.len() == b.len() && i < a.len() && a[i] == b[i] {
        i += 1;
    }
    a.len() == b.len() && i == a.len()
}

/// The row of a key, looked up while compiling: `key!(NIGHT, "mount.settle_s")`.
macro_rules! key {
    ($table:ident, $path:literal) => {
        const { $crate::keys::find($crate::keys::$table, $path) }
    };
}
pub(crate) use key;

/// The row of a path that is known only when running; `None` where no row has it. Keys of an earlier stack's sky are those of
/// the site's.
#[must_use]
pub fn row(table: &'static [Key], path: &str) -> Option<&'static Key> {
    let path = path.strip_prefix("goal.already.sky").map_or_else(|| path.to_owned(), |rest| format!("site.sky{rest}"));
    table.iter().find(|key| key.path == path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_path_stands_in_two_rows_and_every_default_lies_in_its_range() {
        for table in [NIGHT, CAMERA, SENSOR] {
            for (i, key) in table.iter().enumerate() {
                assert!(table[..i].iter().all(|other| other.path != key.path), "{} twice", key.path);
                assert!(key.low <= key.high, "{}", key.path);
                if let DefaultValue::Number(number) = key.default {
                    assert_eq!(key.check(number), Ok(()));
                }
            }
        }
    }

    #[test]
    fn a_row_is_found_by_its_path_and_an_earlier_sky_is_a_sky() {
        assert_eq!(key!(NIGHT, "mount.settle_s").number(), 20.0);
        assert_eq!(row(NIGHT, "goal.already.sky.bortle"), row(NIGHT, "site.sky.bortle"));
        assert_eq!(row(NIGHT, "goal.already.sk"), None);
    }

    #[test]
    fn a_default_is_told_as_it_is_written() {
        let text = |path| row(NIGHT, path).and_then(Key::default_text);
        assert_eq!(text("optics.transmission").as_deref(), Some("0.9"));
        assert_eq!(text("stack.most_subs").as_deref(), Some("2000"));
        assert_eq!(text("site.sky").as_deref(), Some("{ bortle = 6 }"));
        assert_eq!(text("optics.aperture_mm"), None);
    }
}
