//! Do darks have the gain of the flats? Their charge has shot noise as light has: a photon transfer curve of their own.

use crate::stats::{Estimate, PolynomialFit, birge_ratio, polynomial_fit};
use crate::units::{ElectronsPerDn, ElectronsPerSecond};

use super::anchor::Anchor;
use super::current::{DarkCurrent, PairVariance, same_exposure};

/// Gains this far apart are two: telegraph noise and coupled neighbours move the noise by less (judgement).
const APART: f64 = 1.4;
/// So many sigmas have to lie between the darks' gain and the flats'.
const SURE_SIGMAS: f64 = 5.0;
/// Noises without charge that differ by no more than this, relatively, are those of one gain.
const SAME_NOISE: f64 = 0.15;
/// Of means of N frames noise and slope fall by N alike, within this part.
const OF_MEANS: f64 = 0.08;
/// A line leaves less than this share of the variances' range; noise that grows with the square of the level leaves an eighth.
const STRAIGHT: f64 = 0.05;
/// Where the camera holds its level the median pixel shows less than this share of the mean one's slope.
const HELD: f64 = 0.3;

/// What darks say against the gain that their numbers were to be counted with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OtherGain {
    /// e⁻/DN of the darks, as their own noise says.
    pub(crate) of_darks: Estimate<ElectronsPerDn>,
    /// Whether the bias frames' noise is that of the darks: then the flats are the ones that differ.
    pub(crate) of_biases: bool,
}

/// What else is known of the same darks.
pub(super) struct Seen<'a> {
    pub(super) anchor: &'a Anchor,
    pub(super) gain: &'a Estimate<ElectronsPerDn>,
    /// Slope of the level in DN/s, and that of the median pixel.
    pub(super) level: f64,
    pub(super) median: Estimate<f64>,
    /// Whether the dark signal moved while they were taken: then the pixels' own currents are in the noise.
    pub(super) moves: bool,
}

/// The gain of the darks, where their noise contradicts the flats' by a factor of 1.4 and five sigmas.
///
/// ```text
/// V = V0 + (μ − offset) / K
/// ```
///
/// `V` is the variance of a pair of darks, `μ` its level, `K` the gain in e⁻/DN: a line over two or more exposures.
/// It meets the bias frames' variance at their level where both are of one gain; what else bends a noise (telegraph
/// pixels, a temperature that moves) makes it meet a lower one, or no line. A held level has more noise than its charge
/// makes, too; its median pixel does not grow, nor does that of a sensor of which only hot pixels gather charge. Means of
/// N frames have both, slope and `V0`, N times smaller, which is for [`super::averaged`] to say.
///
/// # Source
/// The photon transfer of darks: Janesick, Photon Transfer, 2007 (from memory). The tests of it are derived here.
pub(super) fn other_gain(pairs: &[PairVariance], seen: &Seen<'_>) -> Option<OtherGain> {
    let Seen { anchor, gain, level, median, moves } = *seen;
    let first = pairs.first()?.exposure;
    if !anchor.is_of_bias || anchor.floor.is_some() || pairs.iter().all(|pair| same_exposure(pair.exposure, first)) {
        return None;
    }
    let offset = anchor.offset.value.0;
    let charges: Vec<f64> = pairs.iter().map(|pair| pair.level - offset).collect();
    let times: Vec<f64> = pairs.iter().map(|pair| pair.exposure.0).collect();
    let (line, sigmas) = line(&charges, pairs)?;
    let [at_zero, slope] = [line.coefficients[0], line.coefficients[1]];
    let over_time = self::line(&times, pairs)?.0.coefficients[1];
    // A few hot pixels are no curve: the median pixel has to grow as well.
    let grows = median.value > (HELD * level).max(SURE_SIGMAS * median.uncertainty);
    if !(at_zero > 0.0 && slope > 0.0 && over_time > 0.0 && level > 0.0 && grows) {
        return None;
    }
    let found: Estimate<ElectronsPerDn> = Estimate::new(1.0 / slope, sigmas[1] / slope.powi(2));
    let times_gain = found.value.0 / gain.value.0;
    let by_time = level / over_time / gain.value.0;
    let sigma = found.relative().hypot(gain.relative());
    let way = times_gain.ln().signum();
    let is_apart = |ratio: f64| way * ratio.ln() > APART.ln();
    // In the slope itself: beside one that is high by chance its own scatter looks small.
    let expected = 1.0 / gain.value.0;
    let is_sure = (slope - expected).abs() > SURE_SIGMAS * sigmas[1].hypot(expected * gain.relative());
    if !(is_apart(times_gain) && way * by_time.ln() > APART.ln() / 2.0 && is_sure) {
        return None;
    }
    let noise = at_zero / anchor.variance.value;
    let of_noise = (sigmas[0] / at_zero).hypot(anchor.variance.relative());
    let of_biases = noise.ln().abs() < SAME_NOISE.max(2.0 * of_noise);
    let of_bias = anchor.variance;
    let is_sure = (at_zero - of_bias.value).abs() > SURE_SIGMAS * sigmas[0].hypot(of_bias.uncertainty);
    let of_other_biases = is_apart(1.0 / noise) && is_sure;
    let are_means = (noise * times_gain).ln().abs() < OF_MEANS.max(2.0 * of_noise.hypot(sigma));
    let is_other = match way < 0.0 {
        true => !moves && is_straight(&line, &charges, pairs),
        false => of_biases || !are_means,
    };
    (is_other && (of_biases || of_other_biases)).then_some(OtherGain { of_darks: found, of_biases })
}

/// The variances of pairs as a line over `x`, and the standard uncertainties of its two coefficients.
fn line(x: &[f64], pairs: &[PairVariance]) -> Option<(PolynomialFit, [f64; 2])> {
    let variances: Vec<f64> = pairs.iter().map(|pair| pair.variance).collect();
    let weights: Vec<f64> = pairs.iter().map(|pair| pair.uncertainty.powi(-2)).collect();
    let fit = polynomial_fit(x, &variances, &weights, 1)?;
    let scatter = birge_ratio(fit.chi2, fit.freedom);
    let sigmas = [0, 1].map(|term| fit.sigma(term) * scatter);
    Some((fit, sigmas))
}

fn is_straight(line: &PolynomialFit, charges: &[f64], pairs: &[PairVariance]) -> bool {
    let at = |charge: f64| line.coefficients[0] + line.coefficients[1] * charge;
    let ends = charges.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(*x), high.max(*x)));
    let range = line.coefficients[1] * (ends.1 - ends.0);
    let fits = |(pair, charge): (&PairVariance, &f64)| {
        (pair.variance - at(*charge)).abs() < STRAIGHT * range + 3.0 * pair.uncertainty
    };
    pairs.iter().zip(charges).all(fits)
}

impl DarkCurrent {
    /// The rates with the darks' own gain in place of `gain`, in intervals that reach those with either.
    pub(crate) fn counted_with(self, other: &OtherGain, gain: ElectronsPerDn) -> Self {
        let factor = other.of_darks.value.0 / gain.0;
        let own =
            |rate: Estimate<ElectronsPerSecond>| rate.scaled(factor).reaching(1.0 / factor, other.of_darks.relative());
        // The noise is what the gain was found from: it says nothing more.
        Self { from_mean: self.from_mean.map(own), of_median: self.of_median.map(own), from_variance: None, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    /// Darks of 2 e⁻/s and 36 e⁻² of read noise at gain `own` (e⁻/DN) beside bias frames of `bias` and flats of 2 e⁻/DN.
    fn found(own: f64, bias: f64, change: impl Fn(PairVariance) -> PairVariance) -> Option<OtherGain> {
        with_median(1.0, own, bias, change)
    }

    /// The same where the median pixel grows by this share of what the mean one does.
    fn with_median(
        share: f64,
        own: f64,
        bias: f64,
        change: impl Fn(PairVariance) -> PairVariance,
    ) -> Option<OtherGain> {
        let pair = |time: f64| {
            let charge = 2.0 * time;
            let variance = (36.0 + charge) / own.powi(2);
            let uncertainty = 0.004 * variance;
            change(PairVariance { exposure: Seconds(time), variance, uncertainty, level: 300.0 + charge / own })
        };
        let pairs = [30.0, 60.0, 120.0, 300.0, 300.0].map(pair);
        let anchor = Anchor::of_bias(300.0, Estimate::new(36.0 / bias.powi(2), 0.05));
        let level = (pairs[4].level - pairs[0].level) / 270.0;
        let (gain, median) = (Estimate::new(2.0, 0.01), Estimate::new(share * level, 0.001 * level));
        other_gain(&pairs, &Seen { anchor: &anchor, gain: &gain, level, median, moves: false })
    }

    #[test]
    fn darks_of_another_gain_are_found_and_whose_the_bias_frames_are() {
        for own in [0.5, 1.0, 4.0, 8.0] {
            for (bias, of_biases) in [(2.0, false), (own, true)] {
                let found = found(own, bias, |pair| pair).unwrap_or_else(|| panic!("{own} beside {bias}"));
                assert!((found.of_darks.value.0 / own - 1.0).abs() < 1e-9, "{found:?}");
                assert_eq!(found.of_biases, of_biases);
            }
        }
    }

    #[test]
    fn what_else_makes_noise_is_no_other_gain() {
        assert_eq!(found(2.0, 2.0, |pair| pair), None);
        // Pixels that jump by a part of their own signal.
        let jumping = |pair: PairVariance| PairVariance {
            variance: pair.variance + (0.1 * (pair.level - 300.0)).powi(2),
            ..pair
        };
        assert_eq!(found(2.0, 2.0, jumping), None);
        // Means of four darks, beside single bias frames.
        let means = |pair: PairVariance| PairVariance { variance: pair.variance / 4.0, ..pair };
        assert_eq!(found(2.0, 2.0, means), None);
        // So little charge that the noise of the variances makes a slope four times as steep by chance, at three sigmas.
        let faint = |pair: PairVariance| {
            let level = 0.02 * (pair.level - 300.0);
            PairVariance { level: 300.0 + level, variance: 9.0 + 2.0 * level, uncertainty: 2.6, ..pair }
        };
        assert_eq!(found(2.0, 2.0, faint), None);
        // A held level.
        let held = |pair: PairVariance| PairVariance { level: 300.0 + 0.05 * (pair.level - 300.0), ..pair };
        assert_eq!(with_median(0.1, 2.0, 2.0, held), None);
        // Hot pixels alone.
        assert_eq!(with_median(0.1, 0.5, 2.0, |pair| pair), None);
    }
}
