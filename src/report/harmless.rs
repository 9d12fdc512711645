//! What names may bring into an output that they have no business in: signs that act where they are shown.

use std::borrow::Cow;

/// With these a spreadsheet lets a formula begin, the wide ones of East Asian keyboards included.
const FORMULA: [char; 8] = ['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'];

/// Whether a sign acts where it is shown in place of being seen: it commands a terminal, breaks a line or turns the
/// direction of what follows. Line ends and tabs, which text is made of, do too.
#[must_use]
pub fn acts(sign: char) -> bool {
    sign.is_control() || matches!(sign, '\u{2028}' | '\u{2029}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// The text with a question mark for each sign that acts, but for line ends and tabs.
///
/// # Examples
/// ```
/// assert_eq!(subwell::report::harmless("red\u{1b}[2J\tH\u{3b1}\r\n"), "red?[2J\tH\u{3b1}\n");
/// ```
#[must_use]
pub fn harmless(text: &str) -> Cow<'_, str> {
    let harms = |sign: char| acts(sign) && !['\n', '\t'].contains(&sign);
    if text.contains(harms) { text.replace("\r\n", "\n").replace(harms, "?").into() } else { text.into() }
}

/// A word for a cell of a table: no sign in it acts, and no spreadsheet takes it for a formula, whatever blanks stand
/// before.
pub(super) fn cell_text(word: &str) -> String {
    let word = word.replace(acts, " ");
    let unseen = |sign: char| sign.is_whitespace() || matches!(sign, '\u{200b}'..='\u{200f}' | '\u{2060}' | '\u{feff}');
    if word.trim_start_matches(unseen).starts_with(FORMULA) { format!("'{word}") } else { word }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cell_is_a_formula() {
        for word in ["=1", " =1", "\t=1", "\u{a0}\u{200b}=1", "\u{ff1d}1", "\u{3000}\u{ff0b}1", "-1", "@a", "\r\n=1"] {
            assert!(cell_text(word).starts_with('\''), "{word:?}");
        }
        for word in ["red", "H-alpha", "a=b", "\u{3b1}"] {
            assert_eq!(cell_text(word), word);
        }
        assert_eq!(cell_text("a\u{1b}[2J\u{2028}b"), "a [2J b");
    }
}
