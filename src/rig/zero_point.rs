//! Magnitudes to photons and back: the zero points of bands, and what a measured star or sky says of the telescope.

use serde::{Deserialize, Serialize};

use crate::stats::Estimate;
use crate::units::{
    Arcseconds, ElectronsPerSecond, MAGNITUDES_PER_LOGARITHM, Magnitudes, MagnitudesPerSquareArcsecond, Nanometres,
    PHOTONS_OF_V_MAGNITUDE_0, Quantity,
};

use super::LightChain;

/// Photons s⁻¹ cm⁻² of one jansky, for each unit of Δλ/λ: 10⁻²⁶ W m⁻² Hz⁻¹ over the constant of Planck
/// (6.62607015·10⁻³⁴ J s, exact by definition of the SI).
pub const PHOTONS_OF_JANSKY: f64 = 1_509.190_179_6;
/// Spectral flux of AB magnitude 0 in jansky, by definition (Oke & Gunn 1983, ApJ 266, 713).
pub const JANSKY_OF_AB_0: f64 = 3631.0;

/// The bands in which catalogues give a star's magnitude.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum StarBand {
    /// Johnson B.
    #[serde(rename = "B")]
    B,
    /// Johnson V.
    #[default]
    #[serde(rename = "V")]
    V,
    /// Cousins R.
    #[serde(rename = "R")]
    R,
    /// Cousins I.
    #[serde(rename = "I")]
    I,
    /// g′, AB.
    #[serde(rename = "g")]
    SdssG,
    /// r′, AB.
    #[serde(rename = "r")]
    SdssR,
    /// i′, AB.
    #[serde(rename = "i")]
    SdssI,
    /// The wide G of the astrometric satellite's third release, against Vega.
    #[serde(rename = "G")]
    GaiaG,
}

impl StarBand {
    /// All of them.
    pub const ALL: [Self; 8] = [Self::B, Self::V, Self::R, Self::I, Self::SdssG, Self::SdssR, Self::SdssI, Self::GaiaG];

    /// Its letter; capital and small letters are different bands.
    #[must_use]
    pub fn letter(self) -> char {
        match self {
            Self::B => 'B',
            Self::V => 'V',
            Self::R => 'R',
            Self::I => 'I',
            Self::SdssG => 'g',
            Self::SdssR => 'r',
            Self::SdssI => 'i',
            Self::GaiaG => 'G',
        }
    }

    /// Its effective wavelength, from the sources of [`StarBand::photons_of_magnitude_0`].
    #[must_use]
    pub fn centre(self) -> Nanometres {
        Nanometres(match self {
            Self::B => 438.0,
            Self::V => 545.0,
            Self::R => 641.0,
            Self::I => 798.0,
            Self::SdssG => 483.0,
            Self::SdssR => 626.0,
            Self::SdssI => 767.0,
            Self::GaiaG => 622.0,
        })
    }

    /// Photons s⁻¹ cm⁻² nm⁻¹ of magnitude 0.
    ///
    /// # Source
    /// B, V, R, I: Bessell, Castelli & Plez 1998, A&A 333, 231. g′, r′, i′: the definition of AB at the wavelengths of
    /// Fukugita et al. 1996, AJ 111, 1748. G: computed apart from this program from the released passband and a
    /// spectrum of Vega, good to 2 %.
    #[must_use]
    pub fn photons_of_magnitude_0(self) -> f64 {
        match self {
            Self::B => 13_926.0,
            Self::V => PHOTONS_OF_V_MAGNITUDE_0,
            Self::R => 7020.0,
            Self::I => 4520.0,
            Self::SdssG | Self::SdssR | Self::SdssI => PHOTONS_OF_JANSKY * JANSKY_OF_AB_0 / self.centre().0,
            Self::GaiaG => 8060.0,
        }
    }
}

/// The magnitude, outside the atmosphere, of a star that gives one electron a second in all its pixels together.
///
/// ```text
/// ZP = m + k X + 2.5 log₁₀ F      (at the aperture: what the air takes is added back)
/// ```
///
/// `loss` is `k X`. `None` unless the rate is above 0.
///
/// # Examples
/// ```
/// use subwell::{rig::star_zero_point, stats::Estimate};
/// let (magnitude, loss) = (Estimate::new(10.0, 0.05), Estimate::new(0.25 * 1.2, 0.06));
/// let zero = star_zero_point(&magnitude, &loss, &Estimate::new(2380.0, 10.0)).unwrap();
/// assert!((zero.value.0 - 18.7414).abs() < 1e-4);
/// ```
#[must_use]
pub fn star_zero_point(
    magnitude: &Estimate<Magnitudes>,
    loss: &Estimate<Magnitudes>,
    rate: &Estimate<ElectronsPerSecond>,
) -> Option<Estimate<Magnitudes>> {
    let value = magnitude.value.0 + loss.value.0 + 2.5 * rate.value.0.log10();
    let parts = [MAGNITUDES_PER_LOGARITHM * rate.relative(), loss.uncertainty.0, magnitude.uncertainty.0];
    value.is_finite().then(|| Estimate::new(value, crate::units::quadrature(&parts)))
}

/// The same from a sky: the magnitude of the square arcsecond that gives one electron a second.
///
/// ```text
/// ZP = μ + 2.5 log₁₀(S/s²)      (no air: a sky is given as it arrives)
/// ```
///
/// It differs from a star's by the colour of the lamps. `None` unless the rate is above 0.
#[must_use]
pub fn sky_zero_point(
    sky: &Estimate<MagnitudesPerSquareArcsecond>,
    rate: &Estimate<ElectronsPerSecond>,
    pixel_scale: Arcseconds,
) -> Option<Estimate<Magnitudes>> {
    let value = sky.value.0 + 2.5 * (rate.value.0 / pixel_scale.0.powi(2)).log10();
    let uncertainty = sky.uncertainty.0.hypot(MAGNITUDES_PER_LOGARITHM * rate.relative());
    value.is_finite().then(|| Estimate::new(value, uncertainty))
}

/// The share of a star's photons over the aperture and band that became electrons: optics, filter and quantum
/// efficiency together.
///
/// ```text
/// η = 10^(0.4 ZP) / (φ W A)
/// ```
#[must_use]
pub fn throughput(zero_point: &Estimate<Magnitudes>, band: StarBand, chain: &LightChain) -> Estimate<f64> {
    let photons = band.photons_of_magnitude_0() * chain.passband.width.0 * chain.collecting_area.0;
    let relative = zero_point.uncertainty.get() / MAGNITUDES_PER_LOGARITHM;
    Estimate::within_factor(10_f64.powf(0.4 * zero_point.value.0) / photons, relative)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_light_has_no_zero_point() {
        let dark = Estimate::new(0.0, 1.0);
        assert_eq!(star_zero_point(&Estimate::new(10.0, 0.1), &Estimate::new(0.3, 0.1), &dark), None);
        assert_eq!(sky_zero_point(&Estimate::new(20.0, 0.1), &dark, Arcseconds(1.0)), None);
    }

    #[test]
    fn every_band_has_its_own_letter() {
        let mut letters: Vec<char> = StarBand::ALL.iter().map(|band| band.letter()).collect();
        letters.sort_unstable();
        letters.dedup();
        assert_eq!(letters.len(), StarBand::ALL.len());
    }
}
