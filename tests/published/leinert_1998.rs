//! The rayleigh: Leinert et al. 1998, A&AS 127, 1, section 2. Values computed from it apart from this program with
//! astropy (`astropy.units`).

use approx::assert_relative_eq;
use subwell::rig::{H_ALPHA, OIII, Passband};
use subwell::sky::{Lamps, photon_density};
use subwell::stats::Estimate;
use subwell::units::{Band, MagnitudesPerSquareArcsecond, PHOTONS_OF_V_MAGNITUDE_0, Rayleighs};

use crate::bessell_1998::refractor;

/// Four printed digits.
const FOUR_DIGITS: f64 = 2e-4;

#[test]
fn one_rayleigh_in_photons() {
    let photons = Rayleighs(1.0).photons_per_s_cm2_arcsec2();
    assert_relative_eq!(photons, 1.870_423_152_428_765_2e-6, max_relative = 1e-12);
}

#[test]
fn continuum_in_rayleighs_per_nanometre() {
    let skies = [
        (22.0, 8.435),
        (21.9, 9.249),
        (20.0, 53.22),
        (19.0, 133.7),
        (18.5, 211.9),
        (18.0, 335.8),
        (25.0, 0.5322),
        (27.0, 0.0844),
    ];
    for (magnitude, rayleighs) in skies {
        let photons = PHOTONS_OF_V_MAGNITUDE_0 * 10_f64.powf(-0.4 * magnitude);
        let found = photons / Rayleighs(1.0).photons_per_s_cm2_arcsec2();
        // Three or four digits are printed.
        assert_relative_eq!(found, rayleighs, max_relative = 6e-4);
    }
}

/// The energy of a photon of this wavelength in erg: h c/λ, exact by definition of the SI.
fn erg(nanometres: f64) -> f64 {
    6.626_070_15e-34 * 2.997_924_58e8 / (nanometres * 1e-9) * 1e7
}

/// erg s⁻¹ cm⁻² arcsec⁻² of one rayleigh, and per steradian at Hα.
#[test]
fn one_rayleigh_in_energy() {
    let photons = Rayleighs(1.0).photons_per_s_cm2_arcsec2();
    assert_relative_eq!(0.018_704_2, photons * 1e4, max_relative = 3e-6);
    for (line, energy) in [(656.28, 5.6613e-18), (486.13, 7.6435e-18), (500.7, 7.4206e-18), (672.0, 5.529e-18)] {
        assert_relative_eq!(photons * erg(line), energy, max_relative = FOUR_DIGITS);
    }
    assert_relative_eq!(photons * erg(656.28) * 4.254_52e10, 2.4086e-7, max_relative = FOUR_DIGITS);
}

/// Two planetary nebulae from their flux in Hβ (erg s⁻¹ cm⁻², logarithms from memory) spread over their ellipses.
#[test]
fn two_planetary_nebulae_in_rayleighs() {
    for (logarithm, a, b, rayleighs) in [(-10.08_f64, 86.0, 63.0, 2557.0), (-9.44, 480.0, 340.0, 371.0)] {
        let per_rayleigh = Rayleighs(1.0).photons_per_s_cm2_arcsec2() * erg(486.13);
        let found = 10_f64.powf(logarithm) / (std::f64::consts::FRAC_PI_4 * a * b) / per_rayleigh;
        assert_relative_eq!(found, rayleighs, max_relative = 1.5e-3);
    }
}

/// A refractor of 72 mm at f/5.9, pixels of 3.76 µm, optics 0.9, filter 0.9, quantum efficiency 0.7, no air.
#[test]
fn three_lines_through_a_line_filter() {
    let chain = refractor(3.0, 0.81, 0.7);
    for (brightness, rate) in [(1.0, 1.43925e-4), (100.0, 0.014_392_5), (1000.0, 0.143_925)] {
        let found = chain.line_rate(Rayleighs(brightness), 1.0).unwrap();
        assert_relative_eq!(found.value.0, rate, max_relative = 5e-6);
    }
}

/// The sky in line filters 3 nm wide, natural and artificial light apart, mixed lamps: rows computed apart from this
/// program from the spectral factors, which are derived here.
#[test]
fn sky_in_two_lines() {
    let rows =
        [(22.0, 21.5, 16.4), (20.0, 122.3, 83.6), (19.0, 303.3, 204.3), (18.5, 479.3, 321.6), (18.0, 758.1, 507.5)];
    for (magnitude, h_alpha, oiii) in rows {
        for (line, expected) in [(H_ALPHA, h_alpha), (OIII, oiii)] {
            let sky = Estimate::<MagnitudesPerSquareArcsecond>::new(magnitude, 0.0);
            let light = photon_density(&sky, Lamps::Mixed, &Band::line(line)).value.0;
            let rayleighs = 3.0 * light / Rayleighs(1.0).photons_per_s_cm2_arcsec2();
            // The rows carry one decimal.
            assert!((rayleighs - expected).abs() < 0.06, "{magnitude}: {rayleighs}");
        }
    }
}

#[test]
fn sky_in_electrons_behind_a_3_nm_h_alpha_filter() {
    let mut chain = refractor(3.0, 0.81, 0.7);
    chain.passband = Passband { band: Band::line(H_ALPHA), ..chain.passband };
    for (magnitude, rate) in [(22.0, 0.00310), (20.0, 0.0176), (18.5, 0.0690)] {
        let light = photon_density(&Estimate::new(magnitude, 0.1), Lamps::Mixed, &chain.passband.band);
        assert_relative_eq!(chain.sky_rate(&light).value.0, rate, max_relative = 10.0 * FOUR_DIGITS);
    }
}

/// From a V magnitude known to 0.1 a line filter's sky is known to a factor of 1.5, at best to 1.3.
#[test]
fn a_line_filters_sky_is_known_to_a_factor() {
    let light = photon_density(&Estimate::new(18.5, 0.1), Lamps::Mixed, &Band::line(H_ALPHA));
    assert!((1.3..1.6).contains(&light.relative().exp()), "{}", light.relative());
}
