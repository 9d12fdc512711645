//! What the program says of each number that is asked, beside the truth.

use serde_json::{Value, json};
use subwell::camera::{Mode, Plane};
use subwell::units::Celsius;

use super::measured::Said;
use super::world::{Asked, Quantity, Set};
use crate::whole_frames::{Kind, Shot};

/// One number with its truth.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Observation {
    pub(crate) name: String,
    pub(crate) truth: f64,
    pub(crate) reach: [f64; 2],
    /// Value and 95 % interval; `None` where nothing is said.
    pub(crate) said: Option<(f64, [f64; 2])>,
}

impl Observation {
    pub(crate) fn to_json(&self) -> Value {
        let said = self.said.map(|(value, [low, high])| [value, low, high]);
        json!({ "name": self.name, "truth": self.truth, "reach": self.reach, "said": said })
    }

    pub(crate) fn from_json(value: &Value) -> Option<Self> {
        let number = |value: &Value| value.as_f64();
        let said = value["said"].as_array().map(|said| {
            // What is no number (infinite, undefined) is written as null.
            let of = |place: usize| said.get(place).and_then(number).unwrap_or(f64::NAN);
            (of(0), [of(1), of(2)])
        });
        let reach = [number(&value["reach"][0])?, number(&value["reach"][1])?];
        Some(Self { name: value["name"].as_str()?.to_owned(), truth: number(&value["truth"])?, reach, said })
    }
}

/// What a plan would be told beside the numbers asked: codes.
pub(crate) fn codes_of_plans(set: &Set, said: &Said) -> Vec<String> {
    let plane = said.modes.first().and_then(|mode| mode.planes.first());
    let told = |asked: &Asked| match (asked.quantity, plane) {
        (Quantity::DarkAt(celsius), Some(plane)) => subwell::noise::dark_current(plane, Celsius(celsius)).caveats,
        _ => Vec::new(),
    };
    set.asked.iter().flat_map(told).map(|caveat| caveat.code.to_string()).collect()
}

/// All that was asked of a set.
pub(crate) fn observations(set: &Set, said: &Said) -> Vec<Observation> {
    set.asked.iter().flat_map(|asked| observed(asked, set, said)).collect()
}

fn observed(asked: &Asked, set: &Set, said: &Said) -> Vec<Observation> {
    let name = asked.quantity.name();
    let mode = match asked.quantity {
        Quantity::Gain(Some(setting)) => said.modes.iter().find(|mode| mode.gain_setting == Some(setting)),
        _ => said.modes.first(),
    };
    let plane = mode.and_then(|mode: &Mode| mode.planes.first());
    if asked.quantity == Quantity::Dark {
        return darks(plane, set, &name);
    }
    let said = plane.and_then(|plane| number(plane, asked.quantity));
    vec![Observation { name, truth: asked.truth, reach: asked.reach, said }]
}

fn number(plane: &Plane, quantity: Quantity) -> Option<(f64, [f64; 2])> {
    let of = |value: f64, (low, high): (f64, f64)| Some((value, [low, high]));
    match quantity {
        Quantity::Gain(_) => of(plane.gain_e_per_dn.value.0, plane.gain_e_per_dn.interval()),
        Quantity::ReadNoise if plane.read_noise_is_upper_limit => {
            of(plane.read_noise_e.value.0, (0.0, plane.read_noise_e.value.0))
        }
        Quantity::ReadNoise => of(plane.read_noise_e.value.0, plane.read_noise_e.interval()),
        Quantity::DarkAt(celsius) => {
            let rate = subwell::noise::dark_current(plane, Celsius(celsius)).rate;
            of(rate.value.0, rate.interval())
        }
        Quantity::Floor => {
            let thermal = plane.thermal.as_ref()?;
            let (floor, sigma) = (thermal.floor_e_per_s.0, thermal.floor_uncertainty_e_per_s?.0);
            of(floor, (floor - 1.96 * sigma, floor + 1.96 * sigma))
        }
        Quantity::Saturation => {
            let (low, high) = plane.saturation_e.interval();
            let at_least = plane.saturation_is == subwell::camera::SaturationIs::AtLeast;
            of(plane.saturation_e.value.0, (low, if at_least { f64::MAX } else { high }))
        }
        Quantity::Prnu => plane.prnu_percent.and_then(|prnu| of(prnu.value, prnu.interval())),
        Quantity::Dark => None,
    }
}

/// The dark current at each temperature that the profile names; the truth is that of the sensor as it was: a header's
/// error is put right by the mean error of the darks that lie nearest to the point.
fn darks(plane: Option<&Plane>, set: &Set, name: &str) -> Vec<Observation> {
    let darks: Vec<&Shot> = set.shots.iter().filter(|shot| shot.kind == Kind::Dark && shot.exposure_s > 1.0).collect();
    let law = set.camera.body.dark;
    let points = plane.map_or(&[][..], |plane| &plane.dark_current[..]);
    let distance = |celsius: Option<Celsius>, shot: &Shot| match (celsius, shot.told.celsius) {
        (Some(point), Some(told)) => (point.0 - told).abs(),
        _ => 0.0,
    };
    let mut observations = Vec::new();
    for (number, point) in points.iter().enumerate() {
        let nearest = |shot: &&&Shot| {
            let own = distance(point.sensor_c, shot);
            points.iter().enumerate().all(|(other, there)| other == number || distance(there.sensor_c, shot) >= own)
        };
        let mine: Vec<&&Shot> = darks.iter().filter(nearest).collect();
        if mine.is_empty() {
            continue;
        }
        let mean = |read: &dyn Fn(&Shot) -> f64| mine.iter().map(|shot| read(shot)).sum::<f64>() / mine.len() as f64;
        let truth = match point.sensor_c {
            Some(said) => said.0 - mean(&|shot| shot.header_off),
            None => mean(&|shot| shot.celsius),
        };
        let rates = mine.iter().map(|shot| law.at(shot.celsius));
        let reach = rates.fold([f64::MAX, 0.0_f64], |[low, high], rate| [low.min(rate), high.max(rate)]);
        let (low, high) = point.e_per_s.interval();
        let said = Some((point.e_per_s.value.0, [low, high]));
        observations.push(Observation { name: name.to_owned(), truth: law.at(truth), reach, said });
    }
    if observations.is_empty() && !darks.is_empty() {
        let mean = darks.iter().map(|shot| shot.celsius).sum::<f64>() / darks.len() as f64;
        let truth = law.at(mean);
        observations.push(Observation { name: name.to_owned(), truth, reach: [truth, truth], said: None });
    }
    observations
}
