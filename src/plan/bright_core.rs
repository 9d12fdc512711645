//! A second, short set for a core or a star that burns in the long one: how long, how many, where the two blend.

use serde::{Deserialize, Serialize};

use crate::camera::{PlaneName, SaturationIs};
use crate::noise::{Patch, PlaneNoise};
use crate::stats::bisect_ratio;
use crate::units::{Colour, Electrons, ElectronsPerSecond, Magnitudes, MagnitudesPerSquareArcsecond, Seconds};

use super::filter_solution::FilterSolution;
use super::{Demand, ROUND_LENGTHS_S, Search, SetBy};
use crate::night::conditions::STAR_HEADROOM;
use crate::night::{Limits, Night, PlaneConditions};
use crate::optimum::two_digits;

/// Signal over noise of one pixel of the short set where it takes over from the long one: a fiftieth, about the least
/// contrast that an eye sees (common practice, no source).
const BLEND_SNR: f64 = 50.0;
/// Below this signal over noise of one pixel the short set has nothing to give: noise of a tenth (common practice, no
/// source).
const FAINTEST_TO_BLEND_SNR: f64 = 10.0;
/// Round lengths below those of the plan.
const SHORTER_S: [f64; 9] = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5];
/// Halvings in which a brightness is found.
const HALVINGS: usize = 60;

/// `short_set` of `plan --json`: what burns in the long subs, and the short ones that keep it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ShortSet {
    /// Of all short sets together, beside the plan's own time.
    pub wall_clock_s: Seconds,
    /// One entry for each filter and each thing that is to stay unburnt.
    pub sets: Vec<FilterShortSet>,
}

/// What is to stay unburnt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Burns {
    /// The target's core.
    Core,
    /// The brightest star to keep.
    Star,
}

/// The short set of one filter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FilterShortSet {
    /// The filter.
    pub name: String,
    /// What it is for.
    #[serde(rename = "for")]
    pub burns: Burns,
    /// Whether the long set burns it; without that nothing is to be shot.
    pub needed: bool,
    /// Subs of the long set.
    pub long_sub_s: Seconds,
    /// The longest sub that keeps it: its brightest pixel fills 80 % of the well.
    pub burns_after_s: Seconds,
    /// Whether saturation was reached in the plane that burns first, or is the least that it can be: then it may burn later.
    #[serde(default)]
    pub saturation_is: SaturationIs,
    /// The short sub; `null` where none is needed, or none is short enough.
    pub sub_s: Option<Seconds>,
    /// Short subs in the stack.
    pub subs_kept: u64,
    /// Short subs to shoot, losses included.
    pub subs_to_shoot: u64,
    /// A dither after so many of them.
    pub dither_every_subs: u64,
    /// Dithers, the first position included.
    pub dithers: u64,
    /// `subs_kept` × `sub_s`.
    pub integration_s: Seconds,
    /// Its time on the clock.
    pub wall_clock_s: Seconds,
    /// Where the sets blend, plane by plane; empty where none is needed.
    pub planes: Vec<BlendOfPlane>,
    /// For a star that bounds the subs: the plan in which it does not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub instead: Option<LongerSubs>,
}

/// Where the short set takes over in one plane, and how good it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BlendOfPlane {
    /// The plane.
    pub plane: PlaneName,
    /// Its colour.
    pub colour: Option<Colour>,
    /// What fills the brightest pixel of core or star, sky and dark current included.
    pub brightest_e_per_s: ElectronsPerSecond,
    /// The signal at which a pixel is full.
    pub saturation_e: Electrons,
    /// Whether saturation was reached, or is the least that it can be: then the long subs hold more than is said.
    #[serde(default)]
    pub saturation_is: SaturationIs,
    /// Level of the long subs, offset taken off, from which on the short set is any good and up to which the long one
    /// is: blend between them.
    pub blend_e: [f64; 2],
    /// The same as stored counts, offset included where the profile has it.
    pub blend_dn: [u64; 2],
    /// The same as surface brightness, faint and bright end; `null` for a star.
    pub blend_mag_per_arcsec2: Option<[MagnitudesPerSquareArcsecond; 2]>,
    /// The same as a star's magnitude; `null` for a core.
    pub blend_star_mag: Option<[Magnitudes; 2]>,
    /// The magnitudes between both ends.
    pub overlap_mag: f64,
    /// Signal over noise of the short set in one pixel of the core, or in the star's brightest.
    pub snr_in_a_pixel: f64,
    /// The same where the long set ends.
    pub snr_at_the_seam: f64,
}

/// The plan without the star's bound, and what it saves.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LongerSubs {
    /// Its sub length.
    pub long_sub_s: Seconds,
    /// Its time on the clock, counts not rounded.
    pub long_wall_clock_s: Seconds,
    /// With the short set.
    pub with_short_set_s: Seconds,
    /// What that saves of the plan's time.
    pub saves_s: Seconds,
}

/// The short sets of a plan; `None` where no core is given and no star bounds the subs.
pub(super) fn short_set(night: &Night, filters: &[FilterSolution<'_>]) -> Option<ShortSet> {
    let core = night.target.core_surface_brightness_mag;
    let cores = filters.iter().filter_map(|filter| Some(of_core(filter, core?)));
    let stars = filters.iter().filter_map(|filter| of_star(filter, night.goal.star_mag_kept?));
    let sets: Vec<FilterShortSet> = cores.chain(stars).collect();
    let wall_clock_s = Seconds(sets.iter().map(|set| set.wall_clock_s.0).sum());
    (!sets.is_empty()).then_some(ShortSet { wall_clock_s, sets })
}

/// What shines in one plane: its rate beside the background, and the magnitude of a rate.
struct Shining<'a> {
    plane: &'a PlaneConditions,
    rate: ElectronsPerSecond,
    /// The magnitude of `rate`.
    magnitude: f64,
}

impl Shining<'_> {
    fn magnitude_of(&self, rate: f64) -> f64 {
        self.magnitude - 2.5 * (rate / self.rate.0).log10()
    }

    fn fill(&self) -> ElectronsPerSecond {
        self.rate + self.plane.noise.rates.background()
    }

    /// The longest sub that keeps it.
    ///
    /// ```text
    /// t = 0.8 well / (light + sky + Moon + dark)
    /// ```
    fn limit(&self) -> f64 {
        self.usable() / self.fill().0
    }

    fn usable(&self) -> f64 {
        self.plane.full_well.0 * STAR_HEADROOM
    }

    /// The light that fills a pixel of a sub as far as it may.
    fn seam(&self, sub: Seconds) -> f64 {
        self.usable() / sub.0 - self.plane.noise.rates.background().0
    }

    fn noise(&self, light: f64) -> PlaneNoise {
        let mut noise = self.plane.noise;
        noise.rates.target = ElectronsPerSecond(light);
        noise
    }
}

fn of_core(filter: &FilterSolution<'_>, core: MagnitudesPerSquareArcsecond) -> FilterShortSet {
    let shining =
        |plane| Shining { plane, rate: plane.rate_of_magnitude_0 * 10_f64.powf(-0.4 * core.0), magnitude: core.0 };
    let planes: Vec<Shining<'_>> = filter.conditions.planes.iter().map(shining).collect();
    set(filter, &planes, Burns::Core, filter.sub)
}

/// The way around a star that bounds the subs: longer ones, and a short set for the star; `None` where that saves nothing.
fn of_star(filter: &FilterSolution<'_>, star: Magnitudes) -> Option<FilterShortSet> {
    if filter.set_by != SetBy::StarSaturation || !matches!(filter.search.demand, Demand::Snr(_)) {
        return None;
    }
    let limits = Limits { star_saturation: None, ..filter.search.limits };
    let long = Search { limits, ..filter.search.clone() }.optimum().ok()?.recommended;
    let planes = filter.conditions.planes.iter().filter_map(|plane| {
        let rate = plane.star_peak(star);
        (rate.0 > 0.0).then_some(Shining { plane, rate, magnitude: star.0 })
    });
    let planes: Vec<Shining<'_>> = planes.collect();
    let mut found = set(filter, &planes, Burns::Star, long.sub);
    let with_short_set = Seconds(long.cost + found.wall_clock_s.0);
    let saves_s = filter.wall_clock - with_short_set;
    found.instead = Some(LongerSubs {
        long_sub_s: long.sub,
        long_wall_clock_s: Seconds(long.cost),
        with_short_set_s: with_short_set,
        saves_s,
    });
    (found.sub_s.is_some() && saves_s.0 > 0.0).then_some(found)
}

fn set(filter: &FilterSolution<'_>, planes: &[Shining<'_>], burns: Burns, long: Seconds) -> FilterShortSet {
    let first = planes.iter().min_by(|a, b| a.limit().total_cmp(&b.limit()));
    let limit = first.map_or(f64::MAX, Shining::limit);
    let mut set = FilterShortSet {
        name: filter.conditions.name.clone(),
        burns,
        needed: limit < long.0,
        long_sub_s: long,
        burns_after_s: Seconds(limit),
        saturation_is: first.map_or(SaturationIs::Reached, |first| first.plane.full_well_is),
        sub_s: None,
        subs_kept: 0,
        subs_to_shoot: 0,
        dither_every_subs: 0,
        dithers: 0,
        integration_s: Seconds(0.0),
        wall_clock_s: Seconds(0.0),
        planes: Vec::new(),
        instead: None,
    };
    if !set.needed {
        return set;
    }
    let burning: Vec<&Shining<'_>> = planes.iter().filter(|shining| shining.limit() < long.0).collect();
    let Some((search, chosen)) = shot(filter, &burning, long, limit) else { return set };
    let kept = chosen.subs.ceil();
    let to_shoot = (kept * search.shot_per_kept(chosen.sub)).ceil();
    set.sub_s = Some(chosen.sub);
    set.subs_kept = kept as u64;
    set.subs_to_shoot = to_shoot as u64;
    set.dither_every_subs = chosen.dither_every as u64;
    set.dithers = (to_shoot / chosen.dither_every).ceil() as u64;
    set.integration_s = chosen.sub * kept;
    set.wall_clock_s = Seconds(to_shoot * (chosen.sub.0 + search.between.0) + set.dithers as f64 * search.settle.0);
    let blend = |shining: &&Shining<'_>| blend(filter, shining, burns, long, (chosen.sub, kept, chosen.dither_every));
    set.planes = burning.iter().map(blend).collect();
    set
}

/// The longest round length below the limit with the subs and the cadence that make its seam smooth in every plane.
fn shot(
    filter: &FilterSolution<'_>,
    planes: &[&Shining<'_>],
    long: Seconds,
    limit: f64,
) -> Option<(Search, super::Chosen)> {
    let round = SHORTER_S.into_iter().chain(ROUND_LENGTHS_S).take_while(|length| *length <= limit).last();
    // Half of a stop is lost at most; a limit between two round lengths far apart is cut to two digits.
    let sub = match round {
        Some(round) if round >= limit / 1.5 => round,
        Some(_) => two_digits(limit),
        None => return None,
    };
    let planes = planes.iter().map(|shining| (shining.noise(shining.seam(long)), Patch::PIXEL)).collect();
    let search = Search { planes, demand: Demand::Snr(BLEND_SNR), limits: Limits::default(), ..filter.search.clone() };
    let chosen = search.best_at(Seconds(sub))?;
    Some((search, chosen))
}

fn blend(
    filter: &FilterSolution<'_>,
    shining: &Shining<'_>,
    burns: Burns,
    long: Seconds,
    (sub, kept, every): (Seconds, f64, f64),
) -> BlendOfPlane {
    let snr = |light: f64| filter.pixel_search(shining.noise(light), BLEND_SNR).snr(sub, kept, every);
    let bright = shining.seam(long);
    let [_, high] = bisect_ratio([bright * 1e-9, bright], HALVINGS, |light| snr(light) < FAINTEST_TO_BLEND_SNR);
    let ends = [high, bright];
    let background = shining.plane.noise.rates.background().0;
    let level = ends.map(|light| (light + background) * long.0);
    let offset = shining.plane.offset.map_or(0.0, |offset| offset.0);
    let magnitudes = ends.map(|light| shining.magnitude_of(light));
    BlendOfPlane {
        plane: shining.plane.plane,
        colour: shining.plane.colour,
        brightest_e_per_s: shining.fill(),
        saturation_e: shining.plane.full_well,
        saturation_is: shining.plane.full_well_is,
        blend_e: level,
        blend_dn: level.map(|level| (offset + level / shining.plane.gain.0).round().max(0.0) as u64),
        blend_mag_per_arcsec2: (burns == Burns::Core).then(|| magnitudes.map(MagnitudesPerSquareArcsecond)),
        blend_star_mag: (burns == Burns::Star).then(|| magnitudes.map(Magnitudes)),
        overlap_mag: magnitudes[0] - magnitudes[1],
        snr_in_a_pixel: snr(shining.rate.0),
        snr_at_the_seam: snr(bright),
    }
}
