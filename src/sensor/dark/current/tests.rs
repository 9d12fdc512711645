use super::*;

/// Darks of these exposures, levels and variances of their pairs.
pub(in super::super) fn stage(points: &[(f64, f64, f64)]) -> DarkStage {
    let mut stage = DarkStage::new(Some(Celsius(-5.0)), Array2::default((0, 0)));
    for &(exposure, level, variance) in points {
        stage.pairs.push(PairVariance { exposure: Seconds(exposure), variance, uncertainty: 0.01 * variance, level });
        stage.frames.push(DarkFrame {
            exposure: Seconds(exposure),
            temperature: None,
            mean: level,
            median: level,
            taken: None,
            saturated_share: 0.0,
            saturated_pixels: 0.0,
            lowest: (0, 0.0),
        });
        stage.files.push(String::new());
    }
    stage
}

#[test]
fn the_slope_ignores_a_step_between_bias_and_dark() {
    let stage = stage(&[(300.0, 403.0, 4.0), (100.0, 203.0, 4.0), (20.0, 123.0, 4.0)]);
    let anchor = Anchor::of_bias(100.0, Estimate::new(4.0, 0.01));
    let rate = stage.dark_current(&Estimate::new(2.0, 0.0), anchor, &[]).from_mean.unwrap();
    approx::assert_relative_eq!(rate.value.0, 2.0, epsilon = 1e-9);
}
