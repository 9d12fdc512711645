//! Two nights for one picture: what both are asked for, and the ratio of their hours.

use crate::camera::CameraProfile;
use crate::caveat::Caveat;
use crate::night::Night;
use crate::plan::PlanError;
use crate::stats::Estimate;

use super::hours::Hours;
use super::pair::{Pair, Side};
use super::pictures::same_picture;
use super::sky_answer::asking_for_snr;

/// Two nights that are asked for the goal of the first, with their hours.
pub(super) struct TwoNights {
    pub(super) pair: Pair,
    pub(super) hours: [Hours; 2],
    /// Hours of the first over those of the second.
    pub(super) ratio: Estimate<f64>,
    /// The first night with a signal over noise for its goal.
    pub(super) first: Night,
    /// Whether the second night asks for the same by itself.
    pub(super) same_goal: bool,
    /// What was put right so that both take the same picture.
    pub(super) alike: Option<Caveat>,
}

impl TwoNights {
    pub(super) fn new(a: (&Night, &CameraProfile), b: (&Night, &CameraProfile)) -> Result<Self, PlanError> {
        let first = asking_for_snr(a.0, a.1)?;
        let mut second = b.0.clone();
        let same_goal = {
            let goal = |night: &Night| (night.goal.snr(), night.goal.hours, night.goal.patch());
            goal(a.0) == goal(b.0)
        };
        second.goal.hours = None;
        (second.goal.snr, second.goal.picture) = (first.goal.snr, first.goal.picture);
        for filter in &mut second.filters {
            filter.snr = first.filters.iter().find(|own| own.label() == filter.label()).and_then(|own| own.snr);
        }
        (second.goal.patch_arcsec, second.goal.pixel) = (first.goal.patch_arcsec, first.goal.pixel);
        let mut sides = [Side::new(&first, a.1)?, Side::new(&second, b.1)?];
        let [own, other] = &mut sides;
        let alike = same_picture([(&mut own.night, &own.mode), (&mut other.night, &other.mode)]);
        if alike.is_some() {
            sides = [Side::new(&sides[0].night, a.1)?, Side::new(&sides[1].night, b.1)?];
        }
        let pair = Pair { sides };
        let shared = pair.shared_inputs(a.1 == b.1);
        let pair = pair.with_comparable_skies()?.in_one_light();
        let hours = [pair.sides[0].hours()?, pair.sides[1].hours()?];
        let ratio = Estimate::within_factor(hours[0].seconds / hours[1].seconds, pair.spread(&shared)?);
        Ok(Self { pair, hours, ratio, first, same_goal, alike })
    }
}
