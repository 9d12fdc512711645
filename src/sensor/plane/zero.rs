//! What a plane does without light and time: its read noise and its level.

use ndarray::ArrayView2;

use crate::camera::ReadNoisePoint;
use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::stats::{Estimate, Moments};
use crate::units::{Celsius, Dn, ElectronsPerDn, Seconds};

use super::PlaneMeter;
use super::doubts;
use crate::sensor::dark::current::same_exposure;
use crate::sensor::dark::read_noise::{ReadNoise, mean_level, read_noise};
use crate::sensor::stack::plane_mean;
use crate::sensor::{MeasureError, PairStatistics};

/// Darks no longer than this stand in for missing bias frames.
pub(super) const SHORT_DARK: Seconds = Seconds(0.1);
/// With so many pairs without light, one that is unlike the others is left out …
const PAIRS_FOR_OUTLIERS: usize = 3;
/// … when its variance is this many times the median.
const OUTLIER_TIMES_MEDIAN: f64 = 2.0;
/// Of fewer, when it is this many times the other one.
const OUTLIER_OF_TWO: f64 = 5.0;

/// No converter has fewer steps.
const LEAST_CONVERTER: u32 = 256;
/// With more pixels than this at its end a frame has no level.
const BURNT: f64 = 0.2;

/// Pairs without light at one temperature.
pub(super) struct ZeroStack {
    pub(super) sensor: Option<Celsius>,
    pub(super) pairs: Vec<PairStatistics>,
    /// The files of each pair.
    pub(super) files: Vec<String>,
    pub(super) lone: Vec<f64>,
}

impl ZeroStack {
    /// Read noise and offset without the outliers; `None` without pairs.
    pub(super) fn noise(&self, step: u32) -> Option<ReadNoise> {
        let limit = self.outlier_limit();
        let sound: Vec<PairStatistics> = self.pairs.iter().filter(|pair| pair.variance() <= limit).cloned().collect();
        read_noise(&sound, &self.lone, f64::from(step))
    }

    /// Files of pairs that are noisier than their siblings can be: a damaged frame.
    pub(super) fn outliers(&self) -> impl Iterator<Item = &str> {
        let limit = self.outlier_limit();
        self.pairs
            .iter()
            .zip(&self.files)
            .filter(move |(pair, _)| pair.variance() > limit)
            .map(|(_, files)| files.as_str())
    }

    fn outlier_limit(&self) -> f64 {
        let mut variances: Vec<f64> = self.pairs.iter().map(PairStatistics::variance).collect();
        variances.sort_by(f64::total_cmp);
        if variances.len() < PAIRS_FOR_OUTLIERS {
            // Of two that differ widely the noisier has a damaged frame.
            let least = variances.first().copied().filter(|least| *least > 0.0);
            return least.map_or(f64::INFINITY, |least| OUTLIER_OF_TWO * least);
        }
        OUTLIER_TIMES_MEDIAN * variances[variances.len() / 2]
    }
}

/// Where a plane's numbers start from: its noise and level without light.
pub(super) struct Zero {
    pub(super) noise: ReadNoise,
    pub(super) reference: Option<Celsius>,
    /// Exposure of the darks that stood in for missing bias frames.
    pub(super) stand_in: Option<Seconds>,
    /// Whether the offset is of bias frames: darks cannot be their own anchor.
    pub(super) has_bias_level: bool,
}

/// Why frames without light have no level: most pixels of most of them lie where the converter ends, at 2ⁿ − 1 steps.
fn burnt(pairs: &[PairStatistics], step: u32, what: &str) -> Option<MeasureError> {
    let ends = |pair: &&PairStatistics| {
        let steps = u32::from(pair.highest) / step.max(1) + 1;
        steps >= LEAST_CONVERTER && steps.is_power_of_two() && pair.share_at_highest > BURNT
    };
    let first = pairs.iter().find(ends)?;
    (2 * pairs.iter().filter(ends).count() > pairs.len()).then(|| MeasureError::Unusable {
        kind: FrameKind::Bias,
        reason: format!(
            "{:.0} % of the pixels of {what} are at {}, where the converter ends",
            100.0 * first.share_at_highest,
            first.highest
        ),
        hint: "take bias frames: cap on, shortest exposure, at least 2, better 20".into(),
    })
}

pub(super) struct ShortDark {
    pub(super) exposure: Seconds,
    pub(super) sensor: Option<Celsius>,
    pub(super) pair: PairStatistics,
}

impl PlaneMeter {
    pub(crate) fn unpaired_bias(&mut self, sensor: Option<Celsius>, plane: ArrayView2<'_, u16>) {
        self.bias_stack(sensor).lone.push(plane_mean(&plane));
    }

    pub(super) fn bias_stack(&mut self, sensor: Option<Celsius>) -> &mut ZeroStack {
        let known = self.bias.iter().position(|stack| stack.sensor == sensor);
        let place = known.unwrap_or_else(|| {
            self.bias.push(ZeroStack { sensor, pairs: Vec::new(), files: Vec::new(), lone: Vec::new() });
            self.bias.len() - 1
        });
        &mut self.bias[place]
    }

    pub(super) fn has_bias_pairs(&self) -> bool {
        self.bias.iter().any(|stack| !stack.pairs.is_empty())
    }

    pub(super) fn reference_stack(&self) -> Option<&ZeroStack> {
        self.bias.iter().filter(|stack| !stack.pairs.is_empty()).max_by_key(|stack| stack.pairs.len())
    }

    /// Scatter in DN of the level from one frame without light to the next; 0 before there are two pairs.
    pub(crate) fn level_scatter(&self) -> f64 {
        let levels: Moments =
            self.reference_stack().iter().flat_map(|stack| &stack.pairs).flat_map(|p| p.means).collect();
        if levels.count() > 2 { levels.variance().unwrap_or(0.0).sqrt() } else { 0.0 }
    }

    /// Read noise and offset: from the temperature with most bias pairs, or from the shortest darks.
    pub(super) fn zero(&self, step: u32) -> Result<Zero, MeasureError> {
        let found = self.bias.iter().map(|stack| stack.lone.len()).sum();
        let too_few = || MeasureError::TooFewFrames { kind: FrameKind::Bias, found, needed: 2 };
        if let Some(stack) = self.reference_stack() {
            let noise = stack.noise(step).ok_or_else(too_few)?;
            burnt(&stack.pairs, step, "bias frames").map_or(Ok(()), Err)?;
            return Ok(Zero { noise, reference: stack.sensor, stand_in: None, has_bias_level: true });
        }
        // One temperature only: darks of several have several levels.
        let coldest = |dark: &&ShortDark| dark.sensor.map_or(f64::MIN, |celsius| celsius.0);
        let brief = |dark: &&ShortDark| dark.exposure.0 <= SHORT_DARK.0;
        let sensor =
            self.short_darks.iter().min_by(|a, b| coldest(a).total_cmp(&coldest(b))).ok_or_else(too_few)?.sensor;
        let of_one = || self.short_darks.iter().filter(move |dark| dark.sensor == sensor);
        let shortest = of_one().map(|dark| dark.exposure).min_by(|a, b| a.0.total_cmp(&b.0)).ok_or_else(too_few)?;
        let mut short: Vec<&ShortDark> = self.short_darks.iter().filter(brief).collect();
        if short.is_empty() {
            short = of_one().filter(|dark| same_exposure(dark.exposure, shortest)).collect();
        }
        let exposure = short[0].exposure;
        let pairs: Vec<PairStatistics> = short.iter().map(|dark| dark.pair.clone()).collect();
        let what = format!("darks of {} s, which stand in for missing bias frames,", exposure.0);
        burnt(&pairs, step, &what).map_or(Ok(()), Err)?;
        let mut noise = read_noise(&pairs, &[], f64::from(step)).ok_or_else(too_few)?;
        let lone: Moments = self.bias.iter().flat_map(|stack| stack.lone.iter().copied()).collect();
        if lone.count() > 0 {
            noise.offset = mean_level(&lone, noise.variance.value.sqrt());
        }
        let has_bias_level = lone.count() > 0 || exposure.0 <= SHORT_DARK.0;
        Ok(Zero { noise, reference: short[0].sensor, stand_in: Some(exposure), has_bias_level })
    }

    pub(super) fn zero_doubts(&self, zero: &ReadNoise, stand_in: Option<Seconds>) -> Vec<Caveat> {
        let pairs = self.reference_stack().map_or(self.short_darks.len(), |stack| stack.pairs.len());
        // Of most pairs: a damaged block is in one.
        let mut shares: Vec<f64> =
            self.bias.iter().flat_map(|stack| &stack.pairs).map(|pair| pair.share_at_zero).collect();
        shares.sort_by(f64::total_cmp);
        let at_zero = shares.get(shares.len().saturating_sub(1) / 2).copied().unwrap_or(0.0);
        let long = stand_in.filter(|exposure| exposure.0 > SHORT_DARK.0);
        let mut caveats = doubts::of_zero(zero, pairs, at_zero, long);
        caveats.extend(self.bias.iter().flat_map(ZeroStack::outliers).map(doubts::outlier));
        caveats
    }

    /// The doubt about a read noise that is another at another temperature.
    pub(super) fn noise_with_temperature(&self, step: u32) -> Option<Caveat> {
        let at = |stack: &ZeroStack| Some((stack.sensor?, stack.noise(step)?.noise));
        let known: Vec<(Celsius, Estimate<Dn>)> = self.bias.iter().filter_map(at).collect();
        let by_noise = |a: &&(Celsius, Estimate<Dn>), b: &&(Celsius, Estimate<Dn>)| a.1.value.0.total_cmp(&b.1.value.0);
        let (least, most) = (known.iter().min_by(by_noise)?, known.iter().max_by(by_noise)?);
        doubts::noise_with_temperature(least, most)
    }

    pub(super) fn read_noise_by_temperature(&self, gain: &Estimate<ElectronsPerDn>, step: u32) -> Vec<ReadNoisePoint> {
        self.bias
            .iter()
            .filter_map(|stack| {
                let zero = stack.noise(step)?;
                Some(ReadNoisePoint { sensor_c: stack.sensor, read_noise_e: zero.noise.times(gain) })
            })
            .collect()
    }
}
