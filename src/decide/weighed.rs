//! One camera through the year of one climate, run in two ways.

use crate::camera::{CameraProfile, Mode};
use crate::sky::GivenSky;
use crate::units::{Celsius, MagnitudesPerSquareArcsecond};

use super::climate::{Cooling as Held, Darks, MeanDark, dark_hours, night_air};
use super::hours::{Hours, hours};
use super::sky_answer::asking_for_snr;
use crate::night::{Conditions, Night};
use crate::plan::PlanError;

/// Far colder than any set point.
pub(super) const VERY_COLD: Celsius = Celsius(-40.0);
/// One camera under one climate.
pub(super) struct Weighed<'a> {
    pub(super) night: Night,
    pub(super) mode: &'a Mode,
    pub(super) weights: [f64; 12],
}

/// A camera's way of cooling and what it makes of each month.
pub(super) struct Way {
    pub(super) night: Night,
    pub(super) cooling: Held,
    pub(super) months: Vec<Vec<MeanDark>>,
}

impl<'a> Weighed<'a> {
    /// The night without its date, and the mode that is quickest as the night stands.
    pub(super) fn new(night: &Night, profile: &'a CameraProfile) -> Result<Self, PlanError> {
        night.check()?;
        let mut night = asking_for_snr(night, profile)?;
        night.goal.date = None;
        let mode = best_mode(&night, profile)?;
        let weights = match dark_hours(&night)? {
            Some(hours) => hours.map(|each| each / hours.iter().sum::<f64>()),
            None => [1.0 / 12.0; 12],
        };
        Ok(Self { night, mode, weights })
    }

    pub(super) fn way(&self, held: bool) -> Way {
        let cooling = Held::new(&self.night, held);
        let night = as_run(&self.night, held);
        let climate = self.night.site.climate.clone().unwrap_or_default();
        let darks = Darks::new(&night, self.mode);
        let month = |month: u32| darks.mean(&cooling, night_air(&climate, month), climate.spread());
        Way { months: (1..=12).map(month).collect(), night, cooling }
    }

    /// The year's mean over months of what a way makes of each plane.
    fn year(&self, way: &Way) -> Vec<MeanDark> {
        let noise_of_plane = |plane: usize| {
            let parts = self.weights.iter().zip(&way.months).map(|(weight, month)| (*weight, month[plane]));
            MeanDark::mean(&parts.collect::<Vec<_>>())
        };
        (0..self.mode.planes.len()).map(noise_of_plane).collect()
    }

    fn hours(&self, way: &Way, darks: &[MeanDark]) -> Result<Option<Hours>, PlanError> {
        hours_with(&way.night, self.mode, darks)
    }

    /// Each month's times without and with cooling.
    pub(super) fn times(&self, ways: &[Way; 2], month: usize) -> Result<[Option<Hours>; 2], PlanError> {
        let hours_of = |way: &Way| self.hours(way, &way.months[month]);
        Ok([hours_of(&ways[0])?, hours_of(&ways[1])?])
    }

    /// The ratio of the year; infinite where the goal cannot be reached without cooling.
    pub(super) fn ratio(&self, ways: &[Way; 2]) -> Result<f64, PlanError> {
        let mut with = 0.0;
        for (month, weight) in self.weights.iter().enumerate().filter(|(_, weight)| **weight > 0.0) {
            with += weight / ratio_of(&self.times(ways, month)?);
        }
        Ok(1.0 / with)
    }

    /// [`Weighed::ratio`] under another sky.
    pub(super) fn ratio_under(&self, ways: &[Way; 2], magnitude: f64) -> Result<f64, PlanError> {
        let sky = GivenSky::Magnitude(MagnitudesPerSquareArcsecond(magnitude));
        let under = |way: &Way| {
            let mut night = way.night.clone();
            night.site.sky = Some(sky.clone());
            Way { night, cooling: way.cooling, months: way.months.clone() }
        };
        self.ratio(&[under(&ways[0]), under(&ways[1])])
    }

    /// The ratio in nights of one temperature.
    pub(super) fn ratio_at(&self, ways: &[Way; 2], darks: &[Darks; 2], air: Celsius) -> Result<f64, PlanError> {
        let months_of = |way: usize| {
            let mean = darks[way].mean(&ways[way].cooling, air, Celsius(0.0));
            self.hours(&ways[way], &mean)
        };
        Ok(ratio_of(&[months_of(0)?, months_of(1)?]))
    }

    /// Time at a set point that is held, over the time at a very cold one.
    pub(super) fn cost_of(&self, way: &Way, darks: &Darks, set_point: f64) -> Result<f64, PlanError> {
        let ratio_at = |at: Celsius| {
            let cooling = Held::Held { at, below_air: 500.0 };
            self.hours(way, &darks.mean(&cooling, at, Celsius(0.0)))
        };
        Ok(ratio_of(&[ratio_at(Celsius(set_point))?, ratio_at(VERY_COLD)?]))
    }

    /// Ends of the year's ratio by the dark currents' intervals.
    pub(super) fn interval(&self, ways: &[Way; 2], ratio: f64) -> Result<Option<[f64; 2]>, PlanError> {
        let years = [self.year(&ways[0]), self.year(&ways[1])];
        let seconds = |way: usize, end: Option<usize>| -> Result<f64, PlanError> {
            let moved = |dark: &MeanDark| end.map_or(*dark, |end| dark.with_rate(dark.interval[end]));
            let darks: Vec<MeanDark> = years[way].iter().map(moved).collect();
            Ok(self.hours(&ways[way], &darks)?.map_or(f64::INFINITY, |found| found.seconds))
        };
        let (mut low, mut high) = (0.0, 0.0);
        for way in 0..2 {
            let middle = seconds(way, None)?;
            let [down, up] = [(seconds(way, Some(0))? / middle).ln(), (seconds(way, Some(1))? / middle).ln()];
            let (less, more) = if way == 0 { (down, up) } else { (-up, -down) };
            low += less.min(0.0).powi(2);
            high += more.max(0.0).powi(2);
        }
        // A cooler never costs time.
        let ends = [(ratio * (-low.sqrt()).exp()).max(ratio.min(1.0)), ratio * high.sqrt().exp()];
        Ok(ends.iter().all(|end: &f64| end.is_finite()).then_some(ends))
    }
}

/// The night with its camera run cooled or not.
pub(super) fn as_run(night: &Night, held: bool) -> Night {
    let mut night = night.clone();
    night.camera.cooled = Some(held);
    night.camera.rise_c = None;
    night
}

/// Hours with these dark currents, one for each plane of the mode.
pub(super) fn hours_with(night: &Night, mode: &Mode, darks: &[MeanDark]) -> Result<Option<Hours>, PlanError> {
    let mut mode = mode.clone();
    for (plane, dark) in mode.planes.iter_mut().zip(darks) {
        (plane.dark_current, plane.thermal) = (vec![dark.point()], None);
    }
    let mut conditions = Conditions::new(night, &mode)?;
    for plane in conditions.filters.iter_mut().flat_map(|filter| &mut filter.planes) {
        if let Some(at) = mode.planes.iter().position(|of_mode| of_mode.plane == plane.plane) {
            darks[at].put_into(&mut plane.noise);
        }
    }
    hours(night, &mode, &conditions)
}

/// The mode that the night names, else the one that reaches its goal first.
pub(super) fn best_mode<'a>(night: &Night, profile: &'a CameraProfile) -> Result<&'a Mode, PlanError> {
    if let Some(mode) = profile.named_mode(night.camera.gain_setting, night.camera.mode.as_deref())? {
        return Ok(mode);
    }
    let mut best: Option<(f64, &Mode)> = None;
    let mut failure = None;
    for mode in &profile.modes {
        match Conditions::new(night, mode)
            .map_err(PlanError::from)
            .and_then(|conditions| hours(night, mode, &conditions))
        {
            Ok(found) => {
                let seconds = found.map_or(f64::INFINITY, |found| found.seconds);
                if best.is_none_or(|(least, _)| seconds < least) {
                    best = Some((seconds, mode));
                }
            }
            Err(error) => failure = failure.or(Some(error)),
        }
    }
    let none = || PlanError::impossible("modes", "of the profile is empty");
    best.map(|(_, mode)| mode).ok_or_else(|| failure.unwrap_or_else(none))
}

/// Time without cooling over time with it; 1 where neither gets there, infinite where only cooling does.
pub(super) fn ratio_of(times: &[Option<Hours>; 2]) -> f64 {
    match times {
        [Some(without), Some(with)] => without.seconds / with.seconds,
        [None, Some(_)] => f64::INFINITY,
        _ => 1.0,
    }
}

/// A number that JSON can say.
pub(super) fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}
