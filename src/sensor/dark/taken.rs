//! When darks were taken, by their headers or their names.

use crate::frames::{FrameInfo, natural_order, seconds_of};
use crate::units::{Celsius, Seconds};

use super::current::DarkFrame;

/// What a header says of a dark.
#[derive(Debug, Clone)]
pub(crate) struct Taken {
    pub exposure: Seconds,
    pub temperature: Option<Celsius>,
    /// In seconds since 1970.
    pub at: Option<f64>,
    pub file: String,
}

impl Taken {
    pub(crate) fn of(info: &FrameInfo) -> Self {
        let at = info.taken.as_deref().and_then(seconds_of);
        Self { exposure: info.exposure, temperature: info.sensor, at, file: info.file.clone() }
    }
}

/// The frames with the time that each was taken at: the headers', or else their order by name in `files`.
pub(super) fn timed(frames: &[DarkFrame], files: &[String]) -> Vec<DarkFrame> {
    let mut timed = frames.to_vec();
    let mut moments = frames.iter().map(|frame| frame.taken);
    let first = moments.next().flatten();
    let is_told = first.is_some() && frames.iter().all(|frame| frame.taken.is_some());
    if is_told && (frames.len() == 1 || moments.any(|at| at != first)) {
        return timed;
    }
    let mut order: Vec<usize> = (0..frames.len()).collect();
    order.sort_by(|&a, &b| natural_order(&files[a], &files[b]));
    let named = files.iter().all(|file| !file.is_empty());
    let mut clock = 0.0;
    for place in order {
        timed[place].taken = named.then_some(clock);
        clock += frames[place].exposure.0;
    }
    timed
}
