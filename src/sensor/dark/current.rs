//! Dark current at one temperature: slopes over time, of the level and of the noise.
//! `noise/thermal.rs` predicts what this file measures.
//!
//! # Method
//! The slope over time has a free intercept. The levels are one model of dark current, scatter from frame to frame
//! (also such that grows with the exposure), drift with the clock, and the temperature where headers say it; the
//! interval is that of what the frames allow, with Student's t where they are few. What a drift or a few exposures hide
//! is not given.
//!
//! The slope of the variance is anchored on the bias pairs of the same temperature where there are any; the step that
//! the level shows between bias and dark is then counted as charge with its shot noise, and is as uncertain as itself.
//! The camera is said to hold its black level when the slope of the level is below half that of the variance.
//!
//! A temperature without bias frames has no anchor: darks of one exposure then say nothing, and read noise from long
//! darks is an upper limit. Where saturated pixels hold more than a hundredth of the dark signal, the exposure is left
//! out, or the caveat says that the rate is too small.

use ndarray::{Array2, ArrayView2};

use crate::sensor::stack::plane_codes;
use crate::stats::{Estimate, Moments, birge_ratio, polynomial_fit};
use crate::units::{Celsius, Dn, ElectronsPerDn, ElectronsPerSecond, Seconds};

use super::anchor::Anchor;
pub(crate) use super::anchor::Expectation;
use super::bent::{Bent, bent};
use super::compared::Compared;
use super::image::{DarkImage, LongestStack};
use super::levels::{Drift, Level, LevelFit, level_fit};
use super::limits::{
    converter_end, cut_off, cut_shares, exposures, hidden_by, is_determined, lacking, level_jump, of_other_gain,
    saturation_pileup,
};
use super::moment::{Darks, at_middle};
use super::other_gain::{OtherGain, Seen, other_gain};
use super::saturated::SaturatedDarks;
use super::subtracted::{Beside, Subtracted, subtracted};
use super::taken::{Taken, timed};
use super::told::{at_one_exposure, moved};
use crate::sensor::DarkSummary;
use crate::sensor::dark::read_noise::mean_level;

/// With so many pixels saturated it is not hot ones alone, and the rest says nothing of the mean.
const UNKNOWN_PIXELS: f64 = 0.1;
/// Two exposure times this close, relatively, are the same.
const SAME_EXPOSURE: f64 = 1e-3;
/// Relative change of dark current per kelvin near the freezing point: ln 2 / 6.3 K
/// (common practice, no source; the fitted laws give 0.09 to 0.2 per kelvin).
const CHANGE_PER_KELVIN: f64 = 0.11;
/// A variance that the place between two steps moves by more than this share says nothing of shot noise.
const STEPS_HIDE: f64 = 0.1;
/// Of darks whose signal moves as surely as this, nothing says that the camera takes darks off.
const MOVES: f64 = 0.995;
/// What a steady cooler still wanders from frame to frame, in kelvins (common practice, no source).
const STEADY_KELVIN: f64 = 0.1;

/// One dark frame in short.
#[derive(Debug, Clone, Copy)]
pub(crate) struct DarkFrame {
    pub exposure: Seconds,
    /// The sensor's temperature in the header.
    pub temperature: Option<Celsius>,
    /// Mean in DN with particle hits replaced by what the partner frame predicts.
    pub mean: f64,
    /// Median in DN.
    pub median: f64,
    /// When it was taken, in seconds from any moment.
    pub(super) taken: Option<f64>,
    /// What saturated pixels hold of the frame's dark signal, and their share of all pixels.
    pub(super) saturated_share: f64,
    pub(super) saturated_pixels: f64,
    /// The lowest code, and the share of the pixels that have it.
    pub(super) lowest: (u16, f64),
}

#[cfg(test)]
impl DarkFrame {
    /// A frame of which only the header counts.
    pub(super) fn told(exposure: Seconds, temperature: Celsius, taken: f64) -> Self {
        Self {
            exposure,
            temperature: Some(temperature),
            mean: 0.0,
            median: 0.0,
            taken: Some(taken),
            saturated_share: 0.0,
            saturated_pixels: 0.0,
            lowest: (0, 0.0),
        }
    }
}

/// The temporal variance of a pair of darks of one exposure, hits left out.
#[derive(Debug, Clone, Copy)]
pub(super) struct PairVariance {
    pub(super) exposure: Seconds,
    pub(super) variance: f64,
    pub(super) uncertainty: f64,
    /// Mean level in DN.
    pub(super) level: f64,
}

/// The darks of one plane at one temperature, pushed with falling exposure time.
pub(crate) struct DarkStage {
    pub sensor: Option<Celsius>,
    pub frames: Vec<DarkFrame>,
    /// The names of their files, for those whose headers give no time.
    files: Vec<String>,
    temperatures: Moments,
    /// The code at which hot pixels pile up in the longest darks, if they do.
    saturation_pileup: Option<f64>,
    pub(super) pairs: Vec<PairVariance>,
    /// Memory for the sum image, …
    spare: Array2<u32>,
    /// … the image while the stage is being taken, …
    longest: Option<LongestStack>,
    /// … and what is left of it.
    pub image: Option<DarkImage>,
}

/// What one temperature says.
#[derive(Debug, Clone)]
pub(crate) struct DarkCurrent {
    pub from_mean: Option<Estimate<ElectronsPerSecond>>,
    pub from_variance: Option<Estimate<ElectronsPerSecond>>,
    pub of_median: Option<Estimate<ElectronsPerSecond>>,
    /// The variance's slope rests on one exposure, or on another session's bias frames.
    pub variance_is_weak: bool,
    /// The level's slope rests on one exposure and the bias level.
    pub mean_is_weak: bool,
    pub nonuniformity_percent: Option<f64>,
    pub hot_pixel_fraction: Option<f64>,
    pub exposures: Vec<Seconds>,
    pub saturated: Option<SaturatedDarks>,
    /// What drifted while the darks were taken.
    pub drift: Drift,
    /// The converter's steps hide the noise: it says nothing of the level.
    pub steps_hide: bool,
    /// Exposures enough, but they do not fix the rate.
    pub undetermined: bool,
    /// The camera took another dark off each of them.
    pub subtracted: Option<Subtracted>,
    /// DN by which their level without time is off that of the bias frames, where that is more than cameras do.
    pub jump: Option<f64>,
    /// The gain of the darks, where their noise says that it is another than the flats'.
    pub other_gain: Option<OtherGain>,
    /// Whether their levels lie on no line over their exposure times.
    pub bent: Option<Bent>,
}

impl DarkCurrent {
    /// Whether the camera holds its dark level: the level's slope is below half of the noise's,
    /// by more than their uncertainties allow, and the noise's slope rests on enough; or it took a dark off each dark.
    pub(crate) fn is_pinned(&self) -> bool {
        if self.subtracted.is_some() {
            return true;
        }
        let (Some(mean), Some(variance)) = (&self.from_mean, &self.from_variance) else { return false };
        if self.steps_hide {
            return false;
        }
        let apart = variance.value.0 - mean.value.0;
        let sigma = variance.uncertainty.0.hypot(mean.uncertainty.0);
        !self.variance_is_weak && mean.value.0 < 0.5 * variance.value.0 && apart > 3.0 * sigma
    }
}

/// Whether two exposure times are the same but for rounding.
pub(crate) fn same_exposure(a: Seconds, b: Seconds) -> bool {
    (a.0 - b.0).abs() <= SAME_EXPOSURE * a.0.max(b.0)
}

impl DarkStage {
    /// A stage that sums its image in the memory of an old one.
    pub(crate) fn new(sensor: Option<Celsius>, spare: Array2<u32>) -> Self {
        Self {
            sensor,
            frames: Vec::new(),
            files: Vec::new(),
            temperatures: Moments::default(),
            saturation_pileup: None,
            pairs: Vec::new(),
            spare,
            longest: None,
            image: None,
        }
    }

    /// Takes the frame `plane`; `partner` is the frame before it in the stage, if any.
    ///
    /// Hits in the first frame of a stage are found when the second one arrives.
    pub(crate) fn add(
        &mut self,
        plane: ArrayView2<'_, u16>,
        taken: Taken,
        partner: Option<ArrayView2<'_, u16>>,
        expectation: Expectation,
    ) {
        let Taken { exposure, temperature, at, file } = taken;
        if let Some(temperature) = temperature {
            self.temperatures.push(temperature.0);
        }
        let codes = plane_codes(plane);
        if self.frames.is_empty() {
            self.saturation_pileup = saturation_pileup(&codes, expectation.offset);
        }
        let ceiling = self.saturation_pileup.map_or(expectation.ceiling, |pile| pile.min(expectation.ceiling));
        let ceiling = converter_end(&codes).map_or(ceiling, |end| end.min(ceiling));
        let expectation = Expectation { ceiling, ..expectation };
        let mut mean = codes.mean();
        if let (Some(partner), Some(before)) = (partner, self.frames.last().copied()) {
            let ratio = exposure / before.exposure;
            let compared = Compared::new(partner, plane, ratio, expectation);
            mean -= compared.excess[1] / plane.len() as f64;
            if self.frames.len() == 1 {
                self.frames[0].mean -= compared.excess[0] / plane.len() as f64;
            }
            let of_this_exposure = self.frames.iter().filter(|frame| same_exposure(frame.exposure, exposure)).count();
            if of_this_exposure % 2 == 1 {
                let level = (self.frames[self.frames.len() - 1].mean + mean) / 2.0;
                self.pairs.extend(compared.variance(exposure, level));
            }
        }
        let saturated = codes.occupied().rev().take_while(|(code, _)| f64::from(*code) >= expectation.ceiling);
        let at_ceiling: u64 = saturated.map(|(_, count)| u64::from(count)).sum();
        let full = at_ceiling as f64 / plane.len().max(1) as f64;
        let signal = (mean - expectation.offset).max(1e-9);
        let saturated_share = full * (expectation.ceiling - expectation.offset) / signal;
        let lowest = codes.occupied().next().map_or((0, 0.0), |(code, count)| {
            (u16::try_from(code).unwrap_or(0), f64::from(count) / plane.len().max(1) as f64)
        });
        let median = codes.quantile(0.5).unwrap_or(0.0) + expectation.median_shortfall(mean);
        self.frames.push(DarkFrame {
            exposure,
            temperature,
            mean,
            median,
            taken: at,
            saturated_share,
            saturated_pixels: full,
            lowest,
        });
        self.files.push(file);
        let spare = &mut self.spare;
        let empty = || LongestStack::new(exposure, plane.dim(), std::mem::take(spare));
        self.longest.get_or_insert_with(empty).add(plane, exposure);
    }

    /// Exposure, mean level in DN and temporal variance in DN² of the shortest darks that make a pair.
    pub(crate) fn shortest_pair(&self) -> Option<(Seconds, f64, Estimate<f64>)> {
        let shortest = self.pairs.iter().min_by(|a, b| a.exposure.0.total_cmp(&b.exposure.0))?;
        Some((shortest.exposure, shortest.level, Estimate::new(shortest.variance, shortest.uncertainty)))
    }

    /// Takes a frame of which only the sums are at hand.
    pub(crate) fn add_summary(&mut self, exposure: Seconds, summary: DarkSummary) {
        let DarkSummary { mean, median, temperature, taken, pair_variance } = summary;
        if let Some(temperature) = temperature {
            self.temperatures.push(temperature.0);
        }
        self.frames.push(DarkFrame {
            exposure,
            temperature,
            mean,
            median,
            taken,
            saturated_share: 0.0,
            saturated_pixels: 0.0,
            lowest: (0, 0.0),
        });
        self.files.push(String::new());
        self.pairs.extend(pair_variance.map(|(variance, uncertainty)| PairVariance {
            exposure,
            variance,
            uncertainty,
            level: mean,
        }));
    }

    /// Says that no more darks of this temperature come: their image is put into a few numbers, and its memory given back.
    pub(crate) fn close(&mut self, expectation: Expectation) -> Array2<u32> {
        if let Some(longest) = self.longest.take() {
            self.image = Some(longest.numbers(expectation));
            self.spare = longest.into_memory();
        }
        std::mem::take(&mut self.spare)
    }

    /// Spread of the sensor's temperature over the frames, at least what a steady cooler does.
    fn temperature_sigma(&self) -> f64 {
        self.temperature_scatter().max(STEADY_KELVIN)
    }

    /// Standard deviation of the frames' temperatures in kelvins.
    pub(crate) fn temperature_scatter(&self) -> f64 {
        self.temperatures.variance().unwrap_or(0.0).sqrt()
    }

    /// The rates in electrons, once the gain is known.
    ///
    /// `others` are all darks of the plane, of other temperatures too.
    pub(crate) fn dark_current(&self, gain: &Estimate<ElectronsPerDn>, anchor: Anchor, others: &[Self]) -> DarkCurrent {
        let saturated = self.saturated(anchor);
        let left_out = saturated.filter(|saturated| saturated.left_out);
        let bound = left_out.map_or(f64::INFINITY, |saturated| saturated.from.0);
        let within = |exposure: Seconds| exposure.0 < bound;
        let own = timed(&self.frames, &self.files);
        // Times by names are of no common clock.
        let told = self.frames.iter().zip(&own).all(|(frame, timed)| frame.taken == timed.taken);
        let others = others.iter().filter(|stage| told && stage.sensor != self.sensor);
        let others: Vec<Vec<DarkFrame>> = others.map(|stage| stage.frames.clone()).collect();
        let mut darks = at_middle(own, &others);
        darks.frames.retain(|frame| within(frame.exposure));
        let frames = &darks.frames;
        let pairs: Vec<PairVariance> = self.pairs.iter().filter(|pair| within(pair.exposure)).copied().collect();
        let exposures = exposures(frames);
        let found = self.slope(&darks, |frame| frame.mean, anchor);
        let undetermined = found.is_some_and(|fit| !is_determined(&fit, frames, anchor));
        let found = found.filter(|_| !undetermined);
        let bent = found.and_then(|fit| bent(frames, &fit, &anchor, told));
        let found = found.map(|fit| LevelFit { slope: bent.map_or(fit.slope, |bent| bent.reached(fit.slope)), ..fit });
        let median = found.and_then(|fit| self.median_slope(&fit, &darks, anchor, gain.value.0));
        let mean = found.map(|fit| (fit.slope, fit.at_zero));
        let at_zero = mean.filter(|_| exposures.len() > 1).map_or(anchor.offset.value.0, |(_, at_zero)| at_zero);
        let step = (at_zero - anchor.offset.value.0).max(0.0);
        let cut = cut_shares(frames, anchor);
        let jump = found.filter(|_| anchor.is_of_bias).and_then(|fit| level_jump(&fit, frames, anchor));
        // Charge that fades makes the noise of the first darks greater too, …
        let moves = found.is_some_and(|fit| fit.drift.signal.0 > MOVES);
        // … and a noise that is cut off grows as its level rises above the cut.
        let steps_hide = cut[1] > 0.0 || anchor.hidden_by_steps[1] > STEPS_HIDE * anchor.variance.value;
        let subtracted = mean.filter(|_| anchor.is_of_bias && !moves && !steps_hide).and_then(|(slope, at_zero)| {
            let offset = anchor.offset.value.0;
            let level = (slope, at_zero - offset);
            subtracted(&pairs, &Beside { bias_variance: anchor.variance, level, offset, gain: gain.value.0 })
        });
        let other_gain = mean.zip(median).filter(|_| subtracted.is_none() && !steps_hide).and_then(|(mean, median)| {
            other_gain(&pairs, &Seen { anchor: &anchor, gain, level: mean.0.value, median, moves })
        });
        let variance = match &subtracted {
            Some(found) => Some((found.slope, false)),
            // What is not linear in time has no noise that is.
            None if bent.is_some() => None,
            None => self.variance_slope(pairs, anchor, step / gain.value.0),
        };
        // What was taken off took the hot pixels and the pattern with it.
        let image = self.image.as_ref().filter(|_| subtracted.is_none());
        let squared = Estimate::<f64>::new(gain.value.0.powi(2), 2.0 * gain.value.0 * gain.uncertainty.0);
        let counts = saturated.filter(|saturated| !saturated.left_out);
        let lost = frames.iter().map(|frame| frame.saturated_share).fold(0.0, f64::max);
        // What saturates cannot hold more than all: darks that seem so are no brighter than the level they are counted from.
        let known = counts.is_none_or(|saturated| saturated.pixels < UNKNOWN_PIXELS && saturated.share < 1.0);
        DarkCurrent {
            from_mean: mean.filter(|_| known).map(|(slope, _)| {
                let slope = cut_off(lacking(slope, lost), cut);
                of_other_gain(slope, jump).times(gain)
            }),
            // A median pixel that is cut off in some frames is no line over time.
            of_median: median.filter(|_| known && cut[1] <= 0.0).map(|slope| slope.times(gain)),
            from_variance: variance.filter(|_| known).map(|(slope, _)| slope.times(&squared)),
            variance_is_weak: variance.is_some_and(|(_, weak)| weak),
            mean_is_weak: exposures.len() < 2,
            nonuniformity_percent: image.and_then(|image| image.nonuniformity_percent),
            hot_pixel_fraction: image.map(|image| image.hot_pixel_fraction),
            exposures,
            saturated,
            drift: found.map_or_else(Drift::default, |fit| fit.drift),
            steps_hide,
            undetermined,
            subtracted,
            jump,
            other_gain,
            bent,
        }
    }

    /// Slope of a frame's level over time in DN/s and its level at no time, free: between bias
    /// and dark there may be a step. A single exposure is anchored on the bias level; `None` where there is none.
    fn slope(&self, darks: &Darks, level: impl Fn(&DarkFrame) -> f64, anchor: Anchor) -> Option<LevelFit> {
        let frames = &darks.frames;
        let point = |frame: &DarkFrame| Level {
            time: frame.exposure.0,
            level: level(frame),
            temperature: frame.temperature.map(|celsius| celsius.0),
            clock: frame.taken.unwrap_or(0.0),
        };
        let points: Vec<Level> = frames.iter().map(point).collect();
        if exposures(frames).len() > 1 {
            let all = || frames.iter().map(|frame| frame.exposure.0);
            let span = all().fold(0.0, f64::max) - all().fold(f64::INFINITY, f64::min);
            let at = self.sensor.map(|celsius| celsius.0);
            let fit = level_fit(&points, at, |slope| self.unseen_scatter(slope, frames, anchor))?;
            let slope = moved(hidden_by(anchor.hidden_by_steps[0], span, fit.slope), darks.unread);
            return Some(LevelFit { slope, ..fit });
        }
        if !anchor.is_of_bias {
            return None;
        }
        let exposure = frames.first()?.exposure.0;
        let levels: Moments = points.iter().map(|point| point.level).collect();
        let slope = (levels.mean()? - anchor.offset.value.0) / exposure;
        let unseen = self.unseen_scatter(slope, frames, anchor);
        let level = mean_level(&levels, unseen);
        let own = self.sensor.and_then(|celsius| {
            let rate = at_one_exposure(&points, celsius.0, anchor.offset.value.0, unseen)?;
            let half = exposure * (rate.interval().1 - rate.interval().0) / 2.0;
            Some((rate.value, Estimate::<Dn>::new(0.0, exposure * rate.uncertainty).with_half_interval(half)))
        });
        let (slope, level) = own.unwrap_or((slope, level));
        let half = |of: &Estimate<Dn>| (of.interval().1 - of.interval().0) / 2.0;
        let rate = Estimate::new(slope, level.uncertainty.0.hypot(anchor.offset.uncertainty.0) / exposure)
            .with_half_interval(half(&level).hypot(half(&anchor.offset)) / exposure);
        let rate = moved(hidden_by(anchor.hidden_by_steps[0], exposure, rate), darks.unread);
        Some(LevelFit { slope: rate, at_zero: anchor.offset.value.0, drift: Drift::default() })
    }

    /// Slope of the median pixel's level: what it is less than the mean's is known better than either, for levels wander
    /// together; noise, which raises the median of skewed rates, is taken off it.
    fn median_slope(&self, mean: &LevelFit, darks: &Darks, anchor: Anchor, gain: f64) -> Option<Estimate<f64>> {
        let shift = self.median_shift(&anchor, mean.slope.value, gain);
        let mut darks = darks.clone();
        for frame in &mut darks.frames {
            frame.median -= shift.map_or(0.0, |shift| shift.at(frame.exposure.0));
        }
        let darks = &darks;
        let slope = if exposures(&darks.frames).len() > 1 {
            let below = self.slope(darks, |frame| frame.mean - frame.median, anchor)?.slope;
            let half = |of: &Estimate<f64>| (of.interval().1 - of.interval().0) / 2.0;
            Estimate::new(mean.slope.value - below.value, mean.slope.uncertainty.hypot(below.uncertainty))
                .with_half_interval(half(&mean.slope).hypot(half(&below)))
        } else {
            self.slope(darks, |frame| frame.median, anchor)?.slope
        };
        Some(shift.map_or(slope, |shift| shift.freed(slope)))
    }

    /// Standard deviation in DN of a frame's level where the darks are too few to show it: that of the bias
    /// frames, and what a steady cooler does to the dark signal of the longest.
    fn unseen_scatter(&self, slope: f64, frames: &[DarkFrame], anchor: Anchor) -> f64 {
        let longest = frames.iter().map(|frame| frame.exposure.0).fold(0.0, f64::max);
        anchor.level_scatter.hypot(slope * longest * CHANGE_PER_KELVIN * self.temperature_sigma())
    }

    /// Slope of the temporal variance over time in DN²/s, and whether it rests on little.
    ///
    /// Where the bias variance has to anchor it, `step_variance` is the shot noise in DN² of
    /// the step that the level shows between bias and dark: charge that every dark has,
    /// whatever its time. It may as well be the electronics', so it is uncertain by itself.
    fn variance_slope(
        &self,
        mut pairs: Vec<PairVariance>,
        anchor: Anchor,
        step_variance: f64,
    ) -> Option<(Estimate<f64>, bool)> {
        let own = pairs.len();
        let mut paired: Vec<f64> = pairs.iter().map(|pair| pair.exposure.0).collect();
        paired.sort_by(f64::total_cmp);
        paired.dedup_by(|a, b| same_exposure(Seconds(*a), Seconds(*b)));
        if paired.is_empty() || (paired.len() < 2 && !anchor.is_of_bias) {
            return None;
        }
        let borrowed = paired.len() < 2 && !anchor.same_temperature;
        if paired.len() < 2 || anchor.same_temperature {
            let uncertainty = anchor.variance.uncertainty.max(1e-4 * anchor.variance.value);
            pairs.push(PairVariance {
                exposure: Seconds(0.0),
                variance: anchor.variance.value + step_variance,
                uncertainty: uncertainty.hypot(step_variance / 3_f64.sqrt()),
                level: anchor.offset.value.0,
            });
        }
        let times: Vec<f64> = pairs.iter().map(|pair| pair.exposure.0).collect();
        let variances: Vec<f64> = pairs.iter().map(|pair| pair.variance).collect();
        let weights: Vec<f64> = pairs.iter().map(|pair| pair.uncertainty.powi(-2)).collect();
        let fit = polynomial_fit(&times, &variances, &weights, 1)?;
        let scatter = birge_ratio(fit.chi2, fit.freedom);
        let sigma = fit.sigma(1) * scatter;
        let slope = fit.coefficients[1];
        let slope = if scatter > 1.0 {
            Estimate::of_student(slope, sigma, fit.freedom as f64)
        } else {
            Estimate::new(slope, sigma)
        };
        let all = || times.iter().copied();
        let span = all().fold(0.0, f64::max) - all().fold(f64::INFINITY, f64::min);
        Some((hidden_by(anchor.hidden_by_steps[1], span, slope), borrowed || own < 2))
    }
}

#[cfg(test)]
pub(super) mod tests;
