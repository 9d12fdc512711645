//! The dark current beyond the temperatures that it was measured at, whatever the energies of its sources.

use crate::camera::{DarkCurrentPoint, DarkCurrentSource, Plane};
use crate::stats::{ShapeSum, chi2_quantile, profile_prediction};
use crate::units::{BOLTZMANN_EV_PER_K, Celsius};

use super::thermal::{depletion_ratio, diffusion_ratio};

/// With fewer temperatures a sum of sources is not looked for.
const FEWEST_TEMPERATURES: usize = 3;
/// Energies of the sources in eV: depletion is about 0.55 to 0.68, diffusion 1.0 to 1.15 (published sensors), and what
/// lies between has been seen. Each as likely as the others. The laws of depletion and diffusion stand beside them: as the band
/// gap falls with the temperature, a diffusion of 1.12 eV is as steep as 1.22 eV here, steeper than all others.
const ENERGIES: (f64, f64) = (0.45, 1.20);
/// From one to the next; a source between two is their sum within a thousandth.
const STEP_EV: f64 = 0.05;
/// A χ² that so many sets stay below is chance.
const USUAL: f64 = 0.999;
/// An uncertainty of at least this share of the gain's part holds it: files round.
const HOLDS_IT: f64 = 0.98;
/// No point is surer than this.
const LEAST_SIGMA: f64 = 1e-3;

/// A measured rate: where, in e⁻/s, and its uncertainty without what all temperatures share.
struct Measured {
    at: Celsius,
    rate: f64,
    sigma: f64,
}

/// The rate at `at` in e⁻/s with its 95 % interval: the middle of what the sums of up to two sources and a floor, none of them
/// negative, say as far as the measured points allow (profile likelihood over amplitudes and energies). Where none describes the points,
/// their own scatter widens it: by the root of χ² over its 99.9 % point.
///
/// ```text
/// D(T) = Σₖ aₖ T^1.5 exp(−Eₖ/kT) + floor,   aₖ ≥ 0,  Eₖ = 0.45 … 1.20 eV, or the law of depletion or diffusion
/// ```
///
/// `None` with fewer than three temperatures.
///
/// # Source
/// [`depletion_ratio`] and [`diffusion_ratio`], and the form of the first with free energies; published sensors have 0.55 to 0.68
/// and 1.0 to 1.15 eV.
pub(super) fn carried(plane: &Plane, at: Celsius) -> Option<(f64, [f64; 2])> {
    let gain = shared(plane);
    let points: Vec<Measured> = plane
        .dark_current
        .iter()
        .filter_map(|point| {
            let rate = point.e_per_s.value.0;
            let common = rate * powers(point) * gain;
            let own = (point.e_per_s.uncertainty.0.powi(2) - common * common).max(0.0).sqrt();
            Some(Measured { at: point.sensor_c?, rate, sigma: own.max(LEAST_SIGMA * rate.abs()) })
        })
        .filter(|point| point.sigma > 0.0 && point.sigma.is_finite())
        .collect();
    if points.len() < FEWEST_TEMPERATURES {
        return None;
    }
    let rates: Vec<f64> = points.iter().map(|point| point.rate).collect();
    let weights: Vec<f64> = points.iter().map(|point| point.sigma.powi(-2)).collect();
    let sums = sums(&points, at);
    let first = profile_prediction(&sums, &rates, &weights, 1.0)?;
    // A level and two sources with their energies, as far as the points fix them.
    let freedom = points.len().saturating_sub(4).max(1) as f64;
    let stretch = (first.chi2 / chi2_quantile(USUAL, freedom)).max(1.0);
    let found = if stretch > 1.0 { profile_prediction(&sums, &rates, &weights, stretch)? } else { first };
    // The gain moves all rates together.
    let widened = |end: f64| {
        let apart = (end / found.value).ln();
        found.value * (apart.signum() * apart.hypot(1.96 * gain)).exp()
    };
    let [low, high] = found.interval_95;
    Some((found.value, [widened(low.min(found.value * (1.0 - 1e-9))), widened(high.max(found.value * (1.0 + 1e-9)))]))
}

/// How often the gain is in the rate: a variance is converted with its square.
fn powers(point: &DarkCurrentPoint) -> f64 {
    if point.from == DarkCurrentSource::Variance { 2.0 } else { 1.0 }
}

/// Relative uncertainty that all rates share: the gain's, if it is in theirs. A published rate may be surer than the gain beside it,
/// then it was not made with that gain.
fn shared(plane: &Plane) -> f64 {
    let gain = plane.gain_e_per_dn.relative();
    let holds_it = |point: &DarkCurrentPoint| {
        point.e_per_s.uncertainty.0 >= HOLDS_IT * (powers(point) * gain * point.e_per_s.value.0).abs()
    };
    if gain.is_finite() && plane.dark_current.iter().all(holds_it) { gain } else { 0.0 }
}

/// Every sum of up to two sources, with and without a floor, at the points and at `at`.
fn sums(points: &[Measured], at: Celsius) -> Vec<ShapeSum> {
    let from = points[points.len() / 2].at;
    let count = ((ENERGIES.1 - ENERGIES.0) / STEP_EV).round() as usize;
    let source = |of: &dyn Fn(Celsius) -> f64| (points.iter().map(|point| of(point.at)).collect::<Vec<f64>>(), of(at));
    let energy = |number: usize| ENERGIES.0 + STEP_EV * number as f64;
    let mut sources: Vec<(Vec<f64>, f64)> =
        (0..=count).map(|number| source(&|celsius| source_ratio(energy(number), celsius, from))).collect();
    sources.push(source(&|celsius| depletion_ratio(celsius, from)));
    sources.push(source(&|celsius| diffusion_ratio(celsius, from)));
    let mut chosen: Vec<Vec<&(Vec<f64>, f64)>> = vec![Vec::new()];
    for (number, one) in sources.iter().enumerate() {
        chosen.push(vec![one]);
        chosen.extend(sources[..number].iter().map(|other| vec![other, one]));
    }
    let sum = |chosen: &Vec<&(Vec<f64>, f64)>, floor: bool| {
        let mut sum = ShapeSum {
            shapes: chosen.iter().map(|one| one.0.clone()).collect(),
            at: chosen.iter().map(|one| one.1).collect(),
        };
        if floor {
            sum.shapes.push(vec![1.0; points.len()]);
            sum.at.push(1.0);
        }
        sum
    };
    let all = chosen.iter().flat_map(|chosen| [sum(chosen, false), sum(chosen, true)]);
    all.filter(|sum| !sum.at.is_empty()).collect()
}

/// The rate of a source of this energy at `at` over that at `from`.
fn source_ratio(energy: f64, at: Celsius, from: Celsius) -> f64 {
    let (t, reference) = (at.kelvin(), from.kelvin());
    (t / reference).powf(1.5) * (energy / BOLTZMANN_EV_PER_K * (1.0 / reference - 1.0 / t)).exp()
}
