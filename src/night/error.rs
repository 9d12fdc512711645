//! What can be wrong with a night file, and with a date that has no hours for it.

use crate::camera::ProfileError;
use crate::reading::{OutOfRange, SyntaxError};
use crate::rig::RigError;
use crate::sky::SkyError;
use crate::target::TargetError;

/// Why a night cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NightError {
    /// The text is not a night.
    #[error("the night cannot be read: {0}")]
    Syntax(SyntaxError),
    /// A number that no night has.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// Keys that contradict each other, or one that is wanting.
    #[error("`{key}` {why}")]
    Impossible {
        /// The key.
        key: String,
        /// What it must be.
        why: String,
    },
    /// The site or its sky.
    #[error(transparent)]
    Sky(#[from] SkyError),
    /// Optics, filter or mount.
    #[error(transparent)]
    Rig(#[from] RigError),
    /// The target.
    #[error(transparent)]
    Target(#[from] TargetError),
    /// The camera.
    #[error(transparent)]
    Camera(#[from] ProfileError),
    /// Everything was read, and the date has no hours for it.
    #[error(transparent)]
    NoHours(#[from] NoHours),
}

impl NightError {
    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Syntax(_) | Self::OutOfRange(_) | Self::Impossible { .. } => "night-unreadable",
            Self::Sky(_) => "sky-unusable",
            Self::Rig(_) => "rig-unusable",
            Self::Target(_) => "target-unusable",
            Self::Camera(_) => "camera-unusable",
            Self::NoHours(_) => "goal-out-of-reach",
        }
    }

    /// Whether everything could be read and the date is what fails.
    #[must_use]
    pub fn is_out_of_reach(&self) -> bool {
        matches!(self, Self::NoHours(_))
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Syntax(error) => error.advice.clone().unwrap_or_else(|| "correct the line that the message names".into()),
            Self::OutOfRange(error) => error.hint(),
            Self::Impossible { key, .. } if key == "pixel_um" => {
                "the side of a pixel in micrometres stands in the camera's data sheet; write it as pixel_um = ... below [[modes]]".into()
            }
            Self::Impossible { key, .. } if key == "site.climate" => {
                "write [site.climate] into the night file: mean_c, the mean night air of the year; amplitude_c, how far it swings \
                 to each side; warmest_month, 1 to 12; spread_c, how far the nights of a month scatter"
                    .into()
            }
            Self::Impossible { key, .. } if key == "dark_current" => {
                "measure darks at two or more lengths and temperatures, or type [[modes.planes.dark_current]] from a data sheet"
                    .into()
            }
            Self::Impossible { key, .. } if key == "offset_dn" => {
                "put darks of the lights' exposure beside them, or measure bias frames into the profile".into()
            }
            Self::Impossible { key, .. } => format!("correct `{key}`"),
            Self::Sky(error) => error.hint(),
            Self::Rig(error) => error.hint(),
            Self::Target(error) => error.hint(),
            Self::Camera(error) => error.hint(),
            Self::NoHours(error) => error.hint(),
        }
    }
}

/// Why a date has no hours for the goal, with the date that has.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NoHours {
    /// It gets no darker than twilight, and that was asked for.
    #[error(
        "no astronomical night on {date}: the Sun goes no lower than {lowest_deg:.1} degrees; below {limit_deg:.1} degrees there are {hours:.1} h"
    )]
    NotAstronomical {
        /// The date.
        date: String,
        /// The Sun's lowest altitude.
        lowest_deg: f64,
        /// Hours without this demand.
        hours: f64,
        /// The Sun's altitude in them, at most.
        limit_deg: f64,
        /// The next date with an astronomical night of an hour.
        next: Option<String>,
    },
    /// It gets no darker than bright twilight.
    #[error("no darkness on {date}: the Sun goes no lower than {lowest_deg:.1} degrees")]
    NotDark {
        /// The date.
        date: String,
        /// The Sun's lowest altitude.
        lowest_deg: f64,
        /// The next date with an hour of darkness.
        next: Option<String>,
    },
    /// The target stays below the horizon while it is dark.
    #[error(
        "the target does not rise above the horizon in the dark hours of {date}: it gets {highest_deg:.0} degrees high then, {culmination_deg:.0} degrees at its best"
    )]
    TargetDown {
        /// The date.
        date: String,
        /// Its highest altitude in the dark hours.
        highest_deg: f64,
        /// Its highest altitude at any hour.
        culmination_deg: f64,
        /// The next date with an hour of it.
        next: Option<String>,
    },
}

impl NoHours {
    fn hint(&self) -> String {
        let (next, else_hint) = match self {
            Self::NotAstronomical { next, .. } => (next, "or set need_astronomical_night = false"),
            Self::NotDark { next, .. } => (next, "or choose another place"),
            Self::TargetDown { next, .. } => (next, "or lower horizon or min_altitude_deg"),
        };
        match next {
            Some(date) => format!("the next date that has an hour is date = \"{date}\"; {else_hint}"),
            None => format!("no date within a year has an hour; {}", else_hint.trim_start_matches("or ")),
        }
    }
}
