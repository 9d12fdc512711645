//! Naked-eye limit against sky brightness: Schaefer 1990, PASP 102, 212 (constants from memory). The values were
//! computed apart from this program from the two closed forms that observers use.

use approx::assert_abs_diff_eq;
use subwell::sky::{from_limiting, limiting_magnitude, luminance, magnitude_of_nanolambert, nanolambert};
use subwell::units::{Magnitudes, MagnitudesPerSquareArcsecond};

/// Half of the last printed digit.
const PRINTED: f64 = 6e-5;

#[test]
fn limit_from_brightness() {
    for (magnitude, limit) in [(22.0, 6.6247), (21.0, 6.1155), (20.0, 5.4942), (19.0, 4.7723), (18.5, 4.3792)] {
        let found = limiting_magnitude(MagnitudesPerSquareArcsecond(magnitude));
        assert_abs_diff_eq!(found.0, limit, epsilon = PRINTED);
    }
}

#[test]
fn brightness_from_limit() {
    for (limit, magnitude) in [(6.5, 21.733), (6.0, 20.800), (5.5, 20.0086), (5.0, 19.3021), (4.5, 18.6511)] {
        let found = from_limiting(Magnitudes(limit)).unwrap();
        assert_abs_diff_eq!(found.0, magnitude, epsilon = PRINTED);
    }
}

/// The full formula with its dark constants gives the closed form: m = −16.57 − 2.5 log₁₀ [C (1 + √(K B))²].
#[test]
fn the_closed_form_is_the_eyes_law() {
    /// The closed form rounds its constants to two decimals.
    const ROUNDED: f64 = 0.01;
    for magnitude in [19.0, 20.0, 21.0, 22.0] {
        let sky = MagnitudesPerSquareArcsecond(magnitude);
        let eye = 1.0 + (10_f64.powf(-1.90) * nanolambert(sky)).sqrt();
        let law = -16.57 - 2.5 * (10_f64.powf(-9.80) * eye * eye).log10();
        assert_abs_diff_eq!(limiting_magnitude(sky).0, law, epsilon = ROUNDED);
    }
}

/// Nanolamberts as Krisciunas & Schaefer 1991, PASP 103, 1033, convert them; their zenith of V = 21.587 is 79.0 nL.
#[test]
fn nanolamberts() {
    for (magnitude, brightness) in [(22.0, 54.01), (21.587, 79.01), (21.0, 135.66), (18.5, 1356.7)] {
        let found = nanolambert(MagnitudesPerSquareArcsecond(magnitude));
        approx::assert_relative_eq!(found, brightness, max_relative = 1e-4);
    }
}

/// The branch of the eye's law lies at 18.391 mag/arcsec²; one nanolambert is 10⁻⁵/π cd/m², which makes the zero point of
/// this scale 1.0848·10⁵ cd/m², 0.45 % from the trade's 10.8·10⁴.
#[test]
fn nanolamberts_and_candelas() {
    let branch = magnitude_of_nanolambert(1500.0).unwrap();
    assert_abs_diff_eq!(branch.0, 18.391, epsilon = 6e-4);
    let zero = nanolambert(MagnitudesPerSquareArcsecond(0.0)) * 1e-5 / std::f64::consts::PI;
    approx::assert_relative_eq!(zero, 1.0848e5, max_relative = 1e-4);
    let trade = luminance(MagnitudesPerSquareArcsecond(0.0)).0;
    assert_abs_diff_eq!(zero / trade - 1.0, 0.0045, epsilon = 1e-4);
}
