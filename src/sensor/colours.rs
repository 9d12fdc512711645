//! What the light in the four places of a 2 × 2 cell says of colours.

use crate::caveat::Caveat;
use crate::frames::CfaPattern;
use crate::units::Colour;

/// Places of the 2 × 2 cell whose light in a flat differs by more than this have colours …
const COLOURS_APART: f64 = 0.006;
/// … if that is as many sigmas of a place's mean, and not whole rows or columns, as two converters make them.
const COLOURS_SIGMAS: f64 = 6.0;
/// Greens see the same light within this …
const GREENS_APART: f64 = 0.03;
/// … and what else is one colour is alike to this part of what the greens differ by.
const ALIKE: f64 = 0.25;

/// Whether the means of the four places of the 2 × 2 cell, each with its variance, are those of a colour array.
///
/// Of a colour array the places of one diagonal have one colour, those of the other two; so the diagonals differ, or rows
/// and columns both do. Two converters that take turns at columns, or at rows, make whole columns or rows differ alone.
pub(super) fn has_colours(places: [(f64, f64); 4]) -> bool {
    let mean = places.iter().map(|(level, _)| level).sum::<f64>() / 4.0;
    let sigma = (places.iter().map(|(_, variance)| variance).sum::<f64>() / 4.0).sqrt();
    if mean <= 0.0 {
        return false;
    }
    let [a, b, c, d] = places.map(|(level, _)| level);
    let apart = |part: f64| part.abs() / 2.0 > (COLOURS_APART * mean).max(COLOURS_SIGMAS * sigma);
    let (of_rows, of_columns, of_diagonals) = (a + b - c - d, a + c - b - d, a + d - b - c);
    apart(of_diagonals) || (apart(of_rows) && apart(of_columns))
}

/// The doubt about a pattern whose two greens differ in light, where the two other places are alike: these are the greens.
pub(super) fn other_pattern(said: CfaPattern, places: [(f64, f64); 4]) -> Option<Caveat> {
    let levels = places.map(|(level, _)| level);
    let variances = places.map(|(_, variance)| variance);
    let is_green = |place: usize| said.colour(place / 2, place % 2) == Colour::Green;
    let two = |green: bool| {
        let mut own = (0..4).filter(|place| is_green(*place) == green);
        Some([own.next()?, own.next()?])
    };
    let apart = |[a, b]: [usize; 2]| {
        let mean = (levels[a] + levels[b]) / 2.0;
        ((levels[a] - levels[b]).abs() / mean, (variances[a] + variances[b]).sqrt() / mean)
    };
    let ((greens, sigma), (others, _)) = (apart(two(true)?), apart(two(false)?));
    let differ = levels.iter().all(|level| *level > 0.0) && greens > GREENS_APART.max(COLOURS_SIGMAS * sigma);
    (differ && others < ALIKE * greens).then(|| {
        let fits = if is_green(0) { ["RGGB", "BGGR"] } else { ["GRBG", "GBRG"] };
        Caveat::new(
            "colour-pattern-differs",
            format!(
                "in the flats the two greens of {} differ by {:.0} %, and the two other colours are alike: {} or {} fits",
                said.name(),
                100.0 * greens,
                fits[0],
                fits[1]
            ),
            format!("measure again with --cfa {} (or {}), and correct BAYERPAT in the headers", fits[0], fits[1]),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn greens_that_differ_are_no_greens() {
        let light = |levels: [f64; 4]| levels.map(|level| (level, 0.01));
        let grbg = light([1000.0, 600.0, 450.0, 1001.0]);
        let said = other_pattern(CfaPattern::Rggb, grbg).unwrap();
        assert!(said.message.contains("GRBG or GBRG"), "{said:?}");
        assert!(other_pattern(CfaPattern::Grbg, grbg).is_none() && other_pattern(CfaPattern::Gbrg, grbg).is_none());
        // Two channels of the converter are no colours, and neither is a slope of the light.
        assert!(other_pattern(CfaPattern::Rggb, light([600.0, 1000.0, 1020.0, 450.0])).is_none());
        assert!(other_pattern(CfaPattern::Rggb, light([1000.0, 1040.0, 1000.0, 1040.0])).is_none());
    }
}
