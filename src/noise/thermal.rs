//! Dark current at any sensor temperature, from what was measured at some.
//!
//! `sensor` measures dark current at the temperatures there are frames of; this file
//! says what it is at the others.
//!
//! Beyond the measured temperatures the points are read as sources of any energy and a floor, none of them negative,
//! and the interval is the envelope of what those points allow (profile likelihood).

use crate::camera::{DarkCurrentPoint, Plane, Thermal};
use crate::caveat::Caveat;
use crate::stats::Estimate;
use crate::units::{BOLTZMANN_EV_PER_K, Celsius, ElectronsPerSecond};

use super::carried::carried;
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
    let nearest = nearest_point(plane, at);
    let nonuniformity = nearest.and_then(|point| point.nonuniformity_percent).map(|percent| percent / 100.0);
    let mut dark = match (&plane.thermal, nearest) {
        (Some(law), _) => from_law(law, at, plane),
        (None, Some(point)) => from_point(point, at, plane),
        (None, None) => unknown(plane),
    };
    dark.nonuniformity = nonuniformity.unwrap_or(ASSUMED_NONUNIFORMITY);
    dark.rate = only_adds(dark.rate);
    dark.rate_per_kelvin = ElectronsPerSecond(dark.rate_per_kelvin.0.max(0.0));
    dark
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

fn from_law(law: &Thermal, at: Celsius, plane: &Plane) -> DarkCurrent {
    let (above_floor, per_kelvin) = law_rate(law, at);
    let floor = law.floor_e_per_s.0;
    let rate = above_floor + floor;
    let lever = (1.0 / law.reference_c.kelvin() - 1.0 / at.kelvin()) / BOLTZMANN_EV_PER_K;
    let relative = law.reference_e_per_s.relative().hypot(lever * law.activation_ev.uncertainty);
    let of_floor = law.floor_uncertainty_e_per_s.map_or(0.0, |sigma| sigma.0);
    let statistical = (above_floor * if relative.is_finite() { relative } else { 0.0 }).hypot(of_floor);
    let mut estimate = Estimate::new(rate, statistical).with_statistical(statistical);
    let mut caveats = Vec::new();
    if let Some(edge) = measured_edge(law, at) {
        let (low, high) = match carried(plane, at) {
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
        estimate.interval_95 = Some((ElectronsPerSecond(low), ElectronsPerSecond(high)));
        caveats.push(extrapolated(at, edge, low, high, plane));
    }
    DarkCurrent {
        rate: estimate,
        rate_per_kelvin: ElectronsPerSecond(above_floor * per_kelvin),
        nonuniformity: ASSUMED_NONUNIFORMITY,
        caveats,
    }
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

fn extrapolated(at: Celsius, edge: Celsius, low: f64, high: f64, plane: &Plane) -> Caveat {
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
        return DarkCurrent {
            rate: point.e_per_s,
            rate_per_kelvin: only_adds(point.e_per_s).value * rate_per_kelvin,
            nonuniformity: ASSUMED_NONUNIFORMITY,
            caveats: vec![caveat.about(plane.plane)],
        };
    };
    let warmer = at.0 - measured_at.0;
    let factor = (warmer * rate_per_kelvin).exp();
    // What is scaled is what may be used: a rate below 0 would make itself a warm sensor's gain.
    let mut rate: Estimate<ElectronsPerSecond> = only_adds(point.e_per_s).scaled(factor);
    let from_doubling =
        rate.value.0 * warmer.abs() * rate_per_kelvin * ASSUMED_DOUBLING_UNCERTAINTY_K / ASSUMED_DOUBLING_K;
    let mut caveats = Vec::new();
    if warmer.abs() > MEASURED_MARGIN_K {
        rate.uncertainty = ElectronsPerSecond(rate.uncertainty.0.hypot(from_doubling));
        rate.interval_95 = None;
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
