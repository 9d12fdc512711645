//! Which frames to take, so that a camera can be measured: the calibration frames as data.

use serde::Serialize;

use crate::document::Format;

use crate::units::{Celsius, Seconds};

/// Flats, as shares of the time that just saturates: even steps of the logarithm below, wider ones above, and one
/// pair that is saturated. EMVA 1288 asks for 50 levels; with millions of pixels the variance of each pair is known
/// to a thousandth and a dozen pairs pin the curve (derived here: σ(v)/v = √(2/N)).
const FLATS: [f64; 14] = [0.01, 0.02, 0.03, 0.05, 0.07, 0.10, 0.15, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 1.30];
/// The same in a hurry.
const FEW_FLATS: [f64; 9] = [0.02, 0.05, 0.10, 0.20, 0.30, 0.40, 0.55, 0.70, 1.30];
/// Set points of a cooled camera; four, or the floor of the dark current cannot be told from its slope.
const SET_POINTS_C: [f64; 4] = [-10.0, -20.0, 0.0, 10.0];
/// Places of an uncooled camera, far enough apart: at least 5 K.
const PLACES: [&str; 4] = ["a cool room", "a cellar", "a warm room", "a cold porch, dry and above freezing"];
/// Writing a frame and the pause before the next, for the time that a list takes (common practice, no source).
const BETWEEN_S: f64 = 2.0;
/// The camera settles at a temperature in about so many seconds: a cooler, or a body with the air around it.
const COOLER_SETTLES_S: f64 = 600.0;
const BODY_SETTLES_S: f64 = 1800.0;

/// Which camera the list is for, and how much time there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChecklistFor {
    /// A camera that holds a set point.
    Cooled,
    /// A camera as warm as its room.
    Uncooled,
    /// Any camera, in a quarter of an hour.
    Quick,
}

/// What a step is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum StepKind {
    /// Something to do before the next frames; its count is 0.
    Prepare,
    /// No light, shortest time.
    Bias,
    /// Even light.
    Flat,
    /// No light, some time.
    Dark,
}

/// One line of the list.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ChecklistStep {
    /// What it is.
    pub kind: StepKind,
    /// Frames to take; 0 where nothing is taken.
    pub count: usize,
    /// How long the shutter is open; `None` for the shortest time of bias frames, and for flats, whose time depends
    /// on the lamp.
    pub exposure_s: Option<Seconds>,
    /// Flats: the exposure as a share of the time that just saturates.
    pub of_saturation_time: Option<f64>,
    /// The set point to take it at, for a cooled camera.
    pub sensor_c: Option<Celsius>,
    /// Where to take it, for an uncooled one.
    pub place: Option<&'static str>,
    /// How, and why.
    pub note: String,
}

/// The frames to take, what to beware of, and what they cannot tell.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Checklist {
    /// Which camera it is for, in words.
    #[serde(rename = "for")]
    pub camera: &'static str,
    /// What to do, in this order.
    pub steps: Vec<ChecklistStep>,
    /// About how long it takes, for one gain setting.
    pub minutes: f64,
    /// What can hurt people or cameras.
    pub cautions: Vec<&'static str>,
    /// What these frames cannot tell.
    pub cannot_tell: Vec<&'static str>,
}

impl Format for Checklist {
    const FORMAT: &'static str = "subwell.checklist";
}

/// The list for a camera.
///
/// It asks for what `measure` needs to raise no doubt that a photographer could have prevented: bias frames, flats in
/// pairs from 1 to 70 % of saturation and a saturated pair, darks of three exposure times, at four temperatures.
///
/// # Source
/// The ladder of exposures and the pairs: EMVA Standard 1288, Release 4.0 Linear (as quoted by secondary texts), with
/// fewer levels. Counts and settling times: common practice, no source.
///
/// # Examples
/// ```
/// use subwell::plan::{ChecklistFor, checklist};
/// let list = checklist(ChecklistFor::Quick);
/// assert!(list.minutes < 20.0 && !list.cannot_tell.is_empty());
/// ```
#[must_use]
pub fn checklist(camera: ChecklistFor) -> Checklist {
    let mut steps = vec![settings(camera)];
    match camera {
        ChecklistFor::Cooled => cooled(&mut steps),
        ChecklistFor::Uncooled => uncooled(&mut steps),
        ChecklistFor::Quick => quick(&mut steps),
    }
    steps.push(prepare(
        "keep the files in folders named bias, flats and darks, one for each gain or ISO inside; then `subwell frames DIR` says what is \
         missing, and `subwell measure DIR` measures. For another gain or ISO take bias frames, flats and darks of one temperature again",
    ));
    Checklist {
        camera: match camera {
            ChecklistFor::Cooled => "a cooled camera",
            ChecklistFor::Uncooled => "a camera without cooler",
            ChecklistFor::Quick => "a first look at any camera",
        },
        minutes: minutes(camera, &steps),
        steps,
        cautions: cautions(camera),
        cannot_tell: cannot_tell(camera),
    }
}

fn prepare(note: impl Into<String>) -> ChecklistStep {
    ChecklistStep {
        kind: StepKind::Prepare,
        count: 0,
        exposure_s: None,
        of_saturation_time: None,
        sensor_c: None,
        place: None,
        note: note.into(),
    }
}

fn settings(camera: ChecklistFor) -> ChecklistStep {
    let cooler = if camera == ChecklistFor::Cooled {
        "; the same readout mode and USB speed, and an offset at which no dark pixel is 0"
    } else {
        ""
    };
    prepare(format!(
        "raw files, full size, no lossy compression; long-exposure and high-ISO noise reduction, lens corrections and \
         automatic ISO off; manual mode, stabiliser off, eyepiece covered{cooler}: anything that changes the counts \
         changes the answer"
    ))
}

/// Where frames are taken: a set point, a place, or as it is.
#[derive(Clone, Copy)]
struct Where {
    sensor: Option<Celsius>,
    place: Option<&'static str>,
}

const HERE: Where = Where { sensor: None, place: None };

impl Where {
    fn step(self, kind: StepKind, count: usize, exposure: Option<f64>, note: &str) -> ChecklistStep {
        ChecklistStep {
            kind,
            count,
            exposure_s: exposure.map(Seconds),
            sensor_c: self.sensor,
            place: self.place,
            ..prepare(note)
        }
    }

    fn bias(self, count: usize, note: &str) -> ChecklistStep {
        self.step(StepKind::Bias, count, None, note)
    }

    fn flats(self, shares: &[f64]) -> impl Iterator<Item = ChecklistStep> {
        let note = |number: usize, share: f64| match number {
            _ if share > 1.0 => "a saturated pair: where the sensor ends",
            0 => "a pair right after each other: their difference holds the photon noise alone, and so the gain",
            _ => "a pair, the lamp as before",
        };
        let steps: Vec<_> = shares
            .iter()
            .enumerate()
            .map(|(number, &share)| {
                let step = self.step(StepKind::Flat, 2, None, note(number, share));
                ChecklistStep { of_saturation_time: Some(share), ..step }
            })
            .collect();
        steps.into_iter()
    }

    /// Darks of these times and numbers, one after the other: there and back, so that what drifts does not look like charge.
    fn darks(self, runs: &[(f64, usize)]) -> impl Iterator<Item = ChecklistStep> {
        let last = runs.len() - 1;
        let note = |number: usize| match number {
            0 => "cap on, foil over it, dark room: the level's growth with time is the dark current",
            _ if number == last => {
                "the shortest again, last: a sensor that warms or a level that drifts shows between them, and falls out"
            }
            _ => {
                "the same, in this order: short, long, long, short. In rising order time, warmth and exposure would rise together, and \
                  nothing could tell them apart"
            }
        };
        let steps: Vec<_> = runs
            .iter()
            .enumerate()
            .map(|(number, &(time, count))| self.step(StepKind::Dark, count, Some(time), note(number)))
            .collect();
        steps.into_iter()
    }
}

const BIAS: &str = "cap on, dark room, shortest time: offset and read noise";
const BIAS_AGAIN: &str = "the same here: offset and read noise change with temperature";
const LAMP: &str = "an even, steady light: an LED panel or a white screen on direct current, warm for ten minutes; lens off, or a cloth \
     over the lens out of focus. Find the time at which the brightest pixels just saturate (t_sat), and make the light so weak that it is some \
     seconds: lamps flicker with the mains, and short times suffer most";

fn cooled(steps: &mut Vec<ChecklistStep>) {
    for (number, celsius) in SET_POINTS_C.into_iter().enumerate() {
        let here = Where { sensor: Some(Celsius(celsius)), place: None };
        let why = if number == 0 { "" } else { ": the law of the dark current, and what cooling does not lower" };
        steps.push(prepare(format!("cool to {celsius} °C and wait ten minutes{why}")));
        if number == 0 {
            steps.push(here.bias(20, BIAS));
            steps.push(prepare(LAMP));
            steps.extend(here.flats(&FLATS));
        } else {
            steps.push(here.bias(4, BIAS_AGAIN));
        }
        steps.extend(here.darks(&[(30.0, 2), (120.0, 2), (300.0, 4), (120.0, 2), (30.0, 2)]));
    }
}

fn uncooled(steps: &mut Vec<ChecklistStep>) {
    for (number, place) in PLACES.into_iter().enumerate() {
        let here = Where { sensor: None, place: Some(place) };
        let why = if number == 0 {
            "the sensor is still warming. Where the files do not give its temperature write it into sidecar.csv"
        } else {
            "as before. At least 5 K from the others, for the law of the dark current"
        };
        steps.push(prepare(format!(
            "{place}: half an hour switched on, then throw the first five long darks away, {why}"
        )));
        if number == 0 {
            steps.push(here.bias(20, BIAS));
            steps.push(prepare(LAMP));
            steps.extend(here.flats(&FLATS));
        } else {
            steps.push(here.bias(4, BIAS_AGAIN));
        }
        steps.extend(here.darks(&[(15.0, 2), (60.0, 2), (180.0, 4), (60.0, 2), (15.0, 2)]));
    }
}

fn quick(steps: &mut Vec<ChecklistStep>) {
    steps.push(HERE.bias(20, BIAS));
    steps.push(prepare(LAMP));
    steps.extend(HERE.flats(&FEW_FLATS));
    steps.extend(HERE.darks(&[(10.0, 2), (60.0, 2), (120.0, 2), (10.0, 2)]));
}

/// Open shutter, pauses, and settling.
fn minutes(camera: ChecklistFor, steps: &[ChecklistStep]) -> f64 {
    let frames: f64 = steps
        .iter()
        .map(|step| {
            step.count as f64
                * (step.exposure_s.map_or(step.of_saturation_time.unwrap_or(0.0) * 3.0, |t| t.0) + BETWEEN_S)
        })
        .sum();
    let settling = match camera {
        ChecklistFor::Cooled => SET_POINTS_C.len() as f64 * COOLER_SETTLES_S,
        ChecklistFor::Uncooled => PLACES.len() as f64 * BODY_SETTLES_S,
        ChecklistFor::Quick => 120.0,
    };
    ((frames + settling) / 60.0).round()
}

fn cautions(camera: ChecklistFor) -> Vec<&'static str> {
    let mut cautions = vec![
        "Never point a tube or lens at or near the Sun, also not for flats: it blinds, and it burns the camera. For flats at twilight wait \
         until the Sun has set, keep the cap on until then, and look at the sky opposite to it",
        "Light panels: do not stare into a bright or flickering one, and do not leave one lying on a tube that can move",
        "Mains power where dew falls: a residual-current protected outlet, plugs and power bricks off the ground and under cover, low voltage at \
         the mount; what the local electrical code or an electrician says comes first",
        "Do not open the camera: bodies with a flash keep a charge that can hurt long after the battery is out, and seals are lost. Leave \
         it to a service",
    ];
    match camera {
        ChecklistFor::Cooled => cautions.push(
            "Cool and warm in steps, with dry desiccant; let a cold camera come to the room's temperature in a closed bag. A ring of frost in the \
             flats means stop and dry",
        ),
        ChecklistFor::Uncooled => cautions.push(
            "No freezer, oven or hair-dryer, and nothing below the lowest temperature of the camera's manual: frost and dew get inside, and \
             lithium cells must not be charged below 0 °C. Ask the maker where the manual is silent",
        ),
        ChecklistFor::Quick => {}
    }
    cautions
}

fn cannot_tell(camera: ChecklistFor) -> Vec<&'static str> {
    let mut unknown = vec!["quantum efficiency: that needs calibrated light"];
    match camera {
        ChecklistFor::Cooled => {}
        ChecklistFor::Uncooled => unknown
            .push("dark current outside the temperatures of these places: cold nights are carried there by the law, with its uncertainty"),
        ChecklistFor::Quick => unknown.extend([
            "how dark current changes with temperature: all darks are at one",
            "dark current below some thousandths of an electron per second, and the share of hot pixels to better than a rough number",
            "knees of the transfer curve between the few levels, and drifts that show only in an hour",
        ]),
    }
    unknown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_list_has_cautions_and_frames_in_pairs() {
        for camera in [ChecklistFor::Cooled, ChecklistFor::Uncooled, ChecklistFor::Quick] {
            let list = checklist(camera);
            assert!(list.cautions.iter().any(|words| words.contains("Sun")));
            assert!(list.steps.iter().all(|step| step.count % 2 == 0 && !step.note.is_empty()));
            assert!(list.steps.iter().all(|step| (step.count == 0) == (step.kind == StepKind::Prepare)));
        }
    }

    /// What rises evenly with the time moves the short darks of a list as much as the long ones.
    #[test]
    fn darks_go_there_and_back() {
        for camera in [ChecklistFor::Cooled, ChecklistFor::Uncooled] {
            let list = checklist(camera);
            let darks: Vec<&ChecklistStep> = list.steps.iter().filter(|step| step.kind == StepKind::Dark).collect();
            for run in darks.chunks(5) {
                let times: Vec<f64> = run.iter().filter_map(|step| step.exposure_s).map(|time| time.0).collect();
                let back: Vec<f64> = times.iter().rev().copied().collect();
                assert_eq!(times, back);
                assert!(run.iter().any(|step| step.note.contains("short, long, long, short")));
            }
        }
    }

    #[test]
    fn the_quick_list_is_quick_and_the_long_ones_fit_an_evening() {
        assert!(checklist(ChecklistFor::Quick).minutes <= 15.0, "{}", checklist(ChecklistFor::Quick).minutes);
        assert!(checklist(ChecklistFor::Cooled).minutes < 240.0);
        assert!(checklist(ChecklistFor::Uncooled).minutes < 300.0);
    }
}
