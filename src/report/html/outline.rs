//! A report in its parts: the answer, then sections that a list of contents names.

use super::blocks::unwrapped;
use super::escaped;

/// What is written under one heading.
struct Section {
    title: String,
    html: String,
}

/// The body of a report, as it is written.
pub(super) struct Report {
    lead: String,
    sections: Vec<Section>,
}

impl Report {
    /// The title of the page, small, and the answer, large: a paragraph for each line.
    pub(super) fn new(title: &str, lines: &str) -> Self {
        let said: String =
            lines.lines().map(|line| format!("<p class=\"answer\">{}</p>\n", escaped(&unwrapped(line)))).collect();
        Self { lead: format!("<h1>{}</h1>\n{said}", escaped(title)), sections: Vec::new() }
    }

    /// Begins a section; no two of a report have the same title.
    pub(super) fn begin(&mut self, title: &str) {
        self.sections.push(Section { title: title.to_owned(), html: String::new() });
    }

    /// Goes on with what was begun last.
    pub(super) fn push_str(&mut self, html: &str) {
        self.sections.last_mut().map_or(&mut self.lead, |section| &mut section.html).push_str(html);
    }

    /// The whole body: answer, contents, sections.
    pub(super) fn html(&self) -> String {
        let entry = |section: &Section| {
            format!("<li><a href=\"#{}\">{}</a></li>\n", id_of(&section.title), escaped(&section.title))
        };
        let entries: String = self.sections.iter().map(entry).collect();
        let written = |Section { title, html }: &Section| {
            let (id, title) = (id_of(title), escaped(title));
            format!(
                "<section id=\"{id}\" aria-labelledby=\"{id}-h\">\n<h2 id=\"{id}-h\">{title}</h2>\n\
                 <div class=\"parts\">\n{html}</div>\n</section>\n"
            )
        };
        let sections: String = self.sections.iter().map(written).collect();
        format!(
            "<header>\n{}<nav class=\"contents\" aria-label=\"contents\"><ul>\n{entries}</ul></nav>\n</header>\n{sections}",
            self.lead
        )
    }
}

/// A title as a word for addresses.
fn id_of(title: &str) -> String {
    let letters = title.to_lowercase().replace(|sign: char| !sign.is_ascii_alphanumeric(), "-");
    letters.split('-').filter(|word| !word.is_empty()).collect::<Vec<_>>().join("-")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_contents_lead_to_each_section() {
        let mut report = Report::new("The <plan>", "69 min\nin one night");
        report.begin("Doubts and cautions");
        report.push_str("<p>none</p>");
        let html = report.html();
        assert!(html.contains("<h1>The &lt;plan&gt;</h1>") && html.matches("class=\"answer\"").count() == 2, "{html}");
        assert!(html.contains("<a href=\"#doubts-and-cautions\">Doubts and cautions</a>"), "{html}");
        assert!(html.contains("<section id=\"doubts-and-cautions\"") && html.contains("<p>none</p></div>"), "{html}");
    }
}
