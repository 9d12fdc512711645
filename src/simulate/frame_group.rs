//! `[[frames]]` of `sensor.toml`: frames that were taken alike, and how the sky changes through them.

use std::slice;

use serde::{Deserialize, Serialize};

use crate::frames::FrameKind;
use crate::keys::{Key, key};
use crate::reading::OutOfRange;
use crate::units::{Celsius, ElectronsPerSecond, Seconds};

/// Frames that were taken alike.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct FrameGroup {
    /// What they are taken for.
    pub kind: FrameKind,
    /// How many.
    #[serde(default = "one")]
    pub count: usize,
    /// How long the shutter is open.
    #[serde(default = "no_time")]
    pub exposure_s: Seconds,
    /// The sensor's temperature.
    #[serde(default)]
    pub sensor_c: Option<Celsius>,
    /// Photoelectrons in a pixel of mean response in the middle of the field.
    #[serde(default = "no_light")]
    pub light_e_per_s: ElectronsPerSecond,
    /// The filter's name in the headers.
    #[serde(default)]
    pub filter: Option<String>,
    /// The sky of light frames over `light_e_per_s`, stars and nebula left as they are.
    #[serde(default)]
    pub sky_factor: Course,
    /// The share of the stars' and the nebula's light that arrives in light frames.
    #[serde(default)]
    pub transparency: Course,
    /// Width of the stars in light frames over the usual three pixels, their light unchanged.
    #[serde(default)]
    pub star_width_factor: Course,
    /// Share of these light frames that a nebula covers.
    #[serde(default)]
    pub nebula_fraction: Option<f64>,
    /// How far each of these light frames is moved against the one before it, in pixels to the right and down.
    #[serde(default)]
    pub step_px: [i32; 2],
}

/// A number through the frames of a group: the same in all, or from the first frame's to the last one's.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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

    /// Checks the numbers of the group that is the `place`-th in its list.
    pub(super) fn check(&self, place: usize) -> Result<(), OutOfRange> {
        let [sky, transparency, width] = [self.sky_factor, self.transparency, self.star_width_factor].map(Course::ends);
        let numbers: [(&Key, &[f64]); 9] = [
            (key!(SENSOR, "frames.count"), &[self.count as f64]),
            (key!(SENSOR, "frames.exposure_s"), &[self.exposure_s.0]),
            (key!(SENSOR, "frames.sensor_c"), self.sensor_c.as_ref().map_or(&[], |sensor| slice::from_ref(&sensor.0))),
            (key!(SENSOR, "frames.light_e_per_s"), &[self.light_e_per_s.0]),
            (key!(SENSOR, "frames.sky_factor"), &sky),
            (key!(SENSOR, "frames.transparency"), &transparency),
            (key!(SENSOR, "frames.star_width_factor"), &width),
            (key!(SENSOR, "frames.nebula_fraction"), self.nebula_fraction.as_slice()),
            (key!(SENSOR, "frames.step_px"), &self.step_px.map(f64::from)),
        ];
        for (key, values) in numbers {
            let shown = key.path.replacen("frames.", &format!("frames[{place}]."), 1);
            values.iter().try_for_each(|value| key.check_as(&shown, *value))?;
        }
        Ok(())
    }
}

fn one() -> usize {
    key!(SENSOR, "frames.count").number() as usize
}

fn no_time() -> Seconds {
    Seconds(key!(SENSOR, "frames.exposure_s").number())
}

fn no_light() -> ElectronsPerSecond {
    ElectronsPerSecond(key!(SENSOR, "frames.light_e_per_s").number())
}
