//! Dark current against temperature: the law that `noise/thermal.rs` reads back.
//!
//! The gain's uncertainty is common to all temperatures and moves no activation energy. With fewer than four
//! temperatures a floor cannot be seen; what a floor of half the coldest rate would do is part of the uncertainty.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

use crate::camera::{DarkCurrentPoint, DarkCurrentSource, Thermal};
use crate::stats::Estimate;
use crate::units::{Celsius, ElectronsPerSecond};

use crate::sensor::BOLTZMANN_EV_PER_K;

/// A floor is fitted from this many temperatures on.
pub(crate) const TEMPERATURES_FOR_A_FLOOR: usize = 4;
/// With fewer, a floor of up to this share of the coldest rate is priced into the activation energy.
const POSSIBLE_FLOOR: f64 = 0.5;
/// A fitted activation energy outside this range in eV says that the points hold no law.
const CREDIBLE_EV: std::ops::RangeInclusive<f64> = 0.05..=2.5;

/// Fits `D(T) = D0 T^1.5 exp(−Ea/kT) + floor` to dark currents, in linear space with weights 1/u².
///
/// The gain is common to all temperatures: its relative uncertainty `gain` is taken off the
/// weights and put back on the rate at the reference, for it moves no activation energy.
///
/// With two or three temperatures the floor is held at 0, and what a floor of up to half the
/// coldest rate would do to the activation energy is in its uncertainty (half width of a
/// rectangular distribution); with four or more the floor is fitted, and dropped when it comes
/// out negative. `None` with fewer than two different temperatures, or when no credible
/// activation energy (0.05 to 2.5 eV) describes them.
///
/// # Source
/// Temperature dependence of generation in the depletion region, Janesick, Scientific
/// Charge-Coupled Devices, 2001 (from memory), with a free activation energy; the floor
/// after published measurements that level off when cold.
#[must_use]
pub fn thermal_law(dark_current: &[DarkCurrentPoint], gain: f64) -> Option<Thermal> {
    let mut points: Vec<Point> = dark_current.iter().filter_map(|point| Point::new(point, gain)).collect();
    points.sort_by(|a, b| a.celsius.0.total_cmp(&b.celsius.0));
    // A rate that noise made negative says that the law is low there, and counts; the law starts from the others.
    let above: Vec<&Point> = points.iter().filter(|point| point.rate > 0.0).collect();
    let (coldest, warmest) = ((*above.first()?).clone(), (*above.last()?).clone());
    let measured = [points.first()?.celsius.0, points.last()?.celsius.0];
    if warmest.celsius.0 - coldest.celsius.0 < 1.0 {
        return None;
    }
    let reference = above[above.len() / 2].clone();
    let enough = points.len() >= TEMPERATURES_FOR_A_FLOOR;
    let free = enough.then(|| fitted(&points, &reference, Floor::Free)).flatten();
    let (parameters, covariance) = match free {
        Some((parameters, covariance)) if parameters[2] > 0.0 => (parameters, covariance),
        _ => fitted(&points, &reference, Floor::Held(0.0))?,
    };
    let activation = parameters[1];
    if !CREDIBLE_EV.contains(&activation) {
        return None;
    }
    let mut sigma = covariance[(1, 1)].sqrt();
    if !enough {
        let held = Floor::Held(POSSIBLE_FLOOR * coldest.rate);
        let other = fitted(&points, &reference, held).map_or(activation, |(parameters, _)| parameters[1]);
        sigma = sigma.hypot((other - activation) / 3_f64.sqrt());
    }
    let rate = parameters[0].exp();
    let zero = Celsius(0.0).kelvin();
    Some(Thermal {
        activation_ev: Estimate::new(activation, sigma),
        doubling_k_at_0_c: std::f64::consts::LN_2 / (1.5 / zero + activation / (BOLTZMANN_EV_PER_K * zero * zero)),
        reference_c: reference.celsius,
        reference_e_per_s: Estimate::new(rate, rate * covariance[(0, 0)].sqrt().hypot(reference.common)),
        floor_e_per_s: ElectronsPerSecond(parameters.get(2).copied().unwrap_or(0.0)),
        floor_uncertainty_e_per_s: (parameters.len() > 2).then(|| ElectronsPerSecond(covariance[(2, 2)].sqrt())),
        measured_c: Some(measured),
    })
}

/// A rate at a temperature, its uncertainty without what all temperatures share.
#[derive(Debug, Clone)]
struct Point {
    celsius: Celsius,
    rate: f64,
    sigma: f64,
    /// Relative uncertainty that all temperatures share.
    common: f64,
}

impl Point {
    /// `None` without a temperature or an uncertainty.
    fn new(point: &DarkCurrentPoint, gain: f64) -> Option<Self> {
        let rate = point.e_per_s.value.0;
        // A variance is converted with the gain squared.
        let common = if point.from == DarkCurrentSource::Variance { 2.0 * gain } else { gain };
        let own = point.e_per_s.uncertainty.0.powi(2) - (rate * common).powi(2);
        // At least a thousandth of the value, so that no point is exact.
        let sigma = own.max(0.0).sqrt().max(1e-3 * rate.abs());
        (sigma > 0.0 && sigma.is_finite()).then_some(Self { celsius: point.sensor_c?, rate, sigma, common })
    }
}

/// Whether the floor is fitted.
#[derive(Debug, Clone, Copy)]
enum Floor {
    Free,
    Held(f64),
}

/// Parameters (ln rate at the reference, activation energy in eV, a free floor) and covariance.
fn fitted(points: &[Point], reference: &Point, floor: Floor) -> Option<(DVector<f64>, DMatrix<f64>)> {
    let (first, last) = (points.iter().find(|point| point.rate > 0.0)?, points.iter().rfind(|point| point.rate > 0.0)?);
    let slope = (last.rate / first.rate).ln() / (1.0 / first.celsius.kelvin() - 1.0 / last.celsius.kelvin());
    let mut start = vec![reference.rate.ln(), (slope * BOLTZMANN_EV_PER_K).clamp(0.1, 2.0)];
    if let Floor::Free = floor {
        start.push(0.1 * first.rate);
    }
    let parameters = DVector::from_vec(start);
    let law = Law { points: points.to_vec(), reference: reference.celsius, floor, parameters };
    let (law, report) = LevenbergMarquardt::new().minimize(law);
    if !report.termination.was_successful() || law.parameters.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let jacobian = law.jacobian()?;
    let covariance = (jacobian.transpose() * &jacobian).try_inverse()?;
    let freedom = points.len().saturating_sub(law.parameters.len());
    let inflation = if freedom > 0 { (2.0 * report.objective_function / freedom as f64).max(1.0) } else { 1.0 };
    Some((law.parameters.clone(), covariance * inflation))
}

struct Law {
    points: Vec<Point>,
    reference: Celsius,
    floor: Floor,
    parameters: DVector<f64>,
}

impl Law {
    /// Shape of the law, 1 at the reference, and its derivative by the activation energy.
    fn shape(&self, temperature: Celsius) -> (f64, f64) {
        let (t, t0) = (temperature.kelvin(), self.reference.kelvin());
        let inverse = (1.0 / t - 1.0 / t0) / BOLTZMANN_EV_PER_K;
        let shape = (t / t0).powf(1.5) * (-self.parameters[1] * inverse).exp();
        (shape, -inverse * shape)
    }

    fn floor(&self) -> f64 {
        match self.floor {
            Floor::Free => self.parameters[2],
            Floor::Held(floor) => floor,
        }
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Law {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, parameters: &DVector<f64>) {
        self.parameters.copy_from(parameters);
    }

    fn params(&self) -> DVector<f64> {
        self.parameters.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let model = |celsius| self.parameters[0].exp() * self.shape(celsius).0 + self.floor();
        let residuals = self.points.iter().map(|point| (model(point.celsius) - point.rate) / point.sigma);
        Some(DVector::from_iterator(self.points.len(), residuals))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let scale = self.parameters[0].exp();
        Some(DMatrix::from_fn(self.points.len(), self.parameters.len(), |i, k| {
            let (shape, by_energy) = self.shape(self.points[i].celsius);
            [scale * shape, scale * by_energy, 1.0][k] / self.points[i].sigma
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn truth(celsius: f64, energy: f64, floor: f64) -> f64 {
        let (t, t0) = (Celsius(celsius).kelvin(), Celsius(0.0).kelvin());
        0.5 * (t / t0).powf(1.5) * (-energy / BOLTZMANN_EV_PER_K * (1.0 / t - 1.0 / t0)).exp() + floor
    }

    fn points(temperatures: &[f64], energy: f64, floor: f64) -> Vec<DarkCurrentPoint> {
        let point = |&celsius: &f64| {
            let rate = truth(celsius, energy, floor);
            DarkCurrentPoint {
                sensor_c: Some(Celsius(celsius)),
                e_per_s: Estimate::new(rate, 0.02 * rate),
                median_e_per_s: None,
                from: DarkCurrentSource::Mean,
                other_e_per_s: None,
                nonuniformity_percent: None,
                hot_pixel_fraction: None,
                exposures_s: Vec::new(),
            }
        };
        temperatures.iter().map(point).collect()
    }

    #[test]
    fn a_floor_that_cannot_be_seen_is_in_the_uncertainty() {
        let law = thermal_law(&points(&[-10.0, 0.0, 10.0], 0.62, 0.03), 0.0).unwrap();
        assert!(law.activation_ev.value < 0.60 && law.activation_ev.covers(0.62), "{law:?}");
    }

    #[test]
    fn a_common_gain_moves_the_rate_and_not_the_energy() {
        let four = [-20.0, -10.0, 0.0, 10.0];
        let own = thermal_law(&points(&four, 0.62, 0.01), 0.0).unwrap();
        let shared = thermal_law(&points(&four, 0.62, 0.01), 0.019).unwrap();
        assert!(shared.activation_ev.uncertainty < 0.5 * own.activation_ev.uncertainty);
        assert!(shared.reference_e_per_s.relative() > 0.018);
    }

    #[test]
    fn two_temperatures_give_the_energy_exactly() {
        let law = thermal_law(&points(&[-5.0, 10.0], 0.62, 0.0), 0.0).unwrap();
        approx::assert_relative_eq!(law.activation_ev.value, 0.62, max_relative = 1e-6);
    }

    #[test]
    fn a_floor_is_told_from_the_slope() {
        let law = thermal_law(&points(&[-20.0, -10.0, 0.0, 10.0, 20.0], 0.62, 0.02), 0.0).unwrap();
        approx::assert_relative_eq!(law.floor_e_per_s.0, 0.02, max_relative = 1e-4);
        approx::assert_relative_eq!(law.activation_ev.value, 0.62, max_relative = 1e-4);
    }

    #[test]
    fn depletion_doubles_in_seven_kelvin_at_zero() {
        // Half the band gap of silicon at 0 °C, 1.11777 eV (temperature slope of the gap left out).
        let law = thermal_law(&points(&[-5.0, 5.0], 1.117_77 / 2.0, 0.0), 0.0).unwrap();
        assert!((law.doubling_k_at_0_c - 7.4).abs() < 0.3, "{}", law.doubling_k_at_0_c);
    }

    #[test]
    fn one_temperature_is_no_law() {
        assert!(thermal_law(&points(&[5.0], 0.6, 0.0), 0.0).is_none());
        assert!(thermal_law(&points(&[5.0, 5.2], 0.6, 0.0), 0.0).is_none());
    }
}
