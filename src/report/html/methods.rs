//! How each number was got, with its source; and what to beware of.

use std::borrow::Cow;

use crate::decide::{THRESHOLDS, USEFUL_SHARE};
use crate::plan::RULES_OF_THUMB_PERCENT;
use crate::report::Table;
use crate::review::WORTH_DROPPING;
use crate::sensor::{CORE_SIGMAS, TEMPERATURES_FOR_A_FLOOR};

/// A number, the way to it, where the way is from. Numbers in the words are those of the constants that they are about.
type Method = (&'static str, Cow<'static, str>, &'static str);

fn camera() -> Vec<Method> {
    vec![
        (
            "gain",
            "noise against light: variance of pair differences at many levels, a quadratic fitted by maximum likelihood; the slope at no signal".into(),
            "Janesick 2007, Photon Transfer (from memory); curvature: Astier et al. 2019, A&A 629 A36",
        ),
        (
            "read noise",
            format!(
                "differences of bias frames, the converter's step taken out as step²/12; the core leaves out pixels beyond \
                 {CORE_SIGMAS} robust sigmas"
            )
            .into(),
            "EMVA 1288 style, Release 4.0, as quoted by secondary texts",
        ),
        (
            "saturation, dynamic range, linearity",
            "where the variance of the flats falls, and the standard's formulas; EMVA 1288 style".into(),
            "EMVA Standard 1288 Release 4.0 Linear, 2021, as quoted by secondary texts",
        ),
        (
            "DSNU, PRNU",
            "spread of the pixels in averaged stacks, temporal noise subtracted".into(),
            "EMVA Standard 1288 Release 4.0 Linear, 2021, as quoted by secondary texts",
        ),
        (
            "dark current",
            "the level's slope over exposure time, or the variance's where the camera pins its dark level".into(),
            "EMVA Standard 1288 Release 4.0, as quoted by secondary texts",
        ),
        (
            "its law of temperature",
            format!("T^1.5 exp(−Ea/kT), with a floor where {TEMPERATURES_FOR_A_FLOOR} temperatures or more show it").into(),
            "Janesick 2001, Scientific Charge-Coupled Devices (from memory); the interval beyond the points: derived here",
        ),
        (
            "uncertainties",
            "one standard uncertainty, statistical and systematic together, after ±".into(),
            "JCGM 100, Guide to the Expression of Uncertainty in Measurement (from memory)",
        ),
    ]
}

fn plan() -> Vec<Method> {
    vec![
        (
            "electrons per second",
            "surface brightness through air, optics and filter: sky and target spectra in one sum over what filter and pixel pass; lines as the beam's \
             angles leave them".into(),
            "Bessell, Castelli & Plez 1998, A&A 333, 231 (zero points, as quoted); airmass: Kasten & Young 1989",
        ),
        (
            "the sky",
            "class or magnitude to light, brighter towards the horizon; Moon and twilight averaged over the usable hours".into(),
            "Krisciunas & Schaefer 1991, PASP 103, 1033; Patat 2003, A&A 400, 1183; twilight: Patat et al. 2006, A&A 455, 385 (V, from memory)",
        ),
        (
            "signal over noise",
            "shot noise of target, sky and dark current, read noise, quantisation, pattern left by calibration and dithering; read noise and pattern as the camera's rows, columns and areas share them".into(),
            "CCD equation: Howell 2000, Handbook of CCD Astronomy (values as quoted); terms of pattern, dither and shared noise: derived here",
        ),
        (
            "sub length and cadence",
            "least time on the clock for the goal: waits between subs and read noise against lost subs".into(),
            "derived here from the CCD equation",
        ),
        (
            "rules of thumb",
            format!(
                "the length at which read noise adds {} to a sub's noise (the trade's {} times read noise squared); the raw sky \
                 at a third of the range",
                percents(&RULES_OF_THUMB_PERCENT),
                or(&RULES_OF_THUMB_PERCENT.map(read_noise_squares)),
            )
            .into(),
            "derived here; that they are used: common practice, no source",
        ),
        (
            "dark current at the plan's temperature",
            "from the profile's law; beyond the measured temperatures with the interval that physics allows".into(),
            "Janesick 2001 (from memory); Rajkanan, Singh & Shewchun 1979",
        ),
        (
            "likely range",
            "one standard uncertainty of sky, target, throughput and camera, down and up".into(),
            "JCGM 100 (from memory); sizes of the typed inputs' uncertainties: common practice, no source",
        ),
    ]
}

fn cooling() -> Vec<Method> {
    vec![
        (
            "the months",
            "night air from the climate's mean and swing; the body's warming above it without cooling, the set point or the cooler's reach with it; dark \
         hours from the latitude".into(),
            "derived here; swing and warming that the night file leaves out: common practice, no source, and a caveat says so",
        ),
        (
            "dark current of a month",
            "the profile's law, its mean over warm and cold nights and over a night's course; a stack takes subs from all of them".into(),
            "Janesick 2001 (from memory); mean over a normal distribution by five points: Gauss and Hermite, exact to the ninth power",
        ),
        (
            "ratio of hours",
            "least time on the clock for the same signal over noise, best sub length and cadence for each way, moonless nights, nothing rounded".into(),
            "derived here from the CCD equation (Howell 2000, Handbook of CCD Astronomy, values as quoted)",
        ),
        (
            "the verdict",
            format!(
                "not worth it below {}, marginal to {}, worth it to {}, clearly worth it above",
                THRESHOLDS[0], THRESHOLDS[1], THRESHOLDS[2]
            )
            .into(),
            "a choice of this program; no source",
        ),
        (
            "where it pays",
            format!(
                "the sky and the night air at which the year's ratio is the middle threshold; the set point that costs {} more \
                 time than a far colder one",
                percents(&[100.0 * USEFUL_SHARE]),
            )
            .into(),
            "derived here: a root of the same ratio",
        ),
        (
            "what of it is cooling",
            "the cameras' properties exchanged one by one, each factor the mean over all orders of exchange; they multiply to the whole".into(),
            "Shapley 1953 (from memory); applied here to logarithms of hours",
        ),
    ]
}

fn compare() -> Vec<Method> {
    vec![
        (
            "hours of each night",
            "least time on the clock for the first night's goal, best sub length and cadence, nothing rounded".into(),
            "derived here from the CCD equation (Howell 2000, Handbook of CCD Astronomy, values as quoted)",
        ),
        (
            "the factors",
            "what differs is exchanged one by one, each factor the mean over all orders of exchange; they multiply to the whole".into(),
            "Shapley 1953 (from memory); applied here to logarithms of hours",
        ),
        (
            "its uncertainty",
            "what the nights do not share: the same camera, optics or sky is as wrong in both".into(),
            "JCGM 100 (from memory)",
        ),
        (
            "the break-even drive",
            "hours on the road that eat, of a clear night, what the second night gains: clear hours × (1 − 1/ratio)".into(),
            "derived here",
        ),
        (
            "the filters alone",
            "a galaxy's light and a nebula's lines, with both nights' filters under lamps of each kind".into(),
            "Bessell, Castelli & Plez 1998, A&A 333, 231 (zero points, as quoted); spectra of the lamps: approximations made here",
        ),
    ]
}

fn review() -> Vec<Method> {
    vec![
        (
            "sky of a sub",
            "its background less the dark's, over gain and exposure time; predicted: the plan's own model for that minute, Moon and twilight included".into(),
            "Krisciunas & Schaefer 1991, PASP 103, 1033; Patat 2003, A&A 400, 1183",
        ),
        (
            "light and width of the stars",
            "the same stars in every sub; light against the set's best subs, the air at the target's height accounted for; the width is the median of the \
         brightest third".into(),
            "derived here; airmass: Kasten & Young 1989",
        ),
        (
            "what is named",
            "cloud, dew, Moon, twilight and the like, each against the best of the set: what lasted all night is everybody's and is not seen".into(),
            "derived here",
        ),
        (
            "what to leave out",
            format!(
                "the subs without which signal over noise of the plain mean is largest; nothing is dropped for less than {}",
                percents(&[100.0 * WORTH_DROPPING]),
            )
            .into(),
            "derived here: a sub helps while its signal over variance is above half of the stack's",
        ),
        (
            "signal over noise",
            "the measured sky and starlight in the plan's own noise sum".into(),
            "CCD equation: Howell 2000, Handbook of CCD Astronomy (values as quoted)",
        ),
    ]
}

const COOLING_CAUTIONS: &[&str] = &[
    "Let a cold camera warm up in a closed bag, so that no dew settles in it; lower a cooler's set point in steps.",
    "Do not open a camera body to cool it or to dry it: there are voltages in it, and the sensor does not forgive dust, moisture or static.",
    "A cooler draws several amperes: a supply and leads made for it, fused, low voltage at the mount; an outlet with residual-current protection \
     where dew falls. Local codes and an electrician come first.",
    "Do not charge lithium cells in frost; warm them first, and fuse the lead.",
];

const CAMERA_CAUTIONS: &[&str] = &[
    "Never point a tube or a lens at or near the Sun, also not for flats: it blinds and it burns. At twilight wait until the Sun has set and keep \
     the cap on until then.",
    "Let a cold camera warm up in a closed bag, so that no dew settles in it; lower a cooler's set point in steps.",
    "No oven, no hair dryer, no freezer for darks at other temperatures: a cellar and a warm room are enough, within what the maker allows.",
];

const PLAN_CAUTIONS: &[&str] = &[
    "Cap the tube before dawn: a mount that runs on into the morning can look at the Sun.",
    "Mains power where dew falls: an outlet with residual-current protection, plugs and bricks off the ground and covered, low voltage at the mount. \
     Local codes and an electrician come first; in thunder unplug and go in.",
    "No laser pointers near aircraft, vehicles, people or animals; in many places the law forbids them. A polar scope or a camera finds the pole too.",
    "Do not charge lithium cells in frost; warm them first, and fuse the lead.",
    "Dress for two hours of standing still, tell somebody where you are, and do not drive home tired.",
];

/// Percents in a row: 10, 5 or 2 %.
fn percents(numbers: &[f64]) -> String {
    format!("{} %", or(numbers))
}

/// Numbers in a row: 10, 5 or 2.
fn or(numbers: &[f64]) -> String {
    let texts: Vec<String> = numbers.iter().map(f64::to_string).collect();
    match texts.split_last() {
        Some((last, others)) if !others.is_empty() => format!("{} or {last}", others.join(", ")),
        _ => texts.concat(),
    }
}

/// How many times the squared read noise the light of a sub is, when read noise adds so many percent to its noise.
fn read_noise_squares(percent: f64) -> f64 {
    (1.0 / ((1.0 + percent / 100.0).powi(2) - 1.0)).round()
}

fn table(methods: Vec<Method>) -> Table {
    let head = ["number", "how", "source"].map(String::from).to_vec();
    let rows =
        methods.into_iter().map(|(name, how, source)| vec![name.into(), how.into_owned(), source.into()]).collect();
    Table { head, rows }
}

/// How the numbers of a camera were got.
pub(super) fn camera_methods() -> Table {
    table(camera())
}

/// How the numbers of a plan were got.
pub(super) fn plan_methods() -> Table {
    table(plan())
}

/// How the numbers about cooling were got.
pub(super) fn cooling_methods() -> Table {
    table(cooling())
}

/// How the numbers of two nights were got.
pub(super) fn compare_methods() -> Table {
    table(compare())
}

/// How the numbers of changes and of targets were got.
pub(super) fn choices_methods() -> Table {
    table(vec![
        (
            "hours",
            "the least wall-clock time over sub length and cadence for the signal over noise asked for; for targets the plan over the \
             nights, in each of the night's filters"
                .into(),
            "derived for this program; noise as in the report of a plan",
        ),
        (
            "saved in a year",
            "the year's hours less those for the same pictures with the change, the road taken from the clear hours".into(),
            "derived for this program",
        ),
        (
            "brightness of targets",
            "the catalogue's mean over the whole object, or its lines; good to half a magnitude or worse".into(),
            "the sources of each entry stand in the library's documentation",
        ),
    ])
}

/// How the numbers of a reviewed night were got.
pub(super) fn review_methods() -> Table {
    table(review())
}

/// What to beware of with cooled cameras.
pub(super) fn cooling_cautions() -> &'static [&'static str] {
    COOLING_CAUTIONS
}

/// What to beware of when taking calibration frames.
pub(super) fn camera_cautions() -> &'static [&'static str] {
    CAMERA_CAUTIONS
}

/// What to beware of in the night.
pub(super) fn plan_cautions() -> &'static [&'static str] {
    PLAN_CAUTIONS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rules_of_thumb_are_those_of_the_plan() {
        let table = plan_methods();
        let how = &table.rows.iter().find(|row| row[0] == "rules of thumb").unwrap()[1];
        // √(1 + 1/k) = 1.10, 1.05, 1.02 at k = 4.8, 9.8, 24.8.
        assert!(how.contains("adds 10, 5 or 2 % to"), "{how}");
        assert!(how.contains("5, 10 or 25 times"), "{how}");
    }

    #[test]
    fn numbers_are_written_in_a_row() {
        assert_eq!(or(&[2.0]), "2");
        assert_eq!(percents(&[0.5, 1.0]), "0.5 or 1 %");
        assert_eq!(percents(&[100.0 * WORTH_DROPPING]), "0.2 %");
    }
}
