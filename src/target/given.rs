//! `[target]` of `night.toml`.

use serde::{Deserialize, Serialize};

use crate::units::{Arcseconds, Degrees, Magnitudes, MagnitudesPerSquareArcsecond, Rayleighs};

/// The altitude that is assumed where none is given.
pub const DEFAULT_ALTITUDE: Degrees = Degrees(50.0);

/// Why a target cannot be used as given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TargetError {
    /// Nothing says how bright it is.
    #[error("the target has no brightness")]
    NoBrightness,
    /// Only a name, and no catalogue to look it up in.
    #[error("the target has only the name `{name}`, and the catalogue is not built yet")]
    NameOnly {
        /// The name that was given.
        name: String,
    },
    /// A number that no target has.
    #[error("`{key}` is {found}, it must lie between {low} and {high}")]
    OutOfRange {
        /// The key in `night.toml`.
        key: &'static str,
        /// What was given.
        found: f64,
        /// The least that makes sense.
        low: f64,
        /// The most that makes sense.
        high: f64,
    },
}

impl TargetError {
    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::NoBrightness | Self::NameOnly { .. } => {
                "give surface_brightness_mag under [target], such as 22.8, or line_rayleigh for an emission nebula"
                    .into()
            }
            Self::OutOfRange { key, .. } => format!("correct `{key}` under [target]"),
        }
    }
}

/// `[target]`: what is photographed, and how high it stands.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// Its name; a catalogue for it is still to come.
    pub name: Option<String>,
    /// Surface brightness of its continuum in V, outside the atmosphere.
    pub surface_brightness_mag: Option<MagnitudesPerSquareArcsecond>,
    /// Surface brightness of each line it shines in, outside the atmosphere.
    pub line_rayleigh: Option<Rayleighs>,
    /// Surface brightness of its core, where a second, short set is wanted.
    pub core_surface_brightness_mag: Option<MagnitudesPerSquareArcsecond>,
    /// Its mean altitude while it is photographed, where no position, date and place say more.
    pub altitude_deg: Option<Degrees>,
    /// Right ascension, J2000, beside `dec_deg`.
    pub ra_deg: Option<Degrees>,
    /// Declination, J2000.
    pub dec_deg: Option<Degrees>,
    /// The least altitude at which it is photographed, horizon or not.
    pub min_altitude_deg: Option<Degrees>,
}

impl Target {
    /// Checks what the types cannot.
    ///
    /// # Errors
    /// When there is no brightness, only a name, or a number that no target has.
    pub fn check(&self) -> Result<(), TargetError> {
        let numbers = [
            ("surface_brightness_mag", self.surface_brightness_mag.map(|q| q.0), -5.0, 35.0),
            ("line_rayleigh", self.line_rayleigh.map(|q| q.0), 1e-3, 1e9),
            ("core_surface_brightness_mag", self.core_surface_brightness_mag.map(|q| q.0), -5.0, 35.0),
            ("altitude_deg", self.altitude_deg.map(|q| q.0), 0.0, 90.0),
            ("ra_deg", self.ra_deg.map(|q| q.0), 0.0, 360.0),
            ("dec_deg", self.dec_deg.map(|q| q.0), -90.0, 90.0),
            ("min_altitude_deg", self.min_altitude_deg.map(|q| q.0), 0.0, 90.0),
        ];
        for (key, value, low, high) in numbers {
            let Some(found) = value else { continue };
            if !(low..=high).contains(&found) {
                return Err(TargetError::OutOfRange { key, found, low, high });
            }
        }
        match (&self.name, self.surface_brightness_mag, self.line_rayleigh) {
            (Some(name), None, None) => Err(TargetError::NameOnly { name: name.clone() }),
            (None, None, None) => Err(TargetError::NoBrightness),
            _ => Ok(()),
        }
    }

    /// How bright it is outside the atmosphere; each filter uses what applies.
    ///
    /// # Errors
    /// As [`Target::check`].
    ///
    /// # Examples
    /// ```
    /// use subwell::{target::Target, units::Rayleighs};
    /// let nebula = Target { line_rayleigh: Some(Rayleighs(100.0)), ..Target::default() };
    /// assert_eq!(nebula.brightness()?.line, Some(Rayleighs(100.0)));
    /// let named = Target { name: Some("M33".into()), ..Target::default() };
    /// assert!(named.brightness().unwrap_err().hint().contains("surface_brightness_mag"));
    /// # Ok::<(), subwell::target::TargetError>(())
    /// ```
    pub fn brightness(&self) -> Result<Brightness, TargetError> {
        self.check()?;
        Ok(Brightness { continuum: self.surface_brightness_mag, line: self.line_rayleigh })
    }

    /// The altitude, or [`DEFAULT_ALTITUDE`].
    #[must_use]
    pub fn altitude(&self) -> Degrees {
        self.altitude_deg.unwrap_or(DEFAULT_ALTITUDE)
    }
}

/// A target's light outside the atmosphere; at least one of the two is there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brightness {
    /// Stars and dust, in V.
    pub continuum: Option<MagnitudesPerSquareArcsecond>,
    /// Each emission line: a line filter sees its own, any other filter takes the number as Hα.
    pub line: Option<Rayleighs>,
}

/// The mean surface brightness of an ellipse that holds all the light of a magnitude.
///
/// ```text
/// μ = m + 2.5 log₁₀(π/4 · a · b)
/// ```
///
/// `a` and `b` are the whole axes. Catalogue sizes differ by 0.3 to 0.8 mag in the result, and a core is brighter by
/// magnitudes; of emission nebulae it says nothing.
///
/// # Source
/// The definition.
#[must_use]
pub fn mean_surface_brightness(magnitude: Magnitudes, a: Arcseconds, b: Arcseconds) -> MagnitudesPerSquareArcsecond {
    MagnitudesPerSquareArcsecond(magnitude.0 + 2.5 * (std::f64::consts::FRAC_PI_4 * a.0 * b.0).log10())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_target_without_light_is_refused() {
        assert_eq!(Target::default().check(), Err(TargetError::NoBrightness));
    }

    #[test]
    fn a_target_in_the_ground_is_refused() {
        let target =
            Target { line_rayleigh: Some(Rayleighs(10.0)), altitude_deg: Some(Degrees(-3.0)), ..Target::default() };
        assert!(matches!(target.check(), Err(TargetError::OutOfRange { key: "altitude_deg", .. })));
    }

    #[test]
    fn an_unknown_key_is_refused() {
        assert!(toml::from_str::<Target>("brightness = 22.0").is_err());
    }
}
