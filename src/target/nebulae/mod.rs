//! Nebulae that shine in lines: where they stand, how large they are, and how bright each line is.
//!
//! One value stands for an object whose parts differ 10 to 100 times: the mean of its bright part, as seen from here, reddening
//! included. The Hα of gas is that of the Wisconsin H-Alpha Mapper's sky survey (Haffner et al. 2003, ApJS 149, 405, release of
//! 2016, one-degree beams; "The Wisconsin H-Alpha Mapper and its Sky Survey have been funded primarily through awards from the
//! U.S. National Science Foundation"), read off beam by beam and divided by the part of the beam that the nebula fills; that of
//! planetary nebulae follows from their flux in Hβ and their diameter (Acker et al. 1992, Strasbourg-ESO catalogue). Ratios of
//! lines are from memory, those of M57 and NGC 6543 from a table after Acker. Positions and sizes are the usual ones, from memory;
//! `tests/published/openngc.rs` holds the positions of the NGC, IC and Messier objects against that list.

use crate::stats::Estimate;
use crate::units::{Degrees, EmissionLine, Rayleighs};

mod planetaries;
mod regions;

use super::catalogue::{Object, ObjectKind, Source};

pub use planetaries::PLANETARIES;
pub use regions::REGIONS;

/// Where the brightness in Hα is from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineSource {
    /// Beams of the sky survey in Hα.
    HAlphaSurvey,
    /// The flux in Hβ of a catalogue, over the disc.
    HBetaFlux,
    /// Memory and analogy.
    Memory,
}

/// How bright a nebula is in its lines: the mean of its bright part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NebulaLines {
    /// Hα.
    pub h_alpha: Rayleighs,
    /// The true value lies between Hα over and times this in two of three objects.
    pub factor: f64,
    /// [O III] 500.7, the [S II] pair and the [N II] pair over Hα, in energy.
    pub ratios: [f64; 3],
    /// The same factor of the ratios.
    pub ratio_factor: f64,
    /// Where Hα is from.
    pub source: LineSource,
}

/// Hα over Hβ in energy, with the reddening of a usual nebula, and its factor from nebula to nebula: 2.86 without dust, 3 to 4.5
/// as seen (from memory).
const H_ALPHA_OVER_H_BETA: (f64, f64) = (3.3, 1.25);
/// The stronger line's share of each pair: [O III] 2.98 to 1, [N II] 3.05 to 1 (atomic constants, from memory); [S II] 671.6
/// over 673.1 is 1.3 in thin gas.
const STRONG_SHARE: [f64; 3] = [2.98 / 3.98, 1.3 / 2.3, 3.05 / 4.05];

impl NebulaLines {
    /// Each line's brightness, in the order of [`EmissionLine::ALL`], with the uncertainty of Hα and of the ratio.
    ///
    /// ```text
    /// R(line) = R(Hα) · ratio in energy · λ(line)/λ(Hα)
    /// ```
    ///
    /// A rayleigh counts photons, a published ratio compares energies.
    #[must_use]
    pub fn brightness(&self) -> [Estimate<Rayleighs>; EmissionLine::ALL.len()] {
        let [oiii, sii, nii] = self.ratios;
        EmissionLine::ALL.map(|line| {
            let (ratio, factor) = match line {
                EmissionLine::HAlpha => (1.0, 1.0),
                EmissionLine::HBeta => (1.0 / H_ALPHA_OVER_H_BETA.0, H_ALPHA_OVER_H_BETA.1),
                EmissionLine::Oiii => (oiii, self.ratio_factor),
                EmissionLine::OiiiWeak => (oiii * (1.0 / STRONG_SHARE[0] - 1.0), self.ratio_factor),
                EmissionLine::SiiFirst => (sii * STRONG_SHARE[1], self.ratio_factor),
                EmissionLine::SiiSecond => (sii * (1.0 - STRONG_SHARE[1]), self.ratio_factor),
                EmissionLine::Nii => (nii * STRONG_SHARE[2], self.ratio_factor),
                EmissionLine::NiiWeak => (nii * (1.0 - STRONG_SHARE[2]), self.ratio_factor),
            };
            let photons = line.wavelength().0 / EmissionLine::HAlpha.wavelength().0;
            Estimate::within_factor(self.h_alpha.0 * ratio * photons, self.factor.ln().hypot(factor.ln()))
        })
    }

    /// Brightness in Hα, in [O III] 500.7 and of the whole [S II] pair, for messages.
    #[must_use]
    pub fn main(&self) -> [Rayleighs; 3] {
        let all = self.brightness().map(|line| line.value);
        let of = |line| EmissionLine::ALL.iter().zip(all).find(|(known, _)| **known == line).map_or(0.0, |(_, r)| r.0);
        let sii = of(EmissionLine::SiiFirst) + of(EmissionLine::SiiSecond);
        [self.h_alpha, Rayleighs(of(EmissionLine::Oiii)), Rayleighs(sii)]
    }
}

const fn lines(h_alpha: [f64; 2], ratios: [f64; 3], ratio_factor: f64, source: LineSource) -> NebulaLines {
    let [h_alpha, factor] = h_alpha;
    NebulaLines { h_alpha: Rayleighs(h_alpha), factor, ratios, ratio_factor, source }
}

const fn nebula(
    kind: ObjectKind,
    names: &'static [&'static str],
    place: [f64; 2],
    size_arcmin: [f64; 2],
    lines: NebulaLines,
) -> Object {
    let (ra_deg, dec_deg) = (Degrees(place[0]), Degrees(place[1]));
    let (magnitude, source) = (None, Source::Memory);
    Object { names, ra_deg, dec_deg, size_arcmin, magnitude, kind, source, lines: Some(lines) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::target::object;

    #[test]
    fn photons_and_energies_are_not_the_same() {
        let rosette = object("Rosette Nebula").unwrap().lines.unwrap();
        let [h_alpha, oiii, sii] = rosette.main();
        // 0.763 and 1.024 of the ratios in energy, worked apart from this program.
        approx::assert_relative_eq!(oiii.0, 650.0 * 0.3 * 0.763, max_relative = 1e-3);
        approx::assert_relative_eq!(sii.0, 650.0 * 0.15 * 1.024, max_relative = 2e-3);
        assert_eq!(h_alpha, Rayleighs(650.0));
    }

    #[test]
    fn what_is_from_memory_is_the_least_sure() {
        for nebula in REGIONS.iter().chain(PLANETARIES) {
            let lines = nebula.lines.unwrap();
            assert!(lines.factor >= 1.2 && lines.ratio_factor >= 1.2, "{}", nebula.name());
            assert!(lines.source != LineSource::Memory || lines.factor >= 1.6, "{}", nebula.name());
            let least = 0.999 * lines.factor.ln();
            assert!(lines.brightness().iter().all(|line| line.value.0 > 0.0 && line.relative() >= least));
        }
    }
}
