//! The exact law of a pixel's code, and draws of what a pair of frames leaves.

use rand::Rng;
use rand_distr::{Binomial, Distribution, StandardNormal};
use rustfft::{FftPlanner, num_complex::Complex64};
use subwell::sensor::{PairStatistics, PairSums};
use subwell::stats::Histogram;

/// What a pixel is expected to do in one exposure, in electrons and converter steps.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Exposure {
    /// Electrons expected.
    pub(crate) electrons: f64,
    /// Curvature a of the transfer curve per electron: the charge's variance is
    /// `(exp(2 a λ) − 1) / (2 a)` instead of λ (Astier et al. 2019, equation 16).
    pub(crate) curvature: f64,
    /// Read noise in electrons.
    pub(crate) read: f64,
    /// Electrons per step of the converter.
    pub(crate) gain: f64,
    /// Level without charge in steps, not a whole number.
    pub(crate) offset: f64,
    /// Codes that differ by one step are this many DN apart.
    pub(crate) step: i32,
}

/// The probability of each difference between two frames, and the cumulants of a code.
#[derive(Debug, Clone)]
pub(crate) struct CodeLaw {
    step: f64,
    /// Mean of a code in steps.
    pub(crate) mean: f64,
    /// Cumulants 2 to 4 in steps.
    cumulants: [f64; 3],
    /// Differences in steps, from 0 outwards, with their probability and that of all further out, themselves included.
    differences: Vec<(i32, f64, f64)>,
}

impl Exposure {
    /// Characteristic function of the level before rounding, `shift` steps taken off.
    ///
    /// The charge is a Poisson variable drawn towards its mean by √(1 + a λ + …): its third and higher cumulants
    /// shrink with it.
    fn characteristic(&self, t: f64, shift: f64) -> Complex64 {
        let lambda = self.electrons;
        let x = 2.0 * self.curvature * lambda;
        let narrowing = if x.abs() < 1e-12 { 1.0 } else { (x.exp_m1() / x).sqrt() };
        let poisson = lambda * ((Complex64::new(0.0, t * narrowing / self.gain)).exp() - 1.0);
        let level = self.offset - shift + lambda * (1.0 - narrowing) / self.gain;
        let read = self.read / self.gain * t;
        (poisson + Complex64::new(-0.5 * read * read, t * level)).exp()
    }
}

impl CodeLaw {
    /// The law of `round(level)`: the characteristic function is folded (Poisson's summation) and turned back.
    pub(crate) fn of(exposure: &Exposure) -> Self {
        let sigma = (exposure.electrons.max(0.0) + exposure.read.powi(2)).sqrt() / exposure.gain;
        let size = ((24.0 * sigma + 64.0) as usize).next_power_of_two();
        let expected = exposure.offset + exposure.electrons / exposure.gain;
        let centre = expected.round() - (size / 2) as f64;
        let mut folded: Vec<Complex64> = (0..size)
            .map(|j| {
                let t = std::f64::consts::TAU * (j as f64 / size as f64 - if 2 * j > size { 1.0 } else { 0.0 });
                (-4..=4)
                    .map(|m| {
                        let u = t + std::f64::consts::TAU * f64::from(m);
                        let sinc = if u == 0.0 { 1.0 } else { (u / 2.0).sin() / (u / 2.0) };
                        exposure.characteristic(u, centre) * sinc
                    })
                    .sum()
            })
            .collect();
        let mut squared: Vec<Complex64> = folded.iter().map(|psi| Complex64::new(psi.norm_sqr(), 0.0)).collect();
        let fft = FftPlanner::new().plan_fft_forward(size);
        fft.process(&mut folded);
        fft.process(&mut squared);
        let probability: Vec<f64> = folded.iter().map(|p| (p.re / size as f64).max(0.0)).collect();
        let total: f64 = probability.iter().sum();
        let moment = |about: f64, k: i32| {
            probability.iter().enumerate().map(|(code, p)| p * (code as f64 - about).powi(k)).sum::<f64>() / total
        };
        let mean = moment(0.0, 1);
        let (k2, k3, m4) = (moment(mean, 2), moment(mean, 3), moment(mean, 4));
        Self {
            step: f64::from(exposure.step),
            mean: mean + centre,
            cumulants: [k2, k3, m4 - 3.0 * k2 * k2],
            differences: outwards(&squared, k2),
        }
    }

    /// Variance of a code in DN².
    pub(crate) fn variance_dn(&self) -> f64 {
        self.cumulants[0] * self.step * self.step
    }

    /// What a pair of frames of `pixels` pixels in `rows` rows leaves; `shifts` are the frames' levels over the law's, in DN.
    ///
    /// The histogram of differences is drawn as it is: a multinomial of whole pixels. The sums of the levels are
    /// drawn from the normal law with the exact covariances, the differences given.
    pub(crate) fn pair(
        &self,
        pixels: u64,
        rows: usize,
        shifts: [f64; 2],
        rng: &mut impl Rng,
    ) -> (PairStatistics, Histogram) {
        let drawn = self.histogram(pixels, rng);
        let power = |k: i32| drawn.iter().map(|(d, n)| f64::from(*d).powi(k) * *n as f64).sum::<f64>();
        let (d1, d2, n) = (power(1), power(2), pixels as f64);
        let [k2, k3, k4] = self.cumulants;
        let m4 = k4 + 3.0 * k2 * k2;
        let mut normal = || -> f64 { StandardNormal.sample(rng) };
        // s = y0 + y1, centred; u0, u1 independent with these cumulants.
        let of_d2 = 2.0 * m4 + 2.0 * k2 * k2;
        let (surplus, known) = (d2 - 2.0 * k2 * n, 2.0 * k3 / of_d2);
        let s_variance = (2.0 * k2 - 2.0 * k3 * known).max(0.0);
        let s1 = known * surplus + (n * s_variance).sqrt() * normal();
        let of_s2 = (2.0 * m4 + 2.0 * k2 * k2 - (2.0 * k4).powi(2) / of_d2).max(0.0);
        let s2 = 2.0 * k2 * n + 2.0 * k4 / of_d2 * surplus + (n * of_s2).sqrt() * normal();
        let sd = k3 / k2 * d1 + (n * (2.0 * m4 - 2.0 * k2 * k2 - 2.0 * k3 * k3 / k2).max(0.0)).sqrt() * normal();
        let within_rows = normal() * (2.0 / (rows as f64 - 1.0)).sqrt() * d2 / n / (n / rows as f64) / 2.0;
        let square = self.step * self.step;
        let centred = [(s1 + d1) / (2.0 * n), (s1 - d1) / (2.0 * n)];
        let products = [s2 + 2.0 * sd + d2, s2 - 2.0 * sd + d2, s2 - d2].map(|sum| sum / 4.0);
        let shared = [centred[0] * centred[0], centred[1] * centred[1], centred[0] * centred[1]];
        let spatial = [0, 1, 2].map(|k| square * (products[k] - n * shared[k]) / (n - 1.0));
        let mut differences = Histogram::new(
            (self.differences.iter().map(|d| d.0).min().unwrap_or(0) - 2) * self.step as i32,
            (self.differences.iter().map(|d| d.0).max().unwrap_or(0) + 2) * self.step as i32,
        );
        drawn.iter().for_each(|(d, count)| differences.push_many(*d * self.step as i32, *count as u32));
        let means = [0, 1].map(|k| (self.mean + centred[k]) * self.step + shifts[k]);
        let sums = PairSums {
            rows,
            means,
            spatial,
            row_variance: within_rows * square,
            highest: (means[0] + 5.0 * spatial[0].sqrt()).clamp(0.0, 65_535.0) as u16,
            share_at_highest: 0.0,
            share_at_zero: 0.0,
        };
        let pair = PairStatistics::from_sums(&sums, &differences).expect("two pixels or more");
        (pair, differences)
    }

    /// How many of `pixels` pixels have each difference, exactly: one binomial after the other.
    fn histogram(&self, pixels: u64, rng: &mut impl Rng) -> Vec<(i32, u64)> {
        let mut left = pixels;
        let mut drawn = Vec::with_capacity(self.differences.len());
        for &(difference, probability, onwards) in &self.differences {
            if left == 0 {
                break;
            }
            let share = (probability / onwards).min(1.0);
            let count = Binomial::new(left, share).map_or(0, |binomial| binomial.sample(rng));
            left -= count;
            drawn.push((difference, count));
        }
        drawn
    }
}

/// The differences from 0 outwards with their probabilities, cut where 10¹⁰ pixels would find none.
fn outwards(transformed: &[Complex64], variance: f64) -> Vec<(i32, f64, f64)> {
    let size = transformed.len();
    let reach = (((2.0 * variance).sqrt() * 8.0) as usize + 3).min(size / 2 - 1);
    let mut differences: Vec<(i32, f64, f64)> = (0..=2 * reach)
        .map(|k| {
            let value = if k % 2 == 0 { k as i32 / 2 } else { -(k as i32 + 1) / 2 };
            let index = value.rem_euclid(size as i32) as usize;
            (value, (transformed[index].re / size as f64).max(0.0), 0.0)
        })
        .collect();
    let mut onwards = 0.0;
    for entry in differences.iter_mut().rev() {
        onwards += entry.1;
        entry.2 = onwards.max(f64::MIN_POSITIVE);
    }
    differences
}
