//! Which part of the spectrum a plane of the sensor sees, and the emission lines in it.

use std::sync::Arc;

use super::Nanometres;

/// Each window is looked at in so many steps, whatever its width: a sum that never changes its points is smooth in both ends.
const STEPS: u32 = 64;

/// Which part of the spectrum a plane sees: wavelengths with weights that add up to 1. Sky and target are both seen through it:
/// the mean of any spectrum over a band is one sum.
///
/// # Examples
/// ```
/// use subwell::units::{Band, Nanometres};
/// let band = Band::window(Nanometres(550.0), Nanometres(300.0));
/// assert!((band.mean(|nm| nm.0) - 550.0).abs() < 1e-9);
/// assert!((band.width().0 - 300.0).abs() < 0.1);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    points: Arc<[(f64, f64)]>,
    centre: f64,
    width: f64,
}

impl Band {
    /// One wavelength.
    #[must_use]
    pub fn line(at: Nanometres) -> Self {
        Self { points: Arc::new([(at.0, 1.0)]), centre: at.0, width: 0.0 }
    }

    /// A window that lets all of its wavelengths through alike.
    #[must_use]
    pub fn window(centre: Nanometres, width: Nanometres) -> Self {
        Self::weighted(centre, width, |_| 1.0).unwrap_or_else(|| Self::line(centre))
    }

    /// A window through which a response sees its wavelengths; `None` where it sees none.
    #[must_use]
    pub fn weighted(centre: Nanometres, width: Nanometres, response: impl Fn(Nanometres) -> f64) -> Option<Self> {
        let step = width.0 / f64::from(STEPS);
        let middles = (0..STEPS).map(|i| centre.0 - width.0 / 2.0 + step * (f64::from(i) + 0.5));
        Self::from_weights(middles.map(|nm| (nm, response(Nanometres(nm)))).collect())
    }

    /// Wavelengths in nm with weights of any sum; `None` unless that is above 0.
    #[must_use]
    pub fn from_weights(mut points: Vec<(f64, f64)>) -> Option<Self> {
        let sum: f64 = points.iter().map(|(_, weight)| weight).sum();
        if !(sum > 0.0 && sum.is_finite()) {
            return None;
        }
        points.iter_mut().for_each(|(_, weight)| *weight /= sum);
        let mean = |of: &dyn Fn(f64) -> f64| points.iter().map(|(nm, weight)| weight * of(*nm)).sum::<f64>();
        let centre = mean(&|nm| nm);
        let width = (12.0 * mean(&|nm| (nm - centre).powi(2))).sqrt();
        Some(Self { points: points.into(), centre, width })
    }

    /// The mean of a spectrum over the band.
    #[must_use]
    pub fn mean(&self, spectrum: impl Fn(Nanometres) -> f64) -> f64 {
        self.points.iter().map(|(nm, weight)| weight * spectrum(Nanometres(*nm))).sum()
    }

    /// Its mean wavelength.
    #[must_use]
    pub fn centre(&self) -> Nanometres {
        Nanometres(self.centre)
    }

    /// The width of the even window that is spread as far: √12 standard deviations.
    #[must_use]
    pub fn width(&self) -> Nanometres {
        Nanometres(self.width)
    }
}

/// The emission lines of nebulae that a filter can be after.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EmissionLine {
    /// Hβ
    HBeta,
    /// The weaker one of the [O III] pair.
    OiiiWeak,
    /// The stronger one of the [O III] pair.
    Oiii,
    /// The weaker one of the [N II] pair.
    NiiWeak,
    /// Hα
    HAlpha,
    /// The stronger one of the [N II] pair.
    Nii,
    /// The first one of the [S II] pair.
    SiiFirst,
    /// The second one of the [S II] pair.
    SiiSecond,
}

impl EmissionLine {
    /// All of them, from blue to red.
    pub const ALL: [Self; 8] = [
        Self::HBeta,
        Self::OiiiWeak,
        Self::Oiii,
        Self::NiiWeak,
        Self::HAlpha,
        Self::Nii,
        Self::SiiFirst,
        Self::SiiSecond,
    ];

    /// Its wavelength in air (NIST Atomic Spectra Database).
    #[must_use]
    pub fn wavelength(self) -> Nanometres {
        Nanometres(match self {
            Self::HBeta => 486.1,
            Self::OiiiWeak => 495.9,
            Self::Oiii => 500.7,
            Self::NiiWeak => 654.8,
            Self::HAlpha => 656.3,
            Self::Nii => 658.3,
            Self::SiiFirst => 671.6,
            Self::SiiSecond => 673.1,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_weight_is_no_band() {
        assert_eq!(Band::from_weights(vec![(500.0, 0.0)]), None);
        assert_eq!(Band::from_weights(vec![(500.0, f64::NAN)]), None);
        assert_eq!(Band::from_weights(Vec::new()), None);
    }

    #[test]
    fn two_halves_see_what_the_whole_sees() {
        let spectrum = |nm: Nanometres| (nm.0 / 80.0).sin() + 2.0;
        let mean = |centre: f64, width: f64| Band::window(Nanometres(centre), Nanometres(width)).mean(spectrum);
        let halves = (mean(525.0, 50.0) + mean(575.0, 50.0)) / 2.0;
        approx::assert_relative_eq!(halves, mean(550.0, 100.0), max_relative = 1e-4);
    }
}
