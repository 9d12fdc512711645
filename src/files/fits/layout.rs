//! Where the image is, and whether the file can hold what its header promises.

use std::collections::BTreeSet;
use std::io::{Read, Seek, SeekFrom};

use super::blocks::{BLOCK, header};
use super::{MOST_PIXELS, tiles};
use crate::files::error::Fault;
use crate::frames::Cards;

const MOST_HDUS: usize = 64;

/// How a pixel is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sample {
    /// A whole number of 8 to 64 bits.
    Integer,
    /// 32-bit floating point.
    Float,
    /// 64-bit floating point.
    Double,
}

/// The first two-dimensional image of a file, after all checks.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ImageHdu {
    /// Its place in the file, 0 is the primary one.
    pub index: usize,
    /// Its cards; behind them, for an extension, the primary ones.
    pub cards: Cards,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// How its pixels are stored.
    pub sample: Sample,
    /// Whether it is tile-compressed.
    pub compressed: bool,
    /// Where its pixels begin, if they lie there as the unsigned numbers of 16 bits that cameras write.
    pub counts_at: Option<u64>,
}

/// Finds the first two-dimensional image in a file of `length` bytes and checks that it can be there.
///
/// Never panics and allocates no more than the headers need, whatever the bytes are.
pub(crate) fn first_image(reader: &mut (impl Read + Seek), length: u64) -> Result<ImageHdu, Fault> {
    let mut primary: Option<Cards> = None;
    let mut offset = 0;
    for index in 0..MOST_HDUS {
        if offset >= length {
            break;
        }
        reader.seek(SeekFrom::Start(offset))?;
        let (cards, size) = header(reader)?;
        check_start(index, &cards)?;
        let start = offset + size;
        let shape = shape(&cards, "NAXIS")?;
        if let Some(mut image) = image_in(reader, &cards, &shape, start, length)? {
            image.index = index;
            if let Some(primary) = &primary {
                image.cards.extend(primary);
            }
            return Ok(image);
        }
        offset = data_bytes(&cards, &shape)
            .and_then(|bytes| bytes.checked_next_multiple_of(BLOCK)?.checked_add(start))
            .ok_or_else(|| Fault::Damaged("its header promises more data than any file holds".into()))?;
        primary.get_or_insert(cards);
    }
    Err(Fault::NotAnImage("a FITS file without a two-dimensional image".into()))
}

/// The first cards have fixed places, and no structural keyword may stand twice: two readers would disagree.
fn check_start(index: usize, cards: &Cards) -> Result<(), Fault> {
    let first = if index == 0 { "SIMPLE" } else { "XTENSION" };
    let starts = cards.iter().map(|card| card.keyword.as_str()).take(3).eq([first, "BITPIX", "NAXIS"]);
    if !starts {
        return Err(Fault::Damaged(format!("its header does not start with {first}, BITPIX, NAXIS")));
    }
    let structural = |keyword: &str| {
        ["NAXIS", "ZNAXIS", "ZTILE", "TFORM", "TTYPE", "ZNAME", "ZVAL"].iter().any(|start| keyword.starts_with(start))
            || ["BITPIX", "ZBITPIX", "PCOUNT", "GCOUNT", "TFIELDS", "THEAP", "ZIMAGE", "ZCMPTYPE"].contains(&keyword)
    };
    let mut once = BTreeSet::new();
    for card in cards.iter().filter(|card| structural(&card.keyword)) {
        if !once.insert(&card.keyword) {
            return Err(Fault::Damaged(format!("its header says {} twice", card.keyword)));
        }
    }
    Ok(())
}

/// The count that a keyword holds.
pub(super) fn count(cards: &Cards, keyword: &str) -> Result<u64, Fault> {
    let card = cards.card(keyword).ok_or_else(|| Fault::Damaged(format!("its header has no {keyword}")))?;
    let value = card.value.parse::<u64>();
    value.map_err(|_| Fault::Damaged(format!("its header says {keyword} = {}", card.value)))
}

/// The lengths of the axes: `NAXIS`, `NAXIS1`, … or the same with `Z` for a compressed image.
pub(super) fn shape(cards: &Cards, name: &str) -> Result<Vec<u64>, Fault> {
    let axes = count(cards, name)?;
    if axes > 9 {
        return Err(Fault::Unsupported(format!("an array of {axes} dimensions")));
    }
    (1..=axes).map(|axis| count(cards, &format!("{name}{axis}"))).collect()
}

fn product(shape: &[u64]) -> Option<u64> {
    shape.iter().try_fold(u64::from(!shape.is_empty()), |product, axis| product.checked_mul(*axis))
}

/// Bytes of the data, without padding; `None` beyond what 64 bits count.
fn data_bytes(cards: &Cards, shape: &[u64]) -> Option<u64> {
    let optional =
        |keyword: &str, absent: u64| cards.card(keyword).map_or(Some(absent), |_| count(cards, keyword).ok());
    let per_value = bits(cards, "BITPIX").ok()?.unsigned_abs() / 8;
    let values = product(shape)?.checked_add(optional("PCOUNT", 0)?)?;
    values.checked_mul(per_value)?.checked_mul(optional("GCOUNT", 1)?)
}

pub(super) fn bits(cards: &Cards, keyword: &str) -> Result<i64, Fault> {
    let text = cards.text(&[keyword]).unwrap_or_default();
    match text.parse() {
        Ok(bits @ (8 | 16 | 32 | 64 | -32 | -64)) => Ok(bits),
        _ => Err(Fault::Damaged(format!("its header says {keyword} = {text}"))),
    }
}

/// The image of one HDU, if it is one with at least two dimensions.
fn image_in(
    reader: &mut (impl Read + Seek),
    cards: &Cards,
    shape: &[u64],
    start: u64,
    length: u64,
) -> Result<Option<ImageHdu>, Fault> {
    let extension = cards.text(&["XTENSION"]).unwrap_or("IMAGE");
    let tiled = extension == "BINTABLE" && cards.text(&["ZIMAGE"]) == Some("T");
    if tiled {
        tiles::check(reader, cards, shape, start, length)?;
        return image(cards, &self::shape(cards, "ZNAXIS")?, bits(cards, "ZBITPIX")?, true).map(Some);
    }
    if extension != "IMAGE" || shape.len() < 2 || product(shape) == Some(0) {
        return Ok(None);
    }
    let image = image(cards, shape, bits(cards, "BITPIX")?, false)?;
    let promised = data_bytes(cards, shape);
    let present = length.saturating_sub(start);
    match promised {
        Some(bytes) if bytes <= present => {
            let counts_at = holds_counts(cards).then_some(start);
            Ok(Some(ImageHdu { counts_at, ..image }))
        }
        _ => {
            Err(Fault::Damaged(format!("its pixels are cut off: {present} bytes are there, its header promises more")))
        }
    }
}

fn image(cards: &Cards, shape: &[u64], bits: i64, compressed: bool) -> Result<ImageHdu, Fault> {
    let &[width, height, ref planes @ ..] = shape else {
        return Err(Fault::NotAnImage("its image has fewer than two dimensions".into()));
    };
    if (3..=4).contains(&width) && !planes.is_empty() {
        return Err(Fault::NotRaw(format!("its pixels hold {width} colours each: it is debayered")));
    }
    if let Some(planes) = planes.iter().find(|planes| **planes != 1) {
        return Err(Fault::NotRaw(format!("it has {planes} planes: it is debayered or a set of frames")));
    }
    let pixels = width.checked_mul(height).filter(|pixels| *pixels > 0);
    if pixels.is_none_or(|pixels| pixels > MOST_PIXELS) {
        let most = MOST_PIXELS / 1_000_000;
        return Err(Fault::TooLarge(format!(
            "its header says {width} x {height} pixels, the limit is {most} megapixels"
        )));
    }
    check_scaling(cards)?;
    let sample = match bits {
        -32 => Sample::Float,
        -64 => Sample::Double,
        _ => Sample::Integer,
    };
    Ok(ImageHdu {
        index: 0,
        cards: cards.clone(),
        width: width as usize,
        height: height as usize,
        sample,
        compressed,
        counts_at: None,
    })
}

/// Whether the pixels are numbers of 16 bits shifted by 32768, which is how unsigned ones are written.
fn holds_counts(cards: &Cards) -> bool {
    let shifts = cards.iter().filter(|card| card.keyword == "BZERO").count();
    bits(cards, "BITPIX").is_ok_and(|bits| bits == 16) && shifts == 1 && cards.number(&["BZERO"]) == Some(32_768.0)
}

/// Stored counts may be shifted by a whole number (that is how unsigned ones are written), never rescaled.
fn check_scaling(cards: &Cards) -> Result<(), Fault> {
    let value = |keyword, absent| cards.card(keyword).map_or(Some(absent), |_| cards.number(&[keyword]));
    match (value("BSCALE", 1.0), value("BZERO", 0.0)) {
        (Some(scale), _) if scale != 1.0 => Err(Fault::NotRaw(format!("its counts were rescaled (BSCALE = {scale})"))),
        (Some(_), Some(zero)) if zero.fract() == 0.0 => Ok(()),
        (_, Some(zero)) if zero.fract() != 0.0 => {
            Err(Fault::NotRaw(format!("its counts were shifted (BZERO = {zero})")))
        }
        _ => Err(Fault::Damaged("its BSCALE or BZERO is no number".into())),
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use proptest::prelude::*;

    use super::*;

    fn file(cards: &[&str], data: usize) -> Vec<u8> {
        let mut bytes: Vec<u8> =
            cards.iter().chain(&["END"]).flat_map(|card| format!("{card:<80}").into_bytes()).collect();
        bytes.resize(bytes.len().next_multiple_of(2880), b' ');
        bytes.resize(bytes.len() + data, 0);
        bytes
    }

    fn found(bytes: &[u8]) -> Result<ImageHdu, Fault> {
        first_image(&mut Cursor::new(bytes), bytes.len() as u64)
    }

    const PLAIN: [&str; 5] = ["SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 100", "NAXIS2  = 50"];

    #[test]
    fn missing_padding_is_tolerated_missing_pixels_are_not() {
        assert_eq!(found(&file(&PLAIN, 10_000)).unwrap().width, 100);
        assert!(matches!(found(&file(&PLAIN, 9_999)), Err(Fault::Damaged(what)) if what.contains("cut off")));
    }

    #[test]
    fn absurd_sizes_are_refused_before_anything_is_allocated() {
        for (axis, why) in
            [("9000000000000", "megapixels"), ("-5", "NAXIS1 = -5"), ("18446744073709551615", "megapixels")]
        {
            let axis = format!("NAXIS1  = {axis}");
            let fault = found(&file(&[PLAIN[0], PLAIN[1], PLAIN[2], &axis, PLAIN[4]], 10_000)).unwrap_err();
            assert!(format!("{fault:?}").contains(why), "{fault:?}");
        }
    }

    #[test]
    fn planes_scaling_and_twins_are_refused() {
        let with = |more: &[&str], axes: &str| {
            let mut cards = vec![PLAIN[0], PLAIN[1], axes, PLAIN[3], PLAIN[4]];
            cards.extend(more);
            found(&file(&cards, 100_000))
        };
        assert!(matches!(with(&["NAXIS3  = 3"], "NAXIS   = 3"), Err(Fault::NotRaw(_))));
        assert!(with(&["NAXIS3  = 1"], "NAXIS   = 3").is_ok());
        assert!(matches!(with(&["BSCALE  = 0.5"], PLAIN[2]), Err(Fault::NotRaw(_))));
        assert!(with(&["BSCALE  = 1.0000E+00", "BZERO   = 32768.0"], PLAIN[2]).is_ok());
        assert!(matches!(with(&["NAXIS1  = 200"], PLAIN[2]), Err(Fault::Damaged(_))));
    }

    proptest! {
        #[test]
        fn never_panics_on_random_bytes(bytes in prop::collection::vec(any::<u8>(), 0..9000)) {
            let _ = found(&bytes);
        }

        #[test]
        fn never_panics_on_mutated_headers(
            changes in prop::collection::vec((0_usize..80 * 24, any::<u8>()), 1..20),
            cut in 0_usize..20_000,
        ) {
            let cards = [
                "SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0", "EXTEND  = T", "COMMENT x",
            ];
            let tiled = [
                "XTENSION= 'BINTABLE'", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 8", "NAXIS2  = 50", "PCOUNT  = 5000",
                "GCOUNT  = 1", "TFIELDS = 1", "TTYPE1  = 'COMPRESSED_DATA'", "TFORM1  = '1PB(100)'", "ZIMAGE  = T",
                "ZBITPIX = 16", "ZNAXIS  = 2", "ZNAXIS1 = 100", "ZNAXIS2 = 50", "ZTILE1  = 100", "ZTILE2  = 1",
                "ZCMPTYPE= 'RICE_1'", "ZNAME1  = 'BLOCKSIZE'", "ZVAL1   = 32", "ZNAME2  = 'BYTEPIX'", "ZVAL2   = 2",
            ];
            let mut bytes = file(&cards, 0);
            let start = bytes.len();
            bytes.extend(file(&tiled, 6000));
            prop_assert!(found(&bytes).is_ok());
            for (place, byte) in changes {
                bytes[start + place] = byte;
            }
            bytes.truncate(cut);
            let _ = found(&bytes);
        }
    }
}
