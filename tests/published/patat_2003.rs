//! Extinction measured at two observatories: Patat 2003, A&A 400, 1183, table A.1 (2635 m), and the mean extinction
//! table of Palomar (1700 m), from a public copy that goes back to Hayes & Latham 1975, ApJ 197, 593.

use approx::assert_abs_diff_eq;
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
