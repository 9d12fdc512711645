//! Rayleigh scattering at sea level: Bodhaine et al. 1999, J. Atmos. Oceanic Technol. 16, 1854; their formula evaluated
//! apart from this program.

use approx::assert_relative_eq;
use subwell::sky::{air_extinction, clear_night_extinction};
use subwell::units::{Metres, Nanometres};

/// λ^−4 with one constant against the full law, whose exponent is 4.08.
const ONE_EXPONENT: f64 = 0.04;

#[test]
fn six_bands_of_clean_air() {
    let bands = [(359.8, 0.608), (438.0, 0.263), (501.0, 0.155), (550.0, 0.105), (656.0, 0.051), (798.0, 0.024)];
    for (wavelength, extinction) in bands {
        let air = air_extinction(Nanometres(wavelength), Metres(0.0));
        assert_relative_eq!(air.0, extinction, max_relative = ONE_EXPONENT);
        assert!(clear_night_extinction(Nanometres(wavelength), Metres(0.0)) > air, "haze comes on top");
    }
}
