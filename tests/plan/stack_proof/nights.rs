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
/// 1/M + (1 − 1/M) (overlap of two patches at two places)
/// ```
///
/// `M` places drawn from `A × A`: what neighbours of a patch see of the sensor overlaps, the more the larger the patch.
/// Counted place by place.
pub(crate) fn weight_in_patch(positions: f64, box_px: f64, side: f64) -> f64 {
    let places = 0..box_px as i64;
    let along = |place: i64| places.clone().map(move |other| (side - (place - other).abs() as f64).max(0.0));
    let axis = places.clone().flat_map(along).sum::<f64>() / (side * box_px * box_px);
    1.0 / positions + (1.0 - 1.0 / positions) * axis.powi(2)
}
