//! Peak pixels and widths of star images, computed apart from this program with scipy, and the saturation times that
//! follow.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::rig::{Moffat, Mount, StarWidth, peak_pixel_fraction, pixel_fraction_at, saturation_time};
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

/// The star on the corner where four pixels meet.
#[test]
fn share_of_a_pixel_with_the_star_on_its_corner() {
    let rows =
        [(1.0, 0.2408), (1.5, 0.1952), (2.0, 0.1448), (2.5, 0.1069), (3.0, 0.0805), (4.0, 0.0493), (5.0, 0.0328)];
    for (width, share) in rows {
        assert_abs_diff_eq!(pixel_fraction_at(width, 0.5, 0.5), share, epsilon = PRINTED);
    }
    // The mean over all places in the pixel, at a width of 3.
    let places = || (0..50).map(|step| (f64::from(step) + 0.5) / 100.0);
    let mean = places().flat_map(|x| places().map(move |y| pixel_fraction_at(3.0, x, y))).sum::<f64>() / 2500.0;
    assert_abs_diff_eq!(mean, 0.0888, epsilon = PRINTED);
}

/// Pixels of a Moffat profile, integrated with scipy, the star in the middle of one.
#[test]
fn share_of_the_brightest_pixel_with_wings() {
    let widths = [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0];
    for (beta, shares) in [
        (4.765, [0.4901, 0.2716, 0.1666, 0.1111, 0.0790, 0.0455, 0.0294]),
        (2.5, [0.3965, 0.2191, 0.1346, 0.0900, 0.0640, 0.0369, 0.0239]),
    ] {
        for (fwhm, share) in widths.into_iter().zip(shares) {
            assert_abs_diff_eq!(Moffat { fwhm, beta }.peak_pixel_fraction(), share, epsilon = PRINTED);
        }
    }
}

/// Density in the middle of a wide image, in 1/FWHM²; nothing is lost to the wings in the end.
#[test]
fn central_density_and_light_within_a_radius() {
    for (beta, density) in [(4.765, 0.751), (3.5, 0.697), (3.0, 0.662), (2.5, 0.610)] {
        let image = Moffat { fwhm: 7.0, beta };
        assert_abs_diff_eq!(image.central_density() * 49.0, density, epsilon = 6e-4);
        assert_relative_eq!(image.encircled(1e4), 1.0, max_relative = 1e-4);
        // A small circle holds its area times the density.
        let small = image.encircled(0.01) / (std::f64::consts::PI * 1e-4);
        assert_relative_eq!(small, image.central_density(), max_relative = 1e-4);
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
