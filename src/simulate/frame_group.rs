//! `[[frames]]` of `sensor.toml`: frames that were taken alike, and how the sky changes through them.

use serde::{Deserialize, Serialize};

use crate::frames::FrameKind;
use crate::units::{Celsius, ElectronsPerSecond, Seconds};

use super::SimulateError;
use super::truth::{MOST_FRAMES, within};

/// Frames that were taken alike.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FrameGroup {
    /// What they are taken for.
    pub kind: FrameKind,
    /// How many; 1.
    #[serde(default = "one")]
    pub count: usize,
    /// How long the shutter is open; 0.
    #[serde(default = "no_time")]
    pub exposure_s: Seconds,
    /// The sensor's temperature; left out, `dark_at_c` and no word of it in the headers.
    #[serde(default)]
    pub sensor_c: Option<Celsius>,
    /// Photoelectrons in a pixel of mean response in the middle of the field; 0.
    #[serde(default = "no_light")]
    pub light_e_per_s: ElectronsPerSecond,
    /// The filter's name in the headers; none.
    #[serde(default)]
    pub filter: Option<String>,
    /// The sky of light frames over `light_e_per_s`, stars and nebula left as they are; 1.
    #[serde(default)]
    pub sky_factor: Course,
    /// The share of the stars' and the nebula's light that arrives in light frames; 1.
    #[serde(default)]
    pub transparency: Course,
    /// Width of the stars in light frames over the usual three pixels, their light unchanged; 1.
    #[serde(default)]
    pub star_width_factor: Course,
    /// Share of these light frames that a nebula covers; left out, `nebula_fraction` of the sensor.
    #[serde(default)]
    pub nebula_fraction: Option<f64>,
    /// How far each of these light frames is moved against the one before it, in pixels to the right and down; not at all.
    #[serde(default)]
    pub step_px: [i32; 2],
}

/// A number through the frames of a group: the same in all, or from the first frame's to the last one's.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Course {
    /// The same in all frames.
    Steady(f64),
    /// In even steps from the first frame's value to the last one's.
    FromTo([f64; 2]),
}

impl Default for Course {
    fn default() -> Self {
        Self::Steady(1.0)
    }
}

impl Course {
    /// The value in the frame at `place`, counted from 0, of `count`.
    #[must_use]
    pub fn at(self, place: usize, count: usize) -> f64 {
        match self {
            Self::Steady(value) => value,
            Self::FromTo([from, to]) => from + (to - from) * place as f64 / (count as f64 - 1.0).max(1.0),
        }
    }

    fn ends(self) -> [f64; 2] {
        match self {
            Self::Steady(value) => [value; 2],
            Self::FromTo(ends) => ends,
        }
    }
}

impl FrameGroup {
    /// One frame of this kind, without time and light.
    #[must_use]
    pub fn new(kind: FrameKind) -> Self {
        Self {
            kind,
            count: one(),
            exposure_s: no_time(),
            sensor_c: None,
            light_e_per_s: no_light(),
            filter: None,
            sky_factor: Course::default(),
            transparency: Course::default(),
            star_width_factor: Course::default(),
            nebula_fraction: None,
            step_px: [0, 0],
        }
    }

    pub(super) fn check(&self, key: &impl Fn(&str) -> String) -> Result<(), SimulateError> {
        within(&key("count"), self.count as f64, 1.0, MOST_FRAMES as f64)?;
        within(&key("exposure_s"), self.exposure_s.0, 0.0, 1e6)?;
        within(&key("light_e_per_s"), self.light_e_per_s.0, 0.0, 1e9)?;
        for (name, course, lowest, highest) in [
            ("sky_factor", self.sky_factor, 0.0, 1e6),
            ("transparency", self.transparency, 0.0, 1.0),
            ("star_width_factor", self.star_width_factor, 0.2, 6.0),
        ] {
            for end in course.ends() {
                within(&key(name), end, lowest, highest)?;
            }
        }
        within(&key("nebula_fraction"), self.nebula_fraction.unwrap_or(0.0), 0.0, 1.0)?;
        for step in self.step_px {
            within(&key("step_px"), f64::from(step), -1000.0, 1000.0)?;
        }
        Ok(())
    }
}

fn one() -> usize {
    1
}

fn no_time() -> Seconds {
    Seconds(0.0)
}

fn no_light() -> ElectronsPerSecond {
    ElectronsPerSecond(0.0)
}
