//! Telescope, filter and mount: what becomes of the light before the sensor counts it, and how long a sub may last.

mod error;
mod filter;
mod mount;
mod optics;

pub use error::RigError;
pub use filter::{ColourEfficiencies, DEFAULT_QUANTUM_EFFICIENCY, Filter, QuantumEfficiency};
pub use mount::Mount;
pub use optics::{DEFAULT_TRANSMISSION, Optics};
