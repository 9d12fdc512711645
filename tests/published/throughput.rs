//! Zero points of a telescope from a sky and from a star, computed apart from this program with units carried through by
//! astropy (`astropy.units`): a light of 60 s, 0.25 e⁻/DN, pixels of 3.33317 square arcseconds.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::noise::CcdEquation;
use subwell::rig::{StarBand, sky_zero_point, star_zero_point, throughput};
use subwell::stats::Estimate;
use subwell::units::{
    Arcseconds, Dn, Electrons, ElectronsPerDn, ElectronsPerSecond, Magnitudes, MagnitudesPerSquareArcsecond, Seconds,
};

use crate::bessell_1998::refractor;

/// Half of the last printed digit of a magnitude.
const PRINTED: f64 = 6e-5;
const GAIN: ElectronsPerDn = ElectronsPerDn(0.25);
const SECONDS: Seconds = Seconds(60.0);

fn square_arcseconds() -> f64 {
    refractor(300.0, 0.9, 0.8).pixel_scale.0.powi(2)
}

#[test]
fn the_zero_point_of_a_sky() {
    let rate: ElectronsPerSecond = (Dn(1500.0) - Dn(502.0)) * GAIN / SECONDS;
    assert_relative_eq!(rate.0, 4.15833, max_relative = 2e-6);
    assert_relative_eq!(square_arcseconds(), 3.33317, max_relative = 5e-6);
    assert_relative_eq!(rate.0 / square_arcseconds(), 1.24756, max_relative = 5e-6);
    let scale = Arcseconds(square_arcseconds().sqrt());
    // A reading of ± 0.18 and a rate of ± 3 %; a whole percent of the pixel's area belongs to the rate.
    let measured = Estimate::<ElectronsPerSecond>::new(rate.0, rate.0 * 0.03_f64.hypot(0.01));
    let sky = Estimate::<MagnitudesPerSquareArcsecond>::new(18.5, 0.1_f64.hypot(0.15));
    let zero = sky_zero_point(&sky, &measured, scale).unwrap();
    assert_abs_diff_eq!(zero.value.0, 18.7402, epsilon = PRINTED);
    assert_abs_diff_eq!(zero.uncertainty.0, 0.184, epsilon = 6e-4);
}

#[test]
fn the_zero_point_of_a_star_and_the_throughput() {
    let rate = 542_640.0 * GAIN.0 / 60.0 / 0.95;
    assert_relative_eq!(rate, 2380.0, max_relative = 1e-9);
    // 1.2 airmasses known to 0.05 each, a colour known to 0.08, an aperture to 2 %: "about 0.10 to 0.12".
    let magnitude = Estimate::<Magnitudes>::new(10.0, 0.08);
    let loss = Estimate::<Magnitudes>::new(0.25 * 1.2, 0.05 * 1.2);
    let zero = star_zero_point(&magnitude, &loss, &Estimate::new(rate, rate * 0.02)).unwrap();
    assert_abs_diff_eq!(zero.value.0, 18.7414, epsilon = PRINTED);
    assert!((0.10..0.12).contains(&zero.uncertainty.0), "{}", zero.uncertainty.0);
    let share = throughput(&Estimate::new(18.740, 0.1), StarBand::V, &refractor(300.0, 0.9, 0.8));
    assert_abs_diff_eq!(share.value, 0.2577, epsilon = PRINTED);
    // 0.9 of optics times 0.8 of sensor is a zero point of 19.856.
    let typed = throughput(&Estimate::new(19.856, 0.1), StarBand::V, &refractor(300.0, 0.9, 0.8));
    assert_abs_diff_eq!(typed.value, 0.72, epsilon = 5e-4);
}

/// A target of 24 mag/arcsec² through 1.3 airmasses with that zero point.
#[test]
fn a_target_from_the_zero_point() {
    let rate = square_arcseconds() * 10_f64.powf(0.4 * (18.740 - 24.0 - 0.25 * 1.3));
    assert_relative_eq!(rate, 0.019_447, max_relative = 3e-5);
}

/// 142 800 electrons ± 423.2 in an aperture of 6 pixels, sky from 500.
#[test]
fn the_noise_of_a_stars_aperture() {
    let pixels = std::f64::consts::PI * 36.0;
    let aperture = CcdEquation {
        star: Electrons(142_800.0),
        pixels,
        sky_pixels: Some(500.0),
        sky: Electrons(4.15833 * 60.0),
        dark: Electrons(0.05 * 60.0),
        read_noise: Electrons(3.0),
        gain: ElectronsPerDn(0.0),
    };
    assert_abs_diff_eq!(142_800.0 / aperture.snr(), 423.2, epsilon = 0.06);
    assert_abs_diff_eq!(1.085_736 / aperture.snr(), 0.0032, epsilon = PRINTED);
}
