//! A slice of the proof of the stated uncertainties; the whole is `cargo run --release --example proof`.
//! The seeds are fixed, so nothing here depends on luck.

#[path = "../examples/proof/corners.rs"]
mod corners;
#[path = "../examples/proof/law.rs"]
mod law;
#[path = "../examples/proof/run.rs"]
mod run;
#[path = "../examples/proof/sensor.rs"]
mod sensor;
#[path = "../examples/proof/tally.rs"]
mod tally;

use tally::CornerTally;

/// Sensors of each corner.
const SENSORS: usize = 75;

/// 95 % of 1050 intervals, three standard deviations of that count (2 %) to either side.
const COVERED: std::ops::RangeInclusive<f64> = 93.0..=97.0;

#[test]
fn a_slice_of_the_proof_holds() {
    let (mut whole, mut clean) = (CornerTally::default(), CornerTally::default());
    for corner in &corners::CORNERS {
        let tally = run::tallied(corner, SENSORS, 11);
        for (what, one) in tally.quantities() {
            println!("{}: {what} {:.1} %", corner.name, one.coverage_percent());
        }
        if corner.name == "10⁶ pixels" {
            assert!(tally.gain.bias_percent().0.abs() < 0.1, "bias of the gain {:?} %", tally.gain.bias_percent());
            assert!(
                tally.read.bias_percent().0.abs() < 0.3,
                "bias of the read noise {:?} %",
                tally.read.bias_percent()
            );
        }
        whole.merge(&tally);
        if corner.clean {
            clean.merge(&tally);
        }
    }
    for (what, one) in whole.quantities() {
        assert!(COVERED.contains(&one.coverage_percent()), "{what}: {} of {}", one.coverage_percent(), one.count());
    }
    // 11 clean corners of 75: the mean square of as many normal numbers is 1 ± 0.05, its root 1 ± 0.025.
    for pull in [clean.gain.statistical_pull(), clean.read.statistical_pull()] {
        assert!((0.85..=1.15).contains(&pull), "{pull}");
    }
    let ratio = clean.spread_over_bound().expect("levels enough");
    assert!((0.92..=1.08).contains(&ratio), "spread of the gain over its bound: {ratio}");
}

/// The law of codes that the proof draws from, against the closed form of a quantised normal variable's variance.
#[test]
fn the_law_of_codes_is_that_of_the_model() {
    let exposure = |electrons: f64, gain: f64| law::Exposure {
        electrons,
        curvature: 0.0,
        read: 3.0,
        gain,
        offset: 100.37,
        step: 1,
    };
    // EMVA 1288, equation 15: σ² = K² (σ_d² + μ) + 1/12 wherever the steps are fine.
    for (electrons, gain) in [(0.0, 1.0), (5.0, 1.0), (2_000.0, 0.3), (90_000.0, 2.0)] {
        let law = law::CodeLaw::of(&exposure(electrons, gain));
        let variance = (9.0 + electrons) / (gain * gain) + 1.0 / 12.0;
        approx::assert_relative_eq!(law.variance_dn(), variance, max_relative = 1e-9);
        approx::assert_relative_eq!(law.mean, 100.37 + electrons / gain, max_relative = 1e-9);
    }
}
