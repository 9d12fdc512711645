//! The lights of one filter: compared with each other, weighed, added up.

use std::collections::HashMap;

use super::ReviewError;
use super::trend::trend;
use crate::camera::{MeasuredLight, Mode, PlaneName};
use crate::night::{Night, PlaneConditions};
use crate::noise::{Clip, Patch, Stack, SubNoise};
use crate::stats::{Estimate, median, quantile};
use crate::units::{Electrons, ElectronsPerSecond};

use super::answer::{FieldOfNight, FilterReview, ReviewPlane};
use super::expected::Expected;
use super::field::{Found, reference};
use super::memo::Memo;
use super::moments::Moment;
use super::signs::{Against, Seen, Sign, against_the_best};
use super::worth::{Worth, better_without, kept_in_detail, snr_of};

/// How far the level of one frame wanders, in DN (common practice, no source).
const LEVEL_WANDER_DN: f64 = 0.3;
/// What a clear night's best air still takes or gives against the extinction of the file (common practice, no source).
const AIR_UNCERTAINTY: f64 = 0.05;
/// A width is read from so many stars where there are so many.
const LEAST_WIDTHS: usize = 9;
/// A field that moved less than this stands at the same place, in pixels.
const SAME_PLACE_PX: f64 = 1.0;
/// A sub of this share of the best ones' worth is like them.
const BEST_WORTH: f64 = 0.9;

/// One light with what was predicted of it and what it shows against the others.
pub(super) struct Judged<'a> {
    pub(super) light: &'a MeasuredLight,
    pub(super) mode: &'a Mode,
    pub(super) moment: Option<Moment>,
    pub(super) expected: Expected,
    pub(super) found: Option<Found>,
    pub(super) against: Against,
    pub(super) width_px: Option<Estimate<f64>>,
    /// Variance and signal of a detail in the plane that weighs.
    worth: Worth,
    pub(super) dropped: bool,
    pub(super) worth_percent: f64,
}

/// All lights of a filter, by time.
pub(super) struct Set<'a> {
    pub(super) name: String,
    /// The plane of the sky.
    pub(super) plane: PlaneName,
    pub(super) subs: Vec<Judged<'a>>,
    /// Whether stars were found in any of them.
    pub(super) has_stars: bool,
    /// The light whose stars the others were held against.
    reference: Option<&'a MeasuredLight>,
    /// What rejection does to the noise.
    clip: Clip,
    night: &'a Night,
}

/// A light on its way into a set.
pub(super) type Entry<'a> = (&'a MeasuredLight, &'a Mode, Option<Moment>);

impl<'a> Set<'a> {
    pub(super) fn new(
        night: &'a Night,
        name: &str,
        entries: Vec<Entry<'a>>,
        memo: &mut Memo,
    ) -> Result<Self, ReviewError> {
        let lights: Vec<&MeasuredLight> = entries.iter().map(|(light, ..)| *light).collect();
        let reference = reference(&lights, &mut |a, b| memo.found(a, b));
        let plane = best_plane(&lights);
        let mut subs = Vec::new();
        let mut seen = Vec::new();
        for (light, mode, moment) in entries {
            let expected = memo.expected(night, mode, name, light, moment.as_ref())?;
            let found = reference.map(|reference| memo.found(reference, light));
            // Stars that are not found again in light after light are too sharp for their widths to be read either.
            let width_px = width_of(light).filter(|_| reference.is_some());
            seen.push(seen_of(light, mode, plane, &expected, found.as_ref(), moment.as_ref(), width_px.as_ref()));
            let against = Against { signs: Vec::new(), sky: 1.0, light: None, hidden: false, width: None };
            let worth = Worth { signal: 0.0, variance: 0.0 };
            subs.push(Judged {
                light,
                mode,
                moment,
                expected,
                found,
                against,
                width_px,
                worth,
                dropped: false,
                worth_percent: 100.0,
            });
        }
        for (sub, against) in subs.iter_mut().zip(against_the_best(&seen)) {
            sub.against = against;
        }
        let has_stars = reference.is_some();
        let clip = Clip::iterated(night.stack.clip_sigma()).unwrap_or(Clip::NONE);
        let mut set = Self { name: name.to_owned(), plane, subs, has_stars, reference, clip, night };
        set.weigh();
        Ok(set)
    }

    /// What each sub is worth, and which ones the stack is better without.
    fn weigh(&mut self) {
        let patch = self.night.goal.patch().map_or(0.0, |patch| patch.0);
        let arcsec = |sub: &Judged<'_>| Some(sub.width_px?.value * sub.expected.pixel_arcsec);
        let best = quantile(self.subs.iter().filter_map(arcsec), 0.15);
        let weighing = self.weighing_plane();
        for sub in &mut self.subs {
            let blur = arcsec(sub).zip(best).map_or(1.0, |(width, best)| {
                let patch = if patch > 0.0 { patch } else { sub.expected.pixel_arcsec };
                kept_in_detail(patch, best, width)
            });
            let light = sub.starlight();
            let conditions = sub.expected.plane(weighing);
            let noise = conditions.map(|plane| sub.noise_in(plane));
            // Where nothing of the target is known its light counts as one electron a second: only the ratio matters.
            let target = conditions.map_or(0.0, |plane| plane.noise.rates.target.0);
            let air = conditions.map_or(1.0, |plane| plane.rate_of_magnitude_0.0.max(f64::MIN_POSITIVE));
            let rate = if target > 0.0 { target } else { air };
            sub.worth = Worth {
                signal: rate * sub.light.exposure_s.0 * light * blur,
                variance: noise.map_or(sub.plain_variance(self.plane), |noise| noise.temporal()),
            };
        }
        let worths: Vec<Worth> = self.subs.iter().map(|sub| sub.worth).collect();
        let hourly = |sub: &Judged<'_>| sub.worth.signal.powi(2) / sub.worth.variance / sub.light.exposure_s.0;
        let top = quantile(self.subs.iter().map(hourly), BEST_WORTH).unwrap_or(1.0).max(f64::MIN_POSITIVE);
        for (sub, dropped) in self.subs.iter_mut().zip(better_without(&worths)) {
            sub.worth_percent = (100.0 * hourly(sub) / top).clamp(0.0, 999.0);
            // Another field is no part of this stack at all.
            let strange = sub.found == Some(Found::Other);
            sub.dropped = strange || dropped;
        }
    }

    /// The plane whose signal over noise is the goal's: the governing one that is worst off; else the sky's.
    fn weighing_plane(&self) -> PlaneName {
        let Some(first) = self.subs.first() else { return self.plane };
        let governing = first.expected.planes.iter().filter(|plane| plane.governs);
        let snr = |plane: &&PlaneConditions| {
            let one = plane.noise.sub(first.light.exposure_s);
            one.target * (plane.patch.pixels / one.temporal()).sqrt()
        };
        governing.min_by(|a, b| snr(a).total_cmp(&snr(b))).map_or(self.plane, |plane| plane.plane)
    }

    /// Lights without cloud, twilight, another field or a sky brighter than the others'; all of them where none is.
    pub(super) fn quiet(&self) -> Vec<&Judged<'a>> {
        let disturbs = [Sign::Cloud, Sign::Dew, Sign::Moon, Sign::Twilight, Sign::BrightSky, Sign::OtherField];
        let quiet = |sub: &&Judged<'_>| !sub.against.signs.iter().any(|sign| disturbs.contains(sign));
        let found: Vec<&Judged<'a>> = self.subs.iter().filter(quiet).collect();
        if found.is_empty() { self.subs.iter().collect() } else { found }
    }

    pub(super) fn kept(&self) -> impl Iterator<Item = &Judged<'a>> {
        self.subs.iter().filter(|sub| !sub.dropped)
    }

    /// The quiet sky in a plane: its median, as sure as one light, with the scatter of all; `None` where that leaves it
    /// undetermined.
    pub(super) fn quiet_sky(&self, plane: PlaneName) -> Option<Estimate<ElectronsPerSecond>> {
        let rates = || self.quiet().into_iter().filter_map(|sub| sub.sky(plane));
        let value = median(rates().map(|rate| rate.value.0))?;
        let single = median(rates().map(|rate| rate.relative()))?;
        let count = rates().count() as f64;
        let spread = median(rates().map(|rate| (rate.value.0 / value - 1.0).abs()))?;
        Estimate::within_factor(value, single.hypot(1.86 * spread / count.sqrt())).determined()
    }

    /// What the file predicts of the quiet lights' sky in a plane, and the Moon's part of it.
    pub(super) fn predicted(&self, plane: PlaneName) -> Option<(Estimate<ElectronsPerSecond>, f64)> {
        let quiet = self.quiet();
        let planes = || quiet.iter().filter_map(|sub| sub.expected.plane(plane));
        let sky = median(planes().map(|p| (p.noise.rates.sky + p.noise.rates.moon).0))?;
        let moon = median(planes().map(|p| p.noise.rates.moon.0))?;
        let spread = planes().next()?.spread;
        let share = (moon / sky.max(f64::MIN_POSITIVE)).min(1.0);
        let of_sky = (1.0 - share) * spread.sky.hypot(spread.lamps);
        let relative = of_sky.hypot(share * spread.moon).hypot(spread.throughput_on_sky);
        Some((Estimate::within_factor(sky, relative), moon))
    }

    /// Dither places among the kept subs and the side of the square they fill; `None` where no stars tell.
    pub(super) fn places(&self) -> Option<(usize, f64)> {
        let moved: Vec<[f64; 2]> = self.kept().filter_map(Judged::moved).collect();
        if moved.len() < 2 || 2 * moved.len() < self.kept().count() {
            return None;
        }
        // By squares of one place's side: who is near stands in the same one or beside it.
        let mut squares: HashMap<[i64; 2], Vec<[f64; 2]>> = HashMap::new();
        let mut places = 0;
        for at in &moved {
            let [x, y] = at.map(|along| (along / SAME_PLACE_PX).floor() as i64);
            let beside = (x - 1..=x + 1).flat_map(|x| (y - 1..=y + 1).map(move |y| [x, y]));
            let near = |place: &[f64; 2]| (place[0] - at[0]).hypot(place[1] - at[1]) < SAME_PLACE_PX;
            if !beside.filter_map(|square| squares.get(&square)).flatten().any(near) {
                squares.entry([x, y]).or_default().push(*at);
                places += 1;
            }
        }
        let extent = |axis: usize| {
            let values = || moved.iter().map(|at| at[axis]);
            values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min)
        };
        Some((places, ((extent(0) + 1.0) * (extent(1) + 1.0)).sqrt()))
    }

    fn stack(&self, subs: usize, places: Option<(usize, f64)>) -> Stack {
        let subs = subs as f64;
        let (places, side) = places.map_or((subs, 12.0), |(places, side)| (places as f64, side));
        Stack { subs, dither_every: (subs / places).max(1.0), dither_box_px: side.max(1.0), clip: self.clip }
    }

    /// Signal over noise of these subs in a plane, with the noise of their mean sub; `predicted` takes the file's sky and
    /// clear air instead of what was measured.
    fn snr<'b>(
        &self,
        subs: impl Iterator<Item = &'b Judged<'a>>,
        plane: PlaneName,
        predicted: bool,
    ) -> Option<(f64, SubNoise, Stack)>
    where
        'a: 'b,
    {
        let (mut sum, mut count, mut patch) = (SubNoise::default(), 0_u32, Patch::PIXEL);
        for sub in subs {
            let conditions = sub.expected.plane(plane)?;
            let one = if predicted { conditions.noise.sub(sub.light.exposure_s) } else { sub.noise_in(conditions) };
            sum = added(&sum, &one);
            patch = conditions.patch;
            count += 1;
        }
        if count == 0 || sum.target <= 0.0 {
            return None;
        }
        let (mean, stack) = (divided(&sum, f64::from(count)), self.stack(count as usize, self.places()));
        Some((stack.snr(&mean, patch), mean, stack))
    }

    /// What the stack has in signal over noise with each sub more than without it, the other kept ones in it.
    pub(super) fn gains(&self) -> Vec<Option<f64>> {
        let plane = self.weighing_plane();
        let places = self.places();
        let of = |sub: &Judged<'_>| sub.expected.plane(plane).map(|conditions| sub.noise_in(conditions));
        let kept = self.kept().count();
        let Some(sum) = self.kept().try_fold(SubNoise::default(), |sum, sub| Some(added(&sum, &of(sub)?))) else {
            return vec![None; self.subs.len()];
        };
        let snr = |sum: &SubNoise, count: usize, patch: Patch| {
            if count == 0 || sum.target <= 0.0 {
                return 0.0;
            }
            self.stack(count, places).snr(&divided(sum, count as f64), patch)
        };
        let gain = |sub: &Judged<'a>| {
            let patch = sub.expected.plane(plane)?.patch;
            let one = of(sub)?;
            if one.target <= 0.0 && sum.target <= 0.0 || sub.found == Some(Found::Other) {
                return None;
            }
            Some(if sub.dropped {
                snr(&added(&sum, &one), kept + 1, patch) - snr(&sum, kept, patch)
            } else {
                snr(&sum, kept, patch) - snr(&less(&sum, &one), kept - 1, patch)
            })
        };
        self.subs.iter().map(gain).collect()
    }

    /// The light by which other nights are held against this one; `None` where no stars tell.
    pub(super) fn field(&self) -> Option<FieldOfNight> {
        let reference = self.reference?;
        let sub = self.subs.iter().find(|sub| std::ptr::eq(sub.light, reference))?;
        let air = sub.expected.planes.first().map_or(1.0, |plane| plane.rate_of_magnitude_0.0);
        Some(FieldOfNight {
            filter: self.name.clone(),
            light: reference.clone(),
            air: if air > 0.0 { air } else { 1.0 },
            share: sub.against.light?,
        })
    }

    /// The signal over noise that is asked of this filter; `None` where hours are.
    pub(super) fn goal_snr(&self) -> Option<f64> {
        let goal = &self.night.goal;
        let own = || self.night.filters.iter().find(|filter| filter.label() == self.name)?.snr;
        goal.hours.is_none().then(|| own().unwrap_or_else(|| goal.snr()))
    }

    fn achieved(&self, plane: PlaneName) -> Option<(Estimate<f64>, f64)> {
        let (snr, mean, stack) = self.snr(self.kept(), plane, false)?;
        let spread = self.kept().next()?.expected.plane(plane)?.spread;
        let patch = self.kept().next()?.expected.plane(plane)?.patch;
        let shares = stack.shares(&mean, patch);
        let of_signal = spread.target.hypot(spread.throughput).hypot(AIR_UNCERTAINTY);
        let of_noise = (spread.dark_current * shares.dark / 200.0).hypot(spread.read_noise * shares.read / 100.0);
        let pattern = shares.pattern + shares.calibration;
        Some((Estimate::within_factor(snr, of_signal.hypot(of_noise)), pattern))
    }

    /// The filter's part of the answer.
    pub(super) fn review(&self) -> FilterReview {
        let hours = self.kept().map(|sub| sub.light.exposure_s.0).sum::<f64>() / 3600.0;
        let governing: Vec<&PlaneConditions> =
            self.subs.first().map_or(Vec::new(), |sub| sub.expected.planes.iter().collect());
        let planes: Vec<ReviewPlane> = governing
            .iter()
            .map(|conditions| ReviewPlane {
                plane: conditions.plane,
                colour: conditions.colour,
                sky_e_per_s: self.quiet_sky(conditions.plane),
                achieved_snr: self.achieved(conditions.plane).map(|(snr, _)| snr),
            })
            .collect();
        let weighing = self.weighing_plane();
        let achieved = self.achieved(weighing);
        let goal_snr = self.goal_snr();
        let all = || self.subs.iter();
        let own = |sub: &&Judged<'_>| sub.found != Some(Found::Other);
        let details =
            |kept_only: bool| snr_of(all().filter(own).filter(|s| !kept_only || !s.dropped).map(|sub| sub.worth));
        let width = |sub: &Judged<'_>| sub.width_px.map(|width| width.value);
        let middle = self.subs.get(self.subs.len() / 2);
        FilterReview {
            name: self.name.clone(),
            subs: self.subs.len(),
            subs_kept: self.kept().count(),
            hours_kept: hours,
            plane: self.plane,
            sky_e_per_s: self.quiet_sky(self.plane),
            predicted_sky_e_per_s: self.predicted(self.plane).map(|(sky, _)| sky),
            sky_trend_percent_per_h: self.trend(),
            best_fwhm_px: quantile(all().filter_map(width), 0.15),
            median_fwhm_px: median(all().filter_map(width)),
            predicted_fwhm_px: middle.map_or(0.0, |sub| sub.expected.width_px),
            pixel_arcsec: middle.map_or(0.0, |sub| sub.expected.pixel_arcsec),
            dither_positions: self.places().map(|(places, _)| places),
            pattern_share_percent: achieved.map(|(_, pattern)| pattern),
            achieved_snr: achieved.map(|(snr, _)| snr),
            snr_if_all_kept: self.snr(all().filter(own), weighing, false).map(|(snr, ..)| snr),
            predicted_snr: self.snr(all().filter(own), weighing, true).map(|(snr, ..)| snr),
            goal_snr,
            // Noise that averages: hours grow with the square of what is asked.
            hours_to_goal: achieved
                .zip(goal_snr)
                .map(|((snr, _), goal)| hours * ((goal / snr.value).powi(2) - 1.0).max(0.0)),
            dropping_gains_percent: if details(false) > 0.0 {
                100.0 * (details(true) / details(false) - 1.0)
            } else {
                0.0
            },
            planes,
        }
    }

    /// Slope of the kept subs' sky over the hours in percent of the quiet sky; `None` where they do not determine it.
    fn trend(&self) -> Option<f64> {
        let first = self.subs.first()?.moment?.at;
        let points = self.kept().filter_map(|sub| Some((sub.moment?.at.hours_since(first), sub.against.sky)));
        Some(100.0 * trend(&points.collect::<Vec<_>>())?)
    }
}

impl Judged<'_> {
    /// The sky in a plane.
    pub(super) fn sky(&self, plane: PlaneName) -> Option<Estimate<ElectronsPerSecond>> {
        self.light.plane(plane).map(|plane| plane.background.e_per_s)
    }

    /// The share of the best subs' starlight; 1 where no stars tell, and never more: the best are the best.
    pub(super) fn starlight(&self) -> f64 {
        self.against.light.unwrap_or(1.0).min(1.0)
    }

    fn moved(&self) -> Option<[f64; 2]> {
        match &self.found {
            Some(Found::Same { moved, .. }) => *moved,
            _ => None,
        }
    }

    /// One sub's variances in a plane with the sky that was measured and the target's light that arrived.
    fn noise_in(&self, conditions: &PlaneConditions) -> SubNoise {
        let mut noise = conditions.noise;
        noise.rates.target = noise.rates.target * self.starlight();
        if let Some(sky) = self.sky(conditions.plane) {
            noise.rates.sky = sky.value;
            noise.rates.moon = ElectronsPerSecond(0.0);
        }
        noise.sub(self.light.exposure_s)
    }

    /// Variance of a pixel of the sky as it was measured, for a filter that the file knows nothing of.
    fn plain_variance(&self, plane: PlaneName) -> f64 {
        self.light.plane(plane).map_or(1.0, |plane| plane.noise_e.0.powi(2))
    }

    /// Noise of a pixel of the sky as predicted.
    pub(super) fn predicted_noise(&self, plane: PlaneName) -> Option<Electrons> {
        let mut noise = self.expected.plane(plane)?.noise;
        noise.rates.target = ElectronsPerSecond(0.0);
        Some(Electrons(noise.sub(self.light.exposure_s).temporal().sqrt()))
    }
}

fn seen_of(
    light: &MeasuredLight,
    mode: &Mode,
    plane: PlaneName,
    expected: &Expected,
    found: Option<&Found>,
    moment: Option<&Moment>,
    width: Option<&Estimate<f64>>,
) -> Seen {
    let measured = light.plane(plane);
    let sky = measured.map_or(0.0, |plane| plane.background.e_per_s.value.0);
    let level = measured.map_or(0.0, |plane| plane.background.level_dn.value.0);
    let rates = expected.plane(plane).map(|plane| plane.noise.rates);
    let air = expected.planes.first().map_or(1.0, |plane| plane.rate_of_magnitude_0.0);
    let (star_light, hidden) = match found {
        Some(Found::Same { light, .. }) => (Some(light.value), false),
        Some(Found::Hidden { at_most }) => (Some(*at_most), true),
        _ => (None, false),
    };
    let step = f64::from(mode.dn_step.max(1));
    Seen {
        sky,
        sky_wander: if level > 0.0 { LEVEL_WANDER_DN * std::f64::consts::SQRT_2 * step / level } else { 0.0 },
        light: star_light.map(|light| if air > 0.0 { light / air } else { light }),
        hidden,
        width: width.map(|width| width.value / expected.width_px.max(f64::MIN_POSITIVE)),
        width_off: width.map_or(0.0, Estimate::relative),
        moon: rates.map_or(0.0, |rates| rates.moon.0 / (rates.moon + rates.sky).0.max(f64::MIN_POSITIVE)),
        sun: moment.and_then(|moment| moment.sample).map(|sample| sample.sun.0),
        no_sky_percent: measured.map_or(0.0, |plane| plane.background.not_background_percent),
        other_field: found == Some(&Found::Other),
    }
}

/// The plane whose sky is known best over all lights.
fn best_plane(lights: &[&MeasuredLight]) -> PlaneName {
    let Some(first) = lights.first() else { return PlaneName::Mono };
    let relative = |name: PlaneName| {
        median(lights.iter().filter_map(|light| light.plane(name)).map(|plane| plane.background.e_per_s.relative()))
            .unwrap_or(f64::MAX)
    };
    let names = first.planes.iter().map(|plane| plane.background.plane);
    names.min_by(|a, b| relative(*a).total_cmp(&relative(*b))).unwrap_or(PlaneName::Mono)
}

/// Median width of the brightest third of the stars that answer straight: noise widens faint ones.
fn width_of(light: &MeasuredLight) -> Option<Estimate<f64>> {
    let straight: Vec<f64> = light.stars.iter().filter(|star| star.straight).map(|star| star.fwhm_px).collect();
    let bright = &straight[..(straight.len() / 3).max(LEAST_WIDTHS).min(straight.len())];
    let middle = median(bright.iter().copied())?;
    let deviation = median(bright.iter().map(|width| (width - middle).abs()))?;
    Some(Estimate::new(middle, 1.86 * deviation / (bright.len() as f64).sqrt()))
}

fn added(a: &SubNoise, b: &SubNoise) -> SubNoise {
    by_parts(a, b, |a, b| a + b)
}

fn less(a: &SubNoise, b: &SubNoise) -> SubNoise {
    by_parts(a, b, |a, b| (a - b).max(0.0))
}

fn divided(sum: &SubNoise, count: f64) -> SubNoise {
    by_parts(sum, sum, |part, _| part / count)
}

fn by_parts(a: &SubNoise, b: &SubNoise, of: impl Fn(f64, f64) -> f64) -> SubNoise {
    SubNoise {
        target: of(a.target, b.target),
        sky: of(a.sky, b.sky),
        moon: of(a.moon, b.moon),
        dark: of(a.dark, b.dark),
        read: of(a.read, b.read),
        quantisation: of(a.quantisation, b.quantisation),
        pattern: of(a.pattern, b.pattern),
        response: of(a.response, b.response),
        level: of(a.level, b.level),
        masters: of(a.masters, b.masters),
        masters_read: of(a.masters_read, b.masters_read),
        drift: of(a.drift, b.drift),
    }
}
