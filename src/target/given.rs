//! `[target]` of `night.toml`.

use serde::{Deserialize, Serialize};

use super::catalogue::{CATALOGUE_UNCERTAINTY, Object, ObjectKind, nearest_name, object};
use super::colour::{ColourName, TargetColour};
use super::place::{declination, right_ascension};
use crate::keys::{check_all, key};
use crate::reading::OutOfRange;
use crate::stats::Estimate;
use crate::units::{
    Arcseconds, Degrees, EmissionLine, EmissionMeasure, Magnitudes, MagnitudesPerSquareArcsecond, Quantity, Rayleighs,
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
    /// Its colour twice.
    #[error("`colour` and `b_minus_v` both say what colour it has")]
    ColourTwice,
    /// A place that is no place.
    #[error("`{key}` is `{found}`, which is no place on the sky")]
    NoPlace {
        /// The key.
        key: &'static str,
        /// What was written.
        found: String,
    },
    /// A coordinate twice.
    #[error("`{one}` and `{other}` both say where it is")]
    PlaceTwice {
        /// One key.
        one: &'static str,
        /// The other key.
        other: &'static str,
    },
    /// One coordinate alone.
    #[error("a right ascension and a declination stand beside each other, and only one of them is given")]
    HalfAPlace,
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
            Self::LineTwice | Self::ColourTwice | Self::PlaceTwice { .. } => "leave one of them out".into(),
            Self::NoPlace { .. } => "write ra = \"20h 59m 17s\" and dec = \"+44 31 44\", or ra_deg and dec_deg".into(),
            Self::HalfAPlace => "give both: ra or ra_h or ra_deg, and dec or dec_deg".into(),
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
    /// Right ascension, J2000, in degrees; `ra_h` and `ra` are other ways to write it.
    pub ra_deg: Option<Degrees>,
    /// Declination, J2000, in degrees; or `dec`.
    pub dec_deg: Option<Degrees>,
    /// Right ascension in hours.
    pub ra_h: Option<f64>,
    /// Right ascension as text: `"20h 59m 17s"`, `"20:59:17"`, or `"314.8°"`.
    pub ra: Option<String>,
    /// Declination as text: `"+44° 31' 44\""` or `"44:31:44"`.
    pub dec: Option<String>,
    /// The colour of its continuum in a word, where it is not its catalogue entry's.
    pub colour: Option<ColourName>,
    /// The same as B−V.
    pub b_minus_v: Option<f64>,
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
            (key!(NIGHT, "target.ra_h"), self.ra_h),
            (key!(NIGHT, "target.b_minus_v"), self.b_minus_v),
            (key!(NIGHT, "target.min_altitude_deg"), self.min_altitude_deg.map(Quantity::get)),
        ])?;
        if self.line_rayleigh.is_some() && self.emission_measure_pc_cm6.is_some() {
            return Err(TargetError::LineTwice);
        }
        if self.colour.is_some() && self.b_minus_v.is_some() {
            return Err(TargetError::ColourTwice);
        }
        self.place()?;
        if self.gives_brightness() { Ok(()) } else { self.catalogue_light().map(|_| ()) }
    }

    /// Where it was said to stand, right ascension and declination, in whatever way that was written.
    ///
    /// # Errors
    /// When a text is no place, a coordinate is given twice, or one of the two is missing.
    pub fn place(&self) -> Result<Option<(Degrees, Degrees)>, TargetError> {
        let read = |key, text: &Option<String>, of: fn(&str) -> Option<Degrees>| match text {
            Some(text) => of(text).map(Some).ok_or(TargetError::NoPlace { key, found: text.clone() }),
            None => Ok(None),
        };
        let twice = |one, other| Err(TargetError::PlaceTwice { one, other });
        let hours = self.ra_h.map(|hours| Degrees(15.0 * hours));
        let (ra, dec) = (read("target.ra", &self.ra, right_ascension)?, read("target.dec", &self.dec, declination)?);
        let ra = match (self.ra_deg, hours, ra) {
            (Some(_), Some(_), _) => return twice("target.ra_deg", "target.ra_h"),
            (Some(_), _, Some(_)) => return twice("target.ra_deg", "target.ra"),
            (_, Some(_), Some(_)) => return twice("target.ra_h", "target.ra"),
            (degrees, hours, text) => degrees.or(hours).or(text),
        };
        let dec = match (self.dec_deg, dec) {
            (Some(_), Some(_)) => return twice("target.dec_deg", "target.dec"),
            (degrees, text) => degrees.or(text),
        };
        if ra.is_some() == dec.is_some() { Ok(ra.zip(dec)) } else { Err(TargetError::HalfAPlace) }
    }

    /// The colour of its continuum: as given, its catalogue entry's, or a sun-like one.
    #[must_use]
    pub fn continuum_colour(&self) -> TargetColour {
        if let Some(b_minus_v) = self.b_minus_v {
            return TargetColour { b_minus_v, spread: 0.0 };
        }
        let of_object = || self.object().map(Object::colour);
        self.colour.or_else(of_object).unwrap_or_default().into()
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

    fn catalogue_light(&self) -> Result<(Option<MagnitudesPerSquareArcsecond>, Lines), TargetError> {
        let name = self.name.as_deref().ok_or(TargetError::NoBrightness)?;
        let unknown = || TargetError::UnknownName { name: name.to_owned(), nearest: nearest_name(name) };
        let object = object(name).ok_or_else(unknown)?;
        let continuum = object.surface_brightness();
        if continuum.is_none() && object.lines.is_none() {
            return Err(TargetError::NoMeaningfulBrightness { name: object.name(), kind: object.kind });
        }
        Ok((continuum, object.lines.map_or([None; EmissionLine::ALL.len()], |lines| lines.brightness().map(Some))))
    }

    /// How bright it is outside the atmosphere; each filter uses what applies. Without a brightness of its own that of the
    /// catalogue: the mean of a galaxy's ellipse, the lines of a nebula. A typed line stands in the place of the catalogue's lines,
    /// and the continuum of a named galaxy stays beside it.
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
    /// let gas = Target { name: Some("North America Nebula".into()), ..Target::default() };
    /// assert!(gas.brightness()?.has_lines() && gas.brightness()?.continuum.is_none());
    /// # Ok::<(), subwell::target::TargetError>(())
    /// ```
    pub fn brightness(&self) -> Result<Brightness, TargetError> {
        self.check()?;
        let (colour, none) = (self.continuum_colour(), [None; EmissionLine::ALL.len()]);
        if self.surface_brightness_mag.is_some() {
            let (continuum, line, uncertainty) = (self.surface_brightness_mag, self.line(), Magnitudes(0.0));
            return Ok(Brightness { continuum, colour, line, lines: none, uncertainty });
        }
        let uncertainty = CATALOGUE_UNCERTAINTY;
        if let Some(line) = self.line() {
            let continuum = self.object().and_then(Object::surface_brightness);
            return Ok(Brightness { continuum, colour, line: Some(line), lines: none, uncertainty });
        }
        let (continuum, lines) = self.catalogue_light()?;
        Ok(Brightness { continuum, colour, line: None, lines, uncertainty })
    }

    /// The altitude, or [`DEFAULT_ALTITUDE`].
    #[must_use]
    pub fn altitude(&self) -> Degrees {
        self.altitude_deg.unwrap_or(DEFAULT_ALTITUDE)
    }
}

/// The brightness of each of [`EmissionLine::ALL`].
type Lines = [Option<Estimate<Rayleighs>>; EmissionLine::ALL.len()];

/// A target's light outside the atmosphere; at least one of continuum and lines is there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brightness {
    /// Stars and dust, in V.
    pub continuum: Option<MagnitudesPerSquareArcsecond>,
    /// The colour of the continuum.
    pub colour: TargetColour,
    /// Each emission line, typed without its name: a line filter sees its own, any other filter takes the number as Hα.
    pub line: Option<Rayleighs>,
    /// The lines of a named nebula, each with its own brightness.
    pub lines: Lines,
    /// One standard uncertainty of the continuum itself: 0 where it was typed, for it then defines the goal.
    pub uncertainty: Magnitudes,
}

impl Brightness {
    /// Whether it shines in lines.
    #[must_use]
    pub fn has_lines(&self) -> bool {
        self.line.is_some() || self.lines.iter().any(Option::is_some)
    }

    /// Its brightness in Hα, or in the line that was typed.
    #[must_use]
    pub fn main_line(&self) -> Option<Rayleighs> {
        let h_alpha = EmissionLine::ALL.iter().zip(&self.lines).find(|(line, _)| **line == EmissionLine::HAlpha);
        self.line.or_else(|| h_alpha.and_then(|(_, brightness)| brightness.map(|brightness| brightness.value)))
    }
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
    fn a_typed_line_wins_over_the_catalogues_and_a_galaxy_keeps_its_stars_beside_it() {
        let named = |name: &str| Target { name: Some(name.into()), ..Target::default() };
        let typed = |name: &str| Target { line_rayleigh: Some(Rayleighs(50.0)), ..named(name) };
        let rosette = typed("Rosette Nebula").brightness().unwrap();
        assert_eq!((rosette.line, rosette.lines), (Some(Rayleighs(50.0)), [None; EmissionLine::ALL.len()]));
        let galaxy = typed("M33").brightness().unwrap();
        assert_eq!(galaxy.continuum, named("M33").brightness().unwrap().continuum);
        assert_eq!(galaxy.line, Some(Rayleighs(50.0)));
        assert!(named("Rosette Nebula").brightness().unwrap().main_line() == Some(Rayleighs(650.0)));
    }

    #[test]
    fn a_place_is_written_in_one_way_and_whole() {
        let target = Target { line_rayleigh: Some(Rayleighs(9.0)), ..Target::default() };
        let text = |text: &str| Some(text.to_owned());
        let whole = Target { ra: text("20h 58m 48s"), dec: text("+44 31 44"), ..target.clone() };
        let (ra, dec) = whole.place().unwrap().unwrap();
        approx::assert_abs_diff_eq!(ra.0, 314.7, epsilon = 1e-9);
        approx::assert_abs_diff_eq!(dec.0, 44.528_9, epsilon = 1e-4);
        let hours = Target { ra_h: Some(20.98), dec_deg: Some(dec), ..target.clone() };
        approx::assert_abs_diff_eq!(hours.place().unwrap().unwrap().0.0, 314.7, epsilon = 1e-9);
        assert_eq!(Target { ra: text("20h"), ..target.clone() }.check(), Err(TargetError::HalfAPlace));
        assert!(matches!(Target { ra_h: Some(1.0), ..whole.clone() }.check(), Err(TargetError::PlaceTwice { .. })));
        assert!(matches!(Target { dec: text("south"), ..whole }.check(), Err(TargetError::NoPlace { .. })));
    }

    #[test]
    fn a_colour_is_the_given_one_the_entrys_or_the_suns() {
        let named = |name: &str| Target { name: Some(name.into()), ..Target::default() };
        assert!(named("M87").continuum_colour().b_minus_v > named("M33").continuum_colour().b_minus_v);
        assert_eq!(Target::default().continuum_colour(), ColourName::SunLike.into());
        let typed = Target { b_minus_v: Some(1.2), ..named("M33") };
        assert_eq!(typed.continuum_colour(), TargetColour { b_minus_v: 1.2, spread: 0.0 });
        assert_eq!(Target { colour: Some(ColourName::Spiral), ..typed }.check(), Err(TargetError::ColourTwice));
        for word in ["elliptical", "spiral", "reflection", "star-cluster", "star cluster", "h-ii", "H II"] {
            assert!(toml::from_str::<Target>(&format!("colour = \"{word}\"")).is_ok(), "{word}");
        }
    }

    #[test]
    fn an_unknown_key_is_refused() {
        assert!(toml::from_str::<Target>("brightness = 22.0").is_err());
    }
}
