//! Telescope, filter and mount: what becomes of the light before the sensor counts it, and how long a sub may last.

mod array;
mod curve;
mod error;
mod fast_beam;
mod filter;
mod light;
mod lines;
mod mount;
mod passband;
mod star;
mod zero_point;

pub use curve::TransmissionCurve;
pub use error::RigError;
pub use fast_beam::{Beam, EFFECTIVE_INDEX, band_shift, share_in_band};
pub use filter::{ColourEfficiencies, DEFAULT_QUANTUM_EFFICIENCY, Filter, QuantumEfficiency};
pub use light::{DEFAULT_TRANSMISSION, LightChain, Optics, TargetLight, sum};
pub use mount::{
    Mount, MountKind, Pointing, TrackingLimits, alt_az_rotation_limit, alt_az_rotation_per_second,
    field_rotation_limit, periodic_error_limit, polar_drift_limit, polar_drift_per_second, star_speed,
};
pub use passband::{
    DEFAULT_FILTER_TRANSMISSION, DEFAULT_LINE_TRANSMISSION, DEFAULT_LINE_WIDTH, Detector, FilterName, H_ALPHA, OIII,
    Passband, SII,
};
pub use star::{Moffat, StarWidth, peak_pixel_fraction, pixel_fraction_at, saturation_time};
pub use zero_point::{JANSKY_OF_AB_0, PHOTONS_OF_JANSKY, StarBand, sky_zero_point, star_zero_point, throughput};
