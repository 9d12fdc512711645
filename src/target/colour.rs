//! The colour of a target's continuum: how many photons per nm it gives a band against V, at equal V magnitude.

use serde::{Deserialize, Serialize};

use crate::stats::Estimate;
use crate::units::{Band, Nanometres};

/// Where V lies: Bessell, Castelli & Plez 1998, A&A 333, 231.
const V: [Nanometres; 2] = [Nanometres(545.0), Nanometres(85.0)];
/// Planck's second constant, h c/k (CODATA), in nm K.
const SECOND_RADIATION: f64 = 1.438_777e7;
/// A star or galaxy is no black body: relative standard uncertainty of the factor beside that of the colour, derived here from
/// the solar spectrum, whose factors in boxes of the trade's filters are met within 3 %.
const NOT_BLACK: f64 = 0.03;

/// Words for a target's colour: `colour` under `[target]`.
///
/// # Source
/// Mean B−V of kinds of objects, from memory: galaxies by type as Roberts & Haynes 1994, ARA&A 32, 115, give them; the others
/// common knowledge of the field.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum ColourName {
    /// A star like the Sun, and what nobody knows better: most galaxies and dust lie about it.
    #[default]
    #[serde(alias = "sun", alias = "sun like", alias = "galaxy")]
    SunLike,
    /// An elliptical or lenticular galaxy, or the core of a spiral.
    Elliptical,
    /// A spiral galaxy.
    Spiral,
    /// An irregular galaxy, or the outer arms of a late spiral.
    Irregular,
    /// Dust that scatters the light of young stars.
    #[serde(alias = "reflection nebula", alias = "reflection-nebula")]
    Reflection,
    /// An open cluster.
    #[serde(alias = "star cluster", alias = "open-cluster", alias = "open cluster")]
    StarCluster,
    /// A globular cluster.
    #[serde(alias = "globular-cluster", alias = "globular cluster")]
    Globular,
    /// The continuum of glowing gas with the young stars in it; its lines are no colour.
    #[serde(alias = "H II", alias = "HII", alias = "hii", alias = "h ii")]
    HIi,
}

impl ColourName {
    /// B−V and its standard uncertainty from object to object.
    #[must_use]
    pub fn b_minus_v(self) -> (f64, f64) {
        match self {
            Self::SunLike => (0.65, 0.2),
            Self::Elliptical => (0.92, 0.08),
            Self::Spiral => (0.65, 0.15),
            Self::Irregular => (0.42, 0.12),
            Self::Reflection => (0.10, 0.25),
            Self::StarCluster => (0.50, 0.3),
            Self::Globular => (0.70, 0.12),
            Self::HIi => (0.30, 0.3),
        }
    }

    /// The word in the night file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::SunLike => "sun-like",
            Self::Elliptical => "elliptical",
            Self::Spiral => "spiral",
            Self::Irregular => "irregular",
            Self::Reflection => "reflection",
            Self::StarCluster => "star-cluster",
            Self::Globular => "globular",
            Self::HIi => "h-ii",
        }
    }
}

/// A target's colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TargetColour {
    /// B−V.
    pub b_minus_v: f64,
    /// Its standard uncertainty; 0 where it was typed.
    pub spread: f64,
}

impl From<ColourName> for TargetColour {
    fn from(name: ColourName) -> Self {
        let (b_minus_v, spread) = name.b_minus_v();
        Self { b_minus_v, spread }
    }
}

impl TargetColour {
    /// Photons per nm in a band over those in V, at equal V magnitude: those of the black body of this B−V.
    ///
    /// ```text
    /// T = 4600 K (1/(0.92 (B−V) + 1.7) + 1/(0.92 (B−V) + 0.62))
    /// n(λ) ∝ λ^−4/(exp(hc/λkT) − 1)
    /// ```
    ///
    /// Stops being true below 400 nm, where stars are darker than black bodies, and in lines.
    ///
    /// # Source
    /// Ballesteros 2012, EPL 97, 34008 (from memory); Planck's law.
    ///
    /// # Examples
    /// ```
    /// use subwell::{target::{ColourName, TargetColour}, units::{Band, Nanometres}};
    /// let blue = Band::window(Nanometres(450.0), Nanometres(108.0));
    /// let sun = TargetColour::from(ColourName::SunLike).factor(&blue);
    /// assert!((sun.value - 0.82).abs() < 0.02);
    /// ```
    #[must_use]
    pub fn factor(&self, band: &Band) -> Estimate<f64> {
        let of = |b_minus_v: f64| against_v(kelvin(b_minus_v), band);
        let by_colour = (of(self.b_minus_v - self.spread) / of(self.b_minus_v + self.spread)).ln().abs() / 2.0;
        Estimate::within_factor(of(self.b_minus_v), by_colour.hypot(NOT_BLACK))
    }
}

/// The black body that has this B−V.
fn kelvin(b_minus_v: f64) -> f64 {
    let colour = 0.92 * b_minus_v.clamp(-0.4, 2.0);
    4600.0 * (1.0 / (colour + 1.7) + 1.0 / (colour + 0.62))
}

/// A black body's photons per nm in a band over those in V.
fn against_v(kelvin: f64, band: &Band) -> f64 {
    let photons = |nm: Nanometres| nm.0.powi(-4) / ((SECOND_RADIATION / (nm.0 * kelvin)).exp() - 1.0);
    band.mean(photons) / Band::window(V[0], V[1]).mean(photons)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sun_has_its_temperature() {
        approx::assert_relative_eq!(kelvin(0.65), 5778.0, max_relative = 0.002);
    }

    #[test]
    fn in_v_every_colour_is_one() {
        for b_minus_v in [-0.3, 0.0, 0.65, 1.5] {
            let v = TargetColour { b_minus_v, spread: 0.0 }.factor(&Band::window(V[0], V[1]));
            approx::assert_relative_eq!(v.value, 1.0, max_relative = 1e-12);
        }
    }

    /// Photons per nm of the solar spectrum over those in V in the trade's boxes, integrated apart from this program.
    #[test]
    fn the_sun_in_the_trades_filters() {
        for (low, high, factor) in
            [(400.0, 500.0, 0.83), (500.0, 580.0, 0.99), (590.0, 690.0, 1.02), (400.0, 700.0, 0.95)]
        {
            let band = Band::window(Nanometres((low + high) / 2.0), Nanometres(high - low));
            let found = TargetColour { b_minus_v: 0.65, spread: 0.0 }.factor(&band).value;
            approx::assert_relative_eq!(found, factor, max_relative = 0.035);
        }
    }

    #[test]
    fn a_red_target_is_faint_in_blue_and_a_blue_one_bright() {
        let blue = Band::window(Nanometres(450.0), Nanometres(108.0));
        let factor = |name| TargetColour::from(name).factor(&blue).value;
        assert!(factor(ColourName::Elliptical) < factor(ColourName::Spiral));
        assert!(factor(ColourName::Reflection) > 1.05);
    }
}
