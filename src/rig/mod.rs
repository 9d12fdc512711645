//! Telescope, filter and mount: what becomes of the light before the sensor counts it, and how long a sub may last.

mod array;
mod curve;
mod error;
mod filter;
mod light;
mod mount;
mod passband;
mod star;

pub use curve::TransmissionCurve;
pub use error::RigError;
pub use filter::{ColourEfficiencies, DEFAULT_QUANTUM_EFFICIENCY, Filter, QuantumEfficiency};
pub use light::{DEFAULT_TRANSMISSION, LightChain, Optics, sum};
pub use mount::{
    Mount, TrackingLimits, field_rotation_limit, periodic_error_limit, polar_drift_limit, polar_drift_per_second,
};
pub use passband::{
    DEFAULT_FILTER_TRANSMISSION, DEFAULT_LINE_TRANSMISSION, DEFAULT_LINE_WIDTH, Detector, FilterName, H_ALPHA, OIII,
    Passband, SII,
};
pub use star::{StarWidth, peak_pixel_fraction, saturation_time};
