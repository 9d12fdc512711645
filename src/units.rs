//! Quantities that know their unit.
//!
//! Signatures and fields carry these types; inside one kernel plain `f64` is fine.
//! A factor that is a constant of nature gives one type with several readings
//! ([`Celsius::kelvin`]); a factor that has to be measured gives two types, and the
//! measured gain is the only bridge between them:
//!
//! ```
//! use subwell::units::{Dn, Electrons, ElectronsPerDn};
//!
//! let signal: Electrons = Dn(400.0) * ElectronsPerDn(2.5);
//! assert_eq!(signal, Electrons(1000.0));
//! ```
//!
//! `Dn(1.0) + Electrons(1.0)` does not compile:
//!
//! ```compile_fail
//! use subwell::units::{Dn, Electrons};
//! let nonsense = Dn(1.0) + Electrons(1.0);
//! ```

mod band;

pub use band::{Band, EmissionLine};

use std::fmt;
use std::ops::{Add, Div, Mul, Neg, Sub};

use serde::{Deserialize, Serialize};

/// A number of some unit, seen from generic code such as [`crate::stats::Estimate`].
pub trait Quantity: Copy {
    /// The unit as it is printed after the number.
    const UNIT: &'static str;
    /// Wraps a plain number.
    fn new(value: f64) -> Self;
    /// The plain number.
    fn get(self) -> f64;
}

impl Quantity for f64 {
    const UNIT: &'static str = "";
    fn new(value: f64) -> Self {
        value
    }
    fn get(self) -> f64 {
        self
    }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        #[cfg(feature = "schema")]
        impl schemars::JsonSchema for $name {
            fn inline_schema() -> bool {
                true
            }

            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
                f64::json_schema(generator)
            }
        }

        impl Quantity for $name {
            const UNIT: &'static str = $unit;
            fn new(value: f64) -> Self {
                Self(value)
            }
            fn get(self) -> f64 {
                self.0
            }
        }
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl Mul<$name> for f64 {
            type Output = $name;
            fn mul(self, quantity: $name) -> $name {
                $name(self * quantity.0)
            }
        }
        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }
        impl Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)?;
                f.write_str(" ")?;
                f.write_str($unit)
            }
        }
    };
}

macro_rules! product {
    ($left:ident * $right:ident = $out:ident) => {
        impl Mul<$right> for $left {
            type Output = $out;
            fn mul(self, other: $right) -> $out {
                $out(self.0 * other.0)
            }
        }
        impl Mul<$left> for $right {
            type Output = $out;
            fn mul(self, other: $left) -> $out {
                $out(self.0 * other.0)
            }
        }
        impl Div<$left> for $out {
            type Output = $right;
            fn div(self, other: $left) -> $right {
                $right(self.0 / other.0)
            }
        }
        impl Div<$right> for $out {
            type Output = $left;
            fn div(self, other: $right) -> $left {
                $left(self.0 / other.0)
            }
        }
    };
}

// What the camera counts.
quantity!(
    /// A stored count, or a noise on that scale ("ADU" is the same thing).
    Dn, "DN"
);
quantity!(
    /// Photo- or thermal electrons in one pixel, or a noise on that scale.
    Electrons, "e-"
);
quantity!(
    /// The gain as the hobby says it; the `K` of EMVA 1288 is its inverse.
    ElectronsPerDn, "e-/DN"
);
quantity!(
    /// A rate in one pixel.
    ElectronsPerSecond, "e-/s"
);

// Time and temperature.
quantity!(
    /// A length of time.
    Seconds, "s"
);
quantity!(
    /// A temperature on the Celsius scale; [`Celsius::kelvin`] is its absolute reading.
    Celsius, "°C"
);

// Lengths.
quantity!(
    /// A pixel's side.
    Micrometres, "um"
);
quantity!(
    /// An aperture or a focal length.
    Millimetres, "mm"
);
quantity!(
    /// A height above sea level.
    Metres, "m"
);
quantity!(
    /// A wavelength or a bandwidth.
    Nanometres, "nm"
);

// On the sky.
quantity!(
    /// An angle on the sky; for a pixel, its side.
    Arcseconds, "arcsec"
);
quantity!(
    /// An altitude, azimuth, latitude or longitude.
    Degrees, "deg"
);
quantity!(
    /// A brightness of a point source, an extinction or a difference of magnitudes.
    Magnitudes, "mag"
);
quantity!(
    /// A surface brightness.
    MagnitudesPerSquareArcsecond, "mag/arcsec2"
);
quantity!(
    /// A line's surface brightness: 10⁶/4π photons s⁻¹ cm⁻² sr⁻¹.
    Rayleighs, "R"
);
quantity!(
    /// An emission measure, the square of the electrons' density along the line of sight.
    EmissionMeasure, "pc cm-6"
);
quantity!(
    /// A sky's light before the telescope: photons s⁻¹ cm⁻² arcsec⁻² nm⁻¹.
    PhotonDensity, "ph/s/cm2/arcsec2/nm"
);
quantity!(
    /// A luminance, the eye's brightness of a surface.
    CandelasPerSquareMetre, "cd/m2"
);
quantity!(
    /// A collecting area.
    SquareCentimetres, "cm2"
);

product!(Dn * ElectronsPerDn = Electrons);
product!(ElectronsPerSecond * Seconds = Electrons);

/// The constant of Boltzmann in eV/K (CODATA 2018, exact by definition of the SI to the digits given).
pub const BOLTZMANN_EV_PER_K: f64 = 8.617_333_262e-5;
/// The lowest temperature there is, in °C (SI definition of the Celsius scale).
pub const ABSOLUTE_ZERO_C: f64 = -273.15;

impl Celsius {
    /// The same temperature in kelvin.
    ///
    /// ```
    /// assert_eq!(subwell::units::Celsius(0.0).kelvin(), 273.15);
    /// ```
    #[must_use]
    pub fn kelvin(self) -> f64 {
        self.0 - ABSOLUTE_ZERO_C
    }
}

impl Degrees {
    /// The same angle in radians.
    #[must_use]
    pub fn radians(self) -> f64 {
        self.0.to_radians()
    }
}

/// Magnitudes to a small relative change of light: 2.5/ln 10.
pub(crate) const MAGNITUDES_PER_LOGARITHM: f64 = 1.085_736_204_758_129_6;

/// Photons s⁻¹ cm⁻² nm⁻¹ of V magnitude 0: 995.5 per Å (Bessell, Castelli & Plez 1998, A&A 333, 231).
pub const PHOTONS_OF_V_MAGNITUDE_0: f64 = 9955.0;
/// Relative standard uncertainty of [`PHOTONS_OF_V_MAGNITUDE_0`]: what published zero points differ by.
pub const PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY: f64 = 0.025;

/// Square arcseconds in a steradian: (648 000/π)².
const SQUARE_ARCSECONDS_PER_STERADIAN: f64 = (648_000.0 / std::f64::consts::PI) * (648_000.0 / std::f64::consts::PI);

impl Rayleighs {
    /// The same line in photons s⁻¹ cm⁻² arcsec⁻².
    ///
    /// # Source
    /// 1 R = 10⁶/4π photons s⁻¹ cm⁻² sr⁻¹ (Leinert et al. 1998, A&AS 127, 1, section 2).
    ///
    /// ```
    /// assert!((subwell::units::Rayleighs(1.0).photons_per_s_cm2_arcsec2() - 1.870423e-6).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn photons_per_s_cm2_arcsec2(self) -> f64 {
        self.0 * 1e6 / (4.0 * std::f64::consts::PI) / SQUARE_ARCSECONDS_PER_STERADIAN
    }
}

impl EmissionMeasure {
    /// What ionised gas of this temperature shows in H-alpha.
    ///
    /// ```text
    /// I[R] = EM / (2.75 T₄^0.9),   T₄ = T/10⁴ K
    /// ```
    ///
    /// # Source
    /// The usual conversion of all-sky surveys in H-alpha, from memory; gas without dust before it.
    ///
    /// ```
    /// use subwell::units::EmissionMeasure;
    /// // 2.25 pc cm⁻⁶ in a rayleigh at 8000 K.
    /// assert!((EmissionMeasure(225.0).h_alpha(8000.0).0 - 100.0).abs() < 0.1);
    /// ```
    #[must_use]
    pub fn h_alpha(self, kelvin: f64) -> Rayleighs {
        Rayleighs(self.0 / (2.75 * (kelvin / 1e4).powf(0.9)))
    }
}

/// The colour of a pixel of a colour array.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Colour {
    /// `R`
    #[serde(rename = "R")]
    Red,
    /// `G`
    #[serde(rename = "G")]
    Green,
    /// `B`
    #[serde(rename = "B")]
    Blue,
}

impl fmt::Display for Colour {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.pad(match self {
            Self::Red => "R",
            Self::Green => "G",
            Self::Blue => "B",
        })
    }
}

impl Colour {
    /// The share of an array's pixels that has this colour: of the 2 × 2 cell two are green.
    #[must_use]
    pub fn sampling(self) -> f64 {
        if self == Self::Green { 0.5 } else { 0.25 }
    }
}

/// Colours of the stored 2 × 2 cell, row by row: `RGGB` is R at row 0 column 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum CfaPattern {
    /// Red first.
    Rggb,
    /// Blue first.
    Bggr,
    /// Green first, red beside it.
    Grbg,
    /// Green first, blue beside it.
    Gbrg,
}

impl CfaPattern {
    /// All patterns of 2 × 2 cells.
    pub const ALL: [Self; 4] = [Self::Rggb, Self::Bggr, Self::Grbg, Self::Gbrg];

    /// The pattern with this name in capitals, if it is one of the four.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "RGGB" => Some(Self::Rggb),
            "BGGR" => Some(Self::Bggr),
            "GRBG" => Some(Self::Grbg),
            "GBRG" => Some(Self::Gbrg),
            _ => None,
        }
    }

    /// Its name in capitals.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Rggb => "RGGB",
            Self::Bggr => "BGGR",
            Self::Grbg => "GRBG",
            Self::Gbrg => "GBRG",
        }
    }

    /// The colour at a place of the stored cell.
    #[must_use]
    pub fn colour(self, row: usize, column: usize) -> Colour {
        use Colour::{Blue, Green, Red};
        let cell = match self {
            Self::Rggb => [Red, Green, Green, Blue],
            Self::Bggr => [Blue, Green, Green, Red],
            Self::Grbg => [Green, Red, Blue, Green],
            Self::Gbrg => [Green, Blue, Red, Green],
        };
        cell[2 * (row % 2) + column % 2]
    }
}

/// The root of the sum of squares: how independent noises add.
///
/// ```
/// use subwell::units::{quadrature, Electrons};
/// assert_eq!(quadrature(&[Electrons(3.0), Electrons(4.0)]), Electrons(5.0));
/// ```
#[must_use]
pub fn quadrature<Q: Quantity>(noises: &[Q]) -> Q {
    Q::new(noises.iter().map(|noise| noise.get().powi(2)).sum::<f64>().sqrt())
}
