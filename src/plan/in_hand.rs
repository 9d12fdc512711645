//! Hours that are there already, under another sky or in other subs: what they are worth, and how to join them.

use serde::Serialize;

use crate::camera::Mode;

use super::{Demand, PlanError};
use crate::night::evening::Evening;
use crate::night::{AlreadyHave, Conditions, Night};

/// What one filter has in hand, and how it joins the new subs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PriorStack {
    /// Signal over noise of the earlier stacks together, in the patch of the goal.
    pub snr: f64,
    /// Signal over noise of the new subs alone.
    pub new_snr: f64,
    /// Of both, each weighed by its own quality.
    pub combined_snr: f64,
    /// Weight of the earlier stacks in the mean, the target equally bright in both.
    pub weight_percent: f64,
}

impl PriorStack {
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
pub(crate) fn snr_in_hand(
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
pub(crate) fn still_to_reach(goal: f64, in_hand: f64) -> Option<f64> {
    (in_hand < goal).then(|| (goal * goal - in_hand * in_hand).sqrt())
}
