//! Dark current at any sensor temperature, from what was measured at some.
//!
//! `sensor` measures dark current at the temperatures there are frames of; this file
//! says what it is at the others.
//!
//! Beyond the measured temperatures the points are read as sources of any energy and a floor, none of them negative,
//! and the interval is the envelope of what those points allow (profile likelihood).

use std::cell::OnceCell;

use crate::camera::{DarkCurrentPoint, Plane, Thermal, against_warmth};
use crate::caveat::Caveat;
use crate::stats::Estimate;
use crate::units::{BOLTZMANN_EV_PER_K, Celsius, ElectronsPerSecond};

use super::carried::Carried;
use super::only_adds::only_adds;

/// Doubling of the dark current in kelvins where no law was fitted: the middle of the 5.5 to 8 K that are
/// reported for cameras (Dunlap, Sostin, Widenhorn & Bodegom 2010, J. Electron. Imaging 19(1); common practice).
const ASSUMED_DOUBLING_K: f64 = 6.5;
/// One standard uncertainty of that number.
const ASSUMED_DOUBLING_UNCERTAINTY_K: f64 = 1.0;
/// Standard deviation over mean of the pixels' dark currents where it was not measured: a log-normal of
/// width 0.3, the mildest of the usual ones (common practice, no source).
const ASSUMED_NONUNIFORMITY: f64 = 0.31;
/// Beyond the measured temperatures by less than this the law counts as measured.
const MEASURED_MARGIN_K: f64 = 0.5;

/// The dark current of one plane at one temperature, and what a plan needs beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct DarkCurrent {
    /// Rate of the mean pixel.
    pub rate: Estimate<ElectronsPerSecond>,
    /// Change of the rate per kelvin: what a dark taken too warm leaves behind.
    pub rate_per_kelvin: ElectronsPerSecond,
    /// Standard deviation over mean among the pixels, hot pixels clipped, as a fraction.
    pub nonuniformity: f64,
    /// What the numbers rest on.
    pub caveats: Vec<Caveat>,
}

/// Band gap of silicon in eV.
///
/// ```text
/// Eg(T) = 1.1557 − 7.021e-4 T²/(1108 + T)
/// ```
///
/// # Source
/// The form of Varshni (1967) with the constants of Rajkanan, Singh & Shewchun 1979, Solid-State Electronics 22.
///
/// # Examples
/// ```
/// use subwell::{noise::band_gap_ev, units::Celsius};
/// assert!((band_gap_ev(Celsius(26.85)) - 1.11082).abs() < 5e-6); // 300 K
/// ```
#[must_use]
pub fn band_gap_ev(at: Celsius) -> f64 {
    let t = at.kelvin();
    1.1557 - 7.021e-4 * t * t / (1108.0 + t)
}

/// Dark current at `at` over that at `from`, when it is made in the depletion region.
///
/// ```text
/// D ∝ T^1.5 exp(−Eg/2kT)
/// ```
///
/// # Source
/// Janesick, Scientific Charge-Coupled Devices (SPIE 2001), from memory; [`band_gap_ev`].
#[must_use]
pub fn depletion_ratio(at: Celsius, from: Celsius) -> f64 {
    physical_ratio(at, from, 1.5, 0.5)
}

/// Dark current at `at` over that at `from`, when it diffuses from the bulk.
///
/// ```text
/// D ∝ T³ exp(−Eg/kT)
/// ```
///
/// # Source
/// Janesick, Scientific Charge-Coupled Devices (SPIE 2001), from memory; [`band_gap_ev`].
#[must_use]
pub fn diffusion_ratio(at: Celsius, from: Celsius) -> f64 {
    physical_ratio(at, from, 3.0, 1.0)
}

fn physical_ratio(at: Celsius, from: Celsius, power: f64, share_of_gap: f64) -> f64 {
    let exponent = |c: Celsius| share_of_gap * band_gap_ev(c) / (BOLTZMANN_EV_PER_K * c.kelvin());
    (at.kelvin() / from.kelvin()).powf(power) * (exponent(from) - exponent(at)).exp()
}

/// Kelvins that double a dark current at a temperature: `ln 2 / (d ln D/dT)` of a `ratio` such as [`depletion_ratio`].
#[must_use]
pub fn doubling_kelvins(ratio: fn(Celsius, Celsius) -> f64, at: Celsius) -> f64 {
    const HALF_STEP_K: f64 = 0.01;
    let change = ratio(Celsius(at.0 + HALF_STEP_K), Celsius(at.0 - HALF_STEP_K)).ln();
    2.0 * HALF_STEP_K * std::f64::consts::LN_2 / change
}

/// The dark current of `plane` when the sensor is at `at`.
///
/// With a fitted law:
/// ```text
/// D(T) = Dref (T/Tref)^1.5 exp(−Ea/k (1/T − 1/Tref)) + floor
/// ```
/// Beyond the temperatures that were measured, the caveat `extrapolated` is given. From three temperatures on, the points
/// are then read as sources of any energy and a floor, none of them negative, and the interval is the envelope of what those points allow (profile
/// likelihood). From two the interval holds the law, what goes on as at the measured end
/// itself, and what depletion (colder) or diffusion (warmer) makes of the rate there: a sum of parts that cooling lowers at different
/// speed falls no faster and rises no slower than at its end. Without
/// a law the nearest measured point is scaled by a doubling of 6.5 ± 1 K (caveat `assumed-value`). Without any
/// measurement the rate is 0 (caveat `assumed-value`). A rate is never negative: what is used is the mean of what the estimate
/// leaves above 0.
///
/// # Source
/// The forms of [`depletion_ratio`] and [`diffusion_ratio`], with the activation energy left free as in
/// Widenhorn et al. 2002 (SPIE 4669).
#[must_use]
pub fn dark_current(plane: &Plane, at: Celsius) -> DarkCurrent {
    DarkRates::new(plane).at(at)
}

/// The dark current of one plane for many temperatures: what its measured points say is fitted once, when it is first needed.
#[derive(Debug)]
pub struct DarkRates<'a> {
    plane: &'a Plane,
    carried: OnceCell<Option<Carried>>,
}

impl<'a> DarkRates<'a> {
    /// Of this plane.
    #[must_use]
    pub fn new(plane: &'a Plane) -> Self {
        Self { plane, carried: OnceCell::new() }
    }

    /// [`dark_current`] at a temperature.
    #[must_use]
    pub fn at(&self, at: Celsius) -> DarkCurrent {
        let nearest = nearest_point(self.plane, at);
        let nonuniformity = nearest.and_then(|point| point.nonuniformity_percent).map(|percent| percent / 100.0);
        let mut dark = match (&self.plane.thermal, nearest) {
            (Some(law), _) => self.by_law(law, at),
            (None, Some(point)) => {
                not_thermal(point, at, self.plane).unwrap_or_else(|| from_point(point, at, self.plane))
            }
            (None, None) => unknown(self.plane),
        };
        dark.nonuniformity = nonuniformity.unwrap_or(ASSUMED_NONUNIFORMITY);
        dark.rate_per_kelvin = ElectronsPerSecond(dark.rate_per_kelvin.0.max(0.0));
        dark
    }

    /// The rate alone, as [`Self::at`] has it: an interval beyond the measured temperatures costs a hundred times as much.
    #[must_use]
    pub fn rate(&self, at: Celsius) -> ElectronsPerSecond {
        let beyond = self.plane.thermal.as_ref().is_some_and(|law| measured_edge(law, at).is_some());
        let carried = self.carried().filter(|_| beyond).map(|carried| carried.rate(at));
        match carried {
            Some(rate) if rate > 0.0 => ElectronsPerSecond(rate),
            _ => self.at(at).rate.value,
        }
    }

    fn carried(&self) -> Option<&Carried> {
        self.carried.get_or_init(|| Carried::new(self.plane)).as_ref()
    }

    fn by_law(&self, law: &Thermal, at: Celsius) -> DarkCurrent {
        let (above_floor, per_kelvin) = law_rate(law, at);
        let floor = law.floor_e_per_s.0;
        let rate = above_floor + floor;
        let lever = (1.0 / law.reference_c.kelvin() - 1.0 / at.kelvin()) / BOLTZMANN_EV_PER_K;
        let relative = law.reference_e_per_s.relative().hypot(lever * law.activation_ev.uncertainty);
        let of_floor = law.floor_uncertainty_e_per_s.map_or(0.0, |sigma| sigma.0);
        let statistical = (above_floor * if relative.is_finite() { relative } else { 0.0 }).hypot(of_floor);
        let measured = Estimate::new(rate, statistical).with_statistical(statistical);
        let (rate, caveats) = match measured_edge(law, at) {
            None => (only_adds(measured), Vec::new()),
            Some(edge) => {
                let beyond = self.beyond(law, edge, at, measured);
                let (low, high) = beyond.interval();
                (beyond, vec![extrapolated(at, edge, [low, high], self.plane)])
            }
        };
        DarkCurrent {
            rate,
            rate_per_kelvin: ElectronsPerSecond(above_floor * per_kelvin),
            nonuniformity: ASSUMED_NONUNIFORMITY,
            caveats,
        }
    }

    /// The rate beyond the measured end `edge`, where the law says `measured`: known to a factor, so its interval lies above 0.
    fn beyond(
        &self,
        law: &Thermal,
        edge: Celsius,
        at: Celsius,
        mut estimate: Estimate<ElectronsPerSecond>,
    ) -> Estimate<ElectronsPerSecond> {
        let statistical = estimate.uncertainty.0;
        let (low, high) = match self.carried().and_then(|carried| carried.within(at)) {
            Some((value, [low, high])) => {
                estimate = Estimate::new(value, (high - low) / 3.92).with_statistical(statistical);
                (low, high)
            }
            None => {
                let (low, high) = envelope(law, edge, at);
                // Any value between them is as likely as another: a rectangle.
                estimate.uncertainty = ElectronsPerSecond(statistical.hypot((high - low) / 12.0_f64.sqrt()));
                let margin = 1.96 * statistical;
                // A rate is known to a factor, not to a difference: the lower end never reaches 0.
                ((low - margin).max(low * low / (low + margin)), high + margin)
            }
        };
        let (low, high) = (low.min(estimate.value.0), high.max(estimate.value.0));
        Estimate { interval_95: Some((ElectronsPerSecond(low), ElectronsPerSecond(high))), ..estimate }
    }
}

/// The measured point nearest in temperature; one without a temperature only when there is no other.
fn nearest_point(plane: &Plane, at: Celsius) -> Option<&DarkCurrentPoint> {
    let distance = |point: &DarkCurrentPoint| point.sensor_c.map_or(f64::MAX, |c| (c.0 - at.0).abs());
    plane.dark_current.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)))
}

/// Rate above the floor at `at`, and its relative change per kelvin.
fn law_rate(law: &Thermal, at: Celsius) -> (f64, f64) {
    let (t, reference) = (at.kelvin(), law.reference_c.kelvin());
    let energy = law.activation_ev.value / BOLTZMANN_EV_PER_K;
    let rate = law.reference_e_per_s.value.0 * (t / reference).powf(1.5) * (energy * (1.0 / reference - 1.0 / t)).exp();
    (rate, 1.5 / t + energy / (t * t))
}

/// The least and the greatest rate at `at` that the rate at the measured end `edge` allows.
fn envelope(law: &Thermal, edge: Celsius, at: Celsius) -> (f64, f64) {
    let floor = law.floor_e_per_s.0;
    let (above_floor, per_kelvin) = law_rate(law, edge);
    let at_edge = above_floor + floor;
    let own_slope = above_floor * per_kelvin / at_edge * edge.kelvin().powi(2);
    let as_at_edge = at_edge * (own_slope * (1.0 / edge.kelvin() - 1.0 / at.kelvin())).exp();
    let slowest_or_fastest = if at.0 < edge.0 { depletion_ratio(at, edge) } else { diffusion_ratio(at, edge) };
    let guesses = [law_rate(law, at).0 + floor, as_at_edge, as_at_edge.max(at_edge * slowest_or_fastest)];
    let (low, high) = (f64::min as fn(f64, f64) -> f64, f64::max as fn(f64, f64) -> f64);
    (guesses.into_iter().fold(f64::MAX, low), guesses.into_iter().fold(0.0, high))
}

/// The measured end that `at` lies beyond.
fn measured_edge(law: &Thermal, at: Celsius) -> Option<Celsius> {
    let [coldest, warmest] = law.measured_c?;
    if at.0 < coldest - MEASURED_MARGIN_K {
        Some(Celsius(coldest))
    } else if at.0 > warmest + MEASURED_MARGIN_K {
        Some(Celsius(warmest))
    } else {
        None
    }
}

fn extrapolated(at: Celsius, edge: Celsius, [low, high]: [f64; 2], plane: &Plane) -> Caveat {
    Caveat::new(
        "extrapolated",
        format!(
            "dark current at {:.0} °C lies beyond the measured {:.0} °C: between {low:.3} and {high:.3} e-/s by what physics allows",
            at.0, edge.0
        ),
        "take darks at the temperature of the plan, at two or more lengths",
    )
    .about(plane.plane)
}

fn from_point(point: &DarkCurrentPoint, at: Celsius, plane: &Plane) -> DarkCurrent {
    let rate_per_kelvin = std::f64::consts::LN_2 / ASSUMED_DOUBLING_K;
    let Some(measured_at) = point.sensor_c else {
        let caveat = Caveat::new(
            "temperature-missing",
            format!("the dark current was measured at an unknown temperature and is used at {:.0} °C", at.0),
            "measure the darks again with `--sensor-c`",
        );
        let rate = only_adds(point.e_per_s);
        return DarkCurrent {
            rate_per_kelvin: rate.value * rate_per_kelvin,
            rate,
            nonuniformity: ASSUMED_NONUNIFORMITY,
            caveats: vec![caveat.about(plane.plane)],
        };
    };
    let warmer = at.0 - measured_at.0;
    let factor = (warmer * rate_per_kelvin).exp();
    // What is carried is what may be used: a rate below 0 would make itself a warm sensor's gain.
    let mut rate: Estimate<ElectronsPerSecond> = only_adds(point.e_per_s).scaled(factor);
    let mut caveats = Vec::new();
    if warmer.abs() > MEASURED_MARGIN_K {
        let of_doubling = warmer.abs() * rate_per_kelvin * ASSUMED_DOUBLING_UNCERTAINTY_K / ASSUMED_DOUBLING_K;
        rate = within_factor_too(rate, of_doubling);
        let message = format!(
            "dark current at {:.0} °C is taken from {:.0} °C with an assumed doubling of {ASSUMED_DOUBLING_K} K",
            at.0, measured_at.0
        );
        caveats.push(
            Caveat::new("assumed-value", message, "take darks at two or more temperatures at least 10 degrees apart")
                .about(plane.plane),
        );
    }
    let slope = rate.value * rate_per_kelvin;
    DarkCurrent { rate, rate_per_kelvin: slope, nonuniformity: ASSUMED_NONUNIFORMITY, caveats }
}

/// A positive rate that is known to a factor besides, of this standard uncertainty of its logarithm: an end at `e^a` times the
/// value moves to `e^√(a² + (1.96 σ)²)`.
fn within_factor_too(rate: Estimate<ElectronsPerSecond>, sigma: f64) -> Estimate<ElectronsPerSecond> {
    let value = rate.value.0;
    let (low, high) = rate.interval();
    let end = |end: f64, sign: f64| {
        let apart = if end > 0.0 && value > 0.0 { (end / value).ln() } else { f64::INFINITY };
        value * (sign * apart.hypot(1.96 * sigma)).exp()
    };
    Estimate {
        interval_95: (value > 0.0).then(|| (ElectronsPerSecond(end(low, -1.0)), ElectronsPerSecond(end(high, 1.0)))),
        ..Estimate::new(value, rate.uncertainty.0.hypot(value * sigma))
    }
}

/// Rates that do not rise with the temperature, which say nothing of another: the nearest one, and an interval that holds them all.
fn not_thermal(nearest: &DarkCurrentPoint, at: Celsius, plane: &Plane) -> Option<DarkCurrent> {
    let [cold, warm] = against_warmth(&plane.dark_current, plane.thermal.as_ref())?;
    let ends = plane.dark_current.iter().map(|point| only_adds(point.e_per_s).interval());
    let (low, high) = ends.fold((f64::MAX, 0.0_f64), |(low, high), of| (low.min(of.0), high.max(of.1)));
    let value = only_adds(nearest.e_per_s).value.0;
    let caveat = Caveat::new(
        "dark-not-thermal",
        format!(
            "the measured dark current does not rise from {:.0} to {:.0} °C as a sensor's does: at {:.0} °C it is taken for what \
             was measured nearest to it",
            cold.0.0, warm.0.0, at.0
        ),
        "find out why (light, wrong temperatures in headers, a floor), and measure the darks again",
    );
    let rate = Estimate {
        interval_95: Some((ElectronsPerSecond(low), ElectronsPerSecond(high))),
        ..Estimate::new(value, (high - low) / 3.92)
    };
    Some(DarkCurrent {
        rate,
        rate_per_kelvin: ElectronsPerSecond(value * std::f64::consts::LN_2 / ASSUMED_DOUBLING_K),
        nonuniformity: ASSUMED_NONUNIFORMITY,
        caveats: vec![caveat.about(plane.plane)],
    })
}

fn unknown(plane: &Plane) -> DarkCurrent {
    let caveat = Caveat::new(
        "assumed-value",
        "the camera profile has no dark current: taken as 0",
        "measure darks at two or more lengths, at the temperature of the plan",
    );
    DarkCurrent {
        rate: Estimate::new(0.0, 0.0),
        rate_per_kelvin: ElectronsPerSecond(0.0),
        nonuniformity: ASSUMED_NONUNIFORMITY,
        caveats: vec![caveat.about(plane.plane)],
    }
}
