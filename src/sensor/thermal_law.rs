//! Dark current against temperature: the law that `noise/thermal.rs` reads back.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

use crate::camera::Thermal;
use crate::stats::Estimate;
use crate::units::{Celsius, ElectronsPerSecond};

use super::BOLTZMANN_EV_PER_K;

/// A floor is fitted from this many temperatures on.
const TEMPERATURES_FOR_A_FLOOR: usize = 4;
/// A fitted activation energy outside this range in eV says that the points hold no law.
const CREDIBLE_EV: std::ops::RangeInclusive<f64> = 0.05..=2.5;

/// Fits `D(T) = D0 T^1.5 exp(−Ea/kT) + floor` to rates at temperatures, in linear space with
/// weights 1/u².
///
/// With two or three temperatures the floor is held at 0; with four or more it is fitted,
/// and dropped when it comes out negative. `None` with fewer than two different
/// temperatures, or when no credible activation energy (0.05 to 2.5 eV) describes them.
///
/// # Source
/// Temperature dependence of generation in the depletion region, Janesick, Scientific
/// Charge-Coupled Devices, 2001 (from memory), with a free activation energy; the floor
/// after published measurements that level off when cold.
#[must_use]
pub fn thermal_law(points: &[(Celsius, Estimate<ElectronsPerSecond>)]) -> Option<Thermal> {
    let mut points: Vec<(Celsius, Estimate<ElectronsPerSecond>)> =
        points.iter().filter(|(_, rate)| rate.value.0 > 0.0).copied().collect();
    points.sort_by(|a, b| a.0.0.total_cmp(&b.0.0));
    let (coldest, warmest) = (points.first()?.0, points.last()?.0);
    if warmest.0 - coldest.0 < 1.0 {
        return None;
    }
    let reference = points[points.len() / 2].0;
    let with_floor = (points.len() >= TEMPERATURES_FOR_A_FLOOR).then(|| fitted(&points, reference, true)).flatten();
    let (parameters, covariance) = match with_floor {
        Some((parameters, covariance)) if parameters[2] > 0.0 => (parameters, covariance),
        _ => fitted(&points, reference, false)?,
    };
    let activation = parameters[1];
    if !CREDIBLE_EV.contains(&activation) {
        return None;
    }
    let rate = parameters[0].exp();
    let zero = Celsius(0.0).kelvin();
    Some(Thermal {
        activation_ev: Estimate::new(activation, covariance[(1, 1)].sqrt()),
        doubling_k_at_0_c: std::f64::consts::LN_2 / (1.5 / zero + activation / (BOLTZMANN_EV_PER_K * zero * zero)),
        reference_c: reference,
        reference_e_per_s: Estimate::new(rate, rate * covariance[(0, 0)].sqrt()),
        floor_e_per_s: ElectronsPerSecond(parameters.get(2).copied().unwrap_or(0.0)),
        measured_c: Some([coldest.0, warmest.0]),
    })
}

/// Parameters (ln rate at the reference, activation energy in eV, floor) and covariance.
fn fitted(
    points: &[(Celsius, Estimate<ElectronsPerSecond>)],
    reference: Celsius,
    floor: bool,
) -> Option<(DVector<f64>, DMatrix<f64>)> {
    let (first, last) = (points.first()?, points.last()?);
    let slope = (last.1.value.0 / first.1.value.0).ln() / (1.0 / first.0.kelvin() - 1.0 / last.0.kelvin());
    let start = (slope * BOLTZMANN_EV_PER_K).clamp(0.1, 2.0);
    let middle = points.iter().find(|(temperature, _)| *temperature == reference)?;
    let mut parameters = vec![middle.1.value.0.ln(), start];
    if floor {
        parameters.push(0.1 * first.1.value.0);
    }
    let law = Law { points: points.to_vec(), reference, parameters: DVector::from_vec(parameters) };
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
    points: Vec<(Celsius, Estimate<ElectronsPerSecond>)>,
    reference: Celsius,
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

    /// A point's uncertainty: at least a thousandth of its value, so that no point is exact.
    fn sigma(rate: &Estimate<ElectronsPerSecond>) -> f64 {
        rate.uncertainty.0.max(1e-3 * rate.value.0)
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
        let floor = self.parameters.get(2).copied().unwrap_or(0.0);
        Some(DVector::from_iterator(
            self.points.len(),
            self.points.iter().map(|(temperature, rate)| {
                let model = self.parameters[0].exp() * self.shape(*temperature).0 + floor;
                (model - rate.value.0) / Self::sigma(rate)
            }),
        ))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let scale = self.parameters[0].exp();
        Some(DMatrix::from_fn(self.points.len(), self.parameters.len(), |i, k| {
            let (temperature, rate) = &self.points[i];
            let (shape, by_energy) = self.shape(*temperature);
            [scale * shape, scale * by_energy, 1.0][k] / Self::sigma(rate)
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

    fn points(temperatures: &[f64], energy: f64, floor: f64) -> Vec<(Celsius, Estimate<ElectronsPerSecond>)> {
        let rate = |c: f64| truth(c, energy, floor);
        temperatures.iter().map(|&c| (Celsius(c), Estimate::new(rate(c), 0.01 * rate(c)))).collect()
    }

    #[test]
    fn two_temperatures_give_the_energy_exactly() {
        let law = thermal_law(&points(&[-5.0, 10.0], 0.62, 0.0)).unwrap();
        approx::assert_relative_eq!(law.activation_ev.value, 0.62, max_relative = 1e-6);
    }

    #[test]
    fn a_floor_is_told_from_the_slope() {
        let law = thermal_law(&points(&[-20.0, -10.0, 0.0, 10.0, 20.0], 0.62, 0.02)).unwrap();
        approx::assert_relative_eq!(law.floor_e_per_s.0, 0.02, max_relative = 1e-4);
        approx::assert_relative_eq!(law.activation_ev.value, 0.62, max_relative = 1e-4);
    }

    #[test]
    fn depletion_doubles_in_seven_kelvin_at_zero() {
        // Half the band gap of silicon at 0 °C, 1.11777 eV (temperature slope of the gap left out).
        let law = thermal_law(&points(&[-5.0, 5.0], 1.117_77 / 2.0, 0.0)).unwrap();
        assert!((law.doubling_k_at_0_c - 7.4).abs() < 0.3, "{}", law.doubling_k_at_0_c);
    }

    #[test]
    fn one_temperature_is_no_law() {
        assert!(thermal_law(&points(&[5.0], 0.6, 0.0)).is_none());
        assert!(thermal_law(&points(&[5.0, 5.2], 0.6, 0.0)).is_none());
    }
}
