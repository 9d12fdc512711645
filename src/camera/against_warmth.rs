//! Dark currents that do not rise with the temperature as a sensor's do.

use crate::units::{BOLTZMANN_EV_PER_K, Celsius};

use super::{DarkCurrentPoint, Thermal};

/// Temperatures nearer to each other than this, in kelvins, say nothing of a rise.
const LEAST_KELVIN: f64 = 5.0;
/// No source in silicon rises more slowly: depletion has 0.55 eV or more, and a floor as large as the rate itself halves that.
const LEAST_EV: f64 = 0.25;
/// A fall of less than this share may be the frames'.
const LEAST_FALL: f64 = 0.1;
/// So many combined uncertainties are beyond chance.
const SURE_SIGMAS: f64 = 3.0;

/// Two measured temperatures between which the dark current does not rise as a sensor's does: colder, warmer.
///
/// `None` where they rise, where they are too uncertain to say, and where `law` was given all the same. The coldest and the warmest
/// must be apart by what an energy of 0.25 eV makes; between any others there must be no fall.
#[must_use]
pub fn against_warmth<'a>(
    points: &'a [DarkCurrentPoint],
    law: Option<&Thermal>,
) -> Option<[(Celsius, &'a DarkCurrentPoint); 2]> {
    if law.is_some() {
        return None;
    }
    let mut known: Vec<(Celsius, &DarkCurrentPoint)> =
        points.iter().filter_map(|point| Some((point.sensor_c?, point))).collect();
    known.sort_by(|a, b| a.0.0.total_cmp(&b.0.0));
    let (coldest, warmest) = (*known.first()?, *known.last()?);
    let falls = || {
        let pairs = known
            .iter()
            .enumerate()
            .flat_map(|(place, cold)| known[place + 1..].iter().map(move |warm| [*cold, *warm]));
        pairs.into_iter().find(|[cold, warm]| lacks(*cold, *warm, 1.0 - LEAST_FALL))
    };
    let whole = [coldest, warmest];
    if lacks(coldest, warmest, least_rise(coldest.0, warmest.0)) { Some(whole) } else { falls() }
}

/// Whether the warmer rate is surely less than so many times the colder one.
fn lacks(cold: (Celsius, &DarkCurrentPoint), warm: (Celsius, &DarkCurrentPoint), times: f64) -> bool {
    let (low, high) = (cold.1.e_per_s, warm.1.e_per_s);
    let sigma = (times * low.uncertainty.0).hypot(high.uncertainty.0);
    let sure = low.value.0 > SURE_SIGMAS * low.uncertainty.0;
    warm.0.0 - cold.0.0 >= LEAST_KELVIN && sure && times * low.value.0 - high.value.0 > SURE_SIGMAS * sigma
}

/// By what the least energy makes a rate grow between two temperatures.
fn least_rise(cold: Celsius, warm: Celsius) -> f64 {
    (LEAST_EV / BOLTZMANN_EV_PER_K * (1.0 / cold.kelvin() - 1.0 / warm.kelvin())).exp()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::DarkCurrentSource;
    use crate::stats::Estimate;

    fn points(rates: &[(f64, f64)]) -> Vec<DarkCurrentPoint> {
        let point = |&(celsius, rate): &(f64, f64)| DarkCurrentPoint {
            sensor_c: Some(Celsius(celsius)),
            e_per_s: Estimate::new(rate, 0.02 * rate),
            median_e_per_s: None,
            from: DarkCurrentSource::Mean,
            other_e_per_s: None,
            nonuniformity_percent: None,
            hot_pixel_fraction: None,
            exposures_s: Vec::new(),
        };
        rates.iter().map(point).collect()
    }

    #[test]
    fn what_rises_by_a_law_with_a_floor_is_no_doubt_and_what_stays_or_falls_is() {
        let raised = |rates: &[(f64, f64)]| against_warmth(&points(rates), None).is_some();
        assert!(!raised(&[(-15.0, 0.011), (-5.0, 0.014), (5.0, 0.026), (15.0, 0.07)]));
        assert!(!raised(&[(-10.0, 0.10), (-8.0, 0.09)]), "too near");
        assert!(raised(&[(-15.0, 0.50), (-5.0, 0.51), (5.0, 0.49), (15.0, 0.52)]));
        assert!(raised(&[(-15.0, 0.3), (-5.0, 0.1), (5.0, 0.9), (15.0, 2.0)]), "one falls");
        assert!(raised(&[(-10.0, 0.9), (10.0, 0.1)]));
    }
}
