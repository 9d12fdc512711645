//! What headers and people call the filters.

use crate::rig::{Filter, FilterName};

/// What headers call the known filters, letters and digits alone (common practice, no source).
const USUAL: [(&str, &[&str]); 8] = [
    ("luminance", &["l", "lum", "luminance", "clear"]),
    ("red", &["r", "red"]),
    ("green", &["g", "green"]),
    ("blue", &["b", "blue"]),
    ("h-alpha", &["ha", "halpha"]),
    ("oiii", &["oiii", "o3"]),
    ("sii", &["sii", "s2"]),
    ("none", &["none", "nofilter", "empty"]),
];

/// Whether a header means the filter that the night calls so: by its own name, or by one of the usual ones.
#[must_use]
pub fn names_filter(header: &str, name: &str) -> bool {
    let header = plain(header);
    let usual = USUAL.iter().find(|(known, _)| *known == name).map_or(&[][..], |(_, words)| words);
    header == plain(name) || usual.contains(&header.as_str())
}

/// The known filter that a header names; `None` for words of its own, such as a slot of a wheel.
#[must_use]
pub fn usual_filter(header: &str) -> Option<&'static str> {
    USUAL.iter().map(|(known, _)| *known).find(|known| names_filter(header, known))
}

/// Gives a filter that is written by one of its usual names, such as `Ha`, the name that the program knows it by; one with
/// a window or a curve of its own keeps its label.
pub(super) fn known_by_its_usual_name(filter: &mut Filter) {
    let own = filter.centre_nm.is_some() || filter.width_nm.is_some() || filter.curve.is_some();
    let usual = filter.name.as_deref().filter(|name| !own && FilterName::from_name(name).is_err());
    if let Some(known) = usual.and_then(usual_filter) {
        filter.name = Some(known.to_owned());
    }
}

/// Letters and digits alone.
fn plain(text: &str) -> String {
    text.to_lowercase().chars().filter(char::is_ascii_alphanumeric).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Nanometres;

    #[test]
    fn headers_name_filters_in_many_ways() {
        for (header, name) in
            [("L", "luminance"), ("Ha", "h-alpha"), ("H_Alpha", "h-alpha"), ("O3", "oiii"), ("Mine", "mine")]
        {
            assert!(names_filter(header, name), "{header}");
        }
        for (header, name) in [("Ha", "luminance"), ("red", "blue"), ("", "red")] {
            assert!(!names_filter(header, name), "{header}");
        }
    }

    #[test]
    fn a_night_may_call_its_filters_as_headers_do() {
        for (written, known) in
            [("Ha", "h-alpha"), ("L", "luminance"), ("O III", "oiii"), ("red", "red"), ("Mine", "Mine")]
        {
            let mut filter = Filter { name: Some(written.into()), ..Filter::default() };
            known_by_its_usual_name(&mut filter);
            assert_eq!(filter.name.as_deref(), Some(known), "{written}");
        }
        let mut own = Filter { name: Some("Ha".into()), width_nm: Some(Nanometres(3.0)), ..Filter::default() };
        known_by_its_usual_name(&mut own);
        assert_eq!(own.name.as_deref(), Some("Ha"));
    }

    #[test]
    fn a_slot_of_a_wheel_is_no_known_filter() {
        assert_eq!(usual_filter("Lum"), Some("luminance"));
        assert_eq!(usual_filter("Slot 3"), None);
    }
}
