//! Signal over noise, looked for in the picture.

use super::StackedField;

/// What was found in the stacks of many nights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundSnr {
    /// The target's mean over the standard deviation of the patches' means.
    pub snr: f64,
    /// One standard error of it, from the scatter of the nights.
    pub standard_error: f64,
    /// Variance of a patch's mean times its pixels: a pixel's own variance where pixels are independent, e-².
    pub variance_e2: f64,
    /// One standard error of it.
    pub variance_error_e2: f64,
    /// Patches that were looked at.
    pub patches: usize,
}

/// What one night shows.
struct OneNight {
    signal: f64,
    variance: f64,
    patches: usize,
}

/// Signal over noise of the target in patches of `rows` × `columns` pixels, over all the nights; `None` with fewer than two nights or
/// patches, and where there is no signal or no noise at all.
///
/// The signal is the mean of the target's part of the field less that of the sky's. The noise is the standard deviation
/// between patches that do not overlap, all within the target's part, so that the target's own shot noise is in it; each
/// night's patches are taken about their own mean, for a level that the whole field shares hides nothing. Many patches
/// of many nights are needed since sensor, masters and dithers are drawn once a night; the nights' scatter gives the
/// standard error whatever patches of one night have in common.
#[must_use]
pub fn snr_found(fields: &[StackedField], patch: [usize; 2]) -> Option<FoundSnr> {
    let nights: Vec<OneNight> = fields.iter().map(|field| one_night(field, patch)).collect::<Option<_>>()?;
    if nights.len() < 2 {
        return None;
    }
    let (signal, signal_error) = mean_and_error(&nights, |night| night.signal);
    let (variance, variance_error) = mean_and_error(&nights, |night| night.variance);
    if signal == 0.0 || variance <= 0.0 {
        return None;
    }
    let snr = signal / variance.sqrt();
    let pixels = (patch[0] * patch[1]) as f64;
    Some(FoundSnr {
        snr,
        standard_error: snr * (signal_error / signal).hypot(variance_error / (2.0 * variance)),
        variance_e2: variance * pixels,
        variance_error_e2: variance_error * pixels,
        patches: nights.iter().map(|night| night.patches).sum(),
    })
}

fn one_night(field: &StackedField, [rows, columns]: [usize; 2]) -> Option<OneNight> {
    let (height, width) = field.mean.dim();
    if rows == 0 || columns == 0 {
        return None;
    }
    let places = |from: usize, to: usize| {
        let across = (from..=to.saturating_sub(columns)).step_by(columns);
        across.flat_map(move |left| (0..=height.saturating_sub(rows)).step_by(rows).map(move |top| (top, left)))
    };
    let mean = |(top, left): (usize, usize)| {
        let inside = (top..top + rows).flat_map(|row| (left..left + columns).map(move |column| (row, column)));
        let sums = inside.fold((0.0, 0.0), |(sum, count), at| {
            let samples = f64::from(field.samples[at]);
            (sum + samples * field.mean[at], count + samples)
        });
        (sums.1 > 0.0).then_some(sums.0 / sums.1)
    };
    let means = |from, to| places(from, to).filter_map(mean).collect::<Vec<f64>>();
    let (sky, target) = (means(0, field.target_from), means(field.target_from, width));
    if sky.is_empty() || target.len() < 2 {
        return None;
    }
    let average = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let level = average(&target);
    let variance = target.iter().map(|value| (value - level).powi(2)).sum::<f64>() / (target.len() - 1) as f64;
    Some(OneNight { signal: level - average(&sky), variance, patches: target.len() })
}

/// The nights' mean and its standard error.
fn mean_and_error(nights: &[OneNight], of: impl Fn(&OneNight) -> f64) -> (f64, f64) {
    let count = nights.len() as f64;
    let mean = nights.iter().map(&of).sum::<f64>() / count;
    let square = nights.iter().map(|night| (of(night) - mean).powi(2)).sum::<f64>() / (count - 1.0);
    (mean, (square / count).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::Array2;

    #[test]
    fn finds_what_was_written_into_a_picture() {
        // Target 10, sky 0; columns of the target alternate by ±1: patches of one pixel have variance 1, of two in a row 0.
        let mean = Array2::from_shape_fn((8, 16), |(row, column)| {
            if column < 4 { 0.0 } else { 10.0 + if (row + column) % 2 == 0 { 1.0 } else { -1.0 } }
        });
        let field = StackedField { mean, samples: Array2::ones((8, 16)), target_from: 4 };
        let fields = [field.clone(), field];
        let pixel = snr_found(&fields, [1, 1]).unwrap();
        approx::assert_relative_eq!(pixel.snr, 10.0 / (96.0_f64 / 95.0).sqrt(), max_relative = 1e-12);
        assert_eq!(pixel.patches, 192);
        assert_eq!(snr_found(&fields, [1, 2]), None);
    }

    #[test]
    fn one_night_has_no_error_and_gives_none() {
        let field = StackedField { mean: Array2::zeros((8, 8)), samples: Array2::ones((8, 8)), target_from: 2 };
        assert_eq!(snr_found(&[field], [1, 1]), None);
    }
}
