//! What a FITS header says, card by card, read with tolerance: programs write headers in many dialects.

use serde::{Deserialize, Serialize};

/// One line of a header.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Card {
    /// In capitals, without `HIERARCH`.
    pub keyword: String,
    /// The text of the value: a string without its quotes, or a number as it was written.
    pub value: String,
    /// What stands behind the slash; for `HISTORY` and `COMMENT` the whole text.
    pub comment: String,
}

impl Card {
    /// Reads one line of up to 80 columns; `None` if it is blank or has no keyword.
    ///
    /// Tolerated: lower-case keywords, tabs, values out of their columns, `HIERARCH`, a missing closing quote.
    /// # Source
    /// FITS standard 4.0 §4.1–4.2 (IAU FITS Working Group 2018), from memory; the tolerance is common practice, no source.
    #[must_use]
    pub fn parse(line: &str) -> Option<Self> {
        let line = line.trim_end();
        let commentary = |name: &str| {
            line.get(..name.len()).is_some_and(|start| start.eq_ignore_ascii_case(name))
                && line.get(name.len()..).is_some_and(|rest| rest.is_empty() || rest.starts_with([' ', '\t']))
        };
        for name in ["HISTORY", "COMMENT", "CONTINUE"] {
            if commentary(name) {
                return Some(Self::commentary(name, line[name.len()..].trim()));
            }
        }
        let (keyword, rest) = line.split_once('=')?;
        let keyword = keyword.trim().to_uppercase();
        let keyword = keyword.strip_prefix("HIERARCH").map_or(keyword.as_str(), str::trim);
        let known = |c: char| c.is_ascii_alphanumeric() || "-_ .".contains(c);
        if keyword.is_empty() || !keyword.chars().all(known) {
            return None;
        }
        let (value, comment) = value_and_comment(rest);
        Some(Self { keyword: keyword.to_owned(), value, comment })
    }

    fn commentary(keyword: &str, text: &str) -> Self {
        Self { keyword: keyword.to_owned(), value: String::new(), comment: text.to_owned() }
    }
}

fn value_and_comment(text: &str) -> (String, String) {
    let text = text.trim();
    let Some(quoted) = text.strip_prefix('\'') else {
        let (value, comment) = text.split_once('/').unwrap_or((text, ""));
        return (value.trim().to_owned(), comment.trim().to_owned());
    };
    let mut value = String::new();
    let mut rest = quoted;
    while let Some(end) = rest.find('\'') {
        value.push_str(&rest[..end]);
        rest = &rest[end + 1..];
        match rest.strip_prefix('\'') {
            Some(after) => {
                value.push('\'');
                rest = after;
            }
            None => {
                let comment = rest.trim().trim_start_matches('/').trim();
                return (value.trim().to_owned(), comment.to_owned());
            }
        }
    }
    value.push_str(rest);
    (value.trim().to_owned(), String::new())
}

/// A header: its cards in order. Look-ups take the first keyword, of those given, that has a value.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Cards(Vec<Card>);

impl Cards {
    /// Reads lines of header text, up to `END`.
    ///
    /// # Examples
    /// ```
    /// use subwell::frames::Cards;
    /// let cards = Cards::from_lines("exptime = '0,5' / s\nIMAGETYP= 'Dark Frame'");
    /// assert_eq!(cards.number(&["EXPTIME"]), Some(0.5));
    /// assert_eq!(cards.text(&["FRAME", "IMAGETYP"]), Some("Dark Frame"));
    /// ```
    #[must_use]
    pub fn from_lines(text: &str) -> Self {
        let mut cards = Self::default();
        for line in text.lines().take_while(|line| line.trim_end() != "END") {
            cards.push_line(line);
        }
        cards
    }

    /// Adds one line; `CONTINUE` lengthens the string before it.
    pub fn push_line(&mut self, line: &str) {
        let Some(card) = Card::parse(line) else { return };
        if card.keyword != "CONTINUE" {
            return self.0.push(card);
        }
        if let Some(last) = self.0.last_mut()
            && last.value.ends_with('&')
        {
            last.value.pop();
            let (more, comment) = value_and_comment(&card.comment);
            last.value.push_str(&more);
            last.comment.push_str(&comment);
        }
    }

    /// Adds the cards of another header behind these, such as those of the primary one behind an extension's.
    pub fn extend(&mut self, other: &Self) {
        self.0.extend(other.0.iter().cloned());
    }

    /// The cards in order.
    pub fn iter(&self) -> impl Iterator<Item = &Card> {
        self.0.iter()
    }

    /// The first card with this keyword.
    #[must_use]
    pub fn card(&self, keyword: &str) -> Option<&Card> {
        self.0.iter().find(|card| card.keyword == keyword)
    }

    /// The first of these keywords that has a value, as a card.
    pub fn filled<'a, 'k>(&'a self, keywords: &'k [&'k str]) -> impl Iterator<Item = &'a Card> + use<'a, 'k> {
        keywords.iter().filter_map(|keyword| self.card(keyword)).filter(|card| !card.value.is_empty())
    }

    /// The text of the first of these keywords that has one.
    #[must_use]
    pub fn text(&self, keywords: &[&str]) -> Option<&str> {
        self.filled(keywords).next().map(|card| card.value.as_str())
    }

    /// The number of the first of these keywords that holds one, also where it stands in quotes or has a decimal comma.
    #[must_use]
    pub fn number(&self, keywords: &[&str]) -> Option<f64> {
        self.filled(keywords).find_map(|card| number(&card.value))
    }

    /// The texts of all `HISTORY` cards.
    pub fn history(&self) -> impl Iterator<Item = &str> {
        self.0.iter().filter(|card| card.keyword == "HISTORY").map(|card| card.comment.as_str())
    }
}

/// The finite number that a text is, if it is one: `-2.04E+001`, `1.5D3`, `9,78E-03`.
#[must_use]
pub fn number(text: &str) -> Option<f64> {
    let text = text.trim().replace(['D', 'd'], "E");
    let text = if text.contains('.') { text } else { text.replacen(',', ".", 1) };
    let plain = |c: char| c.is_ascii_digit() || "+-.eE".contains(c);
    if !text.chars().all(plain) {
        return None;
    }
    text.parse().ok().filter(|value: &f64| value.is_finite())
}

/// The number at the start of a text, such as the 9 of `9 microns square`, or the first one in `ISO 800`.
#[must_use]
pub fn first_number(text: &str) -> Option<f64> {
    let start = text.find(|c: char| c.is_ascii_digit())?;
    let sign = usize::from(start > 0 && text.as_bytes()[start - 1] == b'-');
    let rest = &text[start - sign..];
    let end = rest[sign..].find(|c: char| !(c.is_ascii_digit() || c == '.')).map_or(rest.len(), |end| end + sign);
    number(rest[..end].trim_end_matches('.'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_strings_with_quotes_slashes_and_comments() {
        let card = Card::parse("OBJECT  = 'O''Brien/s star ' / the 'target'").unwrap();
        assert_eq!((card.value.as_str(), card.comment.as_str()), ("O'Brien/s star", "the 'target'"));
        assert_eq!(Card::parse("OBJECT  = 'cut off at col").unwrap().value, "cut off at col");
    }

    #[test]
    fn reads_hierarch_and_lower_case_keywords() {
        assert_eq!(Card::parse("HIERARCH ESO DPR TYPE = 'DARK'").unwrap().keyword, "ESO DPR TYPE");
        assert_eq!(Card::parse("ccd-temp=\t-10.5 / degC").unwrap().value, "-10.5");
    }

    #[test]
    fn joins_continued_strings() {
        let cards = Cards::from_lines("FILTER  = 'broad &'\nCONTINUE  'luminance' / one\nGAIN = 1");
        assert_eq!(cards.text(&["FILTER"]), Some("broad luminance"));
        assert_eq!(cards.number(&["GAIN"]), Some(1.0));
    }

    #[test]
    fn numbers_may_be_strings_with_a_comma_or_a_d() {
        assert_eq!(number(" 9,78E-03"), Some(0.00978));
        assert_eq!(number("-2.04E+001"), Some(-20.4));
        assert_eq!(number("1.5D3"), Some(1500.0));
        for text in ["NaN", "inf", "", "1,234.5", "12 s", "nonsense"] {
            assert_eq!(number(text), None, "{text}");
        }
        assert_eq!(first_number("9 microns square"), Some(9.0));
        assert_eq!(first_number("ISO 800"), Some(800.0));
        assert_eq!(first_number("at -10.5 C"), Some(-10.5));
        assert_eq!(first_number("none"), None);
    }
}
