//! What to do the next night, in words with numbers.

use crate::camera::CameraProfile;
use crate::night::Night;
use crate::plan::{WITHIN, plan, searches};
use crate::sky::GivenSky;
use crate::units::Seconds;

use super::answer::{FilterReview, Review, SubReview};
use super::signs::Sign;

/// A sky off by less than this is as the file says, in magnitudes.
const SKY_AS_SAID: f64 = 0.1;
/// Stars wider or narrower than predicted by less than this share are as predicted.
const WIDTH_AS_SAID: f64 = 0.15;
/// Lengths that differ by less than this share are the same.
const SAME_LENGTH: f64 = 0.01;
/// Pattern and masters above this share of a stack's variance are worth a word, in percent.
const PATTERN_SHARE: f64 = 10.0;

pub(super) fn advice(review: &Review, night: &Night, profile: &CameraProfile) -> Vec<String> {
    let mut advice = Vec::new();
    advice.push(dropping(review));
    advice.extend(of_sky(review, night));
    advice.extend(of_length(review, night, profile));
    for filter in &review.filters {
        advice.extend(of_width(filter, &review.filters));
    }
    for sign in [Sign::Cloud, Sign::Dew, Sign::WideStars, Sign::Moon, Sign::Twilight, Sign::BrightSky] {
        advice.extend(of_sign(review, sign));
    }
    for filter in &review.filters {
        advice.extend(of_pattern(filter, &review.filters));
    }
    advice.extend(review.filters.iter().filter_map(of_goal));
    advice
}

/// ` in FILTER` where there are several.
fn within(filter: &str, all: &[FilterReview]) -> String {
    if all.len() > 1 { format!(" in {filter}") } else { String::new() }
}

fn subs(count: usize) -> String {
    if count == 1 { "1 sub".into() } else { format!("{count} subs") }
}

fn hours(hours: f64) -> String {
    if hours < 1.5 { format!("{:.0} min", 60.0 * hours) } else { format!("{hours:.1} h") }
}

fn dropping(review: &Review) -> String {
    let all = review.subs.len();
    if all == 1 {
        return "One sub alone: there is nothing to leave out.".into();
    }
    if review.subs_dropped == 0 {
        return format!("Keep all {}: leaving any out would cost signal over noise.", subs(all));
    }
    let gain = review.filters.iter().map(|filter| filter.dropping_gains_percent).fold(0.0, f64::max);
    let smooth = review.achieved_snr.zip(review.snr_if_all_kept).map_or_else(String::new, |(kept, all)| {
        let change = 100.0 * (kept.value / all - 1.0);
        format!(", smooth light by {change:+.1} %")
    });
    format!(
        "Leave out {} of {all} ({} of open shutter): a detail as wide as the goal's patch changes by {gain:+.1} % in signal \
         over noise{smooth}. A stack that weights each sub by signal over variance may keep them.",
        subs(review.subs_dropped),
        hours(review.hours_dropped)
    )
}

fn of_sky(review: &Review, night: &Night) -> Option<String> {
    let (measured, predicted) = (review.sky_e_per_s?.value.0, review.predicted_sky_e_per_s?.value.0);
    let fainter = review.sky_fainter_by_mag?.value;
    let rates = format!("{} against {} e-/s in a pixel", three(measured), three(predicted));
    if fainter.abs() < SKY_AS_SAID {
        return Some(format!("The quiet sky was as the night file says, within {:.2} mag ({rates}).", fainter.abs()));
    }
    let how = if fainter < 0.0 { "brighter" } else { "darker" };
    let then = match (&review.sky_to_write, night.site.sky()) {
        (None, _) => "The Moon was most of it, so it says little of the sky without: measure on a moonless night.",
        (Some(_), GivenSky::Measured { .. }) => {
            "The file's sky was measured too: was it another direction, or haze? Write this one back with --write if \
             this night was the usual one."
        }
        (Some(_), _) => "Write it back with --write, and the plan uses it.",
    };
    Some(format!("The quiet sky was {:.2} mag {how} than the night file says ({rates}). {then}", fainter.abs()))
}

fn three(value: f64) -> String {
    let digits = (2 - value.abs().log10().floor() as i32).clamp(0, 6) as usize;
    format!("{value:.digits$}")
}

/// The sub length that the measured sky asks for.
fn of_length(review: &Review, night: &Night, profile: &CameraProfile) -> Option<String> {
    let sky = review.sky_to_write.as_ref()?;
    let mut asked = night.clone();
    let (filter, plane) = (sky.filter.clone(), Some(sky.plane.into()));
    asked.site.sky = Some(GivenSky::Measured { e_per_s: sky.e_per_s, filter, plane, altitude: sky.altitude_deg });
    // The measured sky is that of the night, not of the planned date's Moon.
    asked.goal.date = None;
    let plan = plan(&asked, profile).ok()?;
    let at = plan.filters.iter().position(|filter| filter.name == review.filter)?;
    let search = searches(&asked, profile).ok()?.into_iter().nth(at)?;
    let best = &plan.filters[at];
    let used = review.subs.iter().filter(|sub| sub.filter == review.filter).map(|sub| sub.exposure_s.0);
    let (shortest, longest) = used.fold((f64::MAX, 0.0_f64), |ends, one| (ends.0.min(one), ends.1.max(one)));
    let yours = if longest > shortest * 1.01 { format!("{shortest} to {longest} s") } else { format!("{shortest} s") };
    let least = search.optimum().ok()?.least;
    let hours = night.goal.hours.is_none();
    let dearer = |length: f64| {
        let cost = search.best_at(Seconds(length))?.cost / least.cost - 1.0;
        (hours && cost.is_finite()).then_some(100.0 * cost.max(0.0))
    };
    if [shortest, longest].iter().all(|one| (one / best.sub_s.0 - 1.0).abs() < SAME_LENGTH) {
        return Some(format!("Sub length: yours of {yours} are what is recommended for this sky and goal."));
    }
    // What is recommended may cost a little more than the least itself.
    let as_good = dearer(best.sub_s.0).unwrap_or(0.0).max(100.0 * WITHIN);
    // Of several lengths the one that costs most.
    let cost = |length: f64| dearer(length).unwrap_or(f64::INFINITY);
    let worst = if cost(shortest) > cost(longest) { shortest } else { longest };
    let verdict = match dearer(worst) {
        Some(percent) if percent <= as_good => format!("yours of {yours} are as good"),
        Some(percent) if worst < least.sub.0 => {
            format!(
                "yours of {yours} are short: they cost {percent:.0} % more hours in read noise and in time between subs"
            )
        }
        Some(percent) => {
            format!("yours of {yours} are long: they cost {percent:.0} % more hours in subs that are spoilt or too few")
        }
        None if longest > search.longest() => format!("yours of {yours} are longer than mount, stars or sky allow"),
        None => format!("yours were of {yours}"),
    };
    Some(format!("Sub length: for this sky and goal {:.0} s is recommended; {verdict}.", best.sub_s.0))
}

fn of_width(filter: &FilterReview, all: &[FilterReview]) -> Option<String> {
    let width = filter.median_fwhm_px?;
    let best = filter.best_fwhm_px?;
    let predicted = filter.predicted_fwhm_px;
    let arcsec = |px: f64| px * filter.pixel_arcsec;
    let place = within(&filter.name, all);
    let numbers = format!(
        "{width:.1} px ({:.1}\") in the median{place}, {best:.1} px ({:.1}\") at best; the file's seeing, guiding and \
         optics make {predicted:.1} px ({:.1}\")",
        arcsec(width),
        arcsec(best),
        arcsec(predicted)
    );
    let change = best / predicted - 1.0;
    let verdict = if change > WIDTH_AS_SAID {
        "Even the best are wider than predicted: check focus and guiding before the sky is blamed, or make seeing_arcsec \
         larger."
    } else if change < -WIDTH_AS_SAID {
        "The air was steadier than the file says: seeing_arcsec can be smaller, and stars saturate sooner."
    } else {
        "As predicted."
    };
    Some(format!("Stars were {numbers}. {verdict}"))
}

fn of_sign(review: &Review, sign: Sign) -> Option<String> {
    let with: Vec<&SubReview> = review.subs.iter().filter(|sub| sub.signs.contains(&sign)).collect();
    if with.is_empty() {
        return None;
    }
    let dropped = with.iter().filter(|sub| !sub.keep).count();
    let clock = |sub: &SubReview| sub.when.as_ref().and_then(|when| when.split('T').nth(1).map(str::to_owned));
    let when = match (with.first().and_then(|sub| clock(sub)), with.last().and_then(|sub| clock(sub))) {
        (Some(first), Some(last)) if with.len() > 1 => format!(" from {first} to {last}"),
        (Some(first), _) => format!(" at {first}"),
        _ => String::new(),
    };
    let fate = match dropped {
        0 => "all worth keeping".into(),
        all if all == with.len() => "none worth keeping".into(),
        some => format!("{some} of them not worth keeping"),
    };
    let head = format!("{} in {}{when}, {fate}", capital(sign.word()), subs(with.len()));
    let least = |of: fn(&SubReview) -> Option<f64>| with.iter().filter_map(|sub| of(sub)).fold(f64::MAX, f64::min);
    let most = |of: fn(&SubReview) -> Option<f64>| with.iter().filter_map(|sub| of(sub)).fold(0.0, f64::max);
    // Where hardly a star was left nobody knows how much of its light was.
    let light = if with.iter().any(|sub| sub.starlight.is_none()) {
        "hardly a star".into()
    } else {
        format!(
            "{:.0} % of the starlight",
            100.0 * least(|sub| sub.starlight.map(|share| share.value.min(1.0))).min(1.0)
        )
    };
    let sky = most(|sub| Some(sub.sky_over_quiet));
    Some(match sign {
        Sign::Cloud => format!("{head}; at worst {light} came through."),
        Sign::Dew => format!(
            "{head}; at worst {light} was left. A strip of gentle heat round the front of the optics, begun \
             before it forms, keeps dew off; run it from a low-voltage supply, and keep plugs and mains away from wet grass."
        ),
        Sign::WideStars => {
            format!("{head}. Refocus when the air has cooled by some degrees, and look at the guiding of that time.")
        }
        Sign::Moon => format!(
            "{head}; the sky rose to {sky:.1} times the quiet one. With the Moon up a line filter loses less; else plan the \
             broad filters for the hours without it (`moon_free` in the plan of a date)."
        ),
        Sign::Twilight => format!("{head}; the sky rose to {sky:.1} times the quiet one. Begin later, or end earlier."),
        // Moon and twilight have signs of their own where their heights are known.
        Sign::BrightSky if with.iter().all(|sub| sub.moon_altitude_deg.is_some()) => format!(
            "{head}; the sky rose to {sky:.1} times the quiet one and the stars stayed, with neither Moon nor twilight in it: \
             lamps, or thin haze that they light."
        ),
        Sign::BrightSky => format!(
            "{head}; the sky rose to {sky:.1} times the quiet one and the stars stayed: Moon, twilight or lamps. With date, \
             place and times this program tells which."
        ),
        Sign::Nebula | Sign::OtherField => return None,
    })
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn of_pattern(filter: &FilterReview, all: &[FilterReview]) -> Option<String> {
    let share = filter.pattern_share_percent.filter(|share| *share > PATTERN_SHARE)?;
    let places = filter.dither_positions?;
    let seen = if places == 1 { "No dither was seen".into() } else { format!("{places} dither places were seen") };
    Some(format!(
        "{seen}{} in {}: pattern and calibration frames bring {share:.0} % of the stack's variance. Dither more often, or \
         take more darks and flats.",
        within(&filter.name, all),
        subs(filter.subs_kept)
    ))
}

fn of_goal(filter: &FilterReview) -> Option<String> {
    let (achieved, goal, more) = (filter.achieved_snr?, filter.goal_snr?, filter.hours_to_goal?);
    Some(if more <= 0.0 {
        format!("The goal of {goal} is reached: {:.1} in the kept subs of {}.", achieved.value, filter.name)
    } else {
        format!(
            "{:.1} of the {goal} that are asked for are reached in {}; about {} more of open shutter like this night's kept \
             subs would do, hours of earlier nights not counted.",
            achieved.value,
            filter.name,
            hours(more)
        )
    })
}
