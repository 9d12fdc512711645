//! What to buy, where to drive: hours for the same signal over noise in two ways of working.
//!
//! [`Cooling`] weighs one camera with and without cooling, month by month, and against another camera; [`Comparison`]
//! weighs any two nights. Both take the plan's own conditions and search and round nothing, so that a ratio moves
//! smoothly with everything it depends on.

mod climate;
mod compare;
mod cooling;
mod hours;
mod shares;
mod split;

use serde::Serialize;

pub use compare::{Comparison, Factor, FilterPurchase, NoiseOfNight};
pub use cooling::{Cooling, MonthOfCooling, ReadNoiseShare, USEFUL_SHARE, WhichDark};
pub use split::{Against, Split};

use crate::camera::Mode;
use crate::caveat::Caveat;
use crate::rig::Filter;

use super::{Night, PlanError};

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
    pub fn of(ratio: f64) -> Self {
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
