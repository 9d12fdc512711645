//! Many nights of one truth.

use subwell::simulate::{FoundSnr, StackTruth, StackedField, snr_found, stacked_field};

/// The stacks of so many nights, made on two threads; which thread makes one changes nothing.
pub(crate) fn stacked(truth: &StackTruth, nights: u64) -> Vec<StackedField> {
    let part = |first: u64| {
        (first..nights).step_by(2).map(|night| stacked_field(truth, night).expect("a night")).collect::<Vec<_>>()
    };
    std::thread::scope(|scope| {
        let odd = scope.spawn(|| part(1));
        let mut fields = part(0);
        fields.extend(odd.join().expect("no panic"));
        fields
    })
}

/// What is found in patches of `side` × `side` pixels.
pub(crate) fn found(fields: &[StackedField], side: usize) -> FoundSnr {
    snr_found(fields, [side, side]).expect("nights and patches enough")
}

/// What a fixed pattern's variance in the mean of `side` × `side` pixels is multiplied by, times the pixels.
///
/// ```text
/// 1/M + (1 − 1/M) (a/A − (a² − 1)/3A²)²
/// ```
///
/// `M` places drawn from `A × A`, patches of side `a ≤ A`: what neighbours of a patch see of the sensor overlaps, the more
/// the larger the patch; for one pixel the bracket is 1/A². Derived here: mean overlap of two squares at random places.
pub(crate) fn weight_in_patch(positions: f64, box_px: f64, side: f64) -> f64 {
    let shared = (side / box_px - (side * side - 1.0) / (3.0 * box_px * box_px)).powi(2);
    1.0 / positions + (1.0 - 1.0 / positions) * shared
}
