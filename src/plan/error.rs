//! What can be wrong with a night, and what a goal out of reach leaves within reach.

use crate::camera::ProfileError;
use crate::rig::RigError;
use crate::sky::SkyError;
use crate::target::TargetError;
use crate::units::Seconds;

/// Why a night cannot be planned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// The text is not a night.
    #[error("the night cannot be read: {message}")]
    Syntax {
        /// What the parser found, with line and key.
        message: String,
        /// What to write instead, where that can be told.
        advice: Option<String>,
    },
    /// A number that cannot be, or two that contradict each other.
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
    /// Everything was read, and the goal cannot be reached.
    #[error("with the filter {filter}, {reach}")]
    OutOfReach {
        /// The filter it fails with.
        filter: String,
        /// Why, and what can be reached.
        reach: OutOfReach,
    },
    /// Everything was read, and the date has no hours for it.
    #[error(transparent)]
    NoHours(#[from] NoHours),
    /// No light can be held against the night.
    #[error("no light can be held against the night{why}")]
    NothingToReview {
        /// Why the first one cannot, after a colon; empty where there is none.
        why: String,
    },
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

/// Below this length of the longest sub it is the limit that is in the way, not the pattern.
const SHORT_SUB_S: f64 = 5.0;

/// Why a goal is out of reach, with what is within.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OutOfReach {
    /// The filter passes nothing of the target.
    #[error("no light of the target reaches the sensor")]
    NoLight,
    /// The pattern that calibration leaves does not average.
    #[error(
        "the fixed pattern alone holds the signal-to-noise ratio to {snr}, the goal is {goal}; subs may be {longest} long"
    )]
    Pattern {
        /// What can be reached.
        snr: f64,
        /// What was asked for.
        goal: f64,
        /// The longest sub that mount, stars and sky allow: in very short ones the pattern weighs most.
        longest: Seconds,
    },
    /// More subs than may be taken.
    #[error(
        "the goal needs at least {needed:.0} subs and {allowed:.0} are allowed, enough for a signal-to-noise ratio of {snr:.1}"
    )]
    TooManySubs {
        /// The least number that would do.
        needed: f64,
        /// What `most_subs` and `most_gigabytes` allow.
        allowed: f64,
        /// What can be reached with them.
        snr: f64,
    },
    /// What calibration leaves does not average, in whatever number of subs.
    #[error("no number of hours reaches the goal: the pattern that the dark current leaves does not average out")]
    Endless,
    /// The hours do not hold the least number of subs and dither positions.
    #[error("{hours:.2} h do not hold {subs} subs at {positions} dither positions, {least_h:.2} h would")]
    TooShort {
        /// The hours asked for.
        hours: f64,
        /// Subs that rejection needs.
        subs: u32,
        /// Positions that rejection needs.
        positions: u32,
        /// The hours that would hold them.
        least_h: f64,
    },
}

impl PlanError {
    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Syntax { .. } | Self::Impossible { .. } => "night-unreadable",
            Self::Sky(_) => "sky-unusable",
            Self::Rig(_) => "rig-unusable",
            Self::Target(_) => "target-unusable",
            Self::Camera(_) => "camera-unusable",
            Self::OutOfReach { .. } | Self::NoHours(_) => "goal-out-of-reach",
            Self::NothingToReview { .. } => "nothing-to-review",
        }
    }

    /// Whether everything could be read and the goal is what fails.
    #[must_use]
    pub fn is_out_of_reach(&self) -> bool {
        matches!(self, Self::OutOfReach { .. } | Self::NoHours(_) | Self::NothingToReview { .. })
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Syntax { advice: Some(advice), .. } => advice.clone(),
            Self::Syntax { advice: None, .. } => "correct the line that the message names".into(),
            Self::Impossible { key, .. } if key == "site.climate" => {
                "write [site.climate] with the night air of the year: mean_c, amplitude_c, warmest_month (1 to 12), spread_c"
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
            Self::OutOfReach { reach, .. } => reach.hint(),
            Self::NoHours(error) => error.hint(),
            Self::NothingToReview { .. } => {
                "give the folder of the lights, and the night file with their camera, filter and gain".into()
            }
        }
    }
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

impl OutOfReach {
    fn hint(&self) -> String {
        match self {
            Self::NoLight => "choose a filter that the target shines through".into(),
            Self::Pattern { longest, .. } if longest.0 < SHORT_SUB_S => {
                "allow longer subs: raise star_mag_kept, or longest_sub_s, or check that the target is above the horizon"
                    .into()
            }
            Self::Pattern { .. } => {
                "take more darks and flats at the temperature of the lights, or ask for a larger patch".into()
            }
            Self::Endless => {
                "take darks at the temperature of the lights (dark_mismatch_c under [calibration]), or ask for a lower snr".into()
            }
            Self::TooManySubs { snr, .. } => {
                format!("ask for snr = {snr}, a larger patch_arcsec, or raise most_subs and most_gigabytes")
            }
            Self::TooShort { least_h, .. } => format!("give at least {least_h:.2} h, or lower min_subs under [stack]"),
        }
    }
}
