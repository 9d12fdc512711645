//! Numbers about numbers: means, variances, robust estimates, fits. Knows no camera.

mod bisect;
mod estimate;
mod fit;
mod histogram;
mod moments;
mod non_negative;
mod order;
mod scatter;

pub use bisect::{bisect, bisect_ratio, try_bisect};
pub use estimate::Estimate;
pub use fit::{PolynomialFit, polynomial_fit, polynomial_fit_with_prior};
pub use histogram::{Histogram, INTERQUARTILE_SIGMAS, clipped_variance_factor};
pub use moments::{Moments, student_t_975};
pub use non_negative::{NonNegativePrediction, non_negative_prediction};
pub use order::{median, quantile};
pub use scatter::{birge_ratio, half_interval_of_phase};
