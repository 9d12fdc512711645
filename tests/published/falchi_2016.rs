//! Luminance and the artificial ratio: Falchi et al. 2016, Science Advances 2, e1600377, and the trade's conversion of
//! magnitudes into cd/m². Values computed apart from this program.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::sky::{artificial_ratio, from_luminance, luminance};
use subwell::units::{CandelasPerSquareMetre, MagnitudesPerSquareArcsecond};

/// "22 mag/arcsec² in V, or about 1.7·10⁻⁴ cd/m²".
#[test]
fn the_natural_sky() {
    let natural = luminance(MagnitudesPerSquareArcsecond(22.0));
    assert_eq!(format!("{:.1e}", natural.0), "1.7e-4");
}

#[test]
fn luminance_of_five_skies() {
    let skies = [
        (22.0, 0.000_171_168_464_785_8),
        (21.0, 0.000_429_955_744_197_776_63),
        (20.0, 0.001_08),
        (18.5, 0.004_299_557_441_977_767),
        (17.0, 0.017_116_846_478_579_997),
    ];
    for (magnitude, candela) in skies {
        let found = luminance(MagnitudesPerSquareArcsecond(magnitude));
        assert_relative_eq!(found.0, candela, max_relative = 1e-12);
        assert_abs_diff_eq!(from_luminance(found).unwrap().0, magnitude, epsilon = 1e-9);
    }
    assert_abs_diff_eq!(from_luminance(CandelasPerSquareMetre(174e-6)).unwrap().0, 21.982, epsilon = 6e-4);
    assert_eq!(from_luminance(CandelasPerSquareMetre(0.0)), None);
}

#[test]
fn artificial_over_natural() {
    for (magnitude, ratio) in [(21.0, 1.512), (20.0, 5.310), (19.0, 14.85), (18.5, 24.12), (18.0, 38.81)] {
        assert_relative_eq!(artificial_ratio(MagnitudesPerSquareArcsecond(magnitude)), ratio, max_relative = 4e-4);
    }
    assert_eq!(artificial_ratio(MagnitudesPerSquareArcsecond(22.4)), 0.0);
}
