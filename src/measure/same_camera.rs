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

/// Whether two names may be of one camera: programs add the maker, or what stands in brackets, so one within the other is
/// enough; letters and digits count alone.
pub(super) fn may_be_one(a: &str, b: &str) -> bool {
    let plain = |name: &str| name.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect::<String>();
    let (a, b) = (plain(a), plain(b));
    let unnamed = |name: &str| name.is_empty() || name == "unnamedcamera";
    unnamed(&a) || unnamed(&b) || a.contains(&b) || b.contains(&a)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn makers_and_brackets_make_no_other_camera() {
        for (a, b) in
            [("Heron M", "heron-m (usb)"), ("Lake Heron M", "Heron M"), ("", "Heron M"), ("unnamed camera", "X")]
        {
            assert!(may_be_one(a, b) && may_be_one(b, a), "{a} {b}");
        }
        assert!(!may_be_one("Heron M", "Heron C") && !may_be_one("Heron", "Egret"));
    }
}
