//! `[goal]` of a night: the picture to reach, or the time there is.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use crate::caveat::Caveat;
use crate::keys::{check_all, key};
use crate::sky::GivenSky;
use crate::sky::night::Date;
use crate::units::{Arcseconds, Magnitudes, Seconds};

use super::{Night, NightError, Picture};

/// `[goal]`: the picture to reach, or the time there is.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Goal {
    /// Signal over noise of the target in the patch.
    pub snr: Option<f64>,
    /// The kind of picture, which stands for a signal over noise and a patch: `first-look`, `clean` or `deep`.
    pub picture: Option<Picture>,
    /// Side of the square patch.
    pub patch_arcsec: Option<Arcseconds>,
    /// One pixel of the plane instead of a patch.
    pub pixel: Option<bool>,
    /// Wall-clock hours instead of `snr`, all filters together.
    pub hours: Option<f64>,
    /// The length of all subs, where it is not to be chosen.
    pub sub_s: Option<Seconds>,
    /// A dither after so many subs, where that is not to be chosen.
    pub dither_every: Option<u32>,
    /// Hours of a usual clear night.
    pub clear_hours_per_night: Option<f64>,
    /// Share of nights that are clear, 0 to 1.
    pub clear_share: Option<f64>,
    /// The same for each month from January on, in its place.
    pub clear_share_by_month: Option<[f64; 12]>,
    /// Minutes of set-up at the beginning of a night, in dark hours.
    pub setup_min: Option<f64>,
    /// Minutes of each hour for refocusing, filter changes and the like.
    pub refocus_min_per_hour: Option<f64>,
    /// Local date of the evening.
    pub date: Option<String>,
    /// Stars fainter than this must not saturate; left out, none is looked after.
    pub star_mag_kept: Option<Magnitudes>,
    /// Hours of open shutter that are there already, in all filters together.
    pub already_have_h: Option<f64>,
    /// `[[goal.already]]`: earlier stacks, under another sky or in other subs.
    #[serde(default)]
    pub already: Vec<AlreadyHave>,
    /// Whether a night without astronomical darkness is an error.
    pub need_astronomical_night: Option<bool>,
}

impl Goal {
    /// Signal over noise where neither it nor hours are given: noise of a tenth is seen, but does not disturb
    /// (common practice, no source).
    pub const DEFAULT_SNR: f64 = key!(NIGHT, "goal.snr").number();
    /// Side of the patch where none is given: about a blurred star's disc (common practice, no source).
    pub const DEFAULT_PATCH: Arcseconds = Arcseconds(key!(NIGHT, "goal.patch_arcsec").number());
    /// Clear hours of a night where none are given, common practice, no source.
    pub const DEFAULT_CLEAR_HOURS: f64 = key!(NIGHT, "goal.clear_hours_per_night").number();

    /// Share of clear nights where none is given: two in five (common practice, no source; it lies between 0.2 and 0.8).
    pub const DEFAULT_CLEAR_SHARE: f64 = key!(NIGHT, "goal.clear_share").number();
    /// Set-up in dark hours where none is given, in minutes (common practice, no source).
    pub const DEFAULT_SETUP_MIN: f64 = key!(NIGHT, "goal.setup_min").number();
    /// Refocusing in each hour where none is given, in minutes (common practice, no source).
    pub const DEFAULT_REFOCUS_MIN_PER_HOUR: f64 = key!(NIGHT, "goal.refocus_min_per_hour").number();

    /// Share of clear nights in a month, 1 to 12, or the default.
    #[must_use]
    pub fn clear_share(&self, month: u32) -> f64 {
        let of_month = |shares: [f64; 12]| shares[(month.clamp(1, 12) - 1) as usize];
        self.clear_share_by_month.map(of_month).or(self.clear_share).unwrap_or(Self::DEFAULT_CLEAR_SHARE)
    }

    /// Minutes of set-up, or the default.
    #[must_use]
    pub fn setup_min(&self) -> f64 {
        self.setup_min.unwrap_or(Self::DEFAULT_SETUP_MIN)
    }

    /// Minutes of refocusing in each hour, or the default.
    #[must_use]
    pub fn refocus_min_per_hour(&self) -> f64 {
        self.refocus_min_per_hour.unwrap_or(Self::DEFAULT_REFOCUS_MIN_PER_HOUR)
    }

    /// The signal over noise, the picture's, or the default.
    #[must_use]
    pub fn snr(&self) -> f64 {
        self.snr.or(self.picture.map(Picture::snr)).unwrap_or(Self::DEFAULT_SNR)
    }

    /// The patch, the picture's, or the default; `None` for one pixel.
    #[must_use]
    pub fn patch(&self) -> Option<Arcseconds> {
        let of_picture = || self.picture.map(Picture::patch);
        let side = || self.patch_arcsec.or_else(of_picture).unwrap_or(Self::DEFAULT_PATCH);
        (self.pixel != Some(true)).then(side)
    }

    /// Clear hours of a night, or the default.
    #[must_use]
    pub fn clear_hours(&self) -> f64 {
        self.clear_hours_per_night.unwrap_or(Self::DEFAULT_CLEAR_HOURS)
    }

    /// Hours in hand, or none.
    #[must_use]
    pub fn already_have(&self) -> f64 {
        self.already_have_h.unwrap_or(key!(NIGHT, "goal.already_have_h").number())
    }
}

/// `[[goal.already]]`: one earlier stack of the same target with the same camera and telescope.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct AlreadyHave {
    /// Hours of open shutter in it.
    pub hours: f64,
    /// Length of its subs.
    pub sub_s: Seconds,
    /// Its sky, moonlight included; left out, that of the site without the Moon.
    #[serde(default)]
    pub sky: Option<GivenSky>,
    /// Its filter.
    #[serde(default)]
    pub filter: Option<String>,
    /// A dither after so many subs.
    #[serde(default)]
    pub dither_every_subs: Option<f64>,
    /// Local date of its evening, as `review` writes it: what it writes of the same evening again takes its place.
    #[serde(default)]
    pub evening: Option<String>,
}

impl Night {
    /// Puts the date behind an evening, where it is not later already; whether that moved it.
    pub(crate) fn begin_after(&mut self, evening: Date) -> bool {
        let next = evening.later(1);
        let begins = self.goal.date.as_deref().and_then(|date| Date::parse(date).ok());
        let moved = begins.is_some_and(|begins| begins < next);
        if moved {
            self.goal.date = Some(next.to_string());
        }
        moved
    }

    /// The night begun after the evenings that are in hand, and a word where that is later than its date.
    pub(crate) fn evenings_to_come(&self) -> (Cow<'_, Self>, Option<Caveat>) {
        let evenings = self.goal.already.iter().filter_map(|stack| Date::parse(stack.evening.as_ref()?).ok());
        let Some(last) = evenings.reduce(|a, b| if a > b { a } else { b }) else {
            return (Cow::Borrowed(self), None);
        };
        let mut later = self.clone();
        if !later.begin_after(last) {
            return (Cow::Borrowed(self), None);
        }
        let message = format!("the evening of {last} is in hand: planned from {} on", last.later(1));
        let hint = "take `evening` out of [[goal.already]] to plan the rest of that night";
        (Cow::Owned(later), Some(Caveat::new("evening-in-hand", message, hint).about("goal.date")))
    }
}

impl AlreadyHave {
    /// Cadence of an earlier stack where none is given (common practice, no source).
    pub const DEFAULT_DITHER_EVERY: f64 = key!(NIGHT, "goal.already.dither_every_subs").number();

    /// Checks what the types cannot.
    pub(super) fn check(&self, night: &Night) -> Result<(), NightError> {
        check_all([
            (key!(NIGHT, "goal.already.hours"), Some(self.hours)),
            (key!(NIGHT, "goal.already.sub_s"), Some(self.sub_s.0)),
            (key!(NIGHT, "goal.already.dither_every_subs"), self.dither_every_subs),
        ])?;
        if let Some(filter) = &self.filter
            && !night.filters.is_empty()
            && night.filters.iter().all(|known| known.label() != *filter)
        {
            let known: Vec<String> = night.filters.iter().map(crate::rig::Filter::label).collect();
            let why = format!("is `{filter}`, and the night has {}", known.join(", "));
            return Err(NightError::Impossible { key: "goal.already.filter".into(), why });
        }
        if let Some(evening) = self.evening.as_ref().filter(|evening| Date::parse(evening).is_err()) {
            let why = format!("is `{evening}`, and a date such as 2026-10-12 is needed");
            return Err(NightError::Impossible { key: "goal.already.evening".into(), why });
        }
        self.under(night).site.check()?;
        Ok(())
    }

    /// The night under the earlier sky.
    pub(crate) fn under(&self, night: &Night) -> Night {
        let mut earlier = night.clone();
        earlier.site.sky = self.sky.clone().or(earlier.site.sky);
        earlier
    }
}
