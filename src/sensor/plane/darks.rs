//! A plane's darks, as they come and when they are all there.

use ndarray::ArrayView2;

use crate::camera::{DarkCurrentPoint, DarkCurrentSource, SaturationIs};
use crate::caveat::Caveat;
use crate::frames::{FrameInfo, FrameKind};
use crate::stats::Estimate;
use crate::units::{Celsius, Dn, ElectronsPerDn, ElectronsPerSecond, Seconds};

use super::DarkSummary;
use super::PlaneMeter;
use super::doubts;
use super::kinds;
use super::zero::ShortDark;
use crate::sensor::dark::anchor::Anchor;
use crate::sensor::dark::averaged;
use crate::sensor::dark::current::{DarkCurrent, DarkStage, Expectation, same_exposure};
use crate::sensor::dark::drift::drift;
use crate::sensor::dark::image::DarkImage;
use crate::sensor::dark::limits::without_hot_pixels;
use crate::sensor::dark::other_gain::OtherGain;
use crate::sensor::dark::read_noise::ReadNoise;
use crate::sensor::dark::taken::Taken;
use crate::sensor::{PairStatistics, StackKey};

/// What the darks of all temperatures say.
pub(super) struct DarkCurrents {
    pub(super) points: Vec<DarkCurrentPoint>,
    /// The gain of the darks, where it is another than the flats'.
    pub(super) other_gain: Option<OtherGain>,
    /// Whether their level without time is far from the bias frames'.
    pub(super) has_jumped: bool,
    /// The variance of the darks without charge over that of the bias frames, where these may be means of so many.
    pub(super) over_biases: Option<f64>,
    pub(super) caveats: Vec<Caveat>,
}

/// Darks must be longer than this to speak of dark current.
pub(super) const SHORTEST_RAMP: Seconds = Seconds(1.0);
/// Two groups this close in temperature are the same.
const SAME_TEMPERATURE: f64 = 1.0;

impl PlaneMeter {
    /// Takes a dark; `false` when it has the very pixels of the frame before it.
    pub(crate) fn dark(
        &mut self,
        key: StackKey,
        info: &FrameInfo,
        partner: Option<ArrayView2<'_, u16>>,
        plane: ArrayView2<'_, u16>,
    ) -> bool {
        if partner.as_ref().is_some_and(|partner| partner == plane) {
            return false;
        }
        // Dark flats are as short as flats.
        self.has_own_darks |= key.kind == FrameKind::Dark;
        let before = self.darks.last().and_then(|stage| stage.frames.last()).map(|frame| frame.exposure);
        if let (Some(partner), Some(before)) = (partner, before)
            && (self.expectation.is_none() || (!self.has_bias_pairs() && same_exposure(before, key.exposure)))
            && let Some(pair) = PairStatistics::from_frames(partner, plane)
        {
            if self.expectation.is_none() {
                self.expectation = Some(self.expectation(&pair));
            }
            let stage_frames = self.darks.last().map_or(0, |stage| stage.frames.len());
            if same_exposure(before, key.exposure) && stage_frames % 2 == 1 && !self.has_bias_pairs() {
                self.patterns.push(key, [partner, plane], &pair);
                let pair = pair.with_waves([partner, plane]);
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
        let fallback = Expectation {
            offset,
            read_variance: f64::INFINITY,
            dn_per_e: 1.0,
            ceiling: 65_535.0,
            pattern_variance: 0.0,
        };
        let expectation = self.expectation.unwrap_or(fallback);
        let taken = Taken { exposure: key.exposure, ..Taken::of(info) };
        self.dark_stage(key).add(plane, taken, partner, expectation);
        true
    }

    /// Takes a dark of which only the sums are at hand; darks of one temperature follow each other.
    pub fn dark_summary(&mut self, key: StackKey, summary: DarkSummary) {
        self.dark_stage(key).add_summary(key.exposure, summary);
    }

    /// Ends the darks of a temperature: their image is put into a few numbers.
    pub(crate) fn end_darks(&mut self) {
        let sensor = self.darks.last().and_then(|stage| stage.sensor);
        let own = self.bias.iter().find(|stack| !stack.pairs.is_empty() && close(stack.sensor, sensor));
        let own = own.map(|stack| stack.pairs.iter().map(|pair| pair.mean().0).sum::<f64>() / stack.pairs.len() as f64);
        if let (Some(stage), Some(expectation)) = (self.darks.last_mut(), self.expectation) {
            let offset = own.unwrap_or(expectation.offset);
            self.patterns.spare = stage.close(Expectation { offset, ..expectation });
        }
        self.keep_warmest_middle();
    }

    /// The image of darks that has the most of their pattern: the shot noise of one frame of it is the highest.
    pub(super) fn warmest_image(&self) -> Option<&DarkImage> {
        let images = self.darks.iter().filter_map(|stage| stage.image.as_ref()).filter(|image| image.frames > 1);
        images.max_by(|a, b| a.shot.total_cmp(&b.shot))
    }

    /// Of colder darks the pixels are forgotten: how their pattern falls is seen in the warmest alone.
    fn keep_warmest_middle(&mut self) {
        let warmest = self.warmest_image().map(std::ptr::from_ref);
        for image in self.darks.iter_mut().filter_map(|stage| stage.image.as_mut()) {
            if warmest != Some(std::ptr::from_ref(image)) {
                image.middle = None;
            }
        }
    }

    /// The stage of the darks that are being taken.
    pub(super) fn dark_stage(&mut self, key: StackKey) -> &mut DarkStage {
        if self.darks.last().is_none_or(|stage| stage.sensor != key.sensor) {
            self.end_darks();
            self.patterns.end_flats();
            self.darks.push(DarkStage::new(key.sensor, std::mem::take(&mut self.patterns.spare)));
        }
        let last = self.darks.len() - 1;
        &mut self.darks[last]
    }

    /// What darks may be expected to do, from bias and flats so far, or else from their first pair.
    pub(super) fn expectation(&self, first_darks: &PairStatistics) -> Expectation {
        let zero = self.reference_stack().and_then(|stack| stack.noise(1));
        let (offset, read_variance) = match &zero {
            Some(zero) => (zero.offset.value.0, zero.variance.value),
            None => (first_darks.mean().0, first_darks.core_variance),
        };
        let saturation = self.saturation(Dn(offset), 1);
        let fitted = || self.transfer(Dn(offset), saturation.as_ref(), None, false).ok().map(|fit| fit.1.gain.value);
        let gain = self.typed_gain.or_else(fitted).unwrap_or(ElectronsPerDn(1.0));
        let ceiling = saturation.filter(|saturation| saturation.is == SaturationIs::Reached).map(|it| it.level.0);
        let pairs = self.reference_stack().map_or(&[][..], |stack| &stack.pairs);
        let shared = pairs.iter().map(PairStatistics::shared_variance).sum::<f64>() / pairs.len().max(1) as f64;
        Expectation {
            offset,
            // Noise that the steps hide is taken as half a step: codes next to each other are no hits.
            read_variance: read_variance.max(0.25 * first_darks.step().powi(2)),
            dn_per_e: 1.0 / gain.0,
            ceiling: ceiling.unwrap_or(65_535.0),
            pattern_variance: shared.max(0.0),
        }
    }

    /// Dark current at every temperature that has long enough darks.
    pub(super) fn dark_currents(
        &self,
        gain: &Estimate<ElectronsPerDn>,
        zero: &ReadNoise,
        reference: Option<Celsius>,
        has_bias_level: bool,
        step: u32,
    ) -> DarkCurrents {
        let (mut points, mut caveats) = (Vec::new(), Vec::new());
        let (mut other_gain, mut has_jumped, mut over_biases) = (None, false, None);
        let long = |stage: &&DarkStage| stage.frames.iter().any(|frame| frame.exposure.0 > SHORTEST_RAMP.0);
        // Four planes of a colour array are asked alike.
        let checks = self.darks.iter().filter(long).count() * if self.cell.is_some() { 4 } else { 1 };
        let told = self.darks.iter().filter(long).any(|stage| stage.sensor.is_some());
        for stage in self.darks.iter().filter(long) {
            let own = self.bias.iter().find(|stack| !stack.pairs.is_empty() && close(stack.sensor, stage.sensor));
            let own = own.and_then(|stack| stack.noise(step));
            let same_temperature = own.is_some() || (has_bias_level && close(reference, stage.sensor));
            let level = own.as_ref().unwrap_or(zero);
            let anchor = Anchor {
                offset: level.offset,
                variance: level.variance,
                level_scatter: level.level_scatter,
                hidden_by_steps: level.hidden_by_steps(),
                same_temperature,
                is_of_bias: own.is_some() || has_bias_level,
                floor: zero.floor,
            };
            let mut current = stage.dark_current(gain, anchor, &self.darks);
            if let Some(other) = current.other_gain.filter(|_| self.typed_gain.is_none() && !self.filtered.cuts_peaks) {
                current = current.counted_with(&other, gain.value);
                other_gain = other_gain.or(Some(other));
            }
            if self.filtered.cuts_peaks {
                current.from_mean = current.from_mean.map(without_hot_pixels);
            }
            has_jumped |= current.jump.is_some();
            if level.hidden {
                // Half of the pixels lie below a whole step, whatever their mean.
                current.of_median = None;
            }
            let place = match stage.sensor {
                Some(celsius) => format!("{} at {:.1} °C", self.name(), celsius.0),
                None => self.name().to_string(),
            };
            caveats
                .extend(doubts::of_darks(stage, &current, told).into_iter().map(|caveat| caveat.about(place.clone())));
            caveats.extend(drift(&current, gain.value, checks).into_iter().map(|caveat| caveat.about(place.clone())));
            let averaged = stage.frames_in_each(&anchor, gain.value.0).filter(|_| current.subtracted.is_none());
            let averaged = averaged.filter(|_| {
                other_gain.is_none() && current.bent.is_none() && !level.hidden && self.filtered.caveat().is_none()
            });
            over_biases = over_biases.or(averaged.filter(|frames| *frames < 1.0).map(|frames| 1.0 / frames));
            caveats.extend(averaged.map(|frames| averaged::caveat(frames).about(place)));
            points.extend(point(stage.sensor, current));
        }
        caveats.extend(other_gain.map(|other| doubts::of_gain(&other, gain.value).about(self.name())));
        caveats.extend(self.only_short().map(|longest| kinds::short_darks(longest).about(self.name())));
        DarkCurrents { points, other_gain, has_jumped, over_biases, caveats }
    }
}

impl PlaneMeter {
    /// The longest of the darks, where all are too short for a dark current and none stands in for bias frames.
    fn only_short(&self) -> Option<Seconds> {
        let times = || self.darks.iter().flat_map(|stage| &stage.frames).map(|frame| frame.exposure);
        let longest = times().max_by(|a, b| a.0.total_cmp(&b.0))?;
        (longest.0 <= SHORTEST_RAMP.0 && self.has_bias_pairs() && self.has_own_darks).then_some(longest)
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

/// Whether a second estimate of a rate says anything: charge only adds, and one that may be 0 or twice both says nothing.
fn speaks(other: &Estimate<ElectronsPerSecond>, rate: &Estimate<ElectronsPerSecond>) -> bool {
    other.value.0 >= 0.0 && other.uncertainty.0 < other.value.0.max(rate.value.0)
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
        other_e_per_s: other.filter(|other| speaks(other, &rate)),
        nonuniformity_percent: current.nonuniformity_percent,
        hot_pixel_fraction: current.hot_pixel_fraction,
        exposures_s: current.exposures,
    })
}
