//! A report as one HTML file: no network, no script, readable on paper, on a phone and in the dark.
//!
//! The file is well-formed XML too, so that it can be checked by machine. Every text that comes from a header or a file
//! goes through [`escaped`].

mod blocks;
mod camera;
mod choices;
mod compare;
mod cooling;
mod methods;
mod outline;
mod plan;
mod review;

pub use camera::camera_page;
pub use choices::{choices_page, targets_page};
pub use compare::comparison_page;
pub use cooling::cooling_page;
pub use plan::plan_page;
pub use review::review_page;

use super::plots::STYLE;
use outline::Report;

const PAGE_STYLE: &str = include_str!("page.css");

/// The themes: the id of the switch, its name, whether it is on at first.
const THEMES: [(&str, &str, bool); 4] = [
    ("theme-device", "device", true),
    ("theme-light", "light", false),
    ("theme-dark", "dark", false),
    ("theme-night", "red on black", false),
];

/// A text in which HTML and XML see nothing but text, in elements and in quoted attributes. What no document may hold,
/// and what would turn the reading direction of the rest, becomes a replacement sign.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' | '\r' => out.push(' '),
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            sign if sign.is_control() => out.push('\u{fffd}'),
            sign => out.push(sign),
        }
    }
    out
}

/// The whole file about a body whose texts are escaped already.
fn page(title: &str, body: &Report) -> String {
    let body = body.html();
    let switches: String = THEMES
        .iter()
        .map(|(id, _, on)| {
            let checked = if *on { " checked=\"checked\"" } else { "" };
            format!("<input type=\"radio\" name=\"theme\" id=\"{id}\"{checked}/>\n")
        })
        .collect();
    let labels: String = THEMES.iter().map(|(id, name, _)| format!("<label for=\"{id}\">{name}</label>\n")).collect();
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\"/>\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
         <meta name=\"color-scheme\" content=\"light dark\"/>\n\
         <title>{}</title>\n<style>\n{PAGE_STYLE}\n{STYLE}</style>\n</head>\n<body>\n<main>\n{switches}\
         <div class=\"page\">\n<nav class=\"themes\" aria-label=\"colours\">\n{labels}</nav>\n<article>\n{body}</article>\n\
         <footer><p>Made by subwell {} from this machine's own files; nothing in it is loaded from anywhere.</p></footer>\n\
         </div>\n</main>\n</body>\n</html>\n",
        escaped(title),
        env!("CARGO_PKG_VERSION")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_in_a_name_is_markup() {
        let name = "<script>alert('x')</script> & \"y\" \u{0}\u{202e}";
        let safe = escaped(name);
        assert!(!safe.contains(['<', '>', '"', '\'', '\u{0}', '\u{202e}']), "{safe}");
        assert!(safe.starts_with("&lt;script&gt;"));
    }
}
