//! Hours that are there already, under another sky or in other subs: what they are worth, and how to join them.

use serde::{Deserialize, Serialize};

use crate::camera::Mode;
use crate::sky::GivenSky;
use crate::units::Seconds;

use super::evening::Evening;
use super::{Conditions, Demand, Night, PlanError};

/// `[[goal.already]]`: one earlier stack of the same target with the same camera and telescope.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AlreadyHave {
    /// Hours of open shutter in it.
    pub hours: f64,
    /// Length of its subs.
    pub sub_s: Seconds,
    /// Its sky, moonlight included; left out, that of the site without the Moon.
    #[serde(default)]
    pub sky: Option<GivenSky>,
    /// Its filter; left out, all of them by their shares.
    #[serde(default)]
    pub filter: Option<String>,
    /// A dither after so many subs.
    #[serde(default)]
    pub dither_every_subs: Option<f64>,
}

impl AlreadyHave {
    /// Cadence of an earlier stack where none is given (common practice, no source).
    pub const DEFAULT_DITHER_EVERY: f64 = 5.0;

    /// Checks what the types cannot.
    pub(super) fn check(&self, night: &Night) -> Result<(), PlanError> {
        let impossible =
            |key: &str, why: String| Err(PlanError::Impossible { key: format!("goal.already.{key}"), why });
        let every = self.dither_every_subs.unwrap_or(Self::DEFAULT_DITHER_EVERY);
        for (key, value, low, high) in [
            ("hours", self.hours, 1e-3, 1e5),
            ("sub_s", self.sub_s.0, 1e-3, 7200.0),
            ("dither_every_subs", every, 1.0, 1e6),
        ] {
            if !(low..=high).contains(&value) {
                return impossible(key, format!("must lie between {low} and {high}"));
            }
        }
        if let Some(filter) = &self.filter
            && !night.filters.is_empty()
            && night.filters.iter().all(|known| known.label() != *filter)
        {
            let known: Vec<String> = night.filters.iter().map(crate::rig::Filter::label).collect();
            return impossible("filter", format!("is `{filter}`, and the night has {}", known.join(", ")));
        }
        self.under(night).site.check()?;
        Ok(())
    }

    /// The night under the earlier sky.
    fn under(&self, night: &Night) -> Night {
        let mut earlier = night.clone();
        earlier.site.sky = self.sky.clone().or(earlier.site.sky);
        earlier
    }
}

/// What one filter has in hand, and how it joins the new subs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct InHand {
    /// Signal over noise of the earlier stacks together, in the patch of the goal.
    pub snr: f64,
    /// Signal over noise of the new subs alone.
    pub new_snr: f64,
    /// Of both, each weighed by its own quality.
    pub combined_snr: f64,
    /// Weight of the earlier stacks in the mean, the target equally bright in both.
    pub weight_percent: f64,
}

impl InHand {
    /// Two means of the same light, each weighed by one over its variance.
    ///
    /// ```text
    /// SNR² = SNR₁² + SNR₂²,   w₁ = SNR₁²/SNR²
    /// ```
    ///
    /// # Source
    /// The inverse-variance mean, with both scaled to the same signal.
    #[must_use]
    pub fn new(snr: f64, new_snr: f64) -> Self {
        let combined_snr = snr.hypot(new_snr);
        let weight_percent = if combined_snr > 0.0 { 100.0 * (snr / combined_snr).powi(2) } else { 0.0 };
        Self { snr, new_snr, combined_snr, weight_percent }
    }
}

/// Signal over noise that each filter has in hand, 0 without any.
pub(super) fn snr_in_hand(
    night: &Night,
    mode: &Mode,
    evening: &Evening,
    shares: &[f64],
) -> Result<Vec<f64>, PlanError> {
    let mut squares = vec![0.0; shares.len()];
    for stack in &night.goal.already {
        let earlier = stack.under(night);
        let conditions = Conditions::on(&earlier, mode, &evening.with_moon(None))?;
        for ((filter, share), square) in conditions.filters.iter().zip(shares).zip(&mut squares) {
            let hours = match &stack.filter {
                Some(name) if *name != filter.name => continue,
                Some(_) => stack.hours,
                None => stack.hours * share,
            };
            let search =
                super::draft::search(&earlier, mode, filter, Demand::Snr(1.0), super::draft::DITHER_BOXES_PX[0]);
            let every = stack.dither_every_subs.unwrap_or(AlreadyHave::DEFAULT_DITHER_EVERY);
            let subs = hours * 3600.0 / stack.sub_s.0;
            if !search.planes.is_empty() && subs > 0.0 {
                *square += search.snr(stack.sub_s, subs, every).powi(2);
            }
        }
    }
    Ok(squares.into_iter().map(f64::sqrt).collect())
}

/// What is still to be reached beside what is in hand; `None` where nothing is.
pub(super) fn still_to_reach(goal: f64, in_hand: f64) -> Option<f64> {
    (in_hand < goal).then(|| (goal * goal - in_hand * in_hand).sqrt())
}
