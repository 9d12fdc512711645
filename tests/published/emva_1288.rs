//! EMVA Standard 1288, Release 4.0 Linear (2021) and Release 3.1 (2016). The standard prints
//! formulas, not worked numbers: the numbers here were computed from its equations by hand
//! and by an independent script, to the digits given. Equation numbers as quoted by secondary
//! texts; the standard itself was not read.

use approx::assert_relative_eq;
use ndarray::Array2;
use subwell::sensor::{
    PairStatistics, StackPattern, absolute_threshold, absolute_threshold_r31, dynamic_range, linearity_error_percent,
    snr, snr_max, spatial_covariance, spatial_split, temporal_variance_r4, temporal_variance_r31,
};
use subwell::units::Electrons;

/// Seven digits are printed.
const SEVEN_DIGITS: f64 = 5e-7;
/// Twelve digits are printed; nothing is lost in sums of 80 small integers.
const TWELVE_DIGITS: f64 = 1e-11;

// K = 0.25 DN/e⁻, σ_d = 3 e⁻, η = 0.6, 4000 DN between dark and saturation.
const K: f64 = 0.25;
const ETA: f64 = 0.6;
const READ: Electrons = Electrons(3.0);

fn quantisation() -> Electrons {
    Electrons((1.0_f64 / 12.0).sqrt() / K)
}

#[test]
fn dark_variance_of_the_model() {
    let variance = K * K * (READ.0.powi(2) + quantisation().0.powi(2));
    assert_relative_eq!(variance, 0.645_833_333, max_relative = SEVEN_DIGITS);
    assert_relative_eq!(variance.sqrt(), 0.803_638, max_relative = 1e-6);
}

#[test]
fn saturation_and_best_snr() {
    let saturation = Electrons(4000.0 / K);
    assert_eq!(saturation, Electrons(16_000.0));
    assert_relative_eq!(snr_max(saturation), 126.4911, max_relative = SEVEN_DIGITS);
    assert_relative_eq!(20.0 * snr_max(saturation).log10(), 42.0412, max_relative = 2e-6);
}

#[test]
fn absolute_sensitivity_threshold_of_both_releases() {
    let newer = absolute_threshold(READ, quantisation());
    assert_relative_eq!(newer.0, 3.753_204, max_relative = SEVEN_DIGITS);
    assert_relative_eq!(newer.0 / ETA, 6.255_339, max_relative = SEVEN_DIGITS);
    assert_relative_eq!(absolute_threshold_r31(READ, quantisation()).0, 3.714_550, max_relative = SEVEN_DIGITS);
    // By definition the signal at the threshold has SNR 1.
    assert_relative_eq!(snr(newer, READ, quantisation()), 1.0, max_relative = 1e-12);
}

#[test]
fn dynamic_range_of_both_releases() {
    let saturation = Electrons(16_000.0);
    let newer = dynamic_range(saturation, absolute_threshold(READ, quantisation()));
    assert_relative_eq!(newer, 4263.02, max_relative = 2e-6);
    assert_relative_eq!(20.0 * newer.log10(), 72.5944, max_relative = 2e-6);
    assert_relative_eq!(newer.log2(), 12.0577, max_relative = 5e-6);
    let older = dynamic_range(saturation, absolute_threshold_r31(READ, quantisation()));
    assert_relative_eq!(older, 4307.39, max_relative = 2e-6);
    assert_relative_eq!(20.0 * older.log10(), 72.6843, max_relative = 2e-6);
}

#[test]
fn snr_of_a_thousand_photons() {
    let snr = snr(Electrons(1000.0 * ETA), READ, quantisation());
    assert_relative_eq!(snr, 24.28666, max_relative = SEVEN_DIGITS);
    assert_relative_eq!(20.0 * snr.log10(), 27.7074, max_relative = 2e-6);
    // 32 ke⁻ of saturation.
    assert_relative_eq!(20.0 * snr_max(Electrons(32_000.0)).log10(), 45.05, max_relative = 1e-4);
}

/// Deterministic frames y[l][i][j] = 100 + ((7i + 3j + 5l² + ijl) mod 11).
fn golden(l: usize) -> Array2<u16> {
    Array2::from_shape_fn((8, 10), |(i, j)| (100 + (7 * i + 3 * j + 5 * l * l + i * j * l) % 11) as u16)
}

#[test]
fn pair_of_golden_frames() {
    let (first, second) = (golden(0), golden(1));
    assert_relative_eq!(temporal_variance_r31(first.view(), second.view()), 13.99375, max_relative = TWELVE_DIGITS);
    assert_relative_eq!(
        temporal_variance_r4(first.view(), second.view()),
        13.993_671_875,
        max_relative = TWELVE_DIGITS
    );
    assert_relative_eq!(spatial_covariance(first.view(), second.view()), -4.0375, max_relative = 1e-9);
    let pair = PairStatistics::from_frames(first.view(), second.view()).unwrap();
    assert_eq!(pair.means, [105.0, 104.9875]);
}

#[test]
fn hand_pair() {
    let first = ndarray::arr2(&[[10_u16, 12, 11], [13, 9, 11]]);
    let second = ndarray::arr2(&[[11_u16, 12, 10], [12, 10, 14]]);
    assert_relative_eq!(temporal_variance_r31(first.view(), second.view()), 13.0 / 12.0, max_relative = TWELVE_DIGITS);
    assert_relative_eq!(temporal_variance_r4(first.view(), second.view()), 23.0 / 24.0, max_relative = TWELVE_DIGITS);
    assert_relative_eq!(spatial_covariance(first.view(), second.view()), 5.0 / 6.0, max_relative = 1e-9);
    let pair = PairStatistics::from_frames(first.view(), second.view()).unwrap();
    assert_relative_eq!(pair.mean().0, 45.0 / 4.0, max_relative = TWELVE_DIGITS);
    assert_relative_eq!(pair.variance(), 1.15, max_relative = TWELVE_DIGITS);
}

/// Rows, columns and pixels of the mean of four golden frames: every part is negative on
/// purpose, and must come out so.
#[test]
fn split_of_the_golden_stack() {
    let frames: Vec<Array2<f64>> = (0..4).map(|l| golden(l).mapv(f64::from)).collect();
    let mean = (&frames[0] + &frames[1] + &frames[2] + &frames[3]) / 4.0;
    let temporal = frames.iter().map(|frame| (frame - &mean).mapv(|d| d * d).sum()).sum::<f64>() / (3.0 * 80.0);
    assert_relative_eq!(temporal, 10.485_416_666_667, max_relative = TWELVE_DIGITS);
    let population = |values: Vec<f64>| {
        let count = values.len() as f64;
        let centre = values.iter().sum::<f64>() / count;
        values.iter().map(|value| (value - centre).powi(2)).sum::<f64>() / count
    };
    let columns = mean.columns().into_iter().map(|column| column.mean().unwrap()).collect();
    let rows = mean.rows().into_iter().map(|row| row.mean().unwrap()).collect();
    let measured = [population(mean.iter().copied().collect()), population(columns), population(rows)];
    assert_relative_eq!(measured[0], 1.782_773_437_5, max_relative = TWELVE_DIGITS);
    // The program's streaming form divides by n − 1 where the standard divides by n, and takes no step of the
    // level from frame to frame for temporal noise of the pixels.
    let mut stack = StackPattern::default();
    (0..4).for_each(|l| stack.push(golden(l).view()));
    assert_relative_eq!(stack.mean().unwrap(), 104.943_75, max_relative = TWELVE_DIGITS);
    let streamed = stack.variances(None).unwrap();
    assert!(streamed.total.value < 0.0 && streamed.pixel.value < 0.0, "{streamed:?}");
    let levels = frames.iter().map(|frame| (frame.mean().unwrap() - 104.943_75).powi(2)).sum::<f64>();
    let of_pixels = (temporal - levels / 3.0) * 80.0 / 79.0;
    let expected = 1.782_773_437_5 * 80.0 / 79.0 - of_pixels / 4.0;
    assert_relative_eq!(streamed.total.value, expected, max_relative = 1e-10);
    let split = spatial_split(measured, temporal, 4, 8, 10);
    assert_relative_eq!(split.total, -0.838_580_729_167, max_relative = 1e-10);
    assert_relative_eq!(split.column, -0.174_868_951_613, max_relative = 1e-10);
    assert_relative_eq!(split.row, -0.159_746_723_790, max_relative = 1e-10);
    assert_relative_eq!(split.pixel, -0.503_965_053_763, max_relative = 1e-10);
}

#[test]
fn linearity_error_of_a_bent_line() {
    let exposures: Vec<f64> = (1..=10).map(|i| 100.0 * f64::from(i)).collect();
    let levels: Vec<f64> = exposures.iter().map(|h| 2.0 * h * (1.0 - 2e-5 * h)).collect();
    assert_relative_eq!(linearity_error_percent(&exposures, &levels).unwrap(), 0.308_433, max_relative = 2e-6);
}
