//! Zero points of bands beside V: the definition of AB (Oke & Gunn 1983, ApJ 266, 713), the bands of Fukugita et al. 1996,
//! AJ 111, 1748, those of Bessell, Castelli & Plez 1998, A&A 333, 231, and an observatory's public page of magnitudes and
//! photons.

use approx::assert_relative_eq;
use subwell::rig::{JANSKY_OF_AB_0, PHOTONS_OF_JANSKY, StarBand};

/// Half of the last of four printed digits.
const FOUR_DIGITS: f64 = 6e-4;

#[test]
fn a_jansky_and_magnitude_0_in_photons() {
    assert_relative_eq!(PHOTONS_OF_JANSKY * JANSKY_OF_AB_0, 5_479_869.542_280_653_5, max_relative = 1e-9);
    assert_relative_eq!(PHOTONS_OF_JANSKY * 1e4, 1.5092e7, max_relative = 1e-5);
    // Per Å at 5500 Å.
    assert_relative_eq!(PHOTONS_OF_JANSKY * JANSKY_OF_AB_0 / 5500.0, 996.3, max_relative = 1e-4);
}

/// The page's example: V = 23.90 through Δλ/λ = 0.16 and one square metre is 2.42 photons a second.
#[test]
fn a_worked_example() {
    let jansky = 3640.0 * 10_f64.powf(-0.4 * 23.90);
    // The page rounds the flux to a microjansky and 1.51e7.
    assert_relative_eq!(jansky * PHOTONS_OF_JANSKY * 1e4 * 0.16, 2.42, max_relative = 0.005);
}

/// Per Å, as published.
#[test]
fn photons_of_magnitude_0_in_seven_bands() {
    let bands = [
        (StarBand::B, 1392.6),
        (StarBand::V, 995.5),
        (StarBand::R, 702.0),
        (StarBand::I, 452.0),
        (StarBand::SdssG, 1134.6),
        (StarBand::SdssR, 875.4),
        (StarBand::SdssI, 714.5),
    ];
    for (band, photons) in bands {
        assert_relative_eq!(band.photons_of_magnitude_0() / 10.0, photons, max_relative = 1e-4);
    }
}

/// Vega through the passbands of Bessell 1990, PASP 102, 1181, with a spectrum of the CALSPEC library, integrated apart
/// from this program: within the 2.5 % that the zero points admit.
#[test]
fn zero_points_against_vega() {
    for (band, photons) in [
        (StarBand::B, 1395.7),
        (StarBand::V, 993.1),
        (StarBand::R, 696.4),
        (StarBand::I, 451.3),
        (StarBand::GaiaG, 806.0),
    ] {
        assert_relative_eq!(band.photons_of_magnitude_0() / 10.0, photons, max_relative = 0.025);
    }
}

/// The published flux densities of magnitude 0 at the bands' wavelengths say the same, as far as one wavelength can.
#[test]
fn zero_points_against_flux_densities() {
    /// A band is no single wavelength; R is the widest.
    const ONE_WAVELENGTH: f64 = 0.03;
    for (band, jansky) in [(StarBand::B, 4063.0), (StarBand::V, 3636.0), (StarBand::R, 3064.0), (StarBand::I, 2416.0)] {
        let photons = PHOTONS_OF_JANSKY * jansky / band.centre().0;
        assert_relative_eq!(photons, band.photons_of_magnitude_0(), max_relative = ONE_WAVELENGTH);
    }
}

/// The wide G: its published zero point of 25.6874 for one electron a second, over a pupil of 0.7278 m², is 2.588e6
/// electrons s⁻¹ cm⁻² at magnitude 0: through 442 nm a throughput that a silicon sensor behind mirrors has.
#[test]
fn the_wide_band_of_the_astrometric_satellite() {
    let electrons = 10_f64.powf(0.4 * 25.6874) / 7278.0;
    assert_relative_eq!(electrons, 2.588e6, max_relative = FOUR_DIGITS);
    let throughput = electrons / (StarBand::GaiaG.photons_of_magnitude_0() * 442.0);
    assert!((0.6..0.85).contains(&throughput), "{throughput}");
}
