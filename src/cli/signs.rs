//! Signs beyond ASCII, and what stands for them where the reader of the output cannot show them.

use std::borrow::Cow;
use std::io::IsTerminal;
use std::sync::LazyLock;

use subwell::report::{acts, harmless};

/// Whether text has to do without signs beyond ASCII.
pub(super) fn only_ascii() -> bool {
    static ONLY_ASCII: LazyLock<bool> = LazyLock::new(|| {
        if cfg!(windows) {
            // To a console goes UTF-16; what reads a pipe or a file there takes it for the code page of the country.
            return !std::io::stdout().is_terminal();
        }
        // The first that is set says it, as POSIX has it (XBD 8.2).
        let told = ["LC_ALL", "LC_CTYPE", "LANG"].iter().filter_map(std::env::var_os).find(|value| !value.is_empty());
        told.is_some_and(|locale| !is_utf_8(&locale.to_string_lossy()))
    });
    *ONLY_ASCII
}

/// Whether a locale such as `de_DE.UTF-8` is of UTF-8; `C` and `de_DE@euro` are not.
fn is_utf_8(locale: &str) -> bool {
    let charset = locale.split_once('.').map_or("", |(_, charset)| charset.split('@').next().unwrap_or_default());
    charset.eq_ignore_ascii_case("utf-8") || charset.eq_ignore_ascii_case("utf8")
}

/// The text as it can be shown where it goes; names and typed words in it command no terminal.
pub(super) fn fit_for_output(text: &str) -> Cow<'_, str> {
    let text = harmless(text);
    if only_ascii() && !text.is_ascii() { in_ascii(&text).into() } else { text }
}

/// JSON in which the signs that act are written by their numbers: the same document.
pub(super) fn fit_json(text: &str) -> Cow<'_, str> {
    let acts_here = |sign: char| acts(sign) && sign != '\n';
    if !text.contains(acts_here) {
        return text.into();
    }
    let written = |sign: char| {
        if acts_here(sign) { format!("\\u{:04x}", u32::from(sign)) } else { sign.to_string() }
    };
    text.chars().map(written).collect::<String>().into()
}

/// The text with every sign that this program prints in ASCII. Letters of names stay as their owners wrote them.
pub(super) fn in_ascii(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for (at, sign) in text.char_indices() {
        match sign {
            // "20 °C" has a unit, "0.5°" a sign.
            '°' if text[at..].starts_with("°C") => out.push_str("deg "),
            '°' => out.push_str(" deg"),
            sign => match ascii(sign) {
                Some(word) => out.push_str(word),
                None => out.push(sign),
            },
        }
    }
    out
}

fn ascii(sign: char) -> Option<&'static str> {
    Some(match sign {
        '×' => "x",
        '·' => "*",
        '÷' => "/",
        '±' => "+/-",
        '−' | '–' | '—' | '⁻' | '─' => "-",
        '…' => "...",
        '≥' => ">=",
        '≤' => "<=",
        '≈' => "~",
        '→' | '►' => "->",
        '√' => "sqrt",
        'σ' => "sigma",
        'χ' => "chi",
        'λ' => "lambda",
        'μ' | 'µ' => "u",
        'Δ' => "delta ",
        '¹' => "1",
        '²' => "2",
        '³' => "3",
        '⁴' => "4",
        '₀' => "0",
        '½' => "1/2",
        '¼' => "1/4",
        '′' | '’' | '‘' => "'",
        '″' | '“' | '”' => "\"",
        '\u{a0}' | '\u{2009}' | '\u{202f}' => " ",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_become_words_and_names_stay() {
        assert_eq!(in_ascii("2.1 ± 0.1 e⁻ at −10.0 °C, 0.5°, 3σ"), "2.1 +/- 0.1 e- at -10.0 deg C, 0.5 deg, 3sigma");
        assert_eq!(in_ascii("Frühling/März.fits"), "Frühling/März.fits");
    }

    #[test]
    fn a_locale_says_whether_it_is_utf_8() {
        for locale in ["en_GB.UTF-8", "C.utf8", "de_DE.UTF-8@euro"] {
            assert!(is_utf_8(locale), "{locale}");
        }
        for locale in ["C", "POSIX", "de_DE@euro", "ru_RU.KOI8-R"] {
            assert!(!is_utf_8(locale), "{locale}");
        }
    }
}
