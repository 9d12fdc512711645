//! The plan in a few numbers, for many targets at once.

use crate::camera::{CameraProfile, Mode};
use crate::night::Night;
use crate::night::evening::{Evening, counted, track};
use crate::rig::Filter;
use crate::sky::night::{Date, Tonight};
use crate::target::Target;
use crate::units::{Degrees, Seconds};

use super::PlanError;
use super::calendar::Calendar;
use super::draft::Draft;
use super::drafted::{drafted_once, first_evening};

/// A goal under the mean light of the first evening, and what it takes over the nights where that is asked for.
pub(crate) struct Brief<'a> {
    night: Night,
    mode: &'a Mode,
    draft: Draft,
}

impl<'a> Brief<'a> {
    /// The goal of one night through each of some filters alone, in the best mode of each.
    ///
    /// # Errors
    /// As [`plan`](super::plan), and within for each filter.
    pub(crate) fn through(
        night: &Night,
        filters: &[Filter],
        profile: &'a CameraProfile,
    ) -> Result<Vec<Result<Self, PlanError>>, PlanError> {
        let evening = first_evening(night)?;
        let alone = |filter: &Filter| Filter { share: None, snr: None, ..filter.clone() };
        let with = |filter: &Filter| {
            let night = Night { filters: vec![alone(filter)], ..night.clone() };
            let (mode, draft, _) = drafted_once(&night, profile, &evening)?;
            Ok(Self { night, mode, draft })
        };
        Ok(filters.iter().map(with).collect())
    }

    /// The filter.
    pub(crate) fn filter(&self) -> String {
        self.night.filters.first().map_or_else(String::new, Filter::label)
    }

    /// Time on the clock under the mean light of the first evening.
    pub(crate) fn wall_clock(&self) -> Seconds {
        self.draft.wall_clock()
    }

    /// The ends of the time's range, as factors.
    pub(crate) fn range_factors(&self) -> [f64; 2] {
        self.draft.range_factors(&self.night)
    }

    /// What some evenings do.
    ///
    /// # Errors
    /// As [`plan`](super::plan).
    pub(crate) fn on(&self, evenings: &[(Date, Tonight)]) -> Result<Calendar, PlanError> {
        self.draft.in_nights(&self.night, self.mode, evenings)
    }
}

/// Evenings with their Sun and Moon, which are the same for every target.
pub(crate) struct Evenings(Vec<(Date, Tonight)>);

impl Evenings {
    /// So many from the night's date on; `None` where it has no date or no place.
    ///
    /// # Errors
    /// When the ephemeris does not reach a date.
    pub(crate) fn new(night: &Night, count: u32) -> Result<Option<Self>, PlanError> {
        let Some((first, place)) = night.dated()? else { return Ok(None) };
        let evening = |date: Date| Ok((date, Tonight::new(place, date, night.utc_offset_h())?));
        let all: Result<_, PlanError> = (0..count).map(|later| evening(first.later(later))).collect();
        Ok(Some(Self(all?)))
    }

    /// Checks that it gets dark on one of them.
    ///
    /// # Errors
    /// As the plan of a target that is always up, where it does not.
    pub(crate) fn check_dark(&self, night: &Night) -> Result<(), PlanError> {
        if self.0.iter().all(|(_, tonight)| counted(night, tonight).is_none()) {
            let up = Target { altitude_deg: Some(Degrees(60.0)), ..Target::default() };
            Evening::new(&Night { target: up, ..night.clone() })?;
        }
        Ok(())
    }

    /// Those from the first one on on which the night's target is up in the dark hours; `None` where there is none.
    pub(crate) fn since_it_is_up(&self, night: &Night) -> Option<&[(Date, Tonight)]> {
        let track = track(night);
        let up =
            |tonight: &Tonight| counted(night, tonight).is_some_and(|limit| !tonight.usable(limit, &track).is_empty());
        self.0.iter().position(|(_, tonight)| up(tonight)).map(|first| &self.0[first..])
    }
}
