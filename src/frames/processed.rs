//! Frames that are not as they came from the camera: stacks, calibrated ones, previews, overscan beside the picture.
//!
//! The keywords are common practice, no source.

use super::cards::{Card, Cards, number};
use super::header::KIND;
use super::kind;

/// Why the header shows that this is not one frame as it came from the camera, if it does.
///
/// The noise of such a frame is smaller, larger or otherwise not the camera's.
#[must_use]
pub fn not_raw(cards: &Cards) -> Option<String> {
    (stacked(cards).or_else(|| calibrated(cards)))
        .or_else(|| told_by_history(cards))
        .or_else(|| eight_bits(cards))
        .or_else(|| overscanned(cards))
}

/// Columns and rows beside the picture see no light: within a flat they would be taken for its pixels.
fn overscanned(cards: &Cards) -> Option<String> {
    let axis = |names: [&str; 2]| cards.number(&names);
    let whole = [axis(["ZNAXIS1", "NAXIS1"])?, axis(["ZNAXIS2", "NAXIS2"])?];
    let beside = |card: &Card| {
        section(&card.value).is_some_and(|[left, right, bottom, top]| {
            [left, bottom] != [1.0, 1.0] || right < whole[0] || top < whole[1]
        })
    };
    // `[0:0,0:0]` is how some write that there is none.
    let within = |card: &Card| {
        section(&card.value).is_some_and(|[left, right, bottom, top]| {
            left >= 1.0 && bottom >= 1.0 && left <= right.min(whole[0]) && bottom <= top.min(whole[1])
        })
    };
    let picture = cards.filled(&["TRIMSEC", "DATASEC"]).find(|card| beside(card));
    let card = picture.or_else(|| cards.filled(&["BIASSEC", "OVERSCAN"]).find(|card| within(card)))?;
    Some(format!(
        "it has overscan beside the picture ({} = '{}'); save the frames without it",
        card.keyword, card.value
    ))
}

/// The four numbers of `[1:2048,1:2048]`.
fn section(text: &str) -> Option<[f64; 4]> {
    let inner = text.trim().strip_prefix('[')?.strip_suffix(']')?;
    let numbers: Option<Vec<f64>> = inner.split([':', ',']).map(number).collect();
    numbers?.try_into().ok()
}

/// Eight bits are a preview or a video mode: the steps hide the noise, or a stretch has bent it.
fn eight_bits(cards: &Cards) -> Option<String> {
    // A tile-compressed image is a table of bytes whose own BITPIX is 8.
    let bits = cards.number(&["ZBITPIX", "BITPIX"])?;
    (bits == 8.0).then(|| "it has 8 bits, a preview or video mode; take frames with all the camera's bits".into())
}

fn stacked(cards: &Cards) -> Option<String> {
    for card in cards.filled(&["NCOMBINE", "STACKCNT", "NUMFRAME", "NSTACK", "SNAPSHOT"]) {
        if let Some(count) = number(&card.value).filter(|count| *count > 1.0) {
            return Some(format!("it is a stack of {count} frames ({})", card.keyword));
        }
    }
    if let Some(card) = cards.filled(&["SUBEXP", "TOTALEXP", "IMCMB001"]).next() {
        return Some(format!("it is a stack ({} = {})", card.keyword, card.value));
    }
    let says = |card: &&Card| kind::names_a_master(&card.value);
    let card = cards.filled(KIND).find(says)?;
    Some(format!("it is a master frame ({} = '{}')", card.keyword, card.value))
}

fn calibrated(cards: &Cards) -> Option<String> {
    if let Some(program) = cards.text(&["SWMODIFY"]) {
        return Some(format!("a program changed it after it was taken (SWMODIFY = '{program}')"));
    }
    if let Some(letters) = cards.text(&["CALSTAT"]).filter(|text| text.to_uppercase().contains(['B', 'D', 'F'])) {
        return Some(format!("it is calibrated already (CALSTAT = '{letters}')"));
    }
    let undone = ["F", "FALSE", "NO", "NONE", "OMIT", "PERFORM", "0", "N"];
    let done = |card: &&Card| !undone.contains(&card.value.to_uppercase().as_str());
    let steps = ["BIASCOR", "BIASCORR", "ZEROCOR", "DARKCOR", "DARKCORR", "FLATCOR", "FLATCORR"];
    let card = cards.filled(&steps).find(done)?;
    Some(format!("it is calibrated already ({})", card.keyword))
}

fn told_by_history(cards: &Cards) -> Option<String> {
    let processed = |line: &&str| {
        let line = line.to_lowercase();
        let both = |noun: &str, verb: &str| line.contains(noun) && line.contains(verb);
        let undone = ["not ", "no ", "without "].iter().any(|word| line.contains(word));
        let any = both("dark", "subtract")
            || both("bias", "subtract")
            || both("flat", "divi")
            || both("flat", "correct")
            || ["debayer", "demosaic", "stacked", "resampl"].iter().any(|word| line.contains(word));
        any && !undone
    };
    cards.history().find(processed).map(|line| format!("its history says: {line}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn processed_frames_are_told_by_their_cards() {
        for lines in [
            "CALSTAT = 'BDF'",
            "NCOMBINE= 20",
            "STACKCNT= 187",
            "IMAGETYP= 'Master Dark'",
            "CALFRAME= 'MasterFlat'",
            "HISTORY dark subtracted",
            "FLATCOR = 'Mar 3 flat is x.fits'",
        ] {
            assert!(not_raw(&Cards::from_lines(lines)).is_some(), "{lines}");
        }
        for lines in ["CALSTAT = ''", "NCOMBINE= 1", "IMAGETYP= 'Dark'", "HISTORY dark not subtracted", "DARKCORR= F"] {
            assert_eq!(not_raw(&Cards::from_lines(lines)), None, "{lines}");
        }
    }
}
