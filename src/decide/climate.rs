//! The air and the dark hours of each month, and the dark current of a sensor that they make.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::f64::consts::PI;

use crate::camera::{DarkCurrentPoint, DarkCurrentSource, Mode};
use crate::noise::DarkRates;
use crate::sky::Climate;
use crate::sky::night::{Date, Place, Tonight, hours_of};
use crate::stats::Estimate;
use crate::units::{Celsius, Degrees, ElectronsPerSecond};

use crate::night::conditions::left_by_dark;
use crate::night::evening::darkest;
use crate::night::{Cooler, Night};
use crate::plan::PlanError;

/// Days from one month to the same month.
const YEAR_DAYS: f64 = 365.25;
/// Middle days of the months, counted from the new year.
const MIDDLES: [f64; 12] = [15.5, 45.0, 74.5, 105.0, 135.5, 166.0, 196.5, 227.5, 258.0, 288.5, 319.0, 349.5];
/// The year whose nights are counted where no date says one; their length hardly depends on it.
const ANY_YEAR: &str = "2026";
/// A normal distribution at five places and their weights (Gauss and Hermite; exact for powers up to the ninth).
const NORMAL: [(f64, f64); 5] = [
    (-2.856_970_013_872_806, 0.011_257_411_327_720_69),
    (-1.355_626_179_974_266, 0.222_075_922_005_612_6),
    (0.0, 0.533_333_333_333_333_3),
    (1.355_626_179_974_266, 0.222_075_922_005_612_6),
    (2.856_970_013_872_806, 0.011_257_411_327_720_69),
];
/// Parts of equal length into which a night is cut to follow a body that warms.
const PARTS: u32 = 8;

/// Mean night air of a month, 1 to 12.
///
/// ```text
/// T = mean + amplitude · cos(2π (d − d₀)/365.25)
/// ```
///
/// `d` is the month's middle day, `d₀` that of the warmest month.
///
/// # Source
/// The wave is the usual first harmonic of a climate; derived here, with the residuals of a few public series (1.2 to
/// 1.5 K).
pub(super) fn night_air(climate: &Climate, month: u32) -> Celsius {
    let middle = |month: u32| MIDDLES[(month.clamp(1, 12) - 1) as usize];
    let phase = 2.0 * PI * (middle(month) - middle(climate.warmest_month())) / YEAR_DAYS;
    climate.mean() + climate.amplitude() * phase.cos()
}

/// The air of a night of the warmest month that only one in forty is warmer than.
///
/// ```text
/// T = T_warmest + 1.96 · spread
/// ```
///
/// # Source
/// The normal distribution; the month's nights are taken to scatter so.
pub(super) fn warmest_night(climate: &Climate) -> Celsius {
    night_air(climate, climate.warmest_month()) + climate.spread() * 1.96
}

/// Dark hours of a night in the middle of each month; `None` without a latitude.
pub(super) fn dark_hours(night: &Night) -> Result<Option<[f64; 12]>, PlanError> {
    let Some(latitude) = night.site.latitude_deg else { return Ok(None) };
    let longitude = night.site.longitude_deg.unwrap_or(Degrees(0.0));
    let place = Place { latitude, longitude, height: night.site.height() };
    let year = night.goal.date.as_ref().and_then(|date| date.trim().get(..4)).unwrap_or(ANY_YEAR);
    let mut hours = [0.0; 12];
    for (month, hours) in (1..).zip(&mut hours) {
        let tonight = Tonight::new(place, Date::parse(&format!("{year}-{month:02}-15"))?, night.utc_offset_h())?;
        *hours = darkest(&tonight).map_or(0.0, |limit| hours_of(&tonight.dark(limit)));
    }
    Ok(Some(hours))
}

/// How a sensor's temperature follows the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cooling {
    /// Held at a set point as far as the cooler reaches.
    Held {
        /// The set point.
        at: Celsius,
        /// The cooler's reach in kelvins.
        below_air: f64,
    },
    /// Above the air by what its own electronics heat it.
    Uncooled {
        /// The rise of a body that has settled, in kelvins.
        rise: Celsius,
        /// Time constant of the warming over the length of a night.
        warm_up: f64,
    },
}

impl Cooling {
    /// As a camera is run: `night` says how, `below_air` how far a cooler reaches, `held` whether it runs.
    pub(super) fn new(night: &Night, held: bool) -> Self {
        let cooler = night.cooler.clone().unwrap_or_default();
        if held {
            let own = night.camera.sensor_c.filter(|_| night.camera.cooled());
            let at = own.or(cooler.set_point_c).unwrap_or(crate::night::CameraChoice::DEFAULT_SET_POINT);
            return Self::Held { at, below_air: cooler.below_ambient_k() };
        }
        let own = night.camera.rise_c.filter(|_| !night.camera.cooled());
        let by_air = || night.camera.sensor_c.filter(|_| !night.camera.cooled()).map(|c| c - night.site.ambient());
        let rise = own.or(cooler.rise_c).or_else(by_air).unwrap_or(crate::night::CameraChoice::DEFAULT_RISE);
        Self::Uncooled { rise, warm_up: cooler.warm_up_min() / (60.0 * night.goal.clear_hours()) }
    }

    /// The sensor in this air once it has settled.
    pub(super) fn sensor(&self, air: Celsius) -> Celsius {
        match self {
            Self::Held { at, below_air } => Celsius(at.0.max(air.0 - below_air)),
            Self::Uncooled { rise, .. } => air + *rise,
        }
    }

    /// The sensor in this air through the night: temperatures, each of an equal part of it.
    ///
    /// ```text
    /// T = air + rise · (1 − e^{−t/τ})
    /// ```
    fn through_the_night(&self, air: Celsius) -> Vec<Celsius> {
        let Self::Uncooled { rise, warm_up } = self else { return vec![self.sensor(air)] };
        let month_part = |part: u32| {
            let time = (f64::from(part) + 0.5) / f64::from(PARTS);
            let settled = if *warm_up > 0.0 { 1.0 - (-time / warm_up).exp() } else { 1.0 };
            air + *rise * settled
        };
        (0..PARTS).map(month_part).collect()
    }
}

/// Dark current of one plane, averaged over nights and hours: what a stack of subs from all of them has.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct MeanDark {
    /// Of the mean pixel.
    pub(super) rate: f64,
    /// Ends of its 95 % interval.
    pub(super) interval: [f64; 2],
    /// Square of the pattern's rate that calibration leaves.
    left_squared: f64,
}

impl MeanDark {
    /// The mean of some with their weights, which add up to 1.
    pub(super) fn mean(parts: &[(f64, Self)]) -> Self {
        let sum = |of: fn(&Self) -> f64| parts.iter().map(|(weight, part)| weight * of(part)).sum::<f64>();
        Self {
            rate: sum(|part| part.rate),
            interval: [sum(|part| part.interval[0]), sum(|part| part.interval[1])],
            left_squared: sum(|part| part.left_squared),
        }
    }

    /// The same with another rate; what calibration leaves goes with it.
    pub(super) fn with_rate(self, rate: f64) -> Self {
        let factor = if self.rate > 0.0 { rate / self.rate } else { 1.0 };
        Self { rate, left_squared: self.left_squared * factor * factor, ..self }
    }

    /// A point that gives a plane this rate at whatever temperature.
    pub(super) fn point(&self) -> DarkCurrentPoint {
        DarkCurrentPoint {
            sensor_c: None,
            e_per_s: Estimate::new(self.rate, 0.0),
            median_e_per_s: None,
            from: DarkCurrentSource::Mean,
            other_e_per_s: None,
            nonuniformity_percent: None,
            hot_pixel_fraction: None,
            exposures_s: Vec::new(),
        }
    }

    /// Puts it into a plane's noise.
    pub(super) fn put_into(&self, noise: &mut crate::noise::PlaneNoise) {
        noise.rates.dark = ElectronsPerSecond(self.rate);
        noise.left.per_second = ElectronsPerSecond(self.left_squared.sqrt());
    }

    /// At one temperature.
    fn at(night: &Night, rates: &DarkRates<'_>, sensor: Celsius) -> Self {
        let dark = rates.at(sensor);
        let (low, high) = dark.rate.interval();
        Self {
            rate: dark.rate.value.0,
            interval: [low.max(0.0), high],
            left_squared: left_by_dark(night, &dark).0.powi(2),
        }
    }
}

/// Dark currents of one camera run in one way, looked up once for each whole degree: the law beyond its measured ends is
/// costly.
pub(super) struct Darks<'a> {
    /// Of the night only the calibration counts.
    night: &'a Night,
    /// Of each plane.
    rates: Vec<DarkRates<'a>>,
    known: RefCell<BTreeMap<(usize, i32), MeanDark>>,
}

impl<'a> Darks<'a> {
    pub(super) fn new(night: &'a Night, mode: &'a Mode) -> Self {
        Self { night, rates: mode.planes.iter().map(DarkRates::new).collect(), known: RefCell::default() }
    }

    fn at_degree(&self, plane: usize, degree: i32) -> MeanDark {
        let found = || MeanDark::at(self.night, &self.rates[plane], Celsius(f64::from(degree)));
        *self.known.borrow_mut().entry((plane, degree)).or_insert_with(found)
    }

    /// Between two whole degrees the logarithm goes straight: over one kelvin it bends by less than 10⁻⁴.
    fn at(&self, plane: usize, sensor: Celsius) -> MeanDark {
        let below = sensor.0.floor();
        let (low, high) = (self.at_degree(plane, below as i32), self.at_degree(plane, below as i32 + 1));
        let part = sensor.0 - below;
        let between = |of: fn(&MeanDark) -> f64| match (of(&low), of(&high)) {
            (a, b) if a > 0.0 && b > 0.0 => (a.ln() * (1.0 - part) + b.ln() * part).exp(),
            (a, b) => a * (1.0 - part) + b * part,
        };
        MeanDark {
            rate: between(|dark| dark.rate),
            interval: [between(|dark| dark.interval[0]), between(|dark| dark.interval[1])],
            left_squared: between(|dark| dark.left_squared),
        }
    }

    /// Each plane's dark current in nights of this mean air that scatter by `spread`.
    pub(super) fn mean(&self, cooling: &Cooling, air: Celsius, spread: Celsius) -> Vec<MeanDark> {
        let dark_of_plane = |plane: usize| {
            let mut parts = Vec::new();
            for (sigmas, weight) in NORMAL {
                let through = cooling.through_the_night(air + spread * sigmas);
                let each = weight / through.len() as f64;
                parts.extend(through.into_iter().map(|sensor| (each, self.at(plane, sensor))));
            }
            MeanDark::mean(&parts)
        };
        (0..self.rates.len()).map(dark_of_plane).collect()
    }
}

/// The cooler of a night with defaults for what it lacks, as `key = value` of what was taken.
pub(super) fn assumed(night: &Night) -> Vec<String> {
    let cooler = night.cooler.clone().unwrap_or_default();
    let climate = night.site.climate.clone().unwrap_or_default();
    let mut list = Vec::new();
    let mut add = |missing: bool, key: &str, value: f64| {
        if missing {
            list.push(format!("{key} = {value}"));
        }
    };
    let cooled = night.camera.cooled();
    add(climate.mean_c.is_none(), "site.climate.mean_c", climate.mean().0);
    add(climate.amplitude_c.is_none(), "site.climate.amplitude_c", climate.amplitude().0);
    add(climate.warmest_month.is_none(), "site.climate.warmest_month", f64::from(climate.warmest_month()));
    add(climate.spread_c.is_none(), "site.climate.spread_c", climate.spread().0);
    add(cooler.below_ambient_c.is_none(), "cooler.below_ambient_c", cooler.below_ambient_k());
    add(cooler.imaging_hours_per_year.is_none(), "cooler.imaging_hours_per_year", cooler.hours());
    let set_point = crate::night::CameraChoice::DEFAULT_SET_POINT.0;
    let no_set_point = cooler.set_point_c.is_none() && !(cooled && night.camera.sensor_c.is_some());
    add(no_set_point, "cooler.set_point_c", set_point);
    let no_rise = cooler.rise_c.is_none() && (cooled || (night.camera.rise_c.or(night.camera.sensor_c)).is_none());
    add(no_rise, "cooler.rise_c", crate::night::CameraChoice::DEFAULT_RISE.0);
    add(cooler.warm_up_min.is_none(), "cooler.warm_up_min", Cooler::DEFAULT_WARM_UP_MIN);
    list
}
