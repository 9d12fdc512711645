//! Which gain setting, and what it takes: the way from a night to the draft that is written out.

use rayon::iter::{IntoParallelRefIterator, ParallelIterator};

use crate::camera::{CameraProfile, Mode};
use crate::night::evening::Evening;
use crate::night::{Conditions, Night};

use super::calendar::{Scheduled, light_of};
use super::draft::Draft;
use super::within_reach::within_reach;
use super::{GainSetting, PlanError};

pub(super) type Steady<'a> = (&'a Mode, Draft, Vec<GainSetting>);
pub(super) type Drafted<'a> = (&'a Mode, Draft, Vec<GainSetting>, Option<Scheduled>);

/// The best mode with its draft, the time of each, and the nights that it takes.
///
/// With a date the modes are weighed under the first night's sky without the Moon, for the nights are chosen after them.
pub(super) fn drafted<'a>(night: &Night, profile: &'a CameraProfile) -> Result<Drafted<'a>, PlanError> {
    let (mode, steady, by_gain_setting) = steady(night, profile)?;
    if night.dated()?.is_none() {
        return Ok((mode, steady, by_gain_setting, None));
    }
    let (draft, scheduled) = steady.clone().over_nights(night, mode)?;
    let over_nights = draft.at_setting_over_nights(mode, &steady);
    let by_gain_setting = by_gain_setting.into_iter().map(over_nights).collect();
    Ok((mode, draft, by_gain_setting, scheduled))
}

/// The conditions of a dated night under the mean light of the hours that its plan takes, with nothing in hand; `None` where
/// it has no date or no place.
///
/// # Errors
/// As [`crate::plan::plan`].
pub(crate) fn conditions_over_nights(night: &Night, mode: &Mode) -> Result<Option<Conditions>, PlanError> {
    if night.dated()?.is_none() {
        return Ok(None);
    }
    let mut night = night.clone();
    (night.goal.already_have_h, night.goal.already) = (None, Vec::new());
    let evening = Evening::new(&night)?;
    let lit = Conditions::on(&night, mode, &evening)?;
    let steady = Draft::new(&night, mode, &evening.in_the_dark())?;
    Ok(light_of(&night, mode, steady.lanes(&night))?.map(|filters| Conditions { filters, ..lit }))
}

/// The best mode with its draft under the mean light of an evening, and the time of each; where the goal is out of reach, what
/// is within.
pub(super) fn steady<'a>(night: &Night, profile: &'a CameraProfile) -> Result<Steady<'a>, PlanError> {
    let evening = first_evening(night)?;
    let plans = |asked: &Night| {
        let (mode, draft, _) = drafted_once(asked, profile, &evening.with_clear_hours_of(asked))?;
        Ok(draft.reached(mode))
    };
    drafted_once(night, profile, &evening).map_err(|error| within_reach(night, error, &plans))
}

/// The mean light of the first evening: of a dated one without the Moon, for its nights are chosen later.
pub(super) fn first_evening(night: &Night) -> Result<Evening, PlanError> {
    let evening = Evening::new(night)?;
    Ok(if night.dated()?.is_some() { evening.in_the_dark() } else { evening })
}

/// [`steady`] on an evening; what is in reach where the goal is not is not looked for.
pub(super) fn drafted_once<'a>(
    night: &Night,
    profile: &'a CameraProfile,
    evening: &Evening,
) -> Result<Steady<'a>, PlanError> {
    let wanted = profile.named_mode(night.camera.gain_setting, night.camera.mode.as_deref())?;
    let drafts: Vec<_> = profile.modes.par_iter().map(|mode| (mode, Draft::new(night, mode, evening))).collect();
    let by_gain_setting =
        drafts.iter().filter_map(|(mode, draft)| Some(draft.as_ref().ok()?.at_setting(mode))).collect();
    let hours = night.goal.hours.is_some();
    let mut best: Option<(&Mode, Draft)> = None;
    let mut failure = None;
    for (mode, draft) in drafts {
        if wanted.is_some_and(|wanted| !std::ptr::eq(wanted, mode)) {
            continue;
        }
        match draft {
            Ok(draft) if best.as_ref().is_none_or(|(_, other)| draft.better_than(other, hours)) => {
                best = Some((mode, draft));
            }
            Ok(_) => {}
            Err(error) => failure = failure.or(Some(error)),
        }
    }
    match (best, failure) {
        (Some((mode, draft)), _) => Ok((mode, draft, by_gain_setting)),
        (None, Some(error)) => Err(error),
        (None, None) => Err(PlanError::impossible("modes", "of the profile is empty")),
    }
}
