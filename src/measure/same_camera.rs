//! Whether frames are of the camera of a profile, by its name.

use crate::camera::{CameraProfile, Provenance};
use crate::frames::FrameInfo;

/// The names of the frame's camera and of the profile's, where they are two.
///
/// Only of a profile that was measured: its name comes from headers too, a typed one is whatever was typed.
pub(super) fn other_camera(profile: &CameraProfile, info: &FrameInfo) -> Option<(String, String)> {
    let named = info.camera.as_deref()?;
    let differs = profile.provenance == Provenance::Measured && !may_be_one(named, &profile.camera);
    differs.then(|| (named.to_owned(), profile.camera.clone()))
}

/// Words that any camera may have behind its name.
const EMPTY_WORDS: [&str; 6] = ["camera", "ccd", "cmos", "usb", "usb2", "usb3"];

/// Whether two names may be of one camera: programs add the maker before the model, and what stands in brackets or says nothing
/// behind it. Another word behind it is another model. Only letters and digits count, and no spaces between them.
pub(super) fn may_be_one(a: &str, b: &str) -> bool {
    let (a, b) = (words(a), words(b));
    let unnamed = |words: &[String]| words.is_empty() || words.concat() == "unnamed";
    let ends_with = |long: &[String], short: &str| (0..long.len()).any(|from| long[from..].concat() == short);
    unnamed(&a) || unnamed(&b) || ends_with(&a, &b.concat()) || ends_with(&b, &a.concat())
}

/// The words of a name in small letters, without brackets, running numbers and words that say nothing.
fn words(name: &str) -> Vec<String> {
    let end = name.find(['(', '[', '#']).unwrap_or(name.len());
    let words = name[..end].split(|c: char| !c.is_alphanumeric()).map(str::to_lowercase);
    words.filter(|word| !word.is_empty() && !EMPTY_WORDS.contains(&word.as_str())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn makers_and_brackets_make_no_other_camera() {
        for (a, b) in [
            ("Heron M", "heron-m (usb)"),
            ("Lake Heron M", "Heron M"),
            ("HERON-M CCD #2", "HeronM"),
            ("", "Heron M"),
            ("unnamed camera", "X"),
        ] {
            assert!(may_be_one(a, b) && may_be_one(b, a), "{a} {b}");
        }
        for (a, b) in [
            ("Heron M", "Heron C"),
            ("Heron", "Egret"),
            ("Heron M", "Heron M Pro"),
            ("Heron 29", "Heron 2"),
            ("Heron", "Heron II"),
        ] {
            assert!(!may_be_one(a, b) && !may_be_one(b, a), "{a} {b}");
        }
    }
}
