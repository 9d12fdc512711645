//! How each number was got, with its source; and what to beware of.

use crate::report::plots::Table;

/// A number, the way to it, where the way is from.
type Method = (&'static str, &'static str, &'static str);

const CAMERA: &[Method] = &[
    (
        "gain",
        "noise against light: variance of pair differences at many levels, a quadratic fitted by maximum likelihood; the slope at no signal",
        "Janesick 2007, Photon Transfer (from memory); curvature: Astier et al. 2019, A&A 629 A36",
    ),
    (
        "read noise",
        "differences of bias frames, the converter's step taken out as step²/12; the core leaves out pixels beyond four robust sigmas",
        "EMVA 1288 style, Release 4.0, as quoted by secondary texts",
    ),
    (
        "saturation, dynamic range, linearity",
        "where the variance of the flats falls, and the standard's formulas; EMVA 1288 style",
        "EMVA Standard 1288 Release 4.0 Linear, 2021, as quoted by secondary texts",
    ),
    (
        "DSNU, PRNU",
        "spread of the pixels in averaged stacks, temporal noise subtracted",
        "EMVA Standard 1288 Release 4.0 Linear, 2021, as quoted by secondary texts",
    ),
    (
        "dark current",
        "the level's slope over exposure time, or the variance's where the camera pins its dark level",
        "EMVA Standard 1288 Release 4.0, as quoted by secondary texts",
    ),
    (
        "its law of temperature",
        "T^1.5 exp(−Ea/kT) with a floor where four temperatures can tell one",
        "Janesick 2001, Scientific Charge-Coupled Devices (from memory); the interval beyond the points: derived here",
    ),
    (
        "uncertainties",
        "one standard uncertainty, statistical and systematic together, after ±",
        "JCGM 100, Guide to the Expression of Uncertainty in Measurement (from memory)",
    ),
];

const PLAN: &[Method] = &[
    (
        "electrons per second",
        "surface brightness through air, optics and filter, band by band",
        "Bessell, Castelli & Plez 1998, A&A 333, 231 (zero points, as quoted); airmass: Kasten & Young 1989",
    ),
    (
        "the sky",
        "class or magnitude to light; Moon and twilight averaged over the usable hours",
        "Krisciunas & Schaefer 1991, PASP 103, 1033; Patat 2003, A&A 400, 1183; twilight from memory",
    ),
    (
        "signal over noise",
        "shot noise of target, sky and dark current, read noise, quantisation, pattern left by calibration and dithering",
        "CCD equation: Howell 2000, Handbook of CCD Astronomy (values as quoted); terms of pattern and dither: derived here",
    ),
    (
        "sub length and cadence",
        "least time on the clock for the goal: waits between subs and read noise against lost subs",
        "derived here from the CCD equation",
    ),
    (
        "rules of thumb",
        "the length at which read noise adds 15, 10 or 5 % to a sub's noise (the trade's 3, 5 and 10 times read noise squared); the raw sky at a third \
         of the range",
        "derived here; that they are used: common practice, no source",
    ),
    (
        "dark current at the plan's temperature",
        "from the profile's law; beyond the measured temperatures with the interval that physics allows",
        "Janesick 2001 (from memory); Rajkanan, Singh & Shewchun 1979",
    ),
    (
        "likely range",
        "one standard uncertainty of sky, target, throughput and camera, down and up",
        "JCGM 100 (from memory); sizes of the typed inputs' uncertainties: common practice, no source",
    ),
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

fn table(methods: &[Method]) -> Table {
    let head = ["number", "how", "source"].map(String::from).to_vec();
    let rows = methods.iter().map(|(name, how, source)| [*name, *how, *source].map(String::from).to_vec()).collect();
    Table { head, rows }
}

/// How the numbers of a camera were got.
pub(super) fn camera_methods() -> Table {
    table(CAMERA)
}

/// How the numbers of a plan were got.
pub(super) fn plan_methods() -> Table {
    table(PLAN)
}

/// What to beware of when taking calibration frames.
pub(super) fn camera_cautions() -> &'static [&'static str] {
    CAMERA_CAUTIONS
}

/// What to beware of in the night.
pub(super) fn plan_cautions() -> &'static [&'static str] {
    PLAN_CAUTIONS
}
