//! What the sensor adds by itself at the night's temperature: the same in every hour and behind every filter.

use crate::camera::{Mode, NoisePart, Plane};
use crate::night::Night;
use crate::noise::{DarkCurrent, NoiseShape, dark_current};
use crate::stats::Estimate;
use crate::units::{Celsius, Electrons};

/// Dark current and the shapes of the noise of one mode, sought once for a plan.
pub(crate) struct SensorNoise {
    /// The sensor's temperature.
    pub(super) sensor: Celsius,
    /// The mode's planes, in its order.
    pub(super) planes: Vec<PlaneSensorNoise>,
}

/// One plane of it.
pub(super) struct PlaneSensorNoise {
    pub(super) dark: DarkCurrent,
    /// What read noise, dark current's pattern and levels are made of.
    pub(super) shapes: [NoiseShape; 3],
}

impl SensorNoise {
    pub(crate) fn new(night: &Night, mode: &Mode) -> Self {
        let sensor = night.camera.sensor(night.site.ambient());
        let of_plane =
            |plane: &Plane| PlaneSensorNoise { dark: dark_current(plane, sensor), shapes: shapes_of(mode, plane) };
        Self { sensor, planes: mode.planes.iter().map(of_plane).collect() }
    }
}

/// The shapes of a plane; where the profile has the noise of rows alone, those.
fn shapes_of(mode: &Mode, plane: &Plane) -> [NoiseShape; 3] {
    let tables = || mode.noise_by_scale.iter().filter(|table| table.plane == plane.plane);
    let [random, fixed, level] = [NoisePart::Random, NoisePart::Fixed, NoisePart::Level]
        .map(|part| NoiseShape::from_tables(tables().filter(|table| table.part == part)));
    let rows = plane.row_noise_e.filter(|_| tables().next().is_none());
    let of_rows = |rows: Estimate<Electrons>| {
        let read = plane.read_noise_e.value.0;
        NoiseShape::of_rows(if read > 0.0 { (rows.value.0 / read).powi(2) } else { 0.0 })
    };
    [rows.map_or(random, of_rows), fixed, level]
}
