//! EMVA 1288's derived numbers, as formulas. What this program prints with them is
//! "EMVA 1288 style": without a calibrated light source nothing here is a compliant result.

use crate::stats::polynomial_fit;
use crate::units::Electrons;

/// Signal-to-noise ratio of one pixel at `signal`.
///
/// ```text
/// SNR = μ / √(σ_d² + σ_q² + μ)
/// ```
///
/// `read_noise` σ_d and `quantisation` σ_q are in electrons.
///
/// # Source
/// EMVA 1288 Release 4.0 Linear, equation 21 (with η μ_p = μ).
#[must_use]
pub fn snr(signal: Electrons, read_noise: Electrons, quantisation: Electrons) -> f64 {
    signal.0 / (read_noise.0.powi(2) + quantisation.0.powi(2) + signal.0).sqrt()
}

/// The best signal-to-noise ratio of one pixel: √ of the saturation capacity.
///
/// # Source
/// EMVA 1288 Release 4.0 Linear, equation 55.
///
/// # Examples
/// ```
/// use subwell::{sensor::snr_max, units::Electrons};
/// assert_eq!(snr_max(Electrons(16_000.0)), 16_000_f64.sqrt());
/// ```
#[must_use]
pub fn snr_max(saturation: Electrons) -> f64 {
    saturation.0.sqrt()
}

/// The signal at which SNR = 1: the absolute sensitivity threshold in electrons.
///
/// ```text
/// μ_min = √(σ_d² + σ_q² + 1/4) + 1/2
/// ```
///
/// # Source
/// EMVA 1288 Release 4.0 Linear, equations 26 and 27.
#[must_use]
pub fn absolute_threshold(read_noise: Electrons, quantisation: Electrons) -> Electrons {
    Electrons((read_noise.0.powi(2) + quantisation.0.powi(2) + 0.25).sqrt() + 0.5)
}

/// The older approximation of the threshold, `σ_y.dark/K + 1/2`.
///
/// # Source
/// EMVA 1288 Release 3.1.
#[must_use]
pub fn absolute_threshold_r31(read_noise: Electrons, quantisation: Electrons) -> Electrons {
    Electrons((read_noise.0.powi(2) + quantisation.0.powi(2)).sqrt() + 0.5)
}

/// Dynamic range as a plain ratio: saturation over the absolute threshold.
///
/// # Source
/// EMVA 1288 Release 4.0 Linear, equation 28; 20 log₁₀ of it is in dB, log₂ in stops.
#[must_use]
pub fn dynamic_range(saturation: Electrons, threshold: Electrons) -> f64 {
    saturation / threshold
}

/// Mean absolute deviation in percent of the levels `y` from a line over the exposures `h`.
///
/// The line is fitted with weights 1/y²; the caller passes the points between 5 and 95 % of
/// saturation, dark level taken off. `None` with fewer than three points or levels of 0.
///
/// # Source
/// EMVA 1288 Release 4.0 Linear, equations 58 to 63.
#[must_use]
pub fn linearity_error_percent(h: &[f64], y: &[f64]) -> Option<f64> {
    if h.len() < 3 || h.len() != y.len() || y.iter().any(|&level| level <= 0.0) {
        return None;
    }
    let weights: Vec<f64> = y.iter().map(|level| level.powi(-2)).collect();
    let line = polynomial_fit(h, y, &weights, 1)?;
    let deviations = h.iter().zip(y).map(|(&h, &y)| 100.0 * ((y - line.at(h)) / line.at(h)).abs());
    Some(deviations.sum::<f64>() / h.len() as f64)
}

/// Spatial variance in DN² split into whole columns, whole rows and single pixels.
///
/// A component whose true value is near 0 may come out negative: that is said, not hidden,
/// and no root is taken of it here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpatialSplit {
    /// All of it.
    pub total: f64,
    /// Whole columns.
    pub column: f64,
    /// Whole rows.
    pub row: f64,
    /// Single pixels.
    pub pixel: f64,
}

/// Splits the spatial variance of a mean of `frames` frames with temporal variance `temporal`.
///
/// ```text
/// s_y² = s² − σ²/L      s_cav² = s_c² − σ²/(L M)      s_rav² = s_r² − σ²/(L N)
/// s_pix² = M N / (M N − M − N) · (s_y² − s_cav² − s_rav²)
/// s_col² = s_cav² − s_pix²/M            s_row² = s_rav² − s_pix²/N
/// ```
///
/// `measured` are the variances over all pixels, over the column means and over the row
/// means of the mean image, of M rows and N columns.
///
/// # Source
/// EMVA 1288 Release 4.0 Linear, equations 35, 36, 41 and 42; closed form derived here.
#[must_use]
pub fn spatial_split(measured: [f64; 3], temporal: f64, frames: usize, rows: usize, columns: usize) -> SpatialSplit {
    let (l, m, n) = (frames as f64, rows as f64, columns as f64);
    let total = measured[0] - temporal / l;
    let of_columns = measured[1] - temporal / (l * m);
    let of_rows = measured[2] - temporal / (l * n);
    let pixel = m * n / (m * n - m - n) * (total - of_columns - of_rows);
    SpatialSplit { total, column: of_columns - pixel / m, row: of_rows - pixel / n, pixel }
}
