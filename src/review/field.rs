//! The same stars in two lights: how much of their light arrived, and how far the field moved.

use std::collections::HashMap;

use crate::camera::{FieldStar, MeasuredLight};
use crate::stats::{Estimate, median};
use crate::units::Degrees;

/// The brightest stars of each light by which the field is found again.
const GUIDES: usize = 40;
/// Side of the bins in which the pairs' distances are counted, and how near a star must lie to its place, in pixels.
const BIN_PX: f64 = 6.0;
const NEAR_PX: f64 = 4.0;
/// The field is the same when this share of the guides, and this many at least, are found again.
const FOUND_AGAIN: (f64, usize) = (0.25, 4);
/// The brightest stars whose lines from one to the other show how the field turned, and the shortest line that shows it.
const TURN_GUIDES: usize = 18;
const SHORTEST_LINE_PX: f64 = 60.0;
/// Lines are the same when their lengths differ by less than this, in pixels.
const SAME_LINE_PX: f64 = 3.0;
/// Width of the classes of angles, in degrees.
const TURN_BIN_DEG: f64 = 0.5;
/// Lights that may be the measure of the others, how many of the others are asked, and the share (one in so many) from which on
/// strangers are many.
const CANDIDATES: usize = 5;
const ASKED: usize = 40;
const MANY_STRANGE: usize = 4;
/// With less than this share of the stars a light is not of another field, but behind a cloud.
const FEW_STARS: f64 = 0.35;
/// Standard deviation of a median over that of a mean, and of a normal law over its median deviation (tables of the
/// normal law).
const MEDIAN_COST: f64 = 1.2533;
const SIGMAS_PER_DEVIATION: f64 = 1.4826;

/// What a light shows of the stars of another one.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Found {
    /// The same field: light over light, how far the field moved to the right and down (`None` where it turned), and how
    /// far it turned.
    Same { light: Estimate<f64>, moved: Option<[f64; 2]>, turned: Degrees },
    /// Hardly a star is left: at most this share of the light arrived.
    Hidden { at_most: f64 },
    /// Other stars.
    Other,
}

/// The light whose stars most of the others show, of several the one with most stars to measure; `None` without stars enough
/// in any, and where lights show neither its stars nor each other's: stars as sharp as pixels, of which no two lights show the
/// same.
pub(super) fn reference<'a>(
    lights: &[&'a MeasuredLight],
    found: &mut dyn FnMut(&MeasuredLight, &MeasuredLight) -> Found,
) -> Option<&'a MeasuredLight> {
    let best = of_most(lights, found)?;
    let strange: Vec<&MeasuredLight> =
        lights.iter().copied().filter(|light| found(best, light) == Found::Other).collect();
    if strange.len() * MANY_STRANGE < lights.len() {
        return Some(best);
    }
    // Another target is a field of its own.
    let own = of_most(&strange, found)?;
    let alike = strange.iter().filter(|light| found(own, light) != Found::Other).count();
    (2 * alike > strange.len() || strange.len() == 1).then_some(best)
}

fn of_most<'a>(
    lights: &[&'a MeasuredLight],
    found: &mut dyn FnMut(&MeasuredLight, &MeasuredLight) -> Found,
) -> Option<&'a MeasuredLight> {
    let straight = |light: &MeasuredLight| light.stars.iter().filter(|star| star.straight).count();
    let mut by_stars: Vec<&MeasuredLight> =
        lights.iter().copied().filter(|light| light.stars.len() >= FOUND_AGAIN.1).collect();
    by_stars.sort_by_key(|light| std::cmp::Reverse(straight(light)));
    let strangers = |candidate: &MeasuredLight, found: &mut dyn FnMut(&MeasuredLight, &MeasuredLight) -> Found| {
        let stride = by_stars.len().div_ceil(ASKED).max(1);
        by_stars.iter().step_by(stride).filter(|light| found(candidate, light) == Found::Other).count()
    };
    let mut best: Option<(usize, &MeasuredLight)> = None;
    // The one with most stars, and some with fewer: a frame of a richer field is nobody's measure.
    let candidates = (0..CANDIDATES).map(|i| i * by_stars.len() / CANDIDATES);
    for candidate in candidates.filter_map(|at| by_stars.get(at)) {
        let count = strangers(candidate, found);
        if best.is_none_or(|(least, _)| count < least) {
            best = Some((count, *candidate));
        }
        if count == 0 {
            break;
        }
    }
    best.map(|(_, light)| light)
}

/// What `light` shows of the stars of `reference`.
///
/// The shift is that which most pairs of bright stars agree on, the field upright or turned round, as a mount turns it
/// in the meridian, or by the angle that most lines between bright stars agree on, as it turns above a mount without a
/// polar axis; the light is the median of the stars' ratios.
pub(super) fn found(reference: &MeasuredLight, light: &MeasuredLight) -> Found {
    let guides = reference.stars.len().min(light.stars.len()).min(GUIDES);
    let wanted = FOUND_AGAIN.1.max((FOUND_AGAIN.0 * guides as f64).ceil() as usize);
    let stars = [reference.stars.as_slice(), light.stars.as_slice()];
    let best = [Degrees(0.0), Degrees(180.0)]
        .into_iter()
        .filter_map(|turn| again(stars, turn))
        .max_by_key(|again| again.ratios.len())
        .filter(|again| again.ratios.len() >= wanted);
    // Nobody knows which end of a line is which.
    let turned = || {
        let turn = turn(stars)?;
        let both = [turn, upright(turn.0 + 180.0)].into_iter();
        let refined = both.filter_map(|turn| again(stars, again(stars, turn)?.refined()));
        refined.max_by_key(|again| again.ratios.len())
    };
    match best.or_else(turned) {
        Some(Again { turn, shift, ratios, .. }) if ratios.len() >= wanted => {
            Found::Same { light: median_ratio(ratios), moved: (turn.0 == 0.0).then_some(shift), turned: turn }
        }
        _ if (light.stars.len() as f64) < FEW_STARS * reference.stars.len() as f64 => {
            // As many stars are seen as the reference has above the limit: their light came down to it.
            let limit = reference.stars.last().map_or(0.0, |star| star.e_per_s.0);
            let faintest = reference.stars.get(light.stars.len()).map_or(f64::MAX, |star| star.e_per_s.0);
            Found::Hidden { at_most: (limit / faintest * blurred(reference, light)).min(1.0) }
        }
        _ => Found::Other,
    }
}

/// By how much more light a star must have to be seen in `light` than in `reference`, for it is spread over more sky; 1 where no
/// star shows how wide it is.
fn blurred(reference: &MeasuredLight, light: &MeasuredLight) -> f64 {
    let width = |light: &MeasuredLight| median(light.stars.iter().map(|star| star.fwhm_px));
    let ratio = width(light).zip(width(reference)).map_or(1.0, |(wide, narrow)| wide / narrow);
    if ratio.is_finite() { ratio.max(1.0).powi(2) } else { 1.0 }
}

/// The stars of the reference that are found again in a light when turned and shifted.
struct Again {
    turn: Degrees,
    shift: [f64; 2],
    /// Places of the star in both.
    places: Vec<([f64; 2], [f64; 2])>,
    /// Light over light of those that still answer straight.
    ratios: Vec<f64>,
}

impl Again {
    /// The turn that fits the places of the stars that were found again best.
    fn refined(&self) -> Degrees {
        let count = self.places.len() as f64;
        if count < 2.0 {
            return self.turn;
        }
        let middle = |places: Vec<[f64; 2]>| [0, 1].map(|axis| places.iter().map(|at| at[axis]).sum::<f64>() / count);
        let from = middle(self.places.iter().map(|pair| pair.0).collect());
        let to = middle(self.places.iter().map(|pair| pair.1).collect());
        let (mut across, mut along) = (0.0, 0.0);
        for (a, b) in &self.places {
            let (a, b) = ([a[0] - from[0], a[1] - from[1]], [b[0] - to[0], b[1] - to[1]]);
            across += a[0] * b[1] - a[1] * b[0];
            along += a[0] * b[0] + a[1] * b[1];
        }
        upright(self.turn.0 + across.atan2(along).to_degrees())
    }
}

/// An angle from -180 to 180 degrees.
fn upright(degrees: f64) -> Degrees {
    Degrees((degrees + 180.0).rem_euclid(360.0) - 180.0)
}

fn place(star: &FieldStar, turn: Degrees) -> [f64; 2] {
    let (sine, cosine) = turn.0.to_radians().sin_cos();
    [cosine * star.x_px - sine * star.y_px, sine * star.x_px + cosine * star.y_px]
}

/// Length and direction of every line between two of the brightest stars, in degrees.
fn lines(stars: &[FieldStar]) -> Vec<(f64, f64)> {
    let bright = &stars[..stars.len().min(TURN_GUIDES)];
    let pairs = bright.iter().enumerate().flat_map(|(place, a)| bright[place + 1..].iter().map(move |b| (a, b)));
    pairs
        .map(|(a, b)| (b.x_px - a.x_px, b.y_px - a.y_px))
        .map(|(x, y)| (x.hypot(y), y.atan2(x).to_degrees()))
        .filter(|(length, _)| *length >= SHORTEST_LINE_PX)
        .collect()
}

/// The angle that most lines between bright stars agree on, from 0 to 180 degrees.
fn turn([reference, light]: [&[FieldStar]; 2]) -> Option<Degrees> {
    let (own, others) = (lines(reference), lines(light));
    let classes = (180.0 / TURN_BIN_DEG) as usize;
    let mut angles: Vec<Vec<f64>> = vec![Vec::new(); classes];
    for (length, direction) in &own {
        for (_, other) in others.iter().filter(|(other, _)| (other - length).abs() < SAME_LINE_PX) {
            let turn = (other - direction).rem_euclid(180.0);
            angles[(turn / TURN_BIN_DEG) as usize % classes].push(turn);
        }
    }
    let beside = |class: usize| [(class + classes - 1) % classes, class, (class + 1) % classes];
    let best = (0..classes).max_by_key(|class| beside(*class).iter().map(|near| angles[*near].len()).sum::<usize>())?;
    let middle = (best as f64 + 0.5) * TURN_BIN_DEG;
    let near = |turn: &f64| (turn - middle + 90.0).rem_euclid(180.0) - 90.0;
    let off = beside(best).into_iter().flat_map(|class| &angles[class]).map(near);
    median(off).map(|off| upright(middle + off))
}

/// The shift that most pairs of guides agree on.
fn shift([reference, light]: [&[FieldStar]; 2], turn: Degrees) -> Option<[f64; 2]> {
    let mut bins: HashMap<(i64, i64), Vec<[f64; 2]>> = HashMap::new();
    for a in reference.iter().take(GUIDES) {
        let [ax, ay] = place(a, turn);
        for b in light.iter().take(GUIDES) {
            let apart = [b.x_px - ax, b.y_px - ay];
            let bin = apart.map(|px| (px / BIN_PX).floor() as i64);
            bins.entry((bin[0], bin[1])).or_default().push(apart);
        }
    }
    let around = |(x, y): (i64, i64)| {
        let near = (x - 1..=x + 1).flat_map(move |x| (y - 1..=y + 1).map(move |y| (x, y)));
        near.filter_map(|bin| bins.get(&bin))
    };
    // A shift on the edge of a bin is spread over its neighbours: the fullest three by three; of several, the last one.
    let fullness = |bin: (i64, i64)| around(bin).map(Vec::len).sum::<usize>();
    let best = bins.keys().copied().map(|bin| (fullness(bin), bin)).max()?.1;
    let pairs: Vec<[f64; 2]> = around(best).flatten().copied().collect();
    // In the midst of the pairs of that place lie the true ones; the others are strewn.
    let nearest = |centre: &&[f64; 2]| {
        pairs.iter().filter(|other| (other[0] - centre[0]).hypot(other[1] - centre[1]) < NEAR_PX / 2.0).count()
    };
    let centre = pairs.iter().max_by_key(nearest)?;
    let close: Vec<&[f64; 2]> =
        pairs.iter().filter(|other| (other[0] - centre[0]).hypot(other[1] - centre[1]) < NEAR_PX / 2.0).collect();
    let mean = |axis: usize| close.iter().map(|pair| pair[axis]).sum::<f64>() / close.len() as f64;
    Some([mean(0), mean(1)])
}

/// What is found again when the reference is turned so far, and shifted as most pairs of guides agree.
fn again(stars: [&[FieldStar]; 2], turn: Degrees) -> Option<Again> {
    let [reference, light] = stars;
    let shift = shift(stars, turn)?;
    let (mut places, mut ratios) = (Vec::new(), Vec::new());
    for star in reference {
        let [x, y] = place(star, turn);
        let apart = |other: &FieldStar| (other.x_px - x - shift[0]).powi(2) + (other.y_px - y - shift[1]).powi(2);
        let Some(nearest) = light.iter().min_by(|a, b| apart(a).total_cmp(&apart(b))) else { continue };
        if apart(nearest) >= NEAR_PX * NEAR_PX {
            continue;
        }
        places.push(([x, y], [nearest.x_px, nearest.y_px]));
        let ratio = nearest.e_per_s.0 / star.e_per_s.0;
        if nearest.straight && star.straight && star.e_per_s.0 > 0.0 && ratio > 0.0 {
            ratios.push(ratio);
        }
    }
    Some(Again { turn, shift, places, ratios })
}

fn median_ratio(ratios: Vec<f64>) -> Estimate<f64> {
    let count = ratios.len() as f64;
    let middle = median(ratios.iter().copied()).unwrap_or(1.0);
    let deviation = median(ratios.iter().map(|ratio| (ratio - middle).abs())).unwrap_or(0.0);
    Estimate::new(middle, MEDIAN_COST * SIGMAS_PER_DEVIATION * deviation / count.sqrt())
}

/// How much values in the order of time differ by chance: from each one's distance to the middle of its two neighbours, so
/// that no steady course counts, however long.
pub(super) fn scatter(values: &[f64]) -> f64 {
    let bends = values.windows(3).map(|three| (three[1] - (three[0] + three[2]) / 2.0).abs());
    SIGMAS_PER_DEVIATION * median(bends).unwrap_or(0.0) / 1.5_f64.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::{DarkFrom, FrameMode, PlaneName};
    use crate::units::{ElectronsPerSecond, Seconds};

    /// Stars strewn over a field of 1600 x 1200 pixels.
    fn strewn(count: usize, seed: u64) -> Vec<FieldStar> {
        let mut state = seed;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f64 / (1_u64 << 24) as f64
        };
        let mut stars: Vec<FieldStar> = (0..count)
            .map(|_| FieldStar {
                x_px: 1600.0 * next(),
                y_px: 1200.0 * next(),
                e_per_s: ElectronsPerSecond(50.0 / (0.02 + next())),
                fwhm_px: 3.0,
                straight: true,
            })
            .collect();
        stars.sort_by(|a, b| b.e_per_s.0.total_cmp(&a.e_per_s.0));
        stars
    }

    /// The same field turned about its middle and shifted, 0.7 of its light left; what leaves the frame is gone.
    fn turned(stars: &[FieldStar], degrees: f64) -> Vec<FieldStar> {
        let (sine, cosine) = degrees.to_radians().sin_cos();
        let of = |star: &FieldStar| {
            let (x, y) = (star.x_px - 800.0, star.y_px - 600.0);
            let place = [800.0 + cosine * x - sine * y + 9.3, 600.0 + sine * x + cosine * y - 4.1];
            FieldStar { x_px: place[0], y_px: place[1], e_per_s: star.e_per_s * 0.7, ..*star }
        };
        let inside = |star: &FieldStar| (0.0..1600.0).contains(&star.x_px) && (0.0..1200.0).contains(&star.y_px);
        stars.iter().map(of).filter(inside).collect()
    }

    fn light(stars: Vec<FieldStar>) -> MeasuredLight {
        MeasuredLight {
            file: "x.fits".into(),
            taken: None,
            filter: None,
            exposure_s: Seconds(60.0),
            frame_mode: FrameMode::default(),
            sensor_c: None,
            dark_from: DarkFrom::Profile,
            planes: Vec::new(),
            star_plane: PlaneName::Mono,
            star_count: stars.len(),
            stars,
        }
    }

    #[test]
    fn a_field_is_found_again_however_it_turned_and_another_is_not() {
        for seed in 1..6 {
            let stars = strewn(100, seed);
            let reference = light(stars.clone());
            for degrees in [0.0, 0.4, 2.0, 11.0, 47.0, -63.0, 90.0, 131.0, 180.0] {
                let Found::Same { light, turned, .. } = found(&reference, &light(turned(&stars, degrees))) else {
                    panic!("{seed} {degrees}");
                };
                assert!((light.value - 0.7).abs() < 1e-9, "{seed} {degrees}: {}", light.value);
                // A field that hardly turned is found upright.
                assert!(
                    upright(turned.0 - degrees).0.abs() < if degrees.abs() < 1.0 { 1.0 } else { 0.1 },
                    "{degrees} {turned:?}"
                );
            }
            assert_eq!(found(&reference, &light(strewn(100, seed + 50))), Found::Other, "{seed}");
        }
    }

    /// Dew spreads stars, of which the fainter ones then drown though much of their light is there.
    #[test]
    fn hardly_a_star_is_an_upper_end_that_knows_how_wide_stars_are() {
        let stars: Vec<FieldStar> = (0..40)
            .map(|i| FieldStar { e_per_s: ElectronsPerSecond(4000.0 / f64::from(i + 1)), ..strewn(40, 3)[i as usize] })
            .collect();
        let left = |width: f64| {
            let elsewhere = strewn(3, 99).into_iter().map(|star| FieldStar { fwhm_px: width, ..star }).collect();
            match found(&light(stars.clone()), &light(elsewhere)) {
                Found::Hidden { at_most } => at_most,
                other => panic!("{other:?}"),
            }
        };
        let own = stars[0].fwhm_px;
        // Three are seen: the fourth, of 1000, came down to the limit, 100.
        approx::assert_relative_eq!(left(own), 0.1, max_relative = 1e-9);
        approx::assert_relative_eq!(left(own / 2.0), 0.1, max_relative = 1e-9);
        approx::assert_relative_eq!(left(1.7 * own), 0.289, max_relative = 1e-9);
        approx::assert_relative_eq!(left(6.0 * own), 1.0, max_relative = 1e-9);
    }

    #[test]
    fn a_steady_course_is_no_scatter() {
        let ramp: Vec<f64> = (0..40).map(|i| 0.1 * f64::from(i)).collect();
        assert!(scatter(&ramp) < 1e-12);
        assert_eq!((scatter(&[]), scatter(&[1.0, 2.0])), (0.0, 0.0));
        // A see-saw of ± 1: every bend is 2.
        let saw: Vec<f64> = (0..40).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 }).collect();
        approx::assert_relative_eq!(scatter(&saw), 1.4826 * 2.0 / 1.5_f64.sqrt(), max_relative = 1e-12);
    }
}
