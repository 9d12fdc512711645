//! The pieces of a page.

use crate::caveat::{Caveat, Rejected};
use crate::report::Table;
use crate::report::plots::Figure;

use super::escaped;

/// A text without the line ends and indents of the terminal.
pub(super) fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

pub(super) fn subheading(words: &str) -> String {
    format!("<h3>{}</h3>\n", escaped(words))
}

pub(super) fn paragraph(words: &str) -> String {
    format!("<p>{}</p>\n", escaped(&unwrapped(words)))
}

/// Names and their values in two columns; on a phone one below the other.
pub(super) fn numbers<Name: AsRef<str>>(entries: &[(Name, String)]) -> String {
    let row = |(name, value): &(Name, String)| {
        let name = name.as_ref();
        // An entry that goes on with the one above has no name of its own, and no header.
        let header =
            if name.is_empty() { "<td></td>".into() } else { format!("<th scope=\"row\">{}</th>", escaped(name)) };
        format!("<tr>{header}<td>{}</td></tr>\n", escaped(value))
    };
    let rows: String = entries.iter().map(row).collect();
    format!("<table class=\"numbers\"><tbody>\n{rows}</tbody></table>\n")
}

pub(super) fn figure(figure: &Figure) -> String {
    let key: String = figure
        .key
        .iter()
        .map(|entry| format!("<li><span class=\"sign\">{}</span>{}</li>\n", entry.sign, escaped(&entry.words)))
        .collect();
    let key = if key.is_empty() { key } else { format!("<ul class=\"signs\">\n{key}</ul>\n") };
    format!(
        "<figure>\n<figcaption>{}</figcaption>\n{}{key}<p>{}</p>\n<details><summary>the same as a table</summary>\n{}</details>\n</figure>\n",
        escaped(&figure.title),
        figure.svg(),
        escaped(&figure.description),
        table(&figure.table)
    )
}

/// Numbers in columns; where they are wider than the page they are pushed sideways, by key too.
pub(super) fn table(table: &Table) -> String {
    format!(
        "<div class=\"wide\" role=\"group\" aria-label=\"table\" tabindex=\"0\">{}</div>\n",
        rows_of(table, "columns")
    )
}

/// Sentences in columns; on a phone one cell below the other.
pub(super) fn table_of_words(table: &Table) -> String {
    rows_of(table, "words") + "\n"
}

fn rows_of(table: &Table, class: &str) -> String {
    let head: String = table.head.iter().map(|name| format!("<th scope=\"col\">{}</th>", escaped(name))).collect();
    let cells =
        |row: &Vec<String>| row.iter().map(|cell| format!("<td>{}</td>", escaped(cell))).collect::<Vec<_>>().concat();
    let rows: String = table.rows.iter().map(|row| format!("<tr>{}</tr>\n", cells(row))).collect();
    format!("<table class=\"{class}\"><thead><tr>{head}</tr></thead><tbody>\n{rows}</tbody></table>")
}

pub(super) fn caveats(caveats: &[Caveat]) -> String {
    if caveats.is_empty() {
        return paragraph("No doubts about these numbers.");
    }
    let item = |caveat: &Caveat| {
        let about = if caveat.about.is_empty() { String::new() } else { format!(" ({})", escaped(&caveat.about)) };
        let hint = if caveat.hint.is_empty() {
            String::new()
        } else {
            format!(" <span class=\"hint\">What helps: {}</span>", escaped(&caveat.hint))
        };
        format!("<li>{}{about} <code>{}</code>{hint}</li>\n", escaped(&caveat.message), escaped(caveat.code.as_str()))
    };
    format!("<ul>\n{}</ul>\n", caveats.iter().map(item).collect::<String>())
}

pub(super) fn rejected(files: &[Rejected]) -> String {
    if files.is_empty() {
        return String::new();
    }
    let item = |file: &Rejected| {
        let (name, reason, code) = (escaped(&file.file), escaped(&file.reason), escaped(&file.code));
        format!("<li>{name}: {reason} <code>{code}</code></li>\n")
    };
    let items: String = files.iter().map(item).collect();
    format!("<details><summary>{} files were left out</summary>\n<ul>\n{items}</ul>\n</details>\n", files.len())
}

pub(super) fn list(items: &[&str]) -> String {
    let items: String = items.iter().map(|item| format!("<li>{}</li>\n", escaped(item))).collect();
    format!("<ul>\n{items}</ul>\n")
}
