//! How long was the shutter open when the camera says "1/60" or "30 s"?
//!
//! Cameras with a dial name their times in round numbers; what their shutters do is a power of two, in thirds or
//! halves of a stop: 1/60 is 1/64, 15 s are 16 s, 30 s are 32 s. Taken by their names, times bend the linearity
//! by up to 7 % and put the dark current off by as much.
//!
//! # Source
//! The ladder is common practice, no source; the time value is that of Exif 2.32 (APEX), from memory; the
//! tolerances are derived here.

use crate::units::Seconds;

/// Longer times are timed by hand or remote, and mean what they say.
const LONGEST_NAMED_S: f64 = 30.5;
/// A name lies within this many stops of its rung: the widest round-offs are 15 for 16 and 1/60 for 1/64, 0.093 stops.
const NAME_TOLERANCE_STOPS: f64 = 0.1;
/// A time value is on a rung if it is this near; what is computed from a round name is further off, or equals the name.
const APEX_TOLERANCE_STOPS: f64 = 0.004;
/// Two times are the same if they differ by less than this share.
const SAME: f64 = 0.005;

/// The ladder that a camera's times stand on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ladder {
    /// Rungs a third of a stop apart.
    Thirds,
    /// Rungs half a stop apart.
    Halves,
}

impl Ladder {
    fn rungs_per_stop(self) -> f64 {
        match self {
            Self::Thirds => 3.0,
            Self::Halves => 2.0,
        }
    }

    fn nearest(self, time: f64) -> f64 {
        let rungs = self.rungs_per_stop();
        ((rungs * time.log2()).round() / rungs).exp2()
    }

    /// The ladder on which all of these named times stand, thirds before halves; `None` if there is none.
    ///
    /// Times of 0 and beyond 30 s are passed over. Any time has an even chance to stand near a rung, so this is to be
    /// asked of times that a camera's dial named.
    ///
    /// # Examples
    /// ```
    /// use subwell::{frames::shutter::Ladder, units::Seconds};
    /// let times = [1.0 / 60.0, 1.0 / 15.0, 0.25, 1.0, 4.0, 15.0, 30.0].map(Seconds);
    /// let ladder = Ladder::from_times(&times).unwrap();
    /// assert_eq!(ladder.true_time(Seconds(30.0)), Seconds(32.0));
    /// assert_eq!(ladder.true_time(Seconds(1.0 / 60.0)), Seconds(1.0 / 64.0));
    /// assert_eq!(ladder.true_time(Seconds(120.0)), Seconds(120.0));
    /// assert_eq!(Ladder::from_times(&[1.0, 1.15, 1.8].map(Seconds)), None);
    /// ```
    #[must_use]
    pub fn from_times(times: &[Seconds]) -> Option<Self> {
        let mut named = times.iter().filter(|time| is_named(**time)).peekable();
        named.peek()?;
        let named: Vec<f64> = named.map(|time| time.0).collect();
        [Self::Thirds, Self::Halves]
            .into_iter()
            .find(|ladder| named.iter().all(|time| (time / ladder.nearest(*time)).log2().abs() <= NAME_TOLERANCE_STOPS))
    }

    /// The rung behind a name; a time that the dial does not reach stays as it is.
    ///
    /// ```text
    /// t = 2^(round(n · log2 name) / n),  n = 3 or 2 rungs per stop
    /// ```
    #[must_use]
    pub fn true_time(self, named: Seconds) -> Seconds {
        if is_named(named) { Seconds(self.nearest(named.0)) } else { named }
    }
}

fn is_named(time: Seconds) -> bool {
    time.0 > 0.0 && time.0 <= LONGEST_NAMED_S
}

/// The true time where the metadata hold one beside the name: `apex` is the time value Tv of Exif.
///
/// ```text
/// t = 2^(−Tv)
/// ```
/// `None` if the time value only repeats the name, or is that of another time altogether. Some cameras compute it
/// from the name; it then stands on no rung unless the name does.
///
/// # Examples
/// ```
/// use subwell::{frames::shutter::time_by_apex, units::Seconds};
/// assert_eq!(time_by_apex(Seconds(30.0), Some(-5.0)), Some(Seconds(32.0)));
/// assert_eq!(time_by_apex(Seconds(30.0), Some(-30.0_f64.log2())), None);
/// assert_eq!(time_by_apex(Seconds(30.0), Some(3.0)), None);
/// ```
#[must_use]
pub fn time_by_apex(named: Seconds, apex: Option<f64>) -> Option<Seconds> {
    let stops = apex.filter(|stops| stops.abs() < 32.0)?;
    let on = |rungs: f64| (stops - (rungs * stops).round() / rungs).abs() <= APEX_TOLERANCE_STOPS;
    let time = (-stops).exp2();
    let near = (time / named.0).log2().abs() <= NAME_TOLERANCE_STOPS;
    (near && (on(3.0) || on(2.0))).then_some(Seconds(time))
}

/// Whether levels speak for the names as they are written: `lit` are named times and mean levels above the dark one.
///
/// Levels over times are constant for the true times; the names are true if with them the levels scatter less than
/// half as much as with the rungs, and the rungs' scatter is no rounding. `None` for fewer than four different times.
///
/// # Examples
/// ```
/// use subwell::{frames::shutter::{Ladder, names_are_true}, units::Seconds};
/// let times = [1.0, 2.0, 4.0, 8.0, 15.0, 30.0];
/// let lit = |stretch: fn(f64) -> f64| times.map(|time| (Seconds(time), 100.0 * stretch(time)));
/// assert_eq!(names_are_true(Ladder::Thirds, &lit(|time| time)), Some(true));
/// assert_eq!(names_are_true(Ladder::Thirds, &lit(|time| time.log2().round().exp2())), Some(false));
/// ```
#[must_use]
pub fn names_are_true(ladder: Ladder, lit: &[(Seconds, f64)]) -> Option<bool> {
    let usable: Vec<(f64, f64)> = lit
        .iter()
        .filter(|(time, level)| is_named(*time) && *level > 0.0)
        .map(|(time, level)| (time.0, *level))
        .collect();
    let mut times: Vec<f64> = usable.iter().map(|(time, _)| *time).collect();
    times.sort_by(f64::total_cmp);
    times.dedup_by(|a, b| (*a / *b - 1.0).abs() < SAME);
    if times.len() < 4 {
        return None;
    }
    let scatter = |time_of: &dyn Fn(f64) -> f64| {
        let rates: Vec<f64> = usable.iter().map(|(time, level)| (level / time_of(*time)).ln()).collect();
        let mean = rates.iter().sum::<f64>() / rates.len() as f64;
        (rates.iter().map(|rate| (rate - mean).powi(2)).sum::<f64>() / rates.len() as f64).sqrt()
    };
    let (by_names, by_rungs) = (scatter(&|time| time), scatter(&|time| ladder.nearest(time)));
    Some(by_rungs > SAME && by_names < 0.5 * by_rungs)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The names of a camera's dial in thirds of a stop, slow to fast, and the exponents behind them.
    const THIRDS: [f64; 24] = [
        30.0,
        25.0,
        20.0,
        15.0,
        13.0,
        10.0,
        8.0,
        6.0,
        5.0,
        4.0,
        3.2,
        2.5,
        2.0,
        1.6,
        1.3,
        1.0,
        0.8,
        0.6,
        0.5,
        0.4,
        0.3,
        1.0 / 4.0,
        1.0 / 5.0,
        1.0 / 6.0,
    ];

    #[test]
    fn every_name_of_the_dial_finds_its_rung() {
        for (place, name) in THIRDS.into_iter().enumerate() {
            let rung = (5.0 - place as f64 / 3.0).exp2();
            let found = Ladder::from_times(&[Seconds(name)]).unwrap().true_time(Seconds(name));
            assert!((found.0 / rung - 1.0).abs() < 1e-12, "{name} became {} and not {rung}", found.0);
        }
        for (name, exponent) in [
            (8.0, 3.0),
            (15.0, 4.0),
            (30.0, 5.0),
            (60.0, 6.0),
            (125.0, 7.0),
            (250.0, 8.0),
            (500.0, 9.0),
            (1000.0, 10.0),
            (4000.0, 12.0),
        ] {
            let name = Seconds(1.0 / name);
            let rung: f64 = f64::exp2(-exponent);
            assert!((Ladder::from_times(&[name]).unwrap().true_time(name).0 / rung - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn half_stops_are_told_from_thirds() {
        let halves = [1.0 / 45.0, 1.0 / 90.0, 1.0 / 30.0, 0.7, 3.0].map(Seconds);
        assert_eq!(Ladder::from_times(&halves), Some(Ladder::Halves));
        assert!((Ladder::Halves.true_time(Seconds(3.0)).0 - 8.0_f64.sqrt()).abs() < 1e-12);
        assert_eq!(Ladder::from_times(&[Seconds(0.0), Seconds(300.0)]), None);
    }

    #[test]
    fn too_few_levels_say_nothing() {
        assert_eq!(names_are_true(Ladder::Thirds, &[(Seconds(1.0), 5.0), (Seconds(2.0), 9.0)]), None);
    }
}
