//! A picture with all that stands about it.

use crate::report::table::Table;

use super::canvas::Pen;
use super::panel::{Panel, Shape, WIDTH, drawn};
use crate::report::html::escaped;

/// How the classes of a picture look. The page gives the colours `--one`, `--two`, `--three` and `--paper`.
pub const STYLE: &str = include_str!("figure.css");

/// One line of a picture's key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyEntry {
    /// A small SVG of the mark, or the letter that stands on it.
    pub sign: String,
    /// What it is.
    pub words: String,
}

/// A picture: its drawing, its words, its numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// A word that names it on its page.
    pub id: String,
    /// What it shows.
    pub title: String,
    /// What is to be seen in it, for readers who cannot see it.
    pub description: String,
    /// What the marks are.
    pub key: Vec<KeyEntry>,
    /// Every number that is drawn.
    pub table: Table,
    drawing: String,
    height: i32,
}

impl Figure {
    pub(super) fn new(id: String, title: String, description: String, panels: &[Panel], table: Table) -> Self {
        let (drawing, height) = drawn(panels);
        Self { id, title, description, key: Vec::new(), table, drawing, height }
    }

    /// The same with a line of the key.
    pub(super) fn with_key(mut self, pen: Pen, shape: Shape, words: impl Into<String>) -> Self {
        self.key.push(KeyEntry { sign: sign(pen, shape), words: words.into() });
        self
    }

    /// The same with a letter of the key.
    pub(super) fn with_letter(mut self, letter: &str, words: impl Into<String>) -> Self {
        self.key.push(KeyEntry { sign: format!("<b>{}</b>", escaped(letter)), words: words.into() });
        self
    }

    /// The picture for a place inside a page: without a namespace, as HTML wants it.
    #[must_use]
    pub fn svg(&self) -> String {
        self.element("")
    }

    fn element(&self, namespace: &str) -> String {
        let (id, title, description) = (escaped(&self.id), escaped(&self.title), escaped(&self.description));
        format!(
            "<svg{namespace} class=\"plot\" viewBox=\"0 0 {WIDTH} {}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\">\n\
             <title id=\"{id}-t\">{title}</title>\n<desc id=\"{id}-d\">{description}</desc>\n{}</svg>\n",
            self.height, self.drawing
        )
    }
}

fn sign(pen: Pen, shape: Shape) -> String {
    let class = pen.class();
    let mark = match (pen, shape) {
        (Pen::Band | Pen::Bar | Pen::Ink, _) => {
            format!("<rect class=\"{class}\" x=\"1\" y=\"2\" width=\"26\" height=\"8\"/>")
        }
        (_, Shape::Line) => format!("<line class=\"{class}\" x1=\"1\" y1=\"6\" x2=\"27\" y2=\"6\"/>"),
        (_, Shape::Points) => format!("<circle class=\"{class}\" cx=\"14\" cy=\"6\" r=\"3.5\"/>"),
        (_, Shape::Crosses) => format!("<path class=\"{class}\" d=\"M10 2 18 10M10 10 18 2\"/>"),
        (_, Shape::Diamonds) => format!("<polygon class=\"{class}\" points=\"14,1 19,6 14,11 9,6\"/>"),
    };
    format!("<svg class=\"key\" viewBox=\"0 0 28 12\" aria-hidden=\"true\">{mark}</svg>")
}
