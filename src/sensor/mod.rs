//! What the frames say about the sensor: pair statistics, photon transfer, read noise, dark current.
//!
//! Frames are pushed one at a time into a [`ModeMeasurement`]; memory is a few frames,
//! whatever their number. The order is the order of the light: bias, flats, darks.

mod codes;
mod colours;
mod dark;
mod duplicates;
mod emva;
mod error;
mod exact;
mod flat;
mod greens;
mod halves;
mod light;
mod mode;
mod pair;
mod pattern;
mod plane;
mod powers;
mod repeated;
mod row_blocks;
mod simd;
mod stack;
mod stated;

#[cfg(feature = "report")]
pub(crate) use dark::thermal_law::TEMPERATURES_FOR_A_FLOOR;
pub use dark::thermal_law::thermal_law;
pub use emva::{
    SpatialSplit, absolute_threshold, absolute_threshold_r31, dynamic_range, linearity_error_percent, snr, snr_max,
    spatial_split,
};
pub use error::{MeasureError, NoGainCause};
pub use flat::transfer::{Kink, Level, TransferFit, emva_slope, transfer_fit};
pub use light::background::{BackgroundOptions, background};
pub use light::master::DarkMaster;
pub use light::night::{LightMeter, frame_mode};
pub use light::star::star_flux;
pub use mode::{MeasureOptions, ModeMeasurement};
#[cfg(feature = "report")]
pub(crate) use pair::CORE_SIGMAS;
pub use pair::{PairStatistics, PairSums, spatial_covariance, temporal_variance_r4, temporal_variance_r31};
pub use pattern::stack_pattern::{HIGH_PASS, PatternVariance, StackPattern};
pub use plane::{Assembled, DarkSummary, PlaneMeter};
pub use stack::StackKey;
pub use stated::held_against;

pub(crate) use crate::units::BOLTZMANN_EV_PER_K;
