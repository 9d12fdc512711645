//! One plane of a mode: what its pairs and darks add up to.

use ndarray::{Array2, ArrayView2};

use crate::camera::{
    DarkCurrentPoint, DarkCurrentSource, Fit, Plane, ReadNoisePoint, SaturationCause, SaturationIs, TransferPoint,
};
use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::stats::{Estimate, Moments};
use crate::units::{Celsius, Dn, Electrons, ElectronsPerDn, ElectronsPerSecond, Seconds};

use super::dark_current::{Anchor, DarkCurrent, DarkStage, Expectation, same_exposure};
use super::dark_gain::DarkGain;
use super::doubts;
use super::glow::{Glow, glow};
use super::read_noise::{ReadNoise, mean_level, read_noise};
use super::saturation::{Saturation, saturation};
use super::stack::{plane_mean, plane_view};
use super::thermal_law::TEMPERATURES_FOR_A_FLOOR;
use super::transfer::{ENOUGH_LEVELS, Level};
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

/// The accumulators of one plane.
pub(super) struct PlaneMeter {
    cell: Option<(usize, usize)>,
    colour: Option<char>,
    typed_gain: Option<ElectronsPerDn>,
    bias: Vec<ZeroStack>,
    flats: Vec<(Seconds, PairStatistics)>,
    short_darks: Vec<ShortDark>,
    darks: Vec<DarkStage>,
    expectation: Option<Expectation>,
    patterns: Stacks,
    dark_gain: DarkGain,
}

/// What a plane comes to.
pub(super) struct Assembled {
    pub plane: Plane,
    pub transfer: Vec<TransferPoint>,
    pub caveats: Vec<Caveat>,
    pub reference: Option<Celsius>,
}

impl PlaneMeter {
    pub(super) fn mono(typed_gain: Option<ElectronsPerDn>) -> Self {
        Self {
            cell: None,
            colour: None,
            typed_gain,
            bias: Vec::new(),
            flats: Vec::new(),
            short_darks: Vec::new(),
            darks: Vec::new(),
            expectation: None,
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

    pub(super) fn pair(&mut self, key: StackKey, files: String, pair: PairStatistics) {
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
        if self.darks.last().is_none_or(|stage| stage.sensor != key.sensor) {
            self.darks.push(DarkStage::new(key.sensor));
        }
        if let (Some(partner), Some(before), Some(expected)) = (partner, before, &self.expectation)
            && self.typed_gain.is_some()
            && same_exposure(before, key.exposure)
        {
            self.dark_gain.add(partner, plane, expected.offset);
        }
        let fallback = Expectation { offset: 0.0, read_variance: f64::INFINITY, dn_per_e: 1.0, ceiling: 65_535.0 };
        let expectation = self.expectation.unwrap_or(fallback);
        if let Some(stage) = self.darks.last_mut() {
            stage.add(plane, key.exposure, temperature, partner, expectation);
        }
        true
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
        let fitted = || self.transfer(Dn(offset), saturation.as_ref(), None).ok().map(|fit| fit.1.gain.value);
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

    /// The transfer curve's points and its fit.
    fn transfer(
        &self,
        offset: Dn,
        saturation: Option<&Saturation>,
        zero: Option<&ReadNoise>,
    ) -> Result<(Vec<TransferPoint>, TransferFit), MeasureError> {
        let name = self.name();
        let limits = self.flats.iter().map(|(_, pair)| pair.event_limit);
        let cut = limits.fold(zero.map_or(0.0, |zero| zero.event_limit), f64::max);
        let level_variance = zero.map_or(0.0, |zero| zero.level_scatter.powi(2) / 2.0);
        let full = saturation.map_or(f64::INFINITY, |saturation| saturation.level.0 - offset.0);
        let mut points = Vec::new();
        let mut levels = Vec::new();
        for (exposure, pair) in &self.flats {
            let dark = self.dark_level(*exposure, offset);
            let (mean, variance) = (pair.mean() - dark, pair.scaled_variance(dark, cut));
            let sound = mean.0 > 0.0 && variance > 0.0 && saturation.is_none_or(|saturation| !saturation.spoils(pair));
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
        let enough = levels.iter().filter(|(sound, level)| *sound && within(level)).count() >= ENOUGH_LEVELS;
        let reached = saturation.is_some_and(|saturation| saturation.is == SaturationIs::Reached);
        let mut used = Vec::new();
        for ((sound, level), point) in levels.iter().zip(&mut points) {
            point.used = *sound && (within(level) || !(enough || reached));
            if point.used {
                used.push(*level);
            }
        }
        // A noise that the steps hide has another variance than the flats' zero: it would bend the curve.
        if let Some(zero) = zero.filter(|zero| !zero.hidden) {
            let relative = (zero.variance.uncertainty / zero.variance.value).powi(2).max(1e-12);
            used.push(Level { mean: Dn(0.0), variance: zero.variance.value, relative });
        }
        transfer_fit(&used).map(|fit| (points, fit))
    }

    /// The plane's numbers.
    pub(super) fn assembled(&self, step: u32) -> Result<Assembled, MeasureError> {
        let Zero { noise: zero, reference, stand_in, has_bias_level } = self.zero(step)?;
        let offset = zero.offset.value;
        let saturation = self.saturation(offset, step);
        let mut caveats = self.zero_doubts(&zero, stand_in);
        if saturation.is_none() {
            caveats.push(Caveat::new(
                "assumed-value",
                "without flats saturation is not measured: the highest code of 16 bits is taken for it",
                "take flats, the last of them saturated",
            ));
        }
        let (transfer, fit) = match self.transfer(offset, saturation.as_ref(), Some(&zero)) {
            Ok((points, fit)) => (points, Some(fit)),
            Err(_) if self.typed_gain.is_some() => (Vec::new(), None),
            Err(error) => return Err(error),
        };
        if let Some(fit) = &fit {
            let used = transfer.iter().filter(|point| point.used).count();
            caveats.extend(doubts::of_flats(used, self.spoiled(saturation.as_ref()), self.flats.len(), fit.kink));
            if fit.is_poor() && self.has_mixed_levels() {
                caveats.push(doubts::mixed_levels());
            }
        }
        for caveat in &mut caveats {
            caveat.about = self.name();
        }
        let gain = match (self.typed_gain, &fit) {
            (Some(typed), _) => Estimate::new(typed.0, 0.0),
            (None, Some(fit)) => fit.gain,
            (None, None) => return Err(MeasureError::NoGain { levels: 0 }),
        };
        let (dark_current, dark_caveats) = self.dark_currents(&gain, &zero, reference, has_bias_level, step);
        caveats.extend(dark_caveats);
        let thermal = thermal_law(&dark_current, gain.relative());
        if let Some(law) = thermal.as_ref().filter(|_| dark_current.len() < TEMPERATURES_FOR_A_FLOOR) {
            caveats.push(doubts::no_floor(law).about(self.name()));
        }
        let (level, full, is, cause) = self.full_scale(saturation.as_ref(), offset, &gain);
        let read_noise_e: Estimate<Electrons> = zero.noise.times(&gain);
        let threshold =
            absolute_threshold(read_noise_e.value, Electrons(gain.value.0 * f64::from(step) / 12_f64.sqrt()));
        let range = dynamic_range(full.value, threshold);
        let dark_pattern = self.dark_pattern(reference);
        let dsnu: Spread<Dn> = dark_pattern.map_or_else(Spread::default, |dark| spread(&dark.plain, 1.0));
        let in_electrons = |part: Option<Estimate<Dn>>| part.map(|part| part.times(&gain));
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
            fit: fit.as_ref().map(|fit| self.written(fit, &transfer, &zero, &gain)),
            offset_dn: Some(zero.offset),
            read_noise_dn: Some(zero.noise),
            read_noise_e,
            read_noise_core_e: Some(zero.core.times(&gain)),
            read_noise_is_upper_limit: zero.hidden || stand_in.is_some_and(|exposure| exposure.0 > SHORT_DARK.0),
            row_noise_e: zero.row.map(|row| row.times(&gain)),
            saturation_e: full,
            saturation_dn: Some(level.0),
            saturation_is: is,
            saturation_cause: cause,
            dynamic_range_db: saturation.map(|_| 20.0 * range.log10()),
            dynamic_range_stops: saturation.map(|_| range.log2()),
            snr_max_db: saturation.map(|_| 20.0 * snr_max(full.value).log10()),
            linearity_error_percent: self.linearity(&transfer, level - offset),
            absolute_threshold_e: Some(threshold),
            prnu_percent: prnu.total,
            prnu_row_percent: prnu.row,
            prnu_column_percent: prnu.column,
            prnu_pixel_percent: prnu.pixel,
            prnu_unfiltered_percent: unfiltered.total,
            dsnu_e: in_electrons(dsnu.total),
            dsnu_row_e: in_electrons(dsnu.row),
            dsnu_column_e: in_electrons(dsnu.column),
            dsnu_pixel_e: in_electrons(dsnu.pixel),
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

    fn written(
        &self,
        fit: &TransferFit,
        points: &[TransferPoint],
        zero: &ReadNoise,
        gain: &Estimate<ElectronsPerDn>,
    ) -> Fit {
        let used = || points.iter().filter(|point| point.used);
        let means: Vec<f64> = used().map(|point| point.mean_dn.0).collect();
        let variances: Vec<f64> = used().map(|point| point.variance_dn2 - zero.variance.value).collect();
        Fit {
            model: "quadratic".into(),
            range_dn: fit.range.map(|level| level.0),
            chi2_per_dof: fit.chi2_per_dof,
            quadratic_per_e: Some(fit.quadratic_per_e),
            emva_gain_e_per_dn: emva_slope(&means, &variances).map_or(gain.value.0, |slope| 1.0 / slope),
            systematic_percent: fit.systematic_percent,
        }
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
                same_temperature,
                is_of_bias: own.is_some() || has_bias_level,
            };
            let current = stage.dark_current(gain, anchor);
            let place = match stage.sensor {
                Some(celsius) => format!("{} at {:.1} degC", self.name(), celsius.0),
                None => self.name(),
            };
            caveats.extend(doubts::of_darks(stage, &current).into_iter().map(|caveat| caveat.about(place.clone())));
            points.extend(point(stage.sensor, current));
        }
        (points, caveats)
    }
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
