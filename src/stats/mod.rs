//! Numbers about numbers: means, variances, robust estimates, fits. Knows no camera.

mod estimate;
mod fit;
mod histogram;
mod moments;

pub use estimate::Estimate;
pub use fit::{PolynomialFit, polynomial_fit};
pub use histogram::{Histogram, clipped_variance_factor};
pub use moments::{Moments, student_t_975};
