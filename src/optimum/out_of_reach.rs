//! What a goal out of reach leaves within reach.

use crate::units::Seconds;

use super::two_digits;

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
        "the fixed pattern alone holds the signal-to-noise ratio to {snr}, the goal is {}; subs may be {longest} long",
        short(*goal)
    )]
    Pattern {
        /// What can be reached.
        snr: f64,
        /// What was asked for.
        goal: f64,
        /// The longest sub that mount, stars and sky allow: in very short ones the pattern weighs most.
        longest: Seconds,
    },
    /// The target stands so low that the air takes most of its light.
    #[error(
        "the target stands {altitude_deg} degrees high, where the air lets {percent:.1} % of its light pass: the goal is out of reach"
    )]
    TargetLow {
        /// Its altitude.
        altitude_deg: f64,
        /// The share of its light in V.
        percent: f64,
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
    /// No number of subs is enough, under whatever gain setting.
    #[error("no number of subs brings more than a signal-to-noise ratio of {snr}, the goal is {}", short(*goal))]
    Held {
        /// What can be reached.
        snr: f64,
        /// What was asked for.
        goal: f64,
    },
    /// A night does not hold the least number of dither positions.
    #[error(
        "a night of {} does not hold {positions} dither positions{}, one of {least_h} h would", time(*hours), of_subs(*sub)
    )]
    NightTooShort {
        /// Clear hours of a night.
        hours: f64,
        /// Positions that rejection needs.
        positions: u32,
        /// The hours that would hold them.
        least_h: f64,
        /// What such nights reach, where that is less than the goal.
        snr: Option<f64>,
        /// The length of the subs, where it was asked for: shorter ones would do as well.
        sub: Option<Seconds>,
    },
    /// The sky alone fills a sub of the length that was asked for.
    #[error("the sky alone fills a pixel in {}: subs of {} hold nothing of the target", length(*full), length(*sub))]
    FilledBySky {
        /// The length that was asked for.
        sub: Seconds,
        /// The time in which the sky fills a pixel.
        full: Seconds,
        /// The longest sub in which it leaves room for the target.
        longest: Seconds,
    },
    /// What calibration leaves does not average, in whatever number of subs.
    #[error("no number of hours reaches the goal: the pattern that the dark current leaves does not average out")]
    Endless,
    /// The hours do not hold the least number of subs and dither positions.
    #[error(
        "{} of the hours do not hold {subs} subs at {positions} dither positions; {least_h} h in all would", time(*hours)
    )]
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

/// Hours, or minutes where they would be 0.0 hours.
fn time(hours: f64) -> String {
    if hours < 0.1 { format!("{:.1} min", 60.0 * hours) } else { format!("{hours:.2} h") }
}

/// A length in full where it is a short one.
fn length(sub: Seconds) -> Seconds {
    if sub.0 < 1.0 { Seconds(two_digits(sub.0)) } else { Seconds((10.0 * sub.0).round() / 10.0) }
}

/// A number with no more than two digits behind the point.
fn short(value: f64) -> f64 {
    (100.0 * value).round() / 100.0
}

/// The subs that were asked for.
fn of_subs(sub: Option<Seconds>) -> String {
    sub.map_or_else(String::new, |sub| format!(" with subs of {sub}"))
}

impl OutOfReach {
    /// What the photographer can do.
    pub(crate) fn hint(&self) -> String {
        match self {
            Self::NoLight => "choose a filter that the target shines through".into(),
            Self::Pattern { longest, .. } if longest.0 < SHORT_SUB_S => {
                "allow longer subs: raise star_mag_kept, or longest_sub_s, or check that the target is above the horizon"
                    .into()
            }
            Self::Pattern { snr, .. } => {
                format!("ask for snr = {snr}, or take more darks and flats at the temperature of the lights")
            }
            Self::TargetLow { .. } => {
                "photograph it when it stands higher, altitude_deg = 30 or more, or give date and place".into()
            }
            Self::Endless => {
                "take darks at the temperature of the lights (dark_mismatch_c under [calibration]), or ask for a lower snr".into()
            }
            Self::TooManySubs { snr, needed, .. } => {
                format!("ask for snr = {snr}, or allow most_subs = {needed} and the gigabytes for them under [stack]")
            }
            Self::FilledBySky { longest, .. } => format!("leave out sub_s under [goal], or take no more than {longest}"),
            Self::Held { snr, .. } => format!("ask for snr = {snr}, or a larger patch_arcsec"),
            Self::NightTooShort { least_h, snr: Some(snr), .. } => {
                format!("give clear_hours_per_night = {least_h} and ask for snr = {snr}")
            }
            Self::NightTooShort { least_h, sub, .. } => {
                let shorter = if sub.is_some() { ", or leave out sub_s for shorter ones" } else { "" };
                format!("give clear_hours_per_night = {least_h}, or lower min_positions_per_night under [stack]{shorter}")
            }
            Self::TooShort { least_h, .. } => format!("give hours = {least_h}, or lower min_subs under [stack]"),
        }
    }
}
