//! What can be wrong with optics, filter or mount.

use crate::reading::OutOfRange;

/// Why a rig cannot be used as given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RigError {
    /// A number that no rig has.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The obstruction covers the aperture.
    #[error("the obstruction of {obstruction_mm} mm is not smaller than the aperture of {aperture_mm} mm")]
    Obstructed {
        /// The aperture's diameter.
        aperture_mm: f64,
        /// The obstruction's diameter.
        obstruction_mm: f64,
    },
    /// A filter of no known name and without its own numbers.
    #[error("there is no filter `{name}`, the nearest known name is `{nearest}`")]
    UnknownFilter {
        /// The name that was given.
        name: String,
        /// The known name that looks most like it.
        nearest: &'static str,
    },
    /// A filter with neither a name nor centre and width.
    #[error("a filter needs a name, or centre_nm with width_nm")]
    NamelessFilter,
    /// A filter that is no filter on this sensor.
    #[error("the filter `none` means a colour array alone, and this sensor is monochrome")]
    NoFilterOnMono,
    /// A transmission curve that cannot be used.
    #[error("the filter curve `{file}` {why}")]
    Curve {
        /// The curve's file, as written.
        file: String,
        /// What is wrong.
        why: String,
    },
    /// Colours where there are none.
    #[error("quantum_efficiency has colours, and this sensor is monochrome")]
    ColoursOnMono,
    /// A key that says nothing of a mount of this kind.
    #[error("`{key}` under [mount] is for equatorial mounts, and this one is a tripod or an alt-azimuth mount")]
    NotOfThisMount {
        /// The key.
        key: &'static str,
    },
}

impl RigError {
    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Curve { .. } => "a curve is a CSV file with a line for each point: nm, transmission from 0 to 1".into(),
            Self::NotOfThisMount { key } => format!("leave out `{key}`, or write kind = \"equatorial\""),
            Self::ColoursOnMono => "give one number, of the sensor in this filter's window".into(),
            Self::OutOfRange(error) => error.hint(),
            Self::Obstructed { .. } => "give obstruction_mm as the diameter of the secondary's shadow, 0 for a refractor".into(),
            Self::UnknownFilter { .. } => {
                "the names are luminance, red, green, blue, h-alpha, oiii, sii, dual, none; any other filter needs centre_nm and width_nm".into()
            }
            Self::NamelessFilter => "write name = \"luminance\", or centre_nm = 500.7 and width_nm = 5.0".into(),
            Self::NoFilterOnMono => "name the filter in front of the sensor; without any, luminance comes nearest".into(),
        }
    }
}
