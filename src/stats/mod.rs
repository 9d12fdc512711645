//! Numbers about numbers: means, variances, robust estimates, fits. Knows no camera.

mod bisect;
mod estimate;
mod fit;
mod histogram;
mod law;
mod log_weights;
mod mixture;
mod moments;
mod non_negative;
mod order;
mod scatter;

pub use bisect::{bisect, bisect_ratio, try_bisect};
pub use estimate::Estimate;
pub(crate) use estimate::NORMAL_95;
pub use fit::{PolynomialFit, polynomial_fit, polynomial_fit_with_prior};
pub use histogram::{Histogram, INTERQUARTILE_SIGMAS, clipped_variance_factor};
pub use law::{
    chi2_quantile, erf, normal_density, normal_quantile, normal_share_below, student_t_975, student_t_quantile,
    student_t_share_below,
};
pub(crate) use log_weights::over_their_sum;
pub use mixture::{Opinion, mixture};
pub use moments::Moments;
pub use non_negative::{NonNegativeFits, NonNegativePrediction, non_negative_prediction};
pub use order::{median, quantile};
pub use scatter::{birge_ratio, half_interval_of_phase};
