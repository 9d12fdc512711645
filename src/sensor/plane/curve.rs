//! A plane's transfer curve: which flats count, from which level on, up to which.

use crate::camera::{Fit, FitModel, SaturationIs, TransferPoint};
use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::stats::{Estimate, Moments};
use crate::units::{Celsius, Dn, ElectronsPerDn, Seconds};

use super::assembly::Start;
use super::{PlaneMeter, doubts};
use crate::sensor::dark::current::same_exposure;
use crate::sensor::dark::read_noise::ReadNoise;
use crate::sensor::flat::averaged;
use crate::sensor::flat::pedestal::flat_pedestal;
use crate::sensor::flat::saturation::{Saturation, saturation};
use crate::sensor::flat::transfer::{Level, likelihood_fit};
use crate::sensor::pair::sound::Sound;
use crate::sensor::{
    MeasureError, NoGainCause, PairStatistics, TransferFit, emva_slope, linearity_error_percent, transfer_fit,
};

/// The transfer curve is fitted up to this share of saturation (EMVA 1288 Release 4.0 Linear).
pub(super) const FIT_SHARE: f64 = 0.70;
/// Flats closer than this in kelvins are of one temperature.
const OTHER_TEMPERATURE: f64 = 4.0;
/// Levels of flats of one exposure that differ by more than this are of another light or gain.
const OTHER_LEVEL: f64 = 0.10;
/// A deviation from linearity in percent beyond which the light, not the sensor, has changed.
const NOT_THE_SENSOR_PERCENT: f64 = 10.0;

impl PlaneMeter {
    pub(super) fn saturation(&self, offset: Dn, step: u32) -> Option<Saturation> {
        let pairs: Vec<&PairStatistics> = self.flats.iter().map(|(_, pair)| pair).collect();
        saturation(&pairs, offset, step)
    }

    /// How many flat pairs are saturated.
    pub(super) fn spoiled(&self, saturation: Option<&Saturation>) -> usize {
        let Some(saturation) = saturation else { return 0 };
        self.flats.iter().filter(|(_, pair)| saturation.spoils(pair)).count()
    }

    /// The level without light after `exposure`: of darks of the same time, else `offset`.
    pub(super) fn dark_level(&self, exposure: Seconds, offset: Dn) -> Dn {
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
    pub(super) fn transfer(
        &self,
        offset: Dn,
        saturation: Option<&Saturation>,
        zero: Option<&ReadNoise>,
        own_level: bool,
    ) -> Result<(Vec<TransferPoint>, TransferFit), MeasureError> {
        let levels = self.levels(offset, saturation, zero, own_level);
        let (points, mut used) = self.within_fit(&levels, offset, saturation);
        used.extend(zero.filter(|_| !own_level).map(ReadNoise::level));
        transfer_fit(&used).map(|fit| (points, fit))
    }

    /// The same from single frames: flats that are means of several are left out, and named; where all of them are, there
    /// is no fit. The last is the variance of the flats without light over that of the bias frames, where that is more.
    pub(super) fn fitted(
        &self,
        start: &Start,
        caveats: &mut Vec<Caveat>,
    ) -> Result<(Vec<TransferPoint>, TransferFit, Option<f64>), MeasureError> {
        let Start { zero, saturation, flat_offset, own_level, is_of_long_darks, .. } = start;
        let mut levels = self.levels(*flat_offset, saturation.as_ref(), Some(zero), *own_level);
        let quieter = averaged::quieter(&levels, zero.variance.value).filter(|_| !self.has_mixed_levels());
        if let Some((places, factor)) = quieter {
            places.iter().for_each(|place| levels[*place].0 = false);
            caveats.push(averaged::some_caveat(places.len(), levels.len(), factor));
        }
        let (points, mut used) = self.within_fit(&levels, *flat_offset, saturation.as_ref());
        let frames = averaged::frames_in_each(&used, zero).filter(|_| !own_level && !is_of_long_darks);
        match frames {
            Some(frames) if frames > 1.0 => return Err(averaged::all_error(frames)),
            Some(frames) => caveats.push(averaged::biases_caveat(1.0 / frames)),
            None => {}
        }
        let without_light = without_light(&used, zero);
        // Bias frames of another noise say nothing of the flats' curve.
        used.extend(Some(without_light).filter(|_| !own_level && frames.is_none()));
        let spoiled = self.spoiled(saturation.as_ref());
        let measured = zero.level().relative / without_light.relative;
        let fitted =
            |fit: TransferFit| (points, fit.with_dark_measured_to(measured), frames.map(|frames| 1.0 / frames));
        transfer_fit(&used).map(fitted).map_err(|error| match error {
            MeasureError::NoGain { levels, .. } if spoiled > 0 && spoiled == self.flats.len() => {
                MeasureError::NoGain { levels, why: NoGainCause::Saturated { pairs: spoiled } }
            }
            error => error,
        })
    }

    /// Each pair of flats as a level of the curve, and whether it is sound.
    fn levels(
        &self,
        offset: Dn,
        saturation: Option<&Saturation>,
        zero: Option<&ReadNoise>,
        own_level: bool,
    ) -> Vec<(bool, Level)> {
        let limits = self.flats.iter().map(|(_, pair)| pair.event_limit);
        let cut = limits.fold(zero.map_or(0.0, |zero| zero.event_limit), f64::max);
        let level_variance = zero.map_or(0.0, |zero| zero.level_scatter.powi(2) / 2.0);
        let level = |(exposure, pair): &(Seconds, PairStatistics)| {
            let same_time = self.dark_level(*exposure, offset);
            // A dark half as bright as the flat is none.
            let is_dark = (same_time - offset).0 < 0.5 * (pair.mean() - offset).0.abs();
            let dark = if own_level || !is_dark { offset } else { same_time };
            let mean = pair.mean() - dark;
            // Of frames scaled to each other the noise without light counts (1 + r²) / 2r times.
            let surplus = pair.ratio(dark.0).map_or(0.0, |r| (1.0 - r).powi(2) / (2.0 * r));
            let variance = pair.scaled_variance(dark, cut) - surplus * zero.map_or(0.0, |zero| zero.variance.value);
            let sound = pair.ratio(dark.0).is_some();
            let sound =
                sound && mean.0 > 0.0 && variance > 0.0 && saturation.is_none_or(|saturation| !saturation.spoils(pair));
            let sound = sound && self.lossy_from.is_none_or(|from| pair.mean().0 < 0.99 * from.0);
            // A level that wanders moves along the curve: to the fit that is noise of the variance.
            let wander = level_variance / (mean.0 * mean.0);
            // Waves over the frame that differ from pair to pair are in the flats too.
            let of_waves = zero.map_or(0.0, |zero| zero.variance_scatter) / variance.max(1e-9).powi(2);
            let relative = relative_variance(pair, variance) + wander + of_waves + pair.unseen_rest()[0].powi(2);
            (sound, Level { mean, variance, relative })
        };
        self.flats.iter().map(level).collect()
    }

    /// The points of the curve, and the levels with light that are fitted.
    fn within_fit(
        &self,
        levels: &[(bool, Level)],
        offset: Dn,
        saturation: Option<&Saturation>,
    ) -> (Vec<TransferPoint>, Vec<Level>) {
        let name = self.name();
        let full = saturation.map_or(f64::INFINITY, |saturation| saturation.level.0 - offset.0);
        let reached = saturation.is_some_and(|saturation| saturation.is == SaturationIs::Reached);
        let is_used = |(sound, level): &(bool, Level)| *sound && (level.mean.0 <= FIT_SHARE * full || !reached);
        let points = levels.iter().zip(&self.flats).map(|(level, (exposure, _))| TransferPoint {
            plane: name,
            mean_dn: level.1.mean,
            variance_dn2: level.1.variance,
            exposure_s: *exposure,
            used: is_used(level),
        });
        (points.collect(), levels.iter().filter(|level| is_used(level)).map(|(_, level)| *level).collect())
    }

    /// The flats' own level without light, where it is not that of the bias frames.
    pub(super) fn pedestal(&self, zero: &ReadNoise, step: u32) -> Option<Estimate<Dn>> {
        let saturation = self.saturation(Dn(0.0), step);
        let cut = self.flats.iter().map(|(_, pair)| pair.event_limit).fold(zero.event_limit, f64::max);
        let sound = |pair: &PairStatistics| {
            let within = saturation
                .is_none_or(|saturation| !saturation.spoils(pair) && pair.mean().0 < FIT_SHARE * saturation.level.0);
            within && !pair.is_partial() && self.lossy_from.is_none_or(|from| pair.mean().0 < from.0)
        };
        let flats = self.flats.iter().filter(|(_, pair)| sound(pair));
        flat_pedestal(flats.map(|(exposure, pair)| (*exposure, pair)), zero, cut)
    }

    /// Linearity over the exposure times between 5 and 95 % of saturation; `None` when the
    /// light was changed instead of the time.
    pub(super) fn linearity(&self, points: &[TransferPoint], full: Dn) -> Option<f64> {
        let within = |point: &TransferPoint| (0.05..=0.95).contains(&(point.mean_dn / full));
        let (times, levels): (Vec<f64>, Vec<f64>) = (points.iter().zip(&self.flats))
            .filter(|(point, (_, pair))| within(point) && !pair.is_partial())
            .map(|(point, _)| (point.exposure_s.0, point.mean_dn.0))
            .unzip();
        let mut distinct = times.clone();
        distinct.sort_by(f64::total_cmp);
        distinct.dedup_by(|a, b| same_exposure(Seconds(*a), Seconds(*b)));
        if distinct.len() < 4 {
            return None;
        }
        linearity_error_percent(&times, &levels).filter(|&error| error < NOT_THE_SENSOR_PERCENT)
    }

    /// Why there is no gain, where a lossy tone curve leaves too few flats.
    pub(super) fn lossy_error(&self) -> Option<MeasureError> {
        let from = self.lossy_from?;
        Some(MeasureError::Unusable {
            kind: FrameKind::Flat,
            reason: format!("a lossy tone curve leaves codes out from {:.0} DN on", from.0),
            hint: "store uncompressed or losslessly compressed raw frames, and take the flats again".into(),
        })
    }

    /// The doubt about a gain that is another at another temperature: flats of two temperatures, fitted apart.
    pub(super) fn gain_with_temperature(
        &self,
        offset: Dn,
        saturation: Option<&Saturation>,
        zero: &ReadNoise,
    ) -> Option<Caveat> {
        let mut temperatures: Vec<f64> = self.flat_sensors.iter().flatten().map(|celsius| celsius.0).collect();
        temperatures.sort_by(f64::total_cmp);
        temperatures.dedup_by(|a, b| (*a - *b).abs() < OTHER_TEMPERATURE);
        let fits = temperatures.into_iter().filter_map(|celsius| {
            let own = self
                .flats
                .iter()
                .zip(&self.flat_sensors)
                .filter(|(_, sensor)| sensor.is_some_and(|sensor| (sensor.0 - celsius).abs() < OTHER_TEMPERATURE));
            let sound = own.filter(|((_, pair), _)| saturation.is_none_or(|saturation| !saturation.spoils(pair)));
            let mut levels: Vec<Level> = sound
                .map(|((_, pair), _)| {
                    let variance = pair.scaled_variance(offset, zero.event_limit.max(pair.event_limit)).max(1e-9);
                    Level { mean: pair.mean() - offset, variance, relative: relative_variance(pair, variance) }
                })
                .collect();
            levels.push(zero.level());
            (levels.len() > 3).then(|| transfer_fit(&levels).ok()).flatten().map(|fit| (Celsius(celsius), fit.gain))
        });
        let fits: Vec<(Celsius, Estimate<ElectronsPerDn>)> = fits.collect();
        let by_gain = |a: &&(Celsius, Estimate<ElectronsPerDn>), b: &&(Celsius, Estimate<ElectronsPerDn>)| {
            a.1.value.0.total_cmp(&b.1.value.0)
        };
        doubts::gain_with_temperature(fits.iter().min_by(by_gain)?, fits.iter().max_by(by_gain)?)
    }

    /// The pairs of flats that are not saturated: of a full sensor the few pixels that are not full look like something that
    /// moved, and noise that flickers.
    pub(super) fn unspoiled<'a>(
        &'a self,
        saturation: Option<&'a Saturation>,
    ) -> impl Iterator<Item = &'a PairStatistics> + Clone {
        let pairs = self.flats.iter().map(|(_, pair)| pair);
        pairs.filter(move |pair| saturation.is_none_or(|saturation| !saturation.spoils(pair)))
    }

    /// What of that which moved between flats may still be in their noise, relatively, on average: it is in all alike.
    pub(super) fn unseen_rest(&self, saturation: Option<&Saturation>) -> f64 {
        let rests: Moments = self.unspoiled(saturation).map(|pair| pair.unseen_rest()[1]).collect();
        rests.mean().unwrap_or(0.0)
    }

    /// Whether something moved between the flats of pairs, and much of it.
    pub(super) fn is_starry(&self, saturation: Option<&Saturation>) -> bool {
        let sounds = self.unspoiled(saturation).filter_map(|pair| pair.sound.as_ref());
        sounds.map(Sound::sure_effect).fold(0.0, f64::max) > doubts::MOVED
    }

    /// Whether flats of one exposure time have several levels.
    pub(super) fn has_mixed_levels(&self) -> bool {
        self.flats.iter().enumerate().any(|(place, (exposure, pair))| {
            self.flats[..place].iter().any(|(other, earlier)| {
                let whole = !pair.is_partial() && !earlier.is_partial();
                whole && same_exposure(*exposure, *other) && (pair.mean() / earlier.mean() - 1.0).abs() > OTHER_LEVEL
            })
        })
    }
}

/// The level without light for the fit of `flats`, as uncertain as the flats' own level without light makes it.
fn without_light(flats: &[Level], zero: &ReadNoise) -> Level {
    let all: Vec<Level> = flats.iter().copied().chain([zero.level()]).collect();
    let slope = likelihood_fit(&all).map_or(0.0, |fit| fit.coefficients[1].max(0.0));
    zero.level_for_flats(slope)
}

/// The relative variance of a pair's variance.
fn relative_variance(pair: &PairStatistics, variance: f64) -> f64 {
    let variance = variance.max(1e-9);
    pair.variance_of(variance) / variance.powi(2)
}

/// The fit as it is written, with EMVA 1288's line over the points up to `end` DN beside it; `model` says whether the
/// gain is the fit's, or was typed beside it.
pub(super) fn written(
    fit: &TransferFit,
    model: FitModel,
    (points, end): (&[TransferPoint], f64),
    zero: &ReadNoise,
) -> Fit {
    let used = || points.iter().filter(|point| point.used && point.mean_dn.0 <= end);
    let means: Vec<f64> = used().map(|point| point.mean_dn.0).collect();
    let variances: Vec<f64> = used().map(|point| point.variance_dn2 - zero.variance.value).collect();
    Fit {
        model,
        range_dn: fit.range.map(|level| level.0),
        chi2_per_dof: fit.chi2_per_dof,
        quadratic_per_e: Some(fit.quadratic_per_e),
        emva_gain_e_per_dn: emva_slope(&means, &variances).map_or(fit.gain.value.0, |slope| 1.0 / slope),
        systematic_percent: fit.systematic_percent,
    }
}
