//! A plane of the profile, put together.

use crate::camera::{
    DarkCurrentPoint, DarkPicture, FitModel, NoiseByScale, Plane, SaturationCause, SaturationIs, TransferPoint,
    against_warmth,
};
use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::stats::Estimate;
use crate::units::{Celsius, Dn, Electrons, ElectronsPerDn, Quantity};

use super::Assembled;
use super::PlaneMeter;
use super::curve::{FIT_SHARE, written};
use super::darks::{DarkCurrents, SHORTEST_RAMP};
use super::doubts;
use super::kinds;
use super::zero::{SHORT_DARK, Zero};
use crate::camera::Thermal;
use crate::sensor::dark::clipped::recovered;
use crate::sensor::dark::limits::OTHER_GAIN;
use crate::sensor::dark::other_gain::OtherGain;
use crate::sensor::dark::read_noise::ReadNoise;
use crate::sensor::dark::thermal_law::TEMPERATURES_FOR_A_FLOOR;
use crate::sensor::flat::pedestal::{self};
use crate::sensor::flat::saturation::Saturation;
use crate::sensor::pair::correlation::Coupling;
use crate::sensor::pattern::by_scale::{Lightless, MeanImage};
use crate::sensor::pattern::glow::{Glow, glow, gradient};
use crate::sensor::pattern::uniformity::{Spread, Uniformity, prnu, spread};
use crate::sensor::{MeasureError, NoGainCause, TransferFit, absolute_threshold, dynamic_range, snr_max, thermal_law};

/// A slope over the frame is seen when it is so many times its uncertainty …
const SLOPE_SIGMAS: f64 = 5.0;
/// … and light, when it is more than this share of the floor.
const SLOPE_OF_FLOOR: f64 = 0.1;

/// An activation energy as uncertain as this in eV is not known at all: those of silicon lie between 0.4 and 1.25.
const UNKNOWN_EV: f64 = 1.0;

/// The sum over neighbours gives back what a filter took of the noise to this part (judgement: the kernel, and how it
/// rounded, is not known).
const SMOOTHED_PART: f64 = 0.02;
/// Up to this share of saturation the noise of flats is held against their level part by part of the field.
const NOISE_BY_FIELD: f64 = 0.6;

/// Where the numbers start from: the plane without light.
pub(super) struct Start {
    pub(super) zero: ReadNoise,
    reference: Option<Celsius>,
    /// Whether the offset is of bias frames: darks cannot be their own anchor.
    has_bias_level: bool,
    /// Whether the read noise is at most what is given.
    is_upper_limit: bool,
    /// Whether darks that gather charge stand in for bias frames.
    pub(super) is_of_long_darks: bool,
    /// The flats' level without light.
    pub(super) flat_offset: Dn,
    /// Whether that is not the bias frames' level.
    pub(super) own_level: bool,
    pub(super) saturation: Option<Saturation>,
}

impl Start {
    /// A noise of which only an upper limit is known, from pairs so few and so unlike each other that their scatter says nothing,
    /// lies between 0 and twice the limit.
    fn bounded<Q: Quantity>(&self, noise: Estimate<Q>) -> Estimate<Q> {
        let value = noise.value.get();
        let is_unknown = self.is_upper_limit && noise.uncertainty.get() > value;
        if is_unknown { Estimate::new(value, value).with_interval((0.0, 2.0 * value)) } else { noise }
    }
}

/// The transfer curve and what it says.
struct Curve {
    points: Vec<TransferPoint>,
    fit: Option<TransferFit>,
    gain: Estimate<ElectronsPerDn>,
    /// What neighbours share of the noise, 0 within its uncertainty where it was not noticed.
    sharing: Option<Coupling>,
    /// The variance of the flats without light over that of the bias frames, where these may be means of so many.
    over_biases: Option<f64>,
}

/// What darks say.
struct Heat {
    dark_current: Vec<DarkCurrentPoint>,
    thermal: Option<Thermal>,
    /// The gain of the darks, where it is another than the flats'.
    other_gain: Option<OtherGain>,
    /// Whether their level without time is far from the bias frames'.
    has_jumped: bool,
    /// The variance of the darks without charge over that of the bias frames, where these may be means of so many.
    over_biases: Option<f64>,
}

impl Heat {
    /// The gain of the flats, as uncertain as what darks say against it makes it.
    fn contradicting(&self, gain: Estimate<ElectronsPerDn>) -> Estimate<ElectronsPerDn> {
        // Of what jumps between bias frames and darks the flats may be before, after, or both.
        let gain = less_sure(gain, if self.has_jumped { OTHER_GAIN / 3_f64.sqrt() } else { 0.0 });
        match self.other_gain.filter(|other| other.of_biases) {
            Some(other) => gain.reaching(other.of_darks.value.0 / gain.value.0, other.of_darks.relative()),
            None => gain,
        }
    }
}

impl PlaneMeter {
    /// The plane's numbers, for codes that are `step` DN apart.
    ///
    /// # Errors
    /// [`MeasureError::TooFewFrames`] without pairs of bias (or short dark) frames,
    /// [`MeasureError::NoGain`] without flats or a typed gain, [`MeasureError::NoSlope`] when the noise
    /// does not grow with the light.
    pub fn assembled(&self, step: u32) -> Result<Assembled, MeasureError> {
        let mut caveats = Vec::new();
        let start = self.start(step, &mut caveats)?;
        let Start { zero, reference, saturation, flat_offset, .. } = &start;
        let curve = self.curve(&start, &mut caveats)?;
        for caveat in &mut caveats {
            caveat.about = self.name().into();
        }
        let heat = self.heat(&start, &curve.gain, step, &mut caveats);
        let gain = heat.contradicting(curve.gain);
        let Heat { dark_current, thermal, over_biases, .. } = heat;
        let light = kinds::light_on_biases(zero, &self.darks, &dark_current, gain.value);
        caveats.extend(light.map(|light| kinds::lit_biases(light).about(self.name())));
        let dark_pattern = self.dark_pattern(*reference);
        // The pattern of long darks is that of the pixels' dark current.
        let unheated = dark_pattern.filter(|_| !start.is_of_long_darks);
        let dsnu: Spread<Dn> = unheated.map_or_else(Spread::default, |dark| {
            spread(&dark.plain.among_waves(zero.of_waves.sqrt() / f64::from(dark.of_sum.1.max(1))), 1.0)
        });
        let [unfiltered, prnu] = dark_pattern.map_or_else(
            || [Spread::default(); 2],
            |dark| self.prnu(dark, saturation.as_ref(), curve.sharing.as_ref()),
        );
        let glow = self.glow(&gain, zero);
        caveats.extend(glow.as_ref().map(|glow| glow.caveat().about(self.name())));
        let (level, full, is, cause) = self.full_scale(saturation.as_ref(), *flat_offset, &gain);
        // Bias frames that are means of several: one of them has the root of that times the noise.
        let over_biases = curve.over_biases.or(over_biases);
        let in_electrons = |noise: &Estimate<Dn>| {
            start.bounded(of_one_frame(in_electrons(noise, &gain, curve.fit.as_ref()), over_biases))
        };
        let pattern_e = |part: Option<Estimate<Dn>>| part.map(|part| part.times(&gain));
        let read_noise_e = in_electrons(&zero.noise);
        let threshold =
            absolute_threshold(read_noise_e.value, Electrons(gain.value.0 * f64::from(step) / 12_f64.sqrt()));
        let range = dynamic_range(full.value, threshold);
        let plane = Plane {
            quantum_efficiency: None,
            plane: self.name(),
            colour: self.colour,
            sampling: self.sampling(),
            gain_e_per_dn: gain,
            gain_e_per_adc_step: Some(gain.scaled(f64::from(step))),
            fit: curve.fit.as_ref().map(|fit| {
                let model = if self.typed_gain.is_some() { FitModel::Typed } else { FitModel::Quadratic };
                written(fit, model, (&curve.points, FIT_SHARE * (level - *flat_offset).0), zero)
            }),
            offset_dn: Some(zero.offset),
            read_noise_dn: Some(start.bounded(of_one_frame(zero.noise, over_biases))),
            read_noise_e,
            read_noise_core_e: Some(in_electrons(&zero.core)),
            read_noise_is_upper_limit: start.is_upper_limit || light.is_some(),
            row_noise_e: zero.row.map(|row| row.times(&gain)),
            saturation_e: full,
            saturation_dn: Some(level.0),
            saturation_is: is,
            saturation_cause: cause,
            dynamic_range_db: saturation.map(|_| 20.0 * range.log10()),
            dynamic_range_stops: saturation.map(|_| range.log2()),
            snr_max_db: saturation.map(|_| 20.0 * snr_max(full.value).log10()),
            linearity_error_percent: self.linearity(&curve.points, level - *flat_offset),
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
            dark_pictures: self.dark_pictures(gain.value, step, &dark_current),
            dark_current,
        };
        let noise_by_scale = self.noise_by_scale(dark_pattern, gain.value.0);
        Ok(Assembled { plane, transfer: curve.points, noise_by_scale, caveats, reference: *reference })
    }

    /// Read noise and levels without light, a clipped black level recovered.
    fn start(&self, step: u32, caveats: &mut Vec<Caveat>) -> Result<Start, MeasureError> {
        let Zero { noise: zero, reference, stand_in, has_bias_level } = self.zero(step)?;
        let clipped = recovered(self.reference_stack().map_or(&[], |stack| &stack.pairs), &zero, f64::from(step))?;
        let zero = clipped.as_ref().map_or(zero, |clipped| clipped.noise.clone());
        let pedestal = self.pedestal(&zero, step);
        let flat_offset = pedestal.as_ref().map_or(zero.offset.value, |pedestal| pedestal.value);
        caveats.extend(self.zero_doubts(&zero, stand_in));
        caveats.extend(pedestal.as_ref().map(|pedestal| pedestal::caveat(pedestal, zero.offset.value)));
        caveats.extend(doubts::banding(&zero));
        caveats.extend(self.noise_with_temperature(step));
        if let Some(clipped) = &clipped {
            caveats.retain(|caveat| caveat.code != clipped.caveat.code);
            caveats.push(clipped.caveat.clone());
        }
        let is_of_long_darks = stand_in.is_some_and(|exposure| exposure.0 > SHORT_DARK.0);
        Ok(Start {
            // Flats no brighter than the frames without light saturate nothing.
            saturation: self.saturation(flat_offset, step).filter(|found| found.level.0 > flat_offset.0),
            is_upper_limit: zero.hidden || clipped.is_some_and(|clipped| clipped.is_upper_limit) || is_of_long_darks,
            is_of_long_darks,
            zero,
            reference,
            has_bias_level,
            flat_offset,
            own_level: pedestal.is_some(),
        })
    }

    /// The transfer curve and the gain: the typed one, or the fitted one freed from what neighbours share.
    fn curve(&self, start: &Start, caveats: &mut Vec<Caveat>) -> Result<Curve, MeasureError> {
        let Start { zero, saturation, flat_offset, .. } = start;
        if saturation.is_none() {
            caveats.push(doubts::no_saturation());
        }
        caveats.extend(self.stars.map(kinds::starry));
        caveats.extend(doubts::of_light(self.unspoiled(saturation.as_ref()).filter_map(|pair| pair.sound.as_ref())));
        let (points, fit, over_biases) = match self.fitted(start, caveats) {
            Ok((points, fit, over_biases)) => (points, Some(fit), over_biases),
            Err(_) if self.typed_gain.is_some() => (Vec::new(), None, None),
            Err(error) => return Err(self.lossy_error().unwrap_or(error)),
        };
        caveats.extend(self.gain_with_temperature(*flat_offset, saturation.as_ref(), zero));
        if let Some(fit) = &fit {
            let used = points.iter().filter(|point| point.used).count();
            caveats.extend(doubts::of_flats(used, self.spoiled(saturation.as_ref()), self.flats.len(), fit));
            if fit.is_poor() && self.has_mixed_levels() {
                caveats.push(doubts::mixed_levels());
            }
        }
        // Light that moved is shared by neighbours as charge is.
        let is_starry = self.is_starry(saturation.as_ref());
        let coupling = fit.as_ref().filter(|_| !is_starry).and_then(|fit| self.correlation.coupling(&fit.gain));
        caveats.extend(coupling.map(|coupling| coupling.caveat()));
        caveats.extend(self.filtered.caveat());
        let most = saturation.as_ref().map_or(f64::INFINITY, |full| NOISE_BY_FIELD * (full.level - *flat_offset).0);
        let unlike = self.field.unlike(zero.variance.value, most);
        caveats.extend(unlike.map(doubts::divided_flats));
        let unseen = self.unseen_rest(saturation.as_ref()).hypot(unlike.map_or(0.0, |unlike| (unlike - 1.0) / 2.0));
        let gain = self.gain(fit.as_ref(), coupling.as_ref(), (zero, unseen), caveats)?;
        let sharing = coupling.or_else(|| Some(Coupling { excess: 0.0, ..self.correlation.measured()?.0 }));
        Ok(Curve { points, fit, gain, sharing, over_biases })
    }

    /// The gain: typed, or fitted and freed from what neighbours share; as uncertain as what contradicts it is off.
    fn gain(
        &self,
        fit: Option<&TransferFit>,
        coupling: Option<&Coupling>,
        (zero, unseen): (&ReadNoise, f64),
        caveats: &mut Vec<Caveat>,
    ) -> Result<Estimate<ElectronsPerDn>, MeasureError> {
        let Some(typed) = self.typed_gain else {
            let fit = fit.ok_or(MeasureError::NoGain { levels: 0, why: NoGainCause::Unknown })?;
            let gain = coupling.map_or(fit.gain, |coupling| coupling.corrected(&fit.gain));
            let of_filter = if self.filtered.is_smoothed { SMOOTHED_PART } else { 0.0 };
            return Ok(less_sure(gain, (self.halves_apart / 4.0).hypot(unseen).hypot(of_filter)));
        };
        let of_darks = || self.dark_gain.gain(zero.variance.value);
        let by_flats = fit.and_then(|fit| Some((doubts::typed_against(typed, fit)?, fit.gain.value)));
        let by_darks = || Some((self.dark_gain.doubt(typed, zero.variance.value)?, of_darks()?.value));
        let (doubt, other) = by_flats.or_else(by_darks).unzip();
        caveats.extend(doubt);
        Ok(Estimate::new(typed.0, other.map_or(0.0, |other| (other.0 - typed.0).abs())))
    }

    /// Dark current at each temperature, and its law.
    fn heat(&self, start: &Start, gain: &Estimate<ElectronsPerDn>, step: u32, caveats: &mut Vec<Caveat>) -> Heat {
        let Start { zero, reference, saturation, flat_offset, has_bias_level, .. } = start;
        let DarkCurrents { points: dark_current, other_gain, has_jumped, over_biases, caveats: doubts } =
            self.dark_currents(gain, zero, *reference, *has_bias_level, step);
        caveats.extend(doubts);
        let full = saturation.as_ref().map_or(65_535.0, |saturation| saturation.level.0) - flat_offset.0;
        let lit = |stage| kinds::lit_dark(stage, zero.offset.value.0, full, gain.value);
        caveats.extend(self.darks.iter().find_map(lit).map(|caveat| caveat.about(self.name())));
        let doubtful = against_warmth(&dark_current, None).map(doubts::not_thermal);
        let law = thermal_law(&dark_current, gain.relative()).filter(|_| doubtful.is_none());
        let known = |law: &Thermal| law.activation_ev.uncertainty < UNKNOWN_EV;
        caveats.extend(law.iter().filter(|law| !known(law)).map(|law| doubts::no_law(law).about(self.name())));
        let thermal = law.filter(known);
        caveats.extend(doubtful.map(|caveat| caveat.about(self.name())));
        let few = dark_current.len() < TEMPERATURES_FOR_A_FLOOR;
        caveats.extend(thermal.iter().filter(|_| few).map(|law| doubts::no_floor(law).about(self.name())));
        let leak = thermal.as_ref().and_then(|law| self.light_leak(law, gain));
        caveats.extend(leak.map(|caveat| caveat.about(self.name())));
        Heat { dark_current, thermal, other_gain, has_jumped, over_biases }
    }

    /// A floor of the dark current whose pattern is a slope over the frame: light comes in on one side.
    fn light_leak(&self, law: &Thermal, gain: &Estimate<ElectronsPerDn>) -> Option<Caveat> {
        let floor = law.floor_e_per_s.0;
        let sigma = law.floor_uncertainty_e_per_s.map_or(f64::INFINITY, |sigma| sigma.0);
        let coldest = self.darks.iter().find(|stage| stage.sensor.is_some())?;
        let bias = self.dark_pattern(coldest.sensor)?.tiles.as_ref()?;
        let image = coldest.image.as_ref().filter(|image| image.exposure.0 > SHORTEST_RAMP.0)?;
        let (range, of_range) = gradient(image.tiles.as_ref()?, bias)?;
        let rate = range * gain.value.0 / image.exposure.0;
        let seen = floor > 2.0 * sigma && range > SLOPE_SIGMAS * of_range && rate > SLOPE_OF_FLOOR * floor;
        seen.then(|| doubts::light_leak(floor, rate))
    }

    /// Saturation as a stored count and in electrons. Without flats: the highest code a file can hold.
    pub(super) fn full_scale(
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

    /// The stack without light that the spatial numbers rest on: bias at the reference temperature, or the
    /// shortest darks.
    pub(super) fn dark_pattern(&self, reference: Option<Celsius>) -> Option<&Uniformity> {
        let dark = |kind: FrameKind| kind != FrameKind::Flat;
        let mut stacks: Vec<_> = self.patterns.done.iter().filter(|(key, _)| dark(key.kind)).collect();
        stacks.sort_by(|(a, _), (b, _)| a.exposure.0.total_cmp(&b.exposure.0));
        let own = stacks.iter().find(|(key, _)| key.sensor == reference);
        own.or(stacks.first()).map(|(_, pattern)| pattern)
    }

    /// How read noise falls when pixels are averaged, and the pattern of the longest darks of the warmest temperature.
    fn noise_by_scale(&self, dark: Option<&Uniformity>, gain: f64) -> Vec<NoiseByScale> {
        let Some(dark) = dark else { return Vec::new() };
        let warmest = self.warmest_image().and_then(|image| Some((image, image.middle.as_ref()?.by_scale())));
        let darks = warmest.as_ref().map(|(image, of_sum)| MeanImage {
            of_sum,
            frames: f64::from(image.frames),
            shot: image.shot,
        });
        let level = MeanImage { of_sum: &dark.of_sum.0, frames: f64::from(dark.of_sum.1), shot: 0.0 };
        Lightless { pairs: &dark.by_scale, level, darks }.tables(self.name(), gain)
    }

    /// PRNU in percent, without and with the filter, from the flats nearest to half of `saturation`.
    pub(super) fn prnu(
        &self,
        dark: &Uniformity,
        saturation: Option<&Saturation>,
        sharing: Option<&Coupling>,
    ) -> [Spread<f64>; 2] {
        // Stars are in the mean flat as well, and what removes a slope does not remove them.
        let Some(full) = saturation.filter(|_| !self.is_starry(saturation) && self.stars.is_none()) else {
            return [Spread::default(); 2];
        };
        let full = full.level;
        let from_half = |level: f64| ((level - dark.level) - 0.5 * (full.0 - dark.level)).abs();
        let lit =
            self.patterns.done.iter().filter(|(key, flat)| key.kind == FrameKind::Flat && flat.level > dark.level);
        let Some((_, flat)) = lit.min_by(|(_, a), (_, b)| from_half(a.level).total_cmp(&from_half(b.level))) else {
            return [Spread::default(); 2];
        };
        let uneven = flat.plain.total.value - flat.filtered.total.value;
        [
            prnu((&flat.plain, flat.level), (&dark.plain, dark.level), 0.0),
            prnu((&flat.filtered, flat.level), (&dark.filtered, dark.level), uneven)
                .with_systematics(100.0 * uneven.max(0.0).sqrt() / (flat.level - dark.level), sharing),
        ]
    }

    /// The longest darks of each temperature as a picture, but for those that the camera took other darks off.
    fn dark_pictures(&self, gain: ElectronsPerDn, step: u32, points: &[DarkCurrentPoint]) -> Vec<DarkPicture> {
        let seen = |sensor: Option<Celsius>| {
            points.iter().any(|point| point.sensor_c == sensor && point.hot_pixel_fraction.is_some())
        };
        let stages = self.darks.iter().filter(|stage| seen(stage.sensor));
        stages.filter_map(|stage| Some(stage.image.as_ref()?.sketch.picture(stage.sensor, gain, step))).collect()
    }

    /// Amplifier glow in the first temperature, the coldest, that shows it.
    pub(super) fn glow(&self, gain: &Estimate<ElectronsPerDn>, zero: &ReadNoise) -> Option<Glow> {
        self.darks.iter().find_map(|stage| {
            let bias = self.dark_pattern(stage.sensor)?.tiles.as_ref()?;
            let image = stage.image.as_ref().filter(|image| image.exposure.0 > SHORTEST_RAMP.0)?;
            glow(image.tiles.as_ref()?, image.exposure, bias, gain, zero.variance.value)
        })
    }
}

/// A gain with a systematic part of its uncertainty, relative: of halves that change against each other, of what moved
/// unseen, of a filter.
fn less_sure(gain: Estimate<ElectronsPerDn>, part: f64) -> Estimate<ElectronsPerDn> {
    if part <= 0.0 {
        return gain;
    }
    let statistical = gain.statistical.unwrap_or(gain.uncertainty);
    Estimate::new(gain.value.0, gain.uncertainty.0.hypot(gain.value.0 * part)).with_statistical(statistical.0)
}

/// How far a variance of bias frames that are means may be off, relatively, beside their number.
const OF_MEANS: f64 = 0.05;

/// The noise of a single frame where bias frames may be means: the interval reaches from what they show to that. How far it
/// reaches says the interval; the uncertainty of a noise, which is no less than 0, is no larger than the noise.
fn of_one_frame<Q: Quantity>(noise: Estimate<Q>, over_biases: Option<f64>) -> Estimate<Q> {
    let Some(times) = over_biases else { return noise };
    let (reached, most) = (noise.reaching(times.sqrt(), OF_MEANS), noise.value.get());
    let [uncertainty, statistical] =
        [reached.uncertainty, reached.statistical.unwrap_or(reached.uncertainty)].map(|part| part.get().min(most));
    Estimate::new(most, uncertainty).with_statistical(statistical).with_interval(reached.interval())
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
    // Relative covariance times the square of the product; the noise itself, which may be next to nothing, cancels.
    let common = -fit.covariance_with_dark() * gain.value.0.powi(3);
    let with = |sigma: f64, factor: f64| (sigma * sigma + factor * factor * common).max(0.0).sqrt();
    let both = Estimate::new(product.value.0, with(product.uncertainty.0, 1.0));
    let both = match product.interval_95 {
        Some((low, high)) => {
            let value = product.value.0;
            both.with_interval(((value - with(value - low.0, 1.96)).max(0.0), value + with(high.0 - value, 1.96)))
        }
        None => both,
    };
    both.with_statistical(with(product.statistical.unwrap_or(product.uncertainty).0, 1.0))
}
