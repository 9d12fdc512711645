//! What a parser says of a text file, in words that a photographer knows.

use std::ops::Range;

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
pub(crate) fn in_words(message: &str) -> String {
    let mut words = message.trim_end().to_owned();
    for (theirs, ours) in KINDS {
        words = words.replace(theirs, ours);
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
pub(crate) fn advice(text: &str, at: Option<Range<usize>>) -> Option<String> {
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
    let date: String = value.chars().take(10).collect();
    let is_date = date.len() == 10
        && date.bytes().enumerate().all(|(i, b)| if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() });
    is_date.then(|| format!("a date stands in quotes: {key} = \"{date}\""))
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
}
