//! Mean surface brightness of galaxies from magnitude and size, against a published list of galaxies by surface
//! brightness (22.19, 23 and 21.74 mag/arcsec² for the first three), more digits computed apart from this program.

use approx::assert_abs_diff_eq;
use subwell::target::{CATALOGUE_UNCERTAINTY, Object, mean_surface_brightness, object};
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

/// OpenNGC's rows, their mean surface brightness computed apart from this program and printed with two decimals.
#[test]
fn the_catalogue_gives_the_means_of_its_source() {
    let rows = [("M31", 22.30), ("M33", 22.81), ("M51", 22.50), ("M101", 23.39), ("M81", 21.51), ("M104", 21.26)];
    for (name, mean) in rows {
        let found = object(name).and_then(Object::surface_brightness).unwrap();
        // Half of the last printed digit.
        assert_abs_diff_eq!(found.0, mean, epsilon = 6e-3);
    }
    // The size of M27 is from memory, as it was there. The catalogue has its lines.
    let [a, b] = [8.0, 5.7].map(|side| Arcseconds(60.0 * side));
    assert_abs_diff_eq!(mean_surface_brightness(Magnitudes(7.4), a, b).0, 20.18, epsilon = 6e-3);
    assert!(object("M27").is_some_and(|nebula| nebula.surface_brightness().is_none() && nebula.lines.is_some()));
}

/// Other lists print other sizes: the uncertainty that the catalogue states must hold the difference.
#[test]
fn lists_differ_by_what_the_catalogue_admits() {
    for (name, published) in [("M31", 22.19), ("M33", 23.0), ("M51", 21.74)] {
        let found = object(name).and_then(Object::surface_brightness).unwrap();
        assert!((found.0 - published).abs() <= 2.0 * CATALOGUE_UNCERTAINTY.0, "{name} {}", found.0);
    }
}

/// The constants of the definition: sizes in arcminutes, and per square arcminute. Two nebulae, for which the number says
/// nothing (their cores are brighter by magnitudes, lists differ by a factor of three in size).
#[test]
fn constants_and_two_nebulae() {
    let minute = Arcseconds(60.0);
    let of = |magnitude, a: f64, b: f64| mean_surface_brightness(Magnitudes(magnitude), minute * a, minute * b).0;
    assert_abs_diff_eq!(of(0.0, 1.0, 1.0), 8.6285, epsilon = 6e-5);
    assert_abs_diff_eq!(2.5 * 3600_f64.log10(), 8.8908, epsilon = 6e-5);
    for (magnitude, a, b, mean) in [(4.0, 90.0, 60.0, 21.96), (4.0, 120.0, 30.0, 21.52), (4.0, 120.0, 100.0, 22.83)] {
        assert_abs_diff_eq!(of(magnitude, a, b), mean, epsilon = 6e-3);
    }
    assert_eq!(object("NGC 7000").and_then(Object::surface_brightness), None);
}
