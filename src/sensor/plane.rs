//! One plane of a mode: what its pairs and darks add up to.

use ndarray::{Array2, ArrayView2};

use crate::camera::{
    DarkCurrentPoint, DarkCurrentSource, Fit, Plane, ReadNoisePoint, SaturationCause, SaturationIs, TransferPoint,
};
use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::stats::{Estimate, Moments};
use crate::units::{Celsius, Dn, Electrons, ElectronsPerDn, ElectronsPerSecond, Seconds};

use super::clipped::recovered;
use super::correlation::Correlation;
use super::dark_current::{Anchor, DarkCurrent, DarkStage, Expectation, same_exposure};
use super::dark_gain::DarkGain;
use super::doubts;
use super::drift::drift;
use super::filtered::Filtered;
use super::glow::{Glow, glow};
use super::kinds;
use super::pedestal::{self, flat_pedestal};
use super::read_noise::{ReadNoise, mean_level, read_noise};
use super::saturation::{Saturation, saturation};
use super::stack::{plane_mean, plane_view};
use super::thermal_law::TEMPERATURES_FOR_A_FLOOR;
use super::transfer::Level;
use super::uniformity::{Spread, Stacks, Uniformity, prnu, spread};
use super::{
    MeasureError, PairStatistics, StackKey, TransferFit, absolute_threshold, dynamic_range, emva_slope,
    linearity_error_percent, snr_max, thermal_law, transfer_fit,
};

/// The transfer curve is fitted up to this share of saturation (EMVA 1288 Release 4.0 Linear).
const FIT_SHARE: f64 = 0.70;
/// Darks no longer than this stand in for missing bias frames.
const SHORT_DARK: Seconds = Seconds(0.1);
/// Darks must be longer than this to speak of dark current.
const SHORTEST_RAMP: Seconds = Seconds(1.0);
/// Two groups this close in temperature are the same.
const SAME_TEMPERATURE: f64 = 1.0;
/// With so many pairs without light, one that is unlike the others is left out …
const PAIRS_FOR_OUTLIERS: usize = 3;
/// … when its variance is this many times the median.
const OUTLIER_TIMES_MEDIAN: f64 = 2.0;
/// Levels of flats of one exposure that differ by more than this are of another light or gain.
const OTHER_LEVEL: f64 = 0.10;
/// A deviation from linearity in percent beyond which the light, not the sensor, has changed.
const NOT_THE_SENSOR_PERCENT: f64 = 10.0;

/// Pairs without light at one temperature.
struct ZeroStack {
    sensor: Option<Celsius>,
    pairs: Vec<PairStatistics>,
    /// The files of each pair.
    files: Vec<String>,
    lone: Vec<f64>,
}

impl ZeroStack {
    /// Read noise and offset without the outliers; `None` without pairs.
    fn noise(&self, step: u32) -> Option<ReadNoise> {
        let limit = self.outlier_limit();
        let sound: Vec<PairStatistics> = self.pairs.iter().filter(|pair| pair.variance() <= limit).cloned().collect();
        read_noise(&sound, &self.lone, f64::from(step))
    }

    /// Files of pairs that are noisier than their siblings can be: a damaged frame.
    fn outliers(&self) -> impl Iterator<Item = &str> {
        let limit = self.outlier_limit();
        self.pairs
            .iter()
            .zip(&self.files)
            .filter(move |(pair, _)| pair.variance() > limit)
            .map(|(_, files)| files.as_str())
    }

    fn outlier_limit(&self) -> f64 {
        let mut variances: Vec<f64> = self.pairs.iter().map(PairStatistics::variance).collect();
        if variances.len() < PAIRS_FOR_OUTLIERS {
            return f64::INFINITY;
        }
        variances.sort_by(f64::total_cmp);
        OUTLIER_TIMES_MEDIAN * variances[variances.len() / 2]
    }
}

/// Where a plane's numbers start from: its noise and level without light.
struct Zero {
    noise: ReadNoise,
    reference: Option<Celsius>,
    /// Exposure of the darks that stood in for missing bias frames.
    stand_in: Option<Seconds>,
    /// Whether the offset is of bias frames: darks cannot be their own anchor.
    has_bias_level: bool,
}

struct ShortDark {
    exposure: Seconds,
    sensor: Option<Celsius>,
    pair: PairStatistics,
}

/// The measurement of one plane: takes pairs and darks, gives the plane of a profile.
///
/// [`super::ModeMeasurement`] feeds one for each plane with frames; whoever has only the frames' sums
/// feeds it with [`PlaneMeter::pair`] and [`PlaneMeter::dark_summary`].
pub struct PlaneMeter {
    cell: Option<(usize, usize)>,
    colour: Option<char>,
    typed_gain: Option<ElectronsPerDn>,
    bias: Vec<ZeroStack>,
    flats: Vec<(Seconds, PairStatistics)>,
    short_darks: Vec<ShortDark>,
    darks: Vec<DarkStage>,
    expectation: Option<Expectation>,
    correlation: Correlation,
    /// Share of a flat's charge that is in stars.
    stars: Option<f64>,
    pub(super) filtered: Filtered,
    /// Flats above this level have a lossy tone curve.
    pub(super) lossy_from: Option<Dn>,
    patterns: Stacks,
    dark_gain: DarkGain,
}

/// What a plane comes to.
#[derive(Debug, Clone)]
pub struct Assembled {
    /// The numbers.
    pub plane: Plane,
    /// The points of the transfer curve.
    pub transfer: Vec<TransferPoint>,
    /// Doubts about the numbers.
    pub caveats: Vec<Caveat>,
    /// The temperature at which read noise and offset were measured.
    pub reference: Option<Celsius>,
}

/// A dark frame in short, and how it differs from the one before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DarkSummary {
    /// Mean level in DN.
    pub mean: f64,
    /// Median level in DN.
    pub median: f64,
    /// The sensor's temperature in the header.
    pub temperature: Option<Celsius>,
    /// Temporal variance in DN² of this frame and the one before, where both are of one
    /// exposure and neither is in another pair, with its standard uncertainty.
    pub pair_variance: Option<(f64, f64)>,
}

impl PlaneMeter {
    /// A plane of all pixels; `typed_gain` is believed where there are no flats.
    #[must_use]
    pub fn mono(typed_gain: Option<ElectronsPerDn>) -> Self {
        Self {
            cell: None,
            colour: None,
            typed_gain,
            bias: Vec::new(),
            flats: Vec::new(),
            short_darks: Vec::new(),
            darks: Vec::new(),
            expectation: None,
            correlation: Correlation::default(),
            stars: None,
            filtered: Filtered::default(),
            lossy_from: None,
            patterns: Stacks::default(),
            dark_gain: DarkGain::default(),
        }
    }

    pub(super) fn of_cell(row: usize, column: usize, colour: char, typed_gain: Option<ElectronsPerDn>) -> Self {
        Self { cell: Some((row, column)), colour: Some(colour), ..Self::mono(typed_gain) }
    }

    pub(super) fn view<'a>(&self, pixels: &'a Array2<u16>, region: [usize; 4]) -> ArrayView2<'a, u16> {
        plane_view(pixels, region, self.cell)
    }

    /// The plane's place in the 2 × 2 cell of a colour array.
    pub(super) fn cell(&self) -> Option<(usize, usize)> {
        self.cell
    }

    /// Looks at what neighbouring pixels of a pair share.
    pub(super) fn correlate(&mut self, kind: FrameKind, pair: [&Array2<u16>; 2], region: [usize; 4], limit: f64) {
        if kind == FrameKind::Bias {
            let [first, second] = pair.map(|frame| plane_view(frame, region, self.cell));
            self.filtered.pair(first, second);
        }
        if kind == FrameKind::Flat {
            let offset = self.reference_stack().map_or(0.0, |stack| stack.pairs[0].mean().0);
            let found = kinds::stars(plane_view(pair[0], region, self.cell), offset);
            self.stars = found.into_iter().chain(self.stars).reduce(f64::max);
        }
        self.correlation.pair(kind == FrameKind::Flat, pair, region, self.cell, limit);
    }

    fn name(&self) -> String {
        self.cell.map_or_else(|| "mono".to_owned(), |(row, column)| format!("r{row}c{column}"))
    }

    /// The share of all pixels that this plane's colour has.
    fn sampling(&self) -> f64 {
        match self.colour {
            None => 1.0,
            Some('G') => 0.5,
            Some(_) => 0.25,
        }
    }

    pub(super) fn lone_bias(&mut self, sensor: Option<Celsius>, plane: ArrayView2<'_, u16>) {
        self.bias_stack(sensor).lone.push(plane_mean(&plane));
    }

    /// Takes a pair of bias or flat frames; `files` names it in messages.
    pub fn pair(&mut self, key: StackKey, files: String, pair: PairStatistics) {
        match key.kind {
            FrameKind::Bias => {
                let stack = self.bias_stack(key.sensor);
                stack.pairs.push(pair);
                stack.files.push(files);
            }
            _ => self.flats.push((key.exposure, pair)),
        }
    }

    /// Adds both frames of a pair to the mean image of their stack.
    pub(super) fn pair_pattern(&mut self, key: StackKey, frames: [&Array2<u16>; 2], region: [usize; 4], level: Dn) {
        let cell = self.cell;
        self.patterns.push(key, frames.map(|frame| plane_view(frame, region, cell)), level.0);
    }

    /// Ends a stack: its mean image is put into a few numbers.
    pub(super) fn end_pattern(&mut self) {
        self.patterns.close();
    }

    fn bias_stack(&mut self, sensor: Option<Celsius>) -> &mut ZeroStack {
        let known = self.bias.iter().position(|stack| stack.sensor == sensor);
        let place = known.unwrap_or_else(|| {
            self.bias.push(ZeroStack { sensor, pairs: Vec::new(), files: Vec::new(), lone: Vec::new() });
            self.bias.len() - 1
        });
        &mut self.bias[place]
    }

    /// Takes a dark; `false` when it has the very pixels of the frame before it.
    pub(super) fn dark(
        &mut self,
        key: StackKey,
        temperature: Option<Celsius>,
        partner: Option<ArrayView2<'_, u16>>,
        plane: ArrayView2<'_, u16>,
    ) -> bool {
        if partner.as_ref().is_some_and(|partner| partner == plane) {
            return false;
        }
        let before = self.darks.last().and_then(|stage| stage.frames.last()).map(|frame| frame.exposure);
        if let (Some(partner), Some(before)) = (partner, before)
            && (self.expectation.is_none() || (!self.has_bias_pairs() && same_exposure(before, key.exposure)))
            && let Some(pair) = PairStatistics::of(partner, plane)
        {
            if self.expectation.is_none() {
                self.expectation = Some(self.expectation(&pair));
            }
            let stage_frames = self.darks.last().map_or(0, |stage| stage.frames.len());
            if same_exposure(before, key.exposure) && stage_frames % 2 == 1 && !self.has_bias_pairs() {
                self.patterns.push(key, [partner, plane], pair.mean().0);
                self.short_darks.push(ShortDark { exposure: key.exposure, sensor: key.sensor, pair });
            }
        }
        if let (Some(partner), Some(before), Some(expected)) = (partner, before, &self.expectation)
            && self.typed_gain.is_some()
            && same_exposure(before, key.exposure)
        {
            self.dark_gain.add(partner, plane, expected.offset);
        }
        // The first dark is looked at before its pair says more: the bias level, or at least no pixel's level.
        let darkest = || plane.iter().copied().min().map_or(0.0, f64::from);
        let offset = self.reference_stack().map_or_else(darkest, |stack| stack.pairs[0].mean().0);
        let fallback = Expectation { offset, read_variance: f64::INFINITY, dn_per_e: 1.0, ceiling: 65_535.0 };
        let expectation = self.expectation.unwrap_or(fallback);
        self.dark_stage(key).add(plane, key.exposure, temperature, partner, expectation);
        true
    }

    /// Takes a dark of which only the sums are at hand; darks of one temperature follow each other.
    pub fn dark_summary(&mut self, key: StackKey, summary: DarkSummary) {
        self.dark_stage(key).add_summary(key.exposure, summary);
    }

    /// The stage of the darks that are being taken.
    fn dark_stage(&mut self, key: StackKey) -> &mut DarkStage {
        if self.darks.last().is_none_or(|stage| stage.sensor != key.sensor) {
            self.darks.push(DarkStage::new(key.sensor));
        }
        let last = self.darks.len() - 1;
        &mut self.darks[last]
    }

    fn has_bias_pairs(&self) -> bool {
        self.bias.iter().any(|stack| !stack.pairs.is_empty())
    }

    /// What darks may be expected to do, from bias and flats so far, or else from their first pair.
    fn expectation(&self, first_darks: &PairStatistics) -> Expectation {
        let zero = self.reference_stack().and_then(|stack| stack.noise(1));
        let (offset, read_variance) = match &zero {
            Some(zero) => (zero.offset.value.0, zero.variance.value),
            None => (first_darks.mean().0, first_darks.core_variance),
        };
        let saturation = self.saturation(Dn(offset), 1);
        let fitted = || self.transfer(Dn(offset), saturation.as_ref(), None, false).ok().map(|fit| fit.1.gain.value);
        let gain = self.typed_gain.or_else(fitted).unwrap_or(ElectronsPerDn(1.0));
        let ceiling = saturation.filter(|saturation| saturation.is == SaturationIs::Reached).map(|it| it.level.0);
        Expectation { offset, read_variance, dn_per_e: 1.0 / gain.0, ceiling: ceiling.unwrap_or(65_535.0) }
    }

    fn reference_stack(&self) -> Option<&ZeroStack> {
        self.bias.iter().filter(|stack| !stack.pairs.is_empty()).max_by_key(|stack| stack.pairs.len())
    }

    fn saturation(&self, offset: Dn, step: u32) -> Option<Saturation> {
        let pairs: Vec<&PairStatistics> = self.flats.iter().map(|(_, pair)| pair).collect();
        saturation(&pairs, offset, step)
    }

    /// Read noise and offset: from the temperature with most bias pairs, or from the shortest darks.
    fn zero(&self, step: u32) -> Result<Zero, MeasureError> {
        let found = self.bias.iter().map(|stack| stack.lone.len()).sum();
        let too_few = || MeasureError::TooFewFrames { kind: FrameKind::Bias, found, needed: 2 };
        if let Some(stack) = self.reference_stack() {
            let noise = stack.noise(step).ok_or_else(too_few)?;
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
        let mut noise = read_noise(&pairs, &[], f64::from(step)).ok_or_else(too_few)?;
        let lone: Moments = self.bias.iter().flat_map(|stack| stack.lone.iter().copied()).collect();
        if lone.count() > 0 {
            noise.offset = mean_level(&lone, noise.variance.value.sqrt());
        }
        let has_bias_level = lone.count() > 0 || exposure.0 <= SHORT_DARK.0;
        Ok(Zero { noise, reference: short[0].sensor, stand_in: Some(exposure), has_bias_level })
    }

    /// The level without light after `exposure`: of darks of the same time, else `offset`.
    fn dark_level(&self, exposure: Seconds, offset: Dn) -> Dn {
        let same: Vec<f64> = self
            .darks
            .iter()
            .flat_map(|stage| &stage.frames)
            .filter(|frame| same_exposure(frame.exposure, exposure))
            .map(|frame| frame.mean)
            .collect();
        if same.is_empty() { offset } else { Dn(same.iter().sum::<f64>() / same.len() as f64) }
    }

    /// The transfer curve's points and its fit; with `own_level` the flats do not start at the bias frames.
    fn transfer(
        &self,
        offset: Dn,
        saturation: Option<&Saturation>,
        zero: Option<&ReadNoise>,
        own_level: bool,
    ) -> Result<(Vec<TransferPoint>, TransferFit), MeasureError> {
        let name = self.name();
        let limits = self.flats.iter().map(|(_, pair)| pair.event_limit);
        let cut = limits.fold(zero.map_or(0.0, |zero| zero.event_limit), f64::max);
        let level_variance = zero.map_or(0.0, |zero| zero.level_scatter.powi(2) / 2.0);
        let full = saturation.map_or(f64::INFINITY, |saturation| saturation.level.0 - offset.0);
        let mut points = Vec::new();
        let mut levels = Vec::new();
        for (exposure, pair) in &self.flats {
            let same_time = self.dark_level(*exposure, offset);
            // A dark half as bright as the flat is none.
            let is_dark = (same_time - offset).0 < 0.5 * (pair.mean() - offset).0.abs();
            let dark = if own_level || !is_dark { offset } else { same_time };
            let (mean, variance) = (pair.mean() - dark, pair.scaled_variance(dark, cut));
            let sound = mean.0 > 0.0 && variance > 0.0 && saturation.is_none_or(|saturation| !saturation.spoils(pair));
            let sound = sound && self.lossy_from.is_none_or(|from| pair.mean().0 < 0.99 * from.0);
            // A level that wanders moves along the curve: to the fit that is noise of the variance.
            let wander = level_variance / (mean.0 * mean.0);
            let relative = pair.variance_of(variance.max(1e-9)) / variance.max(1e-9).powi(2) + wander;
            levels.push((sound, Level { mean, variance, relative }));
            points.push(TransferPoint {
                plane: name.clone(),
                mean_dn: mean,
                variance_dn2: variance,
                exposure_s: *exposure,
                used: sound,
            });
        }
        let within = |level: &Level| level.mean.0 <= FIT_SHARE * full;
        let reached = saturation.is_some_and(|saturation| saturation.is == SaturationIs::Reached);
        let mut used = Vec::new();
        for ((sound, level), point) in levels.iter().zip(&mut points) {
            point.used = *sound && (within(level) || !reached);
            if point.used {
                used.push(*level);
            }
        }
        if let Some(zero) = zero.filter(|_| !own_level) {
            used.push(zero.level());
        }
        transfer_fit(&used).map(|fit| (points, fit))
    }

    /// The plane's numbers, for codes that are `step` DN apart.
    ///
    /// # Errors
    /// [`MeasureError::TooFewFrames`] without pairs of bias (or short dark) frames,
    /// [`MeasureError::NoGain`] without flats or a typed gain, [`MeasureError::NoSlope`] when the noise
    /// does not grow with the light.
    pub fn assembled(&self, step: u32) -> Result<Assembled, MeasureError> {
        let Zero { noise: zero, reference, stand_in, has_bias_level } = self.zero(step)?;
        let clipped = recovered(self.reference_stack().map_or(&[], |stack| &stack.pairs), &zero, f64::from(step))?;
        let zero = clipped.as_ref().map_or(zero, |clipped| clipped.noise.clone());
        let offset = zero.offset.value;
        let pedestal = self.pedestal(&zero, step);
        let flat_offset = pedestal.as_ref().map_or(offset, |pedestal| pedestal.value);
        let saturation = self.saturation(flat_offset, step);
        let mut caveats = self.zero_doubts(&zero, stand_in);
        caveats.extend(pedestal.as_ref().map(|pedestal| pedestal::caveat(pedestal, offset)));
        caveats.extend(doubts::bands(&zero));
        caveats.extend(self.stars.map(kinds::starry));
        if let Some(clipped) = &clipped {
            caveats.retain(|caveat| caveat.code != clipped.caveat.code);
            caveats.push(clipped.caveat.clone());
        }
        if saturation.is_none() {
            caveats.push(Caveat::new(
                "assumed-value",
                "without flats saturation is not measured: the highest code of 16 bits is taken for it",
                "take flats, the last of them saturated",
            ));
        }
        let (transfer, fit) = match self.transfer(flat_offset, saturation.as_ref(), Some(&zero), pedestal.is_some()) {
            Ok((points, fit)) => (points, Some(fit)),
            Err(_) if self.typed_gain.is_some() => (Vec::new(), None),
            Err(error) => return Err(self.lossy_error().unwrap_or(error)),
        };
        if let Some(fit) = &fit {
            let used = transfer.iter().filter(|point| point.used).count();
            caveats.extend(doubts::of_flats(used, self.spoiled(saturation.as_ref()), self.flats.len(), fit.kink));
            if fit.is_poor() && self.has_mixed_levels() {
                caveats.push(doubts::mixed_levels());
            }
        }
        let coupling = fit.as_ref().and_then(|fit| self.correlation.coupling(&fit.gain));
        caveats.extend(coupling.map(|coupling| coupling.caveat()));
        caveats.extend(self.filtered.caveat());
        for caveat in &mut caveats {
            caveat.about = self.name();
        }
        let gain = match (self.typed_gain, &fit) {
            (Some(typed), _) => Estimate::new(typed.0, 0.0),
            (None, Some(fit)) => coupling.map_or(fit.gain, |coupling| coupling.corrected(&fit.gain)),
            (None, None) => return Err(MeasureError::NoGain { levels: 0 }),
        };
        let (dark_current, dark_caveats) = self.dark_currents(&gain, &zero, reference, has_bias_level, step);
        caveats.extend(dark_caveats);
        let full = saturation.as_ref().map_or(65_535.0, |saturation| saturation.level.0) - flat_offset.0;
        let lit = self.darks.iter().find_map(|stage| kinds::lit_dark(stage, offset.0, full, gain.value));
        caveats.extend(lit.map(|caveat| caveat.about(self.name())));
        let thermal = thermal_law(&dark_current, gain.relative());
        if let Some(law) = thermal.as_ref().filter(|_| dark_current.len() < TEMPERATURES_FOR_A_FLOOR) {
            caveats.push(doubts::no_floor(law).about(self.name()));
        }
        let (level, full, is, cause) = self.full_scale(saturation.as_ref(), flat_offset, &gain);
        let in_electrons = |noise: &Estimate<Dn>| in_electrons(noise, &gain, fit.as_ref());
        let read_noise_e = in_electrons(&zero.noise);
        let threshold =
            absolute_threshold(read_noise_e.value, Electrons(gain.value.0 * f64::from(step) / 12_f64.sqrt()));
        let range = dynamic_range(full.value, threshold);
        let dark_pattern = self.dark_pattern(reference);
        let dsnu: Spread<Dn> = dark_pattern.map_or_else(Spread::default, |dark| spread(&dark.plain, 1.0));
        let pattern_e = |part: Option<Estimate<Dn>>| part.map(|part| part.times(&gain));
        let [unfiltered, prnu] = dark_pattern.map_or_else(
            || [Spread::default(); 2],
            |dark| self.prnu(dark, saturation.map(|saturation| saturation.level)),
        );
        let glow = self.glow(&gain, &zero);
        caveats.extend(glow.as_ref().map(|glow| glow.caveat().about(self.name())));
        let doubt = self.typed_gain.and_then(|typed| self.dark_gain.doubt(typed, zero.variance.value));
        caveats.extend(doubt.map(|doubt| doubt.about(self.name())));
        let plane = Plane {
            plane: self.name(),
            colour: self.colour,
            sampling: self.sampling(),
            gain_e_per_dn: gain,
            gain_e_per_adc_step: Some(gain.scaled(f64::from(step))),
            fit: fit.as_ref().map(|fit| written(fit, &transfer, &zero, FIT_SHARE * (level - offset).0)),
            offset_dn: Some(zero.offset),
            read_noise_dn: Some(zero.noise),
            read_noise_e,
            read_noise_core_e: Some(in_electrons(&zero.core)),
            read_noise_is_upper_limit: zero.hidden
                || clipped.is_some_and(|clipped| clipped.is_upper_limit)
                || stand_in.is_some_and(|exposure| exposure.0 > SHORT_DARK.0),
            row_noise_e: zero.row.map(|row| row.times(&gain)),
            saturation_e: full,
            saturation_dn: Some(level.0),
            saturation_is: is,
            saturation_cause: cause,
            dynamic_range_db: saturation.map(|_| 20.0 * range.log10()),
            dynamic_range_stops: saturation.map(|_| range.log2()),
            snr_max_db: saturation.map(|_| 20.0 * snr_max(full.value).log10()),
            linearity_error_percent: self.linearity(&transfer, level - flat_offset),
            absolute_threshold_e: Some(threshold),
            prnu_percent: prnu.total,
            prnu_row_percent: prnu.row,
            prnu_column_percent: prnu.column,
            prnu_pixel_percent: prnu.pixel,
            prnu_unfiltered_percent: unfiltered.total,
            dsnu_e: pattern_e(dsnu.total),
            dsnu_row_e: pattern_e(dsnu.row),
            dsnu_column_e: pattern_e(dsnu.column),
            dsnu_pixel_e: pattern_e(dsnu.pixel),
            glow_e_per_s: glow.as_ref().map(|glow| glow.excess),
            glow_at: glow.map(|glow| glow.place),
            read_noise_by_temperature: self.read_noise_by_temperature(&gain, step),
            thermal,
            dark_current,
        };
        Ok(Assembled { plane, transfer, caveats, reference })
    }

    /// Saturation as a stored count and in electrons. Without flats: the highest code a file can hold.
    fn full_scale(
        &self,
        saturation: Option<&Saturation>,
        offset: Dn,
        gain: &Estimate<ElectronsPerDn>,
    ) -> (Dn, Estimate<Electrons>, SaturationIs, Option<SaturationCause>) {
        let (level, is, cause) = match saturation {
            Some(saturation) => (saturation.level, saturation.is, saturation.cause),
            None => (Dn(65_535.0), SaturationIs::AtLeast, None),
        };
        (level, gain.scaled((level - offset).0), is, cause)
    }

    /// Linearity over the exposure times between 5 and 95 % of saturation; `None` when the
    /// light was changed instead of the time.
    fn linearity(&self, points: &[TransferPoint], full: Dn) -> Option<f64> {
        let within = |point: &&TransferPoint| (0.05..=0.95).contains(&(point.mean_dn / full));
        let (times, levels): (Vec<f64>, Vec<f64>) =
            points.iter().filter(within).map(|point| (point.exposure_s.0, point.mean_dn.0)).unzip();
        let mut distinct = times.clone();
        distinct.sort_by(f64::total_cmp);
        distinct.dedup_by(|a, b| same_exposure(Seconds(*a), Seconds(*b)));
        if distinct.len() < 4 {
            return None;
        }
        linearity_error_percent(&times, &levels).filter(|&error| error < NOT_THE_SENSOR_PERCENT)
    }

    /// The stack without light that the spatial numbers rest on: bias at the reference temperature, or the
    /// shortest darks.
    fn dark_pattern(&self, reference: Option<Celsius>) -> Option<&Uniformity> {
        let dark = |kind: FrameKind| kind != FrameKind::Flat;
        let mut stacks: Vec<_> = self.patterns.done.iter().filter(|(key, _)| dark(key.kind)).collect();
        stacks.sort_by(|(a, _), (b, _)| a.exposure.0.total_cmp(&b.exposure.0));
        let own = stacks.iter().find(|(key, _)| key.sensor == reference);
        own.or(stacks.first()).map(|(_, pattern)| pattern)
    }

    /// PRNU in percent, without and with the filter, from the flats nearest to half of `saturation`.
    fn prnu(&self, dark: &Uniformity, saturation: Option<Dn>) -> [Spread<f64>; 2] {
        let Some(full) = saturation else { return [Spread::default(); 2] };
        let from_half = |level: f64| ((level - dark.level) - 0.5 * (full.0 - dark.level)).abs();
        let lit =
            self.patterns.done.iter().filter(|(key, flat)| key.kind == FrameKind::Flat && flat.level > dark.level);
        let Some((_, flat)) = lit.min_by(|(_, a), (_, b)| from_half(a.level).total_cmp(&from_half(b.level))) else {
            return [Spread::default(); 2];
        };
        let uneven = flat.plain.total.value - flat.filtered.total.value;
        [
            prnu((&flat.plain, flat.level), (&dark.plain, dark.level), 0.0),
            prnu((&flat.filtered, flat.level), (&dark.filtered, dark.level), uneven),
        ]
    }

    /// Amplifier glow in the first temperature, the coldest, that shows it.
    fn glow(&self, gain: &Estimate<ElectronsPerDn>, zero: &ReadNoise) -> Option<Glow> {
        self.darks.iter().find_map(|stage| {
            let bias = self.dark_pattern(stage.sensor)?.tiles.as_ref()?;
            let (sums, exposure, frames) = stage.longest_stack().filter(|(_, time, _)| time.0 > SHORTEST_RAMP.0)?;
            glow(sums, frames, exposure, bias, gain, zero.variance.value)
        })
    }

    fn read_noise_by_temperature(&self, gain: &Estimate<ElectronsPerDn>, step: u32) -> Vec<ReadNoisePoint> {
        self.bias
            .iter()
            .filter_map(|stack| {
                let zero = stack.noise(step)?;
                Some(ReadNoisePoint { sensor_c: stack.sensor, read_noise_e: zero.noise.times(gain) })
            })
            .collect()
    }

    fn zero_doubts(&self, zero: &ReadNoise, stand_in: Option<Seconds>) -> Vec<Caveat> {
        let pairs = self.reference_stack().map_or(self.short_darks.len(), |stack| stack.pairs.len());
        let shares = self.bias.iter().flat_map(|stack| &stack.pairs).map(|pair| pair.share_at_zero);
        let long = stand_in.filter(|exposure| exposure.0 > SHORT_DARK.0);
        let mut caveats = doubts::of_zero(zero, pairs, shares.fold(0.0, f64::max), long);
        caveats.extend(self.bias.iter().flat_map(ZeroStack::outliers).map(doubts::outlier));
        caveats
    }

    /// The flats' own level without light, where it is not that of the bias frames.
    fn pedestal(&self, zero: &ReadNoise, step: u32) -> Option<Estimate<Dn>> {
        let saturation = self.saturation(Dn(0.0), step);
        let cut = self.flats.iter().map(|(_, pair)| pair.event_limit).fold(zero.event_limit, f64::max);
        let sound = |pair: &PairStatistics| {
            let within = saturation
                .is_none_or(|saturation| !saturation.spoils(pair) && pair.mean().0 < FIT_SHARE * saturation.level.0);
            within && self.lossy_from.is_none_or(|from| pair.mean().0 < from.0)
        };
        let flats = self.flats.iter().filter(|(_, pair)| sound(pair));
        flat_pedestal(flats.map(|(exposure, pair)| (*exposure, pair)), zero, cut)
    }

    /// Why there is no gain, where a lossy tone curve leaves too few flats.
    fn lossy_error(&self) -> Option<MeasureError> {
        let from = self.lossy_from?;
        Some(MeasureError::Unusable {
            kind: FrameKind::Flat,
            reason: format!("a lossy tone curve leaves codes out from {:.0} DN on", from.0),
            hint: "store uncompressed or losslessly compressed raw frames, and take the flats again".into(),
        })
    }

    /// Whether flats of one exposure time have several levels.
    fn has_mixed_levels(&self) -> bool {
        self.flats.iter().enumerate().any(|(place, (exposure, pair))| {
            self.flats[..place].iter().any(|(other, earlier)| {
                same_exposure(*exposure, *other) && (pair.mean() / earlier.mean() - 1.0).abs() > OTHER_LEVEL
            })
        })
    }

    /// How many flat pairs are saturated.
    fn spoiled(&self, saturation: Option<&Saturation>) -> usize {
        let Some(saturation) = saturation else { return 0 };
        self.flats.iter().filter(|(_, pair)| saturation.spoils(pair)).count()
    }

    /// Dark current at every temperature that has long enough darks.
    fn dark_currents(
        &self,
        gain: &Estimate<ElectronsPerDn>,
        zero: &ReadNoise,
        reference: Option<Celsius>,
        has_bias_level: bool,
        step: u32,
    ) -> (Vec<DarkCurrentPoint>, Vec<Caveat>) {
        let (mut points, mut caveats) = (Vec::new(), Vec::new());
        let long = |stage: &&DarkStage| stage.frames.iter().any(|frame| frame.exposure.0 > SHORTEST_RAMP.0);
        for stage in self.darks.iter().filter(long) {
            let own = self.bias.iter().find(|stack| !stack.pairs.is_empty() && close(stack.sensor, stage.sensor));
            let own = own.and_then(|stack| stack.noise(step));
            let same_temperature = own.is_some() || (has_bias_level && close(reference, stage.sensor));
            let level = own.as_ref().unwrap_or(zero);
            let anchor = Anchor {
                offset: level.offset,
                variance: level.variance,
                level_scatter: level.level_scatter,
                same_temperature,
                is_of_bias: own.is_some() || has_bias_level,
            };
            let current = stage.dark_current(gain, anchor);
            let place = match stage.sensor {
                Some(celsius) => format!("{} at {:.1} degC", self.name(), celsius.0),
                None => self.name(),
            };
            caveats.extend(doubts::of_darks(stage, &current).into_iter().map(|caveat| caveat.about(place.clone())));
            caveats.extend(drift(&stage.frames, &current, gain.value).map(|caveat| caveat.about(place)));
            points.extend(point(stage.sensor, current));
        }
        (points, caveats)
    }
}

/// The fit as it is written, with EMVA 1288's line over the points up to `end` DN beside it.
fn written(fit: &TransferFit, points: &[TransferPoint], zero: &ReadNoise, end: f64) -> Fit {
    let used = || points.iter().filter(|point| point.used && point.mean_dn.0 <= end);
    let means: Vec<f64> = used().map(|point| point.mean_dn.0).collect();
    let variances: Vec<f64> = used().map(|point| point.variance_dn2 - zero.variance.value).collect();
    Fit {
        model: "quadratic".into(),
        range_dn: fit.range.map(|level| level.0),
        chi2_per_dof: fit.chi2_per_dof,
        quadratic_per_e: Some(fit.quadratic_per_e),
        emva_gain_e_per_dn: emva_slope(&means, &variances).map_or(fit.gain.value.0, |slope| 1.0 / slope),
        systematic_percent: fit.systematic_percent,
    }
}

/// A noise in electrons. The gain was fitted to that very noise as well, so the two errors are not independent:
///
/// ```text
/// d ln σ_e = dV₀ / (2 σ²) − dK / K,    Cov(V₀, K) < 0
/// ```
fn in_electrons(
    noise: &Estimate<Dn>,
    gain: &Estimate<ElectronsPerDn>,
    fit: Option<&TransferFit>,
) -> Estimate<Electrons> {
    let product: Estimate<Electrons> = noise.times(gain);
    let (Some(fit), true) = (fit, noise.value.0 > 0.0) else { return product };
    let covariance = -fit.covariance_with_dark() * gain.value.0 / noise.value.0.powi(2);
    let common = product.value.0.powi(2) * covariance;
    let with = |sigma: f64, factor: f64| (sigma * sigma + factor * factor * common).max(0.0).sqrt();
    let both = Estimate::new(product.value.0, with(product.uncertainty.0, 1.0));
    let both = match product.interval_95 {
        Some((low, high)) => both.with_half_interval(with((high.0 - low.0) / 2.0, 1.96)),
        None => both,
    };
    both.with_statistical(with(product.statistical.unwrap_or(product.uncertainty).0, 1.0))
}

/// Whether two groups have the same temperature; two unknown ones do.
fn close(a: Option<Celsius>, b: Option<Celsius>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a.0 - b.0).abs() < SAME_TEMPERATURE,
        (None, None) => true,
        _ => false,
    }
}

fn point(sensor: Option<Celsius>, current: DarkCurrent) -> Option<DarkCurrentPoint> {
    let pinned = current.is_pinned();
    let (rate, other): (Estimate<ElectronsPerSecond>, _) =
        if pinned { (current.from_variance?, current.from_mean) } else { (current.from_mean?, current.from_variance) };
    Some(DarkCurrentPoint {
        sensor_c: sensor,
        e_per_s: rate,
        median_e_per_s: if pinned { None } else { current.of_median },
        from: if pinned { DarkCurrentSource::Variance } else { DarkCurrentSource::Mean },
        other_e_per_s: other,
        nonuniformity_percent: current.nonuniformity_percent,
        hot_pixel_fraction: current.hot_pixel_fraction,
        exposures_s: current.exposures,
    })
}
