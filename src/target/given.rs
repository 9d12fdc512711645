//! `[target]` of `night.toml`.

use serde::{Deserialize, Serialize};

use super::catalogue::{CATALOGUE_UNCERTAINTY, Object, ObjectKind, nearest_name, object};
use crate::keys::{check_all, key};
use crate::reading::OutOfRange;
use crate::units::{
    Arcseconds, Degrees, EmissionMeasure, Magnitudes, MagnitudesPerSquareArcsecond, Quantity, Rayleighs,
};

/// The altitude that is assumed where none is given.
pub const DEFAULT_ALTITUDE: Degrees = Degrees(key!(NIGHT, "target.altitude_deg").number());

/// Temperature of the gas to which an emission measure is taken: a usual nebula, common practice, no source.
pub const NEBULA_KELVIN: f64 = 8000.0;

const GIVE_BRIGHTNESS: &str =
    "give surface_brightness_mag under [target], such as 22.8, or line_rayleigh for an emission nebula";

/// Why a target cannot be used as given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TargetError {
    /// Nothing says how bright it is.
    #[error("the target has no brightness")]
    NoBrightness,
    /// Its line twice.
    #[error("`line_rayleigh` and `emission_measure_pc_cm6` both say how bright the line is")]
    LineTwice,
    /// Only a name, and it is not in the catalogue.
    #[error("the target has only the name `{name}`, which is not in the catalogue")]
    UnknownName {
        /// The name that was given.
        name: String,
        /// The name of the catalogue that looks most like it.
        nearest: &'static str,
    },
    /// Only a name, and the catalogue's brightness of it would say nothing.
    #[error("no catalogue brightness of {name} means anything: a magnitude over its size says nothing of its light")]
    NoMeaningfulBrightness {
        /// The object's name.
        name: &'static str,
        /// What it is.
        kind: ObjectKind,
    },
    /// A number that no target has.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
}

impl TargetError {
    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::NoBrightness => GIVE_BRIGHTNESS.into(),
            Self::UnknownName { nearest, .. } => format!("{GIVE_BRIGHTNESS}; the nearest known name is `{nearest}`"),
            Self::NoMeaningfulBrightness { kind: ObjectKind::Emission | ObjectKind::Remnant, .. } => {
                "give line_rayleigh under [target] (from a map in rayleighs; bright nebulae have 200 to 1000), or \
                 surface_brightness_mag measured on a frame of your own"
                    .into()
            }
            Self::NoMeaningfulBrightness { .. } => {
                "give surface_brightness_mag under [target], as measured on a frame: the catalogue has only its stars"
                    .into()
            }
            Self::LineTwice => "leave one of them out".into(),
            Self::OutOfRange(error) => error.hint(),
        }
    }
}

/// `[target]`: what is photographed, and how high it stands.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// Its name; without a brightness it is looked up in the catalogue.
    pub name: Option<String>,
    /// Surface brightness of its continuum in V, outside the atmosphere.
    pub surface_brightness_mag: Option<MagnitudesPerSquareArcsecond>,
    /// Surface brightness of each line it shines in, outside the atmosphere.
    pub line_rayleigh: Option<Rayleighs>,
    /// The same as an emission measure, taken to H-alpha for gas of 8,000 K.
    pub emission_measure_pc_cm6: Option<EmissionMeasure>,
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
    /// When there is no brightness, only a name that is not in the catalogue or has no brightness there, or a number
    /// that no target has.
    pub fn check(&self) -> Result<(), TargetError> {
        check_all([
            (key!(NIGHT, "target.surface_brightness_mag"), self.surface_brightness_mag.map(Quantity::get)),
            (key!(NIGHT, "target.line_rayleigh"), self.line_rayleigh.map(Quantity::get)),
            (key!(NIGHT, "target.emission_measure_pc_cm6"), self.emission_measure_pc_cm6.map(Quantity::get)),
            (key!(NIGHT, "target.core_surface_brightness_mag"), self.core_surface_brightness_mag.map(Quantity::get)),
            (key!(NIGHT, "target.altitude_deg"), self.altitude_deg.map(Quantity::get)),
            (key!(NIGHT, "target.ra_deg"), self.ra_deg.map(Quantity::get)),
            (key!(NIGHT, "target.dec_deg"), self.dec_deg.map(Quantity::get)),
            (key!(NIGHT, "target.min_altitude_deg"), self.min_altitude_deg.map(Quantity::get)),
        ])?;
        if self.line_rayleigh.is_some() && self.emission_measure_pc_cm6.is_some() {
            return Err(TargetError::LineTwice);
        }
        if self.gives_brightness() { Ok(()) } else { self.catalogue_brightness().map(|_| ()) }
    }

    /// The catalogue's entry of this name; `None` without a name, or with one of its own.
    #[must_use]
    pub fn object(&self) -> Option<&'static Object> {
        self.name.as_deref().and_then(object)
    }

    /// Whether its brightness comes from the catalogue: named, and no brightness given.
    #[must_use]
    pub fn from_catalogue(&self) -> bool {
        self.name.is_some() && !self.gives_brightness()
    }

    fn gives_brightness(&self) -> bool {
        self.surface_brightness_mag.is_some() || self.line().is_some()
    }

    /// The surface brightness of each line it shines in, in whatever unit it was given.
    #[must_use]
    pub fn line(&self) -> Option<Rayleighs> {
        self.line_rayleigh.or(self.emission_measure_pc_cm6.map(|measure| measure.h_alpha(NEBULA_KELVIN)))
    }

    fn catalogue_brightness(&self) -> Result<MagnitudesPerSquareArcsecond, TargetError> {
        let name = self.name.as_deref().ok_or(TargetError::NoBrightness)?;
        let unknown = || TargetError::UnknownName { name: name.to_owned(), nearest: nearest_name(name) };
        let object = object(name).ok_or_else(unknown)?;
        let nothing = TargetError::NoMeaningfulBrightness { name: object.name(), kind: object.kind };
        object.surface_brightness().ok_or(nothing)
    }

    /// How bright it is outside the atmosphere; each filter uses what applies. Without a brightness of its own the
    /// mean of the catalogue's ellipse.
    ///
    /// # Errors
    /// As [`Target::check`].
    ///
    /// # Examples
    /// ```
    /// use subwell::{target::Target, units::Rayleighs};
    /// let nebula = Target { line_rayleigh: Some(Rayleighs(100.0)), ..Target::default() };
    /// assert_eq!(nebula.brightness()?.line, Some(Rayleighs(100.0)));
    /// let galaxy = Target { name: Some("M33".into()), ..Target::default() };
    /// assert!((galaxy.brightness()?.continuum.unwrap().0 - 22.81).abs() < 0.005);
    /// let gas = Target { name: Some("NGC 7000".into()), ..Target::default() };
    /// assert!(gas.brightness().unwrap_err().hint().contains("line_rayleigh"));
    /// # Ok::<(), subwell::target::TargetError>(())
    /// ```
    pub fn brightness(&self) -> Result<Brightness, TargetError> {
        self.check()?;
        if self.from_catalogue() {
            let continuum = Some(self.catalogue_brightness()?);
            return Ok(Brightness { continuum, line: None, uncertainty: CATALOGUE_UNCERTAINTY });
        }
        let (continuum, line) = (self.surface_brightness_mag, self.line());
        Ok(Brightness { continuum, line, uncertainty: Magnitudes(0.0) })
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
    /// One standard uncertainty of the brightness itself: 0 where it was typed, for it then defines the goal.
    pub uncertainty: Magnitudes,
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
        assert!(matches!(target.check(), Err(TargetError::OutOfRange(error)) if error.key == "target.altitude_deg"));
    }

    #[test]
    fn a_line_is_given_once() {
        let target = Target { emission_measure_pc_cm6: Some(EmissionMeasure(225.0)), ..Target::default() };
        approx::assert_relative_eq!(target.brightness().unwrap().line.unwrap().0, 100.0, max_relative = 1e-3);
        let twice = Target { line_rayleigh: Some(Rayleighs(10.0)), ..target };
        assert_eq!(twice.check(), Err(TargetError::LineTwice));
    }

    #[test]
    fn an_unknown_key_is_refused() {
        assert!(toml::from_str::<Target>("brightness = 22.0").is_err());
    }
}
