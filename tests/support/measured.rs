//! Made-up sensors and their frames, measured as the program does: stack by stack.

use subwell::camera::Mode;
use subwell::caveat::Caveat;
use subwell::frames::{Frame, FrameInfo};
use subwell::sensor::{MeasureError, MeasureOptions, ModeMeasurement, StackKey};
use subwell::simulate::{SensorTruth, frames};

/// A group of frames in the text of a made-up sensor: seconds, degrees Celsius, electrons per second in a pixel.
pub(crate) fn group(kind: &str, count: usize, exposure: f64, celsius: f64, light: f64) -> String {
    format!(
        "[[frames]]\nkind = \"{kind}\"\ncount = {count}\nexposure_s = {exposure:?}\nsensor_c = {celsius:?}\nlight_e_per_s = {light:?}\n"
    )
}

/// The stack of a frame: its kind, exposure and temperature as they stand in its header.
pub(crate) fn key(info: &FrameInfo) -> StackKey {
    StackKey { kind: info.kind, exposure: info.exposure, sensor: info.sensor }
}

/// Measures frames in the order of the stacks that `key` puts them into.
pub(crate) fn by_stacks(
    mut all: Vec<Frame>,
    options: MeasureOptions,
    key: impl Fn(&FrameInfo) -> StackKey,
) -> Result<(Mode, Vec<Caveat>), MeasureError> {
    all.sort_by_key(|frame| key(&frame.info).order());
    let mut measurement = ModeMeasurement::new(&all[0].info, options)?;
    for frame in all {
        measurement.add(key(&frame.info), frame)?;
    }
    measurement.finish()
}

/// Measures the frames that a sensor would write.
pub(crate) fn mode_of(truth: &SensorTruth) -> (Mode, Vec<Caveat>) {
    by_stacks(frames(truth).collect(), MeasureOptions::default(), key).unwrap()
}
