//! The single changes that a person could make, by the hours that each saves for the same picture.

mod changes;

use rayon::iter::{Either, IntoParallelRefIterator, ParallelIterator};
use serde::{Deserialize, Serialize};

use crate::camera::CameraProfile;
use crate::caveat::{Caveat, push_once};
use crate::document::{Format, Stamp};
use crate::night::{KeysToSet, Night, NightChoice};
use crate::plan::{PlanError, plan};
use crate::sky::GivenSky;
use crate::stats::{Estimate, NORMAL_95};
use crate::units::Seconds;

use super::cooling::ratio_of_the_year;
use super::pair::Side;
use super::sky_answer::{asking_for_snr, in_magnitudes};
use super::two_nights::TwoNights;
use super::weighed::best_mode;
use super::{Verdict, break_even_travel_h, losses_assumed};
use changes::{Change, changes};

pub use changes::WORDS as WORDS_OF_CHOICES;

/// The word of a cooler.
const COOLING: &str = "cooling";

/// What `choices --json` prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Choices {
    /// `format`, always `subwell.choices`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// The program's version.
    pub program: String,
    /// The camera.
    pub camera: String,
    /// The signal over noise that every choice must reach.
    pub snr: f64,
    /// Time for it as things are, before rounding; `null` where it is out of reach.
    pub wall_clock_s: Option<Seconds>,
    /// Why it is out of reach.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub out_of_reach: Option<String>,
    /// Where it is, the changes with which it is within, the quickest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub within_reach: Vec<WithinReach>,
    /// Hours under the sky in a year, as given under `[cooler]`.
    pub imaging_hours_per_year: f64,
    /// Hours of a usual clear night.
    pub clear_hours_per_night: f64,
    /// The changes, those that save most first.
    pub choices: Vec<Choice>,
    /// Changes that could not be weighed.
    pub not_weighed: Vec<NotWeighed>,
    /// What the numbers rest on.
    pub caveats: Vec<Caveat>,
}

impl Format for Choices {
    const FORMAT: &'static str = "subwell.choices";
}

/// One change, all else as it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Choice {
    /// The word that a price is written for under `[[choices]]`; `own` for a change that is written there.
    pub word: String,
    /// What is done.
    pub name: String,
    /// The keys of the night file that it changes; `compare` of the two files says the same. Empty where it is another evening.
    pub set: KeysToSet,
    /// Hours of this picture as things are over hours with it: above 1 it saves.
    pub hours_ratio: Estimate<f64>,
    /// The same of a year: in moonless nights, of a cooler in those of the climate. What is saved in a year follows from it.
    pub hours_ratio_of_year: Estimate<f64>,
    /// Time for the picture with it, before rounding.
    pub wall_clock_s: Seconds,
    /// Of the hours in a year what it saves for the same pictures, the road taken off; negative where it costs. Another evening
    /// saves its hours once.
    pub hours_saved_per_year: f64,
    /// 95 % interval of that.
    pub hours_saved_interval_95: [f64; 2],
    /// Hours on the road in a night, as given.
    pub travel_h: f64,
    /// Hours on the road, there and back and taken from the clear ones, that eat what it gains; `null` where it gains nothing.
    pub break_even_travel_h: Option<f64>,
    /// Its price, as given.
    pub price: Option<f64>,
    /// Hours saved in a year for each unit of money.
    pub hours_saved_per_price: Option<f64>,
    /// Whether it is worth it.
    pub verdict: Verdict,
    /// The usual caution, where it can hurt someone or something.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub caution: Option<String>,
}

/// A change that brings a goal within reach.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WithinReach {
    /// The word that a price is written for under `[[choices]]`; `own` for a change that is written there.
    pub word: String,
    /// What is done.
    pub name: String,
    /// The keys of the night file that it changes.
    pub set: KeysToSet,
    /// Time for the picture with it, before rounding.
    pub wall_clock_s: Seconds,
}

/// A change that could not be weighed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct NotWeighed {
    /// What would be done.
    pub name: String,
    /// Why it could not be weighed.
    pub why: String,
}

impl Choices {
    /// Weighs every single change that the night allows, and those under its `[[choices]]`.
    ///
    /// `chosen` holds for each of the night's choices with keys of its own the night with them and its camera, in their order
    /// ([`Night::with`]). The ratio of each change is that of [`Comparison`](super::Comparison) between the two nights. A year is
    /// weighed without the date, in moonless nights, and a cooler as in [`Cooling`](super::Cooling) where the site has a climate.
    ///
    /// # Errors
    /// When night and camera do not fit together, or hours are asked for that bring nothing.
    pub fn new(night: &Night, camera: &CameraProfile, chosen: &[(Night, CameraProfile)]) -> Result<Self, PlanError> {
        night.check()?;
        let mut asked = asking_for_snr(night, camera)?;
        let mut chosen = chosen.to_vec();
        // A sky that was measured in electrons is that of one rig: in magnitudes it is that of any.
        let measured = matches!(asked.site.sky(), GivenSky::Measured { .. });
        let sky = if measured { in_magnitudes(&asked, best_mode(&asked, camera)?)? } else { None };
        if let Some(sky) = sky {
            for changed in
                chosen.iter_mut().map(|(changed, _)| changed).filter(|changed| changed.site.sky == asked.site.sky)
            {
                changed.site.sky = Some(sky.clone());
            }
            asked.site.sky = Some(sky);
        }
        let hours = night.cooler.clone().unwrap_or_default().hours();
        let all = changes(&asked, camera, &chosen)?;
        let mut answer = Self::empty(night, &asked, camera, hours);
        let as_is = Side::new(&asked, camera)?;
        match as_is.hours() {
            Ok(found) => {
                answer.wall_clock_s = Some(Seconds(found.seconds));
                for caveat in as_is.conditions()?.caveats.iter().cloned().chain(moon_of_one_evening(&asked)) {
                    push_once(&mut answer.caveats, caveat);
                }
                answer.weigh(night, (&asked, camera), &all)?;
            }
            Err(error) if error.is_out_of_reach() => {
                // The plan knows best what is in the way.
                answer.out_of_reach = Some(plan(night, camera).err().unwrap_or(error).to_string());
                answer.within_reach = within_reach(camera, &all);
            }
            Err(error) => return Err(error),
        }
        night.caveats().into_iter().for_each(|caveat| push_once(&mut answer.caveats, caveat));
        Ok(answer)
    }

    fn empty(night: &Night, asked: &Night, camera: &CameraProfile, hours: f64) -> Self {
        Self {
            stamp: Stamp::new(),
            program: env!("CARGO_PKG_VERSION").into(),
            camera: camera.camera.clone(),
            snr: asked.goal.snr(),
            wall_clock_s: None,
            out_of_reach: None,
            within_reach: Vec::new(),
            imaging_hours_per_year: hours,
            clear_hours_per_night: night.goal.clear_hours(),
            choices: Vec::new(),
            not_weighed: Vec::new(),
            caveats: losses_assumed(night).into_iter().collect(),
        }
    }

    /// Puts each change into its list.
    fn weigh(&mut self, night: &Night, as_is: (&Night, &CameraProfile), all: &[Change<'_>]) -> Result<(), PlanError> {
        let hours = self.imaging_hours_per_year;
        let weighed = |change: &Change<'_>| {
            let not_weighed = |why: String| NotWeighed { name: change.name.clone(), why };
            let (clear, road) = (night.goal.clear_hours(), change.travel_h());
            if road >= clear {
                return Err(not_weighed(format!("a drive of {road} h leaves nothing of {clear} clear hours")));
            }
            let found = Found::new(as_is, change).map_err(|error| not_weighed(error.to_string()))?;
            Ok(Choice::new(change, night, hours, found))
        };
        (self.not_weighed, self.choices) = all.par_iter().map(weighed).partition_map(Either::from);
        self.choices.extend(another_evening(night, as_is.1)?);
        self.choices.sort_by(|a, b| b.hours_saved_per_year.total_cmp(&a.hours_saved_per_year));
        let priced = night.choices.iter().filter(|choice| choice.keys().is_none());
        for choice in priced.filter(|choice| self.choices.iter().all(|row| row.word != choice.name)) {
            let why = "this night has nothing of it to change".into();
            self.not_weighed.push(NotWeighed { name: choice.name.clone(), why });
        }
        Ok(())
    }
}

/// The night of a year: without its date, for what a change is worth then does not hang on one evening's Moon.
fn of_a_year(night: &Night) -> Night {
    let mut usual = night.clone();
    usual.goal.date = None;
    usual
}

/// A word that the Moon of the date does not count.
fn moon_of_one_evening(night: &Night) -> Option<Caveat> {
    let date = night.goal.date.as_deref()?;
    let message =
        format!("what is saved in a year is weighed in moonless nights: the Moon of {date} counts only in waiting");
    Some(Caveat::new("moon-not-counted", message, "subwell plan has the hours of the date").about("goal.date"))
}

/// What a change does to the hours.
struct Found {
    /// Of this picture in its own nights.
    ratio: Estimate<f64>,
    /// Of a year.
    of_year: Estimate<f64>,
    wall_clock_s: Seconds,
}

impl Found {
    fn new(as_is: (&Night, &CameraProfile), change: &Change<'_>) -> Result<Self, PlanError> {
        let (night, camera) = as_is;
        let other = change.camera.unwrap_or(camera);
        let pair = TwoNights::new(as_is, (&change.night, other))?;
        let (ratio, wall_clock_s) = (pair.ratio, Seconds(pair.hours[1].seconds));
        let of_year = if change.word == COOLING && night.site.climate.is_some() {
            // Where the year's nights are known cooling is weighed in all of them.
            cooling_of_the_year(night, camera)?
        } else if night.goal.date.is_some() && night.goal.date == change.night.goal.date {
            TwoNights::new((&of_a_year(night), camera), (&of_a_year(&change.night), other))?.ratio
        } else {
            ratio
        };
        Ok(Self { ratio, of_year, wall_clock_s })
    }
}

/// The year's ratio of a cooler, as [`Cooling`](super::Cooling) has it.
fn cooling_of_the_year(night: &Night, camera: &CameraProfile) -> Result<Estimate<f64>, PlanError> {
    let (ratio, interval) = ratio_of_the_year(night, camera)?;
    if !ratio.is_finite() {
        let why = "is out of reach in warm nights of the year without it: subwell cooling says in which";
        return Err(PlanError::impossible("goal.snr", why));
    }
    let [low, high] = interval.unwrap_or([ratio; 2]);
    let spread = (high / low).ln() / (2.0 * NORMAL_95);
    Ok(Estimate::within_factor(ratio, spread).with_interval((low, high)))
}

/// The changes with which the goal is within reach.
fn within_reach(camera: &CameraProfile, all: &[Change<'_>]) -> Vec<WithinReach> {
    let found = |change: &Change<'_>| {
        let side = Side::new(&change.night, change.camera.unwrap_or(camera)).ok()?;
        Some(WithinReach {
            word: change.word.clone(),
            name: change.name.clone(),
            set: change.set.clone(),
            wall_clock_s: Seconds(side.hours().ok()?.seconds),
        })
    };
    let mut found: Vec<WithinReach> = all.par_iter().filter_map(found).collect();
    found.sort_by(|a, b| a.wall_clock_s.0.total_cmp(&b.wall_clock_s.0));
    found
}

impl Choice {
    fn new(change: &Change<'_>, night: &Night, hours: f64, found: Found) -> Self {
        let Found { ratio: hours_ratio, of_year: ratio, wall_clock_s } = found;
        let (low, high) = ratio.interval();
        let given = change.given;
        let travel = change.travel_h();
        let price = given.and_then(|given| given.price);
        let clear = night.goal.clear_hours();
        let saved = |ratio: f64| saved(hours, ratio, clear, travel);
        let net = if travel > 0.0 { hours / (hours - saved(ratio.value)) } else { ratio.value };
        Self {
            word: change.word.clone(),
            name: change.name.clone(),
            set: change.set.clone(),
            hours_ratio,
            hours_ratio_of_year: ratio,
            wall_clock_s,
            hours_saved_per_year: saved(ratio.value),
            hours_saved_interval_95: [saved(low), saved(high)],
            travel_h: travel,
            break_even_travel_h: break_even_travel_h(clear, ratio.value),
            price,
            hours_saved_per_price: price.filter(|price| *price > 0.0).map(|price| saved(ratio.value) / price),
            verdict: Verdict::from_interval(net, Some([low * net / ratio.value, high * net / ratio.value])),
            caution: change.caution.map(str::to_owned),
        }
    }
}

/// Of so many hours in a year what a change saves for the same pictures.
///
/// ```text
/// H − H/r · c/(c − v)
/// ```
///
/// `r` is the ratio of hours, `c` the clear hours of a night, of which the road takes `v`. Where the road takes them all,
/// nothing gets done, and all the hours are lost.
///
/// # Source
/// Derived here; zero where `v` is [`break_even_travel_h`].
fn saved(hours: f64, ratio: f64, clear: f64, travel: f64) -> f64 {
    let left = (clear - travel) / clear;
    if left > 0.0 { (hours - hours / (ratio * left)).max(-hours) } else { -hours }
}

/// The evening to wait for, where the plan names one: the Moon out of the way. It saves its hours once, of this picture.
fn another_evening(night: &Night, camera: &CameraProfile) -> Result<Option<Choice>, PlanError> {
    let plan = plan(night, camera)?;
    let Some(schedule) = plan.schedule else { return Ok(None) };
    let Some((start, saves)) = schedule.wait_until.zip(schedule.wait_saves_percent) else { return Ok(None) };
    let Some(wall_clock_s) = start.wall_clock_s else { return Ok(None) };
    let ratio = 1.0 / (1.0 - saves / 100.0);
    let as_is_h = ratio * wall_clock_s.0 / 3600.0;
    let change = Change {
        word: "wait".into(),
        name: format!("wait until {} for less Moon, of this picture alone", start.date),
        set: KeysToSet::new(),
        night: night.clone(),
        camera: None,
        given: priced(night, "wait"),
        caution: None,
    };
    let ratio = Estimate::new(ratio, 0.0);
    let found = Found { ratio, of_year: ratio, wall_clock_s };
    Ok(Some(Choice::new(&change, night, as_is_h, found)))
}

/// What the night says of a change that the program knows by this word.
fn priced<'a>(night: &'a Night, word: &str) -> Option<&'a NightChoice> {
    night.choices.iter().find(|choice| choice.keys().is_none() && choice.name == word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drive_eats_what_it_gains_where_the_comparison_says_so() {
        let (clear, ratio) = (5.0, 2.5);
        let break_even = clear * (1.0 - 1.0 / ratio);
        assert_eq!(break_even_travel_h(clear, ratio), Some(break_even));
        assert!(saved(60.0, ratio, clear, break_even).abs() < 1e-9);
        approx::assert_relative_eq!(saved(60.0, 2.0, clear, 0.0), 30.0);
        assert_eq!(saved(60.0, 2.0, clear, 5.0), -60.0);
    }
}
