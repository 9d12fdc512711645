//! Mean surface brightness of galaxies from magnitude and size, against a published list of galaxies by surface
//! brightness (22.19, 23 and 21.74 mag/arcsec² for the first three), more digits computed apart from this program.

use approx::assert_abs_diff_eq;
use subwell::target::mean_surface_brightness;
use subwell::units::{Arcseconds, Magnitudes};

#[test]
fn three_galaxies() {
    let rows =
        [(3.44, 178.0, 63.0, 22.193), (5.70, 70.8, 41.7, 23.004), (8.40, 11.0, 7.0, 21.745), (8.40, 9.0, 4.0, 20.919)];
    for (magnitude, a, b, mean) in rows {
        let found = mean_surface_brightness(Magnitudes(magnitude), Arcseconds(a * 60.0), Arcseconds(b * 60.0));
        // Half of the last printed digit.
        assert_abs_diff_eq!(found.0, mean, epsilon = 6e-4);
    }
}
