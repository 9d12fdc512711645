//! The CCD equation against worked examples.
//!
//! Howell, Handbook of CCD Astronomy (2000), pp. 56-57: a star of 24 013 DN in one pixel, 300 s.
//! STScI, WFPC2 Instrument Handbook, section 6.7.2: an extended source.
//! The thermal laws: Janesick, Scientific Charge-Coupled Devices (2001), from memory; a CCD data sheet.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::camera::Plane;
use subwell::noise::{
    Calibration, CcdEquation, CcdRates, Clip, LeftPattern, Patch, PlaneNoise, Rates, Stack, SubNoise, band_gap_ev,
    dark_current, depletion_ratio, diffusion_ratio, doubling_kelvins,
};
use subwell::units::{Celsius, Electrons, ElectronsPerDn, ElectronsPerSecond, Seconds};

/// The book prints whole numbers; the fuller value is the same arithmetic with more digits.
const BOOK_DIGITS: f64 = 0.5;
const FULL_DIGITS: f64 = 1e-4;
/// The handbook prints one decimal.
const HANDBOOK_DIGITS: f64 = 0.05;
/// Half of the last digit of the tables of doubling temperatures (three digits) and ratios (four).
const TABLE_KELVINS: f64 = 0.006;
const TABLE_RATIO: f64 = 2e-3;

fn howell() -> CcdEquation {
    CcdEquation {
        star: Electrons(24_013.0 * 5.0),
        pixels: 1.0,
        sky_pixels: Some(200.0),
        sky: Electrons(620.0 * 5.0),
        dark: Electrons(22.0 * 300.0 / 3600.0),
        read_noise: Electrons(5.0),
        gain: ElectronsPerDn(5.0),
    }
}

#[test]
fn howell_finds_a_signal_to_noise_of_342() {
    assert_abs_diff_eq!(howell().snr(), 342.0, epsilon = BOOK_DIGITS);
    assert_abs_diff_eq!(howell().snr(), 342.0536, epsilon = FULL_DIGITS);
    assert_abs_diff_eq!(CcdEquation { gain: ElectronsPerDn(0.0), ..howell() }.snr(), 342.0566, epsilon = FULL_DIGITS);
    assert_abs_diff_eq!(CcdEquation { sky_pixels: None, ..howell() }.snr(), 342.0754, epsilon = FULL_DIGITS);
}

#[test]
fn howells_inverse_gives_the_exposure_back() {
    let rate = |electrons: f64| ElectronsPerSecond(electrons / 300.0);
    let rates = CcdRates {
        star: rate(24_013.0 * 5.0),
        pixels: 1.0,
        sky: rate(620.0 * 5.0),
        dark: ElectronsPerSecond(22.0 / 3600.0),
        read_noise: Electrons(5.0),
    };
    assert_abs_diff_eq!(rates.exposure(342.05).0, 299.95, epsilon = 0.01);
}

#[test]
fn an_extended_source_has_the_handbooks_signal_to_noise_of_3_4() {
    let sub = SubNoise { target: 44.1, sky: 84.1, dark: 12.0, read: 5.3 * 5.3, ..Default::default() };
    let one = Stack { subs: 1.0, dither_every: 1.0, dither_box_px: 12.0, clip: Clip::NONE };
    assert_abs_diff_eq!(one.snr(&sub, Patch::PIXEL), 3.4, epsilon = HANDBOOK_DIGITS);
    assert_abs_diff_eq!(one.snr(&sub, Patch::PIXEL), 3.3995, epsilon = FULL_DIGITS);
}

#[test]
fn a_stack_reaches_the_hand_calculated_signal_to_noise_per_pixel_and_patch() {
    // Hand calculation: S t √N / √((S + B + D) t + R²), then × √pixels.
    let noise = PlaneNoise {
        rates: Rates {
            target: ElectronsPerSecond(0.02),
            sky: ElectronsPerSecond(1.5),
            moon: ElectronsPerSecond(0.0),
            dark: ElectronsPerSecond(0.05),
        },
        read_noise: Electrons(2.0),
        quantisation: Electrons(0.0),
        left: LeftPattern::default(),
        calibration: Calibration { darks: 0, flats: 0, biases: 0, electrons_per_flat: Electrons(1.0) },
        drift: ElectronsPerSecond(0.0),
    };
    let stack = Stack { subs: 60.0, dither_every: 1.0, dither_box_px: 12.0, clip: Clip::NONE };
    let sub = noise.sub(Seconds(120.0));
    assert_abs_diff_eq!(stack.snr(&sub, Patch::PIXEL), 1.3402, epsilon = FULL_DIGITS);
    assert_abs_diff_eq!(stack.snr(&sub, Patch::new(1.2_f64.powi(-2), 1.0)), 1.1169, epsilon = FULL_DIGITS);
    assert_abs_diff_eq!(stack.snr(&sub, Patch::new((10.0_f64 / 1.2).powi(2), 1.0)), 11.169, epsilon = 1e-3);
}

#[test]
fn masters_add_what_a_simulation_of_stacks_says() {
    // Simulated with numpy: B = 2, D = 0.3, R = 3, 60 s, 40 subs, 20 darks, 25 flats of 20 ke-; in e-².
    let noise = PlaneNoise {
        rates: Rates { sky: ElectronsPerSecond(2.0), dark: ElectronsPerSecond(0.3), ..Default::default() },
        read_noise: Electrons(3.0),
        quantisation: Electrons(0.0),
        left: LeftPattern::default(),
        calibration: Calibration { darks: 20, flats: 25, biases: 0, electrons_per_flat: Electrons(20_000.0) },
        drift: ElectronsPerSecond(0.0),
    };
    let sub = noise.sub(Seconds(60.0));
    let stack = |every: f64| Stack { subs: 40.0, dither_every: every, dither_box_px: 1e6, clip: Clip::NONE };
    // Three standard errors of the simulation: 0.007 and 0.005.
    assert_abs_diff_eq!(stack(1.0).variance(&sub, Patch::PIXEL), 3.721, epsilon = 0.021);
    assert_abs_diff_eq!(stack(40.0).variance(&sub, Patch::PIXEL), 5.062, epsilon = 0.015);
}

#[test]
fn the_band_gap_of_silicon() {
    for (celsius, gap) in [(26.85, 1.11082), (0.0, 1.11777), (-20.0, 1.12264)] {
        assert_abs_diff_eq!(band_gap_ev(Celsius(celsius)), gap, epsilon = 5e-6);
    }
}

#[test]
fn doubling_temperatures_of_both_laws() {
    let table = [(-20.0, 6.13, 3.07), (0.0, 7.09, 3.55), (20.0, 8.11, 4.06), (40.0, 9.19, 4.60)];
    for (celsius, depletion, diffusion) in table {
        assert_abs_diff_eq!(doubling_kelvins(depletion_ratio, Celsius(celsius)), depletion, epsilon = TABLE_KELVINS);
        assert_abs_diff_eq!(doubling_kelvins(diffusion_ratio, Celsius(celsius)), diffusion, epsilon = TABLE_KELVINS);
    }
}

#[test]
fn dark_current_relative_to_twenty_degrees() {
    let table = [(-20.0, 0.01966, 3.87e-4), (0.0, 0.1608, 0.02586), (10.0, 0.4135, 0.1710), (30.0, 2.288, 5.235)];
    for (celsius, depletion, diffusion) in table {
        assert_relative_eq!(depletion_ratio(Celsius(celsius), Celsius(20.0)), depletion, max_relative = TABLE_RATIO);
        assert_relative_eq!(diffusion_ratio(Celsius(celsius), Celsius(20.0)), diffusion, max_relative = TABLE_RATIO);
    }
}

#[test]
fn a_ccd_data_sheets_law_lies_beside_the_depletion_law() {
    // Data sheet: Qd/Qd0 = 122 T³ exp(−6400/T), Qd0 at 293 K. The two differ by the shape of the law only.
    const SHAPE: f64 = 0.07;
    for celsius in [-20.0, -10.0, 0.0, 10.0] {
        let t: f64 = Celsius(celsius).kelvin();
        let sheet = 122.0 * t.powi(3) * (-6400.0 / t).exp();
        assert_relative_eq!(depletion_ratio(Celsius(celsius), Celsius(19.85)), sheet, max_relative = SHAPE);
    }
}

const PLANE: &str = r#"
plane = "mono"
gain_e_per_dn = 1.0
read_noise_e = 2.0
saturation_e = 20000.0
"#;

#[test]
fn a_law_doubles_as_its_activation_energy_says() {
    // Ea = kT² ln 2/Td less 1.5 kT: 6.3 K at 0 degC needs 0.6716 eV (E_a from T_d, pure Arrhenius form).
    let law = "[thermal]\nactivation_ev = {value = 0.6716, uncertainty = 0.02}\ndoubling_k_at_0_c = 6.3\n\
               reference_c = 0.0\nreference_e_per_s = {value = 0.04, uncertainty = 0.002}\nmeasured_c = [-10.0, 20.0]\n";
    let plane: Plane = toml::from_str(&format!("{PLANE}{law}")).expect("a plane");
    let doubled = dark_current(&plane, Celsius(3.15)).rate.value.0 / dark_current(&plane, Celsius(-3.15)).rate.value.0;
    assert_relative_eq!(doubled, 2.0, max_relative = 2e-3);
    assert!(dark_current(&plane, Celsius(5.0)).caveats.is_empty());
    let cold = dark_current(&plane, Celsius(-20.0));
    assert_eq!(cold.caveats[0].code, "extrapolated");
    let (low, high) = cold.rate.interval();
    let edge = dark_current(&plane, Celsius(-10.0)).rate.value.0;
    assert!(low < cold.rate.value.0 && high >= edge * depletion_ratio(Celsius(-20.0), Celsius(-10.0)));
    // A sum of laws falls no faster than at its cold end, and rises no faster than its fastest part.
    let edge = dark_current(&plane, Celsius(20.0)).rate.value.0;
    let warm = dark_current(&plane, Celsius(30.0)).rate;
    // The rate that is used is the mean of what is not negative: at the edge a few parts in a thousand above the law.
    assert!(warm.interval().1 >= 0.995 * edge * diffusion_ratio(Celsius(30.0), Celsius(20.0)));
    assert!(warm.interval().0 < warm.value.0);
}
