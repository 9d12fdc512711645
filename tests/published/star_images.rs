//! Peak pixels and widths of star images, computed apart from this program with scipy, and the saturation times that
//! follow.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::rig::{Mount, StarWidth, peak_pixel_fraction, saturation_time};
use subwell::units::{Arcseconds, Electrons, ElectronsPerSecond, Magnitudes, Nanometres};

use crate::bessell_1998::{optics, refractor};

/// Half of the last printed digit.
const PRINTED: f64 = 6e-5;

#[test]
fn share_of_the_brightest_pixel() {
    let rows =
        [(1.0, 0.5791), (1.5, 0.3221), (2.0, 0.1971), (2.5, 0.1313), (3.0, 0.0932), (4.0, 0.0536), (5.0, 0.0347)];
    for (width, share) in rows {
        assert_abs_diff_eq!(peak_pixel_fraction(width), share, epsilon = PRINTED);
    }
}

/// A wide image tends to 0.8825/FWHM² (4 ln 2/π).
#[test]
fn a_wide_image_tends_to_its_central_density() {
    assert_relative_eq!(peak_pixel_fraction(30.0) * 900.0, 0.8825, max_relative = 1e-3);
}

/// The refractor of the light chain, 300 nm, a well of 50 000 e⁻ and a background of 10.46 e⁻/s.
#[test]
fn time_until_a_star_saturates() {
    let chain = refractor(300.0, 0.9, 0.8);
    for (magnitude, width, seconds) in [(8.0, 3.0, 9.69), (10.0, 3.0, 60.5), (12.0, 2.0, 176.0)] {
        let star = chain.star_rate(Magnitudes(magnitude), 1.0).value;
        let peak = peak_pixel_fraction(width);
        let time = saturation_time(Electrons(50_000.0), star, peak, ElectronsPerSecond(10.46)).unwrap();
        assert_relative_eq!(time.0, seconds, max_relative = 1e-3);
    }
}

/// The faintest star that clips at a width of 3 pixels, in the same frame.
#[test]
fn faintest_star_that_clips() {
    let chain = refractor(300.0, 0.9, 0.8);
    for (seconds, magnitude) in [(30.0, 9.23), (120.0, 10.76), (300.0, 11.79)] {
        let star = chain.star_rate(Magnitudes(magnitude), 1.0).value;
        let time =
            saturation_time(Electrons(50_000.0), star, peak_pixel_fraction(3.0), ElectronsPerSecond(10.46)).unwrap();
        // The magnitude's second decimal is 0.9 % of a flux.
        assert_relative_eq!(time.0, seconds, max_relative = 0.006);
    }
}

/// 1.029 λ/D at 550 nm and 72 mm; seeing of 2.5″ through 1.5 airmasses.
#[test]
fn parts_of_a_stars_width() {
    let mount = Mount { guide_rms_arcsec: Some(Arcseconds(0.0)), ..Mount::default() };
    let width = StarWidth::new(
        Arcseconds(2.5),
        1.5,
        &optics(72.0, 424.8, 0.0, 0.9),
        Nanometres(550.0),
        &mount,
        Arcseconds(1.8257),
    );
    assert_abs_diff_eq!(width.diffraction.0, 1.621, epsilon = 6e-4);
    assert_abs_diff_eq!(width.seeing.0, 3.19, epsilon = 6e-3);
    assert_relative_eq!(
        width.on_sensor().0,
        (3.1886_f64.powi(2) + 1.6213_f64.powi(2) + 1.2411_f64.powi(2)).sqrt(),
        max_relative = 1e-4
    );
}
