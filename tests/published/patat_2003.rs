//! Extinction measured at two observatories: Patat 2003, A&A 400, 1183, table A.1 (2635 m), and the mean extinction
//! table of Palomar (1700 m), from a public copy that goes back to Hayes & Latham 1975, ApJ 197, 593.

use approx::assert_abs_diff_eq;
use subwell::sky::night::scattering_airmass;
use subwell::sky::{clear_night_extinction, natural_brightening};
use subwell::units::{Degrees, Magnitudes, Metres, Nanometres};

/// A mean model against the mean of real nights; haze alone moves extinction by more.
const REAL_NIGHTS: f64 = 0.012;

#[test]
fn six_wavelengths_at_1700_m() {
    let measured = [(440.0, 0.267), (500.0, 0.178), (540.0, 0.156), (560.0, 0.150), (650.0, 0.085), (682.0, 0.078)];
    for (wavelength, extinction) in measured {
        let model = clear_night_extinction(Nanometres(wavelength), Metres(1700.0));
        assert_abs_diff_eq!(model.0, extinction, epsilon = REAL_NIGHTS);
    }
}

/// B 0.22 to 0.25, V 0.09 to 0.11, R 0.07, I 0.05 to 0.07.
#[test]
fn four_bands_at_2635_m() {
    let measured = [(438.0, 0.22, 0.25), (545.0, 0.09, 0.11), (641.0, 0.07, 0.07), (798.0, 0.05, 0.07)];
    for (wavelength, low, high) in measured {
        let model = clear_night_extinction(Nanometres(wavelength), Metres(2635.0)).0;
        assert!((low - 2.0 * REAL_NIGHTS..=high + 2.0 * REAL_NIGHTS).contains(&model), "{wavelength}: {model}");
    }
}

/// The model itself, evaluated apart from this program with ozone in the bands alone, to the printed digits: 1700 m,
/// 2635 m and sea level on an average night.
#[test]
fn the_model_at_three_heights() {
    let rows = [
        (1700.0, 438.0, 0.263, 0.0006),
        (1700.0, 500.0, 0.177, 0.0016),
        (1700.0, 550.0, 0.150, 0.0006),
        (1700.0, 656.0, 0.089, 0.0006),
        (2635.0, 438.0, 0.22, 0.006),
        (2635.0, 545.0, 0.125, 0.0006),
        (2635.0, 641.0, 0.08, 0.006),
        (2635.0, 798.0, 0.03, 0.006),
        (0.0, 438.0, 0.41, 0.006),
        (0.0, 501.0, 0.29, 0.006),
        (0.0, 550.0, 0.24, 0.006),
        (0.0, 641.0, 0.17, 0.006),
        (0.0, 656.0, 0.16, 0.006),
        (0.0, 798.0, 0.09, 0.006),
        (1700.0, 501.0, 0.18, 0.006),
        (1700.0, 798.0, 0.04, 0.006),
    ];
    for (height, wavelength, extinction, printed) in rows {
        let model = clear_night_extinction(Nanometres(wavelength), Metres(height)).0;
        assert!((model - extinction).abs() < printed, "{height} m, {wavelength} nm: {model}");
    }
}

/// A layer of light at one height: van Rhijn's law, `[1 − (R sin z/(R + H))²]^−½` with R = 6371 km.
fn van_rhijn(zenith: f64, layer_km: f64) -> f64 {
    let inner = 6371.0 * zenith.to_radians().sin() / (6371.0 + layer_km);
    (1.0 - inner * inner).sqrt().recip()
}

/// Appendix C: the airmass of scattering is van Rhijn's law for a layer about 130 km high. The printed columns for 100
/// and 250 km check the formula above.
#[test]
fn the_airmass_of_scattering_is_a_layer_at_130_km() {
    let rows = [
        (60.0, 1.1488, 1.1407),
        (30.0, 1.9139, 1.8090),
        (20.0, 2.6347, 2.3414),
        (10.0, 4.0860, 3.1310),
        (5.0, 5.1278, 3.5109),
    ];
    for (altitude, low, high) in rows {
        let zenith = 90.0 - altitude;
        assert_abs_diff_eq!(van_rhijn(zenith, 100.0), low, epsilon = 6e-5);
        assert_abs_diff_eq!(van_rhijn(zenith, 250.0), high, epsilon = 6e-5);
        let found = scattering_airmass(Degrees(zenith));
        // "About 130 km": at 5° a kilometre is 0.3 % of the air.
        assert!((found / van_rhijn(zenith, 130.0) - 1.0).abs() < 0.005, "{altitude}: {found}");
        assert!((high..low).contains(&found), "{altitude}: {found}");
    }
}

/// Appendix C, table C.1 with f = 0.6: the natural sky brightens with the zenith distance (k = 0.22, 0.11, 0.07 in B,
/// V, R). Rows to 50° are the paper's, that of 60° is the formula's, computed apart from this program.
#[test]
fn the_natural_sky_away_from_the_zenith() {
    let rows = [
        (30.0, [0.059, 0.076, 0.082], 6e-4),
        (40.0, [0.11, 0.14, 0.15], 6e-3),
        (50.0, [0.18, 0.24, 0.26], 6e-3),
        (60.0, [0.269, 0.367, 0.402], 6e-4),
    ];
    for (zenith, bands, printed) in rows {
        for (extinction, brighter) in [0.22, 0.11, 0.07].into_iter().zip(bands) {
            let found = natural_brightening(Degrees(zenith), Magnitudes(extinction));
            assert_abs_diff_eq!(found.0, brighter, epsilon = printed);
        }
    }
}
