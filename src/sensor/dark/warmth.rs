//! By what factor the dark current grows along a course: a told temperature, or a warming that no header tells.

use crate::stats::over_their_sum;

/// What is thought beforehand of a growth: normal within a range.
#[derive(Debug, Clone, Copy)]
pub(super) struct Belief {
    pub(super) mean: f64,
    pub(super) sigma: f64,
    range: (f64, f64),
}

/// Per kelvin: between depletion (0.09 at 10 °C) and diffusion (0.18 at 10 °C), see `noise/thermal.rs`; a floor makes it smaller.
pub(super) const PER_KELVIN: Belief = Belief { mean: 0.12, sigma: 0.035, range: (0.0, 0.3) };
/// From the middle to the end of a run of darks that nobody told the temperature of: a few kelvins (common practice, no source).
pub(super) const UNTOLD: Belief = Belief { mean: 0.0, sigma: 0.3, range: (-1.5, 1.5) };

/// Points at which a growth is looked for.
const STEPS: usize = 50;
/// Growths of the scatter that are looked at.
const SCATTERS: [f64; 3] = [0.0, 3.0, 30.0];
/// Places about the likeliest growth, in its standard uncertainties as found without drifts: those may widen it.
const PLACES: [f64; 5] = [-3.0, -1.5, 0.0, 1.5, 3.0];

/// Growths that the levels allow, with the chance that each has beforehand: `xᵢ = tᵢ exp(k cᵢ)` along the course `c`.
pub(super) fn growths(times: &[f64], values: &[f64], course: &[f64], freedom: f64, belief: Belief) -> Vec<(f64, f64)> {
    let (least, most) = belief.range;
    let ln_prior = |k: f64| -0.5 * ((k - belief.mean) / belief.sigma).powi(2);
    let within = |low: f64, high: f64| {
        let at = |step: usize| (low + (high - low) * step as f64 / STEPS as f64).clamp(least, most);
        let found: Vec<(f64, f64)> = (0..=STEPS)
            .map(|step| (at(step), ln_likelihood(times, values, course, at(step), freedom) + ln_prior(at(step))))
            .collect();
        let best = found.iter().map(|(_, weight)| *weight).fold(f64::NEG_INFINITY, f64::max);
        let weighed =
            |of: &dyn Fn(f64) -> f64| found.iter().map(|(k, weight)| of(*k) * (weight - best).exp()).sum::<f64>();
        let total = weighed(&|_| 1.0);
        let mean = weighed(&|k| k) / total;
        (mean, (weighed(&|k| (k - mean).powi(2)) / total).sqrt())
    };
    let (mean, sigma) = within(least, most);
    let sigma = sigma.max((most - least) / STEPS as f64 / 2.0);
    let (mean, sigma) = within(mean - 4.0 * sigma, mean + 4.0 * sigma);
    let sigma = sigma.max(1e-4);
    let spacing = sigma * (PLACES[1] - PLACES[0]);
    let density = |k: f64| ln_prior(k).exp() / (belief.sigma * (2.0 * std::f64::consts::PI).sqrt());
    let places = PLACES.map(|place| mean + place * sigma);
    let allowed = places.into_iter().filter(|k| (least..=most).contains(k));
    allowed.map(|k| (k, (density(k) * spacing).max(1e-300))).collect()
}

/// Logarithm of the restricted likelihood of a growth, whatever the scatter does with the exposure.
fn ln_likelihood(times: &[f64], values: &[f64], course: &[f64], growth: f64, freedom: f64) -> f64 {
    let xs: Vec<f64> = times.iter().zip(course).map(|(time, at)| time * (growth * at).exp()).collect();
    let of = |scatter: f64| {
        let weights: Vec<f64> = xs.iter().map(|x| 1.0 / (1.0 + (scatter * x).powi(2))).collect();
        let mean = |of: &[f64]| {
            let sum: f64 = of.iter().zip(&weights).map(|(value, weight)| value * weight).sum();
            sum / weights.iter().sum::<f64>()
        };
        let (mx, my) = (mean(&xs), mean(values));
        let sum = |of: &dyn Fn(f64, f64) -> f64| {
            let rows = xs.iter().zip(values).zip(&weights);
            rows.map(|((x, y), weight)| weight * of(x - mx, y - my)).sum::<f64>()
        };
        let (xx, xy, yy) = (sum(&|x, _| x * x), sum(&|x, y| x * y), sum(&|_, y| y * y));
        let left = (yy - xy * xy / xx).max(0.0) + 1e-10 * xs.len() as f64;
        let ln_weights: f64 = weights.iter().map(|weight| weight.ln()).sum();
        0.5 * ln_weights - 0.5 * (weights.iter().sum::<f64>() * xx).ln() - 0.5 * freedom * left.ln()
    };
    over_their_sum(&SCATTERS.map(of)).1
}
