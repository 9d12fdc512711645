//! What to buy, where to drive: hours for the same signal over noise in two ways of working.
//!
//! [`Cooling`] weighs one camera with and without cooling, month by month, and against another camera; [`Comparison`]
//! weighs any two nights. Both take the plan's own conditions and search and round nothing, so that a ratio moves
//! smoothly with everything it depends on.

mod climate;
mod compare;
mod cooling;
mod hours;
mod pair;
mod sky_answer;
mod split;
mod star_light;
mod weighed;

use serde::Serialize;

pub use compare::{Comparison, Factor, FilterPurchase, NoiseOfNight};
pub use cooling::{Cooling, MonthOfCooling, ReadNoiseShare, USEFUL_SHARE, WhichDark};
pub use sky_answer::{ChainFactor, HoursRatio, PlaneSky, SkyAnswer, SkyWindow};
pub use split::{Against, Split};
pub use star_light::{MeasuredStar, StarLight, star_light};

use crate::camera::Mode;
use crate::caveat::Caveat;
use crate::rig::{Filter, Mount};

use crate::night::Night;
use crate::plan::PlanError;

/// From which ratio of hours on a purchase is marginal, worth it, clearly worth it (common practice, no source).
pub const THRESHOLDS: [f64; 3] = [1.05, 1.2, 1.5];
/// The ratio from which on cooling is said to pay.
const PAYS: f64 = THRESHOLDS[1];
/// Halvings in which a crossing is found.
const HALVINGS: usize = 20;

/// The answer in a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
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
    let (mut below, mut above) = (low, high);
    for _ in 0..HALVINGS {
        let middle = (below + above) / 2.0;
        if of(middle)? < level { below = middle } else { above = middle }
    }
    Ok((Some((below + above) / 2.0), None))
}

/// Whether a mode sees colours through an array.
fn is_array(mode: &Mode) -> bool {
    mode.planes.iter().any(|plane| plane.colour.is_some())
}

/// A word where one camera must reach the goal in three colours and the other in fewer.
fn colours_against_fewer(sides: [(&Night, &Mode); 2]) -> Option<Caveat> {
    let colours = |(night, mode): &(&Night, &Mode)| {
        let broad = |filter: &Filter| ["none", "luminance"].contains(&filter.label().as_str());
        if is_array(mode) && night.filters(true).iter().any(broad) { 3 } else { night.filters(is_array(mode)).len() }
    };
    let [own, other] = [colours(&sides[0]), colours(&sides[1])];
    (is_array(sides[0].1) != is_array(sides[1].1) && own.min(other) < 3).then(|| {
        let message = format!(
            "the colour camera must reach the goal in red, green and blue, a quarter or a half of its pixels each; the other \
             in {} alone: that is no picture in colour",
            if own.min(other) == 1 { "one filter".into() } else { format!("{} filters", own.min(other)) }
        );
        let hint = "to compare pictures in colour, give the monochrome night the filters red, green and blue";
        Caveat::new("colours-against-fewer", message, hint)
    })
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
    fn nothing_that_differs_has_no_factors() {
        assert!(factors(0, |_| Ok(2.0)).unwrap().is_empty());
    }
}
