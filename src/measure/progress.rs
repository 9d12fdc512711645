//! How far a measurement is, told to whoever watches.

/// What is being done frame by frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Work {
    /// Calibration frames of one mode are measured.
    Measuring,
    /// Lights of a night are measured.
    MeasuringLights,
}

/// Who watches a measurement; every method may be left as it is.
pub trait Progress: Sync {
    /// Headers are being read: how many files there are is not known yet.
    fn inspecting(&self) {}
    /// All headers are read.
    fn inspected(&self) {}
    /// So many frames are taken one after the other now.
    fn started(&self, _work: Work, _frames: usize) {}
    /// One frame is done; `false` when the measurement is to end here.
    fn step(&self) -> bool {
        true
    }
    /// All frames of what was started are done.
    fn finished(&self) {}
}

/// Nobody watches.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {}
