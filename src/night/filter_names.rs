//! What headers call the filters.

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

/// Letters and digits alone.
fn plain(text: &str) -> String {
    text.to_lowercase().chars().filter(char::is_ascii_alphanumeric).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

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
    fn a_slot_of_a_wheel_is_no_known_filter() {
        assert_eq!(usual_filter("Lum"), Some("luminance"));
        assert_eq!(usual_filter("Slot 3"), None);
    }
}
