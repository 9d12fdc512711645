//! The dark current beyond the temperatures that it was measured at, whatever the energies of its sources.

use crate::camera::{DarkCurrentPoint, DarkCurrentSource, Plane};
use crate::stats::{NonNegativeFits, chi2_quantile};
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

/// What the measured points say of every temperature: the sums of up to two sources and a floor, none of them negative, each fitted
/// once.
///
/// ```text
/// D(T) = Σₖ aₖ T^1.5 exp(−Eₖ/kT) + floor,   aₖ ≥ 0,  Eₖ = 0.45 … 1.20 eV, or the law of depletion or diffusion
/// ```
///
/// # Source
/// [`depletion_ratio`] and [`diffusion_ratio`], and the form of the first with free energies; published sensors have 0.55 to 0.68
/// and 1.0 to 1.15 eV.
#[derive(Debug, Clone)]
pub(super) struct Carried {
    fits: NonNegativeFits,
    /// The temperature at which every shape is 1.
    from: Celsius,
    /// Relative uncertainty that all rates share.
    gain: f64,
    /// How many times χ² is above what chance gives, at least 1.
    stretch: f64,
}

impl Carried {
    /// `None` with fewer than three temperatures.
    pub(super) fn new(plane: &Plane) -> Option<Self> {
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
        let from = points[points.len() / 2].at;
        let of_each: Vec<Vec<f64>> = points.iter().map(|point| shapes(point.at, from)).collect();
        let count = of_each[0].len();
        let shapes: Vec<Vec<f64>> = (0..count).map(|shape| of_each.iter().map(|of| of[shape]).collect()).collect();
        let rates: Vec<f64> = points.iter().map(|point| point.rate).collect();
        let weights: Vec<f64> = points.iter().map(|point| point.sigma.powi(-2)).collect();
        let fits = NonNegativeFits::new(&shapes, &sums(count), &rates, &weights)?;
        // A level and two sources with their energies, as far as the points fix them.
        let freedom = points.len().saturating_sub(4).max(1) as f64;
        let stretch = (fits.chi2() / chi2_quantile(USUAL, freedom)).max(1.0);
        Some(Self { fits, from, gain, stretch })
    }

    /// The rate at `at` in e⁻/s alone.
    pub(super) fn rate(&self, at: Celsius) -> f64 {
        self.fits.value(&shapes(at, self.from))
    }

    /// The same with its 95 % interval: the middle of what the sums say as far as the measured points allow (profile likelihood over
    /// amplitudes and energies). Where none describes the points, their own scatter widens it: by the root of χ² over its 99.9 % point.
    ///
    /// `None` where the rate is 0.
    pub(super) fn within(&self, at: Celsius) -> Option<(f64, [f64; 2])> {
        let found = self.fits.prediction(&shapes(at, self.from), self.stretch)?;
        // The gain moves all rates together.
        let widened = |end: f64| {
            let apart = (end / found.value).ln();
            found.value * (apart.signum() * apart.hypot(1.96 * self.gain)).exp()
        };
        let [low, high] = found.interval_95;
        Some((
            found.value,
            [widened(low.min(found.value * (1.0 - 1e-9))), widened(high.max(found.value * (1.0 + 1e-9)))],
        ))
    }
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

/// Every source, and last a floor, at `at` over what it is at `from`.
fn shapes(at: Celsius, from: Celsius) -> Vec<f64> {
    let count = ((ENERGIES.1 - ENERGIES.0) / STEP_EV).round() as usize;
    let energies = (0..=count).map(|number| source_ratio(ENERGIES.0 + STEP_EV * number as f64, at, from));
    energies.chain([depletion_ratio(at, from), diffusion_ratio(at, from), 1.0]).collect()
}

/// Every choice of up to two sources of `count` shapes, with and without the floor, which is the last.
fn sums(count: usize) -> Vec<Vec<usize>> {
    let floor = count - 1;
    let mut sources: Vec<Vec<usize>> = vec![Vec::new()];
    for one in 0..floor {
        sources.push(vec![one]);
        sources.extend((0..one).map(|other| vec![other, one]));
    }
    let with_floor = sources.iter().map(|chosen| [chosen.as_slice(), &[floor]].concat());
    sources.iter().filter(|chosen| !chosen.is_empty()).cloned().chain(with_floor).collect()
}

/// The rate of a source of this energy at `at` over that at `from`.
fn source_ratio(energy: f64, at: Celsius, from: Celsius) -> f64 {
    let (t, reference) = (at.kelvin(), from.kelvin());
    (t / reference).powf(1.5) * (energy / BOLTZMANN_EV_PER_K * (1.0 / reference - 1.0 / t)).exp()
}
