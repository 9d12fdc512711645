//! Two nights side by side: hours for the same signal over noise, and why.

use serde::{Deserialize, Serialize};

use crate::camera::CameraProfile;
use crate::caveat::{Caveat, push_once};
use crate::document::{Format, Stamp};
use crate::noise::{NoiseShares, Rates};
use crate::sky::Lamps;
use crate::stats::Estimate;
use crate::units::Seconds;

use super::hours::Hours;
use super::pair::Side;
use super::two_nights::TwoNights;
use super::{Verdict, break_even_travel_h};
use crate::night::Night;
use crate::plan::{OutOfReach, PlanError};

/// What `compare --json` prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Comparison {
    /// `format`, always `subwell.compare`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// The program's version.
    pub program: String,
    /// The goal of the first night, which is asked of both.
    pub snr: f64,
    /// Hours of the first night over those of the second: above 1 the second is quicker.
    pub hours_ratio: Estimate<f64>,
    /// Whether to change from the first to the second.
    #[serde(default = "not_worth_it")]
    pub verdict: Verdict,
    /// What the two are called: the cameras where they differ, else the names of the files, else `the first night` and
    /// `the second night`.
    #[serde(default)]
    pub names: [String; 2],
    /// What it is made of; the factors multiply to it and none is what is left over.
    pub factors: Vec<Factor>,
    /// Hours of the first night, before rounding.
    pub a_wall_clock_s: Seconds,
    /// Hours of the second night, before rounding.
    pub b_wall_clock_s: Seconds,
    /// Hours on the road, there and back and taken from the clear ones, that eat what the second night gains in each
    /// clear night of the first; `null` where it gains nothing.
    pub break_even_travel_h: Option<f64>,
    /// The clear hours of a night behind that.
    pub clear_hours_per_night: f64,
    /// The first night in its first filter.
    pub a: NoiseOfNight,
    /// The second night in its first filter.
    pub b: NoiseOfNight,
    /// Where the filters differ: the ratio that they alone make, by what is photographed and what lights the sky.
    pub filter_purchase: Vec<FilterPurchase>,
    /// What the numbers rest on.
    pub caveats: Vec<Caveat>,
}

impl Format for Comparison {
    const FORMAT: &'static str = "subwell.compare";
}

/// One reason with its part of the ratio.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Factor {
    /// `sky`, `air temperature`, `target`, `aperture`, `sampling`, `filter`, `camera`, `mount`, `calibration`, `habits`.
    pub name: String,
    /// Its part.
    pub ratio: f64,
}

/// Where a night's noise comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct NoiseOfNight {
    /// The camera.
    pub camera: String,
    /// The filter.
    pub filter: String,
    /// Its sub length of the least time.
    pub sub_s: Seconds,
    /// What fills a pixel of the first plane that must reach the goal.
    pub rates_e_per_s: Rates,
    /// Shares of the stack's variance in the plane that is worst off.
    pub noise_share_percent: NoiseShares,
}

/// A kind of target, by its light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum PurchaseTarget {
    /// Light of all wavelengths.
    Galaxy,
    /// Lines alone.
    Nebula,
}

/// What a change of filters does to one kind of target under one kind of lamps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FilterPurchase {
    /// What is photographed.
    pub target: PurchaseTarget,
    /// What lights the sky.
    pub lamps: Lamps,
    /// Hours with the first night's filters over those with the second's; `null` where a filter shows nothing of it.
    pub hours_ratio: Option<f64>,
}

impl Comparison {
    /// Compares two nights with their cameras: the goal of the first is asked of both.
    ///
    /// The hours are the least over sub length and dither cadence, before rounding, and without the rules that bind a short
    /// target alone. The uncertainty is that of what the nights do not share: the same camera, optics or sky is as wrong in
    /// both.
    ///
    /// # Errors
    /// When night and camera do not fit together, or the goal cannot be reached in one of the nights.
    ///
    /// # Examples
    /// ```
    /// use subwell::camera::CameraProfile;
    /// use subwell::decide::Comparison;
    /// use subwell::night::Night;
    ///
    /// let camera = CameraProfile::from_toml(r#"
    ///     camera = "from a data sheet"
    ///     provenance = "published"
    ///     [[modes]]
    ///     pixel_um = 3.8
    ///     width_px = 4600
    ///     height_px = 3500
    ///     [[modes.planes]]
    ///     plane = "mono"
    ///     gain_e_per_dn = 0.8
    ///     read_noise_e = 1.6
    ///     saturation_e = 18000.0
    /// "#)?;
    /// let under = |bortle: u8| {
    ///     Night::from_toml(&format!(
    ///         r#"
    ///         optics = {{ aperture_mm = 76.0, focal_length_mm = 440.0 }}
    ///         site = {{ sky = {{ bortle = {bortle} }} }}
    ///         target = {{ surface_brightness_mag = 23.0 }}
    ///         goal = {{ snr = 6.0 }}
    ///         "#
    ///     ))
    /// };
    /// let drive = Comparison::new((&under(7)?, &camera), (&under(4)?, &camera))?;
    /// println!("the home sky asks {:.1} times the hours of the darker one", drive.hours_ratio.value);
    /// assert!(drive.hours_ratio.value > 2.0);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn new(a: (&Night, &CameraProfile), b: (&Night, &CameraProfile)) -> Result<Self, PlanError> {
        a.0.check()?;
        b.0.check()?;
        let TwoNights { pair, hours: [here, there], ratio: hours_ratio, first, same_goal, alike } =
            TwoNights::new(a, b)?;
        let ratio = hours_ratio.value;
        let (low, high) = hours_ratio.interval();
        let clear = first.goal.clear_hours();
        let names = names(a.1, b.1);
        let mut caveats = Vec::from_iter(alike);
        caveats.extend(pair.caveats([a, b], [&here, &there], &names)?);
        if !same_goal {
            let message = "the two nights ask for different things: the goal of the first is asked of both";
            push_once(&mut caveats, Caveat::new("goal-differs", message, "give both the same snr and patch_arcsec"));
        }
        Ok(Self {
            stamp: Stamp::new(),
            program: env!("CARGO_PKG_VERSION").into(),
            snr: first.goal.snr(),
            hours_ratio,
            verdict: Verdict::from_interval(ratio, Some([low, high])),
            names,
            factors: pair.factors()?,
            a_wall_clock_s: Seconds(here.seconds),
            b_wall_clock_s: Seconds(there.seconds),
            break_even_travel_h: break_even_travel_h(clear, ratio),
            clear_hours_per_night: clear,
            a: noise_of(&pair.sides[0], a.1, &here)?,
            b: noise_of(&pair.sides[1], b.1, &there)?,
            filter_purchase: pair.filter_purchase(),
            caveats,
        })
    }

    /// The same with these names for nights of one camera, such as those of their files.
    #[must_use]
    pub fn called(mut self, names: [String; 2]) -> Self {
        if self.a.camera == self.b.camera && names[0] != names[1] {
            self.names = names;
        }
        self
    }
}

fn not_worth_it() -> Verdict {
    Verdict::NotWorthIt
}

fn names(a: &CameraProfile, b: &CameraProfile) -> [String; 2] {
    if a.camera == b.camera {
        return ["the first night", "the second night"].map(str::to_owned);
    }
    [a.camera.clone(), b.camera.clone()]
}

fn noise_of(side: &Side, camera: &CameraProfile, hours: &Hours) -> Result<NoiseOfNight, PlanError> {
    let nothing = || PlanError::OutOfReach { filter: String::new(), reach: OutOfReach::NoLight };
    let conditions = side.conditions()?;
    let filter = conditions.filters.first().ok_or_else(nothing)?;
    let plane = filter.planes.iter().find(|plane| plane.governs).ok_or_else(nothing)?;
    let least = hours.filters.first().ok_or_else(nothing)?;
    Ok(NoiseOfNight {
        camera: camera.camera.clone(),
        filter: filter.name.clone(),
        sub_s: least.sub(),
        rates_e_per_s: plane.noise.rates,
        noise_share_percent: least.shares().ok_or_else(nothing)?,
    })
}
