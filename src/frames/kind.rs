//! What was this frame taken for? Header, then folder, then name; the pixels may veto (see [`super::StripStatistics`]).

use super::FrameKind;

/// What a frame is judged to be, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Judgement {
    /// What it was taken for.
    pub kind: FrameKind,
    /// Why: the source (`header`, `folder` or `name`) and its words.
    pub why: String,
    /// What another source says instead, with its words.
    pub contradicted: Option<(FrameKind, String)>,
}

/// What header, folders and name together say; `None` if none of them says anything.
///
/// `header` is the kind and the card that names it; `file` is the path below the folder asked about, with `/`;
/// `root` is the name of that folder, heard only when nothing else speaks. The header wins over the folder, the
/// inner folder over the outer one, the folder over the name. A "dark" that the folder calls a dark-flat is one.
///
/// # Examples
/// ```
/// use subwell::frames::{FrameKind, kind};
/// let judged = kind::judgement(None, "gain 120/darkflats/img_004.fits", "").unwrap();
/// assert_eq!(judged.kind, FrameKind::DarkFlat);
/// assert_eq!(judged.why, "folder `darkflats`");
/// ```
#[must_use]
pub fn judgement(header: Option<&(FrameKind, String)>, file: &str, root: &str) -> Option<Judgement> {
    let (folders, name) = file.rsplit_once('/').unwrap_or(("", file));
    let spoken = |what: &str, text: &str| in_words(text).map(|kind| (kind, format!("{what} `{text}`")));
    let by_folder = folders.split('/').rev().find_map(|folder| spoken("folder", folder));
    let by_name = in_words(stem(name)).map(|kind| (kind, format!("name with `{kind}` in it")));
    let by_place = by_folder.or(by_name);
    let Some((kind, card)) = header else {
        let (kind, why) = by_place.or_else(|| spoken("folder", root))?;
        return Some(Judgement { kind, why, contradicted: None });
    };
    let why = format!("header {card}");
    Some(match by_place {
        Some((FrameKind::DarkFlat, place)) if *kind == FrameKind::Dark => {
            Judgement { kind: FrameKind::DarkFlat, why: format!("{why}, {place}"), contradicted: None }
        }
        Some((FrameKind::Dark, _)) if *kind == FrameKind::DarkFlat => {
            Judgement { kind: *kind, why, contradicted: None }
        }
        Some((other, place)) if other != *kind => Judgement { kind: *kind, why, contradicted: Some((other, place)) },
        _ => Judgement { kind: *kind, why, contradicted: None },
    })
}

fn stem(name: &str) -> &str {
    name.split_once('.').map_or(name, |(stem, _)| if stem.is_empty() { name } else { stem })
}

/// The kind that words name. "Dark flat" and "flat dark" are the same; words that name two others name none.
///
/// "Offset" is an old word for bias, and a camera's setting: beside a gain, an ISO number or another kind it is that.
///
/// # Source
/// The words are common practice, no source.
///
/// # Examples
/// ```
/// use subwell::frames::{FrameKind, kind::in_words};
/// assert_eq!(in_words("FLAT-DARK_0001"), Some(FrameKind::DarkFlat));
/// assert_eq!(in_words("offset"), Some(FrameKind::Bias));
/// assert_eq!(in_words("light from a dark site"), None);
/// assert_eq!(in_words("dark_gain100_offset30"), Some(FrameKind::Dark));
/// ```
#[must_use]
pub fn in_words(text: &str) -> Option<FrameKind> {
    let (mut said, mut offset, mut settings) = ([false; 4], false, false);
    for word in words(text) {
        let marks: &[usize] = match word.as_str() {
            "bias" | "biases" | "zero" | "zeros" | "biasframe" | "biasfield" => &[0],
            "offset" | "offsets" => {
                offset = true;
                &[]
            }
            "gain" | "iso" => {
                settings = true;
                &[]
            }
            "dark" | "darks" | "darkframe" | "darkfield" => &[1],
            "flat" | "flats" | "flatframe" | "flatfield" | "skyflat" | "skyflats" | "domeflat" | "twilight" => &[2],
            "darkflat" | "darkflats" | "flatdark" | "flatdarks" => &[1, 2],
            "light" | "lights" | "lightframe" | "object" | "science" | "obj" | "sky" | "subs" => &[3],
            _ => &[],
        };
        marks.iter().for_each(|mark| said[*mark] = true);
    }
    said[0] |= offset && !settings && !said.contains(&true);
    match said {
        [true, false, false, false] => Some(FrameKind::Bias),
        [false, true, true, false] => Some(FrameKind::DarkFlat),
        [false, true, false, false] => Some(FrameKind::Dark),
        // "Sky flat" is a flat.
        [false, false, true, _] => Some(FrameKind::Flat),
        [false, false, false, true] => Some(FrameKind::Light),
        _ => None,
    }
}

/// Whether words name a master or another product of several frames.
#[must_use]
pub fn names_a_master(text: &str) -> bool {
    let made = ["superbias", "superdark", "superflat", "stacked", "integration", "calibrated"];
    words(text).any(|word| word.starts_with("master") || made.contains(&word.as_str()))
}

/// Lower-case runs of letters.
fn words(text: &str) -> impl Iterator<Item = String> + '_ {
    text.split(|c: char| !c.is_alphabetic()).filter(|word| !word.is_empty()).map(str::to_lowercase)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dark_and_flat_are_a_dark_flat_in_every_spelling() {
        for text in ["DarkFlat", "DARKFLAT", "FLATDARK", "Dark Flat", "dark_flat", "flat-dark 3"] {
            assert_eq!(in_words(text), Some(FrameKind::DarkFlat), "{text}");
        }
    }

    #[test]
    fn kind_words_of_the_trade() {
        let cases = [
            ("Bias Frame", FrameKind::Bias),
            ("ZERO", FrameKind::Bias),
            ("Dark Frame", FrameKind::Dark),
            ("Flat Field", FrameKind::Flat),
            ("FlatField", FrameKind::Flat),
            ("SKY,FLAT", FrameKind::Flat),
            ("Light Frame", FrameKind::Light),
            ("OBJECT", FrameKind::Light),
            ("flat0012", FrameKind::Flat),
        ];
        for (text, kind) in cases {
            assert_eq!(in_words(text), Some(kind), "{text}");
        }
        assert_eq!(in_words("M 31"), None);
        assert_eq!(in_words("darkness"), None);
        assert_eq!(in_words("img_gain100_offset30_001"), None);
        assert_eq!(in_words("offset_001"), Some(FrameKind::Bias));
    }

    #[test]
    fn the_header_wins_and_the_other_opinion_is_kept() {
        let header = (FrameKind::Light, "IMAGETYP = 'Light'".to_owned());
        let judged = judgement(Some(&header), "flats/a.fits", "").unwrap();
        assert_eq!(judged.kind, FrameKind::Light);
        assert_eq!(judged.contradicted, Some((FrameKind::Flat, "folder `flats`".to_owned())));
    }

    #[test]
    fn the_folder_goes_before_the_name_and_the_inner_before_the_outer() {
        let judged = |file| judgement(None, file, "").map(|judged| judged.kind);
        assert_eq!(judged("dark/flat/light_1.fits"), Some(FrameKind::Flat));
        assert_eq!(judged("night/dark_30s_001.fit"), Some(FrameKind::Dark));
        assert_eq!(judged("night/img_001.fit"), None);
        assert_eq!(judgement(None, "img.fit", "bias").unwrap().why, "folder `bias`");
    }

    #[test]
    fn masters_are_named() {
        assert!(names_a_master("masterDark_30s") && names_a_master("Master Flat"));
        assert!(!names_a_master("dark_mast"));
    }
}
