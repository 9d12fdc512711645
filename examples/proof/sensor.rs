//! One made-up sensor of the proof: its laws, a draw of its frames' sums, and what the program makes of them.

use nalgebra::Matrix3;
use rand::Rng;
use rand_distr::{Distribution, Normal};
use subwell::camera::Plane;
use subwell::frames::FrameKind;
use subwell::sensor::{Assembled, DarkSummary, PairStatistics, PlaneMeter, StackKey};
use subwell::stats::Histogram;
use subwell::units::{Celsius, Seconds};

use crate::law::{CodeLaw, Exposure};

/// What is true of the sensor, and the frames that are taken of it.
#[derive(Debug, Clone)]
pub(crate) struct Design {
    /// Electrons per step of the converter.
    pub(crate) gain: f64,
    /// DN from one step to the next.
    pub(crate) step: i32,
    /// Read noise in electrons.
    pub(crate) read: f64,
    /// Level without charge in steps.
    pub(crate) offset: f64,
    /// Electrons at saturation.
    pub(crate) well: f64,
    /// Curvature of the transfer curve in units of its own uncertainty in this design.
    pub(crate) curvature_sigmas: f64,
    /// Where the frames hold too little to know the curvature: relative loss of variance at saturation instead.
    pub(crate) curvature_at_well: Option<f64>,
    /// Pixels of a frame.
    pub(crate) pixels: u64,
    /// Pairs of bias frames.
    pub(crate) bias_pairs: usize,
    /// Levels of flat pairs as shares of saturation.
    pub(crate) levels: Vec<f64>,
    /// Scatter of the frames' levels in DN.
    pub(crate) jitter_dn: f64,
    /// Dark current in e⁻/s, and the exposures of the darks with their number of frames.
    pub(crate) dark: f64,
    pub(crate) exposures: Vec<(f64, usize)>,
    /// Wander of the temperature from dark to dark in kelvins, and whether the headers tell it.
    pub(crate) kelvin: f64,
    pub(crate) told: bool,
}

/// A design with the laws of all its exposures.
pub(crate) struct Sensor {
    pub(crate) design: Design,
    bias: CodeLaw,
    flats: Vec<(f64, CodeLaw)>,
    darks: Vec<(f64, usize, CodeLaw)>,
    /// Relative Cramér–Rao bound of the gain for the quadratic that is fitted; `None` with too few levels.
    pub(crate) gain_bound: Option<f64>,
}

const TEMPERATURE: Celsius = Celsius(-5.0);
/// ln 2 / 6.3 K: how the simulated dark current grows.
const PER_KELVIN: f64 = 0.11;

impl Sensor {
    pub(crate) fn of(design: Design) -> Self {
        let law = |electrons: f64, curvature: f64| {
            let Design { read, gain, offset, step, .. } = design;
            CodeLaw::of(&Exposure { electrons, curvature, read, gain, offset, step })
        };
        let bias = law(0.0, 0.0);
        let straight: Vec<CodeLaw> = design.levels.iter().map(|share| law(share * design.well, 0.0)).collect();
        let bounds = bounds(&design, &bias, &straight);
        let curvature = match (design.curvature_at_well, bounds) {
            (Some(at_well), _) => at_well / design.well,
            // a per electron is the curvature in DN²/DN²: see `transfer_fit`.
            (None, Some((_, of_curvature))) => -design.curvature_sigmas * of_curvature,
            (None, None) => 0.0,
        };
        let flats = design.levels.iter().map(|share| (*share, law(share * design.well, curvature))).collect();
        let darks = design.exposures.iter().map(|&(t, frames)| (t, frames, law(design.dark * t, 0.0))).collect();
        Self { bias, flats, darks, gain_bound: bounds.map(|(gain, _)| gain), design }
    }

    /// Draws the sums of all frames and measures them.
    pub(crate) fn measured(&self, rng: &mut impl Rng) -> Plane {
        let Design { pixels, step, jitter_dn, bias_pairs, .. } = self.design;
        let rows = (pixels as f64).sqrt().round() as usize;
        let jitter = Normal::new(0.0, jitter_dn).expect("a scatter");
        let key =
            |kind: FrameKind, exposure: f64| StackKey { kind, exposure: Seconds(exposure), sensor: Some(TEMPERATURE) };
        let mut meter = PlaneMeter::mono(None);
        let pair = |law: &CodeLaw, shifts: [f64; 2], rng: &mut _| -> (PairStatistics, Histogram) {
            law.pair(pixels, rows, shifts, rng)
        };
        for _ in 0..bias_pairs {
            let shifts = [jitter.sample(rng), jitter.sample(rng)];
            meter.pair(key(FrameKind::Bias, 0.0), String::new(), pair(&self.bias, shifts, rng).0);
        }
        for (share, law) in &self.flats {
            let shifts = [jitter.sample(rng), jitter.sample(rng)];
            meter.pair(key(FrameKind::Flat, *share), String::new(), pair(law, shifts, rng).0);
        }
        for (place, &(exposure, frames, ref law)) in self.darks.iter().enumerate().rev() {
            let mut waiting: Option<PairStatistics> = None;
            let mut variance = None;
            for number in 0..frames {
                let wander = self.design.kelvin * Normal::new(0.0, 1.0).expect("normal").sample(rng);
                let warm = self.design.dark * exposure * PER_KELVIN * wander / self.design.gain * f64::from(step);
                let shift = jitter.sample(rng) + warm;
                let (mean, of_pair) = if number % 2 == 0 {
                    let (drawn, differences) = pair(law, [0.0, 0.0], rng);
                    variance = Some(spread(&differences));
                    let first = drawn.means[0];
                    waiting = Some(drawn);
                    (first, None)
                } else {
                    (waiting.take().map_or(0.0, |drawn| drawn.means[1]), variance.take())
                };
                let taken = self.in_turn(place, number);
                let temperature = Celsius(TEMPERATURE.0 + if self.design.told { wander } else { 0.0 });
                let summary = DarkSummary {
                    mean: mean + shift,
                    median: mean + shift,
                    temperature: Some(temperature),
                    taken: Some(taken),
                    pair_variance: of_pair,
                };
                meter.dark_summary(key(FrameKind::Dark, exposure), summary);
            }
        }
        let Assembled { plane, .. } = meter.assembled(step as u32).expect("a sound sensor");
        plane
    }

    /// When the dark `number` of the exposure at `place` is taken, in seconds: short, long, long, short, as the checklists ask.
    fn in_turn(&self, place: usize, number: usize) -> f64 {
        let round: f64 = self.darks.iter().map(|(exposure, ..)| exposure).sum();
        let before = |other: usize| if number.is_multiple_of(2) { other < place } else { other > place };
        let of_round = self.darks.iter().enumerate().filter(|(other, _)| before(*other));
        number as f64 * round + of_round.map(|(_, (exposure, ..))| exposure).sum::<f64>()
    }
}

/// Temporal variance of a pair from its differences and the uncertainty of it from their fourth moment.
fn spread(differences: &Histogram) -> (f64, f64) {
    let n = differences.total() as f64;
    let (_, _, second, fourth) = differences.central_moments(0.0, f64::INFINITY).expect("differences");
    (second / 2.0, ((fourth - second * second) / n).sqrt() / 2.0)
}

/// Cramér–Rao bounds of the quadratic `V0 + K μ + a μ²` in this design: relative of K, absolute of a per electron.
///
/// Fisher's matrix of pair differences N(0, 2 σ²): `Σ n/(2 σ⁴) gᵀg` with g = (1, μ, μ²) (derived here).
fn bounds(design: &Design, bias: &CodeLaw, flats: &[CodeLaw]) -> Option<(f64, f64)> {
    if flats.len() < 3 {
        return None;
    }
    let mut information = Matrix3::zeros();
    let step = f64::from(design.step);
    let full = design.well / design.gain * step;
    let mut add = |law: &CodeLaw, pairs: f64| {
        let x = (law.mean - bias.mean) * step / full;
        let weight = pairs * design.pixels as f64 / (2.0 * law.variance_dn().powi(2));
        let g = nalgebra::Vector3::new(1.0, x, x * x);
        information += weight * g * g.transpose();
    };
    add(bias, design.bias_pairs as f64);
    flats.iter().for_each(|law| add(law, 1.0));
    let covariance = information.try_inverse()?;
    let slope = step / design.gain * full;
    // a [DN²/DN²] in x units is a·full²; per electron the curvature of the variance in e⁻ is the same number.
    Some((covariance[(1, 1)].sqrt() / slope, covariance[(2, 2)].sqrt() / (full * full)))
}
