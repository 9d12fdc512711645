//! A report as a script sees it.

use roxmltree::{Document, Node, ParsingOptions};

pub(crate) fn parsed(page: &str) -> Document<'_> {
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    Document::parse_with_options(page, options).unwrap_or_else(|error| panic!("{error}"))
}

pub(crate) fn has_class(node: &Node<'_, '_>, class: &str) -> bool {
    node.attribute("class") == Some(class)
}

pub(crate) fn text_of(node: Node<'_, '_>) -> String {
    node.descendants().filter(Node::is_text).filter_map(|text| text.text()).collect()
}

/// The figure whose picture has this id.
pub(crate) fn figure<'a>(page: &'a Document<'a>, id: &str) -> Node<'a, 'a> {
    let title = format!("{id}-t");
    let title = page.descendants().find(|node| node.attribute("id") == Some(&title)).unwrap_or_else(|| panic!("{id}"));
    title.ancestors().find(|node| node.has_tag_name("figure")).unwrap()
}

/// Cells of every row of a figure's table.
pub(crate) fn cells(figure: Node<'_, '_>) -> Vec<Vec<String>> {
    let table = figure.descendants().find(|node| node.has_tag_name("tbody")).unwrap();
    let rows = table.children().filter(|node| node.has_tag_name("tr"));
    rows.map(|row| row.children().filter(|cell| cell.has_tag_name("td")).map(text_of).collect()).collect()
}

/// Four digits: the tables round.
pub(crate) fn same(said: &str, is: f64) {
    approx::assert_relative_eq!(said.parse::<f64>().unwrap(), is, max_relative = 1e-3);
}
