//! What files say of their own gain and noise: shown beside the measurement, never used in it.

use crate::units::Colour;
use serde::Serialize;

use super::cards::number;
use super::header::is_electrons_per_dn;
use super::{Cards, ModeKey};

/// Keywords for electrons per count; which of them a program means is common practice, no source.
const GAINS: [&str; 6] = ["EGAIN", "EGAINSAV", "CVF", "EPERADU", "CCDGAIN", "GAIN"];
/// Cards that the reader of camera raw files writes: pairs of the noise profile, black level, white level.
pub(crate) const NOISE_PROFILE: &str = "RAWNOISE";
pub(crate) const BLACK: &str = "RAWBLACK";
pub(crate) const WHITE: &str = "RAWWHITE";
/// And how a compression may lose counts.
pub(crate) const LOSS: &str = "RAWLOSS";

/// Electrons per count, and perhaps the read noise, that the files of a mode state.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Stated {
    /// The mode whose files state it.
    #[serde(skip)]
    pub mode: ModeKey,
    /// The keyword or tag.
    pub from: String,
    /// The colour that it is about; `None` for all.
    pub colour: Option<Colour>,
    /// Electrons per stored DN.
    pub e_per_dn: f64,
    /// Read noise in electrons.
    pub read_noise_e: Option<f64>,
}

/// Gain in e⁻/DN and read noise in e⁻ behind a pair of the DNG tag `NoiseProfile`; `span` is white level less black level.
///
/// ```text
/// N(x)² = S x + O,  x = (y − B) / (W − B)      K = 1 / (S (W − B)),   R = √O / S
/// ```
///
/// `N` is the noise of the signal `x` between black `B` and white `W`. Shot noise alone makes `S`: an electron is
/// `1/(K (W − B))` of the range. `None` where a number is not positive.
///
/// # Source
/// The model is that of the DNG specification 1.7 (from memory); the electrons are derived here.
///
/// # Examples
/// ```
/// let (gain, noise) = subwell::frames::stated::electrons_of_profile(4.5413e-5, 3.6380e-8, 15_000.0 - 2047.0).unwrap();
/// assert!((gain - 1.700).abs() < 1e-3 && (noise - 4.200).abs() < 1e-3);
/// ```
#[must_use]
pub fn electrons_of_profile(s: f64, o: f64, span: f64) -> Option<(f64, f64)> {
    let (gain, noise) = (1.0 / (s * span), o.sqrt() / s);
    (s > 0.0 && o >= 0.0 && span > 0.0 && gain.is_finite() && noise.is_finite()).then_some((gain, noise))
}

/// What one header states, for frames of `mode`.
#[must_use]
pub fn stated(cards: &Cards, mode: &ModeKey) -> Vec<Stated> {
    let by_keyword = GAINS.iter().filter_map(|keyword| {
        let card = cards.card(keyword).filter(|card| *keyword != "GAIN" || is_electrons_per_dn(card))?;
        let e_per_dn = number(&card.value).filter(|value| *value > 0.0)?;
        let from = (*keyword).to_owned();
        Some(Stated { mode: mode.clone(), from, colour: None, e_per_dn, read_noise_e: None })
    });
    let mut all: Vec<Stated> = by_keyword.collect();
    all.extend(by_profile(cards, mode));
    all
}

fn by_profile(cards: &Cards, mode: &ModeKey) -> Vec<Stated> {
    let numbers = |keyword: &str| -> Vec<f64> {
        cards.text(&[keyword]).unwrap_or_default().split_whitespace().filter_map(number).collect()
    };
    let black = numbers(BLACK);
    let (Some(white), false) = (numbers(WHITE).first().copied(), black.is_empty()) else { return Vec::new() };
    let span = white - black.iter().sum::<f64>() / black.len() as f64;
    let pairs = numbers(NOISE_PROFILE);
    // One pair for all colours, or one for each in the order red, green, blue.
    let colours: &[Option<Colour>] = match pairs.len() {
        2 => &[None],
        6 => &[Some(Colour::Red), Some(Colour::Green), Some(Colour::Blue)],
        _ => &[],
    };
    let of_pair = |(pair, colour): (&[f64], &Option<Colour>)| {
        let (e_per_dn, noise) = electrons_of_profile(pair[0], pair[1], span)?;
        let from = "NoiseProfile".to_owned();
        Some(Stated { mode: mode.clone(), from, colour: *colour, e_per_dn, read_noise_e: Some(noise) })
    };
    pairs.chunks_exact(2).zip(colours).filter_map(of_pair).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values_in(lines: &str) -> Vec<(String, Option<Colour>, f64)> {
        let mode = ModeKey {
            camera: None,
            width: 1,
            height: 1,
            binning: [1, 1],
            gain_setting: None,
            offset_setting: None,
            readout_mode: None,
        };
        stated(&Cards::from_lines(lines), &mode).into_iter().map(|it| (it.from, it.colour, it.e_per_dn)).collect()
    }

    #[test]
    fn electrons_per_count_are_told_from_a_setting() {
        assert_eq!(values_in("EGAIN   = 3.99\nGAIN    = 120"), [("EGAIN".to_owned(), None, 3.99)]);
        assert_eq!(values_in("GAIN    = 0.62 / e-/ADU"), [("GAIN".to_owned(), None, 0.62)]);
        assert_eq!(values_in("EGAIN   = 0\nCVF = 'none'"), []);
    }

    #[test]
    fn a_noise_profile_has_one_pair_or_one_for_each_colour() {
        let levels = "RAWBLACK= '512 512 512 512'\nRAWWHITE= '4512'\n";
        let one = values_in(&format!("{levels}RAWNOISE= '0.0005 1e-6'"));
        assert_eq!((one.len(), one[0].1, (one[0].2 - 0.5).abs() < 1e-9), (1, None, true));
        let three = values_in(&format!("{levels}RAWNOISE= '0.0005 1e-6 0.001 1e-6 0.0005 1e-6'"));
        assert_eq!((three.len(), three[1].1, (three[1].2 - 0.25).abs() < 1e-9), (3, Some(Colour::Green), true));
        assert_eq!(values_in(&format!("{levels}RAWNOISE= '0 1e-6'")), []);
        assert_eq!(values_in("RAWNOISE= '0.0005 1e-6'"), []);
    }
}
