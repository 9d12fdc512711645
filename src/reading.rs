//! Text files read in one way: how deep they may nest, what the parser says of them in words that a photographer knows, and
//! the two errors that every file shares: text that cannot be read ([`SyntaxError`]), a number that cannot be
//! ([`OutOfRange`]).

use std::ops::Range;

use serde::de::DeserializeOwned;

/// Tables and lists inside each other, counted from the top of a text; our own files reach nine.
pub const DEEPEST: usize = 32;

/// Known keys are listed where there are no more of them than this.
const FEW_KEYS: usize = 8;

/// How alike two words must be for one to be offered for the other (Jaro-Winkler, 1 = equal).
const KEY_LIKENESS: f64 = 0.7;

/// A text that is not what it should be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct SyntaxError {
    /// What the parser found, with line and key.
    pub message: String,
    /// What to write instead, where that can be told.
    pub advice: Option<String>,
}

/// A number outside what its key can hold.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("`{key}` is {}, it must lie between {} and {}", short(*found), short(*low), short(*high))]
pub struct OutOfRange {
    /// The key, with the tables it stands in.
    pub key: String,
    /// What was given.
    pub found: f64,
    /// The least that makes sense.
    pub low: f64,
    /// The most that makes sense.
    pub high: f64,
}

impl OutOfRange {
    /// `Ok` when `found` lies in `low..=high`; NaN does not.
    ///
    /// # Errors
    /// When it does not.
    pub fn check(key: &str, found: f64, low: f64, high: f64) -> Result<(), Self> {
        if (low..=high).contains(&found) { Ok(()) } else { Err(Self { key: key.to_owned(), found, low, high }) }
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        format!("correct `{}`", self.key)
    }
}

/// A number as a person writes it: without a row of zeros.
pub(crate) fn short(number: f64) -> String {
    let many_zeros = number != 0.0 && number.is_finite() && !(1e-4..1e10).contains(&number.abs());
    if many_zeros { format!("{number:e}") } else { number.to_string() }
}

/// The files that people write and give one for the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Written {
    /// A night.
    Night,
    /// The profile of a camera.
    Camera,
    /// A made-up sensor.
    Sensor,
}

impl Written {
    /// What a text looks like by the tables that only one of them has.
    fn of(text: &str) -> Option<Self> {
        let heads = |head: &str| text.lines().any(|line| line.trim_start().starts_with(head));
        match (heads("[[modes]]"), heads("[optics]") || heads("[target]"), heads("[[frames]]")) {
            (true, false, false) => Some(Self::Camera),
            (false, true, false) => Some(Self::Night),
            (false, false, true) => Some(Self::Sensor),
            _ => None,
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Night => "a night",
            Self::Camera => "the profile of a camera",
            Self::Sensor => "the description of a made-up sensor",
        }
    }

    /// What to give instead where this is wanted.
    fn advice(self) -> &'static str {
        match self {
            Self::Night => {
                "give a night file, which names the camera's profile under [camera] (`subwell schema night` prints one)"
            }
            Self::Camera => "give the profile that `subwell measure DIR --out camera.toml` writes",
            Self::Sensor => "give a sensor file (`subwell schema sensor` prints one)",
        }
    }
}

/// Reads a TOML text.
///
/// # Errors
/// When it nests deeper than [`DEEPEST`], is not TOML, or does not hold a `T`; a mistyped key is advised the nearest
/// known one, and another of the files that people write is named as what it is.
pub(crate) fn from_toml<T: DeserializeOwned>(text: &str, wanted: Written) -> Result<T, SyntaxError> {
    check_depth(text)?;
    toml::from_str(text).map_err(|error| match Written::of(text).filter(|found| *found != wanted) {
        Some(found) => SyntaxError {
            message: format!("it is {}, not {}", found.name(), wanted.name()),
            advice: Some(wanted.advice().to_owned()),
        },
        None => SyntaxError {
            advice: did_you_mean(error.message()).or_else(|| advice(text, error.span())),
            message: in_words(&error.to_string()),
        },
    })
}

/// Reads a JSON text.
///
/// # Errors
/// As [`from_toml`].
pub(crate) fn from_json<T: DeserializeOwned>(text: &str) -> Result<T, SyntaxError> {
    check_depth(text)?;
    serde_json::from_str(text).map_err(|error| {
        let message = error.to_string();
        SyntaxError { advice: did_you_mean(&message), message: in_words(&message) }
    })
}

/// Checks before any parser sees it that a text of TOML or JSON does not nest deeper than [`DEEPEST`]: parsers and what they
/// build call themselves for each level, and a stack ends.
///
/// Brackets count one each, and so does every point of a dotted key or header, `[a.b]` or `a.b = 1`; quoted text and
/// comments do not.
///
/// # Errors
/// When it does; the line is named.
pub fn check_depth(text: &str) -> Result<(), SyntaxError> {
    let bytes = text.as_bytes();
    let (mut open, mut depth, mut points, mut line) = (Vec::new(), 0_usize, 0_usize, 1_usize);
    let mut at = 0;
    while let Some(&byte) = bytes.get(at) {
        match byte {
            b'"' | b'\'' => {
                let end = end_of_quoted(bytes, at);
                line += bytes[at..end].iter().filter(|byte| **byte == b'\n').count();
                at = end;
                continue;
            }
            b'#' => {
                at += bytes[at..].iter().position(|byte| *byte == b'\n').unwrap_or(bytes.len() - at);
                continue;
            }
            b'[' | b'{' => {
                depth += points + 1;
                open.push(std::mem::take(&mut points));
            }
            b']' | b'}' => {
                if let Some(before) = open.pop() {
                    depth -= before + 1;
                }
                points = 0;
            }
            b'.' => points += 1,
            b',' => points = 0,
            b'\n' => {
                line += 1;
                points = 0;
            }
            // A dotted key's tables stay open around its value.
            _ => {}
        }
        if depth + points > DEEPEST {
            let message = format!("line {line}: tables and lists nest deeper than {DEEPEST} levels");
            return Err(SyntaxError {
                message,
                advice: Some("no file of this program nests so: write it anew".into()),
            });
        }
        at += 1;
    }
    Ok(())
}

/// The place behind the quoted text that begins at `start`; without an end of its own, a text of one line ends with it.
fn end_of_quoted(bytes: &[u8], start: usize) -> usize {
    let quote = bytes[start];
    let long = bytes[start..].starts_with(&[quote; 3]);
    let mut at = start + if long { 3 } else { 1 };
    while let Some(&byte) = bytes.get(at) {
        match byte {
            b'\\' if quote == b'"' => at += 1,
            b'\n' if !long => return at,
            _ if byte == quote && !long => return at + 1,
            _ if byte == quote && bytes[at..].starts_with(&[quote; 3]) => return at + 3,
            _ => {}
        }
        at += 1;
    }
    bytes.len()
}

/// The known key nearest to the unknown one that a parser's message names.
///
/// The message lists what was expected: the first word in backticks is the stranger, the others are known.
fn did_you_mean(message: &str) -> Option<String> {
    let unknown = message.find("unknown field")?;
    let mut words = message[unknown..].split('`').skip(1).step_by(2);
    let stranger = words.next()?;
    let likeness = |known: &str| strsim::jaro_winkler(known, stranger);
    let nearest = words.max_by(|a, b| likeness(a).total_cmp(&likeness(b)))?;
    (likeness(nearest) >= KEY_LIKENESS).then(|| format!("did you mean `{nearest}`?"))
}

/// The names that the parser has for kinds of values, and ours.
const KINDS: [(&str, &str); 17] = [
    ("expected f64", "expected a number"),
    ("expected f32", "expected a number"),
    ("expected u8", "expected a whole number from 0 to 255"),
    ("expected u16", "expected a whole number from 0 to 65535"),
    ("expected u32", "expected a whole number, 0 or more"),
    ("expected u64", "expected a whole number, 0 or more"),
    ("expected usize", "expected a whole number, 0 or more"),
    ("expected i32", "expected a whole number"),
    ("expected i64", "expected a whole number"),
    ("expected a boolean", "expected true or false"),
    ("expected bool", "expected true or false"),
    ("expected a string", "expected a text in quotes"),
    ("expected a sequence", "expected a list in [ ]"),
    ("floating point `", "the number `"),
    ("integer `", "the whole number `"),
    ("string \"", "the text \""),
    ("invalid type: map,", "invalid type: a table or a date,"),
];

/// A parser's message without the names of the program's own types.
fn in_words(message: &str) -> String {
    let mut words = message.trim_end().to_owned();
    for (theirs, ours) in KINDS {
        words = words.replace(theirs, ours);
    }
    // Forty known keys in a row help nobody: the nearest is advised.
    if let Some(at) = words.find(", expected one of `") {
        let list = words[at..].split_inclusive('`').skip(1).step_by(2);
        let end = words[at..].find('\n').map_or(words.len(), |end| at + end);
        if list.count() > FEW_KEYS {
            words.replace_range(at..end, "");
        }
    }
    match words.find("expected struct ") {
        Some(at) => {
            let rest = &words[at + "expected struct ".len()..];
            let name = rest.find(|c: char| !(c.is_alphanumeric() || c == '_')).unwrap_or(rest.len());
            format!("{}expected a table{}", &words[..at], &rest[name..])
        }
        None => words,
    }
}

/// What to write instead, where the line at fault holds one of the usual slips.
fn advice(text: &str, at: Option<Range<usize>>) -> Option<String> {
    let at = at?.start.min(text.len());
    let before = text.get(..at)?;
    // A fault at the very end of a line belongs to that line.
    let start = before.trim_end_matches(['\r', '\n']).rfind('\n').map_or(0, |end| end + 1);
    let line = text.get(start..)?.lines().next()?;
    line.match_indices('=').find_map(|(place, _)| slip(line[..place].trim(), line[place + 1..].trim_start()))
}

/// The slip in the value of one key.
fn slip(key: &str, value: &str) -> Option<String> {
    let key = key.rsplit([' ', '{', ',']).next().unwrap_or(key);
    let digits = |text: &str| text.chars().take_while(char::is_ascii_digit).count();
    let sign = value.len() - value.trim_start_matches(['+', '-']).len();
    let whole = sign + digits(&value[sign..]);
    let after = &value[whole..];
    if whole > sign && after.starts_with(',') && digits(&after[1..]) > 0 {
        let decimals = &after[1..=digits(&after[1..])];
        return Some(format!("decimals are written with a point: {key} = {}.{decimals}", &value[..whole]));
    }
    if let (Some(text), true) = (value.strip_prefix('"'), value.len() < 40) {
        let number = text.find(|sign: char| !(sign.is_ascii_digit() || "+-.".contains(sign))).unwrap_or(text.len());
        if text[..number].parse::<f64>().is_ok() {
            return Some(format!("numbers stand without quotes and units: {key} = {}", &text[..number]));
        }
    }
    if key == "sky" && whole > sign {
        let number: String = value.chars().take_while(|sign| sign.is_ascii_digit() || *sign == '.').collect();
        return Some(format!(
            "the sky's scale stands beside it: sky = {{ mag_per_arcsec2 = {number} }}, or {{ bortle = 7 }}"
        ));
    }
    let date: String = value.chars().take(10).collect();
    let is_date = date.len() == 10
        && date.bytes().enumerate().all(|(i, b)| if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() });
    is_date.then(|| format!("a date stands in quotes: {key} = \"{date}\""))
}

/// The text with the line ends that most lines of `old` have.
#[cfg(any(feature = "files", feature = "planner"))]
pub(crate) fn with_line_ends_of(old: &str, text: &str) -> String {
    let plain = text.replace("\r\n", "\n");
    let ends = |end: &str| old.matches(end).count();
    if 2 * ends("\r\n") > ends("\n") { plain.replace('\n', "\r\n") } else { plain }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> (String, Option<String>) {
        #[derive(Debug, serde::Deserialize)]
        #[allow(dead_code)]
        struct Page {
            #[serde(default)]
            number: f64,
            #[serde(default)]
            count: u8,
            #[serde(default)]
            date: String,
            #[serde(default)]
            table: Inner,
        }
        #[derive(Debug, Default, serde::Deserialize)]
        #[allow(dead_code)]
        struct Inner {
            inside: f64,
        }
        let error = toml::from_str::<Page>(text).unwrap_err();
        (in_words(error.message()), advice(text, error.span()))
    }

    #[test]
    fn kinds_are_named_in_words() {
        assert!(said("number = \"six\"").0.contains("expected a number"));
        assert!(said("count = 300").0.contains("from 0 to 255"));
        assert!(said("table = 3").0.contains("expected a table"));
        for text in ["number = \"six\"", "count = -1", "count = 1.5", "date = 7", "table = 3"] {
            let message = said(text).0;
            for theirs in ["f64", "u8", "struct", "usize", "map"] {
                assert!(!message.contains(theirs), "{message}");
            }
        }
    }

    #[test]
    fn a_decimal_comma_and_a_bare_date_get_their_own_advice() {
        for text in
            ["number = 6,5", "count = 1\nnumber = 6,5\n", "table = { inside = 6,5 }", "number = 6,5\r\ncount = 1\r\n"]
        {
            let advice = said(text).1.unwrap_or_else(|| panic!("{text}"));
            assert!(advice.ends_with("= 6.5"), "{advice}");
        }
        assert_eq!(said("date = 2026-10-12").1.unwrap(), "a date stands in quotes: date = \"2026-10-12\"");
        assert_eq!(said("number = \"six\"").1, None);
        assert_eq!(said("number = [1,2]").1, None);
        assert_eq!(advice("", Some(0..0)), None);
    }

    #[test]
    fn units_in_quotes_and_a_sky_without_its_scale_get_their_own_advice() {
        let advised = said("number = \"76 mm\"").1.unwrap();
        assert_eq!(advised, "numbers stand without quotes and units: number = 76");
        assert_eq!(said("number = \"about 6\"").1, None);
        let advised = slip("sky", "20.5").unwrap();
        assert!(advised.contains("sky = { mag_per_arcsec2 = 20.5 }"), "{advised}");
    }

    #[test]
    fn forty_known_keys_are_not_listed_and_a_file_of_another_kind_is_named() {
        let few = "unknown field `x`, expected one of `a`, `b`\nrest";
        assert_eq!(in_words(few), few);
        let keys: Vec<String> = (0..20).map(|key| format!("`k{key}`")).collect();
        let many = format!("unknown field `x`, expected one of {}\nrest", keys.join(", "));
        assert_eq!(in_words(&many), "unknown field `x`\nrest");
        for (text, wanted, said) in [
            ("[[modes]]\n", Written::Night, "the profile of a camera, not a night"),
            ("[optics]\n", Written::Sensor, "a night, not the description of a made-up sensor"),
            (
                "x = 1\n[[frames]]\n",
                Written::Camera,
                "the description of a made-up sensor, not the profile of a camera",
            ),
        ] {
            let error = from_toml::<f64>(text, wanted).unwrap_err();
            assert!(error.message.ends_with(said), "{error}");
            assert_eq!(error.advice.as_deref(), Some(wanted.advice()));
        }
    }

    #[test]
    fn what_nests_too_deep_is_an_error_and_not_the_end_of_the_stack() {
        let deep = |open: &str, close: &str, count: usize| format!("a = {}{}", open.repeat(count), close.repeat(count));
        for text in [
            deep("[", "]", 4000),
            deep("{ a = ", "}", 4000),
            format!("[{}a]\n", "a.".repeat(4000)),
            format!("[[{}a]]\n", "a.".repeat(4000)),
            format!("{}a = 1", "a.".repeat(4000)),
            format!("{}a = {}", "a.".repeat(20), "[".repeat(20)),
            "[".repeat(100_000),
            "\"a\":{".repeat(4000),
            format!("a = \"open\n{}", "[".repeat(100)),
        ] {
            assert!(check_depth(&text).is_err(), "{}", &text[..40.min(text.len())]);
        }
        let named = check_depth(&format!("a = 1\n\nb = {}", "[".repeat(64))).unwrap_err();
        assert!(named.message.starts_with("line 3:"), "{named}");
    }

    #[test]
    fn what_nests_as_usual_or_only_seems_to_nest_is_read() {
        let brackets = "[".repeat(100);
        for text in [
            "a = [[0.5, 1.5], [1.5, 2.5]]\n".repeat(1000),
            format!("a = \"{brackets} \\\" {brackets}\" # {brackets}\nb = '{brackets}'\n"),
            format!("a = \"\"\"\n{brackets}\n \\\"\"\" {brackets}\"\"\"\nb = '''{brackets}\n{brackets}'''\n"),
            "]]]]}}}\n".into(),
            deepest(),
        ] {
            assert_eq!(check_depth(&text), Ok(()), "{}", &text[..40.min(text.len())]);
        }
        assert!(toml::from_str::<toml::Value>(&deepest()).is_ok());
    }

    fn deepest() -> String {
        format!("a = {}{}", "[".repeat(DEEPEST), "]".repeat(DEEPEST))
    }

    #[test]
    fn a_mistyped_key_is_advised_the_nearest_one_in_both_languages() {
        #[derive(Debug, serde::Deserialize)]
        #[serde(deny_unknown_fields)]
        #[allow(dead_code)]
        struct Page {
            settle_s: Option<f64>,
            guided: Option<bool>,
        }
        let said = [from_toml::<Page>("settel_s = 3.0", Written::Night), from_json(r#"{"settel_s": 3.0}"#)];
        for error in said {
            assert_eq!(error.unwrap_err().advice.unwrap(), "did you mean `settle_s`?");
        }
        assert_eq!(from_toml::<Page>("qqqq = 1", Written::Night).unwrap_err().advice, None);
    }

    #[test]
    fn nan_lies_in_no_range() {
        assert!(OutOfRange::check("a", f64::NAN, 0.0, 1.0).is_err());
        assert_eq!(OutOfRange::check("a", 1.0, 0.0, 1.0), Ok(()));
        let error = OutOfRange::check("a", 2.0, 0.0, 1.0).unwrap_err();
        assert_eq!(error.to_string(), "`a` is 2, it must lie between 0 and 1");
    }
}
