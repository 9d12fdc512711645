//! Photon flux of V magnitude 0, 995.5 photons s⁻¹ cm⁻² Å⁻¹: Bessell, Castelli & Plez 1998, A&A 333, 231.
//!
//! The electron rates below were computed from it apart from this program, with units carried through by astropy
//! (`astropy.units`), for made-up telescopes.

use approx::assert_relative_eq;
use subwell::rig::{Detector, Filter, H_ALPHA, LightChain, Optics, Passband, QuantumEfficiency};
use subwell::sky::{GivenSky, Lamps, photon_density};
use subwell::stats::Estimate;
use subwell::units::{
    Band, Colour, ElectronsPerSecond, EmissionLine, Magnitudes, MagnitudesPerSquareArcsecond, Micrometres, Millimetres,
    Nanometres, PHOTONS_OF_V_MAGNITUDE_0, PhotonDensity,
};

/// The values carry six digits.
const SIX_DIGITS: f64 = 2e-6;
/// The values carry four or five digits.
const FOUR_DIGITS: f64 = 2e-4;

pub(crate) fn optics(aperture: f64, focal_length: f64, obstruction: f64, transmission: f64) -> Optics {
    Optics {
        aperture_mm: Millimetres(aperture),
        focal_length_mm: Millimetres(focal_length),
        obstruction_mm: Some(Millimetres(obstruction)),
        transmission: Some(transmission),
        throughput_ratio: None,
    }
}

/// A refractor of 72 mm at f/5.9 with pixels of 3.76 µm.
pub(crate) fn refractor(width: f64, transmission: f64, quantum_efficiency: f64) -> LightChain {
    LightChain::new(&optics(72.0, 424.8, 0.0, transmission), Micrometres(3.76), window(width, quantum_efficiency))
}

/// Where a luminance filter sees light.
fn luminance() -> Band {
    Band::window(Nanometres(550.0), Nanometres(300.0))
}

pub(crate) fn window(width: f64, quantum_efficiency: f64) -> Passband {
    Passband {
        centre: Nanometres(550.0),
        width: Nanometres(width),
        width_relative: 0.0,
        transmission: 1.0,
        quantum_efficiency,
        line_efficiency: Some(quantum_efficiency),
        line: H_ALPHA,
        lines: [quantum_efficiency; EmissionLine::ALL.len()],
        line_relative: 0.0,
        beam_relative: 0.0,
        band: luminance(),
    }
}

/// A sky with as many photons per nm as V.
fn flat_sky(magnitude: f64) -> Estimate<PhotonDensity> {
    Estimate::new(PHOTONS_OF_V_MAGNITUDE_0 * 10_f64.powf(-0.4 * magnitude), 0.0)
}

fn sky(chain: &LightChain, magnitude: f64) -> f64 {
    chain.sky_rate(&flat_sky(magnitude)).value.0
}

#[test]
fn scale_and_area_of_three_telescopes() {
    let cases = [
        (optics(72.0, 424.8, 0.0, 0.9), 3.76, 1.82570, 40.7150),
        (optics(200.0, 800.0, 70.0, 0.82), 4.3, 1.10867, 275.675),
        (optics(135.0 / 2.8, 135.0, 0.0, 0.9), 4.3, 6.56992, 18.2575),
    ];
    for (optics, pixel, scale, area) in cases {
        assert_relative_eq!(optics.pixel_scale(Micrometres(pixel)).0, scale, max_relative = 5.0 * SIX_DIGITS);
        assert_relative_eq!(optics.collecting_area().0, area, max_relative = 2.0 * SIX_DIGITS);
    }
}

#[test]
fn sky_of_four_telescopes_in_v() {
    let newtonian = LightChain::new(&optics(200.0, 800.0, 70.0, 0.82), Micrometres(4.3), window(85.0, 0.5));
    let lens = LightChain::new(&optics(135.0 / 2.8, 135.0, 0.0, 0.9), Micrometres(4.3), window(85.0, 0.45));
    assert_relative_eq!(sky(&refractor(85.0, 0.9, 0.8), 18.5), 3.29158, max_relative = SIX_DIGITS);
    assert_relative_eq!(sky(&refractor(85.0, 1.0, 0.8), 18.5), 3.65731, max_relative = SIX_DIGITS);
    assert_relative_eq!(sky(&newtonian, 20.5), 0.741734, max_relative = SIX_DIGITS);
    assert_relative_eq!(sky(&lens, 21.6), 0.618694, max_relative = SIX_DIGITS);
    assert_relative_eq!(sky(&refractor(89.31, 0.9, 0.8), 18.5), 3.45848, max_relative = SIX_DIGITS);
}

#[test]
fn photons_at_the_sensor() {
    assert_relative_eq!(sky(&refractor(85.0, 0.9, 1.0), 18.5), 4.11448, max_relative = SIX_DIGITS);
}

#[test]
fn sky_through_a_flat_window_of_300_nm() {
    assert_relative_eq!(sky(&refractor(300.0, 0.9, 0.8), 18.5), 11.6173, max_relative = 5.0 * SIX_DIGITS);
}

#[test]
fn photons_per_pixel_do_not_depend_on_aperture_at_one_focal_ratio() {
    let of = |aperture: f64| {
        LightChain::new(&optics(aperture, aperture * 5.0, 0.0, 0.9), Micrometres(4.0), window(100.0, 0.5))
    };
    assert_relative_eq!(sky(&of(50.0), 20.0), sky(&of(300.0), 20.0), max_relative = 1e-12);
}

#[test]
fn continuum_target() {
    let chain = refractor(300.0, 0.9, 0.8);
    for (magnitude, rate) in [(24.0, 0.07330), (25.0, 0.02918), (26.0, 0.01162), (27.0, 0.004625)] {
        let found = chain.continuum_rate(MagnitudesPerSquareArcsecond(magnitude), 1.0).value;
        assert_relative_eq!(found.0, rate, max_relative = 2.0 * FOUR_DIGITS);
    }
}

#[test]
fn stars_in_v_and_luminance() {
    let rate = |width, magnitude| refractor(width, 0.9, 0.8).star_rate(Magnitudes(magnitude), 1.0).value;
    assert_relative_eq!(rate(89.31, 0.0).0, 2.606e7, max_relative = FOUR_DIGITS);
    assert_relative_eq!(rate(89.31, 10.0).0, 2606.0, max_relative = FOUR_DIGITS);
    assert_relative_eq!(rate(300.0, 10.0).0, 8754.9, max_relative = 1e-5);
    assert_relative_eq!(rate(300.0, 12.0).0, 1387.6, max_relative = 5e-5);
    assert_relative_eq!(rate(300.0, 15.0).0, 87.55, max_relative = FOUR_DIGITS);
}

/// Effective widths of a colour array under a white LED sky (4000 K, CIE 15:2018 LED-B3), sky colour included.
#[test]
fn colour_array_under_white_lamps() {
    let optics = optics(135.0 / 2.8, 135.0, 0.0, 0.9);
    let cases = [(85.0, 0.28, 1.6804, 6.690), (92.0, 0.50, 3.2479, 12.930), (53.0, 0.45, 1.6840, 6.704)];
    for (width, peak, at_20, at_18_5) in cases {
        let chain = LightChain::new(&optics, Micrometres(4.3), window(width, peak));
        assert_relative_eq!(sky(&chain, 20.0), at_20, max_relative = 5e-5);
        assert_relative_eq!(sky(&chain, 18.5), at_18_5, max_relative = FOUR_DIGITS);
    }
}

/// What the named filter `none` gives under the same sky: 77 × 1.10, 107 × 0.85 and 88 × 0.57 nm against the widths of
/// the test before, which were integrated camera by camera.
#[test]
fn the_default_colour_array_comes_near_the_integrated_one() {
    /// Products of medians are no medians of products; both carry two digits.
    const TWO_DIGITS: f64 = 0.08;
    let optics = optics(135.0 / 2.8, 135.0, 0.0, 0.9);
    let light = |band: &Band| photon_density(&Estimate::new(18.5, 0.1), Lamps::Led4000, band);
    for (colour, peak, rate) in [(Colour::Red, 0.28, 6.690), (Colour::Green, 0.50, 12.930), (Colour::Blue, 0.45, 6.704)]
    {
        let peaks = subwell::rig::ColourEfficiencies { red: 0.28, green: 0.50, blue: 0.45 };
        let filter = Filter {
            name: Some("none".into()),
            quantum_efficiency: Some(QuantumEfficiency::Colours(peaks)),
            ..Filter::default()
        };
        let detector = Detector { pixel: Micrometres(4.3), colour: Some(colour), modified: false };
        let chain = LightChain::through(&optics, &filter, &detector).unwrap().swap_remove(0);
        assert_eq!(chain.passband.quantum_efficiency, peak);
        let found: ElectronsPerSecond = chain.sky_rate(&light(&chain.passband.band)).value;
        assert_relative_eq!(found.0, rate, max_relative = TWO_DIGITS);
    }
}

/// A class of the Bortle scale is worth about 45 % in the sky's electrons.
#[test]
fn the_uncertainty_of_a_class_reaches_the_rate() {
    let class = GivenSky::Bortle(7).magnitude().unwrap();
    let rate = refractor(300.0, 0.9, 0.8).sky_rate(&photon_density(&class, Lamps::Mixed, &luminance()));
    assert!((0.35..0.50).contains(&rate.relative()), "{}", rate.relative());
}
