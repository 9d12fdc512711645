//! Cloud dims stars, the Moon brightens the sky, dew dims and widens: what each light shows against the best of its set.
//!
//! Starlight is held against the brightest tenth of the set, sky and width against the lowest sixth; the limit is 8 %,
//! or four times the scatter of second differences.

use serde::{Deserialize, Serialize};

use crate::stats::quantile;

use super::field::scatter;

/// A change below this share is every night's.
const LEAST_CHANGE: f64 = 0.08;
/// A change of less than so many times the scatter between neighbours is chance; a scatter of more than this share is
/// no longer chance but weather.
const SIGMAS: f64 = 4.0;
const MOST_SCATTER: f64 = 0.06;
/// Where so much of the light is lost, dew widens the stars by this share of it at least (common practice, no source).
const WIDTH_FOR_LOST: f64 = 0.25;
/// The best of the set: stars as bright as the brightest tenth, a sky and a width as low as the lowest sixth.
const BEST_LIGHT: f64 = 0.9;
const BEST_LOW: f64 = 0.15;
/// The Moon is named where it is to bring at least this share of the sky.
const MOON_SHARE: f64 = 0.05;
/// The Sun's altitude above which twilight is named.
const TWILIGHT_DEG: f64 = -18.0;
/// More of the field than this that is no sky, in percent, is a nebula: star fields have a few.
const NEBULA_PERCENT: f64 = 12.0;

/// What a light shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Sign {
    /// Stars dimmer, as wide as ever: cloud.
    Cloud,
    /// Stars dimmer and wider, or on the way to it: dew or frost on the optics, fog.
    Dew,
    /// Stars wider alone: focus, seeing, guiding, wind.
    WideStars,
    /// The sky brighter and the Moon up.
    Moon,
    /// The sky brighter and the Sun less than 18° below the horizon.
    Twilight,
    /// The sky brighter, the stars as bright as ever, neither Moon nor twilight known.
    BrightSky,
    /// A good part of the field is brighter than its sky: nebula or galaxy. No fault.
    Nebula,
    /// Not the field of the others.
    OtherField,
}

impl Sign {
    /// The sign in a word or two.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Cloud => "cloud",
            Self::Dew => "dew or fog",
            Self::WideStars => "wide stars",
            Self::Moon => "Moon",
            Self::Twilight => "twilight",
            Self::BrightSky => "bright sky",
            Self::Nebula => "nebula",
            Self::OtherField => "another field",
        }
    }

    /// Whether it says that the sub was taken under worse conditions than the best of its set.
    #[must_use]
    pub fn is_a_fault(self) -> bool {
        self != Self::Nebula
    }
}

/// What is compared of one light, in the order of time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// Sky in a pixel.
    pub(super) sky: f64,
    /// How far a frame's wandering level alone moves it, of it.
    pub(super) sky_wander: f64,
    /// Light of the stars, what the air at their height takes accounted for, in any unit.
    pub(super) light: Option<f64>,
    /// Whether that is only an upper end: hardly a star was left.
    pub(super) hidden: bool,
    /// Width of the stars over the width predicted at their height.
    pub(super) width: Option<f64>,
    /// Standard uncertainty of the width, of it.
    pub(super) width_off: f64,
    /// The Moon's share of the sky predicted.
    pub(super) moon: f64,
    /// The Sun's altitude, where known.
    pub(super) sun: Option<f64>,
    /// Share of the field that is no sky, in percent.
    pub(super) no_sky_percent: f64,
    /// Other stars than those of the set.
    pub(super) other_field: bool,
}

/// One light against the best of its set.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Against {
    pub(super) signs: Vec<Sign>,
    /// Sky over the quiet sky.
    pub(super) sky: f64,
    /// Light of the stars over the brightest tenth's.
    pub(super) light: Option<f64>,
    /// Whether that is only an upper end: hardly a star was left.
    pub(super) hidden: bool,
    /// Width over the narrowest sixth's.
    pub(super) width: Option<f64>,
}

/// Every light against the best of the set.
pub(super) fn against_the_best(seen: &[Seen]) -> Vec<Against> {
    let logs = |of: &dyn Fn(&Seen) -> Option<f64>| seen.iter().filter_map(of).map(f64::ln).collect::<Vec<f64>>();
    let limit = |of: &dyn Fn(&Seen) -> Option<f64>, more: f64| {
        (SIGMAS * scatter(&logs(of)).min(MOST_SCATTER)).max(LEAST_CHANGE).max(more)
    };
    let light = |one: &Seen| one.light.filter(|light| *light > 0.0);
    let open = |one: &Seen| light(one).filter(|_| !one.hidden);
    let width = |one: &Seen| one.width.filter(|width| *width > 0.0);
    let best_light = quantile(seen.iter().filter_map(open), BEST_LIGHT);
    let best_width = quantile(seen.iter().filter_map(width), BEST_LOW);
    let (light_limit, width_limit) = (limit(&open, 0.0), limit(&width, 0.0));
    let dim = |one: &Seen| {
        one.hidden || light(one).zip(best_light).is_some_and(|(light, best)| light / best < 1.0 - light_limit)
    };
    let wide = |one: &Seen| {
        // The fewer light is left, the less sure are widths, and the more dew would have widened the stars.
        let lost = light(one).zip(best_light).map_or(0.0, |(light, best)| 1.0 - (light / best).min(1.0));
        let limit = width_limit.max(SIGMAS * one.width_off).max(WIDTH_FOR_LOST * lost);
        width(one).zip(best_width).is_some_and(|(width, best)| width / best > 1.0 + limit)
    };
    // Cloud brightens the sky of a town and darkens that of the country: it says nothing of the quiet sky.
    let clear = || seen.iter().filter(|one| !dim(one));
    let quiet = quantile(clear().map(|one| one.sky), BEST_LOW);
    let quiet = quiet.or_else(|| quantile(seen.iter().map(|one| one.sky), BEST_LOW)).unwrap_or(1.0);
    let wander = quantile(seen.iter().map(|one| one.sky_wander), 0.5).unwrap_or(0.0);
    let sky_limit = limit(&|one| Some(one.sky).filter(|sky| *sky > 0.0), 3.0 * wander);
    let signs_of = |one: &Seen| {
        let (dim, wide, bright) = (dim(one), wide(one), one.sky / quiet > 1.0 + sky_limit);
        let mut signs = Vec::new();
        match (dim, wide) {
            (true, true) => signs.push(Sign::Dew),
            (true, false) => signs.push(Sign::Cloud),
            (false, true) => signs.push(Sign::WideStars),
            (false, false) => {}
        }
        let by_moon = one.moon > MOON_SHARE;
        if bright && by_moon {
            signs.push(Sign::Moon);
        } else if bright && one.sun.is_some_and(|sun| sun > TWILIGHT_DEG) {
            signs.push(Sign::Twilight);
        } else if bright && !dim {
            signs.push(Sign::BrightSky);
        }
        // Widened or veiled stars cover sky too.
        if one.no_sky_percent > NEBULA_PERCENT && !dim && !wide {
            signs.push(Sign::Nebula);
        }
        if one.other_field {
            signs.push(Sign::OtherField);
        }
        Against {
            signs,
            sky: one.sky / quiet,
            light: light(one).zip(best_light.or(light(one))).map(|(light, best)| light / best),
            hidden: one.hidden,
            width: width(one).zip(best_width).map(|(width, best)| width / best),
        }
    };
    let mut all: Vec<Against> = seen.iter().map(signs_of).collect();
    join_dew(&mut all);
    all
}

/// Dew comes slowly: what is only wide, or only dim, in one stretch with dew is its beginning or end.
fn join_dew(all: &mut [Against]) {
    let touched = |one: &Against| one.signs.iter().any(|sign| [Sign::Dew, Sign::Cloud, Sign::WideStars].contains(sign));
    for stretch in all.chunk_by_mut(|a, b| touched(a) == touched(b)) {
        let (mut wide, mut dim, mut dew) = (0, 0, 0);
        for one in stretch.iter() {
            wide += usize::from(one.signs.contains(&Sign::WideStars));
            dim += usize::from(one.signs.contains(&Sign::Cloud));
            dew += usize::from(one.signs.contains(&Sign::Dew));
        }
        // Mostly one thing, with a stray wide or dim sub in it, stays that.
        if dew == 0 || 2 * dew < wide.max(dim) {
            continue;
        }
        for sign in stretch.iter_mut().flat_map(|one| &mut one.signs) {
            if [Sign::Cloud, Sign::WideStars].contains(sign) {
                *sign = Sign::Dew;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(sky: f64, light: f64, width: f64) -> Seen {
        Seen {
            sky,
            sky_wander: 0.0,
            light: Some(light),
            hidden: false,
            width: Some(width),
            width_off: 0.0,
            moon: 0.0,
            sun: None,
            no_sky_percent: 0.0,
            other_field: false,
        }
    }

    fn signs(set: &[Seen]) -> Vec<Vec<Sign>> {
        against_the_best(set).into_iter().map(|one| one.signs).collect()
    }

    #[test]
    fn each_kind_of_change_has_its_name() {
        let mut set = vec![seen(10.0, 1.0, 1.0); 12];
        set.extend([seen(13.0, 0.6, 1.0), seen(8.0, 0.5, 1.0), seen(14.0, 1.0, 1.0), seen(10.0, 1.0, 1.3)]);
        set.push(Seen { moon: 0.3, ..seen(14.0, 1.0, 1.0) });
        let signs = signs(&set);
        assert!(signs[..12].iter().all(Vec::is_empty));
        assert_eq!(signs[12], [Sign::Cloud]);
        assert_eq!(signs[13], [Sign::Cloud], "a dark cloud is one too");
        assert_eq!(signs[14], [Sign::BrightSky]);
        assert_eq!(signs[15], [Sign::WideStars]);
        assert_eq!(signs[16], [Sign::Moon]);
    }

    #[test]
    fn what_leads_to_dew_is_dew() {
        let mut set = vec![seen(10.0, 1.0, 1.0); 8];
        set.extend([seen(10.0, 0.97, 1.12), seen(9.8, 0.85, 1.3), seen(9.6, 0.7, 1.6)]);
        assert_eq!(signs(&set)[8..], [vec![Sign::Dew], vec![Sign::Dew], vec![Sign::Dew]]);
    }

    #[test]
    fn one_to_three_lights_are_not_compared_to_death() {
        for count in 1..=3 {
            assert!(signs(&vec![seen(10.0, 1.0, 1.0); count]).iter().all(Vec::is_empty));
        }
        let dark = Seen { light: None, width: None, ..seen(0.1, 1.0, 1.0) };
        assert!(signs(&[dark, dark]).iter().all(Vec::is_empty));
        assert!(signs(&[]).is_empty());
    }
}
