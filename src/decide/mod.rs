//! What to buy, where to drive: hours for the same signal over noise in two ways of working.
//!
//! [`Cooling`] weighs one camera with and without cooling, month by month, and against another camera; [`Comparison`]
//! weighs any two nights. Both take the plan's own conditions and search and round nothing, so that a ratio moves
//! smoothly with everything it depends on.
//!
//! A ratio is split by the mean over all orders in which what differs can be exchanged (Shapley 1953), so that its
//! factors multiply to it.

mod choices;
mod climate;
mod compare;
mod cooling;
mod hours;
mod pair;
mod pictures;
mod plan_light;
mod sky_answer;
mod split;
mod star_light;
mod targets;
mod two_nights;
mod weighed;

use serde::{Deserialize, Serialize};

pub use choices::{Choice, Choices, NotWeighed, WORDS_OF_CHOICES, WithinReach};
pub use compare::{Comparison, Factor, FilterPurchase, NoiseOfNight, PurchaseTarget};
pub use cooling::{Cooling, DarkStatistic, MonthOfCooling, ReadNoiseShare, USEFUL_SHARE, WhichDark};
pub use sky_answer::{ChainFactor, HoursRatio, PlaneSky, SkyAnswer, SkyWindow};
pub use split::{Against, Split};
pub use star_light::{MeasuredStar, StarLight, star_light};
pub use targets::{FilterTime, TargetInReach, Targets, TargetsAsked};

use crate::camera::Mode;
use crate::caveat::Caveat;
use crate::rig::Mount;
use crate::stats::try_bisect;

use crate::night::Night;
use crate::plan::PlanError;

/// From which ratio of hours on a purchase is marginal, worth it, clearly worth it (common practice, no source).
pub const THRESHOLDS: [f64; 3] = [1.05, 1.2, 1.5];
/// The ratio from which on cooling is said to pay.
const PAYS: f64 = THRESHOLDS[1];
/// Halvings in which a crossing is found.
const HALVINGS: usize = 20;

/// The answer in a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Verdict {
    /// Below the first threshold.
    #[serde(rename = "not worth it")]
    NotWorthIt,
    /// Below the second.
    #[serde(rename = "marginal")]
    Marginal,
    /// Below the third.
    #[serde(rename = "worth it")]
    WorthIt,
    /// Above them all.
    #[serde(rename = "clearly worth it")]
    ClearlyWorthIt,
}

impl Verdict {
    /// The verdict on a ratio of hours by [`THRESHOLDS`].
    #[must_use]
    pub fn from_ratio(ratio: f64) -> Self {
        let passed = THRESHOLDS.iter().filter(|threshold| ratio >= **threshold).count();
        [Self::NotWorthIt, Self::Marginal, Self::WorthIt, Self::ClearlyWorthIt][passed]
    }

    /// The verdict on a ratio of hours that is known to an interval: at most one step above that on the interval's lower end.
    #[must_use]
    pub fn from_interval(ratio: f64, interval: Option<[f64; 2]>) -> Self {
        let own = Self::from_ratio(ratio);
        let at_most = match interval.map(|[low, _]| Self::from_ratio(low)) {
            Some(Self::NotWorthIt) => Self::Marginal,
            Some(Self::Marginal) => Self::WorthIt,
            Some(Self::WorthIt | Self::ClearlyWorthIt) | None => Self::ClearlyWorthIt,
        };
        own.min(at_most)
    }

    /// The words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::NotWorthIt => "not worth it",
            Self::Marginal => "marginal",
            Self::WorthIt => "worth it",
            Self::ClearlyWorthIt => "clearly worth it",
        }
    }
}

/// Where in a range a rising function reaches a level; else whether it lies above the level all over the range.
fn crossing(
    [low, high]: [f64; 2],
    level: f64,
    of: impl Fn(f64) -> Result<f64, PlanError>,
) -> Result<(Option<f64>, Option<bool>), PlanError> {
    if of(low)? >= level {
        return Ok((None, Some(true)));
    }
    if of(high)? < level {
        return Ok((None, Some(false)));
    }
    let [below, above] = try_bisect([low, high], HALVINGS, |middle| Ok::<_, PlanError>(of(middle)? < level))?;
    Ok((Some((below + above) / 2.0), None))
}

/// Whether a mode sees colours through an array.
fn is_array(mode: &Mode) -> bool {
    mode.planes.iter().any(|plane| plane.colour.is_some())
}

/// Hours on the road, taken from the clear ones of a night, that eat what a ratio of hours gains.
///
/// ```text
/// v = c (1 − 1/r)
/// ```
fn break_even_travel_h(clear_hours: f64, ratio: f64) -> Option<f64> {
    (ratio > 1.0).then_some(clear_hours * (1.0 - 1.0 / ratio))
}

/// The factors of a ratio, one for each of `count` properties that differ.
///
/// `value` is the logarithm of a time with the properties whose bits are set taken from the one side, the others from the
/// other. Each property's factor is the mean, over all orders of changing one property after the other, of what its change
/// does:
///
/// ```text
/// ln f_i = Σ_S |S|! (n − |S| − 1)!/n! · (v(S) − v(S ∪ i))
/// ```
///
/// `S` runs over the sets without `i`. Every order's changes add up to the whole, so the factors multiply to the whole and
/// none of them is what is left over.
///
/// # Source
/// Shapley 1953, A value for n-person games, from memory.
fn factors(count: usize, value: impl Fn(u32) -> Result<f64, PlanError>) -> Result<Vec<f64>, PlanError> {
    let values = (0..1_u32 << count).map(value).collect::<Result<Vec<f64>, _>>()?;
    let factorial = |n: usize| (1..=n).map(|k| k as f64).product::<f64>();
    let weight = |size: usize| factorial(size) * factorial(count - size - 1) / factorial(count);
    let mean_change = |property: usize| {
        let bit = 1_usize << property;
        let without = (0..values.len()).filter(|set| set & bit == 0);
        let sum: f64 = without.map(|set| weight(set.count_ones() as usize) * (values[set] - values[set | bit])).sum();
        sum.exp()
    };
    Ok((0..count).map(mean_change).collect())
}

/// A word where the loss rate, which sets the sub length under a bright sky, was assumed.
fn losses_assumed(night: &Night) -> Option<Caveat> {
    night.mount.lost_subs_per_hour.is_none().then(|| {
        let rate = Mount::DEFAULT_LOST_SUBS_PER_HOUR;
        let message = format!("lost_subs_per_hour was left out and taken as {rate}");
        let hint = "count the subs that your last nights lost in an hour of open shutter";
        Caveat::new("assumed-value", message, hint).about("mount.lost_subs_per_hour")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factors_multiply_to_the_whole_and_equal_parts_are_equal() {
        // Two properties that only act together share what they do.
        let value = |set: u32| Ok(if set & 3 == 3 { -1.0 } else { 0.0 } - if set & 4 == 4 { 0.3 } else { 0.0 });
        let factors = factors(3, value).unwrap();
        approx::assert_relative_eq!(factors.iter().product::<f64>(), 1.3_f64.exp(), max_relative = 1e-12);
        approx::assert_relative_eq!(factors[0], 0.5_f64.exp(), max_relative = 1e-12);
        approx::assert_relative_eq!(factors[1], factors[0], max_relative = 1e-12);
    }

    #[test]
    fn a_verdict_is_no_surer_than_its_range() {
        assert_eq!(Verdict::from_interval(13.0, Some([1.0, 13.1])), Verdict::Marginal);
        assert_eq!(Verdict::from_interval(13.0, Some([1.3, 20.0])), Verdict::ClearlyWorthIt);
        assert_eq!(Verdict::from_interval(1.01, Some([1.0, 1.02])), Verdict::NotWorthIt);
    }

    #[test]
    fn nothing_that_differs_has_no_factors() {
        assert!(factors(0, |_| Ok(2.0)).unwrap().is_empty());
    }
}
