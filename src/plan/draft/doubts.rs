//! What a plan rests on, and what was left out of it.

use crate::camera::{CameraProfile, Mode, PlaneName};
use crate::caveat::{Caveat, push_once};
use crate::night::Night;
use crate::rig::Mount;

use super::super::{Demand, FilterPlan};
use super::{Draft, FilterDraft};

/// A target lower than this is worth a word.
const LOW_DEG: f64 = 20.0;
/// Share of the stack's variance from which the masters are worth a word, in percent.
const CALIBRATION_SHARE: f64 = 10.0;
/// A bound that is passed by more than this is worth a word.
const BEYOND: f64 = 1e-3;

impl Draft {
    /// A patch that is wider than what the profile says of the noise that neighbours share, or dithers wider than the frame.
    fn beyond_the_tables(&self, mode: &Mode, filters: &[FilterPlan]) -> Option<Caveat> {
        let known = mode.noise_by_scale.iter().filter_map(|table| table.pixels.last()).max()?;
        // A colour array's plane has every other pixel.
        let pitch = if mode.planes.iter().any(|plane| plane.plane == PlaneName::Mono) { 1.0 } else { 2.0 };
        let (known, frame) = (pitch * f64::from(*known), mode.width_px.min(mode.height_px) as f64);
        let planes = || self.conditions.filters.iter().flat_map(|filter| &filter.planes).map(|plane| plane.patch);
        let patch = planes().filter(|patch| !patch.is_white()).map(|patch| patch.side_px).fold(0.0, f64::max);
        let dithers = filters.iter().map(|filter| f64::from(filter.dither_px)).fold(0.0, f64::max);
        let (message, hint) = if patch > known {
            (
                format!(
                    "the patch is {patch:.0} px wide, and the profile says what neighbours share of the noise up to \
                     {known:.0} px: beyond that it is extrapolated"
                ),
                "ask for a smaller patch_arcsec, or measure whole frames",
            )
        } else if dithers > frame && planes().any(|patch| !patch.is_white()) {
            (
                format!(
                    "the dithers reach over {dithers:.0} px and the measured frames over {frame:.0}: the pattern is extrapolated"
                ),
                "measure whole frames",
            )
        } else {
            return None;
        };
        Some(Caveat::new("extrapolated", message, hint).about("noise_by_scale"))
    }

    /// What the plan rests on, and what was left out of it.
    pub(super) fn caveats(
        &self,
        night: &Night,
        profile: &CameraProfile,
        mode: &Mode,
        filters: &[FilterPlan],
    ) -> Vec<Caveat> {
        let mut caveats = Vec::from_iter(self.beyond_the_tables(mode, filters));
        if night.mount.lost_subs_per_hour.is_none() {
            let rate = Mount::DEFAULT_LOST_SUBS_PER_HOUR;
            let message = format!(
                "lost_subs_per_hour was left out and taken as {rate}: under a bright sky nothing moves the sub length more"
            );
            let hint = "count the subs that your last nights lost in an hour of open shutter";
            caveats.push(Caveat::new("assumed-value", message, hint).about("mount.lost_subs_per_hour"));
        }
        let more = night.caveats().into_iter().chain(self.conditions.caveats.iter().cloned());
        for caveat in more.chain(profile.caveats.iter().cloned()) {
            push_once(&mut caveats, caveat);
        }
        let counts = &night.calibration;
        if counts.darks() + counts.flats() + counts.biases() == 0 {
            let message =
                "no calibration frames at all: vignetting, dust and what the sensor adds by itself stay in the stack";
            let hint = "take flats at least; the plan says how many, and whether darks or a bad-pixel map serve better";
            caveats.push(Caveat::new("no-calibration-frames", message, hint));
        }
        if self.conditions.night.is_none() && night.target.altitude().0 < LOW_DEG {
            let message = format!(
                "at {:.0} degrees the light crosses much air, and how bright the sky is there depends on the lamps beneath",
                night.target.altitude().0
            );
            let hint = "wait until it stands higher, or give a sky that was measured there, with its altitude_deg";
            caveats.push(Caveat::new("low-target", message, hint).about("target.altitude_deg"));
        }
        caveats.extend(filters.iter().zip(&self.filters).flat_map(|(filter, draft)| asked_for(night, filter, draft)));
        for (filter, draft) in filters.iter().zip(&self.filters) {
            let most = draft.search.most_subs;
            let by_hours = matches!(draft.search.demand, Demand::Within(_));
            if by_hours && filter.subs_to_shoot as f64 >= most.floor() {
                let message = format!(
                    "most_subs or most_gigabytes end the set at {} subs, {:.1} h on the clock, before {} do",
                    filter.subs_to_shoot,
                    filter.wall_clock_s.0 / 3600.0,
                    if night.goal.hours.is_some() { "the hours" } else { "the hours of its share" }
                );
                let hint = "raise them under [stack], or give fewer hours or a smaller share";
                caveats.push(Caveat::new("storage-bound", message, hint).about(filter.name.clone()));
            }
            let share = filter.planes.iter().map(|plane| plane.noise_share_percent.calibration).fold(0.0, f64::max);
            if share > CALIBRATION_SHARE {
                let message = format!("the calibration frames bring {share:.0} % of the stack's variance");
                let hint = "take more darks and flats, or dither more often";
                push_once(
                    &mut caveats,
                    Caveat::new("few-calibration-frames", message, hint).about(filter.name.clone()),
                );
            }
            if filter.subs_to_shoot == 0 {
                let message = "the hours in hand reach the goal already";
                push_once(&mut caveats, Caveat::new("goal-reached", message, "raise snr").about(filter.name.clone()));
            }
        }
        caveats
    }
}

/// What a length or a cadence that the person has fixed breaks.
fn asked_for(night: &Night, filter: &FilterPlan, draft: &FilterDraft) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    let longest = draft.search.longest();
    if let Some(sub) = night.goal.sub_s.filter(|sub| sub.0 > longest * (1.0 + BEYOND)) {
        let message = format!(
            "subs of {} s are asked for, and the mount, a star or the sky bound them at {longest:.1} s: what they spoil is \
             not counted",
            sub.0
        );
        let hint = "ask for shorter subs, or leave sub_s out";
        caveats.push(Caveat::new("asked-beyond-bound", message, hint).about(filter.name.clone()));
    }
    let least = u64::from(night.stack.min_positions());
    if let Some(every) = night.goal.dither_every.filter(|_| filter.subs_to_shoot > 0 && filter.dithers < least) {
        let message = format!(
            "a dither every {every} subs leaves {} places, and {least} are the least for rejection: hot pixels stay",
            filter.dithers
        );
        let hint = "dither more often, or leave dither_every out";
        caveats.push(Caveat::new("asked-beyond-bound", message, hint).about(filter.name.clone()));
    }
    caveats
}
